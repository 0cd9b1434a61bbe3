"""A fleet's partitions as tasks: on a Dask scheduler, on workers of this machine, or one after the other here."""

import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from importlib.util import find_spec
from typing import Any

from spc.catalogue.check import Catalogue
from spc.errors import InputError, SetupError
from spc.fleet.outcome import Fleet, FleetSignals
from spc.fleet.partition_task import PartitionOutcome, failed_partition, monitor_partition
from spc.fleet.partitions import Partition

Progress = Callable[[int, int], None]
"""Told how many partitions are done, of how many."""


def run_fleet(
    partitions: Sequence[Partition],
    catalogue: Catalogue,
    *,
    scheduler: str | None = None,
    workers: int | None = None,
    progress: Progress | None = None,
) -> Fleet:
    """Return what the monitor says of every partition; the same whichever way it runs, to the bit.

    A partition that cannot be read is a fault of the result. A worker that falls costs time alone: its partitions are
    done again by another.

    Args:
        partitions: what to monitor; every worker must reach their folders.
        catalogue: the checks.
        scheduler: address of a Dask scheduler, such as tcp://10.0.0.5:8786.
        workers: processes on this machine where no scheduler is given, 0 for this one alone. Default: its cores.
        progress: told how far it is.

    Raises:
        InputError: both a scheduler and workers, or fewer workers than none.
        SetupError: Dask is not installed, or the scheduler does not answer.
    """
    if scheduler is not None and workers is not None:
        raise InputError("give a scheduler's address or a number of workers, not both")
    if workers is not None and workers < 0:
        raise InputError(f"{workers} workers were asked for; give 0 for this process alone, or a number above")
    compiled = find_spec("numba") is not None
    if scheduler is None and workers == 0:
        return _gathered(
            _told((monitor_partition(each, catalogue, compiled) for each in partitions), progress, partitions)
        )
    with _client(scheduler, workers) as client:
        return _gathered(_told(_on_workers(client, partitions, catalogue, compiled), progress, partitions))


def _on_workers(
    client: Any, partitions: Sequence[Partition], catalogue: Catalogue, compiled: bool
) -> Iterator[PartitionOutcome]:
    """Yield the outcomes as they come, in any order."""
    from distributed import as_completed

    # The catalogue goes with the task: scattered, it would be lost with the last worker that held it.
    work = partial(monitor_partition, catalogue=catalogue, compiled=compiled)
    tasks = client.map(work, partitions, pure=False)
    of = dict(zip((task.key for task in tasks), partitions, strict=True))
    for task in as_completed(tasks):
        try:
            yield task.result()
        except Exception as error:  # a partition that no worker survives must not end the others
            yield failed_partition(of[task.key], f"no worker could do it ({type(error).__name__}: {error})")
        task.release()


def _told(
    outcomes: Iterable[PartitionOutcome], progress: Progress | None, partitions: Sequence[Partition]
) -> Iterator[PartitionOutcome]:
    for done, outcome in enumerate(outcomes, 1):
        if progress is not None:
            progress(done, len(partitions))
        yield outcome


def _gathered(outcomes: Iterable[PartitionOutcome]) -> Fleet:
    """Return the outcomes in order of their names, in whatever order they came."""
    found = list(outcomes)
    streams = sorted(stream for outcome in found for stream in outcome.streams)
    with_signals = [outcome.signals for outcome in found if len(outcome.signals)]
    with_signals.sort(key=lambda part: (part.site[0], part.line[0], part.check[0]))
    faults = sorted((fault for outcome in found for fault in outcome.faults), key=lambda f: (f.site, f.line, f.check))
    return Fleet(tuple(streams), FleetSignals.of(with_signals), tuple(faults))


@contextmanager
def _client(scheduler: str | None, workers: int | None) -> Iterator[Any]:
    """Yield a client of the scheduler, or of workers started here, which end with it."""
    if find_spec("distributed") is None:
        raise SetupError("Dask is not installed; install this package with its extra fleet, or give --workers 0")
    from distributed import Client, LocalCluster

    if scheduler is not None:
        try:
            client = Client(scheduler, timeout="10s")
        except (OSError, TimeoutError, ValueError) as error:
            said = str(error).partition("\n")[0]
            raise SetupError(f"the scheduler {scheduler} does not answer ({said}); check its address") from None
        with client:
            yield client
        return
    count = workers or os.cpu_count() or 1
    with (
        LocalCluster(n_workers=count, threads_per_worker=1, processes=True, dashboard_address=None) as cluster,
        Client(cluster) as client,
    ):
        yield client
