"""A mutation sample: ``python -m tests.mutation --count 20``; prints each survivor and the score.

Small changes (another comparison or operator, a number off by one, a condition turned round) are made
one at a time in a copy of the project, and the tests named beside each module are run. A change that no
test notices survives: it is either a missing test or no change at all.
"""

from __future__ import annotations

import argparse
import ast
import copy
import os
import random
import resource
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path

ROOT = Path(__file__).parent.parent
MATERIALS, BY_HAND = "tests/materials/test_materials.py", "tests/materials/test_by_hand.py"
SUMS, SKEINS = "tests/materials/test_sums.py", "tests/materials/test_skeins.py"
TESTS: dict[str, tuple[str, ...]] = {
    "pipeline/band/knots.py": ("pipeline/band/knots.py", "tests/band", "tests/verdict/test_check.py"),
    "pipeline/band/network.py": ("pipeline/band/network.py", "tests/band"),
    "pipeline/verdict/feasibility.py": ("pipeline/verdict/feasibility.py", "tests/verdict/test_check.py"),
    "pipeline/materials/gauge.py": (BY_HAND, "pipeline/materials/gauge.py", "tests/materials/test_gauge.py"),
    "pipeline/materials/fit.py": (
        BY_HAND,
        "tests/materials/test_fit.py",
        "pipeline/materials/fit.py",
        "tests/materials/test_gauge.py",
    ),
    "pipeline/materials/lengths.py": (BY_HAND, "pipeline/materials/lengths.py", MATERIALS),
    "pipeline/materials/sharing.py": (
        SUMS,
        "tests/materials/test_sharing.py",
        "tests/materials/test_rescale.py",
        MATERIALS,
    ),
    "pipeline/materials/joins.py": ("tests/materials/test_joins.py", MATERIALS),
    "pipeline/materials/ends.py": (BY_HAND, "pipeline/materials/ends.py", "tests/materials/test_ends.py"),
    "pipeline/materials/cutting.py": (
        "pipeline/materials/cutting.py",
        "tests/materials/test_cutting.py",
        SKEINS,
    ),
    "pipeline/materials/skeins.py": ("pipeline/materials/skeins.py", SKEINS),
    "pipeline/materials/price.py": ("pipeline/materials/price.py", "tests/materials/test_price.py"),
    "pipeline/materials/rescale.py": ("pipeline/materials/rescale.py", "tests/materials/test_rescale.py"),
    "pipeline/materials/hand.py": ("pipeline/materials/hand.py", SUMS, "tests/materials/test_rescale.py"),
    "pipeline/materials/ledger.py": (SUMS, "pipeline/materials/ledger.py", "tests/materials/test_ledger.py"),
    "pipeline/materials/paths.py": (SUMS, "tests/materials/test_sharing.py"),
    "pipeline/materials/gain.py": (SUMS, "tests/materials/test_sharing.py"),
    "pipeline/materials/booking.py": (
        SUMS,
        "pipeline/materials/booking.py",
        "tests/materials/test_price.py",
    ),
}
"""The modules of the sample, and the tests that are to notice a change in each."""
SECONDS, BYTES = 200, 6_000_000_000
COMPARE: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
OPERATE: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Mod: ast.Mult,
    ast.FloorDiv: ast.Mult, ast.BitOr: ast.BitAnd, ast.BitXor: ast.BitOr,
}  # fmt: skip


def mutants(source: str) -> Iterator[tuple[int, str, str]]:
    """Every mutant as (line, what was changed, new source); types, docstrings and decorators stay."""
    tree = ast.parse(source)
    spared = {id(part) for node in ast.walk(tree) for kept in _kept(node) for part in ast.walk(kept)}
    for index, node in enumerate(ast.walk(tree)):
        if id(node) in spared:
            continue
        for what, change in _changes(node):
            other = copy.deepcopy(tree)
            twin = next(n for i, n in enumerate(ast.walk(other)) if i == index)
            change(twin)
            yield getattr(node, "lineno", 0), what, ast.unparse(ast.fix_missing_locations(other))


