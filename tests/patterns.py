"""Random legal patterns for property tests.

``random_pattern(seed)`` is plain and seeded; ``patterns()`` is the same as a Hypothesis strategy that
shrinks towards few strands, few rows and one section.
"""

from __future__ import annotations

import random
from collections.abc import Iterable, Sequence

from hypothesis import strategies as st

from pipeline.band.knots import WORKED, Knot, Tied, Worked, row_positions, tie
from pipeline.band.pattern import End, Ends, Gauge, GaugeByOrder, Join, Pattern, PatternThread, Row, Section

ROWS_GAUGE = Gauge(strand_pitch_mm=1.42, row_pitch_mm=1.42, tie_mm=9.0, core_mm=1.6)
DIAGONAL_GAUGE = Gauge(strand_pitch_mm=1.3, row_pitch_mm=1.0, tie_mm=9.0, core_mm=1.6)
THREADS = (
    PatternThread(name="harbour blue", colour="#1b2a59"),
    PatternThread(name="chalk", colour="#f4f1e8"),
    PatternThread(name="buoy red", colour="#b3202c"),
    PatternThread(name="rope", colour="#c8a26a"),
    PatternThread(name="weed green", colour="#2f6b4f"),
)
KNOTS = tuple(Knot)


def random_pattern(
    seed: int,
    *,
    strands: int | None = None,
    rows: int | None = None,
    threads: int | None = None,
    worked: Worked | None = None,
    sections: int | None = None,
    joins: int | None = None,
) -> Pattern:
    """Return a legal pattern; whatever is None is drawn from the seed.

    ``rows`` counts the rows of each section. The first section is always a picture. ``joins`` new pieces
    are laid in at random knots, of random threads.
    """
    rng = random.Random(seed)
    strands = rng.randint(2, 9) if strands is None else strands
    count = rng.randint(1, len(THREADS)) if threads is None else threads
    order: Worked = rng.choice(WORKED) if worked is None else worked
    if order == "diagonal":
        strands = max(strands, 3)  # two strands would leave every other picture row empty
    picture_row = 0
    made: list[Section] = []
    for s in range(rng.randint(1, 3) if sections is None else sections):
        length = rng.randint(1, 8) if rows is None else rows
        kind = "picture" if s == 0 else rng.choice(("picture", "switching", "blocks", "plain"))
        if kind == "picture":
            made.append(
                Section(
                    kind="picture",
                    worked=order,
                    rows=tuple(
                        _row(rng, row_positions(strands, picture_row + r, order), count)
                        for r in range(length)
                    ),
                )
            )
            picture_row += length
        else:
            made.append(_other_section(rng, kind, strands, length))
    pattern = Pattern(
        title=f"quay {seed}",
        threads=THREADS[:count],
        strands=tuple(rng.randrange(count) for _ in range(strands)),
        gauge=GaugeByOrder(rows=ROWS_GAUGE, diagonal=DIAGONAL_GAUGE),
        sections=tuple(made),
        ends=Ends(start=End(style="straight", tail_mm=100), finish=End(style="straight", tail_mm=100)),
        ground=rng.choice((None, rng.randrange(count))),
    )
    places = [(s, r, k) for s, r, _, row in pattern.rows() for k in range(len(row.knots))]
    chosen = rng.sample(places, min(len(places), rng.choice((0, 0, 1, 3)) if joins is None else joins))
    laid_in = tuple(Join(section=s, row=r, knot=k, thread=rng.randrange(count)) for s, r, k in sorted(chosen))
    return pattern.model_copy(update={"joins": laid_in})


def _row(rng: random.Random, positions: Sequence[int], threads: int | None) -> Row:
    """A row of random knots; ``threads`` is None where nothing is wanted."""
    knots = tuple((p, rng.choice(KNOTS)) for p in positions)
    if threads is None:
        return Row(knots=knots, wanted=(None,) * len(knots))
    return Row(knots=knots, wanted=tuple(rng.choice((None, *range(threads))) for _ in knots))


def _other_section(rng: random.Random, kind: str, strands: int, length: int) -> Section:
    """A section that asks for nothing; diagonal rows may leave pairs out."""
    order = rng.choice(WORKED)
    first = rng.randint(0, 1)
    rows = []
    for r in range(length):
        positions = row_positions(strands, first + r, order)
        if order == "diagonal":
            positions = tuple(p for p in positions if rng.random() < 0.8)
        rows.append(_row(rng, positions, None))
    return Section(kind=kind, worked=order, rows=tuple(rows))


def patterns(
    *, max_strands: int = 9, max_rows: int = 8, max_sections: int = 3, joins: int | None = None
) -> st.SearchStrategy[Pattern]:
    """Legal patterns of up to ``max_sections`` sections of up to ``max_rows`` rows."""
    return st.builds(
        random_pattern,
        st.integers(0, 2**32 - 1),
        strands=st.integers(2, max_strands),
        rows=st.integers(1, max_rows),
        threads=st.integers(1, len(THREADS)),
        worked=st.sampled_from(WORKED),
        sections=st.integers(1, max_sections),
        joins=st.none() if joins is None else st.just(joins),
    )


def tie_all(order: Sequence[int], knots: Iterable[tuple[int, Knot]]) -> tuple[list[Tied], list[int]]:
    """Tie knots one after another; return what was tied and the order afterwards."""
    now = list(order)
    return [tie(now, position, knot) for position, knot in knots], now
