"""Ways of all steps: swept with the robot's own outlines and measured by shapely, nothing from the roads' kernels."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely
from shapely import affinity
from small_floor import BODY, TURN_CENTRE_M, SmallFloor, cart, dock, length_m, small_floor

from standfall.routes.access import find_access
from standfall.routes.course import Course, make_layer_floor
from standfall.routes.leg import Leg
from standfall.routes.legs import Legs, make_legs
from standfall.routes.make import Floor, plan_rest
from standfall.routes.step import KINDS

ToToml = Callable[[dict[str, Any]], bytes]

# [laying] clearance_mm 30 and corner_mm 20 (defaults) are kept on ways that are not rounded yet.
ROOM_M = 0.05
ROUNDING_M = 1e-6


def planned(case: SmallFloor) -> tuple[Floor, Legs]:
    """Ways of the order in which what is far from the docks is laid first."""
    floor = case.floor()
    n = len(floor.steps)
    access = find_access(
        floor.site,
        floor.steps,
        floor.stances,
        floor.layers,
        preference=floor.dock_m,
        standing=np.zeros(n, bool),
        wanted=np.ones(n, bool),
        hand_allowed=np.zeros(n, bool),
        ground=floor.ground,
    )
    legs = make_legs(floor.site, floor.steps, access, floor.floors)
    assert not access.trapped
    assert not legs.lost
    assert [leg.step for leg in legs.legs] == access.order.tolist()
    return floor, legs


def swept(case: SmallFloor, leg: Leg, way_m: np.ndarray) -> shapely.Geometry:
    """Floor that the robot covers on a way: its parts at the yaw it keeps, or its turning circle."""
    robot = case.brief.robots[leg.model]
    centre = np.array(robot.turn_centre_m)
    outlines = [shapely.Polygon(part.outline_m) for part in robot.parts]
    if leg.travel_yaw_rad is None:
        radius = max(np.hypot(*(shapely.get_coordinates(one) - centre).T).max() for one in outlines)
        return shapely.LineString(way_m).buffer(radius, quad_segs=64)
    pieces = []
    for one in outlines:
        turned = affinity.rotate(one, leg.travel_yaw_rad, origin=(0, 0), use_radians=True)
        for a, b in itertools.pairwise(way_m):
            ends = [affinity.translate(turned, *at) for at in (a, b)]
            # All parts here are convex, so a straight way sweeps the hull of both ends.
            pieces.append(shapely.convex_hull(shapely.union_all(ends)))
    return shapely.union_all(pieces)


def tile_of(floor: Floor, step: int) -> shapely.Geometry:
    shapes = [floor.steps.shapes.polygon(k) for k in np.flatnonzero(floor.steps.shape_of == step)]
    return shapely.union_all([shapely.Polygon(shape) for shape in shapes])


@pytest.mark.parametrize(
    "robot",
    [
        {},
        {"drive": "differential"},
        {"carries": 2, "tray_turns_deg": [0, 180], "turn_centre_m": [-0.25, 0.05]},
    ],
)
def test_ways_keep_clear_of_what_stands_and_of_walls(
    small: dict[str, Any], to_toml: ToToml, robot: dict[str, Any]
) -> None:
    docks = [dock("low", 4.5, 0.8, 180), dock("high", 4.5, 4.0, 180)]
    pillar = {"name": "post", "kind": "pillar", "centre_m": [3.2, 2.0], "radius_mm": 150}
    case = small_floor(small, to_toml, [cart(**robot)], docks, turns=(0, 180), area=[pillar])
    floor, legs = planned(case)
    # The post as a circle, walls as the room's sides: 6 m by 5 m.
    post = shapely.Point(3.2, 2.0).buffer(0.15, quad_segs=64)
    room = shapely.box(0, 0, 6, 5)
    standing = shapely.Polygon()
    begins = True
    for leg in legs.legs:
        if begins:
            assert swept(case, leg, leg.out_m).distance(standing) >= ROOM_M - ROUNDING_M or standing.is_empty
        standing = shapely.union(standing, tile_of(floor, leg.step))
        ways = [leg.back_m] if leg.next_m is None else [leg.back_m, leg.next_m]
        for way in ways:
            assert swept(case, leg, way).distance(standing) >= ROOM_M - ROUNDING_M, leg.step
        for way in [*ways, leg.out_m]:
            assert swept(case, leg, way).distance(post) >= ROOM_M - ROUNDING_M
            assert swept(case, leg, way).distance(room.exterior) >= ROOM_M - ROUNDING_M
        begins = leg.next_m is None
    assert standing.area > 0


@pytest.mark.parametrize("drive", ["omnidirectional", "differential"])
def test_ways_join_the_dock_the_set_down_and_each_other(
    small: dict[str, Any], to_toml: ToToml, drive: str
) -> None:
    place = (5.0, 1.0)
    case = small_floor(small, to_toml, [cart(drive=drive, carries=2)], [dock("table", *place, 90)])
    _, legs = planned(case)
    for leg in legs.legs:
        # The yaw is that of the dock, 90 degrees: the turn centre is 0.3 m below the middle of the tray.
        down = TURN_CENTRE_M if drive == "differential" else 0.0
        assert leg.out_m[0] == pytest.approx((place[0], place[1] - down))
        assert leg.back_m[-1] == pytest.approx(leg.out_m[0])
        assert leg.back_m[0] == pytest.approx((leg.leave_m[0], leg.leave_m[1] - down))
        # It leaves backwards: straight down the hall.
        assert leg.leave_m[0] == pytest.approx(leg.set_down_m[0], abs=1e-9)
        assert leg.leave_m[1] < leg.set_down_m[1]
    for first, second in itertools.pairwise(legs.legs):
        if first.next_m is not None:
            assert first.next_m[0] == pytest.approx(first.back_m[0])
            assert first.next_m[-1] == pytest.approx(second.out_m[-1])


def test_a_way_goes_round_what_has_come_to_stand(small: dict[str, Any], to_toml: ToToml) -> None:
    case = small_floor(small, to_toml, [cart()], [dock("table", 5.0, 1.0, 90)])
    floor = case.floor()
    number = next(k for k, layer in enumerate(floor.layers) if layer.yaw_rad is not None)
    # Tile 10 counted from 0 is in the third band, third from the left: middle at x = 1 + 2.5 x 0.297, and
    # y = 1.5 + 2.5 x 0.11. Straight across it from left to right, the tray in the air over nothing yet.
    step = 10
    x, y = 1.0 + 2.5 * 0.297, 1.5 + 2.5 * 0.11
    assert (floor.steps.x_m[step], floor.steps.y_m[step]) == pytest.approx((x, y))
    start, goal = (x - 1.2, y + 0.3), (x + 1.2, y + 0.3)  # the body is up to 0.5 m below, at y
    course = Course(floor.site, floor.floors)
    before = course.path(number, start, goal, (0,))
    assert before is not None
    assert before == pytest.approx(np.array([start, goal]))
    course.stand(step)
    after = course.path(number, start, goal, (0,))
    assert after is not None
    # Round above: the body's lower edge, 0.5 m below the tray's middle, keeps 50 mm from the tile's upper edge
    # (dominoes reach 2 x 22 + 3.75 mm beyond its middle). Below it would be farther: the body's upper edge is
    # 80 mm below the tray's middle, so from y + 0.3 down to y - 0.02 and back.
    up = 0.5 + 0.05 + 0.04775 - 0.3
    assert after[:, 1].max() == pytest.approx(y + 0.3 + up, abs=1e-6)
    assert length_m(after) > length_m(before)
    # At best straight to that height over the tile and down again; at least so long it is.
    assert length_m(after) >= 2 * math.hypot(1.2, up)


def test_high_parts_go_round_a_second_layer(small: dict[str, Any], to_toml: ToToml) -> None:
    # An arm 70 mm above the floor passes over dominoes of 48 mm, not over two layers of them: 96 mm.
    arm = {
        "name": "arm",
        "outline_m": [[-0.08, -0.1], [0.2, -0.1], [0.2, 0.1], [-0.08, 0.1]],
        "bottom_mm": 70,
    }
    case = small_floor(small, to_toml, [cart(part=[BODY, arm])], [dock("table", 5.0, 1.0, 90)])
    floor = case.floor()
    stack = stacked(floor, 10)
    number = next(k for k, layer in enumerate(floor.layers) if layer.yaw_rad is not None)
    x, y = float(floor.steps.x_m[10]), float(floor.steps.y_m[10])
    # The tray's middle passes 20 mm below the tile's, the body 0.1 to 0.52 m below it, the arm right over it.
    start, goal = (x - 1.0, y - 0.02), (x + 1.0, y - 0.02)
    course = Course(stack.site, stack.floors)
    course.stand(10)
    over = course.path(number, start, goal, (0,))
    assert over is not None
    assert over == pytest.approx(np.array([start, goal]))
    course.stand(len(stack.steps) - 1)
    round_it = course.path(number, start, goal, (0,))
    assert round_it is not None
    assert length_m(round_it) > length_m(over)
    yaw = floor.layers[number].yaw_rad
    body, arms = (shapely.Polygon(part["outline_m"]) for part in (BODY, arm))
    for part in (body, arms):
        turned = affinity.rotate(part, yaw, origin=(0, 0), use_radians=True)
        for a, b in itertools.pairwise(round_it):
            ends = [affinity.translate(turned, *at) for at in (a, b)]
            assert shapely.union_all(ends).convex_hull.distance(tile_of(floor, 10)) >= ROOM_M - ROUNDING_M


def stacked(floor: Floor, base: int) -> Floor:
    """The floor with one more step: a second layer on a tile."""
    steps = floor.steps
    steps = replace(
        steps,
        kind=np.append(steps.kind, np.int8(KINDS.index("stack"))),
        tile=np.append(steps.tile, steps.tile[base]),
        x_m=np.append(steps.x_m, steps.x_m[base]),
        y_m=np.append(steps.y_m, steps.y_m[base]),
        dominoes=np.append(steps.dominoes, steps.dominoes[base]),
        after=np.append(steps.after, np.int32(base)),
    )
    floors = tuple(make_layer_floor(one.layer, one.roads, steps) for one in floor.floors)
    return replace(floor, steps=steps, floors=floors)


def test_docks_that_are_as_near_share_the_trips(small: dict[str, Any], to_toml: ToToml) -> None:
    # Both far to the right of the field, 0.6 m apart: for every tile their ways differ by far less than a tenth.
    case = small_floor(small, to_toml, [cart(count=2)], [dock("one", 5.2, 1.6), dock("two", 5.2, 2.4)])
    _, legs = planned(case)
    assert sorted(Counter(leg.dock for leg in legs.legs).values()) == [12, 12]


def test_a_dock_that_is_much_farther_is_left_alone(small: dict[str, Any], to_toml: ToToml) -> None:
    # From (2.5, 1) it is at most 2 m to any tile, from (5.5, 4.5) at least 3.5 m.
    case = small_floor(small, to_toml, [cart(count=2)], [dock("near", 2.5, 1.0), dock("far", 5.5, 4.5)])
    _, legs = planned(case)
    assert {leg.dock for leg in legs.legs} == {0}


def test_a_robot_that_carries_three_makes_trips_of_three(small: dict[str, Any], to_toml: ToToml) -> None:
    case = small_floor(small, to_toml, [cart(carries=3)], [dock("table", 5.0, 1.0, 90)])
    _, legs = planned(case)
    assert [leg.next_m is not None for leg in legs.legs] == [True, True, False] * 8
    driven = sum(2 * math.dist(leg.set_down_m, leg.leave_m) for leg in legs.legs)
    for trip in range(0, 24, 3):
        first, second, third = legs.legs[trip : trip + 3]
        driven += length_m(first.out_m) + length_m(first.next_m) + length_m(second.next_m)
        driven += length_m(third.back_m)
    assert legs.driven_m == pytest.approx(driven)


def test_a_trip_goes_on_after_a_step_that_stood_already(small: dict[str, Any], to_toml: ToToml) -> None:
    # The upper three bands stand: twelve tiles are left, in trips of 5, 5 and 2.
    case = small_floor(small, to_toml, [cart(carries=5)], [dock("table", 5.0, 1.0, 90)])
    floor = case.floor()
    access, legs, _ = plan_rest(floor, range(12, 24))
    assert sorted(access.order.tolist()) == list(range(12))
    assert [leg.next_m is not None for leg in legs.legs] == [True] * 4 + [False] + [True] * 4 + [
        False,
        True,
        False,
    ]
