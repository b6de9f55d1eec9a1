"""What a drawer loses, what sharing gains and what is left in mid-band, worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import lsq_linear

from pipeline.band.example import two_rows
from pipeline.band.knots import Knot
from pipeline.band.pattern import Join
from pipeline.drawer.stash import Stash, thread_of
from pipeline.errors import ImpossibleError, InputError
from pipeline.materials.booking import Booking, booked, bookings, merged
from pipeline.materials.gain import compare
from pipeline.materials.gauge import turn_mm
from pipeline.materials.hand import PRIOR, SLOWEST, Hand, Witness, _told_by_others, fit_hand
from pipeline.materials.ledger import Account, Ledger
from pipeline.materials.lengths import OVERLAP_MM, cut_list
from pipeline.materials.paths import Paths
from pipeline.materials.sharing import share, spare
from tests.materials.bands import GAUGE, band_of

TIE, CORE = GAUGE.tie_mm, GAUGE.core_mm

# ---------------------------------------------------------------- booking


def drawer(navy: float | None, white: float | None) -> Stash:
    return Stash((thread_of("navy", "#1b2a59", navy), thread_of("white", "#ffffff", white)), "drawer.csv")


def test_a_band_takes_what_is_cut_of_each_thread() -> None:
    """Navy 25 cm in one strand, white 66 cm in three; white is just enough."""
    band, cuts = two_rows(), cut_list(two_rows())
    made = bookings(band, cuts, drawer(8.0, 0.66))
    assert made == (Booking("navy", 0.25, 8.0), Booking("white", 0.66, 0.66))
    assert [booking.after_m for booking in made] == [7.75, 0.0]
    with pytest.raises(ImpossibleError, match=r"0\.66 m of white, and drawer\.csv holds 0\.65 m"):
        bookings(band, cuts, drawer(8.0, 0.65))
    with pytest.raises(InputError, match=r"drawer\.csv has no thread 'white'"):
        bookings(band, cuts, Stash((thread_of("navy", "#1b2a59", 8.0),), "drawer.csv"))


def test_metres_that_nobody_knows_stay_unknown() -> None:
    data = b"name,colour,metres\nnavy,#1b2a59,\nwhite,#ffffff,2\n"
    made = bookings(two_rows(), cut_list(two_rows()), drawer(None, 2.0))
    assert [booking.after_m for booking in made] == [None, 1.34]
    assert booked(data, "drawer.csv", made) == data.replace(b"ff,2", b"ff,1.34")


def test_two_threads_of_one_name_in_other_writing_are_one() -> None:
    band = two_rows()
    threads = tuple(thread.model_copy(update={"name": " navy  blue "}) for thread in band.threads[:1])
    band = band.model_copy(update={"threads": (*threads, *band.threads[1:])})
    stash = Stash((thread_of("navy blue", "#1b2a59", 1.0), thread_of("white", "#ffffff", 1.0)), "the test")
    assert bookings(band, cut_list(band), stash)[0] == Booking("navy blue", 0.25, 1.0)


def test_threads_that_are_there_keep_what_they_are() -> None:
    new, became = merged(
        drawer(1.0, 2.0), Stash((thread_of("tar", "#111111", 3.0), thread_of("navy", "#000000")), "b")
    )
    assert [thread.name for thread in new] == ["tar"]
    assert became == {"tar": "added", "navy": "kept as it was"}


# ---------------------------------------------------------------- sharing


def test_two_strands_of_one_thread_share_four_ties() -> None:
    """The first ties there and back, twice: 4 ties against 4 cores. Shared, each ties two."""
    there_and_back = [[(0, Knot.FORWARD)], [(0, Knot.BACKWARD)]]
    before = band_of(*there_and_back, *there_and_back, strands=(0, 0), worked="diagonal")
    assert Paths(before, 0.25).lengths() == pytest.approx([200 + 1.25 * 4 * TIE, 200 + 1.25 * 4 * CORE])
    after = share(before, "full")
    assert [cut.tied for cut in cut_list(after)] == [2, 2]
    gain = compare(before, after)
    assert (gain.longest_before_mm, gain.longest_after_mm) == (250.0, 230.0)  # 245.2 mm, and 226.6 or more
    assert gain.bound_mm == pytest.approx(200 + 1.25 * 2 * (TIE + CORE))
    assert (gain.lengths_before, gain.lengths_after, gain.same_thread_hand_overs) == (2, 1, 0)
    assert compare(before, after, margin=0.0).longest_before_mm == 240.0  # 236.1 mm


def test_only_hand_overs_within_a_thread_of_row_work_are_counted() -> None:
    """The leader stays at the first base, of its thread, and at the second of another."""
    stays = [(0, Knot.FORWARD_BACKWARD), (1, Knot.FORWARD_BACKWARD), (2, Knot.FORWARD)]
    band = band_of(stays, strands=(0, 0, 1, 1))
    assert compare(band, band).same_thread_hand_overs == 1
    same = band_of(stays, strands=(0, 0, 0, 1))
    assert compare(same, same).same_thread_hand_overs == 2
    pairs = band_of([(0, Knot.FORWARD_BACKWARD)], strands=(0, 0), worked="diagonal")
    assert compare(pairs, pairs).same_thread_hand_overs == 0


def test_the_bound_takes_knots_that_stay_as_if_they_swapped() -> None:
    """Two strands, one knot that stays: shared as a swap, they spend a tie and a core between them."""
    band = band_of([(0, Knot.FORWARD_BACKWARD)], strands=(0, 0), worked="diagonal")
    assert Paths(band, 0.0).bound() == pytest.approx(200 + (TIE + CORE) / 2)
    alone = band_of([(0, Knot.FORWARD_BACKWARD)], strands=(0, 1), worked="diagonal")
    assert Paths(alone, 0.0).bound() == pytest.approx(200 + 2 * GAUGE.half_mm)


def test_strands_share_with_those_that_they_meet_through_others() -> None:
    """Of six strands the first three meet one another through the second, the next two meet; one is alone."""
    band = band_of(
        [(1, Knot.FORWARD), (3, Knot.FORWARD)], [(0, Knot.FORWARD)], strands=(0,) * 6, worked="diagonal"
    )
    group = Paths(band, 0.0).group
    assert [[other == one for other in group] for one in group] == [
        [True] * 3 + [False] * 3,
        [True] * 3 + [False] * 3,
        [True] * 3 + [False] * 3,
        [False] * 3 + [True, True, False],
        [False] * 3 + [True, True, False],
        [False] * 5 + [True],
    ]


def test_a_strand_that_would_run_out_lets_the_other_tie() -> None:
    """The first ties four times and lacks 10 mm: one tie less saves it 7.4 mm, two 14.9 mm."""
    rows = [[(0, Knot.FORWARD)], [(0, Knot.BACKWARD)]] * 2
    band = band_of(*rows, strands=(0, 0), worked="diagonal")
    helped = spare(band, set(), [10.0, -100.0], 0.0)
    cuts = cut_list(helped, margin=0.0, lots=0.0)
    assert [cut.tied for cut in cuts] == [2, 2]
    assert spare(band, set(), [-1.0, -100.0], 0.0) == band  # nobody lacks anything
    done = {(0, r, 0) for r in range(4)}
    assert spare(band, done, [10.0, -100.0], 0.0) == band  # nothing is left to tie


# ---------------------------------------------------------------- in mid-band


def test_a_leader_and_a_base_after_the_first_row() -> None:
    """Two rows of four strands: the leader tied three times and will be core, a base the other way round."""
    band = two_rows()
    cuts = cut_list(band)
    leader, base, *_ = Ledger(band, cuts).at({(0, 0, k) for k in range(3)})
    gauge = band.gauge
    start = cuts[0].length_mm - leader.begun_mm
    assert leader.spent_mm == leader.tied_mm == pytest.approx(3 * gauge.tie_mm)
    assert leader.rest_mm == pytest.approx(3 * gauge.core_mm + turn_mm(gauge))
    assert leader.left_mm == pytest.approx(cuts[0].length_mm - start - 3 * gauge.tie_mm)
    assert (base.spent_mm, base.tied_mm) == (pytest.approx(gauge.core_mm), 0.0)
    assert base.rest_mm == pytest.approx(gauge.tie_mm)
    assert leader.tail_mm == base.tail_mm == band.ends.finish.tail_mm


def test_what_a_hand_may_use_so_that_half_a_tail_is_left() -> None:
    """500 mm for knots of 200 and 200 mm and a tail of 100: 450 of 400, and after the first 225 are spent."""
    ahead = (((0, 1, 0), 120.0), ((0, 2, 0), 80.0))
    account = Account(0, begun_mm=500, spent_mm=200, ahead=ahead, tail_mm=100, tied_mm=150)
    assert (account.left_mm, account.rate, account.least_mm) == (300, 1.125, 275)
    assert Account(0, 500, 0, (), 100, 0).rate == float("inf")


def test_a_new_piece_has_an_account_of_its_own() -> None:
    """The leader is core in row 2, and a new piece goes on after its first knot there."""
    band = two_rows().model_copy(update={"joins": (Join(section=0, row=1, knot=0, thread=0),)})
    cuts = cut_list(band)
    book = Ledger(band, cuts)
    first_row = {(0, 0, k) for k in range(3)}
    before = book.at(first_row)[0]
    assert before.tail_mm == OVERLAP_MM
    assert before.rest_mm == pytest.approx(turn_mm(band.gauge) + band.gauge.core_mm)
    after = book.at(first_row | {(0, 1, 0)})[0]
    assert after.begun_mm == cuts[0].pieces_mm[1] - OVERLAP_MM
    assert (after.spent_mm, after.tied_mm, after.tail_mm) == (0.0, 0.0, band.ends.finish.tail_mm)
    assert after.rest_mm == pytest.approx(2 * band.gauge.core_mm)
    assert [place for place, _ in before.ahead] == [(0, 1, -1), (0, 1, 0)]


# ---------------------------------------------------------------- the hand


def test_rates_are_those_of_least_squares_with_a_weak_prior() -> None:
    """From outside: SciPy's lsq_linear, on shares of what each strand should have used and the prior."""
    witnesses = [Witness(900, 100, 1010), Witness(500, 500, 1050), Witness(100, 900, 1080)]
    shares = np.array([(0.9, 0.1), (0.5, 0.5), (0.1, 0.9)])
    table = np.vstack([shares, [PRIOR, -PRIOR]])
    solved = lsq_linear(table, [1.01, 1.05, 1.08, 0.0], bounds=(0, np.inf)).x
    hand = fit_hand(witnesses)
    assert (hand.tie_rate, hand.core_rate) == pytest.approx(tuple(solved), abs=1e-6)
    off = np.array([1.01, 1.05, 1.08]) / (shares @ solved) - 1
    assert hand.spread == pytest.approx(np.abs(off).max(), abs=1e-6)
    assert hand.apart == ()


