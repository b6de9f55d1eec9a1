"""Random bands for the tests here, and a second, tiny replay that shares nothing with the pipeline."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipeline.band.network import Network, RowPlan, network
from pipeline.band.pattern import End, Ends, Gauge, Pattern, PatternThread
from pipeline.design.assemble import Changes, Frame, Wants, to_pattern
from pipeline.routing.question import Routed

THREADS = (
    PatternThread(name="quay stone", colour="#e9e4d4"),
    PatternThread(name="deep channel", colour="#17324d"),
    PatternThread(name="signal flag", colour="#c8102e"),
    PatternThread(name="pollen", colour="#f2b705"),
)
GAUGE = Gauge(strand_pitch_mm=1.42, row_pitch_mm=1.42, tie_mm=9.0, core_mm=1.6)
ENDS = Ends(start=End(style="straight", tail_mm=100.0), finish=End(style="straight", tail_mm=100.0))


def routes(net: Network, strands: np.ndarray, swaps: np.ndarray) -> Routed:
    return Routed(np.asarray(strands, np.int64), np.asarray(swaps, bool), 0.0, 0.0)


def random_rows(
    rng: np.random.Generator, strands: int, rows: int, worked: str, inserts: int
) -> list[RowPlan]:
    """Picture rows with ``inserts`` diagonal or straight switching rows at random places."""
    plan: list[RowPlan] = []
    places = sorted(int(x) for x in rng.integers(0, rows + 1, size=inserts))
    for r in range(rows + 1):
        for _ in range(places.count(r)):
            parity = int(rng.integers(0, 2))
            if rng.random() < 0.7:
                plan.append(RowPlan("diagonal", tuple(range(parity, strands - 1, 2)), None))
            else:
                across = tuple(range(strands - 1))
                plan.append(RowPlan("rows", across[::-1] if parity else across, None))
        if r < rows:
            if worked == "rows":
                across = tuple(range(strands - 1))
                plan.append(RowPlan("rows", across[::-1] if r % 2 else across, r))
            else:
                plan.append(RowPlan("diagonal", tuple(range(r % 2, strands - 1, 2)), r))
    return plan


def random_band(seed: int, worked: str, threads: int = 4) -> tuple[Network, Routed, list[int | None]]:
    rng = np.random.default_rng(seed)
    strands = int(rng.integers(3, 8))
    net = network(
        strands, random_rows(rng, strands, int(rng.integers(1, 9)), worked, int(rng.integers(0, 4)))
    )
    wanted: list[int | None] = [
        None
        if net.rows[int(net.row[v])].picture is None or rng.random() < 0.2
        else int(rng.integers(0, threads))
        for v in range(net.knots)
    ]
    solution = routes(net, rng.integers(0, threads, size=strands), rng.random(net.knots) < 0.6)
    return net, solution, wanted


def plain_replay(data: dict) -> list[dict]:
    """Tie a pattern given as plain JSON data: one entry a knot, written from the file format alone."""
    hanging = [data["strands"][i] for i in range(len(data["strands"]))]
    joins = {(j["section"], j["row"], j["knot"]): j["thread"] for j in data.get("joins", [])}
    seen = []
    for s, section in enumerate(data["sections"]):
        for r, row in enumerate(section["rows"]):
            for k, (p, kind) in enumerate(row["knots"]):
                left, right = hanging[p], hanging[p + 1]
                shown = left if kind in ("forward", "forward-backward") else right
                if (s, r, k) in joins:
                    if kind in ("forward", "forward-backward"):
                        right = joins[s, r, k]
                    else:
                        left = joins[s, r, k]
                stays = kind in ("forward-backward", "backward-forward")
                met = (hanging[p], hanging[p + 1])
                hanging[p], hanging[p + 1] = (left, right) if stays else (right, left)
                seen.append(
                    {
                        "place": (s, r, k),
                        "section": section,
                        "position": p,
                        "wanted": row["wanted"][k],
                        "shown": shown,
                        "met": met,
                        "stays": stays,
                    }
                )
    return seen


def assembled(
    net: Network,
    solution: Routed,
    wanted: Sequence[int | None],
    ground: int | None = None,
    changes: Changes | None = None,
) -> Pattern:
    """The pattern of a routing, in the threads, gauge and ends of these tests."""
    frame = Frame(THREADS, GAUGE, ENDS, "test band", ground)
    return to_pattern(net, solution, Wants(wanted), frame, changes)
