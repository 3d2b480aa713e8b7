"""Outlines of areas and robots as polygons, where a robot stands, and places in words. Geometry by shapely."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry
from shapely.validation import explain_validity

Floats = NDArray[np.float64]

# Sides of a quarter circle. A circle drawn round has corners 0.12 % outside of it.
_QUARTER_SIDES = 16


def read_polygon(
    corners_m: Sequence[tuple[float, float]], least_m2: float
) -> tuple[shapely.Polygon | None, str | None]:
    """Return the polygon of some corners, and in words what is wrong with them.

    Where sides cross, the polygon is the hull of the corners: nothing that was meant is then left out. It is
    ``None`` where there is no area at all.

    Args:
        corners_m: in order; the first need not be repeated at the end.
        least_m2: less area than this is none.
    """
    if len(set(corners_m)) < 3:
        return None, f"{len(set(corners_m))} different corners"
    polygon = shapely.Polygon(corners_m)
    fault = None if polygon.is_valid else str(explain_validity(polygon))
    if fault is not None:
        polygon = polygon.convex_hull
    if not isinstance(polygon, shapely.Polygon) or polygon.area < least_m2:
        return None, fault or f"an area of {polygon.area:.2g} square metres"
    return polygon, fault


def disc(x_m: float, y_m: float, radius_m: float) -> shapely.Polygon:
    """Return a regular polygon drawn round a circle: it holds the whole circle, and hardly more."""
    return shapely.Point(x_m, y_m).buffer(
        radius_m / np.cos(np.pi / (4 * _QUARTER_SIDES)), quad_segs=_QUARTER_SIDES
    )


def in_hall(points_m: Floats, x_m: float, y_m: float, yaw_rad: float) -> Floats:
    """Return (p, 2) points of a robot's frame in the hall: turned by its yaw, then moved to its place."""
    cosine, sine = np.cos(yaw_rad), np.sin(yaw_rad)
    turned: Floats = points_m @ np.array([[cosine, sine], [-sine, cosine]])
    turned += (x_m, y_m)
    return turned


def posed(pieces: Sequence[Floats], x_m: float, y_m: float, yaw_rad: float) -> BaseGeometry:
    """Return polygons of a robot's frame as one shape of the hall."""
    return shapely.union_all([shapely.Polygon(in_hall(piece, x_m, y_m, yaw_rad)) for piece in pieces])


def place_words(x_m: float, y_m: float) -> str:
    """Say a place in the hall, to the millimetre."""
    return f"x {x_m:.3f} m, y {y_m:.3f} m"


def place_of(shape: BaseGeometry) -> str:
    """Say a place that lies in a shape, to the millimetre."""
    point = shape.representative_point()
    return place_words(point.x, point.y)
