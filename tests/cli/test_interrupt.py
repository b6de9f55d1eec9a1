"""Ctrl-C during ``hitchgrid plan``, sent as a real signal at many stages: the best so far is written."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from cli.interrupt import halting
from pipeline.processes import deaf_children

ROOT = Path(__file__).parents[2]
STRIKE = """
import os, signal, sys
import cli.console

aim = sys.argv.pop(1)
struck = []


class Watch(cli.console.Watch):
    def _strike(self, name):
        if not struck and name.startswith(aim):
            struck.append(name)
            os.kill(os.getpid(), signal.SIGINT)

    def stage(self, name):
        super().stage(name)
        self._strike(name)

    def routing(self, done, cost, bound):
        super().routing(done, cost, bound)
        if cost < float("inf"):
            self._strike("searching")

    def advising(self, done, of, label):
        super().advising(done, of, label)
        self._strike(f"advising {label}")


cli.console.Watch = Watch
from cli.main import run

try:
    run(sys.argv[1:])
finally:
    print("struck", struck)
"""
SIZE = ("--strands", "9", "--rows", "30", "--no-trim")
ASKED = (
    "plan",
    "sample_images/pennant.png",
    *SIZE,
    "--switching-rows",
    "4",
    "--joins",
    "2",
    "--effort",
    "0.1",
)


@pytest.mark.parametrize(
    ("moment", "stopped"),
    [
        ("drawing the design", "interrupt"),
        ("routing the strands", "interrupt"),
        ("searching", "interrupt"),
        ("sharing the tying", "interrupt"),
        ("trying what would help", "interrupt"),
        ("advising", "interrupt"),
        ("writing chart.png", "done"),
        ("writing sheet.pdf", "done"),
    ],
)
def test_the_best_so_far_is_written(moment: str, stopped: str, tmp_path: Path) -> None:
    run = subprocess.run(
        [sys.executable, "-c", STRIKE, moment, *ASKED, "--out", str(tmp_path / "band")],
        cwd=ROOT,
        env={**os.environ, "HOME": str(tmp_path), "OMP_NUM_THREADS": "1"},
        capture_output=True,
        text=True,
    )
    assert f"struck ['{moment}" in run.stdout
    assert run.returncode == 0, run.stderr
    assert "Traceback" not in run.stderr
    report = json.loads((tmp_path / "band" / "report.json").read_text(encoding="utf-8"))
    assert report["stopped"] == stopped
    assert report["lower_bound"] <= report["colour_error"]
    assert (tmp_path / "band" / "sheet.pdf").exists()


def test_the_first_ctrl_c_asks_and_the_second_stops() -> None:
    before = signal.getsignal(signal.SIGINT)
    with halting(quiet=True) as halted:
        assert not halted()
        os.kill(os.getpid(), signal.SIGINT)
        assert halted()
        with pytest.raises(KeyboardInterrupt):
            os.kill(os.getpid(), signal.SIGINT)
    assert signal.getsignal(signal.SIGINT) is before


def test_a_thread_leaves_the_signal_alone() -> None:
    asked = []

    def work() -> None:
        with halting() as halted:
            asked.append(halted())

    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    assert asked == [False]


@pytest.mark.skipif(not hasattr(signal, "pthread_sigmask"), reason="signals are not blocked here")
def test_a_child_is_deaf_from_its_first_moment_and_the_parent_hears_afterwards() -> None:
    asks = "import signal; print(signal.SIGINT in signal.pthread_sigmask(signal.SIG_BLOCK, ()))"
    before = signal.signal(signal.SIGINT, signal.default_int_handler)  # a job of a shell may ignore it
    try:
        with pytest.raises(KeyboardInterrupt), deaf_children():
            os.kill(os.getpid(), signal.SIGINT)
            child = subprocess.run([sys.executable, "-c", asks], capture_output=True, text=True, check=True)
        assert child.stdout == "True\n"
        assert signal.getsignal(signal.SIGINT) is signal.default_int_handler
        assert signal.SIGINT not in signal.pthread_sigmask(signal.SIG_BLOCK, ())
    finally:
        signal.signal(signal.SIGINT, before)
