"""Many orders from one list: resumed, never stopped by a bad line, independent of the workers."""

from __future__ import annotations

import csv
import io
import os
import re
import shutil
import signal
from dataclasses import replace
from pathlib import Path

import pytest
from PIL import Image
from pypdf import PdfReader

from cli.main import run
from pipeline.batch.listing import Line, parse_lines
from pipeline.batch.told import orders_csv, skeins_csv
from pipeline.batch.work import Outcome, Shop, run_lines
from pipeline.drawer.stash import Stash, parse_stash
from pipeline.errors import ImpossibleError, InputError, OutputError
from pipeline.files.collection import claimed, put
from pipeline.materials.workshop import NamedPiece, cut_all
from pipeline.order.asked import PictureSource
from pipeline.writers.workshop import cutting_sheet_pdf

STASH = b"name,colour,metres\nnavy,#1b2a59,12\nchalk,#f4f1e8,3\ncoral,#e0604a,20\n"
LIST = """title,letters,picture,strands,rows,copies
Bow,I,,8,8,2
Flag,,flag.png,7,6,1
Missing,,nowhere.png,7,6,1
"""


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    flag = Image.new("RGB", (24, 24), "#1b2a59")
    flag.paste((224, 96, 74), (8, 0, 16, 24))
    flag.save(tmp_path / "flag.png")
    stash: Stash = parse_stash(STASH, "drawer.csv")
    return Shop(tmp_path / "out", stash, effort=0.01)


def lines_of(shop: Shop, text: str = LIST) -> tuple[Line, ...]:
    lines, refused = parse_lines(text, "orders.csv", shop.out.parent)
    assert not refused
    return lines


