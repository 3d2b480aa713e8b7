"""Errors of placement: what moves with what, by how much, and that chance hangs on seed and trial alone."""

import math
from dataclasses import replace

import numpy as np
import pytest
import scipy.stats
from shapely import affinity
from shapely.geometry import MultiPoint
from trial_layouts import USUAL, field, laying, line

from standfall.fall.placement import PlacementError, draw_normals, lay, laying_of
from standfall.mural.standing import STANDING_TYPES, Standing
from standfall.tiles.tiling import Tiling

NOTHING = PlacementError()


def _laid(build, error, seed=1, trial=0):
    return lay(build, error, draw_normals(build, error, seed, trial))


@pytest.fixture(scope="module")
def build():
    return laying(field(0, 0, 20, 24), line(1, 0, 0.3, 40))


def test_without_errors_all_stands_as_planned(build):
    laid = _laid(build, NOTHING)
    np.testing.assert_array_equal(laid.x_m, build.x_m)
    np.testing.assert_array_equal(laid.y_m, build.y_m)
    np.testing.assert_array_equal(laid.yaw_rad, build.yaw_rad)
    assert not laid.missing.any()
    assert laid.domino_friction == NOTHING.domino_friction


def test_a_trial_is_the_same_again_and_another_is_not(build):
    one, again = _laid(build, USUAL, 5, 17), _laid(build, USUAL, 5, 17)
    np.testing.assert_array_equal(one.x_m, again.x_m)
    assert one.domino_friction == again.domino_friction
    for other in (_laid(build, USUAL, 5, 18), _laid(build, USUAL, 6, 17)):
        assert (one.x_m != other.x_m).all()
        assert one.domino_friction != other.domino_friction


def test_drawing_one_thing_more_moves_no_other(build):
    plain = _laid(build, replace(USUAL, mass_spread=0.0), 5, 17)
    more = _laid(build, replace(USUAL, missing=0.1), 5, 17)
    np.testing.assert_array_equal(plain.x_m, more.x_m)
    np.testing.assert_array_equal(plain.yaw_rad, more.yaw_rad)
    assert plain.domino_friction == more.domino_friction
    assert more.missing.any()


def test_a_tile_carries_its_pieces_as_one(build):
    """Against shapely's rotation about a point and translation."""
    error = PlacementError(tile_m=0.002, tile_turn_rad=0.05)
    normals = draw_normals(build, error, 1, 0)
    laid = lay(build, error, normals)
    errors = normals.tile.reshape(-1, 3) * [0.002, 0.002, 0.05]
    for tile in (0, 5):
        own = np.flatnonzero(build.tile == tile)
        planned = MultiPoint(np.column_stack([build.x_m[own], build.y_m[own]]))
        centre = (build.centre_x_m[tile], build.centre_y_m[tile])
        moved = affinity.translate(
            affinity.rotate(planned, errors[tile, 2], origin=centre, use_radians=True), *errors[tile, :2]
        )
        expected = np.array([[point.x, point.y] for point in moved.geoms])
        np.testing.assert_allclose(np.column_stack([laid.x_m[own], laid.y_m[own]]), expected, atol=1e-12)
        np.testing.assert_allclose(laid.yaw_rad[own] - build.yaw_rad[own], errors[tile, 2], atol=1e-12)
    by_hand = build.tile < 0
    np.testing.assert_array_equal(laid.x_m[by_hand], build.x_m[by_hand])


@pytest.mark.parametrize(
    ("error", "hand", "place", "turn"),
    [
        (PlacementError(piece_m=0.0003, piece_turn_rad=0.01), False, 0.0003, 0.01),
        (PlacementError(hand_m=0.001, hand_turn_rad=0.03), True, 0.001, 0.03),
    ],
)
def test_errors_of_pieces_are_normal_with_their_deviation(build, error, hand, place, turn):
    """Kolmogorov-Smirnov test of scipy against the normal distribution; fixed seed."""
    own = (build.tile < 0) == hand
    shifts, turns = [], []
    for trial in range(40):
        laid = _laid(build, error, 2, trial)
        shifts += [(laid.x_m - build.x_m)[own], (laid.y_m - build.y_m)[own]]
        turns.append((laid.yaw_rad - build.yaw_rad)[own])
        assert not np.any((laid.x_m - build.x_m)[~own])
    assert scipy.stats.kstest(np.concatenate(shifts) / place, "norm").pvalue > 0.01
    assert scipy.stats.kstest(np.concatenate(turns) / turn, "norm").pvalue > 0.01


