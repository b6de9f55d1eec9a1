"""Many orders from one list: each becomes a result folder of its own, and all of them one cutting plan.

An order that is finished is not planned again: its folder holds ``order.json`` with a digest of everything
that the result depends on. A failing order is reported and never stops the others. Orders run on joblib, so
whatever backend joblib has been given (processes by default, a cluster where one is registered) carries them;
results do not depend on it.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import BrokenExecutor
from dataclasses import asdict, dataclass, field, fields, replace
from importlib.metadata import version
from pathlib import Path

import joblib

from pipeline.bundle import band_files
from pipeline.drawer.stash import Stash
from pipeline.errors import HitchgridError, ImpossibleError, InputError
from pipeline.files.channels import label, spreadsheet
from pipeline.files.folder import folder_name, write_result
from pipeline.files.reading import Kind, json_of, read_plain, text_of
from pipeline.materials.cutting import Cutting, cut_skeins
from pipeline.materials.lengths import pieces
from pipeline.materials.skeins import DEFAULT_SKEIN_M, owned_skeins
from pipeline.motif.picture import PICTURE
from pipeline.order.asked import Artwork, Band, Drawer, LetterSource, PictureSource, Tying
from pipeline.plan import plan
from pipeline.report import report_of
from pipeline.routing import Budget, Ease
from pipeline.routing.warm import compile_all, is_warm

ReadWrist = Callable[[str], float | None]
"""Turns a wrist as people write it into mm."""
ORDER_FILE = Kind("finished order", 20_000_000, "Remove it.")
LIST_FILE = Kind("list of orders", 2_000_000, "Split the list.")
MAX_ORDERS = 5_000
ORDER = "order.json"
LIST, SKEINS = "orders.csv", "skeins.csv"
"""What became of each order, and what all of them are cut from."""


@dataclass(frozen=True, slots=True)
class Order:
    """One line of the list. ``line`` counts from 1 with the header; empty cells are None.

    ``copies`` bands are made alike, which only the thread needed depends on.
    """

    line: int
    title: str
    letters: str | None = None
    picture: str | None = None
    strands: int | None = None
    worked: str = "rows"
    rows: int | None = None
    wrist: float | None = None
    threads: tuple[str, ...] | None = None
    colours: int | None = None
    ground: str | None = None
    ease: str = "light"
    switching_rows: int = 0
    copies: int = 1

    @property
    def folder(self) -> str:
        """Name of its result folder: unique in the list by the line it stands in."""
        return f"{self.line - 1:03d}-{folder_name(self.title)}"


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of an order. ``pieces_cm`` are the lengths to cut by thread name, all copies together."""

    order: Order
    error: str = ""
    cells: int = 0
    made: int = 0
    knots: int = 0
    pieces_cm: Mapping[str, tuple[int, ...]] | None = None
    resumed: bool = False
    note: str = field(default="", compare=False)
    """What became of files of the maker's that were in the way."""

    @property
    def done(self) -> bool:
        return not self.error


COLUMNS = tuple(field.name for field in fields(Order) if field.name != "line")


def parse_orders(text: str, source: str, wrist: ReadWrist) -> tuple[tuple[Order, ...], tuple[Outcome, ...]]:
    r"""Read the list; return the orders, and an outcome with an error for each line that cannot be read.

    ``wrist`` turns the text of a wrist into mm. Raises InputError for a list that has no usable header.

    >>> orders, refused = parse_orders("letters,rows\nRC,60\nBOW,many\n", "orders.csv", float)
    >>> [order.letters for order in orders], [outcome.order.line for outcome in refused]
    (['RC'], [3])
    """
    reader = csv.reader(io.StringIO(text), strict=True)
    try:
        header = [name.strip().lower().replace("-", "_") for name in next(reader, [])]
        unknown = [name for name in header if name not in COLUMNS]
        if not header or unknown or not {"letters", "picture"} & set(header):
            what = f"has a column {unknown[0]!r}" if unknown else 'needs a column "letters" or "picture"'
            raise InputError(f"{source}, line 1: the header {what}.", f"Columns: {', '.join(COLUMNS)}.")
        orders: list[Order] = []
        refused: list[Outcome] = []
        for cells in reader:
            if not any(cell.strip() for cell in cells):
                continue
            if len(orders) + len(refused) >= MAX_ORDERS:
                raise InputError(f"{source} has more than {MAX_ORDERS} orders.", "Split the list.")
            line = reader.line_num
            try:
                orders.append(_order(line, dict(zip(header, cells, strict=True)), wrist))
            except (HitchgridError, ValueError) as error:
                what = str(error) if isinstance(error, HitchgridError) else "has another number of cells."
                refused.append(Outcome(Order(line, f"line {line}"), f"line {line}: {what}"))
    except csv.Error as error:
        raise InputError(f"{source}, line {reader.line_num}: {error}.", "Save the list as CSV.") from None
    if not orders and not refused:
        raise InputError(f"{source} holds no orders.", "Add a line for each band.")
    return tuple(orders), tuple(refused)


