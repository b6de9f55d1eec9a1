"""Many orders from one list: resumed, never stopped by a bad line, independent of the workers."""

from __future__ import annotations

import csv
import io
import os
import shutil
import signal
from dataclasses import replace
from pathlib import Path

import pytest
from PIL import Image

from cli.main import run
from pipeline.batch import COLUMNS, Outcome, Shop, orders_csv, parse_orders, run_orders, skeins_csv, totals
from pipeline.drawer.stash import Stash, parse_stash
from pipeline.errors import ImpossibleError, InputError, OutputError
from pipeline.files.collection import claimed

STASH = b"name,colour,metres\nnavy,#1b2a59,12\nchalk,#f4f1e8,3\ncoral,#e0604a,20\n"
LIST = """title,letters,picture,strands,rows,copies
Bow,I,,8,8,2
Flag,,flag.png,7,6,1
Missing,,nowhere.png,7,6,1
"""


def wrist(text: str) -> float:
    return float(text)


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    flag = Image.new("RGB", (24, 24), "#1b2a59")
    flag.paste((224, 96, 74), (8, 0, 16, 24))
    flag.save(tmp_path / "flag.png")
    stash: Stash = parse_stash(STASH, "drawer.csv")
    return Shop(tmp_path, tmp_path / "out", stash, 165.0, effort=0.01)


