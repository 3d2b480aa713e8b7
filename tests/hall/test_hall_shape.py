"""Polygons of the hall against shapely's own operations and formulas of regular polygons."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hall_case import BOWTIE
from shapely import affinity

from standfall.hall.shape import disc, in_hall, posed, read_polygon

L_SHAPE = ((0.0, 0.0), (3.0, 0.0), (3.0, 1.0), (1.0, 1.0), (1.0, 2.0), (0.0, 2.0))


def test_crossing_sides_become_the_hull_and_are_told() -> None:
    polygon, fault = read_polygon(BOWTIE, 1e-6)
    assert fault is not None and "Self-intersection" in fault and "1 1" in fault  # they cross at (1, 1)
    assert polygon is not None and polygon.equals(shapely.box(0, 0, 2, 2))


@pytest.mark.parametrize(
    "corners",
    [
        (),
        ((0.0, 0.0),),
        ((0.0, 0.0), (1.0, 0.0), (0.0, 0.0)),
        ((0.0, 0.0), (1.0, 0.0), (2.0, 0.0)),
        ((0.0, 0.0), (1e-4, 0.0), (0.0, 1e-4)),
        ((0.0, 0.0), (1.0, 0.0), (2.0, 0.0), (1.0, 0.0)),
    ],
)
def test_without_an_area_there_is_no_polygon(corners: tuple[tuple[float, float], ...]) -> None:
    polygon, fault = read_polygon(corners, 1e-6)
    assert polygon is None and fault


def test_a_closed_ring_is_as_good_as_an_open_one() -> None:
    polygon, fault = read_polygon((*L_SHAPE, L_SHAPE[0]), 1e-6)
    assert fault is None and polygon is not None
    assert polygon.area == pytest.approx(3 * 1 + 1 * 1)


def test_a_disc_holds_its_circle_and_hardly_more() -> None:
    shape = disc(3.0, -1.0, 0.5)
    centre = shapely.Point(3.0, -1.0)
    assert shape.exterior.distance(centre) >= 0.5 - 1e-12
    # A regular polygon of n sides round a circle: area n r^2 tan(pi / n); here n = 64.
    assert shape.area == pytest.approx(64 * 0.25 * math.tan(math.pi / 64))


@pytest.mark.parametrize("degrees", [0, 30, 90, 180, -77])
def test_a_robot_is_turned_by_its_yaw_then_moved(degrees: float) -> None:
    corners = np.array(L_SHAPE)
    wanted = affinity.translate(affinity.rotate(shapely.Polygon(corners), degrees, origin=(0, 0)), 4.0, 5.0)
    moved = in_hall(corners, 4.0, 5.0, math.radians(degrees))
    np.testing.assert_allclose(moved, shapely.get_coordinates(wanted)[:-1], atol=1e-12)
    shape = posed([corners], 4.0, 5.0, math.radians(degrees))
    assert shape.symmetric_difference(wanted).area < 1e-12
