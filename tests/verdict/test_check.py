"""The checker against a second replay, and documents assembled from routes."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.band.knots import Knot
from pipeline.band.network import RowPlan, network, picture_rows
from pipeline.band.pattern import Pattern, Row, Section, render
from pipeline.band.reading import problems
from pipeline.colour import delta_e, parse_hex
from pipeline.verdict.feasibility import check
from tests.verdict.bands import ENDS, GAUGE, THREADS, assembled, plain_replay, random_band, routes

ORDERS = st.sampled_from(["rows", "diagonal"])


def at_random(seed: int, worked: str, **more) -> Pattern:
    net, solution, wanted = random_band(seed, worked)
    return assembled(net, solution, wanted, ground=0, **more)


@given(st.integers(0, 10_000), ORDERS)
def test_check_agrees_with_a_second_replay(seed: int, worked: str) -> None:
    pattern = at_random(seed, worked)
    seen = plain_replay(json.loads(render(pattern)))
    asked = [knot for knot in seen if knot["wanted"] is not None]
    wrong = [knot for knot in asked if knot["shown"] != knot["wanted"]]
    colour = [parse_hex(thread.colour) for thread in THREADS]
    found = check(pattern)
    assert (found.cells, found.made) == (len(asked), len(asked) - len(wrong))
    assert [(c.section, c.row, c.knot) for c in found.unmade] == [knot["place"] for knot in wrong]
    assert [(c.position, c.wanted, c.shown) for c in found.unmade] == [
        (knot["position"], knot["wanted"], knot["shown"]) for knot in wrong
    ]
    error = sum(float(delta_e(colour[k["wanted"]], colour[k["shown"]])) for k in wrong)
    assert found.colour_error == pytest.approx(error)
    straight = [k for k in seen if k["section"]["worked"] == "rows" and k["stays"]]
    assert found.hand_overs == sum(k["met"][0] != k["met"][1] for k in straight)
    assert found.same_thread_hand_overs == sum(k["met"][0] == k["met"][1] for k in straight)
    assert found.switching_rows == sum(len(s.rows) for s in pattern.sections if s.kind == "switching")


@given(st.integers(0, 10_000), ORDERS)
def test_assembled_patterns_are_legal_and_keep_the_routes(seed: int, worked: str) -> None:
    net, solution, wanted = random_band(seed, worked)
    pattern = assembled(net, solution, wanted, ground=0)
    assert list(problems(pattern)) == []
    knots = [knot for _, _, _, row in pattern.rows() for knot in row.knots]
    assert [p for p, _ in knots] == net.position.tolist()
    seen = plain_replay(json.loads(render(pattern)))
    hanging = solution.strands.tolist()
    for v, knot in enumerate(seen):  # the threads that meet are those of the routes
        p = int(net.position[v])
        assert knot["met"] == (hanging[p], hanging[p + 1])
        if solution.swaps[v]:
            hanging[p], hanging[p + 1] = hanging[p + 1], hanging[p]
    for knot in seen:  # the nearer thread shows
        want = 0 if knot["wanted"] is None else knot["wanted"]
        if want in knot["met"]:
            assert knot["shown"] == want
    assert check(pattern).same_thread_hand_overs == 0


def test_a_row_of_one_leader_reads_as_one_leader() -> None:
    net = network(4, picture_rows(4, 2, "rows"))
    solution = routes(net, [1, 0, 0, 0], [True] * 6)
    pattern = assembled(net, solution, [1, 1, 1, 0, 0, 0])
    kinds = [[kind for _, kind in row.knots] for _, _, _, row in pattern.rows()]
    # By hand: the leader ties across and shows; coming back the bases tie on it and show.
    assert kinds == [[Knot.FORWARD] * 3, [Knot.FORWARD] * 3]
    assert check(pattern).complete


def test_sections_break_where_the_turns_break() -> None:
    rows = [
        RowPlan("rows", (0, 1), 0),
        RowPlan("diagonal", (0,), None),
        RowPlan("diagonal", (), None),
        RowPlan("diagonal", (0,), None),
        RowPlan("diagonal", (0,), None),
        RowPlan("rows", (1, 0), 1),
    ]
    net = network(3, rows)
    solution = routes(net, [0, 1, 2], [True] * net.knots)
    wanted = [0, 0, None, None, None, 0, 0]
    pattern = assembled(net, solution, wanted)
    assert [(s.kind, len(s.rows)) for s in pattern.sections] == [
        ("picture", 1),
        ("switching", 3),
        ("switching", 1),
        ("picture", 1),
    ]
    assert list(problems(pattern)) == []
    assert check(pattern).cells == 4


def test_a_thread_change_is_hidden_and_counted() -> None:
    net = network(3, picture_rows(3, 2, "rows"))
    solution = routes(net, [1, 0, 0], [True] * 4)
    # The leader (thread 1) is core in the second knot and goes on as thread 2.
    pattern = assembled(net, solution, [1, 0, 2, 2], changes={1: (0, 2)})
    found = check(pattern)
    assert found.complete and (found.joins, found.thread_changes) == (1, 1)
    assert [k["shown"] for k in plain_replay(json.loads(render(pattern)))] == [1, 0, 2, 2]


def test_hand_overs_count_straight_rows_only() -> None:
    stay = ((0, Knot.FORWARD_BACKWARD),)
    sections = tuple(
        Section(kind="plain", worked=worked, rows=(Row(knots=stay + tail, wanted=(None,) * (1 + len(tail))),))
        for worked, tail in (("rows", ((1, Knot.BACKWARD_FORWARD),)), ("diagonal", ()))
    )
    pattern = Pattern(
        title="stays", threads=THREADS, strands=(0, 1, 1), gauge=GAUGE, sections=sections, ends=ENDS
    )
    found = check(pattern)
    assert (found.hand_overs, found.same_thread_hand_overs) == (1, 1)


def test_wanting_nothing_is_complete() -> None:
    net = network(3, picture_rows(3, 1, "diagonal"))
    pattern = assembled(net, routes(net, [1, 2, 3], [False]), [None], ground=2)
    assert check(pattern).cells == 0 and check(pattern).complete
    assert plain_replay(json.loads(render(pattern)))[0]["shown"] == 2


def test_lengths_must_agree() -> None:
    net = network(3, picture_rows(3, 1, "rows"))
    with pytest.raises(ValueError, match="2 entries"):
        assembled(net, routes(net, [0, 1, 2], [True] * 2), [0])
