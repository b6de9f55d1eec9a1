"""What each part of the router is worth: ``python -m benchmarks.ablate`` (``make ablate``).

Every move of the search is switched off in turn, and every tuned constant halved and doubled, on hard grids
(the public cases) and on soft costs made from pictures. A line tells by how much the colour error and the
processor time change against the router as it is, on the mean of all instances and seeds. What was measured
is kept in ``benchmarks/ablation.json`` and written as a table into ``benchmarks/ABLATION.md``; variants that
are there already are skipped, so the whole can be done in pieces.
"""

from __future__ import annotations

import argparse
import ast
import json
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from pkgutil import iter_modules
from statistics import fmean
from typing import Any

from benchmarks.instances import load, problem, soft
from benchmarks.measure import warm_up
from pipeline import routing
from pipeline.band.knots import Worked
from pipeline.routing import Budget, Ease, Question, route
from pipeline.routing.board import board
from pipeline.routing.route import simple

HERE = Path(__file__).parent
HARD = ("stripes_21x90", "fur_25x120", "gradient_25x120")
SOFT = ("lighthouse_dusk", "life_ring")
ASIDE = ("extra", "forced", "joins", "lengthening", "question", "seam", "switching", "warm")
"""Modules that the routing of a band as it is asked does not go through."""
FIXED = ("BISECTIONS", "EVERYWHERE", "MEMORY", "NONE", "REPORT_EVERY_S", "SCALE_BITS", "TOLERANCE")
"""Numbers that are no matter of taste: marks, precision, memory."""
FLOOR = 20.0
"""ΔE added to every colour error, so that a ratio to next to nothing means nothing."""


@dataclass(frozen=True, slots=True)
class Variant:
    """A change of the router: ``patches`` are (module, attribute, what stands there instead)."""

    name: str
    patches: tuple[tuple[str, str, Any], ...] = ()


def _nothing(*arguments: Any, **options: Any) -> None:
    return None


def _spent(search: Any, centre: int) -> None:
    """What takes all the effort that is left, where a move that takes none would be tried for ever."""
    search.meter.spend(search.meter.allowed)


MOVES = (
    Variant("as it is"),
    Variant("no local exchange", (("search.Search", "exchange_near", _nothing),)),
    Variant("no exchange of whole threads", (("search.Search", "exchange", _nothing),)),
    Variant(
        "no plain band to start from", (("route", "plain_labels", lambda asked, _: simple(board(asked))),)
    ),
    Variant("no beams that look ahead", (("starts.Guide", "draws", lambda *_: iter(())),)),
    Variant("no beams from the far end", (("starts", "reversible", lambda _: False),)),
    Variant("no false costs in beams", (("starts", "FALSE", (0.0,)),)),
    Variant("no disturbance", (("search.Search", "disturb", _spent),)),
    Variant("no programs of the leader", (("route", "applies", lambda _: False),)),
    Variant("prices of strips wire by wire", (("bound.Dual", "_spread", lambda self, slope: slope),)),
    Variant("strips of one column", (("bound", "LEAST_STEPS", 10**12),)),
    Variant("no taking out of hand-overs", (("route", "fewer_hand_overs", lambda _, found, *rest: found),)),
)


def constants() -> Iterator[Variant]:
    """Every tuned number of the search, halved and doubled; tuples of numbers as a whole."""
    for part in iter_modules(routing.__path__):
        module = import_module(f"{routing.__name__}.{part.name}")
        if part.name in ASIDE:
            continue
        for name in _assigned(Path(str(module.__file__)).read_text(encoding="utf-8")):
            value = getattr(module, name)
            if name not in FIXED and all(type(each) in (int, float) for each in _numbers(value)):
                for factor, word in ((0.5, "halved"), (2.0, "doubled")):
                    yield Variant(f"{part.name}.{name} {word}", _everywhere(name, value, factor))


def _assigned(source: str) -> Iterator[str]:
    """The names in capitals that a module assigns at its top."""
    for statement in ast.parse(source).body:
        targets = statement.targets if isinstance(statement, ast.Assign) else []
        for node in (node for target in targets for node in ast.walk(target)):
            if isinstance(node, ast.Name) and node.id.isupper():
                yield node.id


def _numbers(value: Any) -> tuple[Any, ...]:
    return tuple(each for part in value for each in _numbers(part)) if isinstance(value, tuple) else (value,)


def _scaled(value: Any, factor: float) -> Any:
    if isinstance(value, tuple):
        return tuple(_scaled(each, factor) for each in value)
    return max(1, round(value * factor)) if isinstance(value, int) else value * factor