def _changes(node: ast.AST):  # type: ignore[no-untyped-def]
    if isinstance(node, ast.Compare) and type(node.ops[0]) in COMPARE:
        new = COMPARE[type(node.ops[0])]
        yield f"{type(node.ops[0]).__name__} -> {new.__name__}", lambda twin: twin.ops.__setitem__(0, new())
    if isinstance(node, ast.BinOp) and type(node.op) in OPERATE:
        operator = OPERATE[type(node.op)]
        yield f"{type(node.op).__name__} -> {operator.__name__}", lambda twin: setattr(twin, "op", operator())
    if isinstance(node, ast.Constant) and type(node.value) in (int, float):
        yield f"{node.value} -> {node.value + 1}", lambda twin: setattr(twin, "value", twin.value + 1)
    if isinstance(node, ast.Constant) and isinstance(node.value, bool):
        yield f"{node.value} -> {not node.value}", lambda twin: setattr(twin, "value", not twin.value)
    if isinstance(node, (ast.If, ast.IfExp)):
        yield "condition turned round", lambda twin: setattr(twin, "test", ast.UnaryOp(ast.Not(), twin.test))
    if isinstance(node, ast.BoolOp):
        new_op = ast.Or if isinstance(node.op, ast.And) else ast.And
        yield f"{type(node.op).__name__} -> {new_op.__name__}", lambda twin: setattr(twin, "op", new_op())


def _kept(node: ast.AST) -> Iterator[ast.AST]:
    """What is not changed: decorators, types, and the ``strict`` of a zip, which no call relies on."""
    if isinstance(node, (ast.ClassDef, ast.FunctionDef)):
        yield from node.decorator_list
    if isinstance(node, ast.FunctionDef) and node.returns is not None:
        yield node.returns
    if isinstance(node, (ast.arg, ast.AnnAssign)) and node.annotation is not None:
        yield node.annotation
    if isinstance(node, ast.keyword) and node.arg == "strict":
        yield node


def main() -> int:
    """Run the sample."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=20, help="mutants of each module")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("modules", nargs="*")
    given = parser.parse_args()
    resource.setrlimit(resource.RLIMIT_AS, (BYTES, BYTES))
    scores: list[tuple[int, int]] = []
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "project"
        shutil.copytree(
            ROOT, place, ignore=shutil.ignore_patterns(".*", "output", "dist", "build", "*.egg-info")
        )
        for name in given.modules or TESTS:
            scores.append(_sample(place, name, given.count, given.seed))
    print(f"{sum(c for c, _ in scores)} of {sum(n for _, n in scores)} caught")
    return 0


def _sample(place: Path, name: str, count: int, seed: int) -> tuple[int, int]:
    """Try ``count`` mutants of a module; return how many were caught, of how many."""
    source = (place / name).read_text(encoding="utf-8")
    tests = TESTS[name]
    if not _passes(place, tests):
        raise SystemExit(f"{name}: its tests fail without any change")
    every = list(mutants(source))
    chosen = sorted(random.Random(seed).sample(every, min(count, len(every))))
    caught = 0
    for line, what, text in chosen:
        (place / name).write_text(text, encoding="utf-8")
        if _passes(place, tests):
            print(f"  survived: {name}:{line} {what}: {source.splitlines()[line - 1].strip()}", flush=True)
        else:
            caught += 1
    (place / name).write_text(source, encoding="utf-8")
    print(f"{name}: {caught} of {len(chosen)} caught ({len(every)} possible)", flush=True)
    return caught, len(chosen)


def _passes(place: Path, tests: Sequence[str]) -> bool:
    """Whether the tests pass, in bounded time and memory: a change may make a loop endless."""
    try:
        done = subprocess.run(
            [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *tests],
            cwd=place,
            env={
                **os.environ,
                "PYTHONPATH": str(place),
                "PYTHONDONTWRITEBYTECODE": "1",
                "OMP_NUM_THREADS": "1",
            },
            capture_output=True,
            check=False,
            timeout=SECONDS,
        )
    except subprocess.TimeoutExpired:
        return False
    return done.returncode == 0


if __name__ == "__main__":
    sys.exit(main())
