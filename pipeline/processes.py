"""Processes that work for another one: Ctrl-C is for the one that waits for them."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, ProcessPoolExecutor, wait
from contextlib import contextmanager
from multiprocessing import forkserver, resource_tracker
from multiprocessing.synchronize import Event
from typing import Any, TypeVar

from pipeline.errors import ImpossibleError

LOOK_EVERY_S = 0.2


@contextmanager
def deaf_children() -> Iterator[None]:
    """Processes that are started within the block never hear a Ctrl-C, not even while they still import.

    A terminal sends it to all of them at once. One that comes to this process meanwhile is heard at the end
    of the block, so that no start is broken off half-way. Outside POSIX nothing changes.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    resource_tracker.ensure_running()  # its own start, once in a process, may lift what is blocked
    came = threading.Event()
    listens = threading.current_thread() is threading.main_thread()
    heard = signal.signal(signal.SIGINT, lambda number, frame: came.set()) if listens else None
    blocked = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})  # what children inherit
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, blocked)
        if listens:
            signal.signal(signal.SIGINT, heard)
        if came.is_set():
            signal.raise_signal(signal.SIGINT)


Task = TypeVar("Task")
Result = TypeVar("Result")
Ended = Callable[[], bool]
"""Asked now and then by work whether to come to an end."""
Work = Callable[[Task, Ended], Result]
"""A function of a module."""


def side_by_side(
    work: Work[Task, Result], tasks: Sequence[Task], jobs: int, halted: Ended | None = None
) -> Iterator[tuple[int, Result]]:
    """Do ``work`` for every task, ``jobs`` at a time (0: one a core); yield number and result of each as it
    is done. One at a time is done in this process.

    What a task gives does not depend on ``jobs``. Once ``halted`` answers True, tasks under way are told to
    end and the rest is left out. Tasks and results are pickled. Raises ImpossibleError when a process dies.
    """
    halted = halted or (lambda: False)
    jobs = min(jobs or os.cpu_count() or 1, len(tasks))
    if jobs > 1:
        yield from _in_processes(work, tasks, jobs, halted)
        return
    for number, task in enumerate(tasks):
        if halted():
            return
        yield number, work(task, halted)


def _in_processes(
    work: Work[Task, Result], tasks: Sequence[Task], jobs: int, halted: Ended
) -> Iterator[tuple[int, Result]]:
    context = forking_server(getattr(work, "__module__", __name__))
    stop, others = context.Event(), set(multiprocessing.active_children())
    pool = ProcessPoolExecutor(jobs, context, initializer=_prepare, initargs=(stop,))
    try:
        with deaf_children():
            waiting = {pool.submit(_done, work, number, task) for number, task in enumerate(tasks)}
        while waiting:
            done, waiting = wait(waiting, timeout=LOOK_EVERY_S, return_when=FIRST_COMPLETED)
            if halted() and not stop.is_set():
                stop.set()
                waiting = {future for future in waiting if not future.cancel()}
            for future in done:
                yield future.result()
    except BrokenExecutor:
        raise ImpossibleError(
            "a worker process was ended from outside, perhaps for want of memory.",
            "Run it again with fewer jobs.",
        ) from None
    except (KeyboardInterrupt, GeneratorExit):  # nobody waits for what is under way
        for worker in set(multiprocessing.active_children()) - others:
            worker.kill()
        raise
    finally:
        stop.set()
        pool.shutdown(cancel_futures=True)


def forking_server(module: str) -> Any:
    """A context whose processes are forked from one that has imported ``module``, where there is forking."""
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload([module])
    os.environ["OMP_NUM_THREADS"] = "1"  # what is forked must have one thread
    with deaf_children():
        forkserver.ensure_running()
    return context


_stop: Event | None = None
"""In a worker: set when it shall come to an end."""


def _prepare(stop: Event) -> None:
    global _stop
    _stop = stop
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # where deafness is not inherited
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _done(work: Work[Task, Result], number: int, task: Task) -> tuple[int, Result]:
    return number, work(task, _stop.is_set if _stop is not None else lambda: False)
