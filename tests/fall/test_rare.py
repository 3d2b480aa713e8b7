"""Rare failures: the estimator against closed forms and scipy, and on builds against plain trials."""

import math
from dataclasses import replace

import numpy as np
import pytest
import scipy.stats
from scipy.sparse import csr_array
from trial_layouts import BUILD_OF_TILES, builds, field, laying, pieces, scaled, setup

from standfall.fall.chain import chain_fall
from standfall.fall.chance import clopper_pearson
from standfall.fall.ground import Ground
from standfall.fall.half_spaces import HalfSpaces, either_chance
from standfall.fall.placement import PlacementError, draw_normals, lay
from standfall.fall.rare import (
    conditional_normal,
    draw_in_union,
    interval_of,
    rare_chance,
    run_rare,
    standing_case,
    start_limits,
    touch_case,
    why_not_rare,
)
from standfall.fall.trial_run import one_trial, run_trials, touched_seams
from standfall.fall.trial_setup import at_seams


def _spaces(directions, thresholds):
    directions = np.asarray(directions, dtype=float)
    directions /= np.linalg.norm(directions, axis=1)[:, None]
    count = len(directions)
    return HalfSpaces(
        csr_array(directions),
        np.asarray(thresholds, dtype=float),
        np.zeros(count, np.int8),
        np.zeros(count, np.int32),
        np.zeros(count, np.int64),
        0,
    )


def _shares(spaces, fails, draws, seed):
    chance = np.random.default_rng(seed)
    shares = np.zeros(draws)
    for number in range(draws):
        x = chance.standard_normal(spaces.direction.shape[1])
        x, held = draw_in_union(spaces, x, chance.random(), 1.0 - chance.random())
        assert held == np.sum(spaces.direction @ x >= spaces.threshold - 1e-9)
        shares[number] = fails(x) / held
    return shares


@pytest.mark.parametrize("threshold", [-1.0, 0.5, 3.0, 7.0])
def test_a_number_beyond_a_threshold_is_truncated_normal(threshold):
    """Against scipy's truncated normal distribution, quantile by quantile."""
    for even in (0.01, 0.3, 0.5, 0.9, 0.999):
        expected = scipy.stats.truncnorm.isf(even, threshold, np.inf)
        assert conditional_normal(threshold, even) == pytest.approx(expected, rel=1e-7)


@pytest.mark.parametrize("thresholds", [[1.0, 1.5, 2.0], [4.0, 4.2, 5.0], [6.0, 6.0, 6.5]])
def test_union_of_independent_half_spaces_has_its_closed_form(thresholds):
    """At right angles: 1 - prod(1 - Phi(-t))."""
    spaces = _spaces(np.eye(3), thresholds)
    expected = -math.expm1(np.log1p(-scipy.stats.norm.sf(thresholds)).sum())
    found = interval_of(_shares(spaces, lambda x: True, 2000, 1), float(spaces.chance.sum()), 0.0)
    assert found.low <= expected <= found.high
    assert found.value == pytest.approx(expected, rel=0.05)


@pytest.mark.parametrize(("angle", "thresholds"), [(0.4, [2.0, 2.2]), (1.2, [3.0, 3.5]), (0.1, [4.0, 4.0])])
def test_union_of_two_that_depend_on_each_other_is_scipys(angle, thresholds):
    """1 - P(neither), with scipy's bivariate normal distribution function."""
    spaces = _spaces([[1.0, 0.0], [math.cos(angle), math.sin(angle)]], thresholds)
    neither = scipy.stats.multivariate_normal(cov=[[1, math.cos(angle)], [math.cos(angle), 1]])
    both = neither.cdf(-np.array(thresholds))  # by symmetry, P(both beyond)
    expected = scipy.stats.norm.sf(thresholds).sum() - both
    found = interval_of(_shares(spaces, lambda x: True, 3000, 2), float(spaces.chance.sum()), 0.0)
    assert found.low <= expected <= found.high
    assert found.value == pytest.approx(expected, rel=0.06)


