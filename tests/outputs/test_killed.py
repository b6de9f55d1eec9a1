"""Runs of the real command, killed at moments all over their course: a whole result is always there.

``KILLS=60 pytest tests/outputs/test_killed.py`` kills more often than the usual run of the tests does.
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Mapping
from pathlib import Path

from PIL import Image

KILLS = int(os.environ.get("KILLS", "8"))
ROOT = Path(__file__).parents[2]
HITCHGRID = "import sys; from cli.main import run; run(sys.argv[1:])"
STASH = "name,colour,metres\nnavy,#1b2a59,40\nchalk,#f4f1e8,40\ncoral,#e0604a,40\n"


def start(folder: Path, *words: str) -> subprocess.Popen[bytes]:
    environment = {
        **os.environ,
        "PYTHONPATH": str(ROOT),
        "HOME": str(folder / "home"),
        "OMP_NUM_THREADS": "1",
    }
    environment.pop("XDG_DATA_HOME", None)
    environment.pop("XDG_CONFIG_HOME", None)
    return subprocess.Popen(
        [sys.executable, "-c", HITCHGRID, *words],
        cwd=folder,
        env=environment,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )


def finish(folder: Path, *words: str) -> float:
    """Run to the end; return the seconds it took."""
    began = time.monotonic()
    assert start(folder, *words).wait() == 0
    return time.monotonic() - began


def kill_after(seconds: float, folder: Path, *words: str) -> None:
    """Start the command and kill it, and whatever it started, after so long if it still runs."""
    run = start(folder, *words)
    try:
        run.wait(timeout=seconds)
    except subprocess.TimeoutExpired:
        os.killpg(run.pid, signal.SIGKILL)
        run.wait()


OWN = {
    "notes.txt": b"ask the cox",
    "stash.csv": b"name,colour,metres\nrope,#c8a26a,1\n",
    "photo.png": b"\x89 a photo",
    "photos/one.jpg": b"jpg",
}
"""A maker's own files, laid into the folder of a result."""


def lay(folder: Path) -> None:
    for name, content in OWN.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content)


def own(folder: Path) -> dict[str, bytes]:
    """What is left of them, and every other file of the folder."""
    return {name: content for name, content in files_of(folder).items() if name in OWN}


def files_of(folder: Path) -> dict[str, bytes]:
    found = sorted(path for path in folder.rglob("*") if path.is_file() and path.name != "timings.json")
    return {str(path.relative_to(folder)): path.read_bytes() for path in found}


def hidden(folder: Path) -> list[str]:
    return [path.name for path in folder.rglob(".*")]


def killed_all_over(
    folder: Path,
    words: tuple[str, ...],
    take: Callable[[], Mapping[str, bytes]],
    former: Callable[[], None],
    allowed: Callable[[Mapping[str, bytes]], bool],
) -> None:
    """Kill the command at moments spread over its course, and check what is there each time.

    Half of the moments are in the last third of the run, where it writes.
    """
    former()
    whole = finish(folder, *words)
    for i in range(KILLS):
        former()
        share = i / KILLS if i % 2 else 0.65 + 0.4 * i / KILLS
        kill_after(share * whole, folder, *words)
        assert allowed(take()), f"killed after {share:.0%} of {whole:.2f} s"


def flag(path: Path) -> None:
    picture = Image.new("RGB", (6, 4), "#1b2a59")
    picture.paste((224, 96, 74), (2, 0, 4, 4))
    picture.save(path)


def test_a_killed_plan_leaves_the_former_or_the_new_result(tmp_path: Path) -> None:
    flag(tmp_path / "flag.png")
    common = (
        "plan",
        "flag.png",
        "--grid",
        "--no-advice",
        "-q",
        "--effort",
        "0.01",
        "--replace",
        "--out",
        "band",
    )
    finish(tmp_path, *common, "--title", "the former")
    one = files_of(tmp_path / "band")
    shutil.copytree(tmp_path / "band", tmp_path / "kept")
    lay(tmp_path / "kept")
    finish(tmp_path, *common, "--title", "the new")
    other = files_of(tmp_path / "band")
    assert one.keys() == other.keys() and one["pattern.json"] != other["pattern.json"]

    def former() -> None:
        shutil.rmtree(tmp_path / "band")
        shutil.copytree(tmp_path / "kept", tmp_path / "band")

    killed_all_over(
        tmp_path,
        (*common, "--title", "the new"),
        lambda: files_of(tmp_path / "band"),
        former,
        lambda found: own(tmp_path / "band") == OWN and found in ({**one, **OWN}, {**other, **OWN}),
    )
    finish(tmp_path, *common, "--title", "the new")
    assert files_of(tmp_path / "band") == {**other, **OWN}
    assert not hidden(tmp_path)


