"""Work done side by side: the same for any number of processes, told to end, gone with who waits for it."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.errors import ImpossibleError
from pipeline.processes import side_by_side

ROOT = Path(__file__).parents[2]


def squared(task: int, ended: Callable[[], bool]) -> int:
    return task * task


def waiting(task: int, ended: Callable[[], bool]) -> int:
    while not ended():
        time.sleep(0.01)
    return task


def dying(task: int, ended: Callable[[], bool]) -> int:
    os.kill(os.getpid(), signal.SIGKILL)
    return task


@pytest.mark.parametrize("jobs", [1, 2])
def test_every_task_is_done_once(jobs: int) -> None:
    tasks = (3, 1, 4, 1, 5)
    assert dict(side_by_side(squared, tasks, jobs)) == dict(enumerate(t * t for t in tasks))
    assert not list(side_by_side(squared, (), jobs))


@pytest.mark.parametrize("jobs", [1, 2])
def test_once_halted_work_under_way_ends_and_the_rest_is_left_out(jobs: int) -> None:
    asked: list[float] = []

    def halted() -> bool:  # after a while, so that work is under way
        asked.append(time.monotonic())
        return asked[-1] - asked[0] > 1

    done = dict(side_by_side(waiting, range(9), jobs, halted))
    assert 1 <= len(done) < 9 and all(done[number] == number for number in done)


def test_a_process_that_dies_is_told() -> None:
    with pytest.raises(ImpossibleError, match=r"worker.*again"):
        list(side_by_side(dying, (1, 2), 2))


def test_nobody_works_on_for_one_that_was_killed() -> None:
    code = (
        "from pipeline.processes import side_by_side; from tests.processes.test_side_by_side import waiting\n"
        "print('begun', flush=True); list(side_by_side(waiting, range(4), 2))"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code], cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    ) as run:
        assert run.stdout is not None and run.stdout.readline()
        time.sleep(2)
        run.kill()
        run.stdout.read()  # ends once no process that inherited it is left
