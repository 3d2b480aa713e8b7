"""Trials: the short way comes to what the plain way comes to, and counts and intervals are right."""

from dataclasses import fields, replace

import numpy as np
import pytest
import scipy.stats
from shapely.geometry import Polygon
from trial_layouts import THICKNESS_M, USUAL, WIDTH_M, builds, field, laying, scaled, setup

from standfall.fall._trial_kernels import gather, touching
from standfall.fall.chance import chance_of, clopper_pearson, mean_of
from standfall.fall.contact import find_contacts
from standfall.fall.falling import FALLEN, topple
from standfall.fall.ground import Ground
from standfall.fall.placement import PlacementError, draw_normals, lay
from standfall.fall.trial_run import merge, one_trial, run_trials, stood_in_full, trial_in_full
from standfall.fall.trial_setup import set_up

BUILDS = builds()


def _compare(made, seed, trials):
    """Let each trial fall both ways; return pieces left standing in all, and pieces let fall the short way."""
    stood = let_fall = 0
    for trial in trials:
        laid = lay(made.laying, made.error, draw_normals(made.laying, made.error, seed, trial))
        short, plain = one_trial(made, laid), stood_in_full(made, laid)
        np.testing.assert_array_equal(short.stood, plain, err_msg=f"trial {trial}")
        stood += int(plain.sum())
        let_fall += short.let_fall
    return stood, let_fall


@pytest.mark.parametrize("factor", [0.3, 1.0, 2.0, 4.0, 8.0])
@pytest.mark.parametrize("name", list(BUILDS))
def test_short_way_is_the_plain_way(name, factor):
    build, struck = BUILDS[name]
    made = setup(build, struck, scaled(factor), seed=3)
    _compare(made, 3, range(6))


@pytest.mark.parametrize("name", ["straight field", "two fields", "curve", "split", "merge", "crossing"])
def test_short_way_is_the_plain_way_with_pieces_missing(name):
    build, struck = BUILDS[name]
    made = setup(build, struck, scaled(1.5, missing=0.01), seed=4)
    stood, _ = _compare(made, 4, range(12))
    assert stood > 0


@pytest.mark.parametrize("slope", [-0.04, 0.04])
def test_short_way_is_the_plain_way_on_a_slope(slope):
    build, struck = BUILDS["two fields"]
    ground = Ground(slope_rad=abs(slope), downhill_rad=np.copysign(np.pi / 2, slope))
    made = setup(build, struck, scaled(2.0), seed=5, ground=ground)
    assert not made.in_full
    _compare(made, 5, range(8))


def test_short_way_is_the_plain_way_with_friction_that_varies_much():
    build, struck = BUILDS["straight field"]
    made = setup(build, struck, replace(USUAL, domino_friction_spread=0.1), seed=6)
    _compare(made, 6, range(12))


def test_short_way_is_the_plain_way_for_tiles_that_depend_on_each_other():
    build, struck = BUILDS["straight field"]
    drift = np.cumsum(np.random.default_rng(1).normal(size=(build.tiles, 3)), axis=0) * [2e-3, 2e-3, 1e-3]
    made = setup(build, struck, replace(USUAL, tile_factor=np.diag(drift.ravel())), seed=7)
    _compare(made, 7, range(8))


@pytest.mark.parametrize(("axis", "spread_m"), [(0, 0.015), (0, 0.03), (1, 0.01), (1, 0.02)])
def test_short_way_is_the_plain_way_where_only_seams_fail(axis, spread_m):
    """Columns far apart; tiles err across the fall (axis 0) or along it (1) only, so nothing else gives them away."""
    build = laying(field(0, 0, 30, 4, col_pitch=0.15, tile_rows=10, tile_columns=1))
    factor = np.zeros((3 * build.tiles, build.tiles))
    factor[np.arange(build.tiles) * 3 + axis, np.arange(build.tiles)] = spread_m
    made = setup(build, range(4), PlacementError(tile_m=spread_m, tile_factor=factor), seed=8)
    assert not made.in_full
    stood, _ = _compare(made, 8, range(40))
    assert stood > 0


def test_short_way_is_the_plain_way_where_only_friction_stops_it():
    build, struck = BUILDS["narrow gaps"]
    made = setup(build, struck, PlacementError(domino_friction=0.25, domino_friction_spread=0.02), seed=9)
    assert not made.in_full
    rough = PlacementError(
        domino_friction=0.9, domino_friction_spread=0.4
    )  # beyond what the box was made for
    stood, _ = _compare(replace(made, error=rough), 9, range(40))
    assert stood > 0


def test_short_way_lets_few_fall_in_a_straight_field():
    build = laying(field(0, 0, 100, 10))
    made = setup(build, range(10), USUAL)
    assert made.in_full == ""
    batch = run_trials(made, 0, 10)
    assert batch.let_fall < 0.3 * 10 * len(build)


