"""Leaving one's own tile: against stepping along the way by shapely's distances, and by hand arithmetic."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hall_case import ARMS, BOWTIE, CHASSIS, DOMINO, TRAY, cart, with_part
from shapely import affinity

from standfall.brief import Laying, Robot, RobotPart, Tray
from standfall.hall import make_model
from standfall.hall.robot import leaving_m, robot_findings, tile_corners

CLEARANCE_M = 0.03


def _codes(*robots: Robot, tray: Tray | None = TRAY) -> list[tuple[str, str]]:
    models = [make_model(robot, DOMINO.height_m, 0.01) for robot in robots]
    findings, _ = robot_findings(models, tray, DOMINO, Laying())
    return [(finding.code, finding.where) for finding in findings]


def _stepped(
    pieces: list[np.ndarray], tile: np.ndarray, direction_rad: float, clearance_m: float, step_m: float
) -> float | None:
    """The slow way: move on by a step until every piece is clear; ``None`` once one overlaps the tile."""
    target = shapely.Polygon(tile)
    for number in range(10_000):
        along_m = number * step_m
        shift = (along_m * math.cos(direction_rad), along_m * math.sin(direction_rad))
        moved = [affinity.translate(shapely.Polygon(piece), *shift) for piece in pieces]
        if any(shape.intersection(target).area > 1e-12 for shape in moved):
            return None
        if all(shape.distance(target) >= clearance_m for shape in moved):
            return along_m
    raise AssertionError("never clear")


def _case(seed: int) -> tuple[list[np.ndarray], np.ndarray, float]:
    """Three convex pieces round a tile, none on it, the tile, and a direction."""
    rng = np.random.default_rng(seed)
    tile = tile_corners(TRAY, DOMINO, float(rng.uniform(0, 2 * np.pi)))
    pieces: list[np.ndarray] = []
    while len(pieces) < 3:
        spot = rng.uniform(-0.3, 0.3, 2)
        hull = shapely.MultiPoint(spot + rng.uniform(-0.08, 0.08, (5, 2))).convex_hull
        if not hull.intersects(shapely.Polygon(tile)):
            pieces.append(shapely.get_coordinates(shapely.orient_polygons(hull))[:-1])
    return pieces, tile, float(rng.uniform(-np.pi, np.pi))


@pytest.mark.parametrize("seed", range(40))
def test_the_length_of_leaving_is_that_found_step_by_step(seed: int) -> None:
    case = _case(seed)
    wanted = _stepped(*case, CLEARANCE_M, 1e-3)
    found = leaving_m(*case, CLEARANCE_M)
    if wanted is None or found is None:
        assert wanted is None and found is None
    else:
        # One step of the slow way; rounded corners are 64 sides within their circle, 0.12 % of 30 mm at most.
        assert wanted - 1.3e-3 <= found <= wanted + 1e-9


def test_the_cases_hold_all_answers() -> None:
    answers = [leaving_m(*_case(seed), CLEARANCE_M) for seed in range(40)]
    assert answers.count(None) >= 4
    assert answers.count(0.0) >= 4
    assert sum(answer is not None and answer > 0.01 for answer in answers) >= 4


def test_the_pieces_of_a_full_tile() -> None:
    tile = tile_corners(TRAY, DOMINO, 0.0)
    # 4 x 22 + 7.5 mm along x, 6 x 27 + 24 mm across.
    np.testing.assert_allclose(np.ptp(tile, axis=0), [0.0955, 0.186])
    assert shapely.Polygon(tile).exterior.is_ccw
    quarter = tile_corners(TRAY, DOMINO, math.pi / 2)
    np.testing.assert_allclose(np.ptp(quarter, axis=0), [0.186, 0.0955])
    half = Tray(columns=7, rows=5, col_pitch_m=0.027, row_pitch_m=0.022, rows_laid="half_offset")
    # Half-offset rows are half a pitch wider together; a single row is not.
    np.testing.assert_allclose(np.ptp(tile_corners(half, DOMINO, 0.0), axis=0), [0.0955, 0.1995])
    single = Tray(columns=7, rows=1, col_pitch_m=0.027, row_pitch_m=0.022, rows_laid="half_offset")
    np.testing.assert_allclose(np.ptp(tile_corners(single, DOMINO, 0.0), axis=0), [0.0075, 0.186])


def test_backing_out_by_hand() -> None:
    model = make_model(cart(), DOMINO.height_m, 0.01)
    tile = tile_corners(TRAY, DOMINO, 0.0)
    # The chassis ends at -100 mm, the pieces begin at -47.75 mm: 52.25 mm between them already.
    assert leaving_m(model.travel, tile, math.pi, 0.03) == 0.0
    assert leaving_m(model.travel, tile, math.pi, 0.07) == pytest.approx(0.07 - 0.05225)
    # Sideways the chassis stays 52.25 mm behind. Ahead it would not touch at once either, being clear already.
    assert leaving_m(model.travel, tile, math.pi / 2, 0.03) == 0.0
    assert leaving_m(model.travel, tile, 0.0, 0.07) is None
    assert leaving_m((), tile, 0.0, 0.07) == 0.0


def test_a_frame_on_three_sides_leaves_by_the_fourth() -> None:
    # A low fork open ahead: only backing out, so that the dominoes leave by the open end.
    sides = [
        RobotPart(
            name="left", outline_m=((-0.1, 0.1), (0.06, 0.1), (0.06, 0.12), (-0.1, 0.12)), bottom_m=0.0
        ),
        RobotPart(
            name="right", outline_m=((-0.1, -0.12), (0.06, -0.12), (0.06, -0.1), (-0.1, -0.1)), bottom_m=0.0
        ),
    ]
    fork = cart(parts=(CHASSIS, *sides))
    assert _codes(fork) == []
    model = make_model(fork, DOMINO.height_m, 0.01)
    tile = tile_corners(TRAY, DOMINO, 0.0)
    # The tips at x = 60 mm, 7 mm beside the pieces (100 - 93), must come to 30 mm from their corner at -47.75 mm:
    # 60 + 47.75 + sqrt(30^2 - 7^2) mm; a rounded corner of 64 sides lies up to 0.12 % inside.
    left_m = 0.06 + 0.04775 + math.sqrt(0.03**2 - 0.007**2)
    assert leaving_m(model.travel, tile, math.pi, 0.03) == pytest.approx(left_m, abs=1e-4)
    for degrees in (90, -90, 0, 170):
        assert leaving_m(model.travel, tile, math.radians(degrees), 0.03) is None
    shut = cart(
        parts=(
            *fork.parts,
            RobotPart(
                name="front",
                outline_m=((0.06, -0.12), (0.07, -0.12), (0.07, 0.12), (0.06, 0.12)),
                bottom_m=0.01,
            ),
        )
    )
    assert _codes(shut) == [("H810", "robot[0]")]
    # A front that is raised before it leaves is in nobody's way.
    assert _codes(with_part(shut, 3, bottom_m=0.07, lowered_bottom_m=0.0)) == []


def test_one_turn_of_the_tray_that_works_is_enough() -> None:
    # Bars at the sides of a tray that lies straight: turned by 90 degrees its 186 mm go under them.
    bars = [
        RobotPart(name=name, outline_m=((-0.1, y), (0.1, y), (0.1, y + 0.02), (-0.1, y + 0.02)), bottom_m=0.0)
        for name, y in (("left", 0.05), ("right", -0.07))
    ]
    robot = cart(parts=(CHASSIS, *bars), tray_turns_rad=(0.0,))
    assert _codes(robot) == [("H810", "robot[0]")]
    turned = cart(parts=(CHASSIS, *bars), tray_turns_rad=(0.0, math.pi / 2))
    assert _codes(turned) == []


def test_parts_over_the_tile_are_told_apart_from_ways_through_it() -> None:
    on_it = with_part(cart(), 1, lowered_bottom_m=0.03)
    through = cart(leave_rad=(0.0,), parts=(CHASSIS, ARMS))
    messages = []
    for robot in (on_it, through):
        model = make_model(robot, DOMINO.height_m, 0.01)
        findings, _ = robot_findings([model], TRAY, DOMINO, Laying(clearance_m=0.07))
        messages += [finding.message for finding in findings]
    assert "while its tray is lowered" in messages[0]
    assert "whichever way it leaves" in messages[1]


def test_without_tray_or_ways_to_leave_nothing_is_said_here() -> None:
    assert _codes(with_part(cart(), 1, lowered_bottom_m=0.03), tray=None) == []
    assert _codes(cart(leave_rad=())) == []  # told by the brief's own checks
    assert _codes(cart(tray_turns_rad=())) == []


def test_a_part_that_is_no_outline_is_told_for_each() -> None:
    robot = with_part(with_part(cart(), 0, outline_m=BOWTIE), 1, outline_m=((0, 0), (1, 1)))
    assert _codes(cart(), robot) == [
        ("H808", "robot[1].part[0].outline_m"),
        ("H808", "robot[1].part[1].outline_m"),
    ]


def test_a_robot_needs_something_to_stand_on() -> None:
    floating = with_part(cart(), 0, bottom_m=0.058)
    assert _codes(floating) == [("H809", "robot[0].part")]
    assert _codes(with_part(cart(), 0, bottom_m=0.0579)) == []
