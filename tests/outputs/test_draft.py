"""A first draft, drawn while the rest is planned: seen beside the result, no part of it, gone afterwards."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path

import pytest
from PIL import Image

import cli.console
from cli.main import run
from pipeline.band.pattern import Pattern
from pipeline.band.reading import problems
from pipeline.bundle import TIMINGS
from pipeline.drawer.stash import builtin_stash
from pipeline.files.folder import drafting, write_result
from pipeline.order.asked import Band, Drawer, PictureSource, Request
from pipeline.plan import plan
from pipeline.routing import Budget
from pipeline.verdict.feasibility import check

SAMPLES = Path(__file__).parents[2] / "sample_images"
ASKED = (
    "plan",
    str(SAMPLES / "buoy.png"),
    *("--strands", "13", "--rows", "40", "--effort", "0.02", "--no-advice"),
)


class Sketches(cli.console.Watch):
    """Keeps every band that it is shown."""

    def __init__(self) -> None:
        super().__init__(quiet=True)
        self.bands: list[Pattern] = []

    def sketched(self, band: Callable[[], Pattern]) -> None:
        self.bands.append(band())


@pytest.mark.parametrize("fill", ["none", "repeat"])
@pytest.mark.parametrize("left_handed", [False, True])
def test_the_first_band_is_whole_and_no_better_than_the_last(fill: str, left_handed: bool) -> None:
    watch = Sketches()
    band = Band(strands=13, wrist_mm=160, fill=fill, left_handed=left_handed)  # type: ignore[arg-type]
    drawer = Drawer(builtin_stash(), colours=3)
    picture = PictureSource(SAMPLES / "buoy.png")
    made = plan(Request(picture, band, drawer), budget=Budget(effort=0.02), further=False, watch=watch)
    first, last = watch.bands
    assert last == made.pattern and not list(problems(first))
    assert (made.period is not None) == (fill == "repeat")
    assert [len(s.rows) for s in first.sections] == [len(s.rows) for s in last.sections]
    assert check(first).colour_error >= check(last).colour_error > 0


def test_a_draft_lies_hidden_beside_the_result_and_is_gone_afterwards(tmp_path: Path) -> None:
    target = tmp_path / "new" / "band"
    with drafting(target) as show:
        path = show("draft.png", b"picture")
        assert path is not None and path.read_bytes() == b"picture"
        assert path.parent.parent == target.parent and path.parent.name.startswith(".band-")
        assert not target.exists()
    assert not list(tmp_path.iterdir()), "neither the draft nor the folder made for it"
    with drafting(target) as show:
        assert show("draft.png", b"picture")
        write_result(target, {"pattern.json": "{}"})
    assert [p.name for p in target.parent.iterdir()] == ["band"]
    (tmp_path / "file").write_text("no folder")
    with drafting(tmp_path / "file" / "band") as show:
        assert show("draft.png", b"picture") is None, "a result is waited for, a draft is not"


def test_a_long_plan_tells_where_its_draft_is_and_writes_the_same_files(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    seen: list[bytes] = []
    printed = cli.console.err.print

    def look(text: object, **how: object) -> None:
        seen.append(Path(str(text).partition(": ")[2]).read_bytes())
        printed(text, **how)  # type: ignore[arg-type]

    monkeypatch.setattr(cli.console.err, "print", look)
    for after, name in ((1e9, "quick"), (0.0, "long")):
        monkeypatch.setattr(cli.console, "DRAFT_AFTER_S", after)
        with pytest.raises(SystemExit, match="0"):
            run([*ASKED, "--out", str(tmp_path / name)])
    assert capfd.readouterr().err.count("A first draft is drawn: ") == len(seen) == 1
    assert Image.open(io.BytesIO(seen[0])).size > (100, 100)
    quick, long = ({p.name: p.read_bytes() for p in (tmp_path / n).iterdir()} for n in ("quick", "long"))
    assert {**quick, TIMINGS: b""} == {**long, TIMINGS: b""} and "draft.png" not in long
    assert sorted(p.name for p in tmp_path.iterdir()) == ["long", "quick"]


def test_nothing_is_left_of_a_draft_where_the_plan_breaks_off(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stop(*values: object, **more: object) -> None:
        assert list(tmp_path.glob("sub/.band-*/draft.png")), "the draft was there"
        raise KeyboardInterrupt

    monkeypatch.setattr(cli.console, "DRAFT_AFTER_S", 0.0)
    monkeypatch.setattr("pipeline.bundle.band_files", stop)
    with pytest.raises(SystemExit, match="130"):
        run([*ASKED, "--out", str(tmp_path / "sub" / "band")])
    assert not list(tmp_path.iterdir())
