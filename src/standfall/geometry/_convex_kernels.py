"""Compiled Minkowski differences of convex polygons, counter-clockwise, as columns x and y.

The slow twin is in tests/geometry/test_convex.py.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final, TypeVar, cast

import numpy as np
from numba import njit
from numpy.typing import NDArray

#: Edges whose directions differ by less (sine of the angle) are one straight side.
PARALLEL: Final = 1e-12
#: A corner less than this off the line of its neighbours is no corner: far above rounding (1e-14 m in a hall
#: of 100 m), far below what a robot can tell.
FLAT_M: Final = 1e-10

_F = TypeVar("_F", bound=Callable[..., Any])
_kernel = cast(Callable[[_F], _F], njit(cache=True, error_model="numpy"))
# Called by kernels only: compiling a way in for Python as well takes time.
_inner = cast(Callable[[_F], _F], cast(Any, njit)(cache=True, error_model="numpy", no_cpython_wrapper=True))

_Floats = NDArray[np.float64]
_Ints = NDArray[np.int64]


@_inner
def _lowest(x: _Floats, y: _Floats, first: int, last: int, sign: float) -> int:
    """Return the corner with the least ``sign * y``, of several that with the least ``sign * x``."""
    best = first
    for i in range(first + 1, last):
        if sign * y[i] < sign * y[best] or (y[i] == y[best] and sign * x[i] < sign * x[best]):
            best = i
    return best


@_inner
def _before(ax: float, ay: float, bx: float, by: float) -> int:
    """Order two directions by angle from 0 to a full turn: 1 first is before, -1 after, 0 the same."""
    half_a = 0 if ay > 0.0 or (ay == 0.0 and ax > 0.0) else 1
    half_b = 0 if by > 0.0 or (by == 0.0 and bx > 0.0) else 1
    cross = ax * by - ay * bx
    if (
        abs(cross) <= PARALLEL * np.sqrt((ax * ax + ay * ay) * (bx * bx + by * by))
        and ax * bx + ay * by > 0.0
    ):
        return 0
    if half_a != half_b:
        return 1 if half_a < half_b else -1
    return 1 if cross > 0.0 else -1


@_inner
def _difference(
    x: _Floats,
    y: _Floats,
    first: int,
    last: int,
    mx: _Floats,
    my: _Floats,
    m_first: int,
    m_last: int,
    out_x: _Floats,
    out_y: _Floats,
    at: int,
) -> int:
    """Write fixed plus (minus mover) from ``at`` on: the edges of both, merged by angle. Return where it ends."""
    p, q = last - first, m_last - m_first
    i0, j0 = _lowest(x, y, first, last, 1.0), _lowest(mx, my, m_first, m_last, -1.0)
    here_x, here_y = x[i0] - mx[j0], y[i0] - my[j0]
    i, j, n = 0, 0, at
    edges_p, edges_q = (p if p > 1 else 0), (q if q > 1 else 0)
    if edges_p + edges_q == 0:
        out_x[n], out_y[n] = here_x, here_y
        return n + 1
    while i < edges_p or j < edges_q:
        out_x[n], out_y[n] = here_x, here_y
        n += 1
        a, a2 = first + (i0 - first + i) % p, first + (i0 - first + i + 1) % p
        b, b2 = m_first + (j0 - m_first + j) % q, m_first + (j0 - m_first + j + 1) % q
        ex, ey = x[a2] - x[a], y[a2] - y[a]
        fx, fy = mx[b] - mx[b2], my[b] - my[b2]
        order = 0
        if i >= edges_p:
            order = -1
        elif j >= edges_q:
            order = 1
        else:
            order = _before(ex, ey, fx, fy)
        if order >= 0:
            here_x, here_y = here_x + ex, here_y + ey
            i += 1
        if order <= 0:
            here_x, here_y = here_x + fx, here_y + fy
            j += 1
    return _without_flat(out_x, out_y, at, n)


@_inner
def _without_flat(x: _Floats, y: _Floats, first: int, last: int) -> int:
    """Close up the corners ``[first, last)`` of a polygon so that none is left that turns nowhere."""
    if last - first < 3:
        return last
    n = first
    for i in range(first, last):
        before = n - 1 if n > first else last - 1
        after = i + 1 if i + 1 < last else first
        ex, ey = x[after] - x[before], y[after] - y[before]
        long = np.sqrt(ex * ex + ey * ey)
        bulge = (x[i] - x[before]) * ey - (y[i] - y[before]) * ex
        turns = bulge > FLAT_M * long if long > 0.0 else True
        # Of the last three corners none is given up: a sliver stays a sliver.
        if turns or (n - first) + (last - i) <= 3:
            x[n], y[n] = x[i], y[i]
            n += 1
    return n


@_kernel
def differences(
    first: _Ints, x: _Floats, y: _Floats, m_first: _Ints, mx: _Floats, my: _Floats
) -> tuple[_Ints, _Floats, _Floats]:
    """Return the Minkowski differences of every fixed polygon with every mover.

    Fixed polygons come in their order, each with the movers in theirs. A polygon of two corners is a segment,
    one of one corner a point.
    """
    fixed, movers = len(first) - 1, len(m_first) - 1
    out_first = np.zeros(fixed * movers + 1, np.int64)
    most = len(x) * movers + len(mx) * fixed
    out_x, out_y = np.empty(most, np.float64), np.empty(most, np.float64)
    n, k = 0, 0
    for i in range(fixed):
        for j in range(movers):
            n = _difference(x, y, first[i], first[i + 1], mx, my, m_first[j], m_first[j + 1], out_x, out_y, n)
            k += 1
            out_first[k] = n
    return out_first, out_x[:n].copy(), out_y[:n].copy()
