"""The commands gauge, stash and replan, as a maker types them."""

import pytest

from cli.main import run
from pipeline.band.pattern import problems, read_pattern, render
from pipeline.drawer.stash import read_stash
from pipeline.materials.gauge import find_gauge
from pipeline.materials.lengths import cut_list
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
    code, out, _ = hitchgrid("gauge")
    assert code == 0
    assert "my floss" in out
    code, out, _ = hitchgrid("gauge", "--thread", "240tex", "--diagonal")
    assert code == 0
    assert "7.39 mm" in out


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["mine"], "nothing was measured"),
        (["mine", "--swatch", "10x40"], "cannot be read"),
        (["mine", "--swatch", "10x40=18mmx6cm"], "no thread use was measured"),
        (["mine", "--swatch", "10x40=18mmx6cm", "--used", "40=1cm"], "cannot be read"),
        (["mine", "--swatch", "1x40=18mmx6cm", "--used", "40,0=37cm"], "at least 2 strands"),
        (["--swatch", "10x40=18mmx6cm"], "has no name"),
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
        (["--from-row", "999", "--left", "1=1m"], "has 60 rows"),
        (["--from-row", "21"], "--left"),
    ],
)
def test_replan_refuses_what_it_cannot_use(hitchgrid, band, arguments, says):
    code, out, err = hitchgrid("replan", str(band), *arguments)
    assert (code, out) == (2, "")
    assert says in err
