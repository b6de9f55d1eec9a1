"""A batch on a Dask cluster of two workers, one killed in the middle: nothing lost, nothing twice."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from pipeline.batch.cluster import on_cluster
from pipeline.batch.listing import parse_lines
from pipeline.batch.work import ORDER, Shop, run_lines, run_on_present_backend
from pipeline.drawer.stash import builtin_stash
from pipeline.errors import InputError

pytest.importorskip("distributed")
ROOT = Path(__file__).parents[2]
COUNT = 10


class Cluster:
    """A scheduler and two workers, each a process of its own."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.processes: list[subprocess.Popen[bytes]] = []
        self.address = ""

    def start(self) -> None:
        told = self.folder / "scheduler.json"
        self._run("distributed.cli.dask_scheduler", "--port", "0", "--no-dashboard", "--scheduler-file", told)
        for name in ("port", "starboard"):
            self._run(
                "distributed.cli.dask_worker", "--scheduler-file", told, "--nworkers", "1", "--nthreads", "1",
                "--no-nanny", "--no-dashboard", "--name", name, "--local-directory", self.folder / name,
            )  # fmt: skip
        deadline = time.monotonic() + 60
        while time.monotonic() < deadline:
            with suppress(OSError, ValueError):
                self.address = json.loads(told.read_text())["address"]
                return
            time.sleep(0.1)
        raise AssertionError("the scheduler did not start")

    def _run(self, module: str, *words: object) -> None:
        self.processes.append(
            subprocess.Popen(
                [sys.executable, "-m", module, *map(str, words)],
                cwd=ROOT,
                env={**os.environ, "OMP_NUM_THREADS": "1", "PYTHONPATH": str(ROOT)},
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
            )
        )

    def kill_a_worker(self) -> None:
        self.processes[1].send_signal(signal.SIGKILL)

    def stop(self) -> None:
        for process in self.processes:
            process.kill()
            process.wait()


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[Cluster]:
    made = Cluster(tmp_path)
    made.start()
    yield made
    made.stop()


def test_a_killed_worker_loses_nothing_and_does_nothing_twice(cluster: Cluster, tmp_path: Path) -> None:
    text = "letters,strands,rows,threads\n" + "".join(
        f"{chr(65 + i)},9,{20 + i},navy;chalk\n" for i in range(COUNT)
    )
    lines, _ = parse_lines(text, "orders.csv", tmp_path)
    shop = Shop(tmp_path / "out", builtin_stash(), effort=0.01)
    over = threading.Event()
    before: dict[Path, int] = {}

    def strike() -> None:
        while not before:  # until the first order is finished
            before.update({path: path.stat().st_ino for path in shop.out.glob(f"[0-9]*/{ORDER}")})
            if over.wait(0.02):
                return
        cluster.kill_a_worker()

    with on_cluster(cluster.address) as workers:
        assert workers >= 1
        striking = threading.Thread(target=strike)
        striking.start()
        made = list(run_on_present_backend(lines, shop))
        over.set()
        striking.join()
    assert cluster.processes[1].wait(10) == -signal.SIGKILL
    assert 0 < len(before) < COUNT
    assert {path: path.stat().st_ino for path in before} == before  # not written a second time
    assert [outcome.line.number for outcome in made] == [line.number for line in lines]
    assert all(outcome.done for outcome in made), [outcome.error for outcome in made]
    assert sorted(path.name for path in shop.out.glob("[0-9]*")) == [line.folder for line in lines]

    alone = Shop(tmp_path / "alone", shop.stash, shop.effort)
    list(run_lines(lines[:3], alone))
    for line in lines[:3]:  # the same bytes as on this machine alone
        for path in (alone.out / line.folder).iterdir():
            assert path.read_bytes() == (shop.out / line.folder / path.name).read_bytes(), path.name
    again = list(run_lines(lines, shop))
    assert all(outcome.resumed for outcome in again)


def test_no_cluster_at_an_address_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pipeline.batch.cluster.PATIENCE_S", 1)
    for address in ("tcp://127.0.0.1:9", "harbour-master:1"):
        with pytest.raises(InputError, match="no cluster at"), on_cluster(address):
            pass


@pytest.mark.parametrize(
    "address", ["", "con", "navy 4:1", "inproc://x:1", "tcp://", "tcp://quay:65536", "quay:²"]
)
def test_what_is_no_address_is_refused_before_a_client_waits_for_it(
    address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("distributed.Client", lambda *_, **__: pytest.fail("a client was made"))
    with pytest.raises(InputError, match="is no address"), on_cluster(address):
        pass
