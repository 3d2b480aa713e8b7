"""Robots and people made ready: which parts touch, turning circles and names, by hand arithmetic."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hall_case import ARMS, BOWTIE, CHASSIS, cart, with_part

from standfall.brief import Crew, RobotPart
from standfall.hall import crew_model, make_model

HEIGHT_M, OVER_M = 0.048, 0.01


def _area_m2(pieces: tuple[np.ndarray, ...]) -> float:
    return float(shapely.union_all([shapely.Polygon(piece) for piece in pieces]).area)


@pytest.mark.parametrize(
    ("bottom_mm", "lowered_mm", "in_travel", "in_lowered"),
    [
        (120, None, False, False),
        (58, None, False, False),  # 48 + 10: as high as needed
        (57.9, None, True, True),
        (120, 58, False, False),
        (120, 57.9, False, True),
        (57.9, 120, True, True),  # low before it is lowered, so it touches on the way
        (0, 0, True, True),
    ],
)
def test_a_part_touches_when_it_is_lower_than_domino_and_over_mm(
    bottom_mm: float, lowered_mm: float | None, in_travel: bool, in_lowered: bool
) -> None:
    lowered_m = None if lowered_mm is None else lowered_mm / 1000
    robot = with_part(cart(), 1, bottom_m=bottom_mm / 1000, lowered_bottom_m=lowered_m)
    model = make_model(robot, HEIGHT_M, OVER_M)
    # Chassis 0.5 x 0.3; the arms 0.3 x 0.2 share 0.1 x 0.2 with it.
    chassis, both = 0.15, 0.15 + 0.06 - 0.02
    assert _area_m2(model.travel) == pytest.approx(both if in_travel else chassis)
    assert _area_m2(model.lowered) == pytest.approx(both if in_lowered else chassis)
    assert _area_m2(model.body) == pytest.approx(both)


def test_turning_circles_by_pythagoras() -> None:
    model = make_model(cart(), HEIGHT_M, OVER_M)
    # Turn centre (-0.35, 0): chassis corners at (+-0.25, 0.15), arms corner at (0.45, 0.1).
    assert model.turn_radius_m == pytest.approx(math.hypot(0.25, 0.15))
    assert model.body_radius_m == pytest.approx(math.hypot(0.45, 0.1))


def test_a_part_with_a_corner_inward_becomes_convex_pieces() -> None:
    fork = (
        (-0.6, -0.3),
        (0.1, -0.3),
        (0.1, -0.25),
        (-0.2, -0.25),
        (-0.2, 0.25),
        (0.1, 0.25),
        (0.1, 0.3),
        (-0.6, 0.3),
    )
    robot = cart(parts=(RobotPart(name="fork", outline_m=fork, bottom_m=0.0),))
    model = make_model(robot, HEIGHT_M, OVER_M)
    # 0.7 x 0.6 less the mouth of 0.3 x 0.5; two triangles less than the eight corners.
    assert _area_m2(model.travel) == pytest.approx(0.42 - 0.15)
    assert len(model.travel) == 6
    assert not any(shapely.Polygon(piece).contains(shapely.Point(0, 0)) for piece in model.travel)


def test_a_faulty_part_counts_as_its_hull_and_an_empty_one_not_at_all() -> None:
    crossed = RobotPart(name="crossed", outline_m=BOWTIE, bottom_m=0.0)
    flat = RobotPart(name="flat", outline_m=((0, 0), (1, 0), (2, 0)), bottom_m=0.0)
    model = make_model(cart(parts=(crossed, flat)), HEIGHT_M, OVER_M)
    assert _area_m2(model.travel) == pytest.approx(4.0)
    assert make_model(cart(parts=(flat,)), HEIGHT_M, OVER_M).turn_radius_m == 0.0


def test_names_of_the_single_robots() -> None:
    assert make_model(cart(), HEIGHT_M, OVER_M).names == ("cart",)
    assert make_model(cart(count=3), HEIGHT_M, OVER_M).names == ("cart 1", "cart 2", "cart 3")


def test_parts_keep_their_place_whatever_their_order() -> None:
    one = make_model(cart(parts=(CHASSIS, ARMS)), HEIGHT_M, OVER_M)
    other = make_model(cart(parts=(ARMS, CHASSIS)), HEIGHT_M, OVER_M)
    assert _area_m2(one.body) == pytest.approx(_area_m2(other.body))
    assert one.body_radius_m == other.body_radius_m


def test_a_person_is_sixteen_sides_round_their_circle() -> None:
    worker = crew_model(Crew(builders=2, room_m=0.7))
    (piece,) = worker.travel
    assert piece.shape == (16, 2)
    polygon = shapely.Polygon(piece)
    assert polygon.exterior.is_ccw
    # The circle of 0.35 m touches every side from within; area of a regular polygon round it: n r^2 tan(pi / n).
    assert polygon.exterior.distance(shapely.Point(0, 0)) == pytest.approx(0.35)
    assert polygon.area == pytest.approx(16 * 0.35**2 * math.tan(math.pi / 16))
    assert worker.turn_radius_m == pytest.approx(0.35 / math.cos(math.pi / 16))
    assert worker.names == ("builder 1", "builder 2")