def files_of(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_orders_are_planned_resumed_and_summed_up(shop: Shop) -> None:
    lines = lines_of(shop)
    first = list(run_lines(lines, shop))
    assert [o.line.title for o in first] == ["Bow", "Flag", "Missing"]
    assert [o.done for o in first] == [True, True, False]
    assert "nowhere.png" in first[2].error
    written = files_of(shop.out)
    assert "001-bow/pattern.json" in written and "002-flag/order.json" in written

    shutil.rmtree(shop.out / "002-flag")
    again = list(run_lines(lines, shop))
    assert [o.resumed for o in again] == [True, False, False]
    assert files_of(shop.out) == written
    assert [replace(o, resumed=False) for o in again] == first

    wanted = [piece for o in again for piece in o.all_pieces]
    found = cut_all(wanted, shop.stash)
    named = [piece for total in found for skein in total.skeins for piece in skein.pieces]
    assert sorted(map(repr, named)) == sorted(map(repr, wanted))
    for total in found:
        assert all(skein.left_cm >= 0 for skein in total.skeins)
        assert total.metres == pytest.approx(
            sum(p.length_cm for p in wanted if p.thread == total.thread.name) / 100
        )
    status = {row["title"]: row for row in csv.DictReader(io.StringIO(orders_csv(again, ())))}
    assert status["Bow"]["status"] == "done" and status["Missing"]["status"] == "failed"
    one = sum(piece.length_cm for piece in again[0].pieces)
    assert float(status["Bow"]["metres"]) == pytest.approx(2 * one / 100)
    cuts = list(csv.DictReader(io.StringIO(skeins_csv(found))))
    assert {cut["band"] for cut in cuts} == {"Bow, 1 of 2", "Bow, 2 of 2", "Flag"}
    assert sum(int(cut["pieces"]) * int(cut["cut_cm"]) for cut in cuts) == sum(p.length_cm for p in wanted)
    assert all(re.match(r"strands? \d", cut["strands"]) for cut in cuts)


def test_the_cutting_sheet_names_band_strands_and_price() -> None:
    stash = parse_stash(b"name,colour,metres,skein_m,price\nnavy,#1b2a59,8,8,1.50\n", "drawer.csv")
    pieces = [NamedPiece("navy", 300, f"strand {i}", "Bow <1>") for i in (1, 2, 3)]
    (total,) = cut_all(pieces, stash)
    assert (total.metres, total.buy, total.to_pay) == (9.0, 1, 1.5)
    assert [skein.owned for skein in total.skeins] == [True, False]
    page = PdfReader(io.BytesIO(cutting_sheet_pdf([total], 1))).pages[0].extract_text()
    for said in ("3 pieces for 1 band", "300 cm", "Bow <1>: strands 1, 2", "Bow <1>: strand 3", "1.50"):
        assert said in page, page
    (whole,) = cut_all([NamedPiece("navy", 900, "strand 1", "Bow")], stash)
    assert not whole.skeins and whole.too_long[0].length_cm == 900
    page = PdfReader(io.BytesIO(cutting_sheet_pdf([whole], 1))).pages[0].extract_text()
    assert "no skein holds 900 cm" in page


def test_a_changed_order_or_picture_is_planned_again(shop: Shop) -> None:
    lines = lines_of(shop)
    list(run_lines(lines[:2], shop))
    Image.new("RGB", (24, 24), "#e0604a").save(shop.out.parent / "flag.png")
    changed = lines_of(shop, LIST.replace("Bow,I,,8,8", "Bow,I,,8,9"))[:2]
    assert [o.resumed for o in run_lines(changed, shop)] == [False, False]
    more = lines_of(shop, LIST.replace("Bow,I,,8,8,2", "Bow,I,,8,9,5"))[:2]
    assert [o.resumed for o in run_lines(more, shop)] == [True, True]  # copies are cut, not planned


def test_a_newer_version_plans_again(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    lines = lines_of(shop)
    list(run_lines(lines[:1], shop))
    monkeypatch.setattr("pipeline.batch.work.version", lambda name: "99.0")
    assert [o.resumed for o in run_lines(lines[:1], shop)] == [False]
    assert [o.resumed for o in run_lines(lines[:1], shop)] == [True]


@pytest.mark.parametrize("picture", ["/dev/zero", ".", "n" * 5000, "no\0thing.png"])
def test_a_picture_that_is_no_file_is_told_at_once(shop: Shop, picture: str) -> None:
    lines = lines_of(shop)
    asked = replace(lines[1].order, artwork=PictureSource(shop.out.parent / picture))
    (outcome,) = run_lines([replace(lines[1], order=asked)], shop)
    assert outcome.error and "fault" not in outcome.error


def test_two_workers_write_what_one_writes(shop: Shop) -> None:
    lines = lines_of(shop)
    alone = list(run_lines(lines, shop))
    both = replace(shop, out=shop.out.parent / "both")
    assert list(run_lines(lines, both, jobs=2)) == alone
    assert files_of(both.out) == files_of(shop.out)


def test_a_forged_finished_order_is_planned_again(shop: Shop) -> None:
    lines = lines_of(shop)
    first = list(run_lines(lines[:1], shop))
    kept = shop.out / "001-bow" / "order.json"
    sound = kept.read_text()
    for old, new in (("navy", "gold"), ('"knots"', '"nots"'), ('"pieces": [', '"pieces": 3, "x": [')):
        kept.write_text(sound.replace(old, new))
        assert list(run_lines(lines[:1], shop)) == first
        assert kept.read_text() == sound


def test_a_finished_order_that_lacks_a_file_or_was_changed_is_planned_again(shop: Shop) -> None:
    """Its figures count no more than what they were written for; other files that the maker changed stay."""
    lines = lines_of(shop)
    first = list(run_lines(lines[:1], shop))
    before = files_of(shop.out)
    folder = shop.out / "001-bow"
    (folder / "sheet.pdf").unlink()
    assert [outcome.resumed for outcome in run_lines(lines[:1], shop)] == [False]
    assert files_of(shop.out) == before
    figures = (folder / "order.json").read_text()
    (folder / "order.json").write_text(re.sub(r'"knots": \d+', '"knots": 1e30', figures))
    assert list(run_lines(lines[:1], shop)) == [first[0]]
    assert (folder / "order.json").read_text() == figures
    (folder / "instructions.txt").write_text("with my remarks")
    assert [outcome.resumed for outcome in run_lines(lines[:1], shop)] == [True]
    assert (folder / "instructions.txt").read_text() == "with my remarks"


def test_a_worker_that_dies_is_told(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    lines = lines_of(shop)
    monkeypatch.setattr("pipeline.batch.work._beside", _die)
    with pytest.raises(ImpossibleError, match=r"worker.*again"):
        list(run_lines(lines, shop, jobs=2))


def _die(order: object, ended: object) -> None:
    os.kill(os.getpid(), signal.SIGKILL)


@pytest.mark.parametrize(
    ("line", "why"),
    [
        (",,,8,8,", "give one picture, or letters."),
        (",A,b.png,8,8,", "give one picture, or letters, not both"),
        (",A,,many,8,", "column strands: 'many' is not a whole number"),
        (",A,,8,99999999,", "column rows: '99999999' is out of range"),
        (",A,,8,8,0", "column copies: '0' is out of range"),
        (",A", "2 cells, and the header has 6"),
        (",A,,8,8,1,7", "7 cells, and the header has 6"),
    ],
)
def test_a_bad_line_is_told_and_the_rest_is_read(line: str, why: str) -> None:
    lines, refused = parse_lines(LIST + line + "\nLast,L,,8,8,1\n", "orders.csv", Path())
    assert [o.title for o in lines] == ["Bow", "Flag", "Missing", "Last"]
    assert len(refused) == 1
    assert why in refused[0].error and "line 5" in refused[0].error


@pytest.mark.parametrize(
    "text", ["", "\n", "colour,size\n", "letters,sails\nA,1\n", "title\nBow\n", "letters\n"]
)
def test_a_list_without_header_or_orders_is_refused(text: str) -> None:
    with pytest.raises(InputError, match=r"orders\.csv"):
        parse_lines(text, "orders.csv", Path())


def test_columns_have_the_names_of_flags_in_any_spelling() -> None:
    header = "Initials;Switching_Rows;hand-overs;color;threads;wrist;Fill"
    text = header + '\nRC;auto;NONE;2;"navy; chalk";16 cm;center\n'
    (line,), refused = parse_lines(text, "orders.csv", Path())
    assert not refused and line.title == "RC"
    order = line.order
    assert (order.tying.switching_rows, order.tying.ease.value, order.drawer.colours) == (None, "plain", 2)
    assert order.drawer.only == ("navy", "chalk")
    assert (order.band.wrist_mm, order.band.fill) == (160.0, "centre")
    with pytest.raises(InputError, match=r"line 1: there is no column 'strnds'. Did you mean strands"):
        parse_lines("letters,strnds\nRC,8\n", "orders.csv", Path())
    with pytest.raises(InputError, match="twice"):
        parse_lines("letters,colors,colours\nRC,1,2\n", "orders.csv", Path())


def test_no_cell_of_the_summary_is_a_formula() -> None:
    (line,), _ = parse_lines('title,letters\n=HYPERLINK("x"),A\n', "orders.csv", Path())
    row = next(csv.DictReader(io.StringIO(orders_csv([Outcome(line, error="+1")], ()))))
    assert row["title"].startswith("'=") and row["message"] == "'+1"


def test_a_folder_of_other_files_is_refused(shop: Shop, capsys: pytest.CaptureFixture[str]) -> None:
    shop.out.mkdir()
    (shop.out / "thesis.txt").write_text("years of work")
    (shop.out.parent / "orders.csv").write_text("letters,strands,rows\nI,8,8\n")
    with pytest.raises(SystemExit) as stop:
        run(("batch", str(shop.out.parent / "orders.csv"), "--out", str(shop.out)))
    assert stop.value.code == 2
    assert "--out" in capsys.readouterr().err
    assert [path.name for path in shop.out.iterdir()] == ["thesis.txt"]


ONE = "letters,strands,rows\nI,8,8\n"
QUICK = ("--effort", "0.01", "-q", "--out")


def refused(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    with pytest.raises(SystemExit) as stop:
        run(words)
    said = capsys.readouterr().err
    assert stop.value.code == 2 and said.count("\n") == 1, said
    return said


def test_the_list_and_the_stash_are_never_written_over(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "orders.csv").write_text(ONE)
    monkeypatch.chdir(tmp_path)
    assert "what this run reads" in refused(capsys, "batch", "orders.csv", *QUICK, ".")
    (tmp_path / "orders.csv").rename(tmp_path / "list.csv")
    assert "did not write" in refused(capsys, "batch", "list.csv", *QUICK, ".")
    with pytest.raises(SystemExit) as stop:
        run(("batch", "list.csv", *QUICK, "made"))
    assert stop.value.code == 0
    for name in ("orders.csv", "skeins.csv"):
        (tmp_path / "made" / name).write_text(ONE)
        read = (
            ("batch", f"made/{name}")
            if name == "orders.csv"
            else ("batch", "list.csv", "--stash", f"made/{name}")
        )
        refused(capsys, *read, *QUICK, "made")
        assert (tmp_path / "made" / name).read_text() == ONE


def test_a_list_of_ours_that_the_maker_changed_is_kept(tmp_path: Path) -> None:
    (tmp_path / "list.csv").write_text(ONE)
    words = ("batch", str(tmp_path / "list.csv"), *QUICK, str(tmp_path / "made"))
    for _ in range(2):
        with pytest.raises(SystemExit):
            run(words)
    (tmp_path / "made" / "orders.csv").write_text("with my remarks")
    with pytest.raises(SystemExit):
        run(words)
    assert (tmp_path / "made" / "orders-kept.csv").read_text() == "with my remarks"
    names = {path.name for path in (tmp_path / "made").iterdir()}
    assert names == {
        "001-i", "orders.csv", "orders-kept.csv", "skeins.csv", "skeins.pdf", "written.json"
    }  # fmt: skip


def test_two_runs_in_one_folder_are_kept_apart(tmp_path: Path) -> None:
    made = tmp_path / "made"
    with (
        claimed(made, ("orders.csv",), ()),
        pytest.raises(OutputError, match="another run is at work"),
        claimed(made, (), ()),
    ):
        pass
    with claimed(made, (), ()):
        assert (made / "written.json").exists()
    assert not made.exists()


@pytest.mark.parametrize("there", [(), ("made",), ("made", "of ours")])
def test_a_run_that_writes_nothing_leaves_no_folder(tmp_path: Path, there: tuple[str, ...]) -> None:
    out = tmp_path / "new" / "made"
    if "made" in there:
        out.mkdir(parents=True)
    if "of ours" in there:
        with claimed(out, (), ()):
            put(out, {"orders.csv": "title\n"})
    before = files_of(tmp_path)
    with pytest.raises(KeyboardInterrupt), claimed(out, ("orders.csv",), ()):
        raise KeyboardInterrupt
    assert files_of(tmp_path) == before and out.exists() == bool(there)
    assert out.parent.exists() == bool(there)