@pytest.mark.parametrize("angle", [0.0, 0.05, 0.7, 1.6, 2.5, math.pi])
@pytest.mark.parametrize("thresholds", [[2.0, 2.2], [1.0, 1.0], [-0.5, 1.2], [-1.0, -0.3]])
def test_chance_of_either_of_two_is_scipys(angle, thresholds):
    """Against scipy's bivariate normal distribution function."""
    spaces = _spaces([[1.0, 0.0], [math.cos(angle), math.sin(angle)]], thresholds)
    rho = math.cos(angle)
    joint = scipy.stats.multivariate_normal(cov=[[1, rho], [rho, 1]], allow_singular=True)
    expected = scipy.stats.norm.sf(thresholds).sum() - joint.cdf(-np.array(thresholds))
    chance, row = either_chance(spaces)
    assert chance == pytest.approx([expected], abs=2e-6)
    assert row.tolist() == [0]


def test_a_failure_inside_the_union_is_counted_without_bias():
    """Failure: x0 > 3.4 and x1 > 0, inside the half-space x0 > 3. Closed form Phi(-3.4) / 2."""
    spaces = _spaces([[1.0, 0.0], [1.0, 0.2]], [3.0, 3.2])
    expected = scipy.stats.norm.sf(3.4) / 2
    shares = _shares(spaces, lambda x: x[0] > 3.4 and x[1] > 0, 6000, 3)
    found = interval_of(shares, float(spaces.chance.sum()), 0.0)
    assert found.low <= expected <= found.high
    assert found.value == pytest.approx(expected, rel=0.15)


def test_intervals_hold_the_truth_as_often_as_they_say():
    """100 estimates: about 95 should hold the truth; fewer than 88 has a chance of 0.2 % (binomial)."""
    spaces = _spaces(np.eye(2), [2.5, 2.7])
    total = float(spaces.chance.sum())
    truth = 1 - (1 - scipy.stats.norm.sf(2.75)) ** 2  # x0 or x1 beyond 2.75
    holds = 0
    for seed in range(100):
        found = interval_of(_shares(spaces, lambda x: x.max() > 2.75, 60, seed), total, 0.0)
        holds += found.low <= truth <= found.high
    assert holds >= 88


def test_few_failures_have_the_exact_interval():
    """Shares of 1 and 0 are plain counts, so the interval is Clopper and Pearson's times the sum of chances."""
    shares = np.zeros(100)
    shares[:3] = 1.0
    found = interval_of(shares, 1e-4, 2e-9)
    low, high = clopper_pearson(3, 100)
    assert found.value == pytest.approx(3e-6)
    assert (found.low, found.high) == pytest.approx((1e-4 * low, 1e-4 * high + 2e-9))
    assert interval_of(np.zeros(100), 1e-4, 0.0).low == 0.0


def _agrees(found, hits, trials):
    low, high = clopper_pearson(hits, trials)
    return found.low <= high and low <= found.high


@pytest.mark.parametrize("factor", [1.0, 1.6])
def test_chance_of_touching_agrees_with_plain_trials(factor):
    made = setup(*BUILD_OF_TILES, scaled(factor), seed=3)
    case = touch_case(made)
    batch = run_trials(made, 0, 1200)
    found = rare_chance(case, run_rare(case, 0, 400))
    hits = int((~batch.untouched).sum())
    assert _agrees(found, hits, 1200)
    assert found.value <= case.total
    assert found.high < 3 * max(found.value, 1e-3)


def test_chance_of_standing_agrees_with_plain_trials():
    made = setup(*BUILD_OF_TILES, scaled(2.6), seed=3)
    assert why_not_rare(made) == ""
    case = standing_case(made)
    assert case is not None
    batch = run_trials(made, 0, 1200)
    found = rare_chance(case, run_rare(case, 0, 400))
    assert _agrees(found, int((batch.standing > 0).sum()), 1200)
    assert found.value > 0


def _inside(case, trials):
    """Return how many trials fail, and how many lie in no half-space; none may do both."""
    failed = free = 0
    made = case.setup
    for trial in range(trials):
        normals = draw_normals(made.laying, made.error, made.seed, trial)
        outcome = one_trial(made, lay(made.laying, made.error, normals))
        x = np.concatenate([normals.tile, normals.piece.ravel().astype(float), normals.friction[:1]])
        held = (case.spaces.direction @ x >= case.spaces.threshold).any()
        fails = outcome.touched.any() if case.touch else outcome.stood.any()
        assert held or not fails
        failed += fails
        free += not held
    return failed, free


def test_no_touch_lies_outside_the_union():
    made = setup(*BUILD_OF_TILES, scaled(1.5), seed=11)
    failed, free = _inside(touch_case(made), 400)
    assert failed > 10
    assert free > 50  # else this could not fail


