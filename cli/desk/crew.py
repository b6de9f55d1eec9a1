"""Planning in processes of their own, started warm and stopped at once.

A forking server imports the pipeline and ties a tiny band before anybody asks, so a task begins within
milliseconds with every loop compiled. Each task is one process: to stop it is to end it, whatever it does.
"""

from __future__ import annotations

import asyncio
import multiprocessing
import os
import signal
import threading
import traceback
from collections.abc import Callable
from contextlib import suppress
from multiprocessing.connection import Connection
from typing import Any

from pipeline.errors import HitchgridError, InputError
from pipeline.processes import forking_server

WAITING = 40
"""Tasks that may wait for their turn before new ones are refused."""
MEMORY_BYTES = 6 << 30
"""Address space of a task; numba and OR-tools take about 1.5 GB of it without using it."""

Hear = Callable[[str, Any], None]


class Refused(HitchgridError):
    """A task's own refusal, said in its process."""


class Crew:
    """Runs tasks: ``cores`` plans at once, and beside them small ones that somebody is waiting for."""

    def __init__(self, cores: int) -> None:
        methods = multiprocessing.get_all_start_methods()
        self._context: Any = multiprocessing.get_context("forkserver" if "forkserver" in methods else "spawn")
        self._plans, self._small = asyncio.Semaphore(cores), asyncio.Semaphore(2)
        self._waiting = 0

    def warm(self) -> None:
        """Start the forking server; it gets ready while the page is opened."""
        forking_server("cli.desk.warm")

    async def run(
        self, task: str, *values: Any, hear: Hear = lambda kind, value: None, small: bool = False
    ) -> Any:
        """Run ``cli.desk.tasks.TASK(*values, tell)`` in a process and return what it returns.

        ``hear`` gets what the task tells on its way. Cancelling ends the process. Raises HitchgridError as
        the task did, and InputError where too many wait.
        """
        if self._waiting >= WAITING:
            raise InputError("the desk has its hands full.", "Wait a moment, or stop another plan.")
        self._waiting += 1
        try:
            lane = self._small if small else self._plans
            await lane.acquire()
        finally:
            self._waiting -= 1
        try:
            return await self._run(task, values, hear)
        finally:
            lane.release()

    async def _run(self, task: str, values: tuple[Any, ...], hear: Hear) -> Any:
        ours, theirs = self._context.Pipe()
        process = self._context.Process(target=_work, args=(theirs, task, values), daemon=True)
        loop = asyncio.get_running_loop()
        starting = asyncio.ensure_future(asyncio.to_thread(process.start))
        try:
            await asyncio.shield(starting)
            theirs.close()
            there = asyncio.Event()
            loop.add_reader(ours.fileno(), there.set)
            while True:
                await there.wait()
                there.clear()
                while ours.poll():
                    kind, value = ours.recv()
                    if kind == "done":
                        return value
                    if kind == "refused":
                        raise Refused(*value)
                    if kind == "failed":
                        raise RuntimeError(value)
                    hear(kind, value)
        except (EOFError, ConnectionResetError):
            raise Refused("the plan broke off.", "It may have run out of memory: try fewer rows.") from None
        finally:
            loop.remove_reader(ours.fileno())
            # not before it has begun: the forking server dies of a start whose pipe is closed under it
            starting.add_done_callback(lambda begun: _end(begun, process, ours, theirs))


def _end(begun: asyncio.Future[None], process: Any, ours: Connection, theirs: Connection) -> None:
    """End a task that was started, or could not be."""
    theirs.close()
    if not begun.cancelled():
        begun.exception()  # whoever waits has heard of it
    with suppress(OSError, AttributeError, TypeError):
        os.killpg(process.pid, signal.SIGKILL)
    with suppress(AttributeError):
        process.kill()
    ours.close()


def _work(pipe: Connection, task: str, values: tuple[Any, ...]) -> None:
    """In the task's process: run it, and tell how it went. Ends with the desk, however that ends."""
    from cli.desk import tasks

    with suppress(OSError, AttributeError):
        os.setsid()
        os.nice(5)
    with suppress(ImportError, OSError, ValueError):
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    threading.Thread(target=_end_with, args=(pipe,), daemon=True).start()

    def tell(kind: str, value: Any) -> None:
        pipe.send((kind, value))

    try:
        tell("done", getattr(tasks, task)(*values, tell))
    except HitchgridError as error:
        tell("refused", (error.message, error.hint))
    except MemoryError:
        tell("refused", ("that takes more memory than a plan may have.", "Try fewer strands or rows."))
    except OSError as error:
        tell("refused", (f"the disk refuses: {error.strerror}.", "Free some space, or check the folder."))
    except Exception:
        tell("failed", traceback.format_exc())
    os._exit(0)


def _end_with(pipe: Connection) -> None:
    with suppress(OSError, EOFError):
        pipe.recv()  # nothing is ever sent this way: it returns when the desk is gone
    with suppress(OSError, AttributeError):
        os.killpg(0, signal.SIGKILL)
    os._exit(1)
