"""Runs one solver on one problem in a process of its own and measures seconds and peak memory."""

from __future__ import annotations

import multiprocessing
import os
import platform
import resource
import time
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from queue import Empty
from typing import Any

from benchmarks.solvers import SOLVERS
from pipeline.routing.question import Question

GRACE_S = 300.0
"""How long over its limit a solver may run before it is ended and counts as without an answer."""


@dataclass(frozen=True, slots=True)
class Measured:
    """What one run gave. ``cost`` None: no answer. ``replayed``: the cost comes from tying the band."""

    cost: float | None
    bound: float
    seconds: float
    cpu_s: float
    peak_mib: float
    hand_overs: int | None = None
    replayed: bool = False
    note: str = ""


def _child(solver: str, problem: Question, limit: float, answers: Any) -> None:
    if solver.startswith("ours"):  # compiled loops come from a cache or are made once: not part of routing
        warm_up()
    before, cpu_before = time.perf_counter(), time.process_time()
    try:
        found = SOLVERS[solver](problem, limit)
    except Exception as fault:
        taken = time.perf_counter() - before, time.process_time() - cpu_before
        answers.put(Measured(None, 0.0, *taken, 0.0, note=f"{type(fault).__name__}: {fault}"))
        return
    seconds, cpu = time.perf_counter() - before, time.process_time() - cpu_before
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    cost = None if found.cost is None else float(found.cost)
    answers.put(Measured(cost, float(found.bound), seconds, cpu, peak, found.hand_overs, found.replayed))


def warm_up() -> None:
    """Route a tiny band, so that imports and compilation are over before the clock starts."""
    from benchmarks.instances import hills, problem
    from pipeline.routing import route
    from pipeline.routing.question import Budget

    for worked in ("rows", "diagonal"):
        route(problem(hills(6, 5, 3), worked), Budget(effort=0.01))


def measure(solver: str, problem: Question, limit: float) -> Measured:
    """Measure a solver by name (see ``benchmarks.solvers``) on one core."""
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ[name] = "1"
    context = multiprocessing.get_context("spawn")
    answers = context.Queue()
    child = context.Process(target=_child, args=(solver, problem, limit, answers))
    child.start()
    ends = time.monotonic() + 2 * limit + GRACE_S
    answer: Measured | None = None
    while answer is None and time.monotonic() < ends:
        try:
            answer = answers.get(timeout=0.5)
        except Empty:
            if not child.is_alive() and answers.empty():
                break
    if child.is_alive() and answer is None:
        child.terminate()
    child.join()
    return answer or Measured(None, 0.0, 0.0, 0.0, 0.0, note="ended without an answer")


def machine() -> dict[str, str]:
    """What the measurements ran on: processor, cores, memory, Python and libraries. No names, no paths."""
    facts = {"processor": platform.machine(), "cores": str(os.cpu_count()), "memory": ""}
    info = Path("/proc/cpuinfo")
    if info.exists():
        models = [
            line.split(":", 1)[1].strip()
            for line in info.read_text().splitlines()
            if line.startswith("model name")
        ]
        facts["processor"] = models[0] if models else facts["processor"]
        pages = os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
        facts["memory"] = f"{pages / 2**30:.1f} GiB"
    facts["python"] = platform.python_version()
    for library in ("numpy", "scipy", "numba", "ortools", "networkx"):
        try:
            facts[library] = version(library)
        except ModuleNotFoundError:
            facts[library] = "absent"
    return facts