@pytest.mark.parametrize("factor", [1.0, 3.0])
def test_the_pieces_that_may_touch_do_so_as_among_all(factor):
    """The same normal numbers for all pieces, and for those at the seams only."""
    made = setup(*BUILD_OF_TILES, scaled(factor), seed=12)
    few = at_seams(made, made.error)
    assert len(few.laying) < len(made.laying) or factor > 1.0
    place = np.column_stack([made.laying.x_m, made.laying.y_m])
    kept = [
        int(np.flatnonzero((place == at).all(axis=1))[0])
        for at in zip(few.laying.x_m, few.laying.y_m, strict=True)
    ]
    touched = 0
    for trial in range(100):
        normals = draw_normals(made.laying, made.error, made.seed, trial)
        all_seams = touched_seams(made, lay(made.laying, made.error, normals))
        few_seams = touched_seams(
            few, lay(few.laying, few.error, replace(normals, piece=normals.piece[kept]))
        )

        def numbers(build, seams):
            return {(int(build.seams.tile[k]), int(build.seams.next_tile[k])) for k in np.flatnonzero(seams)}

        assert {frozenset(pair) for pair in numbers(made, all_seams)} == {
            frozenset(pair) for pair in numbers(few, few_seams)
        }
        touched += bool(all_seams.any())
    assert touched > 0


def test_no_failure_lies_outside_the_union():
    """Columns far apart on tiles that err much: some miss each other at a seam, some come out well."""
    build = laying(field(0, 0, 20, 2, col_pitch=0.15, tile_rows=10, tile_columns=1))
    made = setup(build, range(2), PlacementError(tile_m=0.008), seed=11)
    case = standing_case(made)
    assert case is not None
    failed, free = _inside(case, 400)
    assert failed > 10
    assert free > 50


def test_the_same_draws_give_the_same_whichever_batch_they_are_in():
    made = setup(*BUILD_OF_TILES, scaled(1.5), seed=3)
    case = touch_case(made)
    whole = run_rare(case, 0, 12)
    np.testing.assert_array_equal(whole, np.concatenate([run_rare(case, 0, 5), run_rare(case, 5, 7)]))
    assert whole.any()


def test_starts_within_the_limits_get_going():
    made = setup(*BUILD_OF_TILES, scaled(1.0), seed=3)
    limits = start_limits(made)
    assert limits is not None
    assert limits[0] < 0.0145 < limits[1]  # 22 - 7.5 mm as planned
    chance = np.random.default_rng(4)
    for _ in range(100):
        gaps = chance.uniform(*limits, 20)
        fall = chain_fall(gaps, pieces(21), Ground(domino_friction=float(chance.choice(made.friction))), 8.0)
        assert fall.stalled_at == -1


def test_a_push_too_weak_has_no_sure_start():
    """2.6 rad/s does not tip a piece of 48 x 7.5 mm: Housner's block needs 2.695 rad/s."""
    made = setup(*BUILD_OF_TILES, scaled(1.0), seed=3)
    weak = replace(made, strikes=replace(made.strikes, omega_rad_s=np.full(len(made.strikes), 2.6)))
    assert start_limits(weak) is None
    assert standing_case(weak) is None


@pytest.mark.parametrize(
    ("name", "error", "why"),
    [
        ("split", scaled(1.0), "split or meet"),
        ("straight field", scaled(1.0, missing=1e-4), "lack"),
        ("half-offset rows", scaled(1.0), "split or meet"),
    ],
)
def test_where_it_cannot_be_used_it_says_why(name, error, why):
    made = setup(*builds()[name], error)
    assert why in why_not_rare(made)
    assert standing_case(made) is None


def test_without_errors_nothing_is_rare_but_impossible():
    made = setup(*BUILD_OF_TILES, scaled(0.0, domino_friction_spread=0.0, mass_spread=0.0))
    for case in (standing_case(made), touch_case(made)):
        assert case.total == 0.0
        found = rare_chance(case, run_rare(case, 0, 3))
        assert (found.value, found.low) == (0.0, 0.0)
        assert found.high < 1e-6


def test_a_row_of_pieces_that_overlap_as_planned_always_touches():
    build = laying(field(0, 0, 1, 2, col_pitch=0.02, tile_columns=1))  # 20 mm apart, 24 mm wide
    made = setup(build, [0, 1], scaled(0.1))
    case = touch_case(made)
    assert rare_chance(case, run_rare(case, 0, 50)).value == pytest.approx(1.0)