def test_two_plans_at_once_one_of_them_killed(tmp_path: Path) -> None:
    """Into one folder of the maker's: a whole result of one of them, and every byte of the maker's."""
    flag(tmp_path / "flag.png")
    common = ("plan", "flag.png", "--grid", "--no-advice", "-q", "--effort", "0.01", "--replace")
    common = (*common, "--out", "band", "--title")
    results = []
    for title in ("one", "other"):
        seconds = finish(tmp_path, *common, title)
        results.append(files_of(tmp_path / "band"))
    lay(tmp_path / "band")
    for i in range(max(3, KILLS // 2)):
        living = start(tmp_path, *common, "one")
        kill_after((0.6 + 0.5 * i / KILLS) * seconds, tmp_path, *common, "other")
        assert living.wait() in (0, 2)  # 2: the other was quicker
        found = files_of(tmp_path / "band")
        assert own(tmp_path / "band") == OWN
        assert {name: content for name, content in found.items() if name not in OWN} in results
    finish(tmp_path, *common, "one")
    assert files_of(tmp_path / "band") == {**results[0], **OWN}
    assert not hidden(tmp_path)


def test_a_killed_booking_leaves_the_former_or_the_new_list(tmp_path: Path) -> None:
    flag(tmp_path / "flag.png")
    stash = tmp_path / "stash.csv"
    stash.write_text(STASH)
    quick = ("-q", "--effort", "0.01", "--no-advice")
    finish(tmp_path, "plan", "flag.png", "--grid", "--stash", "stash.csv", *quick, "--out", "band")
    words = ("stash", "stash.csv", "--book", "band/pattern.json", "--yes")
    finish(tmp_path, *words)
    booked = stash.read_bytes()
    copy = tmp_path / "stash.csv.before"
    assert booked != STASH.encode() and copy.read_bytes() == STASH.encode()

    def former() -> None:
        stash.write_text(STASH)
        copy.unlink(missing_ok=True)

    def allowed(found: Mapping[str, bytes]) -> bool:
        whole = found["stash.csv"] in (STASH.encode(), booked)
        return whole and (found["stash.csv"] != booked or found.get("stash.csv.before") == STASH.encode())

    def take() -> dict[str, bytes]:
        return {path.name: path.read_bytes() for path in (stash, copy) if path.exists()}

    killed_all_over(tmp_path, words, take, former, allowed)
    former()
    finish(tmp_path, *words)
    assert stash.read_bytes() == booked
    assert not hidden(tmp_path)


def test_a_killed_gauge_leaves_the_saved_ones(tmp_path: Path) -> None:
    finish(tmp_path, "gauge", "first", "--swatch", "10x40=18mmx60mm", "--used", "40,0=370mm")
    before = files_of(tmp_path / "home")
    assert len(before) == 1
    words = ("gauge", "second", "--swatch", "8x20=15mmx31mm", "--used", "20,0=190mm")
    finish(tmp_path, *words)
    after = files_of(tmp_path / "home")
    place = next(iter(before))

    def take() -> dict[str, bytes]:
        return {place: (tmp_path / "home" / place).read_bytes()}

    def former() -> None:
        (tmp_path / "home" / place).write_bytes(before[place])

    killed_all_over(tmp_path, words, take, former, lambda found: found in (before, after))
    former()
    finish(tmp_path, *words)
    assert files_of(tmp_path / "home") == after


def test_a_killed_batch_goes_on_to_the_same_bytes(tmp_path: Path) -> None:
    flag(tmp_path / "flag.png")
    (tmp_path / "orders.csv").write_text(
        "title,letters,picture,strands,rows\nBow,I,,8,8\nFlag,,flag.png,7,4\nStern,L,,8,8\n"
    )
    common = ("batch", "orders.csv", "--effort", "0.01", "-q", "--out")
    whole = finish(tmp_path, *common, "whole")
    wanted = files_of(tmp_path / "whole")
    for i in range(max(3, KILLS // 3)):
        kill_after((0.4 + 0.6 * i / KILLS) * whole, tmp_path, *common, "broken")
        for name, content in files_of(tmp_path / "broken").items():
            if not name.startswith(".") and name not in ("orders.csv", "written.json"):  # of the run itself
                assert wanted[name] == content, f"{name} differs"
    finish(tmp_path, *common, "broken")
    assert files_of(tmp_path / "broken") == wanted
    assert not hidden(tmp_path / "broken")


def test_two_batches_at_once_one_of_them_killed(tmp_path: Path) -> None:
    """With the maker's own files about: each of them stays as it was, and each order is there once."""
    flag(tmp_path / "flag.png")
    (tmp_path / "orders.csv").write_text(
        "title,letters,picture,strands,rows\nBow,I,,8,8\nFlag,,flag.png,7,4\nStern,L,,8,8\n"
    )
    common = ("batch", "orders.csv", "--effort", "0.01", "-q", "--out")
    finish(tmp_path, *common, "whole")
    wanted = files_of(tmp_path / "whole")
    both, bow = tmp_path / "both", tmp_path / "both" / "001-bow"
    seconds = finish(tmp_path, *common, "both")
    for i in range(max(3, KILLS // 3)):
        shutil.rmtree(both)
        finish(tmp_path, *common, "both")
        lay(both)
        lay(bow)
        (bow / "order.json").unlink()  # to be planned again, into a folder with the maker's files
        shutil.rmtree(both / "002-flag")
        kept = {str(path / name): content for path in (both, bow) for name, content in OWN.items()}
        living = start(tmp_path, *common, "both")
        kill_after((0.3 + 0.7 * i / KILLS) * seconds, tmp_path, *common, "both")
        assert living.wait() in (0, 2)  # 2: the other was at work there
        finish(tmp_path, *common, "both")
        found = {name: content for name, content in files_of(both).items() if str(both / name) not in kept}
        assert found == wanted
        assert {name: Path(name).read_bytes() for name in kept} == kept
        assert not hidden(tmp_path)
