"""Who judges the pieces of a table: this process, several connections, or several processes."""

import multiprocessing
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import (
    FIRST_COMPLETED,
    Executor,
    Future,
    ProcessPoolExecutor,
    ThreadPoolExecutor,
    wait,
)
from dataclasses import dataclass
from functools import partial
from itertools import chain, islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

from weighworthy.batches import Batch
from weighworthy.table_answers import Told, write_answer
from weighworthy.twins import Twins

if TYPE_CHECKING:
    from weighworthy.client import Client


@dataclass(frozen=True, slots=True)
class Job:
    """A piece to be judged, and the file for its answer.

    ``size`` in bytes, for progress; ``first_row`` is the number of the first row of the answer.
    """

    number: int
    batch: Batch
    out: Path
    with_header: bool
    size: int
    first_row: int = 1


Done = Iterator[tuple[Job, Told]]
# Told the size of the job that is being done here, how many lines of its answer have come, and of
# how many (0: unknown).
Heard = Callable[[int, int, int], None]


def work(client: "Client", jobs: Iterator[Job], processes: int, heard: Heard) -> Done:
    """Judge the pieces; the answers come as they are done. What goes wrong with one ends it all."""
    first = list(islice(jobs, 2))
    jobs = chain(first, jobs)
    if processes <= 1 or len(first) < 2:
        return _alone(client, jobs, heard)
    if client._inside is None:
        return _by_connections(client, jobs, processes)
    return _by_processes(client, jobs, processes)


def _alone(client: "Client", jobs: Iterator[Job], heard: Heard) -> Done:
    for job in jobs:
        told = _written(client, job, partial(heard, job.size))
        yield job, told


def _by_connections(client: "Client", jobs: Iterator[Job], processes: int) -> Done:
    twins = Twins(client, processes)

    def judge(job: Job) -> Told:
        with twins.one() as one:
            return _written(one, job)

    try:
        pool = ThreadPoolExecutor(twins.width, "weighworthy-table")
        yield from _bounded(pool, judge, jobs, twins.width)
    finally:
        twins.close()


def _by_processes(client: "Client", jobs: Iterator[Job], processes: int) -> Done:
    method = _start_method()
    # A fork has the client with its service already, and need not wait for another.
    its_client = client if method == "fork" else dict(client._inside or {})
    pool = ProcessPoolExecutor(
        processes,
        mp_context=multiprocessing.get_context(method),
        initializer=_begin,
        initargs=(its_client,),
    )
    return _bounded(pool, _judge, jobs, processes)


def _start_method() -> str:
    """How a process begins: as the program has stated it, but never as a fork that may hang."""
    # A fork has the service loaded already; but a thread may hold a lock that its copy never frees.
    forks = sys.platform == "linux" and threading.active_count() == 1
    stated = multiprocessing.get_start_method(allow_none=True)
    return "fork" if forks and stated in (None, "fork") else "spawn"


def _bounded(pool: Executor, judge: Callable[[Job], Told], jobs: Iterator[Job], width: int) -> Done:
    """As many at work as there are workers, and as many waiting: no more is held."""
    running: dict[Future[Told], Job] = {}
    try:
        while True:
            for job in islice(jobs, 2 * width - len(running)):
                running[pool.submit(judge, job)] = job
            if not running:
                return
            done, _ = wait(running, return_when=FIRST_COMPLETED)
            for future in done:
                yield running.pop(future), future.result()
    finally:
        pool.shutdown(cancel_futures=True)


_CLIENTS: list["Client"] = []


def _begin(its_client: "Client | dict[str, Any]") -> None:
    """In a new process: its own service, made of what it is handed or handed over whole."""
    from weighworthy.client import Client  # noqa: PLC0415 - the client imports this module

    # An interruption is for the process that asked; and without it there is nothing to do here.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    if isinstance(its_client, dict):
        its_client = Client.embedded(**its_client)
    _CLIENTS[:] = [its_client]


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _judge(job: Job) -> Told:
    return _written(_CLIENTS[0], job)


def _written(client: "Client", job: Job, heard: Callable[[int, int], None] | None = None) -> Told:
    return write_answer(
        client._stream,
        job.batch,
        job.out,
        with_header=job.with_header,
        first_row=job.first_row,
        heard=heard,
    )
