"""Compiling the inner loops beforehand, so that the first run on a machine keeps its deadline too.

Compiling takes half a minute, once for each version of the code and each kind of processor; numba keeps the
result on disk. Only a question that needs loops comes here. A run that must answer in time, or to Ctrl-C,
cannot break off a compiler at work. So where loops are not known to be compiled, processes of their own
compile them, a group each, and the run goes on when they are done, or answers without any loop when its time
is up.

That a group is compiled is noted in a file beside the loops, which names what they were compiled from and
for. A missing or stale note costs no more than a process that finds everything compiled.
"""

from __future__ import annotations

import hashlib
import platform
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from functools import lru_cache
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np

from pipeline.band.network import network, picture_rows
from pipeline.routing import loops as house
from pipeline.routing.beam import beam
from pipeline.routing.board import board
from pipeline.routing.bound import strip_bound
from pipeline.routing.leader import improve_leader
from pipeline.routing.lookahead import look_ahead
from pipeline.routing.meter import Meter
from pipeline.routing.plain import plain_labels
from pipeline.routing.question import Budget, Ease, Question
from pipeline.routing.search import Search

NOTE = "loops-compiled"
LOOK_EVERY_S = 0.05
GROUPS = ("windows", "beams")
"""The loops in two groups that take about as long to compile."""


def note(group: str) -> Path | None:
    """Where numba keeps the compiled loops, there the note of a group; None if it cannot keep any."""
    from pipeline.routing.loops.windows import solve

    folder = solve.stats.cache_path
    return Path(folder) / f"{NOTE}-{group}" if folder else None


@lru_cache(maxsize=1)
def fingerprint() -> str:
    """Digest of what the compiled loops depend on: sources, versions and processor."""
    from importlib.metadata import version

    from llvmlite import binding  # type: ignore[import-untyped]

    made_for = (version("numba"), platform.python_version(), binding.get_host_cpu_name())
    digest = hashlib.sha256(repr(made_for).encode())
    for source in sorted(Path(__file__).parent.rglob("*.py")):
        state = source.stat()
        digest.update(f"{source.name} {state.st_size} {state.st_mtime_ns}\n".encode())
    return digest.hexdigest()


def is_warm(group: str | None = None) -> bool:
    """Whether a group of loops, or all, are known to be compiled, or can never be kept."""
    if group is None:
        return all(is_warm(each) for each in GROUPS)
    path = note(group)
    if path is None:
        return True
    try:
        return path.read_text(encoding="ascii") == fingerprint()
    except (OSError, ValueError):
        return False


def loops() -> dict[str, Any]:
    """Every compiled loop by its full name."""
    found = {}
    for source in sorted(Path(str(house.__file__)).parent.glob("[!_]*.py")):
        module = import_module(f"{house.__name__}.{source.stem}")
        for name, value in vars(module).items():
            if hasattr(value, "py_func") and value.py_func.__module__ == module.__name__:
                found[f"{source.stem}.{name}"] = value
    return found


def compile_group(group: str) -> None:
    """Search a band of a few knots with the moves of a group, which compiles their loops, and note it."""
    net = network(7, picture_rows(7, 8, "rows"))
    costs = np.random.default_rng(1).uniform(5, 60, (net.knots, 4))
    asked = Question(net, costs, (None,) * 7, (None,) * 4).eased(Ease.LIGHT)
    laid, plain = board(asked), plain_labels(asked, Budget(0.1))
    meter = Meter(Budget(0.1), net.knots)
    if group == "windows":
        search = Search(laid, meter)
        search.begin(plain)
    else:
        priced = strip_bound(laid, 1e6, lambda: False)
        ahead = look_ahead(laid, laid.cost, priced.prices, priced.owner, priced.toll)
        beam(laid, laid.cost, priced.prices, 20, lambda: False, ahead=ahead)
        beam(laid, laid.cost, priced.prices, 20, lambda: False)
        improve_leader(asked, plain, meter, lambda labels: None)
    path = note(group)
    if path is not None:
        with suppress(OSError):
            path.write_text(fingerprint(), encoding="ascii")


def compile_all() -> None:
    """Compile every loop in this process."""
    for group in GROUPS:
        compile_group(group)


class Compiler:
    """Processes that compile the cold groups while this one does something else."""

    def __init__(self) -> None:
        quiet = subprocess.DEVNULL
        self._processes = []
        for group in GROUPS:
            if not is_warm(group):
                code = (
                    f"import sys; sys.path[:] = {sys.path!r}; "
                    f"from {__name__} import compile_group; compile_group({group!r})"
                )
                self._processes.append(
                    subprocess.Popen(
                        [sys.executable, "-c", code],
                        stdin=quiet,
                        stdout=quiet,
                        stderr=quiet,
                        start_new_session=True,
                    )
                )

    def done(self, budget: Budget, tell: Callable[[], None] = lambda: None) -> bool:
        """Wait for them, telling so; False once the budget is late. What they have compiled is kept."""
        try:
            while any(process.poll() is None for process in self._processes):
                if budget.late:
                    return False
                tell()
                time.sleep(LOOK_EVERY_S)
            return True
        finally:
            for process in self._processes:
                process.kill()
                process.wait()


def compiler(budget: Budget) -> Compiler | None:
    """Start compiling where loops may be cold and somebody may want an answer meanwhile."""
    waits = budget.deadline is not None or budget.halted is not None
    return Compiler() if waits and not is_warm() else None
