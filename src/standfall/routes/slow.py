"""Where robots go slowly: nearer to standing dominoes than the slow zone, at each moment of the laying."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from standfall.geometry.convex import Convex, differences, grown
from standfall.routes._slow_kernels import mark
from standfall.routes.layer import Layer
from standfall.routes.step import Steps

Floats = NDArray[np.float64]

# Cells in which the zone is kept; it is as exact as half of one.
_CELL_M = 0.05
_NEVER = np.iinfo(np.int32).max


class SlowZones:
    """For every layer, from which place in the laying order on each spot of the floor is beside dominoes."""

    def __init__(
        self,
        layers: Sequence[Layer],
        steps: Steps,
        place: NDArray[np.integer],
        zone_m: float,
        box_m: tuple[float, float, float, float],
    ) -> None:
        """Work the zones out.

        Args:
            layers: with their shapes grown by the clearance already.
            steps: n steps.
            place: (n,) of each in the laying order; -1 for what stands already, more than any place for what is
                never laid.
            zone_m: how near counts as beside; measured from the grown shapes.
            box_m: low x, low y, high x, high y of the floor.
        """
        self._x0_m, self._y0_m = box_m[0], box_m[1]
        nx = max(1, math.ceil((box_m[2] - box_m[0]) / _CELL_M))
        ny = max(1, math.ceil((box_m[3] - box_m[1]) / _CELL_M))
        self._since = []
        for layer in layers:
            since = np.full((ny, nx), _NEVER, np.int32)
            moving = Convex.from_list([grown(shape, zone_m) for shape in layer.shape])
            if len(moving) and len(steps.shapes):
                near = differences(steps.shapes, moving)
                of = np.repeat(np.asarray(place, np.int64)[steps.shape_of], len(moving))
                mark(since, self._x0_m, self._y0_m, _CELL_M, near.first, near.x_m, near.y_m, of)
            self._since.append(since)

    def slow(self, layer: int, place: int, x_m: Floats, y_m: Floats) -> NDArray[np.bool_]:
        """Tell for points (n,) of a layer's origin whether dominoes stand beside it before a place in the order."""
        since = self._since[layer]
        row = np.clip(((y_m - self._y0_m) / _CELL_M).astype(int), 0, since.shape[0] - 1)
        col = np.clip(((x_m - self._x0_m) / _CELL_M).astype(int), 0, since.shape[1] - 1)
        return np.asarray(since[row, col] < place)
