"""A fleet's partitions as tasks: on a Dask scheduler, on workers of this machine, or one after the other here."""

import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from functools import partial
from importlib.util import find_spec
from queue import Empty, SimpleQueue
from typing import Any

from spc.catalogue.check import Catalogue
from spc.errors import InputError, SetupError
from spc.fleet.outcome import Fleet, FleetSignals
from spc.fleet.partition_task import PartitionOutcome, failed_partition, monitor_partition
from spc.fleet.partitions import Partition

Progress = Callable[[int, int], None]
"""Told how many partitions are done, of how many."""

LOOKS_EVERY = 5.0
"""Seconds without news after which workers are counted."""

WAITS_FOR_WORKERS = 60.0
"""Seconds that a run waits where there is no worker."""

LOCAL = {
    "distributed.scheduler.allowed-failures": 1,  # what a second worker fell over is done alone at the end
    "distributed.worker.memory.target": False,
    "distributed.worker.memory.spill": False,
    "distributed.worker.memory.pause": False,  # one that rests for want of memory may never go on
}
"""Dask's settings for workers of this machine; one that takes more than its share of memory is still ended."""

SCHEDULER = {"dashboard_address": "127.0.0.1:0"}
"""Where the scheduler's own page listens in a run on this machine: for this machine alone, so that no one else sees
it, on any free port, so that two runs do not meet. Dask cannot leave it out: None opens port 8787 to everybody."""


def run_fleet(
    partitions: Sequence[Partition],
    catalogue: Catalogue,
    *,
    scheduler: str | None = None,
    workers: int | None = None,
    progress: Progress | None = None,
) -> Fleet:
    """Return what the monitor says of every partition; the same whichever way it runs, to the bit.

    A partition that cannot be read is a fault of the result, as is one that ends every worker that tries it. A worker
    that falls otherwise costs time alone: its partitions are done again by another.

    Args:
        partitions: what to monitor; every worker must reach their folders.
        catalogue: the checks.
        scheduler: address of a Dask scheduler, such as tcp://10.0.0.5:8786.
        workers: processes on this machine where no scheduler is given, 0 for this one alone. Default: its cores.
        progress: told how far it is.

    Raises:
        InputError: both a scheduler and workers, or fewer workers than none.
        SetupError: Dask is not installed, the scheduler does not answer, or no worker is left.
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
    """Yield the outcomes as they come, in any order.

    Where a worker falls again and again, Dask gives up whatever that worker held, a partition that kills it and those
    that waited behind. So what was given up is done once more at the end, each alone: only what kills alone is a fault.
    """
    # The catalogue goes with the task: scattered, it would be lost with the last worker that held it.
    work = partial(monitor_partition, catalogue=catalogue, compiled=compiled)
    given_up = []
    for partition, answer in _answers(client, work, partitions):
        if isinstance(answer, Exception):
            given_up.append(partition)
        else:
            yield answer
    for partition in sorted(given_up):
        for _, answer in _answers(client, work, [partition]):
            if isinstance(answer, Exception):
                said = str(answer).partition("\n")[0]
                answer = failed_partition(partition, f"no worker could do it ({type(answer).__name__}: {said})")
            yield answer


def _answers(
    client: Any, work: Callable[[Partition], PartitionOutcome], partitions: Sequence[Partition]
) -> Iterator[tuple[Partition, PartitionOutcome | Exception]]:
    """Yield each partition with its outcome, or with why Dask gave it up.

    Raises:
        SetupError: the scheduler is gone, or no worker has been there for a minute.
    """
    from distributed import CancelledError

    ended: SimpleQueue[Any] = SimpleQueue()
    tasks = client.map(work, partitions, pure=False)
    of = dict(zip((task.key for task in tasks), partitions, strict=True))
    for task in tasks:
        task.add_done_callback(ended.put)
    del tasks
    without = 0.0
    while of:
        try:
            task = ended.get(timeout=LOOKS_EVERY)
        except Empty:
            without = 0.0 if _workers(client) else without + LOOKS_EVERY
            if without and client.cluster is not None:  # our own: a worker that falls as it starts is not started again
                client.cluster.scale(len(client.cluster.worker_spec))
            if without >= WAITS_FOR_WORKERS:
                raise SetupError(
                    f"no worker has been there for {WAITS_FOR_WORKERS:.0f} s and {len(of)} folders are left; "
                    "start workers and run again"
                ) from None
            continue
        partition = of.pop(task.key)
        try:
            answer: PartitionOutcome | Exception = task.result(timeout=WAITS_FOR_WORKERS)
        except CancelledError:
            raise SetupError("the scheduler is gone; start it and run again") from None
        except Exception as error:  # a partition that no worker survives must not end the others
            answer = error
        task.release()
        yield partition, answer


def _workers(client: Any) -> int:
    """Return how many workers there are.

    Raises:
        SetupError: the scheduler is gone.
    """
    try:
        return len(client.nthreads())
    except (OSError, TimeoutError):
        raise SetupError("the scheduler does not answer any more; start it and run again") from None


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
    import dask
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
    with dask.config.set(LOCAL):
        cluster = LocalCluster(n_workers=count, threads_per_worker=1, processes=True, scheduler_kwargs=SCHEDULER)
        try:
            with Client(cluster) as client:
                yield client
        finally:
            with suppress(TimeoutError):  # a worker that does not end in time is killed; what it gave stands
                cluster.close()