def read_orders(path: Path, wrist: ReadWrist) -> tuple[tuple[Order, ...], tuple[Outcome, ...]]:
    """Read the list from a file; see :func:`parse_orders`."""
    called = label(path)
    return parse_orders(text_of(read_plain(path, LIST_FILE), called), called, wrist)


def _order(line: int, cells: Mapping[str, str], wrist: ReadWrist) -> Order:
    given = {key: value.strip() for key, value in cells.items() if value.strip()}
    if ("letters" in given) == ("picture" in given):
        raise InputError("an order has either letters or a picture.", "Fill one of the two.")
    whole = {key: _whole(key, given[key]) for key in _WHOLE if key in given}
    choices = {"worked": ("rows", "diagonal"), "ease": tuple(str(e) for e in Ease)}
    for key, known in choices.items():
        if key in given and given[key] not in known:
            raise InputError(f"{key} {given[key][:40]!r} is unknown.", f"Use {' or '.join(known)}.")
    threads = given.get("threads")
    return Order(
        line=line,
        title=given.get("title") or given.get("letters") or Path(given.get("picture", "band")).stem,
        letters=given.get("letters"),
        picture=given.get("picture"),
        worked=given.get("worked", "rows"),
        wrist=wrist(given["wrist"]) if "wrist" in given else None,
        threads=tuple(t.strip() for t in threads.split(";")) if threads else None,
        ground=given.get("ground"),
        ease=given.get("ease", "light"),
        **whole,
    )


_WHOLE = {"strands": 400, "rows": 5000, "colours": 16, "switching_rows": 400, "copies": 1000}
"""Columns of whole numbers and their largest values."""


def _whole(key: str, text: str) -> int:
    if not text.isdecimal() or len(text) > 6 or not int(text) <= _WHOLE[key]:
        raise InputError(f"{key} {text[:40]!r} is not a whole number up to {_WHOLE[key]}.", "Correct it.")
    return int(text)


@dataclass(frozen=True, slots=True)
class Shop:
    """What all orders share: the list's folder (pictures are found from there), threads and search."""

    base: Path
    out: Path
    stash: Stash
    usual_wrist_mm: float
    effort: float = 1.0
    seed: int = 0


def run_orders(orders: Sequence[Order], shop: Shop, *, jobs: int = 1) -> Iterator[Outcome]:
    r"""Plan all orders, ``jobs`` at a time, and yield their outcomes in the order of the list.

    Works on joblib's present backend (``joblib.parallel_config`` chooses another). Raises ImpossibleError
    when a worker process dies; what was finished by then stays.

    >>> import tempfile
    >>> from pipeline.drawer.stash import builtin_stash
    >>> with tempfile.TemporaryDirectory() as place:
    ...     shop = Shop(Path(place), Path(place) / "out", builtin_stash(), 165.0, effort=0.01)
    ...     orders, _ = parse_orders("letters,strands,rows,threads\nI,8,8,navy;chalk\n", "orders.csv", float)
    ...     [(outcome.done, outcome.order.folder) for outcome in run_orders(orders, shop)]
    [(True, '001-i')]
    """
    if jobs != 1 and len(orders) > 1 and not is_warm():
        compile_all()  # once, rather than in every worker
    tasks = (joblib.delayed(run_order)(order, shop) for order in orders)
    try:
        yield from joblib.Parallel(n_jobs=jobs, return_as="generator")(tasks)
    except BrokenExecutor:
        raise ImpossibleError(
            "a worker process was ended from outside, perhaps for want of memory.",
            "Run it again with fewer jobs; finished orders are not planned twice.",
        ) from None


def run_order(order: Order, shop: Shop) -> Outcome:
    """Plan one order and write its folder, or read it back if it is finished; never raises for bad input."""
    folder = shop.out / order.folder
    try:
        digest = _digest(order, shop)
        finished = _finished(order, folder, digest, shop.stash)
        return finished or _planned(order, shop, folder, digest)
    except HitchgridError as error:
        return Outcome(order, str(error))
    except Exception as error:  # one order's trouble, ours too, must not cost the others
        return Outcome(order, f"a fault of hitchgrid's: {type(error).__name__}: {error}")


def _artwork(order: Order, shop: Shop) -> Artwork:
    if order.letters is not None:
        return LetterSource(order.letters)
    return PictureSource(shop.base / (order.picture or ""))


