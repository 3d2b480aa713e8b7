"""The lower bound against hand arithmetic: there and back in a straight line, or round one corner of the hall."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest
from small_floor import TURN_CENTRE_M, SmallFloor, cart, dock, small_floor, tile_middle_m

from standfall.routes.bound import lower_bound_m
from standfall.routes.leg import Leg

ToToml = Callable[[dict[str, Any]], bytes]


def bound_m(case: SmallFloor) -> float:
    """The bound of all tiles; of the legs only the step counts, and that no person does it."""
    floor = case.floor()
    none = (0.0, 0.0)
    way = [[0.0, 0.0]]
    legs = [
        Leg(step, 0, 0, (0.0, 0.0, 0.0), way, way, 0.0, none, 0.0, none, 1)
        for step in range(len(case.tiling))
    ]
    return lower_bound_m(case.site, floor.stances, legs, floor.point_roads)


def tiles_m(bands: int, columns: int, corner_m: tuple[float, float]) -> list[tuple[float, float]]:
    return [tile_middle_m(band, column, corner_m) for band in range(bands) for column in range(columns)]


def test_two_by_two_tiles_from_one_dock(small: dict[str, Any], to_toml: ToToml) -> None:
    # The tray stands unturned, slot rows count up the hall, and so does the robot's x axis: its turn centre is 0.3 m
    # below each tile. Docked it looks to the left, so the turn centre is 0.3 m to the right of the tray: (5.3, 1).
    case = small_floor(small, to_toml, [cart()], [dock("table", 5.0, 1.0, 180)], columns=22, rows=10)
    tiles = tiles_m(2, 2, (1.0, 1.5))
    assert tiles[0] == pytest.approx((1.1485, 1.555))  # 5.5 slots of 27 mm and 2.5 of 22 mm from the corner
    expected = sum(2 * math.hypot(5.3 - x, 1.0 - (y - TURN_CENTRE_M)) for x, y in tiles)
    assert bound_m(case) == pytest.approx(expected, rel=1e-6)


def test_trays_that_may_be_turned_are_set_down_the_nearer_way(small: dict[str, Any], to_toml: ToToml) -> None:
    # A dock far up the hall: turned by half a turn the robot comes from above, its turn centre 0.3 m above the tile.
    # Docked at (3, 4.3) with its x axis down the hall the turn centre is at (3, 4.6).
    case = small_floor(small, to_toml, [cart()], [dock("table", 3.0, 4.3, 270)], turns=(0, 180))
    expected = sum(2 * math.hypot(3.0 - x, 4.6 - (y + TURN_CENTRE_M)) for x, y in tiles_m(6, 4, (1.0, 1.5)))
    assert bound_m(case) == pytest.approx(expected, rel=1e-6)


def test_the_nearest_dock_counts_and_a_trip_is_shared_by_what_it_holds(
    small: dict[str, Any], to_toml: ToToml
) -> None:
    # Heading up the hall both docks have the turn centre 0.3 m below the tray: (0.5, 0.7) and (5, 0.7).
    docks = [dock("left", 0.5, 1.0), dock("right", 5.0, 1.0)]
    case = small_floor(small, to_toml, [cart(count=2, carries=3)], docks)
    expected = sum(
        2 * min(math.hypot(x - home, y - TURN_CENTRE_M - 0.7) for home in (0.5, 5.0)) / 3
        for x, y in tiles_m(6, 4, (1.0, 1.5))
    )
    assert bound_m(case) == pytest.approx(expected, rel=1e-6)


def test_round_the_inner_corner_of_a_bent_hall(small: dict[str, Any], to_toml: ToToml) -> None:
    # The hall is an L; from the dock's turn centre (5, 3.9) every straight line to the tiles' runs through the wall
    # above y = 2.2 left of x = 4: at x = 4 it is still at y = 3.9 - 3.1 / 3.9 > 2.2. So it bends at (4, 2.2).
    outline = [[0, 0], [6, 0], [6, 5], [4, 5], [4, 2.2], [0, 2.2]]
    corner = (1.0, 1.0)
    case = small_floor(
        small,
        to_toml,
        [cart()],
        [dock("table", 5.0, 4.2)],
        outline=outline,
        columns=22,
        rows=10,
        corner_m=corner,
    )
    first = math.hypot(5.0 - 4.0, 3.9 - 2.2)
    expected = sum(
        2 * (first + math.hypot(4.0 - x, 2.2 - (y - TURN_CENTRE_M))) for x, y in tiles_m(2, 2, corner)
    )
    # A point that is a micrometre wide stands for the turn centre.
    assert bound_m(case) == pytest.approx(expected, abs=1e-4)


@pytest.mark.parametrize(
    "robot",
    [
        {},
        {"drive": "differential"},
        {"carries": 3},
        {"tray_turns_deg": [0, 180]},
        {"count": 2, "turn_centre_m": [-0.2, 0.1]},
    ],
)
def test_no_plan_drives_less(small: dict[str, Any], to_toml: ToToml, robot: dict[str, Any]) -> None:
    # Rounded corners cut across by up to 20 mm. They may: a way of what is wider than a point, rounded or not, is
    # one that a point could take too.
    docks = [dock("low", 4.5, 0.8, 180), dock("high", 4.5, 4.0, 180)]
    laid = small_floor(small, to_toml, [cart(**robot)], docks, turns=(0, 180)).laid()
    assert laid.routes is not None, laid.findings
    assert not laid.routes.unreachable
    driven = laid.routes.driven_m
    assert 0.0 < laid.routes.lower_bound_m <= driven
    # It is no idle bound either: there is nothing in the way but what has been laid.
    assert driven < 1.5 * laid.routes.lower_bound_m
