"""The network against strands that are followed one by one, and against networkx."""

from __future__ import annotations

import networkx as nx
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.band.knots import WORKED, Knot
from pipeline.band.network import Network, Repeat, RowPlan, network, picture_rows
from tests.patterns import tie_all


@st.composite
def networks(draw: st.DrawFn) -> Network:
    """Picture rows with switching rows, empty ones among them, in between."""
    strands = draw(st.integers(2, 7))
    rows: list[RowPlan] = []
    for row in picture_rows(strands, draw(st.integers(0, 5)), draw(st.sampled_from(WORKED))):
        if draw(st.booleans()):
            positions = draw(st.lists(st.integers(0, strands - 2), max_size=4))
            rows.append(RowPlan("diagonal", tuple(positions)))
        rows.append(row)
    return network(strands, rows)


@given(networks(), st.data())
def test_strands_that_are_followed_meet_where_the_network_says(net: Network, data: st.DataObject) -> None:
    swaps = data.draw(st.lists(st.booleans(), min_size=net.knots, max_size=net.knots))
    knots = [
        (int(p), Knot.FORWARD if swap else Knot.FORWARD_BACKWARD)
        for p, swap in zip(net.position, swaps, strict=True)
    ]
    tied, order = tie_all(range(net.strands), knots)
    on = np.full(net.edges, -1)  # the strand that runs on each edge
    on[: net.strands] = range(net.strands)
    for v, knot in enumerate(tied):
        assert on[net.into[v]].tolist() == [knot.left, knot.right]
        on[net.out[v]] = [knot.right, knot.left] if swaps[v] else [knot.left, knot.right]
    assert on[net.last].tolist() == order
    assert (on >= 0).all()


@given(networks())
def test_two_edges_in_and_two_out_and_no_circle(net: Network) -> None:
    start, end = {}, {}
    for v in range(net.knots):
        start |= {int(edge): v for edge in net.out[v]}
        end |= {int(edge): v for edge in net.into[v]}
    assert sorted([*start, *range(net.strands)]) == list(range(net.edges))
    assert sorted([*end, *net.last.tolist()]) == list(range(net.edges))
    graph = nx.MultiDiGraph([(start[e], end[e]) for e in start if e in end])
    assert nx.is_directed_acyclic_graph(graph)


@given(networks())
def test_rows_are_slices_of_the_tying_order(net: Network) -> None:
    found = [net.position[net.knots_of_row(r)].tolist() for r in range(len(net.rows))]
    assert found == [list(row.positions) for row in net.rows]
    assert sum(map(len, found)) == net.knots


def test_picture_rows_are_numbered() -> None:
    assert [row.picture for row in picture_rows(4, 3, "rows")] == [0, 1, 2]
    assert [row.positions for row in picture_rows(4, 2, "diagonal")] == [(0, 2), (1,)]


def test_the_arrays_cannot_be_written_to() -> None:
    net = network(3, picture_rows(3, 1, "rows"))
    for array in (net.position, net.row, net.into, net.last):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 0


def test_what_is_no_band_is_refused() -> None:
    with pytest.raises(ValueError, match="at least 2 strands, not 1"):
        network(1, ())
    for position in (-1, 2):
        with pytest.raises(ValueError, match=f"row 1: position {position} is outside a band of 3"):
            network(3, (RowPlan("rows", (0, 1)), RowPlan("rows", (position,))))
    assert network(2, ()).edges == 2


def test_a_repeat_ends_where_its_rows_end() -> None:
    assert Repeat(3, 4, 2).stop == 11
    assert Repeat(0, 2, 1).stop == 2
    for wrong in ((-1, 2, 1), (0, 1, 1), (0, 2, 0)):
        with pytest.raises(ValueError, match="two rows at least"):
            Repeat(*wrong)
