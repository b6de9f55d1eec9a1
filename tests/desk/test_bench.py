"""What lies on the desk outlives whatever happens to the desk."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from cli.desk.bench import KEPT, Bench, Benches, State, Step
from cli.desk.drawer import Threads
from cli.desk.work import cells_of, named
from pipeline.errors import HitchgridError


def test_a_bench_is_read_back_as_it_was(tmp_path: Path) -> None:
    bench = Bench(tmp_path, None)
    bench.state.asked = {"letters": "RC"}
    bench.state.steps = [Step(1, [(2, 3, "navy"), (2, 4, None)], [{"kind": "joins"}], {"sentence": "ok"})]
    bench.state.at = 0
    bench.state.trial = Step(2, [], [])
    bench.keep()
    assert Bench(tmp_path, None).state == bench.state


@pytest.mark.parametrize("damage", ["", "{", "[]", "null", '{"asked": {}}', '{"steps": 3}', "\x00"])
def test_a_damaged_bench_is_an_empty_one(tmp_path: Path, damage: str) -> None:
    (tmp_path / "bench.json").write_text(damage)
    assert Bench(tmp_path, None).state == State()


def test_two_desks_do_not_share_a_bench(tmp_path: Path) -> None:
    one, other = Benches(tmp_path), Benches(tmp_path)
    bench = one.new()
    assert other.of(bench.name) is None
    assert other.free() is not None and other.free().name != bench.name
    bench.close()
    assert other.of(bench.name) is not None


def test_old_benches_go(tmp_path: Path) -> None:
    benches = Benches(tmp_path)
    for _ in range(KEPT + 5):
        benches.new().keep()
    assert len(list(tmp_path.iterdir())) == KEPT


def test_no_name_leads_out_of_the_folder(tmp_path: Path) -> None:
    benches = Benches(tmp_path / "desk")
    (tmp_path / "other").mkdir()
    assert benches.of("../other") is None and benches.of("..") is None and benches.of("") is None


@pytest.mark.parametrize(
    "text", ["", "[]", "[[1]]", "[[1, -1]]", "[[1, 10000]]", "{}", "[[1, 2, 3]]", "[" * 5000]
)
def test_cells_that_are_none(text: str) -> None:
    with pytest.raises(HitchgridError):
        cells_of(text)


def test_the_drawer_is_the_list_of_the_commands(tmp_path: Path) -> None:
    threads = Threads(tmp_path / "home" / "drawer.csv")
    palette = threads.stash().threads
    threads.put({"name": "quay red", "colour": "#c8202c", "metres": "12,5", "kind": "pearl cotton 5"})
    assert [t.name for t in threads.stash().threads] == [*(t.name for t in palette), "quay red"]
    assert threads.stash().find("quay red").metres == 12.5
    threads.put({"name": "quay red", "colour": "#aa0000", "metres": "", "kind": "pearl cotton 5"})
    assert threads.stash().find("quay red").colour == "#aa0000"
    threads.take_out("quay red")
    assert threads.stash().threads == palette
    assert threads.bring_in(b"name,colour,metres\nfog,#cccccc,8\nnavy,#000000,1\n") == 1
    assert threads.stash().find("navy").colour == "#1b2a59", "namesakes stay"


def test_a_list_of_the_maker_keeps_its_notes_and_what_another_wrote_meanwhile(tmp_path: Path) -> None:
    """The desk changes one row; columns of the maker's own, blank lines and line ends stay, and one copy."""
    file = tmp_path / "club.csv"
    file.write_bytes(b"notes;name;colour;metres\r\nA 1;navy;#1b2a59;8\r\n\r\nB 2;fog;#cccccc;2,5\r\n")
    threads = Threads(file)
    threads.put({"name": "fog", "colour": "#dddddd", "metres": "12,5", "kind": "pearl cotton 5"})
    assert file.read_bytes() == (
        b"notes;name;colour;metres\r\nA 1;navy;#1b2a59;8\r\n\r\nB 2;fog;#dddddd;12,5\r\n"
    )
    threads.take_out("navy")
    assert file.read_bytes() == b"notes;name;colour;metres\r\n\r\nB 2;fog;#dddddd;12,5\r\n"
    assert [path.name for path in tmp_path.iterdir() if path != file] == ["club.csv.before"]
    with pytest.raises(HitchgridError):
        threads.take_out("fog")  # the last
    former = file.read_bytes()
    threads._data = lambda: b"what stood there a moment ago"  # type: ignore[method-assign]
    with pytest.raises(HitchgridError):
        threads.put({"name": "fog", "colour": "#eeeeee", "metres": "1", "kind": "pearl cotton 5"})
    assert file.read_bytes() == former


@pytest.mark.parametrize(
    "form",
    [
        {},
        {"name": "=cmd"},
        {"name": "fog", "colour": "red"},
        {"name": "fog", "colour": "#cccccc", "metres": "many"},
    ],
)
def test_threads_that_are_none_change_nothing(tmp_path: Path, form: dict[str, str]) -> None:
    threads = Threads(tmp_path / "drawer.csv")
    with pytest.raises(HitchgridError):
        threads.put(form)
    assert not threads.path.exists()


def test_the_state_is_plain_json(tmp_path: Path) -> None:
    bench = Benches(tmp_path).new()
    bench.keep()
    assert json.loads((bench.folder / "bench.json").read_text())["chosen"] == ""


def test_a_picture_is_called_as_the_maker_called_it(tmp_path: Path) -> None:
    bench = Bench(tmp_path, None)
    bench.state.asked = {"picture": "motif-5", "title": "Regatta badge"}
    assert named(f"motif-5 is empty; {bench.folder / 'motif-5'} too.", bench) == (
        "Regatta badge is empty; Regatta badge too."
    )
    bench.state.asked = {"letters": "RC", "title": "RC"}
    assert named("no room.", bench) == "no room."
