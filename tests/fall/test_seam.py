"""Weak seams and the errors allowed: against closed forms of the normal distribution."""

import math
from dataclasses import replace

import numpy as np
import pytest
import scipy.stats
from trial_layouts import BUILD_OF_TILES, THICKNESS_M, WIDTH_M, field, laying, line, scaled, setup

from standfall.fall.placement import PlacementError
from standfall.fall.seam import (
    in_turn,
    largest_seam_error,
    largest_touch_error,
    seam_chances,
    seam_error_m,
    touch_chance,
    weakest_seams,
    with_tile_error,
)
from standfall.fall.trial_run import CROSSINGS, TOUCHING, left_standing, merge, run_trials
from standfall.fall.verdict import sum_up

# Two pieces side by side, 27 mm apart from middle to middle, each on a tile of its own: 3 mm between them.
PAIR = laying(field(0, 0, 1, 2, tile_rows=1, tile_columns=1))
CLEAR_M = 0.027 - WIDTH_M


def _chance(made, seam, trouble):
    number = [*CROSSINGS, TOUCHING].index(trouble)
    return seam_chances(made)[seam, number]


def test_chance_that_two_pieces_touch_is_normal():
    """The difference of two tiles' places has deviation sqrt(2) sigma: P = Phi(-3 mm / (sqrt(2) sigma))."""
    sigma = 0.0008
    made = setup(PAIR, [0, 1], PlacementError(tile_m=sigma))
    assert len(made.seams) == 1
    expected = scipy.stats.norm.sf(CLEAR_M / (math.sqrt(2) * sigma))
    assert _chance(made, 0, TOUCHING) == pytest.approx(expected, rel=1e-4)
    found = touch_chance(made, draws=50)
    assert found.value == pytest.approx(expected, rel=1e-2)


def test_chance_that_a_gap_is_outside_what_carries_is_normal():
    """One column across three tiles of ten rows; along the fall only the tiles' places vary."""
    sigma = 0.003
    made = setup(laying(field(0, 0, 30, 1, tile_rows=10)), [0], PlacementError(tile_m=sigma))
    assert made.box is not None
    gap_m = 0.022 - THICKNESS_M
    spread = math.sqrt(2) * sigma
    narrow = scipy.stats.norm.sf((gap_m - made.box.gap_low_m) / spread)
    wide = scipy.stats.norm.sf((made.box.gap_high_m - gap_m) / spread)
    assert len(made.seams) == 2
    for seam in (0, 1):
        assert _chance(made, seam, "gap too narrow") == pytest.approx(narrow, rel=1e-4)
        assert _chance(made, seam, "gap too wide") == pytest.approx(wide, rel=1e-4, abs=1e-15)


def test_closed_form_bounds_what_trials_see():
    made = setup(*BUILD_OF_TILES, scaled(2.5), seed=2)
    trials = 600
    batch = run_trials(made, 0, trials)
    seen = np.column_stack([batch.crossed_ill, batch.touched])
    bound = seam_chances(made)
    assert seen.max() > 30
    for seam, trouble in zip(*np.nonzero(seen), strict=True):
        # Seen so often or more has a chance of at least 1e-6 if the bound were true: binomial, scipy.
        assert scipy.stats.binom.sf(seen[seam, trouble] - 1, trials, bound[seam, trouble]) > 1e-6


def test_seams_come_worst_first_in_the_direction_of_the_fall():
    made = setup(*BUILD_OF_TILES, scaled(1.5), seed=2)
    batches = [run_trials(made, 0, 100)]
    seams = weakest_seams(made, batches)
    chances = [seam.chance for seam in seams]
    assert chances == sorted(chances, reverse=True)
    assert 0 < len(seams) <= 20
    # Tiles are numbered band by band along the fall, four to a band, so side by side differs by 1.
    assert {seam.next_tile - seam.tile for seam in seams if seam.reason == TOUCHING} == {1}
    assert set(zip(made.seams.tile, made.seams.next_tile, strict=True)) >= {(1, 5), (5, 9), (1, 2)}
    first = seams[0]
    assert 0 < first.x_m < 20 * 0.027
    assert 0 < first.y_m < 12 * 0.022


def test_dominoes_laid_by_hand_have_number_0_and_the_direction_is_that_of_the_fall():
    build = laying(line(0.027, -0.24, math.pi / 2, 10), field(0, 0, 10, 3, tile_rows=10, tile_columns=3))
    made = setup(build, [0], replace(scaled(1.0), hand_m=0.01))
    seams = weakest_seams(made, [])
    assert {(seam.tile, seam.next_tile) for seam in seams} == {(0, 1)}


def test_where_trials_saw_it_often_it_is_counted():
    made = setup(*BUILD_OF_TILES, scaled(3.0), seed=2)
    batch = run_trials(made, 0, 200)
    worst = weakest_seams(made, [batch])[0]
    row = int(np.flatnonzero((made.seams.tile == worst.tile) & (made.seams.next_tile == worst.next_tile))[0])
    seen = np.append(batch.crossed_ill[row], batch.touched[row])
    assert seen.max() >= 10
    assert worst.chance == pytest.approx(seen.max() / 200)


