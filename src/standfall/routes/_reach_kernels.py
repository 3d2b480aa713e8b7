"""What is reached of the floor, compiled: free cells joined to docks, and who waits for what."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple, TypeVar, cast

import numpy as np
from numba import njit
from numpy.typing import NDArray

from standfall.routes._cell_kernels import Cells, Obstacles, bounds, linked_cell

_F = TypeVar("_F", bound=Callable[..., Any])
_kernel = cast(Callable[[_F], _F], njit(cache=True, error_model="numpy"))
# Called by kernels only: without a door for Python it is compiled in less time.
_inner = cast(Callable[[_F], _F], cast(Any, njit)(cache=True, error_model="numpy", no_cpython_wrapper=True))

Rows = NDArray[Any]

#: A hand step waits for at most this many parts of the floor at a time; a stall looks at all again.
PARTS_MOST = 8


class Ways(NamedTuple):
    """k stances sorted by step, d docks, and the joins between layers of one model.

    ``of_step[s]`` to ``of_step[s + 1]`` are the stances of step s; ``blocks_first``, ``blocks`` the stances that a
    step blocks. Layers ``join_a`` and ``join_b`` are joined where cell (i, j) of a and (i + di, j + dj) of b are free.
    """

    step: Rows
    of_step: Rows
    layer: Rows
    x_m: Rows
    y_m: Rows
    blocks_first: Rows
    blocks: Rows
    dock_layer: Rows
    dock_x_m: Rows
    dock_y_m: Rows
    join_a: Rows
    join_b: Rows
    join_di: Rows
    join_dj: Rows


class Hand(NamedTuple):
    """Hand work: which steps, which corners must be in reach of one place, and where people come in (cells)."""

    by_hand: Rows
    corner_first: Rows
    corner_x_m: Rows
    corner_y_m: Rows
    middle_x_m: Rows
    middle_y_m: Rows
    reach_m: float
    layer: int
    entry: Rows


class State(NamedTuple):
    """The floor at one moment. Nodes: the cells of all layers, then the docks.

    Attributes:
        covered: obstacles over each cell.
        parent: above each node, or less than 0 at a root: how many nodes hang on it.
        docked: at a root, whether a dock is among its nodes.
        head, tail, following: lists of who waits for each root; entries are stances, then hand steps.
        entry_node: root for which a hand entry was made; used: how many entries a hand step has.
        blockers, dependents: steps that still stand in the way of a stance, or upon a step.
        alive: steps that stand, and the walls; removable: those that may be taken away; ready: that can be.
        link: node near each stance's way out, -1 for none yet.
        square_head, square_next, in_square: who waits for something near to be taken away.
        dock_linked: docks with a free cell near.
    """

    covered: Rows
    parent: Rows
    docked: Rows
    head: Rows
    tail: Rows
    following: Rows
    entry_node: Rows
    used: Rows
    blockers: Rows
    dependents: Rows
    alive: Rows
    removable: Rows
    ready: Rows
    link: Rows
    listed: Rows
    square_head: Rows
    square_next: Rows
    in_square: Rows
    dock_linked: Rows


@_kernel
def find(parent: Rows, node: int) -> int:
    """Return the root of a node; paths are halved on the way."""
    while parent[node] >= 0:
        above = parent[node]
        if parent[above] >= 0:
            parent[node] = parent[above]
        node = above
    return node


@_kernel
def roots_of(parent: Rows, nodes: Rows) -> Rows:
    """Return the root of each node."""
    roots = np.empty(len(nodes), np.int64)
    for at in range(len(nodes)):
        roots[at] = find(parent, nodes[at])
    return roots


@_inner
def unite(state: State, a: int, b: int, todo: list[int]) -> None:
    a, b = find(state.parent, a), find(state.parent, b)
    if a == b:
        return
    if state.parent[a] > state.parent[b]:
        a, b = b, a
    state.parent[a] += state.parent[b]
    state.parent[b] = a
    if state.head[b] >= 0:
        if state.head[a] >= 0:
            state.following[state.tail[a]] = state.head[b]
        else:
            state.head[a] = state.head[b]
        state.tail[a] = state.tail[b]
        state.head[b] = -1
    if state.docked[b]:
        state.docked[a] = True
    if state.docked[a]:
        _release(state, a, todo)


@_inner
def _release(state: State, root: int, todo: list[int]) -> None:
    entry = state.head[root]
    while entry >= 0:
        todo.append(entry)
        entry = state.following[entry]
    state.head[root] = -1


@_inner
def _wait(state: State, root: int, entry: int) -> None:
    state.following[entry] = -1
    if state.head[root] >= 0:
        state.following[state.tail[root]] = entry
    else:
        state.head[root] = entry
    state.tail[root] = entry


@_inner
def open_cells(
    state: State,
    ways: Ways,
    hand: Hand,
    cells: Cells,
    nodes: Rows,
    number: int,
    backward: bool,
    todo: list[int],
) -> None:
    """Join free cells to their free neighbours (all eight, or the four that come before) and other layers.

    The loop over the cells is in here, and the columns are taken out of their tuples before it: to hand tuples of
    columns from function to function costs more than the work on one cell.
    """
    nx, ny = cells.nx, cells.ny
    size = nx * ny
    count, parent = state.covered, state.parent
    join_a, join_b, join_di, join_dj = ways.join_a, ways.join_b, ways.join_di, ways.join_dj
    entry, hand_layer = hand.entry, hand.layer
    last_neighbour = 4 if backward else 8
    around_i = np.array([-1, 0, 1, -1, 1, -1, 0, 1])
    around_j = np.array([-1, -1, -1, 0, 0, 1, 1, 1])
    for at in range(number):
        node = nodes[at]
        if count[node] != 0:
            continue
        layer, here = node // size, node % size
        i, j = here % nx, here // nx
        root = find(parent, node)
        for k in range(last_neighbour + len(join_a)):
            if k < last_neighbour:
                oi, oj, base = i + around_i[k], j + around_j[k], layer
            else:
                m = k - last_neighbour
                if join_a[m] == layer:
                    oi, oj, base = i + join_di[m], j + join_dj[m], join_b[m]
                elif join_b[m] == layer:
                    oi, oj, base = i - join_di[m], j - join_dj[m], join_a[m]
                else:
                    continue
            if 0 <= oi < nx and 0 <= oj < ny:
                other = base * size + oj * nx + oi
                if count[other] == 0 and parent[other] != root and other != root:
                    other_root = find(parent, other)
                    if other_root != root:
                        unite(state, root, other_root, todo)
                        root = find(parent, root)
        if layer == hand_layer and entry[here] and not state.docked[root]:
            state.docked[root] = True
            _release(state, root, todo)


@_inner
def _wait_in_square(
    state: State, obstacles: Obstacles, cells: Cells, entry: int, layer: int, x: float, y: float
) -> None:
    if state.in_square[entry]:
        return
    i = min(max(int(np.floor((x - cells.x0_m) / obstacles.side_m)), 0), obstacles.bx - 1)
    j = min(max(int(np.floor((y - cells.y0_m) / obstacles.side_m)), 0), obstacles.by - 1)
    square = (layer * obstacles.by + j) * obstacles.bx + i
    state.square_next[entry] = state.square_head[square]
    state.square_head[square] = entry
    state.in_square[entry] = True


@_inner
def look_at_stance(state: State, ways: Ways, obstacles: Obstacles, cells: Cells, k: int) -> bool:
    """Return whether a stance without conflicts has a way to a dock; else let it wait for what it lacks."""
    if state.link[k] < 0:
        layer, x, y = ways.layer[k], ways.x_m[k], ways.y_m[k]
        state.link[k] = linked_cell(obstacles, cells, state.alive, state.covered, layer, x, y)
        if state.link[k] < 0:
            _wait_in_square(state, obstacles, cells, k, layer, x, y)
            return False
    root = find(state.parent, state.link[k])
    if state.docked[root]:
        return True
    if not state.listed[k]:
        state.listed[k] = True
        _wait(state, root, k)
    return False


@_kernel
def hand_place(state: State, hand: Hand, cells: Cells, s: int, best: bool, wait_from: int) -> int:
    """Return a cell (node) that people get to and have all of a hand step in reach from, or -1.

    With ``best`` the one whose farthest corner is nearest, else the first. With ``wait_from`` not negative the
    step is put down to wait for the parts of the floor it could be done from (entries from ``wait_from`` on).
    """
    c0, c1 = hand.corner_first[s], hand.corner_first[s + 1]
    base = hand.layer * cells.nx * cells.ny
    if c0 == c1:
        return -1
    x, y = hand.corner_x_m[c0:c1], hand.corner_y_m[c0:c1]
    reach = hand.reach_m
    low_x, low_y, high_x, high_y = bounds(x, y)
    i0 = max(int(np.ceil((high_x - reach - cells.x0_m) / cells.cell_m - 0.5)), 0)
    i1 = min(int(np.floor((low_x + reach - cells.x0_m) / cells.cell_m - 0.5)), cells.nx - 1)
    j0 = max(int(np.ceil((high_y - reach - cells.y0_m) / cells.cell_m - 0.5)), 0)
    j1 = min(int(np.floor((low_y + reach - cells.y0_m) / cells.cell_m - 0.5)), cells.ny - 1)
    found, nearest = -1, reach * reach
    for j in range(j0, j1 + 1):
        for i in range(i0, i1 + 1):
            node = base + j * cells.nx + i
            if state.covered[node] != 0:
                continue
            at_x, at_y = cells.x0_m + (i + 0.5) * cells.cell_m, cells.y0_m + (j + 0.5) * cells.cell_m
            farthest = 0.0
            for c in range(len(x)):
                farthest = max(farthest, (x[c] - at_x) ** 2 + (y[c] - at_y) ** 2)
                if farthest > nearest:
                    break
            if farthest > nearest or (found >= 0 and farthest == nearest):
                continue
            root = find(state.parent, node)
            if state.docked[root]:
                found = node
                if not best:
                    return found
                nearest = farthest
            elif wait_from >= 0 and state.used[s] < PARTS_MOST:
                known = False
                for e in range(wait_from, wait_from + state.used[s]):
                    known = known or find(state.parent, state.entry_node[e - len(state.link)]) == root
                if not known:
                    entry = wait_from + state.used[s]
                    state.entry_node[entry - len(state.link)] = node
                    state.used[s] += 1
                    _wait(state, root, entry)
    return found


@_inner
def look_at_step(state: State, ways: Ways, hand: Hand, obstacles: Obstacles, cells: Cells, s: int) -> bool:
    """Return whether a step can be taken away now; else let it wait."""
    if not state.alive[s] or not state.removable[s] or state.dependents[s] > 0:
        return False
    if hand.by_hand[s]:
        wait_from = len(ways.step) + PARTS_MOST * s
        if hand_place(state, hand, cells, s, False, wait_from) >= 0:
            return True
        entry = len(ways.step) + s
        _wait_in_square(state, obstacles, cells, entry, hand.layer, hand.middle_x_m[s], hand.middle_y_m[s])
        return False
    for k in range(ways.of_step[s], ways.of_step[s + 1]):
        if state.blockers[k] == 0 and look_at_stance(state, ways, obstacles, cells, k):
            return True
    return False


@_inner
def link_docks(state: State, ways: Ways, obstacles: Obstacles, cells: Cells, todo: list[int]) -> None:
    docks = len(state.parent) - len(ways.dock_layer)
    for d in range(len(ways.dock_layer)):
        if not state.dock_linked[d]:
            layer, x, y = ways.dock_layer[d], ways.dock_x_m[d], ways.dock_y_m[d]
            node = linked_cell(obstacles, cells, state.alive, state.covered, layer, x, y)
            if node >= 0:
                state.dock_linked[d] = True
                unite(state, docks + d, node, todo)


@_inner
def wake_near(
    state: State, hand: Hand, obstacles: Obstacles, cells: Cells, o: int, stances: int, todo: list[int]
) -> None:
    """Wake who waits for something near the obstacle to be taken away."""
    v0, v1 = obstacles.first[o], obstacles.first[o + 1]
    x, y = obstacles.x_m[v0:v1], obstacles.y_m[v0:v1]
    layer, side = obstacles.layer[o], obstacles.side_m
    # A link is a few cells long, and a cell is covered from half its diagonal off; hands reach farther.
    room = hand.reach_m if layer == hand.layer else 6.0 * cells.cell_m
    low_x, low_y, high_x, high_y = bounds(x, y)
    i0 = min(max(int(np.floor((low_x - room - cells.x0_m) / side)), 0), obstacles.bx - 1)
    i1 = min(max(int(np.floor((high_x + room - cells.x0_m) / side)), 0), obstacles.bx - 1)
    j0 = min(max(int(np.floor((low_y - room - cells.y0_m) / side)), 0), obstacles.by - 1)
    j1 = min(max(int(np.floor((high_y + room - cells.y0_m) / side)), 0), obstacles.by - 1)
    for j in range(j0, j1 + 1):
        for i in range(i0, i1 + 1):
            square = (layer * obstacles.by + j) * obstacles.bx + i
            entry = state.square_head[square]
            while entry >= 0:
                state.in_square[entry] = False
                if entry < stances:
                    todo.append(entry)
                else:
                    todo.append(stances + PARTS_MOST * (entry - stances))
                entry = state.square_next[entry]
            state.square_head[square] = -1
