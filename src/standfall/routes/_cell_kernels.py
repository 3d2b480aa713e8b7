"""A floor of square cells in several layers, compiled: which cells each obstacle covers, and short links to them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple, TypeVar, cast

import numpy as np
from numba import njit
from numpy.typing import NDArray

_F = TypeVar("_F", bound=Callable[..., Any])
_kernel = cast(Callable[[_F], _F], njit(cache=True, error_model="numpy"))

Rows = NDArray[Any]

#: An obstacle counts from this far within its outline: places on the outline itself are free.
TOUCH_M = 1e-7
#: A point is linked to a free cell at most this many cells away.
LINK_CELLS = 4
# At most so many free cells are tried for a link.
_LINK_TRIES = 12


class Cells(NamedTuple):
    """The grid: cell (i, j) has its middle at ``x0_m + (i + 0.5) * cell_m`` and likewise in y."""

    x0_m: float
    y0_m: float
    cell_m: float
    nx: int
    ny: int


class Obstacles(NamedTuple):
    """Convex obstacles counter-clockwise, sorted by step; the walls come last under step n.

    ``of_step[s]`` to ``of_step[s + 1]`` are those of step s. Squares of ``side_m`` hold what lies in each of them:
    square b = (layer * by + row) * bx + column.
    """

    first: Rows
    x_m: Rows
    y_m: Rows
    layer: Rows
    step: Rows
    of_step: Rows
    side_m: float
    bx: int
    by: int
    square_first: Rows
    square_item: Rows


@_kernel
def bounds(x: Rows, y: Rows) -> tuple[float, float, float, float]:
    """Return the least x and y and the greatest x and y of some corners."""
    low_x, low_y, high_x, high_y = np.inf, np.inf, -np.inf, -np.inf
    for i in range(len(x)):
        low_x, high_x = min(low_x, x[i]), max(high_x, x[i])
        low_y, high_y = min(low_y, y[i]), max(high_y, y[i])
    return low_x, low_y, high_x, high_y


@_kernel
def cover(obstacles: Obstacles, o: int, cells: Cells, change: int, count: Rows, touched: Rows) -> int:
    """Add ``change`` to the cells that obstacle o covers and write those that become nought to ``touched``.

    A cell is covered when its middle lies within the outline moved out by half a cell's diagonal, edge by edge:
    then every cell that is not covered lies wholly outside the obstacle. Returns how many became nought.
    """
    v0, v1 = obstacles.first[o], obstacles.first[o + 1]
    x, y = obstacles.x_m[v0:v1], obstacles.y_m[v0:v1]
    half = 0.5 * np.sqrt(2.0) * cells.cell_m - TOUCH_M
    low_x, low_y, high_x, high_y = bounds(x, y)
    low_x, low_y, high_x, high_y = low_x - half, low_y - half, high_x + half, high_y + half
    base = obstacles.layer[o] * cells.nx * cells.ny
    j0 = max(int(np.floor((low_y - cells.y0_m) / cells.cell_m - 0.5)), 0)
    j1 = min(int(np.ceil((high_y - cells.y0_m) / cells.cell_m - 0.5)), cells.ny - 1)
    found = 0
    for j in range(j0, j1 + 1):
        at_y = cells.y0_m + (j + 0.5) * cells.cell_m
        if at_y <= low_y or at_y >= high_y:
            continue
        low, high = low_x, high_x
        last = len(x) - 1
        for i in range(len(x)):
            nx, ny = y[i] - y[last], x[last] - x[i]
            length = np.sqrt(nx * nx + ny * ny)
            if length > 1e-12:
                room = (nx * x[i] + ny * y[i]) / length + half - ny / length * at_y
                if nx > 1e-12 * length:
                    high = min(high, room * length / nx)
                elif nx < -1e-12 * length:
                    low = max(low, room * length / nx)
                elif room <= 0.0:
                    low = high
            last = i
        i0 = max(int(np.ceil((low - cells.x0_m) / cells.cell_m - 0.5)), 0)
        i1 = min(int(np.floor((high - cells.x0_m) / cells.cell_m - 0.5)), cells.nx - 1)
        for i in range(i0, i1 + 1):
            node = base + j * cells.nx + i
            count[node] += change
            if count[node] == 0:
                touched[found] = node
                found += 1
    return found


@_kernel
def cover_all(obstacles: Obstacles, cells: Cells, present: Rows, count: Rows) -> None:
    """Add all obstacles of the steps that are there; ``present`` has a row for each step and one for the walls."""
    touched = np.empty(cells.nx * cells.ny, np.int64)
    for o in range(len(obstacles.step)):
        if present[obstacles.step[o]]:
            cover(obstacles, o, cells, 1, count, touched)


@_kernel
def crosses(x: Rows, y: Rows, ax: float, ay: float, bx: float, by: float) -> bool:
    """Tell whether the segment a to b enters the inside of a convex polygon (deeper than ``TOUCH_M``)."""
    begin, end = 0.0, 1.0
    last = len(x) - 1
    for i in range(len(x)):
        nx, ny = y[i] - y[last], x[last] - x[i]
        length = np.sqrt(nx * nx + ny * ny)
        if length > 1e-12:
            out_a = (nx * (ax - x[i]) + ny * (ay - y[i])) / length + TOUCH_M
            out_b = (nx * (bx - x[i]) + ny * (by - y[i])) / length + TOUCH_M
            if out_a >= 0.0 and out_b >= 0.0:
                return False
            if out_a >= 0.0:
                begin = max(begin, out_a / (out_a - out_b))
            elif out_b >= 0.0:
                end = min(end, out_a / (out_a - out_b))
        last = i
    return begin < end or (begin == end and ax == bx and ay == by)


@_kernel
def segment_free(
    obstacles: Obstacles, cells: Cells, alive: Rows, layer: int, ax: float, ay: float, bx: float, by: float
) -> bool:
    """Tell whether a short segment keeps out of everything that stands in a layer."""
    side = obstacles.side_m
    i0 = min(max(int(np.floor((min(ax, bx) - cells.x0_m) / side)), 0), obstacles.bx - 1)
    i1 = min(max(int(np.floor((max(ax, bx) - cells.x0_m) / side)), 0), obstacles.bx - 1)
    j0 = min(max(int(np.floor((min(ay, by) - cells.y0_m) / side)), 0), obstacles.by - 1)
    j1 = min(max(int(np.floor((max(ay, by) - cells.y0_m) / side)), 0), obstacles.by - 1)
    for j in range(j0, j1 + 1):
        for i in range(i0, i1 + 1):
            square = (layer * obstacles.by + j) * obstacles.bx + i
            for at in range(obstacles.square_first[square], obstacles.square_first[square + 1]):
                o = obstacles.square_item[at]
                if alive[obstacles.step[o]]:
                    v0, v1 = obstacles.first[o], obstacles.first[o + 1]
                    if crosses(obstacles.x_m[v0:v1], obstacles.y_m[v0:v1], ax, ay, bx, by):
                        return False
    return True


@_kernel
def linked_cell(
    obstacles: Obstacles, cells: Cells, alive: Rows, count: Rows, layer: int, x_m: float, y_m: float
) -> int:
    """Return the node of a free cell that a point reaches in a straight line, the nearest that will do, or -1."""
    base = layer * cells.nx * cells.ny
    ci = int(np.floor((x_m - cells.x0_m) / cells.cell_m))
    cj = int(np.floor((y_m - cells.y0_m) / cells.cell_m))
    if 0 <= ci < cells.nx and 0 <= cj < cells.ny and count[base + cj * cells.nx + ci] == 0:
        return base + cj * cells.nx + ci  # a free cell is free to its corners
    distance = np.empty((2 * LINK_CELLS + 1) ** 2)
    node = np.empty((2 * LINK_CELLS + 1) ** 2, np.int64)
    found = 0
    for j in range(max(cj - LINK_CELLS, 0), min(cj + LINK_CELLS, cells.ny - 1) + 1):
        for i in range(max(ci - LINK_CELLS, 0), min(ci + LINK_CELLS, cells.nx - 1) + 1):
            if count[base + j * cells.nx + i] == 0:
                dx = cells.x0_m + (i + 0.5) * cells.cell_m - x_m
                dy = cells.y0_m + (j + 0.5) * cells.cell_m - y_m
                distance[found] = dx * dx + dy * dy
                node[found] = base + j * cells.nx + i
                found += 1
    if found == 0 or not segment_free(obstacles, cells, alive, layer, x_m, y_m, x_m, y_m):
        return -1
    for _ in range(min(found, _LINK_TRIES)):
        nearest = 0
        for at in range(found):
            if distance[at] < distance[nearest]:
                nearest = at
        if distance[nearest] == np.inf:
            break
        distance[nearest] = np.inf
        here = node[nearest] - base
        to_x = cells.x0_m + (here % cells.nx + 0.5) * cells.cell_m
        to_y = cells.y0_m + (here // cells.nx + 0.5) * cells.cell_m
        if segment_free(obstacles, cells, alive, layer, x_m, y_m, to_x, to_y):
            return int(node[nearest])
    return -1


@_kernel
def fill_squares(
    first_corner: Rows,
    x: Rows,
    y: Rows,
    layer: Rows,
    layers: int,
    x0: float,
    y0: float,
    side: float,
    bx: int,
    by: int,
) -> tuple[Rows, Rows]:
    """Return what lies in each square of each layer: (first, item); beyond the grid the outer squares count."""
    first = np.zeros(layers * bx * by + 1, np.int64)
    item = np.empty(0, np.int64)
    filled = first
    for turn in range(2):
        if turn == 1:
            total = 0
            for b in range(layers * bx * by):
                here = first[b]
                first[b] = total
                total += here
            first[layers * bx * by] = total
            item = np.empty(total, np.int64)
            filled = first.copy()
        for o in range(len(layer)):
            v0, v1 = first_corner[o], first_corner[o + 1]
            low_x, low_y, high_x, high_y = bounds(x[v0:v1], y[v0:v1])
            i0 = min(max(int(np.floor((low_x - x0) / side)), 0), bx - 1)
            i1 = min(max(int(np.floor((high_x - x0) / side)), 0), bx - 1)
            j0 = min(max(int(np.floor((low_y - y0) / side)), 0), by - 1)
            j1 = min(max(int(np.floor((high_y - y0) / side)), 0), by - 1)
            for j in range(j0, j1 + 1):
                for i in range(i0, i1 + 1):
                    square = (layer[o] * by + j) * bx + i
                    if turn == 0:
                        first[square] += 1
                    else:
                        item[filled[square]] = o
                        filled[square] += 1
    return first, item