def test_tiles_that_depend_on_each_other_have_the_covariance_asked_for():
    build = laying(field(0, 0, 10, 12))  # 4 tiles
    factor = np.random.default_rng(1).normal(size=(12, 5)) * 1e-3
    error = PlacementError(tile_m=0.001, tile_factor=factor)
    first = [int(np.flatnonzero(build.tile == tile)[0]) for tile in range(4)]
    rows = []
    for trial in range(4000):
        laid = _laid(build, error, 3, trial)
        turn = (laid.yaw_rad - build.yaw_rad)[first]
        # The middle of a tile moves by its error of place: mean of its pieces, as its turn is about that.
        middle = [
            [(laid.x_m - build.x_m)[build.tile == t].mean(), (laid.y_m - build.y_m)[build.tile == t].mean()]
            for t in range(4)
        ]
        rows.append(np.column_stack([middle, turn]).ravel())
    covariance = np.cov(np.array(rows).T)
    # Entries are at most some 1e-5; their standard error is that times sqrt(2 / 4000).
    np.testing.assert_allclose(covariance, factor @ factor.T, atol=4 * 1e-5 * math.sqrt(2 / 4000))


def test_scaling_tile_errors_scales_place_and_not_turn():
    factor = np.ones((6, 2))
    error = PlacementError(tile_m=0.001, tile_factor=factor).with_tile_error(0.003)
    assert error.tile_m == 0.003
    np.testing.assert_allclose(error.tile_factor[:, 0], [3, 3, 1, 3, 3, 1])
    assert PlacementError(tile_m=0.001).with_tile_error(0.003).tile_m == 0.003


def test_missing_pieces_are_as_many_as_asked_for(build):
    missing = sum(_laid(build, PlacementError(missing=0.02), 4, trial).missing.sum() for trial in range(100))
    test = scipy.stats.binomtest(int(missing), 100 * len(build), 0.02)
    assert test.pvalue > 0.01


def test_friction_never_falls_below_its_floor(build):
    error = PlacementError(domino_friction=0.05, domino_friction_spread=0.2)
    drawn = np.array([_laid(build, error, 1, trial).domino_friction for trial in range(300)])
    assert drawn.min() == 0.02
    # Chance below the floor is Phi((0.02 - 0.05) / 0.2) = Phi(-0.15).
    expected = scipy.stats.norm.cdf(-0.15)
    assert scipy.stats.binomtest(int((drawn == 0.02).sum()), 300, expected).pvalue > 0.01


def _stacked_standing():
    """Two columns of three rows on one tile; the last row carries a second piece each."""
    n = 8
    columns = {name: np.zeros(n, dtype=kind) for name, kind in STANDING_TYPES.items()}
    columns["row"][:] = [0, 0, 1, 1, 2, 2, 2, 2]
    columns["col"][:] = [0, 1] * 4
    columns["layer"][6:] = 1
    columns["z_m"][6:] = 0.048
    columns["x_m"][:] = 0.022 * columns["row"]
    columns["y_m"][:] = 0.027 * columns["col"]
    columns["tile"][:] = 1
    columns["line"][:] = -1
    return Standing(**columns)


def _tiling():
    one = np.zeros(1)
    return Tiling(
        field=np.zeros(1, np.int16), first_row=np.zeros(1, np.int32), first_col=np.zeros(1, np.int32),
        x_m=one, y_m=one, yaw_rad=one, turn_deg=np.zeros(1, np.int16), dominoes=np.array([6], np.int32),
        kind=np.zeros(1, np.int8), cut_rows=(0,), cut_cols=(0,),
    )  # fmt: skip


def test_a_stacked_piece_stands_and_lacks_as_its_support_does():
    build = laying_of(_stacked_standing(), _tiling())
    np.testing.assert_array_equal(build.support, [-1, -1, -1, -1, -1, -1, 4, 5])
    np.testing.assert_array_equal(build.tile, np.zeros(8))
    error = replace(USUAL, missing=0.3)
    lacking = 0
    for trial in range(50):
        laid = _laid(build, error, 9, trial)
        np.testing.assert_allclose(laid.x_m[6:], laid.x_m[4:6], rtol=0, atol=1e-15)
        np.testing.assert_allclose(laid.yaw_rad[6:], laid.yaw_rad[4:6], rtol=0, atol=1e-15)
        assert laid.missing[6:][laid.missing[4:6]].all()
        lacking += int(laid.missing[4:6].sum())
    assert lacking > 0
