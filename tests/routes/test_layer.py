"""Layers against shapely (general-purpose library): what moves, posed and placed, against floor and dominoes."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
import shapely
from shapely import affinity
from visibility_twin import length_m

from standfall.brief import Crew, Laying, Robot, RobotPart
from standfall.geometry import Convex
from standfall.hall.model import crew_model, make_model
from standfall.routes.layer import (
    Layer,
    inside_floor,
    layer_obstacles,
    robot_layer,
    static_obstacles,
    worker_layer,
)
from standfall.routes.roads import Roads

LAYING = Laying(clearance_m=0.03, corner_m=0.02)
ROOM_M = 0.05
# A low base behind the tray opening, a low arm beside it, and a high mast that passes over dominoes.
PARTS = (
    RobotPart(name="base", outline_m=((-0.9, -0.3), (-0.4, -0.3), (-0.4, 0.3), (-0.9, 0.3)), bottom_m=0.01),
    RobotPart(name="arm", outline_m=((-0.4, 0.2), (0.3, 0.25), (0.3, 0.3), (-0.4, 0.3)), bottom_m=0.02),
    RobotPart(name="mast", outline_m=((-0.4, -0.1), (0.2, -0.1), (0.2, 0.1), (-0.4, 0.1)), bottom_m=0.5),
)
ROBOT = Robot(
    name="carrier",
    drive="omnidirectional",
    turn_centre_m=(-0.5, 0.0),
    speed_m_s=0.5,
    acceleration_m_s2=0.3,
    turn_rad_s=0.5,
    turn_acceleration_rad_s2=0.5,
    slow_m_s=0.05,
    lower_s=2.0,
    release_s=1.0,
    raise_s=2.0,
    parts=PARTS,
)
MODEL = make_model(ROBOT, 0.048, 0.01)
LOW = [shapely.Polygon(part.outline_m) for part in PARTS[:2]]
ALL = [shapely.Polygon(part.outline_m) for part in PARTS]


def _posed(shapes: list[shapely.Polygon], x: float, y: float, yaw: float) -> shapely.Geometry:
    turned = [affinity.rotate(shape, yaw, origin=(0, 0), use_radians=True) for shape in shapes]
    return shapely.union_all([affinity.translate(shape, x, y) for shape in turned])


def _covers(obstacles: Convex, x: float, y: float) -> bool:
    point = shapely.Point(x, y)
    return any(shapely.Polygon(obstacles.polygon(k)).contains(point) for k in range(len(obstacles)))


@pytest.mark.parametrize("yaw", [0.0, 0.7, math.pi / 2, -2.2])
def test_an_origin_is_in_the_way_when_the_posed_robot_is_too_near(yaw: float) -> None:
    layer = robot_layer(MODEL, 3, yaw, LAYING)
    assert (layer.model, layer.yaw_rad) == (3, yaw)
    rng = np.random.default_rng(1)
    tiles = [shapely.box(0, 0, 0.6, 0.22), affinity.rotate(shapely.box(1, 1, 1.6, 1.22), 30)]
    rings = [shapely.get_coordinates(shapely.orient_polygons(tile).exterior)[:-1] for tile in tiles]
    obstacles, owner = layer_obstacles(layer, Convex.from_list(rings))
    assert owner.tolist() == sorted(owner.tolist())
    assert len(owner) == len(obstacles)
    near = far = 0
    for x, y in rng.uniform(-1.5, 3, (300, 2)):
        gap = _posed(LOW, x, y, yaw).distance(shapely.union_all(tiles))
        if gap < ROOM_M:
            near += 1
            assert _covers(obstacles, x, y)
        elif gap > 1.05 * ROOM_M + 1e-9:
            # Corners of the grown shape lie at most 5 % farther out, on both sides of a corner to corner gap.
            far += 1
            assert not _covers(obstacles, x, y)
    assert near > 30 and far > 30
    for number in range(2):
        mine = Convex.from_list([obstacles.polygon(k) for k in np.flatnonzero(owner == number)])
        centre = tiles[number].centroid
        # The low base over the very middle of its tile.
        base = _posed(LOW[:1], 0.0, 0.0, yaw).centroid
        assert _covers(mine, centre.x - base.x, centre.y - base.y)


def test_the_turning_layer_holds_the_robot_at_every_yaw() -> None:
    layer = robot_layer(MODEL, 0, None, LAYING)
    (disc,) = layer.shape
    (whole,) = layer.body
    centred = [affinity.translate(shape, 0.5, 0.0) for shape in ALL]
    for yaw in np.linspace(0, 6.2, 25):
        assert shapely.Polygon(disc).covers(_posed(centred[:2], 0, 0, yaw).buffer(ROOM_M))
        assert shapely.Polygon(whole).covers(_posed(centred, 0, 0, yaw).buffer(ROOM_M))
    # Farthest low corner from the turn centre (-0.5, 0): (0.3, 0.3), so 0.8544; drawn round by 32 sides.
    radius = math.hypot(0.8, 0.3) + ROOM_M
    assert np.hypot(*disc.T) == pytest.approx(np.full(32, radius / math.cos(math.pi / 32)))


def test_a_robot_high_above_dominoes_meets_only_walls() -> None:
    high = make_model(
        Robot(**{**{f: getattr(ROBOT, f) for f in ROBOT.__dataclass_fields__}, "parts": PARTS[2:]}),
        0.048,
        0.01,
    )
    for yaw in (0.0, None):
        layer = robot_layer(high, 0, yaw, LAYING)
        obstacles, owner = layer_obstacles(layer, Convex.from_list([np.array([[0, 0], [1, 0], [0, 1.0]])]))
        assert len(obstacles) == len(owner) == 0
        assert len(static_obstacles(layer, shapely.box(0, 0, 5, 5))) == 4


def test_the_worker_is_a_grown_circle() -> None:
    layer = worker_layer(crew_model(Crew(room_m=0.6)), LAYING)
    assert layer.model == -1
    (shape,) = layer.shape
    assert shapely.Polygon(shape).covers(shapely.Point(0, 0).buffer(0.35 - 1e-9, quad_segs=64))
    # 16 sides round a circle of 0.3 reach 0.3 / cos(pi / 16); grown by 0.05, at most 5 % over.
    assert np.hypot(*shape.T).max() <= 0.3 / math.cos(math.pi / 16) + 1.05 * 0.05 + 1e-9


FLOOR = shapely.union_all([shapely.box(0, 0, 10, 4), shapely.box(0, 0, 4, 10)]) - shapely.box(2, 2, 3, 3)


def _roads(layer: Layer, floor: shapely.Geometry) -> Roads:
    return Roads(static_obstacles(layer, floor), floor.bounds)


@pytest.mark.parametrize("yaw", [0.0, 0.7, -1.9])
def test_ways_keep_the_whole_robot_on_the_floor(yaw: float) -> None:
    layer = robot_layer(MODEL, 0, yaw, LAYING)
    roads = _roads(layer, FLOOR)
    rng = np.random.default_rng(2)
    places = rng.uniform(-2, 12, (400, 2))
    on_floor = np.array([FLOOR.covers(_posed(ALL, x, y, yaw).buffer(1.06 * ROOM_M)) for x, y in places])
    off_floor = np.array([not FLOOR.covers(_posed(ALL, x, y, yaw).buffer(0.99 * ROOM_M)) for x, y in places])
    taken = inside_floor(layer, FLOOR, places[:, 0], places[:, 1])
    free = np.array([roads.free(x, y) for x, y in places])
    assert (taken & free)[on_floor].all()
    assert not (taken & free)[off_floor].any()
    good = places[on_floor]
    assert len(good) > 20
    found = 0
    for start, goal in zip(good[:12], good[::-1], strict=False):
        way = roads.path(tuple(start), tuple(goal))
        if way is None:
            continue
        found += 1
        for share in np.linspace(0, 1, 15):
            for a, b in pairwise(way):
                x, y = a + share * (b - a)
                # The clearance is kept; the hair is what a way may bite.
                assert FLOOR.covers(_posed(ALL, x, y, yaw).buffer(ROOM_M - 1e-6))
    assert found >= 8


def test_no_way_leads_from_one_floor_to_another() -> None:
    two = shapely.MultiPolygon([shapely.box(0, 0, 4, 4), shapely.box(4.001, 0, 8, 4)])
    point = np.array([[-1e-6, -1e-6], [1e-6, -1e-6], [1e-6, 1e-6], [-1e-6, 1e-6]])
    for layer in (robot_layer(MODEL, 0, 0.4, LAYING), Layer(-1, None, (point,), (point,))):
        roads = _roads(layer, two)
        assert roads.path((2.0, 2.0), (6.0, 2.0)) is None
        assert roads.path((2.0, 2.0), (20.0, 2.0)) is None
        assert length_m(roads.path((2.0, 2.0), (2.5, 2.0))) == pytest.approx(0.5)


def test_a_point_goes_round_a_pillar_and_a_corner_of_the_hall() -> None:
    half = 1e-6
    point = np.array([[-half, -half], [half, -half], [half, half], [-half, half]])
    roads = _roads(Layer(-1, None, (point,), (point,)), FLOOR)
    # Round the corner (4, 4) of the hall: 2 sqrt(1 + 4^2)... from (8, 3) to (4, 4) and on to (3, 8).
    assert length_m(roads.path((8.0, 3.0), (3.0, 8.0))) == pytest.approx(2 * math.sqrt(17), abs=1e-5)
    # Past the pillar [2, 3] x [2, 3]: from (1, 2.5) over (2, 3), (3, 3) to (4, 2.5): 2 sqrt(1 + 0.25) + 1.
    assert length_m(roads.path((1.0, 2.5), (4.0, 2.5))) == pytest.approx(2 * math.sqrt(1.25) + 1, abs=1e-5)


def test_lines_in_a_floor_are_no_floor() -> None:
    layer = robot_layer(MODEL, 0, 0.0, LAYING)
    mixed = shapely.GeometryCollection([shapely.box(0, 0, 5, 5), shapely.LineString([(1, 1), (4, 4)])])
    assert len(static_obstacles(layer, mixed)) == 4 * len(layer.body)
    assert inside_floor(layer, mixed, np.array([2.0, 20.0]), np.array([2.0, 2.0])).tolist() == [True, False]
    assert not inside_floor(layer, shapely.Polygon(), np.array([2.0]), np.array([2.0])).any()
    assert len(static_obstacles(layer, shapely.Polygon())) == 0
