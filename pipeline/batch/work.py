"""Plans every line of a list, on as many cores or machines as there are.

An order that is finished is not planned again: its folder holds ``order.json`` with a digest of everything
that the result depends on. A failing order is reported and never stops the others. Orders run in processes of
this machine, or on a cluster that joblib has been given; results do not depend on it.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from importlib.metadata import version
from pathlib import Path

from pydantic import TypeAdapter

from pipeline.batch.listing import Line
from pipeline.bundle import plan_files
from pipeline.drawer.stash import Stash
from pipeline.errors import HitchgridError
from pipeline.files import manifest
from pipeline.files.channels import json_text
from pipeline.files.folder import write_result
from pipeline.files.manifest import is_ours
from pipeline.files.reading import Kind, json_of, read_plain
from pipeline.limits import MOST_PATTERN_BYTES
from pipeline.materials.workshop import NamedPiece, named_pieces
from pipeline.motif.picture import PICTURE
from pipeline.order.asked import PictureSource
from pipeline.plan import plan
from pipeline.processes import side_by_side
from pipeline.report import report_of
from pipeline.routing import Budget
from pipeline.routing.warm import compile_all, is_warm

ORDER = "order.json"
ORDER_FILE = Kind("finished order", MOST_PATTERN_BYTES, "Remove it.")
_PIECES = TypeAdapter(tuple[NamedPiece, ...])


@dataclass(frozen=True, slots=True)
class Shop:
    """What all orders share: where results go, threads and search."""

    out: Path
    stash: Stash
    effort: float = 1.0
    seed: int = 0


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a line. ``pieces`` are the lengths to cut for one copy."""

    line: Line
    error: str = ""
    cells: int = 0
    made: int = 0
    knots: int = 0
    pieces: tuple[NamedPiece, ...] = ()
    resumed: bool = False
    note: str = field(default="", compare=False)
    """What became of files of the maker's that were in the way."""

    @property
    def done(self) -> bool:
        return not self.error

    @property
    def all_pieces(self) -> tuple[NamedPiece, ...]:
        """The lengths to cut for all copies; each names its band."""
        copies = self.line.copies
        names = [f"{self.line.title}, {i} of {copies}" for i in range(1, copies + 1)]
        return tuple(
            replace(piece, band=name)
            for name in (names if copies > 1 else [self.line.title])
            for piece in self.pieces
        )


def run_lines(lines: Sequence[Line], shop: Shop, *, jobs: int = 1) -> Iterator[Outcome]:
    r"""Plan all lines, ``jobs`` at a time (0: one a core), and yield their outcomes in the order of the list.

    Raises ImpossibleError when a worker process dies; what was finished by then stays.

    >>> import tempfile
    >>> from pipeline.batch.listing import parse_lines
    >>> from pipeline.drawer.stash import builtin_stash
    >>> with tempfile.TemporaryDirectory() as place:
    ...     shop = Shop(Path(place) / "out", builtin_stash(), effort=0.01)
    ...     lines, _ = parse_lines("letters,strands,rows,threads\nI,8,8,navy;chalk\n", "orders.csv", Path())
    ...     [(outcome.done, outcome.line.folder) for outcome in run_lines(lines, shop)]
    [(True, '001-i')]
    """
    if jobs != 1 and len(lines) > 1 and not is_warm():
        compile_all()  # once, rather than in every worker
    ready, told = {}, 0
    for number, outcome in side_by_side(_beside, [(line, shop) for line in lines], jobs):
        ready[number] = outcome
        while told in ready:
            yield ready.pop(told)
            told += 1


def _beside(task: tuple[Line, Shop], ended: Callable[[], bool]) -> Outcome:
    return run_line(*task)


def run_on_present_backend(lines: Sequence[Line], shop: Shop) -> Iterator[Outcome]:
    """Plan all lines on the backend that joblib has been given, with all the workers that it has."""
    import joblib

    yield from joblib.Parallel(return_as="generator")(joblib.delayed(run_line)(line, shop) for line in lines)


def run_line(line: Line, shop: Shop) -> Outcome:
    """Plan one line and write its folder, or read it back if it is finished; never raises for bad input."""
    folder = shop.out / line.folder
    try:
        digest = _digest(line, shop)
        finished = _finished(line, folder, digest, shop.stash)
        return finished or _planned(line, shop, folder, digest)
    except HitchgridError as error:
        return Outcome(line, str(error))
    except Exception as error:  # one order's trouble, ours too, must not cost the others
        return Outcome(line, f"a fault of hitchgrid's: {type(error).__name__}: {error}")


def _planned(line: Line, shop: Shop, folder: Path, digest: str) -> Outcome:
    order = line.order
    budget = Budget(shop.effort, shop.seed)
    made = plan(order.request(shop.stash), title=order.title, budget=budget, further=False)
    outcome = Outcome(
        line,
        cells=made.verdict.cells,
        made=made.verdict.made,
        knots=made.pattern.knot_count,
        pieces=named_pieces(made.pattern, made.cuts),
    )
    kept = {name: getattr(outcome, name) for name in ("cells", "made", "knots")}
    kept["pieces"] = _PIECES.dump_python(outcome.pieces)
    report = report_of(made, pace_s=order.pace_s)
    files = plan_files(made, report, lengthwise=order.artwork.lengthwise)
    files[ORDER] = json_text({"digest": digest, **kept}, 1) + "\n"
    return replace(outcome, note=" ".join(write_result(folder, files, replace=True, inputs=order.files)))


def _finished(line: Line, folder: Path, digest: str, stash: Stash) -> Outcome | None:
    """The outcome of a finished order whose inputs are the same and whose files are all there, or None."""
    written = manifest.read(folder) or {}
    if not is_ours(folder / ORDER, written) or not all((folder / name).exists() for name in written):
        return None
    try:
        kept = json_of(read_plain(folder / ORDER, ORDER_FILE), ORDER)
        if kept["digest"] != digest:
            return None
        pieces = _PIECES.validate_python(kept["pieces"])
        if not {piece.thread for piece in pieces} <= set(stash.names):
            return None
        return Outcome(line, "", int(kept["cells"]), int(kept["made"]), int(kept["knots"]), pieces, True)
    except (HitchgridError, ValueError, KeyError, TypeError, AttributeError, OverflowError):
        return None


def _digest(line: Line, shop: Shop) -> str:
    """Digest of everything a result depends on; raises InputError for a picture that cannot be read."""
    cells = [cell for cell in line.cells if cell[0] != "copies"]
    asked = hashlib.sha256(repr((version("hitchgrid"), cells, shop.stash, shop.effort, shop.seed)).encode())
    artwork = line.order.artwork
    if isinstance(artwork, PictureSource):
        asked.update(hashlib.sha256(read_plain(artwork.path, PICTURE)).digest())
    elif artwork.font is not None:
        asked.update(hashlib.sha256(artwork.font.read_bytes()).digest())
    return asked.hexdigest()
