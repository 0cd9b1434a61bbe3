"""The demo line: two years of invented check logs with known faults, and the readings that follow them.

Everything is drawn from one seed; no row was measured anywhere. `lay_out()` writes what `datasets/` holds,
`live_rows()` goes on where it ends. The line and its faults are described in line.toml.
"""

from spc.demo.history import DemoFiles, LiveRow, append, lay_out, live_rows
from spc.demo.plan import ZONE as DEMO_ZONE

__all__ = ["DEMO_ZONE", "DemoFiles", "LiveRow", "append", "lay_out", "live_rows"]
