"""Roads: the shortest ways of a point among convex obstacles that become more and more."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from standfall.findings import StandfallError
from standfall.geometry.convex import Convex
from standfall.routes._road_kernels import (
    CORNERS,
    ENTRIES,
    OBSTACLES,
    Grid,
    Ground,
    add,
    entries_most,
    is_free,
)
from standfall.routes._road_search_kernels import search

Floats = NDArray[np.float64]

# A larger hall gets larger cells rather than more.
_CELLS_MOST = 1_000_000
# Arrays of a Ground by what they have one of.
_OF_OBSTACLE = ("middle", "seen", "room")
_OF_CORNER = ("line", "corner", "live", "wedge")


class Roads:
    """Obstacles on a floor, and the shortest ways between them.

    Touching an obstacle is free, its open inside is not, and two obstacles that overlap or share a side leave no
    crack between them. Ways may lie within an outline by 0.2 micrometres (``_road_kernels.TOUCH_M``). Obstacles that
    touch in one point leave that point free.
    """

    def __init__(
        self, static: Convex, box_m: tuple[float, float, float, float], cell_m: float = 0.25
    ) -> None:
        """Begin with the obstacles that are always there.

        Args:
            static: convex polygons with an inside; what has none is in nobody's way.
            box_m: low x, low y, high x, high y of the floor. Obstacles outside of it count all the same, but are
                slow to look up.
            cell_m: side of the cells in which obstacles are looked up.

        Raises:
            StandfallError: the box or the cell has no size.
        """
        if not (cell_m > 0.0 and box_m[2] >= box_m[0] and box_m[3] >= box_m[1]):
            raise StandfallError(f"a floor of {box_m} m in cells of {cell_m} m has no size")
        self._ground = _empty_ground(static, box_m, cell_m)
        self.stand(static)

    def stand(self, obstacles: Convex) -> None:
        """Add obstacles; corners that they cover are no longer turned at.

        Args:
            obstacles: convex polygons, counter-clockwise.
        """
        if not len(obstacles):
            return
        first = np.ascontiguousarray(obstacles.first, np.int64)
        x_m = np.ascontiguousarray(obstacles.x_m, np.float64)
        y_m = np.ascontiguousarray(obstacles.y_m, np.float64)
        if not (np.isfinite(x_m).all() and np.isfinite(y_m).all()):
            raise StandfallError("an obstacle has a corner that is no number")
        self._make_room(len(obstacles), len(x_m), entries_most(self._ground.grid, first, x_m, y_m))
        add(self._ground, first, x_m, y_m)

    def copy(self) -> Roads:
        """Return a floor with the same obstacles that can be added to on its own."""
        other = object.__new__(Roads)
        # Only arrays are changed; where the cells lie never is.
        own = {name: column.copy() for name, column in self._ground._asdict().items() if name != "grid"}
        other._ground = self._ground._replace(**own)
        return other

    def free(self, x_m: float, y_m: float) -> bool:
        """Tell whether a point is in no obstacle; it may touch some."""
        return bool(is_free(self._ground, float(x_m), float(y_m)))

    def path(self, start_m: tuple[float, float], goal_m: tuple[float, float]) -> Floats | None:
        """Return the shortest way from start to goal.

        Of several that are equally long (to 1e-9 m) it is the one by the obstacle corners that were there first.

        Args:
            start_m, goal_m: where it begins and ends.

        Returns:
            (p, 2) points: start, the corners at which it turns, goal. ``None`` when there is no way or one of the
            ends is not free.
        """
        sx, sy = float(start_m[0]), float(start_m[1])
        way: Floats = search(self._ground, sx, sy, float(goal_m[0]), float(goal_m[1]))
        return way if len(way) else None

    def _make_room(self, obstacles: int, corners: int, entries: int) -> None:
        g = self._ground
        count = g.counts
        changes: dict[str, Any] = {}
        for names, need in (
            (_OF_OBSTACLE, int(count[OBSTACLES]) + obstacles),
            (("first",), int(count[OBSTACLES]) + obstacles + 1),
            (_OF_CORNER, int(count[CORNERS]) + corners),
            (("entry",), int(count[ENTRIES]) + entries),
        ):
            have = len(getattr(g, names[0]))
            if need > have:
                changes |= {name: _longer(getattr(g, name), max(need, 2 * have)) for name in names}
        if changes:
            self._ground = g._replace(**changes)


def _longer(array: NDArray[np.generic], size: int) -> NDArray[np.generic]:
    longer = np.zeros((size, *array.shape[1:]), array.dtype)
    longer[: len(array)] = array
    return longer


def _empty_ground(static: Convex, box_m: tuple[float, float, float, float], cell_m: float) -> Ground:
    low_x, low_y, high_x, high_y = box_m
    if len(static.x_m):
        low_x, high_x = min(low_x, float(static.x_m.min())), max(high_x, float(static.x_m.max()))
        low_y, high_y = min(low_y, float(static.y_m.min())), max(high_y, float(static.y_m.max()))
    cell = max(cell_m, math.sqrt((high_x - low_x) * (high_y - low_y) / _CELLS_MOST))
    cell = max(cell, max(high_x - low_x, high_y - low_y) / _CELLS_MOST)
    # One row of cells more all round: the outermost take in what lies beyond.
    columns, rows = math.ceil((high_x - low_x) / cell) + 2, math.ceil((high_y - low_y) / cell) + 2
    return Ground(
        grid=Grid(low_x - cell, low_y - cell, cell, columns, rows),
        counts=np.zeros(5, np.int64),
        first=np.zeros(1, np.int64),
        line=np.zeros((0, 4)),
        middle=np.zeros((0, 2)),
        seen=np.zeros(0, np.int64),
        head=np.full((columns * rows, 2), -1, np.int32),
        entry=np.zeros((0, 2), np.int32),
        corner=np.zeros((0, 3), np.int32),
        live=np.zeros(0, np.int32),
        wedge=np.zeros((0, 4)),
        room=np.zeros((0, 4)),
    )
