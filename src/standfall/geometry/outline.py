"""Outlines: is this a floor, and does it hold what is to stand on it? Geometry by shapely."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.validation import explain_validity

Floats = NDArray[np.float64]

# A piece standing exactly on the edge of the outline is inside; this covers rounding.
EDGE_M = 1e-6


def floor_faults(outline_m: Sequence[tuple[float, float]]) -> str | None:
    """Say why corners make no floor polygon (too few, crossing itself, no area), or ``None``."""
    if len(set(outline_m)) < 3:
        return f"{len(set(outline_m))} different corners"
    polygon = shapely.Polygon(outline_m)
    if not polygon.is_valid:
        return str(explain_validity(polygon))
    if polygon.area < 1e-4:
        return f"an area of {polygon.area:.2g} square metres"
    return None


def inside(outline_m: Sequence[tuple[float, float]], corners_m: Floats) -> NDArray[np.bool_]:
    """Tell for each shape whether it lies within the outline.

    Args:
        outline_m: corners of the floor.
        corners_m: (n, c, 2) corners of n shapes.
    """
    floor = shapely.Polygon(outline_m).buffer(EDGE_M, join_style="mitre")
    shapely.prepare(floor)
    return np.asarray(shapely.covers(floor, shapely.polygons(corners_m)))


def rectangle_corners(
    x_m: Floats, y_m: Floats, yaw_rad: Floats, width_m: float, thickness_m: float, shrink_m: float = 0.0
) -> Floats:
    """Return the (n, 4, 2) footprint corners of standing pieces.

    ``yaw_rad`` is the direction of the fall: the thickness lies along it, the width across.
    ``shrink_m`` is taken off on every side.
    """
    half_t, half_w = thickness_m / 2 - shrink_m, width_m / 2 - shrink_m
    cosine, sine = np.cos(yaw_rad), np.sin(yaw_rad)
    along = np.array([half_t, half_t, -half_t, -half_t])
    across = np.array([half_w, -half_w, -half_w, half_w])
    corner_x = x_m[:, None] + along * cosine[:, None] - across * sine[:, None]
    corner_y = y_m[:, None] + along * sine[:, None] + across * cosine[:, None]
    return np.stack([corner_x, corner_y], axis=-1)
