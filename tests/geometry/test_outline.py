"""Outlines and footprints against shapely (general-purpose library) used another way round."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LinearRing, Point, Polygon, affinity, box

from standfall.geometry import floor_faults, inside, rectangle_corners

L_HALL = ((0.0, 0.0), (18.0, 0.0), (18.0, 10.0), (15.0, 10.0), (15.0, 14.0), (0.0, 14.0))


def _piece(x: float, y: float, yaw: float, width: float, thickness: float) -> Polygon:
    """Thickness along x before turning, since the fall runs along x at yaw 0."""
    flat = box(-thickness / 2, -width / 2, thickness / 2, width / 2)
    return affinity.translate(affinity.rotate(flat, yaw, origin=(0, 0), use_radians=True), x, y)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.floats(-20, 20), st.floats(-20, 20), st.floats(-7, 7), st.floats(0.005, 0.2), st.floats(0.005, 0.2))
def test_footprint_is_the_turned_rectangle(
    x: float, y: float, yaw: float, width: float, thickness: float
) -> None:
    corners = rectangle_corners(np.array([x]), np.array([y]), np.array([yaw]), width, thickness)
    assert corners.shape == (1, 4, 2)
    got, wanted = Polygon(corners[0]), _piece(x, y, yaw, width, thickness)
    assert got.is_valid
    assert got.symmetric_difference(wanted).area < 1e-9 * width


def test_shrinking_takes_the_same_off_every_side() -> None:
    corners = rectangle_corners(np.zeros(1), np.zeros(1), np.zeros(1), 0.024, 0.008, shrink_m=0.001)
    # 24 x 8 mm less 1 mm on every side: 22 x 6 mm, the thickness along x.
    assert Polygon(corners[0]).bounds == pytest.approx((-0.003, -0.011, 0.003, 0.011))


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.lists(st.tuples(st.floats(-2, 20), st.floats(-2, 16), st.floats(-4, 4)), min_size=1, max_size=12))
def test_inside_agrees_with_the_area_left_over(poses: list[tuple[float, float, float]]) -> None:
    x, y, yaw = np.array(poses).T
    told = inside(L_HALL, rectangle_corners(x, y, yaw, 0.024, 0.0075))
    hall = Polygon(L_HALL)
    for number, pose in enumerate(poses):
        outside_area = _piece(*pose, 0.024, 0.0075).difference(hall).area
        # Between the two lies the edge tolerance of 1 micrometre.
        if outside_area == 0 or outside_area > 1e-7:
            assert told[number] == (outside_area == 0)


def test_a_shape_on_the_edge_is_inside_and_one_in_the_notch_is_not() -> None:
    square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    moves = np.array([[0.0, 0.0], [17, 9], [16, 11], [14.5, 9.5], [17.5, 0]])
    shapes = square + moves[:, None]
    # In the corner; in the inner corner's lower part up to both edges; in the notch; across the inner
    # corner; half outside on the right.
    assert inside(L_HALL, shapes).tolist() == [True, True, False, False, False]


def test_a_bridge_across_a_concave_corner_is_outside_though_its_corners_are_inside() -> None:
    bridge = np.array([[[14.9, 13.9], [17.9, 9.9], [17.9, 9.95], [14.9, 13.95]]])
    assert all(Polygon(L_HALL).covers(Point(corner)) for corner in bridge[0])
    assert not inside(L_HALL, bridge)[0]


@settings(max_examples=150, deadline=None, derandomize=True)
@given(st.lists(st.tuples(st.integers(0, 6), st.integers(0, 6)), min_size=3, max_size=7, unique=True))
def test_floor_faults_agrees_with_a_simple_ring(corners: list[tuple[int, int]]) -> None:
    # A ring that is simple encloses an area; one that is not crosses or touches itself (OGC Simple Features).
    ring_is_simple = LinearRing(corners).is_simple
    assert (floor_faults([(float(x), float(y)) for x, y in corners]) is None) == (
        ring_is_simple and Polygon(corners).area > 0
    )


@pytest.mark.parametrize(
    ("corners", "word"),
    [
        ((), "0 different corners"),
        (((0.0, 0.0), (5.0, 0.0)), "2 different corners"),
        (((0.0, 0.0), (5.0, 0.0), (0.0, 0.0), (5.0, 0.0)), "2 different corners"),
        (((0.0, 0.0), (5.0, 5.0), (5.0, 0.0), (0.0, 5.0)), "Self-intersection"),
    ],
)
def test_what_is_no_floor_says_why(corners: tuple[tuple[float, float], ...], word: str) -> None:
    assert word in (floor_faults(corners) or "")


def test_three_corners_on_a_line_are_no_floor() -> None:
    assert floor_faults(((0.0, 0.0), (1.0, 0.0), (2.0, 0.0))) is not None
    assert floor_faults(((0.0, 0.0), (1.0, 0.0), (2.0, 1e-6))) is not None


def test_floors_either_way_round_and_closed_by_hand_are_floors() -> None:
    assert floor_faults(L_HALL) is None
    assert floor_faults(L_HALL[::-1]) is None
    assert floor_faults((*L_HALL, L_HALL[0])) is None
