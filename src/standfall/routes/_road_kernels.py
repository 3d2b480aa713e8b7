"""A floor of convex obstacles in square cells, compiled: what is free, which corners a taut way can turn at.

An obstacle counts from ``TOUCH_M`` within its outline, so touching is free. Obstacles that share a side, or stand
so close that the crack between them is narrower than ``TOUCH_M``, leave no way between them: a segment that keeps
one of them within ``TOUCH_M`` on its left and another on its right is blocked. The slow twin is the exact
visibility graph in tests/routes/visibility_twin.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, Final, NamedTuple, TypeVar, cast

import numpy as np
from numba import njit
from numpy.typing import NDArray

#: Depth from which an obstacle counts. Coordinates of a hall are off by 1e-13 m at most, so true touching never
#: looks like a bite; a robot cannot tell 0.2 um. It is twice the hair by which the search for an order lets places
#: lie within an outline (``_cell_kernels.TOUCH_M``), so that what it calls free is free here.
TOUCH_M: Final = 2e-7
#: Two obstacles that touch along less than this touch in a point, and a way may slip through there. Where
#: two sides make an angle, both are within ``TOUCH_M`` of the way for ``TOUCH_M / sin(angle)``: less than this for
#: any angle over 0.2 degrees.
POINT_M: Final = 1e-4
#: Sides of obstacles that leave less of an angle free between them at a common point (rad) leave none.
CLOSED_RAD: Final = 1e-6
#: A corner that turns by less (rad) is straight: over 100 m a way that leaves it out bites 0.03 um.
STRAIGHT_RAD: Final = 1e-9
# Obstacles are entered in every cell that they come this close to; more than any touch.
_MARGIN_M: Final = 1e-6
# The walk along a segment looks this far over the sides of a cell.
_SLACK_M: Final = 1e-9
# Shorter is no segment, and no side.
_SAME_M: Final = 1e-12
_SHORT_M: Final = 1e-9

#: ``head`` of a cell that one obstacle covers entirely.
FULL: Final = -2
#: Places in ``Ground.counts``.
OBSTACLES, CORNERS, ENTRIES, LIVE, STAMP = 0, 1, 2, 3, 4
#: Columns of ``Ground.line``, ``head`` and ``corner``.
X, Y, OUT_X, OUT_Y = 0, 1, 2, 3
ENTRY, CORNER = 0, 1
OF, NEXT, ALIVE = 0, 1, 2

_F = TypeVar("_F", bound=Callable[..., Any])
_kernel = cast(Callable[[_F], _F], njit(cache=True, error_model="numpy"))
# Called by kernels only: compiling a way in for Python as well takes time.
_inner = cast(Callable[[_F], _F], cast(Any, njit)(cache=True, error_model="numpy", no_cpython_wrapper=True))

_Floats = NDArray[np.float64]
_Int32 = NDArray[np.int32]
_Int64 = NDArray[np.int64]


class Grid(NamedTuple):
    """Where the cells lie. The outermost reach on for ever."""

    left: float
    bottom: float
    cell: float
    columns: int
    rows: int


class Ground(NamedTuple):
    """Obstacles, the cells they lie in, and their corners. All arrays may be longer than they are filled.

    Few arrays with several columns: the compiler takes long over many.

    grid: where the cells lie.
    counts (5,): how many obstacles, corners, entries in cells and live corners there are, and the last stamp.
    first (o + 1,): corners of obstacle k are ``first[k]`` to ``first[k + 1]``, counter-clockwise.
    line (v, 4): a corner (``X``, ``Y``) and the unit vector outwards from the side that begins there.
    middle (o, 2): a point inside each obstacle. seen (o,): stamp of the last walk that met it.
    head (cells, 2): first entry of a cell, -1 for none, ``FULL``; and its first corner.
    entry (e, 2): obstacle, and the next entry of the same cell.
    corner (v, 3): obstacle of a corner, the next corner of the same cell, 1 when a taut way can turn at it.
    live (v,): those corners, rising.
    wedge (v, 4): directions between which all is blocked at a corner, counter-clockwise from the first.
    room (o, 4): room to work in.
    """

    grid: Grid
    counts: _Int64
    first: _Int64
    line: _Floats
    middle: _Floats
    seen: _Int64
    head: _Int32
    entry: _Int32
    corner: _Int32
    live: _Int32
    wedge: _Floats
    room: _Floats


@_inner
def column_of(grid: Grid, x: float) -> int:
    """Return the column of cells a place lies in."""
    return int(min(max(math.floor((x - grid.left) / grid.cell), 0.0), grid.columns - 1.0))


@_inner
def row_of(grid: Grid, y: float) -> int:
    """Return the row of cells a place lies in."""
    return int(min(max(math.floor((y - grid.bottom) / grid.cell), 0.0), grid.rows - 1.0))


@_inner
def cell_of(grid: Grid, x: float, y: float) -> int:
    """Return the cell a place lies in."""
    return row_of(grid, y) * grid.columns + column_of(grid, x)


@_inner
def outside_m(first: _Int64, line: _Floats, o: int, px: float, py: float) -> float:
    """Return how far a point lies outside of an obstacle, negative inside: its depth.

    Where that is more than ``TOUCH_M``, any number larger than ``TOUCH_M`` is returned.
    """
    most = -np.inf
    for i in range(first[o], first[o + 1]):
        out = (px - line[i, X]) * line[i, OUT_X] + (py - line[i, Y]) * line[i, OUT_Y]
        if out > most:
            most = out
            if most > TOUCH_M:
                return float(most)
    return most


@_kernel
def is_free(g: Ground, px: float, py: float) -> bool:
    """Tell whether a point lies in no obstacle, or only touches some."""
    entry = g.head[cell_of(g.grid, px, py), ENTRY]
    if entry == FULL:
        return False
    while entry >= 0:
        if outside_m(g.first, g.line, g.entry[entry, 0], px, py) < -TOUCH_M:
            return False
        entry = g.entry[entry, 1]
    return True


@_inner
def _spans(
    first: _Int64, line: _Floats, o: int, ax: float, ay: float, bx: float, by: float
) -> tuple[float, float, float, float]:
    """Return which part of a segment, in shares of it, lies in an obstacle, and which part at least touches it.

    In: deeper than ``TOUCH_M``. Touches: less than ``TOUCH_M`` outside of every side. (from, to, from, to); there
    is no such part where to is not more than from.
    """
    in_from, in_to, near_from, near_to = 0.0, 1.0, 0.0, 1.0
    for i in range(first[o], first[o + 1]):
        out_a = (ax - line[i, X]) * line[i, OUT_X] + (ay - line[i, Y]) * line[i, OUT_Y]
        out_b = (bx - line[i, X]) * line[i, OUT_X] + (by - line[i, Y]) * line[i, OUT_Y]
        a, b = out_a - TOUCH_M, out_b - TOUCH_M
        if a > 0.0 and b > 0.0:
            return 1.0, 0.0, 1.0, 0.0
        if a > 0.0:
            near_from = max(near_from, a / (a - b))
        elif b > 0.0:
            near_to = min(near_to, a / (a - b))
        a, b = out_a + TOUCH_M, out_b + TOUCH_M
        if a >= 0.0 and b >= 0.0:
            in_to = 0.0
        elif a > 0.0:
            in_from = max(in_from, a / (a - b))
        elif b > 0.0:
            in_to = min(in_to, a / (a - b))
    return in_from, in_to, near_from, near_to


@_inner
def _meets(g: Ground, o: int, ax: float, ay: float, bx: float, by: float, long: float, used: _Int64) -> bool:
    """Tell whether a segment enters an obstacle, or a crack between it and one met before.

    ``used`` counts the stretches noted so far: those along obstacles on the left and on the right.
    """
    in_from, in_to, near_from, near_to = _spans(g.first, g.line, o, ax, ay, bx, by)
    if in_to > in_from:
        return True
    if (near_to - near_from) * long <= POINT_M:
        return False
    on_left = (bx - ax) * (g.middle[o, 1] - ay) - (by - ay) * (g.middle[o, 0] - ax) > 0.0
    side = 0 if on_left else 1
    other = 1 - side
    for k in range(used[other]):
        shared = min(near_to, g.room[k, 2 * other + 1]) - max(near_from, g.room[k, 2 * other])
        if shared * long > POINT_M:
            return True
    g.room[used[side], 2 * side] = near_from
    g.room[used[side], 2 * side + 1] = near_to
    used[side] += 1
    return False


@_inner
def is_blocked(g: Ground, ax: float, ay: float, bx: float, by: float, used: _Int64) -> bool:
    """Tell whether something is in the way between two points. ``used`` (2,) is room to work in."""
    dx, dy = bx - ax, by - ay
    long = math.sqrt(dx * dx + dy * dy)
    if long <= _SAME_M:
        return False
    g.counts[STAMP] += 1
    stamp = g.counts[STAMP]
    used[0], used[1] = 0, 0
    column, last_column = column_of(g.grid, ax), column_of(g.grid, bx)
    along = 1 if last_column >= column else -1
    while True:
        begin, end = 0.0, 1.0
        if dx != 0.0:
            # The outermost columns have no outer side.
            to_left = (
                (g.grid.left + column * g.grid.cell - _SLACK_M - ax) / dx if column > 0 else -np.inf * dx
            )
            to_right = (
                (g.grid.left + (column + 1) * g.grid.cell + _SLACK_M - ax) / dx
                if column < g.grid.columns - 1
                else np.inf * dx
            )
            begin = min(max(min(to_left, to_right), 0.0), 1.0)
            end = max(min(max(to_left, to_right), 1.0), 0.0)
        from_y, to_y = ay + begin * dy, ay + end * dy
        row = row_of(g.grid, from_y - _SLACK_M if dy >= 0.0 else from_y + _SLACK_M)
        last_row = row_of(g.grid, to_y + _SLACK_M if dy >= 0.0 else to_y - _SLACK_M)
        up = 1 if last_row >= row else -1
        while True:
            entry = g.head[row * g.grid.columns + column, ENTRY]
            if entry == FULL:
                return True
            while entry >= 0:
                o = g.entry[entry, 0]
                if g.seen[o] != stamp:
                    g.seen[o] = stamp
                    if _meets(g, o, ax, ay, bx, by, long, used):
                        return True
                entry = g.entry[entry, 1]
            if row == last_row:
                break
            row += up
        if column == last_column:
            return False
        column += along


@_inner
def _sector(firsts: _Int64, line: _Floats, o: int, px: float, py: float) -> tuple[float, float, float]:
    """Return what an obstacle blocks round a point on its outline: direction (x, y) and the angle left of it."""
    first, n = firsts[o], firsts[o + 1] - firsts[o]
    begin, end = -1, -1
    before = _on_side(line, first + n - 1, px, py)
    for i in range(n):
        on = _on_side(line, first + i, px, py)
        if on and not before and begin < 0:
            begin = i
        before = on
    if begin < 0:
        return 1.0, 0.0, 0.0
    end = begin
    while _on_side(line, first + (end + 1) % n, px, py) and (end + 1) % n != begin:
        end = (end + 1) % n
    # Along a side is a quarter turn left of outwards.
    ex, ey = -line[first + end, OUT_Y], line[first + end, OUT_X]
    fx, fy = -line[first + begin, OUT_Y], line[first + begin, OUT_X]
    width = math.pi
    if begin != end:
        width = math.atan2(-ex * fy + ey * fx, -ex * fx - ey * fy)
        if width <= 0.0:
            width = math.pi
    return ex, ey, width


@_inner
def _on_side(line: _Floats, k: int, px: float, py: float) -> bool:
    """Tell whether a point of an outline lies on the side that begins at corner k."""
    return bool((px - line[k, X]) * line[k, OUT_X] + (py - line[k, Y]) * line[k, OUT_Y] >= -TOUCH_M)


@_inner
def weigh(g: Ground, corner: int) -> None:
    """Work out anew whether a taut way can turn at a corner, and the wedge that is blocked there.

    The wedge is that of its own obstacle, and of all that touch it there without an angle free between them. A way
    can only turn round a wedge of less than half a turn, and only at a point in no other obstacle.
    """
    px, py = g.line[corner, X], g.line[corner, Y]
    own = g.corner[corner, OF]
    g.corner[corner, ALIVE] = 0
    entry = g.head[cell_of(g.grid, px, py), ENTRY]
    if entry == FULL:
        return
    ux, uy, angle = _sector(g.first, g.line, own, px, py)
    arcs = 0
    while entry >= 0:
        o = g.entry[entry, 0]
        if o != own:
            out = outside_m(g.first, g.line, o, px, py)
            if out < -TOUCH_M:
                return
            if out <= TOUCH_M:
                vx, vy, width = _sector(g.first, g.line, o, px, py)
                if width > 0.0:
                    g.room[arcs, 0] = math.atan2(ux * vy - uy * vx, ux * vx + uy * vy)
                    g.room[arcs, 1] = g.room[arcs, 0] + width
                    arcs += 1
        entry = g.entry[entry, 1]
    low, high = _merged(g.room, arcs, angle)
    if angle <= 0.0 or high - low >= math.pi - STRAIGHT_RAD:
        return
    g.corner[corner, ALIVE] = 1
    g.wedge[corner, 0] = ux * math.cos(low) - uy * math.sin(low)
    g.wedge[corner, 1] = uy * math.cos(low) + ux * math.sin(low)
    g.wedge[corner, 2] = ux * math.cos(high) - uy * math.sin(high)
    g.wedge[corner, 3] = uy * math.cos(high) + ux * math.sin(high)


@_inner
def _merged(room: _Floats, arcs: int, angle: float) -> tuple[float, float]:
    """Return the arc 0 to ``angle`` with all noted arcs that join it, one after the other."""
    low, high = 0.0, angle
    changed = True
    while changed and high - low < math.pi - STRAIGHT_RAD:
        changed = False
        for k in range(arcs):
            for turn in range(-1, 2):
                begin, end = room[k, 0] + turn * math.tau, room[k, 1] + turn * math.tau
                if begin <= high + CLOSED_RAD and end >= low - CLOSED_RAD:
                    if begin < low:
                        low, changed = begin, True
                    if end > high:
                        high, changed = end, True
    return low, high


@_inner
def reach(grid: Grid, first: _Int64, line: _Floats, o: int, row: int) -> tuple[int, int]:
    """Return the first and last column of cells in a row that an obstacle comes near to; none if first > last."""
    low_y = grid.bottom + row * grid.cell - _MARGIN_M if row > 0 else -np.inf
    high_y = grid.bottom + (row + 1) * grid.cell + _MARGIN_M if row < grid.rows - 1 else np.inf
    low, high = np.inf, -np.inf
    last = first[o + 1] - 1
    ax, ay = line[last, X], line[last, Y]
    for i in range(first[o], last + 1):
        bx, by = line[i, X], line[i, Y]
        if max(ay, by) >= low_y and min(ay, by) <= high_y:
            ux, uy, vx, vy = ax, ay, bx, by
            if uy > vy:
                ux, uy, vx, vy = bx, by, ax, ay
            if uy < low_y:
                ux = ux + (vx - ux) * (low_y - uy) / (vy - uy)
            if vy > high_y:
                vx = ax + (bx - ax) * (high_y - ay) / (by - ay)
            low, high = min(low, ux, vx), max(high, ux, vx)
        ax, ay = bx, by
    if low > high:
        return 0, -1
    return column_of(grid, low - _MARGIN_M), column_of(grid, high + _MARGIN_M)


@_inner
def _covers(grid: Grid, first: _Int64, line: _Floats, o: int, column: int, row: int) -> bool:
    """Tell whether an obstacle covers a cell, so deep that nothing that touches the cell is free."""
    if column == 0 or row == 0 or column == grid.columns - 1 or row == grid.rows - 1:
        return False
    x0, y0 = grid.left + column * grid.cell, grid.bottom + row * grid.cell
    x1, y1 = x0 + grid.cell, y0 + grid.cell
    return (
        outside_m(first, line, o, x0, y0) < -2.0 * TOUCH_M
        and outside_m(first, line, o, x1, y1) < -2.0 * TOUCH_M
        and outside_m(first, line, o, x1, y0) < -2.0 * TOUCH_M
        and outside_m(first, line, o, x0, y1) < -2.0 * TOUCH_M
    )


@_inner
def _enter(g: Ground, o: int, column: int, row: int) -> None:
    """Enter an obstacle in a cell; corners there that it covers or touches are weighed anew."""
    c = row * g.grid.columns + column
    if g.head[c, ENTRY] == FULL:
        return
    if _covers(g.grid, g.first, g.line, o, column, row):
        g.head[c, ENTRY] = FULL
        corner = g.head[c, CORNER]
        while corner >= 0:
            g.corner[corner, ALIVE] = 0
            corner = g.corner[corner, NEXT]
        g.head[c, CORNER] = -1
        return
    entry = g.counts[ENTRIES]
    g.entry[entry, 0] = o
    g.entry[entry, 1] = g.head[c, ENTRY]
    g.head[c, ENTRY] = entry
    g.counts[ENTRIES] = entry + 1
    corner = g.head[c, CORNER]
    while corner >= 0:
        if g.corner[corner, ALIVE] == 1:
            out = outside_m(g.first, g.line, o, g.line[corner, X], g.line[corner, Y])
            if out < -TOUCH_M:
                g.corner[corner, ALIVE] = 0
            elif out <= TOUCH_M:
                weigh(g, corner)
        corner = g.corner[corner, NEXT]


@_kernel
def entries_most(grid: Grid, first: _Int64, x: _Floats, y: _Floats) -> int:
    """Return how many entries in cells new obstacles can make at most."""
    most = 0
    for k in range(len(first) - 1):
        low_x, low_y, high_x, high_y = np.inf, np.inf, -np.inf, -np.inf
        for i in range(first[k], first[k + 1]):
            low_x, high_x = min(low_x, x[i]), max(high_x, x[i])
            low_y, high_y = min(low_y, y[i]), max(high_y, y[i])
        columns = column_of(grid, high_x + _MARGIN_M) - column_of(grid, low_x - _MARGIN_M) + 1
        rows = row_of(grid, high_y + _MARGIN_M) - row_of(grid, low_y - _MARGIN_M) + 1
        most += columns * rows
    return most


@_inner
def _add_outline(g: Ground, x: _Floats, y: _Floats, first: int, last: int) -> int:
    """Write the outline of a new obstacle, and return its number, or -1 when it has no inside."""
    o, at = g.counts[OBSTACLES], g.counts[CORNERS]
    end = at
    for i in range(first, last):
        following = i + 1 if i + 1 < last else first
        ex, ey = x[following] - x[i], y[following] - y[i]
        long = math.sqrt(ex * ex + ey * ey)
        # The line of a shorter side would be noise; its neighbours meet closer than any touch.
        if long > _SHORT_M:
            g.line[end, X], g.line[end, Y] = x[i], y[i]
            g.line[end, OUT_X], g.line[end, OUT_Y] = ey / long, -ex / long
            g.corner[end, OF] = o
            g.corner[end, ALIVE] = 0
            end += 1
    if end - at < 3:
        return -1
    g.first[o + 1] = end
    g.middle[o, 0], g.middle[o, 1] = 0.0, 0.0
    for i in range(at, end):
        g.middle[o, 0] += g.line[i, X] / (end - at)
        g.middle[o, 1] += g.line[i, Y] / (end - at)
    g.seen[o] = 0
    g.counts[OBSTACLES], g.counts[CORNERS] = o + 1, end
    return int(o)


@_kernel
def add(g: Ground, first: _Int64, x: _Floats, y: _Floats) -> None:
    """Add obstacles; there must be room for them, their corners and their entries."""
    for k in range(len(first) - 1):
        o = _add_outline(g, x, y, first[k], first[k + 1])
        if o < 0:
            continue
        low, high = np.inf, -np.inf
        for i in range(g.first[o], g.first[o + 1]):
            low, high = min(low, g.line[i, Y]), max(high, g.line[i, Y])
        row, last_row = row_of(g.grid, low - _MARGIN_M), row_of(g.grid, high + _MARGIN_M)
        while row <= last_row:
            column, last_column = reach(g.grid, g.first, g.line, o, row)
            while column <= last_column:
                _enter(g, o, column, row)
                column += 1
            row += 1
        for corner in range(g.first[o], g.first[o + 1]):
            weigh(g, corner)
            if g.corner[corner, ALIVE] == 1:
                c = cell_of(g.grid, g.line[corner, X], g.line[corner, Y])
                g.corner[corner, NEXT] = g.head[c, CORNER]
                g.head[c, CORNER] = corner
                g.live[g.counts[LIVE]] = corner
                g.counts[LIVE] += 1
    kept = 0
    for k in range(g.counts[LIVE]):
        if g.corner[g.live[k], ALIVE] == 1:
            g.live[kept] = g.live[k]
            kept += 1
    g.counts[LIVE] = kept
