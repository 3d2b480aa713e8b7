"""Convex polygons against shapely (general-purpose library) and hand arithmetic."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from standfall.geometry import (
    Convex,
    differences,
    grown,
    hull,
    minkowski_difference,
    split_convex,
    swept_straight,
)

SQUARE = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
# Whole centimetres, so that parallel sides and flat corners come up often; and any numbers.
_whole = st.tuples(st.integers(-50, 50), st.integers(-50, 50)).map(lambda p: (p[0] / 100, p[1] / 100))
# A nanometre is far below anything in a hall; numbers near 1e-200 only try the patience of a hull.
_one = st.floats(-3, 3).map(lambda number: round(number, 9))
_any = st.tuples(_one, _one)


def _outline(points: list[tuple[float, float]]) -> np.ndarray | None:
    found = shapely.convex_hull(shapely.multipoints(np.array(points)))
    if found.geom_type != "Polygon" or found.area < 1e-4:
        return None
    return shapely.get_coordinates(shapely.orient_polygons(found).exterior)[:-1]


_outlines = (
    st.one_of(st.lists(_whole, min_size=3, max_size=9), st.lists(_any, min_size=3, max_size=9))
    .map(_outline)
    .filter(lambda outline: outline is not None)
)
_segments = st.tuples(_whole, _whole).filter(lambda ends: ends[0] != ends[1]).map(np.array)


def _tried_all_pairs(fixed: np.ndarray, moving: np.ndarray) -> shapely.Polygon:
    """The slow twin: the hull of every corner less every corner (shapely)."""
    return shapely.convex_hull(shapely.multipoints((fixed[:, None] - moving[None]).reshape(-1, 2)))


def _is_strictly_convex(outline: np.ndarray) -> bool:
    sides = np.roll(outline, -1, axis=0) - outline
    following = np.roll(sides, -1, axis=0)
    return bool((sides[:, 0] * following[:, 1] - sides[:, 1] * following[:, 0] > 0).all())


@settings(max_examples=120, deadline=None, derandomize=True)
@given(st.one_of(_outlines, _segments), _outlines)
def test_differences_are_the_hull_of_all_pairs(fixed: np.ndarray, moving: np.ndarray) -> None:
    found = minkowski_difference(fixed, moving)
    want = _tried_all_pairs(fixed, moving)
    assert shapely.hausdorff_distance(shapely.Polygon(found), want) < 1e-9
    assert _is_strictly_convex(found)


@settings(max_examples=80, deadline=None, derandomize=True)
@given(_outlines, _outlines, _any)
def test_origin_inside_is_overlap(fixed: np.ndarray, moving: np.ndarray, place: tuple[float, float]) -> None:
    # The definition of a configuration space obstacle, by shapely's own overlap of the two polygons.
    shared = shapely.Polygon(fixed).intersection(shapely.Polygon(moving + place)).area
    inside = shapely.Polygon(minkowski_difference(fixed, moving)).contains(shapely.Point(place))
    assert inside == (shared > 0) or shared < 1e-9


def test_differences_of_many_come_in_order() -> None:
    bar, triangle = np.array([[0.0, 0.0], [2.0, 0.0]]), np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
    found = differences(Convex.from_list([SQUARE, bar]), Convex.from_list([triangle, SQUARE]))
    pairs = [(SQUARE, triangle), (SQUARE, SQUARE), (bar, triangle), (bar, SQUARE)]
    assert len(found) == 4
    for number, pair in enumerate(pairs):
        want = _tried_all_pairs(*pair)
        assert shapely.Polygon(found.polygon(number)).equals(want)


def test_squares_of_two_sizes_by_hand() -> None:
    # Side 2 and side 1 about zero: overlap while the middles are nearer than 1.5 along both axes.
    found = minkowski_difference(SQUARE, SQUARE / 2)
    assert sorted(map(tuple, found)) == [(-1.5, -1.5), (-1.5, 1.5), (1.5, -1.5), (1.5, 1.5)]


def test_point_less_polygon_is_the_polygon_turned_by_half() -> None:
    triangle = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 2.0]])
    found = minkowski_difference(np.array([[5.0, 5.0]]), triangle)
    assert sorted(map(tuple, found)) == [(4.0, 5.0), (5.0, 3.0), (5.0, 5.0)]


@settings(max_examples=80, deadline=None, derandomize=True)
@given(_outlines, st.floats(1e-3, 1.0))
def test_grown_holds_all_within_the_distance_and_little_more(outline: np.ndarray, by_m: float) -> None:
    shape = shapely.Polygon(outline)
    found = grown(outline, by_m)
    polygon = shapely.Polygon(found)
    assert polygon.is_valid
    # Shapely's buffers have corners on the circle, so the true one lies between these two.
    assert polygon.buffer(1e-9).covers(shape.buffer(by_m, quad_segs=64))
    farthest = shapely.distance(shapely.points(found), shape).max()
    assert farthest <= 1.05 * by_m + 1e-9
    assert _convex_but_for_rounding(found)
    mitre = shapely.Polygon(grown(outline, by_m, corner="mitre"))
    assert mitre.buffer(1e-9).covers(polygon)
    # Along every side it is exactly by_m, not more.
    for (ax, ay), (bx, by) in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        long = math.hypot(bx - ax, by - ay)
        middle = shapely.Point(
            (ax + bx) / 2 + (by - ay) / long * by_m, (ay + by) / 2 - (bx - ax) / long * by_m
        )
        assert polygon.exterior.distance(middle) < 1e-7


def _convex_but_for_rounding(outline: np.ndarray) -> bool:
    polygon = shapely.Polygon(outline)
    return bool(polygon.convex_hull.area - polygon.area <= 1e-9 * polygon.area + 1e-14)


def test_grown_square_by_hand() -> None:
    # Mitre: side 2 grown by 0.5 is side 3. Cut: three sides round a right angle, 30 degrees each, whose corners lie
    # 0.5 / cos 15 deg from the old corner.
    assert sorted(map(tuple, grown(SQUARE, 0.5, corner="mitre").round(12))) == [
        (-1.5, -1.5),
        (-1.5, 1.5),
        (1.5, -1.5),
        (1.5, 1.5),
    ]
    found = grown(SQUARE, 0.5)
    assert len(found) == 12
    nearest = np.min([np.hypot(*(found - corner).T) for corner in SQUARE], axis=0)
    assert nearest == pytest.approx(np.full(12, 0.5 / math.cos(math.radians(15))))
    assert np.array_equal(grown(SQUARE, 0.0), SQUARE)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(_outlines, st.lists(_outlines, max_size=3))
def test_pieces_are_convex_and_together_the_whole(outline: np.ndarray, bites: list[np.ndarray]) -> None:
    shape = shapely.difference(
        shapely.Polygon(outline * 2), shapely.union_all([shapely.Polygon(b) for b in bites])
    )
    pieces = split_convex(shape)
    for piece in pieces:
        assert shapely.Polygon(piece).exterior.is_ccw
        assert _convex_but_for_rounding(piece)
    polygons = [shapely.Polygon(piece) for piece in pieces]
    # No overlap: the areas add up; and no hole left out.
    assert sum(polygon.area for polygon in polygons) == pytest.approx(shape.area, abs=1e-7)
    assert shapely.union_all(polygons).symmetric_difference(shape).area < 1e-7


def test_a_convex_polygon_is_one_piece_and_a_frame_is_several() -> None:
    assert len(split_convex(shapely.Polygon(SQUARE))) == 1
    frame = shapely.box(0, 0, 3, 3) - shapely.box(1, 1, 2, 2)
    pieces = split_convex(frame)
    assert sum(shapely.Polygon(piece).area for piece in pieces) == pytest.approx(8.0)
    two = shapely.MultiPolygon([shapely.box(0, 0, 1, 1), shapely.box(2, 0, 3, 1)])
    assert len(split_convex(two)) == 2


@settings(max_examples=60, deadline=None, derandomize=True)
@given(_outlines, _any)
def test_swept_is_the_hull_of_both_ends(outline: np.ndarray, move: tuple[float, float]) -> None:
    found = swept_straight(outline, *move)
    want = shapely.convex_hull(shapely.multipoints(np.concatenate([outline, outline + move])))
    assert shapely.hausdorff_distance(shapely.Polygon(found), want) < 1e-9


def test_lists_of_polygons_are_put_together_and_cut() -> None:
    triangle = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
    two = Convex.from_list([SQUARE, triangle])
    assert len(two) == 2
    assert np.array_equal(two.polygon(1), triangle)
    four = Convex.join([two, Convex.from_list([]), Convex.from_list([triangle, SQUARE])])
    assert [len(four.polygon(number)) for number in range(len(four))] == [4, 3, 3, 4]
    middle = four.part(1, 3)
    assert len(middle) == 2
    assert np.array_equal(middle.polygon(0), triangle)
    assert len(four.part(2, 2)) == 0
    assert len(Convex.join([])) == 0


def test_hull_of_points_on_a_line_is_refused() -> None:
    assert len(hull(np.array([[0.0, 0.0], [1.0, 0.0], [0.5, 0.2], [0.0, 1.0]]))) == 3
    with pytest.raises(ValueError, match="one line"):
        hull(np.array([[0.0, 0.0], [1.0, 1.0], [2.0, 2.0]]))