def test_half_offset_rows_say_that_all_falls_in_full():
    build, struck = BUILDS["half-offset rows"]
    made = setup(build, struck, USUAL)
    assert "split or meet" in made.in_full
    assert run_trials(made, 0, 2).let_fall == 2 * len(build)


def test_without_errors_a_trial_is_the_planned_fall():
    for name in ("straight field", "split", "gaps too wide"):
        build, struck = BUILDS[name]
        made = setup(build, struck, PlacementError())
        contacts = find_contacts(build.x_m, build.y_m, build.z_m, build.yaw_rad, made.pieces)
        planned = topple(contacts, made.pieces, build.yaw_rad, Ground(), made.strikes)
        np.testing.assert_array_equal(trial_in_full(made, 0), planned.state != FALLEN)
        batch = run_trials(made, 0, 2)
        np.testing.assert_array_equal(batch.standing, planned.standing)


def test_a_hole_wider_than_a_piece_is_high_stops_its_column():
    """Row pitch 30 mm: without row r the gap is 60 - 7.5 = 52.5 mm, above 48 mm, so rows - r - 1 stay up."""
    build = laying(field(0, 0, 12, 3, row_pitch=0.03))
    made = setup(build, range(3), PlacementError())
    laid = lay(build, made.error, draw_normals(build, made.error, 1, 0))
    for row, column in ((1, 0), (5, 1), (11, 2)):
        missing = np.zeros(len(build), dtype=bool)
        missing[3 * row + column] = True
        outcome = one_trial(made, replace(laid, missing=missing))
        expected = np.zeros((12, 3), dtype=bool)
        expected[row + 1 :, column] = True
        np.testing.assert_array_equal(outcome.stood.reshape(12, 3), expected)


def test_a_strike_that_waits_for_a_missing_piece_never_comes():
    build = laying(field(0, 0, 6, 2))
    made = setup(build, [0, 1], PlacementError())
    waits = replace(
        made.strikes, waits_for=np.array([-1, 10], dtype=np.int32)
    )  # column 1 for row 5 of column 0
    made = replace(made, strikes=waits)
    laid = lay(build, made.error, draw_normals(build, made.error, 1, 0))
    assert not stood_in_full(made, laid).any()
    missing = np.zeros(len(build), dtype=bool)
    missing[10] = True
    stood = stood_in_full(made, replace(laid, missing=missing)).reshape(6, 2)
    assert not stood[:, 0].any()
    assert stood[:, 1].all()


def test_a_stacked_piece_comes_down_with_its_support():
    build = laying(field(0, 0, 6, 2))
    upper = 2
    stacked = replace(
        build,
        **{
            column: np.concatenate([getattr(build, column), getattr(build, column)[-upper:]])
            for column in ("x_m", "y_m", "yaw_rad", "tile")
        },
        z_m=np.concatenate([build.z_m, np.full(upper, 0.048)]),
        support=np.concatenate([build.support, np.array([10, 11], dtype=np.int32)]),
    )
    made = setup(stacked, [0, 1], USUAL)
    assert run_trials(made, 0, 3).standing.sum() == 0
    alone = setup(stacked, [0], PlacementError())  # nobody strikes column 1
    np.testing.assert_array_equal(np.flatnonzero(run_trials(alone, 0, 1).stood), [1, 3, 5, 7, 9, 11, 13])


def _batches_are_equal(one, other):
    for column in fields(one):
        np.testing.assert_array_equal(getattr(one, column.name), getattr(other, column.name))


def test_batches_do_not_depend_on_how_the_trials_are_cut():
    build, struck = BUILDS["straight field"]
    made = setup(build, struck, scaled(3.0))
    whole = merge(made, [run_trials(made, 0, 9)])
    parts = [run_trials(made, first, count) for first, count in ((4, 3), (0, 4), (7, 2))]
    cut = merge(made, parts)
    _batches_are_equal(whole, cut)
    assert whole.standing.max() > 0
    assert whole.stood.sum() == whole.standing.sum()
    assert whole.trials == 9
    assert whole.chance_all_fall.value == (whole.standing == 0).mean()


def test_batches_that_do_not_fit_are_refused():
    build, struck = BUILDS["curve"]
    made = setup(build, struck, USUAL)
    one = run_trials(made, 0, 2)
    for wrong in ([], [run_trials(made, 2, 1)], [one, one], [replace(one, seed=99)]):
        with pytest.raises(ValueError, match=r"batches must|no trial"):
            merge(made, wrong)


def test_columns_of_different_length_are_refused():
    build, struck = BUILDS["curve"]
    made = setup(build, struck, USUAL)
    contacts = find_contacts(build.x_m, build.y_m, build.z_m, build.yaw_rad, made.pieces)
    with pytest.raises(ValueError, match="same dominoes"):
        set_up(build, USUAL, contacts, made.pieces.take(np.arange(5)), Ground(), made.strikes, 1)


