"""The cheapest way through what stands, compiled: which obstacles a way to a dock would have to cross."""

from __future__ import annotations

import heapq
from collections.abc import Callable
from typing import Any, TypeVar, cast

import numpy as np
from numba import njit
from numpy.typing import NDArray

from standfall.routes._cell_kernels import LINK_CELLS, Cells, Obstacles
from standfall.routes._reach_kernels import State, Ways, find

_F = TypeVar("_F", bound=Callable[..., Any])
_kernel = cast(Callable[[_F], _F], njit(cache=True, error_model="numpy"))

Rows = NDArray[Any]


@_kernel
def cheapest_ways(state: State, ways: Ways, walls: Rows, cells: Cells) -> tuple[Rows, Rows]:
    """Return for each cell of all layers the cost of its cheapest way from a dock and the cell before it (-1).

    Each cell entered costs as much as obstacles that can go cover it; cells that walls cover cannot be entered.
    By Dijkstra's algorithm (Numerische Mathematik 1, 269, 1959).
    """
    size = cells.nx * cells.ny
    cost = np.full(len(walls), np.inf)
    before = np.full(len(walls), -1, np.int64)
    queue = [(0.0, 0)]
    queue.pop()
    for node in range(len(walls)):
        if state.covered[node] == 0 and state.docked[find(state.parent, node)]:
            cost[node] = 0.0
            heapq.heappush(queue, (0.0, node))
    for d in range(len(ways.dock_layer)):
        i = int(np.floor((ways.dock_x_m[d] - cells.x0_m) / cells.cell_m))
        j = int(np.floor((ways.dock_y_m[d] - cells.y0_m) / cells.cell_m))
        if 0 <= i < cells.nx and 0 <= j < cells.ny:
            node = ways.dock_layer[d] * size + j * cells.nx + i
            if walls[node] == 0 and cost[node] > state.covered[node]:
                cost[node] = state.covered[node]
                heapq.heappush(queue, (cost[node], node))
    around = np.empty(8 + len(ways.join_a), np.int64)
    while len(queue) > 0:
        so_far, node = heapq.heappop(queue)
        if so_far > cost[node]:
            continue
        for at in range(_around(ways, cells, node, around)):
            other = around[at]
            if walls[other] == 0:
                value = so_far + (state.covered[other] - walls[other])
                if value < cost[other]:
                    cost[other] = value
                    before[other] = node
                    heapq.heappush(queue, (value, other))
    return cost, before


@_kernel
def _around(ways: Ways, cells: Cells, node: int, around: Rows) -> int:
    """Write the neighbours of a cell in its layer and in joined layers; return how many."""
    size = cells.nx * cells.ny
    layer, here = node // size, node % size
    i, j = here % cells.nx, here // cells.nx
    found = 0
    for dj in range(-1, 2):
        for di in range(-1, 2):
            if (di != 0 or dj != 0) and 0 <= i + di < cells.nx and 0 <= j + dj < cells.ny:
                around[found] = node + dj * cells.nx + di
                found += 1
    for k in range(len(ways.join_a)):
        if ways.join_a[k] == layer:
            oi, oj, other_layer = i + ways.join_di[k], j + ways.join_dj[k], ways.join_b[k]
        elif ways.join_b[k] == layer:
            oi, oj, other_layer = i - ways.join_di[k], j - ways.join_dj[k], ways.join_a[k]
        else:
            continue
        if 0 <= oi < cells.nx and 0 <= oj < cells.ny:
            around[found] = other_layer * size + oj * cells.nx + oi
            found += 1
    return found


@_kernel
def cheapest_near(cost: Rows, cells: Cells, layer: int, x_m: float, y_m: float) -> int:
    """Return the cheapest cell near a place, the nearest of equals, or -1."""
    ci = int(np.floor((x_m - cells.x0_m) / cells.cell_m))
    cj = int(np.floor((y_m - cells.y0_m) / cells.cell_m))
    best, least, nearest = -1, np.inf, np.inf
    for j in range(max(cj - LINK_CELLS, 0), min(cj + LINK_CELLS, cells.ny - 1) + 1):
        for i in range(max(ci - LINK_CELLS, 0), min(ci + LINK_CELLS, cells.nx - 1) + 1):
            node = (layer * cells.ny + j) * cells.nx + i
            apart = (i - ci) ** 2 + (j - cj) ** 2
            if cost[node] < least or (cost[node] == least and cost[node] < np.inf and apart < nearest):
                best, least, nearest = node, cost[node], apart
    return best


@_kernel
def steps_over(state: State, obstacles: Obstacles, cells: Cells, before: Rows, node: int, over: Rows) -> None:
    """Mark the steps whose obstacles, moved out by half a cell's diagonal, cover a cell of the way to a node."""
    size = cells.nx * cells.ny
    half = 0.5 * np.sqrt(2.0) * cells.cell_m
    side = obstacles.side_m
    while node >= 0:
        if state.covered[node] > 0:
            layer, here = node // size, node % size
            px = cells.x0_m + (here % cells.nx + 0.5) * cells.cell_m
            py = cells.y0_m + (here // cells.nx + 0.5) * cells.cell_m
            i0 = min(max(int(np.floor((px - half - cells.x0_m) / side)), 0), obstacles.bx - 1)
            i1 = min(max(int(np.floor((px + half - cells.x0_m) / side)), 0), obstacles.bx - 1)
            j0 = min(max(int(np.floor((py - half - cells.y0_m) / side)), 0), obstacles.by - 1)
            j1 = min(max(int(np.floor((py + half - cells.y0_m) / side)), 0), obstacles.by - 1)
            for j in range(j0, j1 + 1):
                for i in range(i0, i1 + 1):
                    square = (layer * obstacles.by + j) * obstacles.bx + i
                    for at in range(obstacles.square_first[square], obstacles.square_first[square + 1]):
                        o = obstacles.square_item[at]
                        s = obstacles.step[o]
                        if (
                            s < len(over)
                            and state.alive[s]
                            and not over[s]
                            and _covers(obstacles, o, px, py, half)
                        ):
                            over[s] = True
        node = before[node]


@_kernel
def _covers(obstacles: Obstacles, o: int, px: float, py: float, half: float) -> bool:
    v0, v1 = obstacles.first[o], obstacles.first[o + 1]
    x, y = obstacles.x_m[v0:v1], obstacles.y_m[v0:v1]
    last = len(x) - 1
    for i in range(len(x)):
        nx, ny = y[i] - y[last], x[last] - x[i]
        length = np.sqrt(nx * nx + ny * ny)
        if length > 1e-12 and (nx * (px - x[i]) + ny * (py - y[i])) / length >= half:
            return False
        last = i
    return True
