"""Which standing pieces would stand in one another."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from standfall.geometry.outline import rectangle_corners

Floats = NDArray[np.float64]

# Pieces may touch; a bite of less than this a side is rounding or moulding tolerance
# (common practice, no source).
TOUCH_M = 5e-5


def overlapping_pairs(
    x_m: Floats, y_m: Floats, yaw_rad: Floats, width_m: float, thickness_m: float
) -> NDArray[np.int64]:
    """Return the (m, 2) index pairs (lower first, sorted) of pieces whose footprints overlap.

    Args:
        x_m, y_m, yaw_rad: (n,) poses of standing pieces of one size.
        width_m, thickness_m: the piece.
    """
    if len(x_m) < 2:
        return np.empty((0, 2), dtype=np.int64)
    boxes = shapely.polygons(rectangle_corners(x_m, y_m, yaw_rad, width_m, thickness_m, shrink_m=TOUCH_M))
    first, second = shapely.STRtree(boxes).query(boxes, predicate="intersects")
    pairs = np.stack([first, second], axis=1)[first < second]
    return np.asarray(pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))], dtype=np.int64)
