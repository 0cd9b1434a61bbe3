"""The same monitor over the lines of any number of sites: partitioned Parquet in, a row a stream out, on Dask.

- `partitions`: how the readings lie on disk, one folder a check of a line of a site.
- `partition_task`: one such folder through the monitor; needs nothing but its path, so any worker can do it again.
- `outcome`: what comes back, and the league table of what drifts where.
- `kept`: all of it in a folder, as Parquet, and read again for the fleet page.
- `run`: the tasks on a scheduler's address, on workers of this machine, or one after the other in this process.
"""

from spc.fleet.kept import KeptFleet, KeptSignals, kept_signals, read_fleet, whole, write_fleet
from spc.fleet.outcome import Fleet, FleetFault, FleetSignals, FleetStream, LeagueRow, league
from spc.fleet.partitions import Partition, add_streams, partitions_in
from spc.fleet.run import run_fleet

__all__ = [
    "Fleet",
    "FleetFault",
    "FleetSignals",
    "FleetStream",
    "KeptFleet",
    "KeptSignals",
    "LeagueRow",
    "Partition",
    "add_streams",
    "kept_signals",
    "league",
    "partitions_in",
    "read_fleet",
    "run_fleet",
    "whole",
    "write_fleet",
]
