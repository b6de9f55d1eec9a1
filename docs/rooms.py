"""Draws the rooms of ``pipeline`` and their imports from the code itself: docs/rooms.svg.

    python -m docs.rooms

Rooms stand in the order of ``tests/docs/test_rooms.py``, the ground at the foot; a line joins a room to one
that it imports. A test compares the file with what the code gives.
"""

from __future__ import annotations

import ast
from pathlib import Path
from xml.sax.saxutils import escape

ROOT = Path(__file__).parents[1]
FILE = ROOT / "docs" / "rooms.svg"
FOR = {
    "errors": "one family of faults",
    "limits": "every bound on input",
    "literals": "choices that go by name",
    "processes": "work for another, deaf to Ctrl-C",
    "colour": "light, CIELAB, differences",
    "files": "bounded reads, whole writes",
    "band": "knots, network, pattern, replay",
    "routing": "which strand goes where, with proof",
    "drawer": "threads owned",
    "materials": "lengths, joins, skeins, ends",
    "order": "what a maker asks",
    "motif": "a picture file or letters",
    "design": "a price for every thread at every cell",
    "blocks": "bands without a picture",
    "verdict": "what a band really shows",
    "advice": "what would help",
    "instructions": "words to tie from",
    "plan": "the stages, top to bottom",
    "report": "everything found out, once",
    "writers": "one module an output",
    "bundle": "the files of a result",
    "choices": "several bands, the beaten dropped",
    "batch": "many orders",
}
WIDE, HIGH, GAP, MARGIN = 300, 34, 14, 24


def rooms() -> dict[str, set[str]]:
    """The rooms of the pipeline, and for each those that it imports."""
    found: dict[str, set[str]] = {}
    for path in sorted((ROOT / "pipeline").rglob("*.py")):
        room = path.relative_to(ROOT / "pipeline").with_suffix("").parts[0]
        if room == "__init__":
            continue
        uses = found.setdefault(room, set())
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("pipeline."):
                uses.add(str(node.module).split(".")[1])
    return {room: uses & found.keys() - {room} for room, uses in found.items()}


def drawn(order: tuple[str, ...]) -> str:
    """The picture as SVG: rooms of ``order`` (ground first) from the foot up, imports as arcs."""
    uses = rooms()
    shown = [room for room in order if room in uses]
    high = 2 * MARGIN + len(shown) * (HIGH + GAP)
    middle = {room: high - MARGIN - HIGH / 2 - i * (HIGH + GAP) for i, room in enumerate(shown)}
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE + 420} {high}" role="img" '
        'font-family="sans-serif" font-size="13">',
        "<title>The rooms of the pipeline and what they import</title>",
        f'<rect width="{WIDE + 420}" height="{high}" fill="#f6f3ea"/>',
    ]
    for room in shown:
        for other in sorted(uses[room], key=shown.index):
            y, below = middle[room], middle[other]
            bulge = WIDE + MARGIN + 18 + 16 * (shown.index(room) - shown.index(other))
            parts.append(
                f'<path d="M{WIDE + MARGIN} {y} C{bulge} {y} {bulge} {below} {WIDE + MARGIN} {below}" '
                'fill="none" stroke="#2e5f9e" stroke-opacity="0.35"/>'
            )
    for room in shown:
        y = middle[room] - HIGH / 2
        parts.append(
            f'<rect x="{MARGIN}" y="{y}" width="{WIDE}" height="{HIGH}" rx="4" fill="#fff" stroke="#1b2a59"/>'
            f'<text x="{MARGIN + 10}" y="{y + 22}"><tspan font-weight="bold">{room}</tspan>'
            f'<tspan dx="8" fill="#44484f">{escape(FOR[room])}</tspan></text>'
        )
    return "\n".join([*parts, "</svg>"]) + "\n"


if __name__ == "__main__":
    from tests.docs.test_rooms import ORDER

    FILE.write_text(drawn(ORDER), encoding="utf-8")
