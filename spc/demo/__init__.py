"""The demo line: two years of invented check logs with known faults, and the readings that follow them.

Everything is drawn from one seed; no row was measured anywhere. `history()` is what `datasets/` holds,
`live_rows()` goes on where it ends.
"""

from spc.demo.history import History, history, live_rows, write_history
from spc.demo.plan import ZONE

__all__ = ["ZONE", "History", "history", "live_rows", "write_history"]
