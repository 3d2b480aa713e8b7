"""Paths against numerical integration of their heading (SciPy) and against closed forms worked by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from standfall.geometry import Arc, Path, Straight

straights = st.builds(Straight, st.floats(0.01, 20.0))
arcs = st.builds(Arc, st.floats(0.05, 10.0), st.floats(0.05, 7.0) | st.floats(-7.0, -0.05))
paths = st.builds(
    Path,
    st.tuples(st.floats(-50, 50), st.floats(-50, 50)),
    st.floats(-7, 7),
    st.lists(straights | arcs, min_size=1, max_size=6).map(tuple),
)


def _heading_at(path: Path, s_m: float) -> float:
    """Heading at a distance: the start's, plus the turn of each part passed, in proportion within a part."""
    heading = path.start_heading_rad
    for part in path.parts:
        share = min(max(s_m / part.length_m, 0.0), 1.0)
        if isinstance(part, Arc):
            heading += part.turn_rad * share
        s_m -= part.length_m
    return heading


def _integrated(path: Path, s_m: float) -> tuple[float, float]:
    """dx/ds = cos(heading), dy/ds = sin(heading): integrated part by part by QUADPACK."""
    x, y = path.start_m
    begun = 0.0
    for part in path.parts:
        end = min(begun + part.length_m, s_m)
        if end <= begun:
            break
        x += quad(lambda s: math.cos(_heading_at(path, s)), begun, end, limit=200)[0]
        y += quad(lambda s: math.sin(_heading_at(path, s)), begun, end, limit=200)[0]
        begun += part.length_m
    return x, y


@settings(max_examples=60, deadline=None, derandomize=True)
@given(paths, st.lists(st.floats(0, 1), min_size=1, max_size=4))
def test_poses_are_the_integral_of_the_heading(path: Path, shares: list[float]) -> None:
    distances = np.sort(np.array(shares)) * path.length_m
    x_m, y_m, yaw_rad = path.poses(distances)
    for number, s_m in enumerate(distances):
        assert (x_m[number], y_m[number]) == pytest.approx(_integrated(path, float(s_m)), abs=1e-7)
        assert yaw_rad[number] == pytest.approx(_heading_at(path, float(s_m)), abs=1e-9)


def test_quarter_arc_left_and_right() -> None:
    # From (1, 2) heading along x, radius 2. Left: centre (1, 4), a quarter turn ends at (3, 4) heading up.
    # Right: centre (1, 0), ends at (3, 0) heading down. Half way: centre + 2 (sin 45, -+cos 45).
    for side in (1, -1):
        path = Path((1.0, 2.0), 0.0, (Arc(2.0, side * math.pi / 2),))
        x_m, y_m, yaw_rad = path.poses(np.array([0.0, math.pi / 2, math.pi]))
        np.testing.assert_allclose(x_m, [1, 1 + math.sqrt(2), 3], atol=1e-12)
        np.testing.assert_allclose(y_m, [2, 2 + side * (2 - math.sqrt(2)), 2 + 2 * side], atol=1e-12)
        np.testing.assert_allclose(yaw_rad, [0, side * math.pi / 4, side * math.pi / 2], atol=1e-12)


def test_full_circle_comes_home() -> None:
    path = Path((0.0, 0.0), 0.3, (Arc(1.5, 2 * math.pi),))
    x_m, y_m, yaw_rad = path.poses(np.array([path.length_m]))
    assert path.length_m == pytest.approx(3 * math.pi)  # circumference 2 pi r
    assert (x_m[0], y_m[0]) == pytest.approx((0, 0), abs=1e-12)
    assert yaw_rad[0] == pytest.approx(0.3 + 2 * math.pi)


def test_turn_on_the_spot_faces_the_way_it_came_at_the_corner() -> None:
    # 3 m along x, then 4 m straight up: the piece on the corner still faces along x.
    path = Path((0.0, 0.0), 0.0, (Straight(3.0), Straight(4.0, math.pi / 2)))
    x_m, y_m, yaw_rad = path.poses(np.array([0.0, 3.0, 3.5, 7.0]))
    np.testing.assert_allclose(x_m, [0, 3, 3, 3], atol=1e-12)
    np.testing.assert_allclose(y_m, [0, 0, 0.5, 4], atol=1e-12)
    np.testing.assert_allclose(yaw_rad, [0, 0, math.pi / 2, math.pi / 2], atol=1e-12)
    assert path.length_m == 7.0


def test_beyond_the_end_goes_straight_on_a_straight() -> None:
    x_m, y_m, _ = Path((0.0, 0.0), math.pi / 2, (Straight(1.0),)).poses(np.array([2.5]))
    assert (x_m[0], y_m[0]) == pytest.approx((0, 2.5))


def test_beyond_the_end_of_an_arc_the_arc_goes_on() -> None:
    # Quarter circle of radius 1 from the origin, centre (0, 1); at half a turn it is at (0, 2) heading back.
    path = Path((0.0, 0.0), 0.0, (Arc(1.0, math.pi / 2),))
    x_m, y_m, yaw_rad = path.poses(np.array([math.pi]))
    assert (x_m[0], y_m[0], yaw_rad[0]) == pytest.approx((0.0, 2.0, math.pi))


def test_tightest_radius() -> None:
    assert Path((0.0, 0.0), 0.0, (Straight(1.0), Arc(0.8, 1.0), Arc(0.5, -1.0))).tightest_radius_m == 0.5
    assert Path((0.0, 0.0), 0.0, (Straight(1.0),)).tightest_radius_m == math.inf


def test_no_distances_no_poses() -> None:
    for column in Path((0.0, 0.0), 0.0, (Straight(1.0), Arc(1.0, 1.0))).poses(np.empty(0)):
        assert column.shape == (0,)
