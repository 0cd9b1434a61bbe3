"""One partition through the monitor: what a worker does, and does again if another one fell."""

from dataclasses import dataclass

from spc.catalogue.check import Catalogue
from spc.errors import SpcError
from spc.fleet.outcome import FleetFault, FleetSignals, FleetStream, signals_of, stream_of
from spc.fleet.partitions import Partition, read_partition
from spc.ingest.dates import machine_zone
from spc.ingest.event_log import read_events
from spc.monitor import monitor_stream
from spc.records import Event


@dataclass(frozen=True, slots=True)
class PartitionOutcome:
    """What one partition gave: streams and signals, or the fault that kept it from that."""

    streams: tuple[FleetStream, ...]
    signals: FleetSignals
    faults: tuple[FleetFault, ...]


def monitor_partition(partition: Partition, catalogue: Catalogue, compiled: bool = True) -> PartitionOutcome:
    """Return what the monitor says of a partition; a partition that cannot be read is a fault, not an error."""
    try:
        return _monitored(partition, catalogue, compiled=compiled)
    except SpcError as error:
        reason = str(error)
    except Exception as error:  # whatever one partition brings up must not end the others
        reason = f"{type(error).__name__}: {error}"
    return failed_partition(partition, reason)


def failed_partition(partition: Partition, reason: str) -> PartitionOutcome:
    """Return the outcome of a partition that gave nothing."""
    fault = FleetFault(partition.site, partition.line, partition.check, reason)
    return PartitionOutcome((), FleetSignals.of([]), (fault,))


def _monitored(partition: Partition, catalogue: Catalogue, *, compiled: bool) -> PartitionOutcome:
    check = catalogue.named(partition.check)
    happened: tuple[Event, ...] = ()
    if partition.events.exists():
        happened = read_events(partition.events, catalogue, zone=machine_zone()).events
    streams, signals = [], []
    for readings in read_partition(partition):
        result = monitor_stream(readings, happened, check, compiled=compiled)
        streams.append(stream_of(partition.site, result))
        signals.append(signals_of(partition.site, result))
    return PartitionOutcome(tuple(streams), FleetSignals.of(signals), ())
