"""Compiling beforehand: what it must cover, and that an answer comes without it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from pipeline.band.network import network, picture_rows
from pipeline.routing import Budget, Ease, Question, Stopped, route, warm

ROOT = Path(__file__).parents[2]
COVERAGE = """
import json
import numpy as np
from pipeline.band.network import network, picture_rows
from pipeline.routing import Budget, Ease, Question, warm
from pipeline.routing import Allowed, costs_if_made, lengthened, route

warm.compile_all()
before = {name: set(loop.signatures) for name, loop in warm.loops().items()}
random = np.random.default_rng(5)
for worked in ("rows", "diagonal"):
    for ease in Ease:
        net = network(9, picture_rows(9, 14, worked))
        wanted = random.integers(0, 3, net.knots)
        costs = np.where(np.arange(3) == wanted[:, None], 0.0, 30.0)
        problem = Question(net, costs, (1, *(None,) * 8), (9, 4, 4), folded=((3, 4),)).eased(ease)
        budget = Budget(0.02)
        found = route(problem, budget)
        lengthened(problem, wanted, Allowed(rows=4, joins=1), budget, found)
        costs_if_made(problem, found, [5, 6], budget)
more = {name: [str(s) for s in set(loop.signatures) - before[name]] for name, loop in warm.loops().items()}
print(json.dumps({"loops": len(more), "more": {name: found for name, found in more.items() if found}}))
"""


def test_compiling_beforehand_leaves_nothing_to_compile() -> None:
    # in a process of its own: this one may have called the loops already
    run = subprocess.run(
        [sys.executable, "-c", COVERAGE], cwd=ROOT, capture_output=True, text=True, check=True
    )
    told = json.loads(run.stdout)
    assert told["loops"] > 10
    assert told["more"] == {}


@pytest.fixture
def cold(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """No note of compiled loops, and a compiler that never gets done."""
    monkeypatch.setattr(warm, "note", lambda group: tmp_path / group)
    monkeypatch.setattr(warm.sys, "executable", sys.executable)
    monkeypatch.setattr(warm, "__name__", "time; import time; time.sleep(600); from time")
    return tmp_path


def problem(worked: str, ease: Ease) -> Question:
    random = np.random.default_rng(3)
    net = network(9, picture_rows(9, 14, worked))  # type: ignore[arg-type]
    return Question(net, random.uniform(0, 60, (net.knots, 4)), (None,) * 9, (None,) * 4).eased(ease)


@pytest.mark.parametrize("worked", ["rows", "diagonal"])
@pytest.mark.parametrize("ease", list(Ease))
def test_a_deadline_on_cold_loops_gives_a_legal_answer(worked: str, ease: Ease, cold: Path) -> None:
    asked = problem(worked, ease)
    found = route(asked, Budget(deadline=time.monotonic() + 0.2))
    if not (ease is Ease.PLAIN and worked == "rows"):  # which has no loops
        assert found.stopped is Stopped.TIME
    assert found.lower_bound <= found.cost < asked.costs.sum()


def test_a_halt_on_cold_loops_gives_an_answer(cold: Path) -> None:
    looks = iter(range(1000))
    found = route(problem("rows", Ease.LIGHT), Budget(halted=lambda: next(looks) > 3))
    assert found.stopped is Stopped.INTERRUPT


def test_a_search_that_nobody_waits_for_compiles_by_itself(cold: Path) -> None:
    assert warm.compiler(Budget()) is None


def test_two_threads_and_their_letters_need_no_loop() -> None:
    code = (
        "import sys, numpy as np; from pipeline.band.network import network, picture_rows;"
        "from pipeline.routing import Budget, Ease, Question, route;"
        "net = network(9, picture_rows(9, 20, 'rows'));"
        "wanted = np.random.default_rng(1).integers(0, 2, net.knots);"
        "asked = Question(net, 30.0 * (wanted[:, None] != np.arange(2)), (None,) * 9, (None,) * 2);"
        "assert all(route(asked.eased(ease)).cost == 0 for ease in Ease);"
        "assert not {'numba', 'scipy.optimize', 'pandas'} & sys.modules.keys()"
    )
    subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=True)


def test_the_note_holds_for_this_code_only(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / warm.NOTE
    monkeypatch.setattr(warm, "note", lambda group: path)
    assert not warm.is_warm()
    path.write_text("other sources", encoding="ascii")
    assert not warm.is_warm()
    path.write_text(warm.fingerprint(), encoding="ascii")
    assert warm.is_warm()


def test_where_no_cache_can_be_written_loops_are_compiled_in_the_process(tmp_path: Path) -> None:
    # a package folder and a user's folder that are no folders: numba finds no place for its cache
    blocked = tmp_path / "blocked"
    blocked.write_text("")
    code = (
        "import numba.core.caching as c; c.CacheImpl._locator_classes = [];"
        "from pipeline.routing import warm; from pipeline.routing.loops.windows import solve;"
        "assert warm.note('beams') is None and warm.is_warm() and not solve.signatures"
    )
    environment = {**os.environ, "HOME": str(blocked), "NUMBA_CACHE_DIR": str(blocked)}
    subprocess.run([sys.executable, "-c", code], cwd=ROOT, env=environment, check=True)
