"""Convex polygons: many in three columns, Minkowski differences, growing, splitting, sweeping."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from standfall.geometry import _convex_kernels

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# A cut corner of a grown polygon lies at most this much farther out than asked for.
_CORNER_OVER = 1.05
# Less area than this is no piece of a polygon: a hundredth of a square millimetre.
_LEAST_M2 = 1e-8
# A polygon that fills its hull but for this share of it is convex; its corners are off by rounding only.
_CONVEX_WITHIN = 1e-9


@dataclass(frozen=True)
class Convex:
    """m convex polygons, counter-clockwise; the first corner is not repeated at the end.

    Attributes:
        first: (m + 1,) polygon i has the corners ``first[i]`` to ``first[i + 1]``.
        x_m, y_m: (v,) corners.
    """

    first: Ints
    x_m: Floats
    y_m: Floats

    def __len__(self) -> int:
        return len(self.first) - 1

    def polygon(self, number: int) -> Floats:
        """Return the (p, 2) corners of one polygon."""
        span = slice(int(self.first[number]), int(self.first[number + 1]))
        return np.stack([self.x_m[span], self.y_m[span]], axis=-1)

    def part(self, start: int, stop: int) -> Convex:
        """Return the polygons ``start`` to ``stop`` (not included), as views."""
        begin, end = int(self.first[start]), int(self.first[stop])
        return Convex(self.first[start : stop + 1] - begin, self.x_m[begin:end], self.y_m[begin:end])

    @classmethod
    def from_list(cls, polygons: Sequence[Floats]) -> Convex:
        """Put (p, 2) polygons one behind the other."""
        first = np.zeros(len(polygons) + 1, np.int64)
        np.cumsum([len(polygon) for polygon in polygons], out=first[1:])
        corners = np.concatenate([np.empty((0, 2)), *polygons]).astype(np.float64)
        return cls(first, np.ascontiguousarray(corners[:, 0]), np.ascontiguousarray(corners[:, 1]))

    @classmethod
    def join(cls, parts: Sequence[Convex]) -> Convex:
        """Put lists of polygons one behind the other."""
        sizes = [np.empty(0, np.int64), *(np.diff(part.first) for part in parts)]
        first = np.concatenate([[0], np.cumsum(np.concatenate(sizes))]).astype(np.int64)
        none = np.empty(0, np.float64)
        return cls(
            first,
            np.concatenate([none, *(part.x_m for part in parts)]),
            np.concatenate([none, *(part.y_m for part in parts)]),
        )


def minkowski_difference(fixed: Floats, moving: Floats) -> Floats:
    """Return the places of the mover's origin at which a fixed and a moving polygon overlap.

    That is the Minkowski sum of the fixed polygon and the mover turned by half a turn (Lozano-Pérez, IEEE
    Transactions on Computers C-32, 1983: the configuration space obstacle of a translating polygon). They only
    touch where the origin is on its outline.

    Args:
        fixed: (p, 2) convex, counter-clockwise; two corners are a segment, one is a point.
        moving: (q, 2) likewise, round its origin.

    Returns:
        (r, 2) corners of a convex polygon, counter-clockwise.
    """
    return differences(Convex.from_list([fixed]), Convex.from_list([moving])).polygon(0)


def differences(fixed: Convex, moving: Convex) -> Convex:
    """Return the ``minkowski_difference`` of every fixed polygon with every moving one.

    Fixed polygons come in their order, and for each the movers in theirs: difference k belongs to the fixed polygon
    ``k // len(moving)``.
    """
    first, x, y = _convex_kernels.differences(
        fixed.first,
        np.ascontiguousarray(fixed.x_m),
        np.ascontiguousarray(fixed.y_m),
        moving.first,
        np.ascontiguousarray(moving.x_m),
        np.ascontiguousarray(moving.y_m),
    )
    return Convex(first, x, y)


def grown(polygon: Floats, by_m: float, corner: Literal["cut", "mitre"] = "cut") -> Floats:
    """Return a convex polygon moved outwards: it holds every point within ``by_m`` of the polygon.

    Args:
        polygon: (p, 2) convex, counter-clockwise, at least three corners.
        by_m: how far, 0 or more.
        corner: ``cut`` puts sides at a tangent round each corner, so that no point is farther out than 1.05
            times ``by_m``; ``mitre`` lets the sides meet: fewer corners, farther out.

    Returns:
        (r, 2) corners of a convex polygon, counter-clockwise.
    """
    if by_m <= 0.0:
        return np.array(polygon, np.float64)
    edges = np.roll(polygon, -1, axis=0) - polygon
    kept = np.hypot(edges[:, 0], edges[:, 1]) > 0.0
    polygon, edges = polygon[kept], edges[kept]
    away = np.arctan2(-edges[:, 0], edges[:, 1])
    most_rad = 2.0 * math.acos(1.0 / _CORNER_OVER)
    corners = []
    for (x, y), last, following in zip(polygon, np.roll(away, 1), away, strict=True):
        turn = (following - last) % (2.0 * math.pi)
        if turn > 1.5 * math.pi:
            # A straight side in two pieces, bent inwards by rounding.
            turn = 0.0
        sides = max(1, math.ceil(turn / most_rad - 1e-9)) if corner == "cut" else 1
        half = turn / sides / 2.0
        for side in range(sides):
            angle = last + (2 * side + 1) * half
            reach = by_m / math.cos(half)
            corners.append((x + reach * math.cos(angle), y + reach * math.sin(angle)))
    return np.array(corners, np.float64)


def hull(points_m: Floats) -> Floats:
    """Return the convex hull of (n, 2) points as the (r, 2) corners of a polygon, counter-clockwise.

    Raises:
        ValueError: the points lie on one line.
    """
    found = shapely.convex_hull(shapely.multipoints(points_m))
    if found.geom_type != "Polygon":
        raise ValueError("points on one line have no hull with an inside")
    return _ring(found)


def split_convex(polygon: BaseGeometry) -> list[Floats]:
    """Return convex (p, 2) polygons, counter-clockwise, that together are a shapely polygon.

    A convex polygon is one piece. Any other, and one with holes, is cut into the triangles of its constrained
    Delaunay triangulation (shapely). A multipolygon is split part by part; lines and points are left out.
    """
    pieces: list[Floats] = []
    for part in shapely.get_parts(polygon):
        if part.geom_type != "Polygon" or part.area <= _LEAST_M2:
            continue
        whole = part.convex_hull
        convex = whole.area - part.area <= _CONVEX_WITHIN * whole.area
        cut = [whole] if convex else list(shapely.constrained_delaunay_triangles(part).geoms)
        pieces += [_ring(piece) for piece in cut]
    return pieces


def swept_straight(polygon: Floats, dx_m: float, dy_m: float) -> Floats:
    """Return all that a convex polygon covers on a straight move: the hull of its first and last place.

    Args:
        polygon: (p, 2) convex, counter-clockwise.
        dx_m, dy_m: the move.

    Returns:
        (r, 2) corners of a convex polygon, counter-clockwise.
    """
    move = np.array([[0.0, 0.0], [-dx_m, -dy_m]]) if dx_m or dy_m else np.zeros((1, 2))
    return minkowski_difference(polygon, move)


def _ring(polygon: BaseGeometry) -> Floats:
    """Return the corners of a shapely polygon, counter-clockwise, the first not repeated."""
    ring: Floats = shapely.get_coordinates(shapely.orient_polygons(polygon).exterior)
    return np.ascontiguousarray(ring[:-1])