@pytest.mark.parametrize("given", [0.0001, 0.0005, 0.004])
def test_largest_error_that_keeps_two_tiles_apart_is_a_quantile(given):
    """Phi(-3 mm / s) = 1 % at s = 3 mm / 2.3263 = 1.2896 mm, wherever the search starts."""
    made = setup(PAIR, [0, 1], PlacementError(tile_m=given))
    limit = largest_touch_error(made)
    expected = CLEAR_M / scipy.stats.norm.isf(0.01)
    assert limit.error_m == pytest.approx(expected, rel=0.03)
    assert limit.chance is not None
    assert limit.chance.value == pytest.approx(0.99, abs=0.002)


def test_largest_error_with_which_all_fall_keeps_its_word():
    made = setup(*BUILD_OF_TILES, scaled(1.0), seed=5)
    limit = largest_seam_error(made)
    assert limit.error_m > 0
    at_limit = with_tile_error(made, limit.error_m / math.sqrt(2))
    beyond = with_tile_error(made, 1.6 * limit.error_m / math.sqrt(2))
    failures = [int((run_trials(built, 0, 600).standing > 0).sum()) for built in (at_limit, beyond)]
    # 1 % of 600 is 6; 20 or more has a chance of 1e-5 then (binomial), and the limit is good to a few per cent.
    assert failures[0] < 20
    assert failures[1] > failures[0]


def test_no_error_is_allowed_where_pieces_alone_spoil_it():
    made = setup(PAIR, [0, 1], PlacementError(tile_m=0.0005, piece_m=0.003))
    limit = largest_touch_error(made)
    assert math.isnan(limit.error_m)
    assert "even with tiles set down exactly, tiles touch" in limit.reason


def test_error_of_a_seam_follows_from_the_tiles():
    made = setup(PAIR, [0, 1], PlacementError(tile_m=0.001))
    assert seam_error_m(made) == pytest.approx(0.001 * math.sqrt(2))
    # Both tiles move together: no error between them. One moves alone: its own.
    together = np.zeros((6, 2))
    together[[0, 3], 0] = together[[1, 4], 1] = 0.001
    alone = np.zeros((6, 2))
    alone[0, 0] = alone[1, 1] = 0.001
    for factor, expected in ((together, 0.0), (alone, 0.001)):
        error = PlacementError(tile_m=0.001, tile_factor=factor)
        assert seam_error_m(setup(PAIR, [0, 1], error)) == pytest.approx(expected)


def test_largest_error_with_which_all_fall_does_not_depend_on_what_is_known_before():
    """The trials of the build are the same layings, so knowing them spares work."""
    made = setup(*BUILD_OF_TILES, scaled(1.0), seed=5)
    known = largest_seam_error(made, batches=[run_trials(made, 0, 60)], draws=60)
    plain = largest_seam_error(made, draws=60)
    assert known.error_m == pytest.approx(plain.error_m, rel=0.02)  # each is searched to 2 %
    assert known.low_m <= known.error_m <= known.high_m


def test_chance_at_the_largest_error_is_counted_over_all_layings():
    """Some layings fail at an error and not at a somewhat larger one; none of them is missed."""
    made = setup(*BUILD_OF_TILES, scaled(1.0), seed=6)
    limit = largest_seam_error(made, draws=200)
    tile_m = limit.error_m / math.sqrt(2)
    assert limit.chance is not None
    built = with_tile_error(made, tile_m)
    failed = sum(left_standing(built, range(200), [tile_m] * 200))
    assert failed == round(200 * (1 - limit.chance.value))


def test_batches_reach_the_caller_and_the_result_is_the_same():
    made = setup(*BUILD_OF_TILES, scaled(1.0), seed=5)
    calls = []

    def backwards(function, batches):
        calls.append(list(batches))
        return reversed([function(*batch) for batch in reversed(batches)])

    one = touch_chance(made, draws=60, call=in_turn)
    other = touch_chance(made, draws=60, call=backwards)
    assert one == other
    assert calls == [[(0, 25), (25, 25), (50, 10)]]


def test_all_is_summed_up():
    made = setup(*BUILD_OF_TILES, scaled(0.8), seed=5)
    batches = [run_trials(made, 0, 50)]
    trials = sum_up(made, batches, draws=60, layings=100)
    plain = merge(made, batches)
    np.testing.assert_array_equal(trials.standing, plain.standing)
    assert trials.chance_no_touch.method == "importance sampling of a union 95 %"
    assert trials.chance_no_touch.low > plain.chance_no_touch.low  # 50 trials alone cannot say as much
    assert trials.chance_all_fall.low <= trials.chance_all_fall.value <= trials.chance_all_fall.high <= 1.0
    assert trials.largest_seam_error_m > trials.largest_touch_error_m > 0
    assert len(trials.seams) > 0
    quick = sum_up(made, batches, draws=20, limits=False)
    assert math.isnan(quick.largest_seam_error_m)
