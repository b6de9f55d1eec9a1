"""The commands gauge, stash and replan, as a maker types them."""

import pytest

from cli.main import run
from pipeline.band.example import two_rows
from pipeline.band.knots import Knot, row_positions
from pipeline.band.pattern import Row, Section, render
from pipeline.band.reading import problems, read_pattern
from pipeline.design.pose import gauge_for
from pipeline.drawer.stash import builtin_stash, read_stash
from pipeline.materials.gauge import find_gauge
from pipeline.materials.lengths import cut_list
from pipeline.materials.practice import practice_swatch
from pipeline.order.asked import Band, Drawer
from tests.materials.bands import lettering


@pytest.fixture
def hitchgrid(capsys, monkeypatch, tmp_path):
    """Run the command line in a folder and a home of its own; return (code, output, errors)."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("COLUMNS", "200")
    monkeypatch.chdir(tmp_path)

    def call(*arguments):
        with pytest.raises(SystemExit) as stopped:
            run(list(arguments))
        told = capsys.readouterr()
        return stopped.value.code, told.out, told.err

    return call


@pytest.fixture
def band(tmp_path):
    path = tmp_path / "pattern.json"
    path.write_text(render(lettering(strands=13, rows=60)), encoding="utf-8")
    return path


@pytest.fixture
def drawer(tmp_path):
    path = tmp_path / "drawer.csv"
    path.write_text(
        "name,colour,metres,notes\nharbour blue,#1b2a59,40,gift\nchalk,#f4f1e8,20,\n", encoding="utf-8"
    )
    return path


def test_a_swatch_is_saved_and_listed(hitchgrid):
    code, out, _ = hitchgrid("gauge", "my floss", "--swatch", "10x40=18mmx6cm", "--used", "40,0=80cm-43cm")
    assert code == 0
    assert "9.25 mm" in out
    assert find_gauge("my floss", "rows").tie_mm == 9.25
    assert gauge_for(Band(gauge=" my\u00a0floss"), Drawer(builtin_stash())).tie_mm == 9.25
    code, out, _ = hitchgrid("gauge")
    assert code == 0
    assert "my floss" in out
    code, out, _ = hitchgrid("gauge", "--thread", "240tex", "--diagonal")
    assert code == 0
    assert "7.39 mm" in out


def test_the_error_of_a_gauge_is_shown(hitchgrid):
    """Half a millimetre over 10 strands, 5 mm over 40 knots; what was not measured is derived."""
    _, out, _ = hitchgrid("gauge", "my floss", "--swatch", "10x40=18mmx6cm", "--used", "40,0=37cm")
    rows = {line.split("  ")[0]: line for line in out.splitlines()}
    assert "1.80 mm" in rows["a strand across"] and "0.05 mm, by the ruler" in rows["a strand across"]
    assert "0.12 mm, by the ruler" in rows["a knot tied"]
    assert "derived" in rows["a knot carried"]
    assert "keep 10 % in reserve" in out


def test_the_gauge_explains_and_asks(hitchgrid, monkeypatch):
    """Width 18 mm, length 36 mm; the leader used 2200 − 548 mm for 180 knots, a base 300 − 265 for 20."""
    told = iter(["18mm", "36 mm", "220cm", "548mm", "30cm", "265mm"])
    monkeypatch.setattr("cli.gauge.answers", lambda: True)
    monkeypatch.setattr("typer.prompt", lambda text: next(told))
    code, out, _ = hitchgrid("gauge", "my hand")
    assert code == 0
    assert "Tie 20 rows" in out
    gauge = find_gauge("my hand", "rows")
    assert (gauge.strand_pitch_mm, gauge.row_pitch_mm) == (1.8, 1.8)
    assert (gauge.tie_mm, gauge.core_mm) == (pytest.approx(1652 / 180, abs=1e-3), 1.75)
    code, out, _ = hitchgrid("gauge", "--how", "--diagonal")
    assert code == 0 and "--diagonal" in out and "tied 14 knots" in " ".join(out.split())


def test_a_gauge_of_that_name_gives_way_only_where_it_may(hitchgrid, monkeypatch):
    swatch = ("--swatch", "10x40=18mmx6cm", "--used", "40,0=37cm")
    assert hitchgrid("gauge", "mine", *swatch)[0] == 0
    other = ("--swatch", "10x40=20mmx6cm", "--used", "40,0=37cm")
    code, out, err = hitchgrid("gauge", "mine", *other)
    assert (code, out) == (2, "") and "already" in err and "--replace" in err
    assert find_gauge("mine", "rows").strand_pitch_mm == 1.8
    assert hitchgrid("gauge", "mine", "--diagonal", *other)[0] == 0  # the other order is another gauge
    monkeypatch.setattr("cli.gauge.answers", lambda: True)
    monkeypatch.setattr("typer.confirm", lambda text, abort: None)
    assert hitchgrid("gauge", "mine", *other)[0] == 0
    assert find_gauge("mine", "rows").strand_pitch_mm == 2.0
    assert hitchgrid("gauge", "mine", *swatch, "--replace")[0] == 0
    assert find_gauge("mine", "rows").strand_pitch_mm == 1.8


@pytest.mark.parametrize("worked", ["rows", "diagonal"])
def test_the_strands_of_the_practice_swatch_have_the_knots_that_are_said(worked):
    """Tied as it is told: all forward (row work: the leader ties there and back), counted by replay."""
    swatch = practice_swatch(worked)
    rows = tuple(
        Row(
            knots=tuple(
                (p, Knot.BACKWARD if worked == "rows" and r % 2 else Knot.FORWARD)
                for p in row_positions(swatch.strands, r, worked)
            ),
            wanted=(None,) * len(row_positions(swatch.strands, r, worked)),
        )
        for r in range(swatch.rows)
    )
    section = Section(kind="plain", worked=worked, rows=rows)
    band = two_rows().model_copy(update={"strands": (0,) * swatch.strands, "sections": (section,)})
    cuts = cut_list(band)
    assert (cuts[0].tied, cuts[0].carried) == swatch.measured[0][1:]
    assert {(cut.tied, cut.carried) for cut in cuts[1:]} == {swatch.measured[1][1:]}


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["mine"], "nothing was measured"),
        (["mine", "--swatch", "10x40"], "cannot be read"),
        (["mine", "--swatch", "10x40=18mmx6cm"], "no thread use was measured"),
        (["mine", "--swatch", "10x40=18mmx6cm", "--used", "40=1cm"], "cannot be read"),
        (["mine", "--swatch", "1x40=18mmx6cm", "--used", "40,0=37cm"], "at least 2 strands"),
        (["--swatch", "10x40=18mmx6cm"], "has no name"),
        (["mine", "--swatch", "10x40=18mmx60m", "--used", "40,0=37cm"], "a row of 1500.00 mm does not go"),
        (["0.7mm", "--swatch", "10x40=18mmx6cm", "--used", "40,0=37cm"], "of that diameter"),
        (["--thread", "cobweb"], "not a kind of thread"),
    ],
)
def test_gauge_refuses_what_it_cannot_use(hitchgrid, arguments, says):
    code, out, err = hitchgrid("gauge", *arguments)
    assert (code, out) == (2, "")
    assert says in err


def test_the_stash_is_shown_and_sorted(hitchgrid, drawer):
    code, out, _ = hitchgrid("stash", str(drawer), "--near", "#ffffff")
    assert code == 0
    assert out.index("chalk") < out.index("harbour blue")
    assert "40 m" in out


def test_threads_are_picked_by_number(hitchgrid, drawer, monkeypatch):
    monkeypatch.setattr("typer.prompt", lambda text: "2, 1")
    code, out, _ = hitchgrid("stash", str(drawer), "--pick")
    assert code == 0
    assert "--threads 'chalk,harbour blue'" in out
    for answer in ("0", "99", "2,", "two", "1" * 5000):  # Python reads no number of more than 4,300 digits
        monkeypatch.setattr("typer.prompt", lambda text, answer=answer: answer)
        code, _, err = hitchgrid("stash", str(drawer), "--pick")
        assert code == 2 and "there is no thread number" in err


def test_booking_asks_and_keeps_a_copy(hitchgrid, band, drawer, monkeypatch):
    before = drawer.read_text(encoding="utf-8")
    monkeypatch.setattr("typer.confirm", lambda text: False)
    code, _, err = hitchgrid("stash", str(drawer), "--book", str(band))
    assert code != 0
    assert "nothing was written" in err
    assert drawer.read_text(encoding="utf-8") == before
    code, out, _ = hitchgrid("stash", str(drawer), "--book", str(band), "--yes")
    assert code == 0
    used = sum(cut.length_mm for cut in cut_list(read_pattern(band)) if cut.thread == 0) / 1000
    assert read_stash(drawer).find("harbour blue").metres == pytest.approx(40 - used)
    assert "gift" in drawer.read_text(encoding="utf-8")
    assert (drawer.parent / "drawer.csv.before").read_text(encoding="utf-8") == before
    assert "drawer.csv.before" in out.replace("\n", "")


def test_importing_into_a_new_and_an_old_list(hitchgrid, drawer, tmp_path):
    code, _, _ = hitchgrid("stash", str(tmp_path / "new.csv"), "--import", str(drawer), "--yes")
    assert code == 0
    assert read_stash(tmp_path / "new.csv").names == ("harbour blue", "chalk")
    more = tmp_path / "more.gpl"
    more.write_text("GIMP Palette\nName: more\n10 20 30 tar\n", encoding="utf-8")
    code, out, _ = hitchgrid("stash", str(tmp_path / "new.csv"), "--import", str(more), "--yes")
    assert code == 0
    assert "tar: added" in out
    assert read_stash(tmp_path / "new.csv").names == ("harbour blue", "chalk", "tar")
    code, _, err = hitchgrid("stash", "--import", str(more))
    assert code == 2
    assert "cannot be changed" in err


def test_replanning_writes_a_legal_pattern(hitchgrid, band, tmp_path):
    out = tmp_path / "again.json"
    code, told, _ = hitchgrid(
        "replan", str(band), "--from-row", "21", "--left", "1=1m", "--left", "5=9cm", "--out", str(out)
    )
    assert code == 0
    assert "runs out in row" in told
    again = read_pattern(out)
    assert list(problems(again)) == []
    assert len(again.joins) > 0
    code, _, err = hitchgrid("replan", str(band), "--from-row", "21", "--left", "1=1m", "--out", str(out))
    assert code == 2
    assert "--replace" in err


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--from-row", "21", "--left", "a=1m"], "cannot be read"),
        (["--from-row", "21", "--left", "99=1m"], "no position 99"),
        (["--from-row", "21", "--left", "1=1m", "--left", "1=90cm"], "position 1 is given twice"),
        (["--from-row", "999", "--left", "1=1m"], "has 60 rows"),
        (["--from-row", "21"], "--left"),
        (
            ["--from-row", "21", *(word for p in range(1, 6) for word in ("--left", f"{p}=1mm"))],
            "% of what was planned, which no hand does. Measure from the last knot",
        ),
    ],
)
def test_replan_refuses_what_it_cannot_use(hitchgrid, band, arguments, says):
    code, out, err = hitchgrid("replan", str(band), *arguments)
    assert (code, out) == (2, "")
    assert says in err