def test_a_long_leader_counts_as_much_as_a_short_base() -> None:
    """What counts is the share: the same strands ten times as long tell the same hand."""
    short = [Witness(90, 10, 99), Witness(10, 90, 108)]
    long = [Witness(900, 100, 990), Witness(10, 90, 108)]
    assert fit_hand(short).tie_rate == pytest.approx(fit_hand(long).tie_rate)


def test_a_strand_as_far_off_as_is_allowed_and_one_a_little_more() -> None:
    """A tenth and a half more than planned is still the hand, as it is one witness, and more is not."""
    assert fit_hand([Witness(100, 0, 114.9)]).tie_rate == pytest.approx(1.149)
    assert fit_hand([Witness(100, 0, 115.1)]) == Hand(apart=(0,))
    assert fit_hand([Witness(100, 0, 85.1)]).tie_rate == pytest.approx(0.851)
    assert fit_hand([Witness(100, 0, 84.9)]) == Hand(apart=(0,))
    assert fit_hand([]) == Hand(1.0, 1.0, 0.0, ())


def test_three_that_agree_are_the_hand_however_far_from_the_plan() -> None:
    """Each is as the other two tell; of two nobody knows, and the plan is the third voice."""
    slow = Witness(100, 0, 140)
    assert fit_hand([slow] * 3).tie_rate == pytest.approx(1.4)
    assert _told_by_others([slow, slow]) and not _told_by_others([slow])
    assert not _told_by_others([slow, Witness(100, 0, 100)])
    apart = fit_hand([slow, slow, slow, Witness(100, 0, 100)])
    assert (apart.apart, apart.tie_rate) == ((3,), pytest.approx(1.4))


def test_no_hand_ties_for_nothing() -> None:
    assert fit_hand([Witness(0, 100, 1)] * 3).core_rate == SLOWEST
    for tied, carried, used in ((0, 0, 10), (-1, 5, 10), (5, -1, 10), (5, 5, 0)):
        with pytest.raises(ValueError, match="tells nothing"):
            Witness(tied, carried, used)
    assert Witness(0, 1, 1).planned_mm == Witness(1, 0, 1).planned_mm == 1
