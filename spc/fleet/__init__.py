"""The same monitor over the lines of any number of sites: partitioned Parquet in, a row a stream out, on Dask.

- `partitions`: how the readings lie on disk, one folder a check of a line of a site.
- `partition_task`: one such folder through the monitor; needs nothing but its path, so any worker can do it again.
- `outcome`: what comes back, the league table of what drifts where, and all of it as Parquet.
- `run`: the tasks on a scheduler's address, on workers of this machine, or one after the other in this process.
"""

from spc.fleet.outcome import Fleet, FleetFault, FleetSignals, FleetStream, LeagueRow, league, write_fleet
from spc.fleet.partitions import Partition, add_streams, partitions_in
from spc.fleet.run import run_fleet

__all__ = [
    "Fleet",
    "FleetFault",
    "FleetSignals",
    "FleetStream",
    "LeagueRow",
    "Partition",
    "add_streams",
    "league",
    "partitions_in",
    "run_fleet",
    "write_fleet",
]