def _everywhere(name: str, value: Any, factor: float) -> tuple[tuple[str, str, Any], ...]:
    """Patches of a number wherever it has been imported to."""
    return tuple(
        (part.name, name, _scaled(value, factor))
        for part in iter_modules(routing.__path__)
        if getattr(import_module(f"{routing.__name__}.{part.name}"), name, None) is value
    )


@contextmanager
def patched(variant: Variant) -> Iterator[None]:
    """The router under a variant, for a while."""
    kept = []
    for where, name, value in variant.patches:
        module, _, inside = where.partition(".")
        holder: Any = import_module(f"{routing.__name__}.{module}")
        holder = getattr(holder, inside) if inside else holder
        kept.append((holder, name, getattr(holder, name)))
        setattr(holder, name, value)
    try:
        yield
    finally:
        for holder, name, value in reversed(kept):
            setattr(holder, name, value)


def instances() -> dict[str, Callable[[], Question]]:
    """Name and maker of every question asked."""
    orders: tuple[tuple[Worked, Ease], ...] = (
        ("rows", Ease.LIGHT),
        ("rows", Ease.FULL),
        ("diagonal", Ease.FULL),
    )
    made: dict[str, Callable[[], Question]] = {}
    for worked, ease in orders:
        for name in HARD:
            made[f"{name} {worked} {ease}"] = lambda n=name, w=worked, e=ease: problem(load(n), w, e)
        for name in SOFT if ease is Ease.LIGHT or worked == "diagonal" else ():
            made[f"{name} soft {worked} {ease}"] = lambda n=name, w=worked, e=ease: soft(n, w, e)
    return made


def run(variant: Variant, asked: dict[str, Question], effort: float, seeds: Sequence[int]) -> dict[str, Any]:
    """Route everything under a variant: {instance: [cost, bound, hand-overs, processor seconds]} by seed."""
    found: dict[str, Any] = {}
    with patched(variant):
        for name, question in asked.items():
            for seed in seeds:
                began = time.process_time()
                answer = route(question, Budget(effort, seed))
                spent = time.process_time() - began
                found[f"{name} {seed}"] = [answer.cost, answer.lower_bound, answer.hand_overs, spent]
    return found


def table(data: dict[str, Any]) -> str:
    """The report as Markdown."""
    plain = data["as it is"]
    lines = [
        "| variant | hard: error % | soft: error % | bound % | hand-overs % | time % |",
        "|---" * 6 + "|",
    ]
    for name, found in data.items():
        both = [key for key in found if key in plain]

        def change(column: int, keys: list[str], found: dict[str, Any] = found) -> str:
            ratios = [(found[k][column] + FLOOR) / (plain[k][column] + FLOOR) for k in keys]
            return f"{100 * (fmean(ratios) - 1):+.1f}" if ratios else ""

        hard, soft_ones = [k for k in both if " soft " not in k], [k for k in both if " soft " in k]
        time_ratio = sum(found[k][3] for k in both) / max(1e-9, sum(plain[k][3] for k in both))
        lines.append(
            f"| {name} | {change(0, hard)} | {change(0, soft_ones)} | {change(1, both)} |"
            f" {change(2, both)} | {100 * (time_ratio - 1):+.0f} |"
        )
    return "\n".join(lines)


def main(arguments: list[str] | None = None) -> int:
    """Measure what the arguments select, and write the table."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.ablate", description=__doc__)
    parser.add_argument("--effort", type=float, default=0.2)
    parser.add_argument("--seeds", type=int, nargs="+", default=[0])
    parser.add_argument("--constants", action="store_true", help="halve and double the constants too")
    parser.add_argument("--on", default="", help="instances whose name contains this, such as soft")
    parser.add_argument("--only", default="", help="variants whose name contains this")
    parser.add_argument("--results", type=Path, default=HERE / "ablation.json")
    chosen = parser.parse_args(arguments)
    data: dict[str, Any] = json.loads(chosen.results.read_text()) if chosen.results.exists() else {}
    warm_up()
    asked = {name: make() for name, make in instances().items() if chosen.on in name}
    for variant in (*MOVES, *(constants() if chosen.constants else ())):
        if variant.name not in data and (chosen.only in variant.name or not data):
            data[variant.name] = run(variant, asked, chosen.effort, chosen.seeds)
            chosen.results.write_text(json.dumps(data, indent=0), encoding="utf-8")
            print(table({k: data[k] for k in ("as it is", variant.name)}).splitlines()[-1], flush=True)
    (HERE / "ABLATION.md").write_text(
        f"# What each part of the router is worth\n\n`make ablate`, effort {chosen.effort}, seeds "
        f"{chosen.seeds}: change against the router as it is.\n\n{table(data)}\n",
        encoding="utf-8",
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