@pytest.mark.parametrize(("hits", "trials"), [(0, 1000), (3, 1000), (500, 1000), (1000, 1000), (1, 1)])
def test_interval_of_a_chance_is_exact(hits, trials):
    """Against scipy's exact interval (Clopper and Pearson 1934)."""
    expected = scipy.stats.binomtest(hits, trials).proportion_ci(0.95, method="exact")
    assert clopper_pearson(hits, trials) == pytest.approx((expected.low, expected.high), rel=1e-9)
    assert chance_of(hits, trials).value == hits / trials


def test_nothing_seen_leaves_about_three_over_n():
    """The exact two-sided 95 % bound for 0 of n is 1 - 0.025^(1/n): 0.003682 for 1,000."""
    assert clopper_pearson(0, 1000)[1] == pytest.approx(1 - 0.025 ** (1 / 1000), rel=1e-9)


@pytest.mark.parametrize("case", [(-1, 5), (6, 5), (0, 0)])
def test_counts_that_cannot_be_are_refused(case):
    with pytest.raises(ValueError, match="at least one trial"):
        clopper_pearson(*case)


def test_mean_left_standing_with_many_failures_is_students():
    """Against scipy's t interval."""
    standing = np.random.default_rng(1).poisson(2.0, 200).astype(np.int32)
    mean = mean_of(standing, 1000)
    expected = scipy.stats.ttest_1samp(standing, 0.0).confidence_interval(0.95)
    assert (mean.low, mean.high) == pytest.approx((expected.low, expected.high), rel=1e-9)
    assert mean.method == "Student t 95 %"


def test_mean_left_standing_with_few_failures_uses_the_largest_seen():
    standing = np.zeros(1000, dtype=np.int32)
    standing[:2] = [3, 40]
    mean = mean_of(standing, 1000)
    low, high = clopper_pearson(2, 1000)
    assert (mean.value, mean.low, mean.high) == pytest.approx((0.043, 3 * low, 40 * high))
    nothing = mean_of(np.zeros(1000, dtype=np.int32), 1000)
    assert (nothing.value, nothing.low) == (0.0, 0.0)
    assert nothing.high == pytest.approx(clopper_pearson(0, 1000)[1])


def _footprint(x, y, yaw):
    along, across = np.array([np.cos(yaw), np.sin(yaw)]), np.array([-np.sin(yaw), np.cos(yaw)])
    middle = np.array([x, y])
    return Polygon(
        [
            middle + 0.5 * (s * THICKNESS_M * along + t * WIDTH_M * across)
            for s, t in ((1, 1), (1, -1), (-1, -1), (-1, 1))
        ]
    )


def test_touching_is_what_shapely_calls_overlapping():
    chance = np.random.default_rng(2)
    count = 2000
    x, y = np.zeros(2 * count), np.zeros(2 * count)
    x[1::2], y[1::2] = chance.uniform(-0.03, 0.03, (2, count))
    yaw = chance.uniform(-np.pi, np.pi, 2 * count)
    pairs = np.arange(2 * count, dtype=np.int32).reshape(-1, 2)
    touched = np.zeros(count, dtype=np.int8)
    none = np.zeros(2 * count, dtype=bool)
    seams = np.arange(count, dtype=np.int32)
    found = touching(
        x, y, np.cos(yaw), np.sin(yaw), none, pairs, seams, 0.5 * THICKNESS_M, 0.5 * WIDTH_M, touched
    )
    expected = [
        _footprint(x[i], y[i], yaw[i]).intersection(_footprint(x[j], y[j], yaw[j])).area > 0 for i, j in pairs
    ]
    np.testing.assert_array_equal(touched.astype(bool), expected)
    assert found == sum(expected)
    assert 200 < found < 1800


def _gather_slowly(doubt, always, pred, succ, deep, whole):
    """Slow twin of ``gather``."""
    chosen = {k for k in range(len(doubt)) if always[k]}
    for piece in range(len(doubt)):
        if not (doubt[piece] or whole[piece]):
            continue
        at, steps = piece, 0
        while at >= 0 and (whole[piece] or steps <= deep):
            chosen.add(at)
            at, steps = succ[at], steps + 1
        at = pred[piece]
        while at >= 0:
            chosen.add(at)
            at = pred[at]
    return chosen


def test_what_is_let_fall_is_closed_against_all_that_comes_before():
    chance = np.random.default_rng(3)
    for _ in range(200):
        order = chance.permutation(40).astype(np.int32)
        pred, succ = np.full(40, -1, dtype=np.int32), np.full(40, -1, dtype=np.int32)
        joined = chance.random(39) < 0.9
        succ[order[:-1][joined]] = order[1:][joined]
        pred[order[1:][joined]] = order[:-1][joined]
        doubt, whole = (chance.random((2, 40)) < [[0.1], [0.03]]).astype(np.int8)
        always = np.zeros(40, dtype=np.int8)
        chosen = np.empty(40, dtype=np.int8)
        gather(doubt, always, pred, succ, 3, whole, chosen)
        assert set(np.flatnonzero(chosen)) == _gather_slowly(doubt, always, pred, succ, 3, whole)
