"""Shortest ways against an exact visibility graph (shapely, networkx) and against arithmetic shown beside each case."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from visibility_twin import length_m, twin_length_m

from standfall.findings import StandfallError
from standfall.geometry import Convex, hull, minkowski_difference
from standfall.routes.roads import Roads

SQUARE = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
BOX_M = (-6.0, -6.0, 6.0, 6.0)
# Outlines may be bitten by 0.2 micrometres; over a way with a few dozen corners that is far less than this.
NEAR_M = 1e-6


def _box(x0: float, y0: float, x1: float, y1: float) -> np.ndarray:
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], dtype=np.float64)


def _roads(*polygons: np.ndarray, cell_m: float = 0.25) -> Roads:
    return Roads(Convex.from_list(list(polygons)), BOX_M, cell_m)


def _disc(sides: int, radius_m: float) -> np.ndarray:
    """A polygon drawn round a circle."""
    turns = 2 * np.pi * np.arange(sides) / sides
    return radius_m / math.cos(math.pi / sides) * np.stack([np.cos(turns), np.sin(turns)], axis=-1)


def _moved(points: np.ndarray, turn_rad: float, move_m: np.ndarray) -> np.ndarray:
    cosine, sine = math.cos(turn_rad), math.sin(turn_rad)
    return points @ np.array([[cosine, sine], [-sine, cosine]]) + move_m


# --- cases with a length known by arithmetic -------------------------------------------------------------------------


def test_round_a_square_by_hand() -> None:
    # To the near corner sqrt(2^2 + 1^2), along the side 2, and away again: 2 sqrt 5 + 2.
    way = _roads(SQUARE).path((-3.0, 0.0), (3.0, 0.0))
    assert length_m(way) == pytest.approx(2 * math.sqrt(5) + 2, abs=1e-9)
    # Equally long above and below: the corners given first decide, (-1, -1) and (1, -1).
    assert way is not None
    assert way.tolist() == [[-3.0, 0.0], [-1.0, -1.0], [1.0, -1.0], [3.0, 0.0]]
    other = _roads(np.roll(SQUARE, -2, axis=0)).path((-3.0, 0.0), (3.0, 0.0))
    assert other is not None
    assert other[1].tolist() == [-1.0, 1.0]
    # Corner to corner over one corner: 2 sqrt(1^2 + 3^2).
    assert length_m(_roads(SQUARE).path((-2.0, -2.0), (2.0, 2.0))) == pytest.approx(
        2 * math.sqrt(10), abs=1e-9
    )


def test_round_a_disc_from_above() -> None:
    # Two tangents of sqrt(2^2 - 1^2) and an arc of pi - 2 acos(1/2) = pi / 3: 2 sqrt 3 + pi / 3 = 4.511299166.
    exact = 2 * math.sqrt(3) + math.pi / 3
    lengths = [
        length_m(_roads(_disc(sides, 1.0)).path((-2.0, 0.0), (2.0, 0.0))) for sides in (8, 32, 128, 2048)
    ]
    assert lengths == sorted(lengths, reverse=True)
    assert lengths[-1] is not None
    assert exact <= lengths[-1] <= exact + 1e-6


def test_round_robot_past_a_square() -> None:
    # The middle keeps 0.5 from the square. From (-3, 0) the corner (-1, -1) is sqrt 5 away, so the tangent to the
    # circle round it is sqrt(5 - 0.25) long and leaves the straight (-3, 0) to (3, 0) by
    # atan(1/2) + asin(0.5 / sqrt 5). The arc round the corner turns back by as much, then come 2 m along the side:
    # 2 sqrt 4.75 + 2 + 2 * 0.5 * (atan(1/2) + asin(0.5 / sqrt 5)) = 7.048059958.
    exact = 2 * math.sqrt(4.75) + 2 + math.atan(0.5) + math.asin(0.5 / math.sqrt(5))
    assert exact == pytest.approx(7.048059958, abs=1e-9)
    lengths = []
    for sides in (16, 64, 1024):
        roads = _roads(minkowski_difference(SQUARE, _disc(sides, 0.5)))
        lengths.append(length_m(roads.path((-3.0, 0.0), (3.0, 0.0))))
    assert lengths == sorted(lengths, reverse=True)
    assert exact <= lengths[-1] <= exact + 1e-5


def test_through_a_gap_in_a_wall() -> None:
    # The wall x = 0 is open for |y| <= 1: (-3, 4) to (0, 1) to (3, 4) is 2 sqrt(3^2 + 3^2) = 6 sqrt 2.
    wall = [_box(-1e-4, 1.0, 1e-4, 50.0), _box(-1e-4, -50.0, 1e-4, -1.0)]
    length = length_m(Roads(Convex.from_list(wall), BOX_M).path((-3.0, 4.0), (3.0, 4.0)))
    assert length == pytest.approx(6 * math.sqrt(2), abs=2e-4)
    # Exactly: over both corners of the wall, which is 0.2 mm thick.
    assert length == pytest.approx(2 * math.hypot(3 - 1e-4, 3) + 2e-4, abs=1e-9)


def test_nothing_in_the_way() -> None:
    way = _roads().path((0.0, 0.0), (3.0, 4.0))
    assert way is not None
    assert way.tolist() == [[0.0, 0.0], [3.0, 4.0]]
    assert length_m(_roads(SQUARE).path((2.0, 2.0), (2.0, 2.0))) == 0.0


# --- touching, sliding, cracks ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("turn_rad", [0.0, 0.3, 1.0, 2.5])
def test_no_crack_between_squares_that_share_a_side(turn_rad: float) -> None:
    move = np.array([0.37, -1.1])
    left, right = _moved(_box(-1, -1, 0, 1), turn_rad, move), _moved(_box(0, -1, 1, 1), turn_rad, move)
    start, goal = _moved(np.array([[0.0, -3.0], [0.0, 3.0]]), turn_rad, move)
    for roads in (_roads(left, right), _roads(right, left, cell_m=2.0)):
        # Not 6 through the crack, but round the outside as in the first case.
        assert length_m(roads.path(tuple(start), tuple(goal))) == pytest.approx(
            2 * math.sqrt(5) + 2, abs=NEAR_M
        )


def test_no_crack_where_sides_are_shared_in_part_or_nearly() -> None:
    # Shifted against each other by half a metre: the way straight up would be 6.
    shifted = [_box(-1, -1, 0, 1), _box(0, -0.5, 1, 1.5)]
    want = twin_length_m(shifted, (0.0, -3.0), (0.0, 3.0))
    assert want is not None and want > 6.1
    assert length_m(_roads(*shifted).path((0.0, -3.0), (0.0, 3.0))) == pytest.approx(want, abs=NEAR_M)
    # 50 nanometres apart is a crack nobody can use; a tenth of a millimetre is a lane for a point.
    closed = _roads(_box(-1, -1, 0, 1), _box(5e-8, -1, 1, 1))
    assert length_m(closed.path((0.0, -3.0), (0.0, 3.0))) == pytest.approx(2 * math.sqrt(5) + 2, abs=NEAR_M)
    lane = _roads(_box(-1, -1, 0, 1), _box(1e-4, -1, 1, 1))
    assert length_m(lane.path((5e-5, -3.0), (5e-5, 3.0))) == pytest.approx(6.0, abs=NEAR_M)


def test_a_row_of_squares_has_no_crack_and_no_needless_corner() -> None:
    row = [_box(k, 0, k + 1, 1) for k in range(-4, 4)]
    way = _roads(*row).path((-5.0, -1.0), (5.0, 2.0))
    # Past the corner (4, 0) of the row: sqrt(9^2 + 1) + sqrt(1 + 2^2); or past (-4, 1): sqrt(1 + 2^2) + sqrt(9^2 + 1).
    assert length_m(way) == pytest.approx(math.sqrt(82) + math.sqrt(5), abs=1e-9)
    assert way is not None
    assert len(way) == 3
    along = _roads(*row).path((-5.0, 1.0), (5.0, 1.0))
    assert along is not None
    assert along.tolist() == [[-5.0, 1.0], [5.0, 1.0]]


def test_a_point_where_corners_touch_is_free() -> None:
    # Corner to corner at (0, 0): straight through, 2 sqrt 2.
    pair = [_box(-1, -1, 0, 0), _box(0, 0, 1, 1)]
    assert length_m(_roads(*pair).path((-1.0, 1.0), (1.0, -1.0))) == pytest.approx(2 * math.sqrt(2), abs=1e-9)
    # A corner on another's side, and a way that turns round it there: down the slope, up the slope.
    tip = np.array([[0.0, 0.0], [1.0, 1.0], [-1.0, 1.0]])
    ground = _box(-3, -1, 3, 0)
    way = _roads(tip, ground).path((-1.5, 0.5), (1.5, 0.5))
    assert length_m(way) == pytest.approx(2 * math.hypot(1.5, 0.5), abs=1e-9)
    # Four squares round a point leave nothing.
    four = [*pair, _box(0, -1, 1, 0), _box(-1, 0, 0, 1)]
    way = _roads(*four).path((-2.0, 0.0), (2.0, 0.0))
    # Along the row's side: (-2, 0) to (-1, -1) to (1, -1) to (2, 0).
    assert length_m(way) == pytest.approx(2 * math.sqrt(2) + 2, abs=1e-9)


def test_a_side_inside_another_obstacle_is_no_way() -> None:
    # The upper side of the flat one runs through the middle of the tall one.
    flat, tall = _box(-2, -1, 2, 0), _box(-0.5, -2, 0.5, 1)
    # Over the tall one: (-2, 0), (-0.5, 1), (0.5, 1), (2, 0).
    way = _roads(flat, tall).path((-2.0, 0.0), (2.0, 0.0))
    assert length_m(way) == pytest.approx(2 * math.hypot(1.5, 1.0) + 1.0, abs=1e-9)


def test_free_is_outside_or_touching() -> None:
    roads = _roads(SQUARE)
    assert roads.free(1.0, 0.3)
    assert roads.free(1.0, 1.0)
    assert roads.free(40.0, 40.0)
    assert not roads.free(0.0, 0.0)
    assert not roads.free(1.0 - 1e-6, 0.0)
    # Far outside of the box obstacles count as well.
    assert not _roads(SQUARE + 30.0).free(30.0, 30.0)
    late = _roads()
    late.stand(Convex.from_list([SQUARE + 30.0]))
    assert not late.free(30.0, 30.0)
    assert length_m(late.path((27.0, 30.0), (33.0, 30.0))) == pytest.approx(2 * math.sqrt(5) + 2, abs=1e-9)


def test_no_way_out_of_a_ring_and_none_into_an_obstacle() -> None:
    ring = [_box(-2, -2, 2, -1), _box(-2, 1, 2, 2), _box(-2, -1, -1, 1), _box(1, -1, 2, 1)]
    assert _roads(*ring).path((0.0, 0.0), (4.0, 0.0)) is None
    assert _roads(*ring).path((4.0, 0.0), (0.0, 0.0)) is None
    assert length_m(_roads(*ring).path((0.5, 0.0), (-0.5, 0.0))) == pytest.approx(1.0)
    assert _roads(SQUARE).path((0.0, 0.0), (4.0, 0.0)) is None
    assert _roads(SQUARE).path((4.0, 0.0), (0.0, 0.0)) is None


def test_obstacles_without_inside_block_nothing() -> None:
    line = np.array([[0.0, -1.0], [0.0, 1.0]])
    assert length_m(_roads(line, line[:1]).path((-1.0, 0.0), (1.0, 0.0))) == 2.0


def test_misuse_is_told() -> None:
    none = Convex.from_list([])
    with pytest.raises(StandfallError, match="no size"):
        Roads(none, (1.0, 0.0, 0.0, 1.0))
    with pytest.raises(StandfallError, match="no size"):
        Roads(none, BOX_M, cell_m=0.0)
    with pytest.raises(StandfallError, match="no number"):
        _roads(np.array([[0.0, 0.0], [1.0, 0.0], [math.nan, 1.0]]))


# --- random halls against the slow twin ------------------------------------------------------------------------------


def _random_hall(kind: str, rng: np.random.Generator) -> list[np.ndarray]:
    """5 to 25 convex obstacles; boxes and slanting shapes often share sides and corners."""
    polygons = []
    for _ in range(rng.integers(5, 26)):
        if kind == "any":
            middle, size = rng.uniform(0, 10, 2), rng.uniform(0.2, 1.2)
            polygons.append(hull(middle + size * rng.normal(size=(rng.integers(3, 9), 2))))
        elif kind == "boxes":
            x, y = rng.integers(0, 9, 2)
            polygons.append(_box(x, y, x + rng.integers(1, 4), y + rng.integers(1, 4)))
        else:
            points = rng.integers(0, 9, 2) + rng.integers(0, 4, (6, 2)).astype(np.float64)
            if shapely.convex_hull(shapely.multipoints(points)).area > 0:
                polygons.append(hull(points))
    return polygons


@pytest.mark.parametrize("kind", ["any", "boxes", "slanting"])
@pytest.mark.parametrize("seed", range(14))
def test_ways_are_as_long_as_the_visibility_graph_says(kind: str, seed: int) -> None:
    rng = np.random.default_rng([seed, len(kind)])
    polygons = _random_hall(kind, rng)
    solid = shapely.union_all([shapely.Polygon(p) for p in polygons])
    # The hall turned and moved, so that sides that are shared differ by rounding.
    turn_rad, move = (0.0, np.zeros(2)) if seed % 2 else (rng.uniform(0, 6), rng.uniform(-60, 60, 2))
    posed = [_moved(polygon, turn_rad, move) for polygon in polygons]
    corners = np.concatenate(posed)
    roads = Roads(
        Convex.from_list([]), (*corners.min(axis=0), *corners.max(axis=0)), rng.choice([0.25, 1.0, 4.0])
    )
    for polygon in posed:
        roads.stand(Convex.from_list([polygon]))
    for _ in range(3):
        ends = (
            rng.uniform(-1, 11, (2, 2)) if kind == "any" else rng.integers(-1, 12, (2, 2)).astype(np.float64)
        )
        want = twin_length_m(polygons, tuple(ends[0]), tuple(ends[1]))
        start, goal = _moved(ends, turn_rad, move)
        way = roads.path(tuple(start), tuple(goal))
        assert (way is None) == (want is None)
        if way is not None:
            assert length_m(way) == pytest.approx(want, abs=NEAR_M)
            assert np.array_equal(way[0], start) and np.array_equal(way[-1], goal)
            back = _moved(way - move, -turn_rad, np.zeros(2))
            small = solid.buffer(-1e-6, join_style="mitre")
            assert not shapely.intersects(small, shapely.linestrings(back))


def test_a_floor_that_fills_up_is_the_same_as_one_filled_at_once() -> None:
    rng = np.random.default_rng(5)
    tiles = [
        _box(x, y, x + 0.594, y + 0.22) for y in np.arange(-3, 3, 0.22) for x in np.arange(-3, 2.9, 0.594)
    ]
    mover = _box(-0.3, -0.3, 0.3, 0.3)
    obstacles = [minkowski_difference(tiles[k], mover) for k in rng.permutation(len(tiles))[:120]]
    growing = _roads()
    begun = growing.copy()
    places = rng.uniform(-5, 5, (8, 2))
    for number, obstacle in enumerate(obstacles):
        growing.stand(Convex.from_list([obstacle]))
        if number % 20 == 19:
            whole = _roads(*obstacles[: number + 1], cell_m=0.7)
            for start in places[:4]:
                for goal in places[4:]:
                    way, want = growing.path(tuple(start), tuple(goal)), whole.path(tuple(start), tuple(goal))
                    assert (way is None) == (want is None)
                    if way is not None:
                        assert length_m(way) == pytest.approx(length_m(want), abs=NEAR_M)
    # What was copied before has not changed.
    assert length_m(begun.path((-5.0, 0.0), (5.0, 0.0))) == 10.0


def test_a_copy_goes_its_own_way() -> None:
    roads = _roads(SQUARE)
    other = roads.copy()
    other.stand(Convex.from_list([_box(-2, -5, 2, -1)]))
    assert roads.free(0.0, -2.0)
    assert not other.free(0.0, -2.0)
    way = other.path((-3.0, 0.0), (3.0, 0.0))
    assert way is not None
    assert way[1].tolist() == [-1.0, 1.0]
    roads.stand(Convex.from_list([_box(-2, 1, 2, 5)]))
    assert other.free(0.0, 2.0)
