"""Compiled search for the shortest way of a point among convex obstacles: A* over the corners it can turn at.

A shortest way among polygons turns only at their corners and only so that it stays taut round them
(Lozano-Pérez and Wesley, Communications of the ACM 22, 1979). Whether two corners see each other is only worked
out when the way through them would be the shortest yet (lazy evaluation); the straight distance to the goal never
overestimates, so the first way that reaches the goal is the shortest (Hart, Nilsson and Raphael, IEEE Transactions
on Systems Science and Cybernetics 4, 1968).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, Final, NamedTuple, TypeVar, cast

import numpy as np
from numba import njit
from numpy.typing import NDArray

from standfall.routes._road_kernels import LIVE, TOUCH_M, Ground, X, Y, is_blocked, is_free

#: Ways whose lengths differ by less are equally long; then the lowest corner number decides.
EQUAL_M: Final = 1e-9
#: Columns of ``Nodes.place`` after ``X`` and ``Y``.
TO_GOAL, COST = 2, 3
# A direction keeps to one side of a wedge when it bites it by no more than this.
_BITE_M: Final = 2.0 * TOUCH_M

_F = TypeVar("_F", bound=Callable[..., Any])
_kernel = cast(Callable[[_F], _F], njit(cache=True, error_model="numpy"))
# Called by kernels only: compiling a way in for Python as well takes time.
_inner = cast(Callable[[_F], _F], cast(Any, njit)(cache=True, error_model="numpy", no_cpython_wrapper=True))

_Floats = NDArray[np.float64]
_Int64 = NDArray[np.int64]


class Nodes(NamedTuple):
    """Goal (0), the n live corners (1 to n) and start (n + 1).

    place (n + 2, 4): ``X``, ``Y``, metres straight ``TO_GOAL`` and ``COST`` of the shortest way there.
    wedge (n + 2, 4): as in ``Ground``. came (n + 2,): node before, -1 where no way is known yet; the start has
    itself. The shortest way to a node is known for good as soon as there is one.
    """

    place: _Floats
    wedge: _Floats
    came: _Int64


class Heap(NamedTuple):
    """Ways not yet looked at, the shortest first.

    length (h,): in ``EQUAL_M``, with the straight way on to the goal. ends (h, 2): node they lead to and come from.
    """

    length: _Floats
    ends: _Int64


@_inner
def _nodes(g: Ground, sx: float, sy: float, tx: float, ty: float) -> Nodes:
    n = g.counts[LIVE]
    place, wedge = np.zeros((n + 2, 4), np.float64), np.zeros((n + 2, 4), np.float64)
    place[0, X], place[0, Y], place[n + 1, X], place[n + 1, Y] = tx, ty, sx, sy
    for k in range(n):
        corner = g.live[k]
        place[k + 1, X], place[k + 1, Y] = g.line[corner, X], g.line[corner, Y]
        for side in range(4):
            wedge[k + 1, side] = g.wedge[corner, side]
    for k in range(n + 2):
        place[k, TO_GOAL] = _length(place[k, X] - tx, place[k, Y] - ty)
    came = np.full(n + 2, -1, np.int64)
    came[n + 1] = n + 1
    return Nodes(place, wedge, came)


@_inner
def _length(dx: float, dy: float) -> float:
    return math.sqrt(dx * dx + dy * dy)


@_inner
def _earlier(heap: Heap, i: int, j: int) -> bool:
    if heap.length[i] != heap.length[j]:
        return bool(heap.length[i] < heap.length[j])
    if heap.ends[i, 0] != heap.ends[j, 0]:
        return bool(heap.ends[i, 0] < heap.ends[j, 0])
    return bool(heap.ends[i, 1] < heap.ends[j, 1])


@_inner
def _swap(heap: Heap, i: int, j: int) -> None:
    heap.length[i], heap.length[j] = heap.length[j], heap.length[i]
    for k in range(2):
        heap.ends[i, k], heap.ends[j, k] = heap.ends[j, k], heap.ends[i, k]


@_inner
def _push(heap: Heap, size: int, length: float, to: int, come: int) -> None:
    i = size
    heap.length[i], heap.ends[i, 0], heap.ends[i, 1] = length, to, come
    while i > 0 and _earlier(heap, i, (i - 1) // 2):
        _swap(heap, i, (i - 1) // 2)
        i = (i - 1) // 2


@_inner
def _sink(heap: Heap, size: int) -> None:
    """Put the first entry of ``size``, where alone the order is broken, in its place."""
    i = 0
    while True:
        first = i
        for child in range(2 * i + 1, min(2 * i + 3, size)):
            if _earlier(heap, child, first):
                first = child
        if first == i:
            return
        _swap(heap, i, first)
        i = first


@_inner
def _roomier(heap: Heap, size: int) -> Heap:
    roomy = Heap(np.empty(size, np.float64), np.empty((size, 2), np.int64))
    for i in range(len(heap.length)):
        roomy.length[i] = heap.length[i]
        roomy.ends[i, 0], roomy.ends[i, 1] = heap.ends[i, 0], heap.ends[i, 1]
    return roomy


@_inner
def _sides(wedge: _Floats, k: int, dx: float, dy: float) -> tuple[bool, bool]:
    """Tell whether the line through a corner in a direction keeps its wedge on the left, and on the right."""
    a = dx * wedge[k, 1] - dy * wedge[k, 0]
    b = dx * wedge[k, 3] - dy * wedge[k, 2]
    return a >= -_BITE_M and b >= -_BITE_M, a <= _BITE_M and b <= _BITE_M


@_inner
def _spread(nodes: Nodes, u: int, heap: Heap, size: int) -> tuple[Heap, int]:
    """Put all ways one node on from u that could be taut on the heap, seen or not."""
    place, wedge = nodes.place, nodes.wedge
    last = len(place) - 1
    before = nodes.came[u]
    in_x, in_y = place[u, X] - place[before, X], place[u, Y] - place[before, Y]
    from_left, from_right = _sides(wedge, u, in_x, in_y)
    long = _length(in_x, in_y)
    if long > 0.0:
        in_x, in_y = in_x / long, in_y / long
    if size + last >= len(heap.length):
        heap = _roomier(heap, 2 * (size + last))
    for w in range(last):
        if nodes.came[w] >= 0:
            continue
        dx, dy = place[w, X] - place[u, X], place[w, Y] - place[u, Y]
        # Goal and start have no wedge: all is on both sides of nothing.
        left, right = _sides(wedge, w, dx, dy)
        if not (left or right):
            continue
        left, right = _sides(wedge, u, dx, dy)
        turn = in_x * dy - in_y * dx
        # A taut way keeps the wedge on the same side before and after, and turns towards it.
        round_left = left and from_left and turn >= -_BITE_M
        round_right = right and from_right and turn <= _BITE_M
        if round_left or round_right:
            total = place[u, COST] + _length(dx, dy) + place[w, TO_GOAL]
            _push(heap, size, float(np.rint(total / EQUAL_M)), w, u)
            size += 1
    return heap, size


@_kernel
def search(g: Ground, sx: float, sy: float, tx: float, ty: float) -> _Floats:
    """Return the shortest way as (p, 2) points from start to goal; none (0, 2) when there is none."""
    used = np.zeros(2, np.int64)
    none = np.empty((0, 2), np.float64)
    if not is_free(g, sx, sy) or not is_free(g, tx, ty):
        return none
    nodes = _nodes(g, sx, sy, tx, ty)
    place = nodes.place
    heap = Heap(np.empty(64, np.float64), np.empty((64, 2), np.int64))
    _push(heap, 0, 0.0, 0, len(place) - 1)
    # The straight way is tried first; the rest follows only if something is in it.
    size = 1
    spread = False
    while size > 0:
        to, come = heap.ends[0, 0], heap.ends[0, 1]
        size -= 1
        _swap(heap, 0, size)
        _sink(heap, size)
        if nodes.came[to] < 0 and not is_blocked(
            g, place[come, X], place[come, Y], place[to, X], place[to, Y], used
        ):
            nodes.came[to] = come
            if to == 0:
                return _way(g, nodes, used)
            place[to, COST] = place[come, COST] + _length(
                place[to, X] - place[come, X], place[to, Y] - place[come, Y]
            )
            heap, size = _spread(nodes, to, heap, size)
        elif not spread:
            heap, size = _spread(nodes, come, heap, size)
        spread = True
    return none


@_inner
def _way(g: Ground, nodes: Nodes, used: _Int64) -> _Floats:
    """Return the way to the goal without the points at which it does not turn."""
    start = len(nodes.came) - 1
    count, k = 1, 0
    while k != start:
        k = nodes.came[k]
        count += 1
    way = np.empty((count, 2), np.float64)
    k = 0
    for i in range(count - 1, -1, -1):
        way[i, 0], way[i, 1] = nodes.place[k, X], nodes.place[k, Y]
        k = nodes.came[k]
    kept = 1
    for i in range(1, count - 1):
        ux, uy, wx, wy = way[kept - 1, 0], way[kept - 1, 1], way[i + 1, 0], way[i + 1, 1]
        dx, dy = wx - ux, wy - uy
        off = abs((way[i, 0] - ux) * dy - (way[i, 1] - uy) * dx)
        if off > EQUAL_M * _length(dx, dy) or is_blocked(g, ux, uy, wx, wy, used):
            way[kept, 0], way[kept, 1] = way[i, 0], way[i, 1]
            kept += 1
    way[kept, 0], way[kept, 1] = way[count - 1, 0], way[count - 1, 1]
    return way[: kept + 1]
