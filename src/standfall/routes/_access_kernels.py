"""Taking steps away one after the other, compiled: conflicts are counted down, freed cells join what is reached.

What can be taken away once can be taken away ever after, so nothing is ever looked at twice without a cause:
a stance waits for its last conflict, then for a free cell near its way out, then for the part of the floor that
cell belongs to being joined to a dock.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

import numpy as np
from numba import njit
from numpy.typing import NDArray

from standfall.routes._cell_kernels import Cells, Obstacles, cover, cover_all
from standfall.routes._reach_kernels import (
    PARTS_MOST,
    Hand,
    State,
    Ways,
    find,
    hand_place,
    link_docks,
    look_at_stance,
    look_at_step,
    open_cells,
    unite,
    wake_near,
)

_F = TypeVar("_F", bound=Callable[..., Any])
_kernel = cast(Callable[[_F], _F], njit(cache=True, error_model="numpy"))
# Called by kernels only: without a door for Python it is compiled in half the time.
_inner = cast(Callable[[_F], _F], cast(Any, njit)(cache=True, error_model="numpy", no_cpython_wrapper=True))

Rows = NDArray[Any]


@_inner
def _settle(
    state: State, ways: Ways, hand: Hand, obstacles: Obstacles, cells: Cells, todo: list[int]
) -> list[int]:
    """Look at everything that has had a cause; return the steps that have become ready."""
    fresh = [0]
    fresh.pop()
    stances = len(ways.step)
    while len(todo) > 0:
        entry = todo.pop()
        s = ways.step[entry] if entry < stances else (entry - stances) // PARTS_MOST
        if state.ready[s] or not state.alive[s] or not state.removable[s] or state.dependents[s] > 0:
            continue
        if entry < stances and not hand.by_hand[s]:
            good = state.blockers[entry] == 0 and look_at_stance(state, ways, obstacles, cells, entry)
        else:
            good = look_at_step(state, ways, hand, obstacles, cells, s)
        if good:
            state.ready[s] = True
            fresh.append(s)
    return fresh


@_kernel
def begin(state: State, ways: Ways, hand: Hand, obstacles: Obstacles, cells: Cells) -> None:
    """Put up the floor: cells covered by what is alive beside the walls, already counted, and all that is reached."""
    present = state.alive.copy()
    present[len(present) - 1] = False
    cover_all(obstacles, cells, present, state.covered)
    todo = [0]
    todo.pop()
    docks = len(state.parent) - len(ways.dock_layer)
    state.docked[docks:] = True
    open_cells(state, ways, hand, cells, np.arange(docks), docks, True, todo)
    rescan(state, ways, hand, obstacles, cells)


@_kernel
def rescan(state: State, ways: Ways, hand: Hand, obstacles: Obstacles, cells: Cells) -> int:
    """Look at every step afresh; return how many are ready."""
    todo = [0]
    todo.pop()
    link_docks(state, ways, obstacles, cells, todo)
    _settle(state, ways, hand, obstacles, cells, todo)
    count = 0
    for s in range(len(state.ready)):
        if not state.ready[s] and look_at_step(state, ways, hand, obstacles, cells, s):
            state.ready[s] = True
        if state.ready[s] and state.alive[s]:
            count += 1
    return count


@_kernel
def join(state: State, ways: Ways, hand: Hand, obstacles: Obstacles, cells: Cells, a: Rows, b: Rows) -> None:
    """Join pairs of nodes that exact geometry has found to be joined."""
    todo = [0]
    todo.pop()
    for k in range(len(a)):
        unite(state, a[k], b[k], todo)
    _settle(state, ways, hand, obstacles, cells, todo)


@_kernel
def remove(
    state: State,
    ways: Ways,
    hand: Hand,
    after: Rows,
    obstacles: Obstacles,
    cells: Cells,
    s: int,
    touched: Rows,
) -> list[int]:
    """Take a step away; return the steps that have become ready by it."""
    todo = [0]
    todo.pop()
    stances = len(ways.step)
    state.alive[s] = False
    state.ready[s] = False
    found = 0
    for o in range(obstacles.of_step[s], obstacles.of_step[s + 1]):
        found += cover(obstacles, o, cells, -1, state.covered, touched[found:])
    open_cells(state, ways, hand, cells, touched, found, False, todo)
    for o in range(obstacles.of_step[s], obstacles.of_step[s + 1]):
        wake_near(state, hand, obstacles, cells, o, stances, todo)
    for at in range(ways.blocks_first[s], ways.blocks_first[s + 1]):
        k = ways.blocks[at]
        state.blockers[k] -= 1
        if state.blockers[k] == 0:
            todo.append(k)
    link_docks(state, ways, obstacles, cells, todo)
    fresh = _settle(state, ways, hand, obstacles, cells, todo)
    base = after[s]
    if base >= 0:
        state.dependents[base] -= 1
        if not state.ready[base] and look_at_step(state, ways, hand, obstacles, cells, base):
            state.ready[base] = True
            fresh.append(base)
    return fresh


@_kernel
def stance_of(state: State, ways: Ways, s: int) -> int:
    """Return the first stance in which a step can be laid now, or -1."""
    for k in range(ways.of_step[s], ways.of_step[s + 1]):
        if state.blockers[k] == 0 and state.link[k] >= 0 and state.docked[find(state.parent, state.link[k])]:
            return int(k)
    return -1


@_inner
def _push(heap: Rows, size: int, value: int) -> int:
    """Put a value into a heap of which ``size`` places are in use; return how many are then."""
    at = size
    while at > 0 and heap[(at - 1) // 2] > value:
        heap[at] = heap[(at - 1) // 2]
        at = (at - 1) // 2
    heap[at] = value
    return size + 1


@_inner
def _sink(heap: Rows, size: int) -> None:
    """Take the least value off a heap: the last of ``size`` values sinks from the top to its place."""
    value = heap[size - 1]
    at = 0
    while 2 * at + 1 < size - 1:
        below = 2 * at + 1
        if below + 1 < size - 1 and heap[below + 1] < heap[below]:
            below += 1
        if heap[below] >= value:
            break
        heap[at] = heap[below]
        at = below
    heap[at] = value


@_kernel
def advance(
    state: State, ways: Ways, hand: Hand, after: Rows, obstacles: Obstacles, cells: Cells, rank: Rows
) -> tuple[Rows, Rows]:
    """Take away all that can be, the lowest rank first; return (steps, how) in that order.

    ``rank`` numbers the steps from 0. ``how`` is the stance, or for hand work -1 less the cell of the worker's
    layer.
    """
    steps = len(state.ready)
    step_of = np.empty(steps, np.int64)
    heap = np.empty(steps, np.int64)
    order, how = np.empty(steps, np.int64), np.empty(steps, np.int64)
    done = size = 0
    for s in range(steps):
        step_of[rank[s]] = s
        if state.ready[s] and state.alive[s]:
            size = _push(heap, size, rank[s])
    touched = np.empty(len(state.covered), np.int64)
    while size > 0:
        s = step_of[heap[0]]
        _sink(heap, size)
        size -= 1
        order[done] = s
        if hand.by_hand[s]:
            node = hand_place(state, hand, cells, s, True, -1)
            how[done] = -1 - (node - hand.layer * cells.nx * cells.ny)
        else:
            how[done] = stance_of(state, ways, s)
        done += 1
        for fresh in remove(state, ways, hand, after, obstacles, cells, s, touched):
            size = _push(heap, size, rank[fresh])
    return order[:done], how[:done]