def files_of(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_orders_are_planned_resumed_and_summed_up(shop: Shop) -> None:
    orders, refused = parse_orders(LIST, "orders.csv", wrist)
    assert not refused
    first = list(run_orders(orders, shop))
    assert [o.order.title for o in first] == ["Bow", "Flag", "Missing"]
    assert [o.done for o in first] == [True, True, False]
    assert "nowhere.png" in first[2].error
    written = files_of(shop.out)
    assert "001-bow/pattern.json" in written and "002-flag/order.json" in written

    shutil.rmtree(shop.out / "002-flag")
    again = list(run_orders(orders, shop))
    assert [o.resumed for o in again] == [True, False, False]
    assert files_of(shop.out) == written
    assert [replace(o, resumed=False) for o in again] == first

    found = totals(again, shop.stash)
    for total in found:
        cut = sorted(cm for skein in total.cutting.skeins for cm in skein.pieces_cm)
        assert cut == sorted(cm for o in again for cm in (o.pieces_cm or {}).get(total.thread, ()))
        assert total.metres == pytest.approx(sum(cut) / 100)
    status = {row["title"]: row for row in csv.DictReader(io.StringIO(orders_csv(again)))}
    assert status["Bow"]["status"] == "done" and status["Missing"]["status"] == "failed"
    assert float(status["Bow"]["metres"]) == pytest.approx(sum(map(sum, again[0].pieces_cm.values())) / 100)
    assert len(list(csv.DictReader(io.StringIO(skeins_csv(found))))) == sum(
        len(t.cutting.skeins) for t in found
    )


def test_a_changed_order_or_picture_is_planned_again(shop: Shop) -> None:
    orders, _ = parse_orders(LIST, "orders.csv", wrist)
    list(run_orders(orders[:2], shop))
    Image.new("RGB", (24, 24), "#e0604a").save(shop.base / "flag.png")
    changed = [replace(orders[0], rows=9), orders[1]]
    assert [o.resumed for o in run_orders(changed, shop)] == [False, False]


def test_a_newer_version_plans_again(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    orders, _ = parse_orders(LIST, "orders.csv", wrist)
    list(run_orders(orders[:1], shop))
    monkeypatch.setattr("pipeline.batch.version", lambda name: "99.0")
    assert [o.resumed for o in run_orders(orders[:1], shop)] == [False]
    assert [o.resumed for o in run_orders(orders[:1], shop)] == [True]


@pytest.mark.parametrize("picture", ["/dev/zero", ".", "n" * 5000, "no\0thing.png"])
def test_a_picture_that_is_no_file_is_told_at_once(shop: Shop, picture: str) -> None:
    orders, _ = parse_orders(LIST, "orders.csv", wrist)
    (outcome,) = run_orders([replace(orders[1], picture=picture)], shop)
    assert outcome.error and "fault" not in outcome.error


def test_two_workers_write_what_one_writes(shop: Shop) -> None:
    orders, _ = parse_orders(LIST, "orders.csv", wrist)
    alone = list(run_orders(orders, shop))
    both = replace(shop, out=shop.base / "both")
    assert list(run_orders(orders, both, jobs=2)) == alone
    assert files_of(both.out) == files_of(shop.out)


def test_a_forged_finished_order_is_planned_again(shop: Shop) -> None:
    orders, _ = parse_orders(LIST, "orders.csv", wrist)
    first = list(run_orders(orders[:1], shop))
    kept = shop.out / "001-bow" / "order.json"
    sound = kept.read_text()
    for old, new in (("navy", "gold"), ('"knots"', '"nots"'), ('"pieces_cm": {', '"pieces_cm": 3, "x": {')):
        kept.write_text(sound.replace(old, new))
        assert list(run_orders(orders[:1], shop)) == first
        assert kept.read_text() == sound


def test_a_worker_that_dies_is_told(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    orders, _ = parse_orders(LIST, "orders.csv", wrist)
    monkeypatch.setattr("pipeline.batch.run_order", _die)
    with pytest.raises(ImpossibleError, match=r"worker.*again"):
        list(run_orders(orders, shop, jobs=2))


def _die(order: object, shop: object) -> None:
    os.kill(os.getpid(), signal.SIGKILL)


@pytest.mark.parametrize(
    ("line", "why"),
    [
        (",,,8,8,", "either letters or a picture"),
        (",A,b.png,8,8,", "either letters or a picture"),
        (",A,,many,8,", "strands 'many'"),
        (",A,,8,99999999,", "rows"),
        (",A", "another number of cells"),
        (",A,,8,8,1,7", "another number of cells"),
    ],
)
def test_a_bad_line_is_told_and_the_rest_is_read(line: str, why: str) -> None:
    orders, refused = parse_orders(LIST + line + "\nLast,L,,8,8,1\n", "orders.csv", wrist)
    assert [o.title for o in orders] == ["Bow", "Flag", "Missing", "Last"]
    assert len(refused) == 1
    assert why in refused[0].error and "line 5" in refused[0].error


@pytest.mark.parametrize(
    "text", ["", "\n", "colour,size\n", "letters,size\nA,1\n", "title\nBow\n", "letters\n"]
)
def test_a_list_without_header_or_orders_is_refused(text: str) -> None:
    with pytest.raises(InputError, match=r"orders\.csv"):
        parse_orders(text, "orders.csv", wrist)


def test_no_cell_of_the_summary_is_a_formula() -> None:
    orders, _ = parse_orders('title,letters\n=HYPERLINK("x"),A\n', "orders.csv", wrist)
    text = orders_csv([Outcome(orders[0], error="+1")])
    row = next(csv.DictReader(io.StringIO(text)))
    assert row["title"].startswith("'=") and row["message"] == "'+1"


def test_every_column_is_a_field_of_an_order() -> None:
    assert {"letters", "picture", "copies", "title"} <= set(COLUMNS)
    assert "line" not in COLUMNS


def test_a_folder_of_other_files_is_refused(shop: Shop, capsys: pytest.CaptureFixture[str]) -> None:
    shop.out.mkdir()
    (shop.out / "thesis.txt").write_text("years of work")
    (shop.base / "orders.csv").write_text("letters,strands,rows\nI,8,8\n")
    with pytest.raises(SystemExit) as stop:
        run(("batch", str(shop.base / "orders.csv"), "--out", str(shop.out)))
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
    assert names == {"001-i", "orders.csv", "orders-kept.csv", "skeins.csv", "written.json"}


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
    assert [path.name for path in made.iterdir()] == ["written.json"]
