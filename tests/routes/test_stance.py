"""Stances: poses, lengths and conflicts against hand arithmetic and shapely."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from board import (
    Board,
    box,
    corridor,
    make_brief,
    make_robot,
    part,
    place,
    random_board,
    tile_box,
)
from hypothesis import given, settings
from hypothesis import strategies as st

from standfall.brief import Area, Dock
from standfall.hall.site import make_site
from standfall.routes._stance_kernels import overlap_span, sweep, too_near
from standfall.routes.stance import make_stances
from standfall.routes.step import KINDS

HALL = box(0, 0, 8, 8)
DOCK = (Dock(name="dock", place_m=(4.0, 1.0), heading_rad=math.pi / 2),)
BEHIND = part("body", box(-0.56, -0.2, -0.16, 0.2))


def stances_of(board, steps=None):
    site, findings = make_site(board.brief)
    assert site is not None, findings
    return make_stances(board.brief, site, steps or board.steps(), board.tiling())


def one_tile(*robots, tile=(4.0, 4.0, 0.0), **keys):
    return Board(make_brief(HALL, (), DOCK, robots, **keys), (tile,))


@pytest.mark.parametrize(
    ("tray_turn_deg", "orientations", "yaws_deg"),
    [
        # The tile's x axis runs across its columns along the hall's x, so its rows count up along y, at 90 degrees.
        # A tray that is not turned on the robot has its rows along the robot's x axis: yaw 90.
        (0, (0,), [90]),
        # Rows count up 90 degrees left of the robot's x axis: the robot faces 90 - 90 = 0.
        (90, (0,), [0]),
        # The tray may stand the other way round: the robot faces the other way.
        (90, (0, 180), [0, 180]),
        (180, (180,), [90]),
    ],
)
def test_yaw_puts_the_trays_rows_along_the_tiles(tray_turn_deg, orientations, yaws_deg):
    robot = make_robot((BEHIND,), tray_turns=(math.radians(tray_turn_deg),), leave=(math.pi,))
    # A tray that is turned by 90 degrees lies across the robot: the body must be behind its longer half.
    robot = replace(robot, parts=(part("body", box(-0.76, -0.2, -0.26, 0.2)),))
    stances, _ = stances_of(one_tile(robot, orientations=orientations))
    assert sorted(round(math.degrees(yaw)) % 360 for yaw in stances.yaw_rad) == yaws_deg
    assert set(stances.turn_deg.tolist()) <= set(orientations)
    assert np.allclose(stances.x_m, 4.0) and np.allclose(stances.y_m, 4.0)


def test_least_way_out_leaves_clearance_and_corner_to_the_own_tile():
    # Dominoes end 0.14 m behind the middle (0.15 less 0.01 all round), the body begins 0.16 m behind. 20 mm of
    # clearance and 10 mm for corners: the body must be back to 0.14 + 0.03 = 0.17, so 10 mm farther.
    stances, layers = stances_of(one_tile(make_robot((BEHIND,)), orientations=(0,)))
    assert len(stances) == 1
    assert layers[stances.layer[0]].yaw_rad == pytest.approx(math.pi / 2)
    assert stances.leave_x_m[0] == pytest.approx(4.0, abs=1e-9)
    assert 0 < (4.0 - 0.01) - stances.leave_y_m[0] < 2e-6


def test_differential_robot_backs_out_until_it_can_turn():
    # Axle in the middle of the body, 0.36 m behind: farthest corner at hypot(0.2, 0.2), with clearance 0.03 more. The
    # dominoes end 0.14 behind: 0.36 + L = 0.14 + R. The circle is drawn as a polygon of 32 sides round it, so R is
    # up to 1 / cos(pi / 32) times as large, depending on which way its corners point.
    robot = make_robot((BEHIND,), "differential", (-0.36, 0.0))
    stances, layers = stances_of(one_tile(robot, orientations=(0,)))
    length = 4.0 - stances.leave_y_m
    assert np.allclose(np.diff(length), [0.25, 0.25, 0.5, 1.0])
    radius = math.hypot(0.2, 0.2) + 0.03
    assert radius - 0.22 <= length[0] <= radius / math.cos(math.pi / 32) - 0.22 + 2e-6
    assert {layers[k].yaw_rad for k in stances.layer} == {None}


def test_low_parts_all_round_cannot_leave_and_a_frame_that_lifts_can():
    ring = [
        box(-0.2, -0.3, -0.16, 0.3),
        box(0.16, -0.3, 0.2, 0.3),
        box(-0.2, -0.3, 0.2, -0.26),
        box(-0.2, 0.26, 0.2, 0.3),
    ]
    low = make_robot(tuple(part(f"side {k}", side) for k, side in enumerate(ring)))
    assert len(stances_of(one_tile(low))[0]) == 0
    lifted = make_robot(
        tuple(part(f"side {k}", side, low=False, lowered=True) for k, side in enumerate(ring))
    )
    assert len(stances_of(one_tile(lifted))[0]) > 0
    # Lowered on the dominoes: their edge is at 0.24.
    biting = make_robot((part("side", box(-0.2, 0.239, 0.2, 0.3), low=False, lowered=True),))
    assert len(stances_of(one_tile(biting))[0]) == 0
    touching = make_robot((part("side", box(-0.2, 0.24, 0.2, 0.3), low=False, lowered=True),))
    assert len(stances_of(one_tile(touching))[0]) > 0


@pytest.mark.parametrize(("wall_m", "fits"), [(0.565, True), (0.563, False)])
def test_walls_keep_the_set_down_clearance(wall_m, fits):
    # The body ends 0.56 m behind the tile's middle, the way out is 10 mm, the clearance 4 mm: 0.574 would do with
    # walls all round; here only the pose counts, since the robot leaves ahead over a tile with nothing low in front.
    robot = make_robot((BEHIND,), leave=(math.pi / 2,))
    # It leaves to its left, which is -x for a robot that faces +y, until its body is clear of the tile sideways.
    board = one_tile(robot, tile=(4.0, wall_m, 0.0), orientations=(0,))
    assert (len(stances_of(board)[0]) > 0) == fits


def test_nothing_high_passes_over_a_pillar():
    high = part("plate", box(-0.1, -0.4, 0.1, 0.4), low=False)
    free = one_tile(make_robot((BEHIND, high)), orientations=(0,))
    pillar = Area(name="pillar", kind="pillar", outline_m=box(4.3, 3.95, 4.35, 4.05))
    blocked = replace(free, brief=replace(free.brief, areas=(pillar,)))
    assert len(stances_of(free)[0]) == 1
    assert len(stances_of(blocked)[0]) == 0


def test_second_layer_is_in_the_way_of_high_parts():
    # Two tiles side by side, 20 mm between their dominoes; a plate over the tile reaches 0.1 m over the other one.
    plate = part("plate", box(-0.1, -0.4, 0.1, 0.4), low=False)
    board = Board(
        make_brief(HALL, (), DOCK, (make_robot((BEHIND, plate)),), orientations=(0,)),
        ((4.0, 4.0, 0.0), (4.5, 4.0, 0.0)),
    )
    steps = board.steps()
    stacked = replace(
        steps,
        kind=np.array([0, 0, KINDS.index("stack")], np.int8),
        tile=np.array([1, 2, 2], np.int32),
        x_m=steps.x_m[[0, 1, 1]],
        y_m=steps.y_m[[0, 1, 1]],
        dominoes=np.array([50, 50, 50], np.int32),
        after=np.array([-1, -1, 1], np.int32),
        member_first=np.arange(4),
        member=np.arange(3),
    )
    stances, _ = stances_of(board, stacked)
    assert stances.step.tolist() == [0, 1]
    assert stances.conflicts_of(0).tolist() == [2]


@pytest.mark.parametrize("seed", range(40))
def test_conflicts_are_those_that_shapely_finds(seed):
    board = random_board(seed)
    brief = board.brief
    stances, _ = stances_of(board)
    room = brief.laying.set_down_clearance_m
    tiles = [shapely.Polygon(tile_box(tile)) for tile in board.tiles]
    touching = brief.domino.height_m + brief.laying.over_m
    for k in range(len(stances)):
        robot = brief.robots[stances.model[k]]
        x, y, yaw = stances.x_m[k], stances.y_m[k], stances.yaw_rad[k]
        dx, dy = stances.leave_x_m[k] - x, stances.leave_y_m[k] - y
        low = [place(p.outline_m, yaw, x, y) for p in robot.parts if min(p.bottom_m, p.lowest_m) < touching]
        moved = [
            corridor(place(p.outline_m, yaw, x, y), dx, dy) for p in robot.parts if p.bottom_m < touching
        ]
        shape = shapely.union_all(low + moved)
        assert shape.intersection(tiles[stances.step[k]]).area < 1e-9
        expected = {
            other
            for other, tile in enumerate(tiles)
            if other != stances.step[k] and shape.distance(tile) < room - 1e-6
        }
        doubtful = {other for other, tile in enumerate(tiles) if abs(shape.distance(tile) - room) <= 1e-6}
        assert set(stances.conflicts_of(k).tolist()) - doubtful == expected - doubtful


def test_no_stance_and_only_the_workers_layer_when_the_crew_lays_all():
    from standfall.brief import Crew

    board = one_tile(crew=Crew(tiles_by_hand=True))
    stances, layers = stances_of(board)
    assert len(stances) == 0
    assert [layer.model for layer in layers] == [-1]


points = st.lists(
    st.tuples(st.integers(-50, 50), st.integers(-50, 50)), min_size=3, max_size=7, unique=True
).map(lambda found: shapely.MultiPoint(found).convex_hull)
polygons = points.filter(lambda shape: shape.geom_type == "Polygon" and shape.area > 1)


def ring(shape):
    corners = shapely.get_coordinates(shapely.orient_polygons(shape))[:-1] / 20.0
    return np.ascontiguousarray(corners[:, 0]), np.ascontiguousarray(corners[:, 1])


@settings(max_examples=150, deadline=None)
@given(polygons, polygons, st.integers(0, 60))
def test_too_near_is_what_shapely_measures(a, b, room):
    # Corners on a lattice of 50 mm; the room is off it by a hair so that no distance is exactly as large.
    room_m = room / 20.0 + 1e-4
    distance = shapely.distance(
        shapely.polygons(np.stack(ring(a), -1)), shapely.polygons(np.stack(ring(b), -1))
    )
    assert too_near(*ring(a), *ring(b), room_m) == (distance < room_m)
    overlap = shapely.intersection(a, b).area > 1e-9
    assert too_near(*ring(a), *ring(b), 0.0) == overlap


@settings(max_examples=100, deadline=None)
@given(polygons, st.integers(-40, 40), st.integers(-40, 40))
def test_sweep_is_the_hull_of_both_places(shape, dx, dy):
    x, y = ring(shape)
    out_x, out_y = np.empty(len(x) + 2), np.empty(len(x) + 2)
    size = sweep(x, y, dx / 10.0, dy / 10.0, out_x, out_y)
    swept = shapely.Polygon(np.stack([out_x[:size], out_y[:size]], axis=-1))
    hull = corridor(shapely.Polygon(np.stack([x, y], -1)), dx / 10.0, dy / 10.0)
    assert swept.is_valid and swept.exterior.is_ccw
    assert swept.symmetric_difference(hull).area < 1e-9


@settings(max_examples=100, deadline=None)
@given(polygons, polygons, st.floats(-3, 3), st.floats(-3, 3), st.floats(0, 6.28))
def test_overlap_span_is_the_ray_in_the_minkowski_sum(a, b, x, y, angle):
    # The mover's origin overlaps within the hull of all differences of corners (Lozano-Perez 1983), cut by shapely.
    ax, bx = np.stack(ring(a), -1), np.stack(ring(b), -1)
    taken = shapely.MultiPoint((ax[:, None] - bx[None]).reshape(-1, 2)).convex_hull
    dx, dy = math.cos(angle), math.sin(angle)
    line = shapely.LineString([(x - 20 * dx, y - 20 * dy), (x + 20 * dx, y + 20 * dy)])
    inside = line.intersection(taken)
    low, high = overlap_span(*ring(a), *ring(b), x, y, dx, dy)
    if inside.length < 1e-6:
        assert high - low < 1e-4
    else:
        along = shapely.line_locate_point(line, shapely.points(shapely.get_coordinates(inside))) - 20
        assert (low, high) == pytest.approx((along.min(), along.max()), abs=1e-6)
