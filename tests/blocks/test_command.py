"""``hitchgrid blocks`` writes a whole band."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from pipeline.blocks.plan import Blocks, plan_blocks
from pipeline.blocks.words import parse_groups
from pipeline.drawer.stash import builtin_stash
from pipeline.errors import InputError
from pipeline.materials.fit import fit_rows
from pipeline.materials.gauge import preset_gauge
from pipeline.order.asked import Band


def test_a_band_for_a_wrist() -> None:
    groups = parse_groups("navy 4, chalk 3, coral 4")
    made = plan_blocks(Blocks(groups), builtin_stash(), Band(worked="diagonal", wrist_mm=160))
    pattern = made.pattern
    gauge = preset_gauge("six-strand embroidery cotton", "diagonal")
    wanted = fit_rows(160, gauge, ends=pattern.ends).rows
    assert abs(len(pattern.sections[0].rows) - wanted) <= 4
    assert [thread.name for thread in pattern.threads] == ["navy", "chalk", "coral"]
    assert pattern.title == "navy, chalk and coral blocks"
    assert len(made.cuts) == 11
    tied = [use.tied_per_strand for use in made.use]
    assert max(tied) < 1.5 * min(tied)


def test_a_thread_in_two_groups_is_one_thread() -> None:
    groups = parse_groups("navy 2, chalk 3, navy 2")
    made = plan_blocks(Blocks(groups, repeats=3), builtin_stash(), Band(worked="diagonal"))
    assert [thread.name for thread in made.pattern.threads] == ["navy", "chalk"]
    assert made.pattern.strands == (0, 0, 1, 1, 1, 0, 0)
    assert made.moves == 6


@pytest.mark.parametrize("repeats", [0, -1, 10**9])
def test_repeats_out_of_range(repeats: int) -> None:
    with pytest.raises(InputError, match="repeats cannot be tied"):
        Blocks(parse_groups("navy 2, chalk 3"), repeats=repeats)


def test_the_command_writes_everything(tmp_path: Path) -> None:
    from cli.blocks import command

    folder = tmp_path / "band"
    command(groups="navy 2, chalk 2", switch="1-2 left", repeats="4", out=str(folder), quiet=True)
    report = json.loads((folder / "report.json").read_text(encoding="utf-8"))
    assert report["groups"] == [
        {"thread": 0, "strands": 2, "tied_per_strand": report["groups"][0]["tied_per_strand"]},
        {"thread": 1, "strands": 2, "tied_per_strand": report["groups"][1]["tied_per_strand"]},
    ]
    assert report["cells"] == 0
    assert report["knots"] > 0 and report["hours"][1] >= report["hours"][0] and report["grade"]["name"]
    assert [thread["enough"] for thread in report["skeins"]] == [True, True]
    assert report["notes"][0].startswith("Switch 1: Rows 1–3, positions 1–4: navy (2) passes over chalk (2)")
    assert "Switches 3–4: the same as 1–2, 8 rows later." in (folder / "instructions.txt").read_text(
        encoding="utf-8"
    )
    assert "blocks" in (folder / "instructions.txt").read_text(encoding="utf-8")


def test_blocks_know_the_drawer(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Eleven strands of a metre or more from a drawer that holds two metres of each: what to buy is said."""
    from cli.main import run

    stash = tmp_path / "drawer.csv"
    stash.write_text("name,colour,metres\nnavy,#1b2a59,2\nchalk,#f4f1e8,40\n", encoding="utf-8")
    with pytest.raises(SystemExit) as exit_:
        flags = ("--stash", str(stash), "--wrist", "16cm", "--out", str(tmp_path / "band"))
        run(["blocks", "--groups", "navy 5, chalk 6", *flags])
    told = " ".join(capsys.readouterr().out.split())
    assert exit_.value.code in (0, None)
    assert "navy: " in told and "2.00 m owned; buy 1 skein of 8 m." in told
    assert "Wrist 160 mm + room at the wrist 13 mm" in told
    assert "hours of tying" in told and "metres" in told
    assert "Switch 1: Rows 1–" in told
    report = json.loads((tmp_path / "band" / "report.json").read_text(encoding="utf-8"))
    assert [thread["buy"] for thread in report["skeins"]] == [1, 0]


@pytest.mark.parametrize("start", ["straight", "loop", "larks-head", "holding-cord"])
def test_a_finish_tapers_whatever_the_start(start: str) -> None:
    band = Band(worked="diagonal", wrist_mm=160, start=start, finish="braid", taper=True)  # type: ignore[arg-type]
    made = plan_blocks(Blocks(parse_groups("navy 4, chalk 4")), builtin_stash(), band)
    ends = made.pattern.ends
    assert ends.finish.taper == (4, 4)
    assert ends.start.taper == ((4, 4) if start == "straight" else None)
    assert made.fit is not None and made.fit.tapers_mm == (ends.start.taper_mm or 0) + (
        ends.finish.taper_mm or 0
    )


@pytest.mark.parametrize(
    ("flags", "message"),
    [
        (["--groups", "navy 4"], "needs two groups or more"),
        (["--groups", "navy 3, chalk 3", "--switch", "2-3"], "places 2 and 3 are no neighbours"),
        (["--groups", "no such thread 3, chalk 3"], "there is no thread 'no such thread'"),
        (["--groups", "navy 3, chalk 3", "--rows", "0"], "--rows: '0' is out of range"),
        (["--groups", "navy 3, chalk 3", "--repeats", "-2"], "--repeats: '-2' is out of range"),
        (["--groups", "navy 3, chalk 3", "--start", "zip"], "--start: 'zip' is no choice"),
    ],
)
def test_what_cannot_be_used_is_one_sentence(
    flags: list[str], message: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from cli.main import run

    with pytest.raises(SystemExit) as exit_:
        run(["blocks", *flags, "--out", str(tmp_path / "band")])
    told = capsys.readouterr()
    assert exit_.value.code == 2
    assert message in told.err and told.err.count("\n") == 1 and told.out == ""
    assert list(tmp_path.iterdir()) == []
