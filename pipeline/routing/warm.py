"""Compiling the inner loops beforehand, so that the first run on a machine keeps its deadline too.

Compiling all loops takes some ten seconds, once for each version of the code and each kind of processor;
numba keeps the result on disk. A run that must answer in time, or to Ctrl-C, cannot break off a compiler at
work. So where the loops are not known to be compiled, a process of its own compiles them, and the run
goes on when it is done, or answers without any loop when its time is up.

That all loops are compiled is noted in a file beside them, which names what they were compiled from and for.
A missing or stale note costs no more than a process that finds everything compiled.
"""

from __future__ import annotations

import hashlib
import platform
import subprocess
import sys
import time
from contextlib import suppress
from importlib import import_module
from pathlib import Path
from typing import Any

import numba
import numpy as np
from llvmlite import binding  # type: ignore[import-untyped]

from pipeline.band.knots import Worked
from pipeline.band.network import network, picture_rows
from pipeline.routing.board import board
from pipeline.routing.meter import Meter
from pipeline.routing.prices import knot_bound
from pipeline.routing.question import Budget, Ease, Question

NOTE = "loops-compiled"
LOOK_EVERY_S = 0.05


def note() -> Path | None:
    """Where numba keeps the compiled loops of this package, there the note; None if it cannot keep any."""
    folder = knot_bound.stats.cache_path
    return Path(folder) / NOTE if folder else None


def fingerprint() -> str:
    """Digest of what the compiled loops depend on: sources, versions and processor."""
    made_for = (numba.__version__, platform.python_version(), binding.get_host_cpu_name())
    digest = hashlib.sha256(repr(made_for).encode())
    for source in sorted(Path(__file__).parent.glob("*.py")):
        state = source.stat()
        digest.update(f"{source.name} {state.st_size} {state.st_mtime_ns}\n".encode())
    return digest.hexdigest()


def is_warm() -> bool:
    """Whether all loops are known to be compiled, or can never be kept."""
    path = note()
    if path is None:
        return True
    try:
        return path.read_text(encoding="ascii") == fingerprint()
    except (OSError, ValueError):
        return False


def loops() -> dict[str, Any]:
    """Every compiled loop of the package by its full name."""
    found = {}
    for source in sorted(Path(__file__).parent.glob("[!_]*.py")):
        if source.stem != "__main__":
            module = import_module(f"{__package__}.{source.stem}")
            for name, value in vars(module).items():
                if hasattr(value, "py_func") and value.py_func.__module__ == module.__name__:
                    found[f"{source.stem}.{name}"] = value
    return found


def compile_all() -> None:
    """Search bands of a few knots, which compiles every loop, and note it."""
    from pipeline.routing.route import route
    from pipeline.routing.settle import labels_of, settle

    random = np.random.default_rng(1)
    cases: tuple[tuple[Worked, Ease], ...] = (
        ("rows", Ease.LIGHT),
        ("rows", Ease.FULL),
        ("diagonal", Ease.FULL),
    )
    for worked, ease in cases:
        net = network(7, picture_rows(7, 8, worked))
        costs = random.uniform(5, 60, (net.knots, 4))
        problem = Question(net, costs, (None,) * 7, (None,) * 4, allowance=ease.allowance(net))
        found = route(problem, Budget(0.1))
        settle(board(problem), labels_of(net, found), Meter(Budget(0.1), net.knots))
    path = note()
    if path is not None:
        with suppress(OSError):
            path.write_text(fingerprint(), encoding="ascii")


class Compiler:
    """A process that compiles all loops while this one does something else."""

    def __init__(self) -> None:
        code = f"import sys; sys.path[:] = {sys.path!r}; from {__name__} import compile_all; compile_all()"
        quiet = subprocess.DEVNULL
        self._process = subprocess.Popen(
            [sys.executable, "-c", code], stdin=quiet, stdout=quiet, stderr=quiet, start_new_session=True
        )

    def done(self, budget: Budget) -> bool:
        """Wait for it; False once the budget is late. What it has compiled by then is kept."""
        try:
            while self._process.poll() is None:
                if budget.late:
                    return False
                time.sleep(LOOK_EVERY_S)
            return True
        finally:
            self._process.kill()
            self._process.wait()


def compiler(budget: Budget) -> Compiler | None:
    """Start compiling where the loops may be cold and somebody may want an answer meanwhile."""
    waits = budget.deadline is not None or budget.halted is not None
    return Compiler() if waits and not is_warm() else None
