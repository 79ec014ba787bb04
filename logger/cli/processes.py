"""The same work for many jobs, spread over processes of this computer or over a cluster; results in the jobs' order."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import active_children, get_context
from typing import TypeVar

from logger.child import end_with_parent
from logger.errors import InputError

Job = TypeVar("Job")
Done = TypeVar("Done")
_CLUSTER_WAIT_S = 10


def processors_count() -> int:
    """How many processors this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def spread(work: Callable[[Job], Done], jobs: Sequence[Job], *, processes: int) -> Iterator[Done]:
    """`work` of each job, in processes of this computer; in this one if one is enough.

    The processes end with this one, also if it is killed, and leave Ctrl-C to it.
    """
    if min(processes, len(jobs)) < 2:
        yield from map(work, jobs)
        return
    pool = ProcessPoolExecutor(min(processes, len(jobs)), mp_context=get_context("spawn"), initializer=end_with_parent)
    try:
        yield from _deaf_to_ctrl_c(lambda: pool.map(work, jobs))
    except BaseException:
        for process in active_children():
            process.terminate()
        raise
    finally:
        pool.shutdown(cancel_futures=True)


def _deaf_to_ctrl_c(start: Callable[[], Iterator[Done]]) -> Iterator[Done]:
    """What `start` returns; the processes that it starts leave Ctrl-C, which reaches them too, to their parent."""
    signal.signal(signal.SIGTERM, signal.default_int_handler)  # a parent that is ended must end its processes too
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        return start()
    finally:
        signal.signal(signal.SIGINT, before)


def spread_over(address: str, work: Callable[[Job], Done], jobs: Sequence[Job]) -> Iterator[Done]:
    """`work` of each job on a Dask cluster, whose workers have this software and see the same folders.

    Raises:
        InputError: the library is missing, or nobody answers at the address.
    """
    try:
        from distributed import Client
    except ImportError:
        raise InputError("a cluster needs the library Dask; install it with pip install '.[cluster]'") from None
    try:
        client = Client(address, timeout=_CLUSTER_WAIT_S)
    except (OSError, ValueError) as error:
        raise InputError(
            f"{address}: no Dask scheduler answers there ({error}); give the address that it prints when it starts, "
            "such as tcp://10.0.0.5:8786"
        ) from None
    with client:
        waiting = client.map(work, list(jobs), pure=False)
        for future in waiting:
            yield future.result()
            future.release()