def _planned(order: Order, shop: Shop, folder: Path, digest: str) -> Outcome:
    made = plan(
        _artwork(order, shop),
        Band(
            strands=order.strands,
            worked="diagonal" if order.worked == "diagonal" else "rows",
            rows=order.rows,
            wrist_mm=order.wrist or (None if order.rows else shop.usual_wrist_mm),
        ),
        Drawer(shop.stash, order.threads, order.colours, order.ground),
        Tying(ease=Ease(order.ease), switching_rows=order.switching_rows),
        title=order.title,
        budget=Budget(shop.effort, shop.seed),
        further=False,
    )
    lengths: dict[str, list[int]] = {}
    for piece in pieces(made.pattern, made.cuts):
        name = made.pattern.threads[piece.thread].name
        lengths.setdefault(name, []).extend([round(piece.length_mm / 10)] * order.copies)
    outcome = Outcome(
        order,
        cells=made.verdict.cells,
        made=made.verdict.made,
        knots=sum(len(row.knots) for _, _, _, row in made.pattern.rows()),
        pieces_cm={name: tuple(cm) for name, cm in sorted(lengths.items())},
    )
    kept = {key: value for key, value in asdict(outcome).items() if key not in ("resumed", "error", "note")}
    files = band_files(
        made.pattern, made.cuts, report_of(made), skeins=made.skeins, source=made.design.picture
    )
    files[ORDER] = json.dumps({"digest": digest, **kept}, indent=1, ensure_ascii=False) + "\n"
    picture = None if order.picture is None else shop.base / order.picture
    return replace(outcome, note=" ".join(write_result(folder, files, replace=True, inputs=[picture])))


def _finished(order: Order, folder: Path, digest: str, stash: Stash) -> Outcome | None:
    """The outcome of a finished order whose inputs are the same, or None."""
    try:
        kept = json_of(read_plain(folder / ORDER, ORDER_FILE), ORDER)
        if kept["digest"] != digest:
            return None
        cut = {str(name): tuple(int(cm) for cm in lengths) for name, lengths in kept["pieces_cm"].items()}
        if not cut.keys() <= set(stash.names) or any(cm < 0 for lengths in cut.values() for cm in lengths):
            return None
        return Outcome(order, "", int(kept["cells"]), int(kept["made"]), int(kept["knots"]), cut, True)
    except (HitchgridError, ValueError, KeyError, TypeError, AttributeError, OverflowError):
        return None


def _digest(order: Order, shop: Shop) -> str:
    """Digest of everything a result depends on; raises InputError for a picture that cannot be read."""
    inputs = (version("hitchgrid"), order, shop.stash, shop.usual_wrist_mm, shop.effort, shop.seed)
    asked = hashlib.sha256(repr(inputs).encode())
    if order.picture is not None:
        asked.update(hashlib.sha256(read_plain(shop.base / order.picture, PICTURE)).digest())
    return asked.hexdigest()


@dataclass(frozen=True, slots=True)
class Total:
    """What all orders together need of one thread."""

    thread: str
    metres: float
    owned_m: float | None
    cutting: Cutting


def totals(outcomes: Iterable[Outcome], stash: Stash) -> tuple[Total, ...]:
    r"""One cutting plan across all finished orders, thread by thread.

    >>> from pipeline.drawer.stash import parse_stash
    >>> drawer = parse_stash(b"name,colour,metres,skein\nnavy,#1b2a59,8,8\n", "drawer.csv")
    >>> two = [Outcome(Order(line, "x"), pieces_cm={"navy": (150, 150)}) for line in (2, 3)]
    >>> [(total.thread, total.metres, total.cutting.new) for total in totals(two, drawer)]
    [('navy', 6.0, 0)]
    """
    wanted: dict[str, list[int]] = {}
    for outcome in outcomes:
        for name, lengths in (outcome.pieces_cm or {}).items():
            wanted.setdefault(name, []).extend(lengths)
    owned = {thread.name: thread for thread in stash.threads}
    found = []
    for name in sorted(wanted):
        thread = owned[name]
        skein_cm = round((thread.skein_m or DEFAULT_SKEIN_M) * 100)
        cutting = cut_skeins(sorted(wanted[name], reverse=True), owned_skeins(thread), more_cm=skein_cm)
        found.append(Total(name, sum(wanted[name]) / 100, thread.metres, cutting))
    return tuple(found)


def orders_csv(outcomes: Iterable[Outcome]) -> str:
    """One line an order: where its result is and what it shows, or what was wrong."""
    return _csv(
        ("line", "title", "copies", "folder", "status", "cells", "made", "knots", "metres", "message"),
        (
            (
                outcome.order.line,
                outcome.order.title,
                outcome.order.copies,
                outcome.order.folder if outcome.done else "",
                "done" if outcome.done else "failed",
                outcome.cells,
                outcome.made,
                outcome.knots,
                f"{sum(map(sum, (outcome.pieces_cm or {}).values())) / 100:.2f}",
                outcome.error or outcome.note,
            )
            for outcome in sorted(outcomes, key=lambda o: o.order.line)
        ),
    )


def skeins_csv(found: Iterable[Total]) -> str:
    """The cutting plan: one line a skein, with what is cut from it in cm."""
    return _csv(
        ("thread", "skein", "length_cm", "cut_cm", "left_cm"),
        (
            (total.thread, i, skein.length_cm, " + ".join(map(str, skein.pieces_cm)), skein.left_cm)
            for total in found
            for i, skein in enumerate(total.cutting.skeins, start=1)
        ),
    )


def _csv(header: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """CSV text whose cells no spreadsheet takes for a formula."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(header)
    writer.writerows([spreadsheet(cell) for cell in row] for row in rows)
    return text.getvalue()
