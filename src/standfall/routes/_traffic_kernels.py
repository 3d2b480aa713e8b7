"""Reservations of floor in space and time, compiled."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, TypeVar, cast

import numpy as np
from numba import njit
from numpy.typing import NDArray

_F = TypeVar("_F", bound=Callable[..., Any])
_kernel = cast(Callable[[_F], _F], njit(cache=True, error_model="numpy"))

Rows = NDArray[Any]

# A way that goes less deep than this into an obstacle only touches it.
_TOUCH_M = 1e-9


@_kernel
def sample_way(t: Rows, x: Rows, y: Rows, tick: float) -> tuple[Rows, Rows, Rows]:
    """Return the place at every tick, and how far off a straight motion from each to the next the way is at most.

    Between waypoints motion is straight, so it is farthest off at a waypoint. Behind the end it stays.
    """
    n = len(t)
    count = math.ceil(t[n - 1] / tick - 1e-9) + 1
    sx, sy, bend = np.empty(count), np.empty(count), np.zeros(count)
    i = 0
    for k in range(count):
        at = tick * k
        while i < n - 2 and t[i + 1] < at:
            i += 1
        j = min(i + 1, n - 1)
        gap = t[j] - t[i]
        share = min(max((at - t[i]) / gap, 0.0), 1.0) if gap > 0.0 else 1.0
        sx[k], sy[k] = x[i] + share * (x[j] - x[i]), y[i] + share * (y[j] - y[i])
    for i in range(n):
        k = min(int(t[i] / tick), count - 2)
        if k >= 0:
            share = t[i] / tick - k
            dx = x[i] - sx[k] - share * (sx[k + 1] - sx[k])
            dy = y[i] - sy[k] - share * (sy[k + 1] - sy[k])
            bend[k] = max(bend[k], math.hypot(dx, dy))
    return sx, sy, bend


@_kernel
def _nearest(ax: float, ay: float, bx: float, by: float) -> float:
    """Return the square of the distance of zero from the straight from a to b."""
    ex, ey = bx - ax, by - ay
    square = ex * ex + ey * ey
    share = min(max(-(ax * ex + ay * ey) / square, 0.0), 1.0) if square > 0.0 else 0.0
    px, py = ax + share * ex, ay + share * ey
    return px * px + py * py


@_kernel
def first_free(
    start: int, ax: Rows, ay: Rows, abend: Rows, other: int, bx: Rows, by: Rows, bbend: Rows, apart: float
) -> int:
    """Return the first tick from ``start`` on at which a may leave so that it never comes near b.

    b left at tick ``other``; their middles stay ``apart``, at all moments between ticks too.
    """
    while start < other + len(bx) - 1:
        clash = False
        for tick in range(max(start, other), min(start + len(ax), other + len(bx)) - 1):
            i, j = tick - start, tick - other
            need = apart + abend[i] + bbend[j]
            away = _nearest(ax[i] - bx[j], ay[i] - by[j], ax[i + 1] - bx[j + 1], ay[i + 1] - by[j + 1])
            if away < need * need:
                clash = True
                break
        if not clash:
            break
        start += 1
    return start


@_kernel
def crosses(ax: float, ay: float, bx: float, by: float, px: Rows, py: Rows) -> bool:
    """Tell whether a straight from a to b enters the open inside of a convex polygon, corners to the left."""
    enter, leave = 0.0, 1.0
    n = len(px)
    for i in range(n):
        j = i + 1 if i + 1 < n else 0
        ex, ey = px[j] - px[i], py[j] - py[i]
        long = math.hypot(ex, ey)
        if long <= _TOUCH_M:
            continue
        # How far a and b are inside of this side.
        da = (ex * (ay - py[i]) - ey * (ax - px[i])) / long - _TOUCH_M
        db = (ex * (by - py[i]) - ey * (bx - px[i])) / long - _TOUCH_M
        if da <= 0.0 and db <= 0.0:
            return False
        if da <= 0.0:
            enter = max(enter, da / (da - db))
        elif db <= 0.0:
            leave = min(leave, da / (da - db))
    return enter < leave


@_kernel
def last_inside(t: Rows, x: Rows, y: Rows, use: Rows, since: float, first: Rows, px: Rows, py: Rows) -> float:
    """Return the end of the last motion after ``since`` that enters one of some convex polygons, else -inf.

    ``use`` says for each waypoint whether the motion from it counts.
    """
    if len(px) == 0:
        return -np.inf
    west, east, south, north = px.min(), px.max(), py.min(), py.max()
    for i in range(len(t) - 2, -1, -1):
        if t[i + 1] <= since:
            break
        if not use[i]:
            continue
        if max(x[i], x[i + 1]) <= west or min(x[i], x[i + 1]) >= east:
            continue
        if max(y[i], y[i + 1]) <= south or min(y[i], y[i + 1]) >= north:
            continue
        for k in range(len(first) - 1):
            a, b = first[k], first[k + 1]
            if crosses(x[i], y[i], x[i + 1], y[i + 1], px[a:b], py[a:b]):
                return float(t[i + 1])
    return -np.inf


@_kernel
def distance_to(x: float, y: float, px: Rows, py: Rows) -> float:
    """Return the distance of a point from a convex polygon, corners to the left; 0 inside."""
    inside = True
    least = np.inf
    n = len(px)
    for i in range(n):
        j = i + 1 if i + 1 < n else 0
        ex, ey = px[j] - px[i], py[j] - py[i]
        dx, dy = x - px[i], y - py[i]
        if ex * dy - ey * dx < 0.0:
            inside = False
        square = ex * ex + ey * ey
        share = min(max((dx * ex + dy * ey) / square, 0.0), 1.0) if square > 0.0 else 0.0
        least = min(least, math.hypot(dx - share * ex, dy - share * ey))
    return 0.0 if inside else least


@_kernel
def _gap_along_sides(ax: Rows, ay: Rows, bx: Rows, by: Rows) -> float:
    """Return the widest gap between two convex polygons seen along the sides of the first."""
    widest = -np.inf
    n = len(ax)
    for i in range(n):
        j = i + 1 if i + 1 < n else 0
        ex, ey = ax[j] - ax[i], ay[j] - ay[i]
        long = math.hypot(ex, ey)
        if long == 0.0:
            continue
        nearest = np.inf
        for k in range(len(bx)):
            nearest = min(nearest, (ey * (bx[k] - ax[i]) - ex * (by[k] - ay[i])) / long)
        widest = max(widest, nearest)
    return widest


@_kernel
def gap(ax: Rows, ay: Rows, bx: Rows, by: Rows) -> float:
    """Return a distance that two convex polygons, corners to the left, have at least; below 0 if they overlap.

    It is the widest strip along a side that separates them, so a little less than the distance where two corners
    are nearest.
    """
    return max(_gap_along_sides(ax, ay, bx, by), _gap_along_sides(bx, by, ax, ay))


@_kernel
def meets_body(
    t: Rows,
    x: Rows,
    y: Rows,
    yaw: Rows,
    cx: float,
    cy: float,
    radius: float,
    own_first: Rows,
    own_x: Rows,
    own_y: Rows,
    first: Rows,
    px: Rows,
    py: Rows,
    apart: float,
    step: float,
) -> float:
    """Return when a moving robot first comes nearer than ``apart`` to a body that stands still, else -1.

    Args:
        t, x, y, yaw: waypoints.
        cx, cy, radius: turn centre in its frame, and its turning circle.
        own_first, own_x, own_y: its convex parts in its frame.
        first, px, py: convex parts of the body.
        step: time between two looks. The turning circle is looked at first, the parts only where that comes near.
    """
    wx, wy, tx, ty = np.empty_like(own_x), np.empty_like(own_y), np.empty(len(t)), np.empty(len(t))
    for i in range(len(t)):
        c, s = math.cos(yaw[i]), math.sin(yaw[i])
        tx[i], ty[i] = x[i] + c * cx - s * cy, y[i] + s * cx + c * cy
    for i in range(len(t) - 1):
        away = np.inf
        for k in range(len(first) - 1):
            away = min(
                away, distance_to(tx[i], ty[i], px[first[k] : first[k + 1]], py[first[k] : first[k + 1]])
            )
        if away - math.hypot(tx[i + 1] - tx[i], ty[i + 1] - ty[i]) >= radius + apart:
            continue
        looks = max(1, math.ceil((t[i + 1] - t[i]) / step))
        # The turn centre goes no farther than this from one look to the next.
        hop = math.hypot(x[i + 1] - x[i], y[i + 1] - y[i]) + abs(yaw[i + 1] - yaw[i]) * math.hypot(cx, cy)
        hop /= looks
        look = 0
        while look <= looks:
            share = look / looks
            at_x, at_y = x[i] + share * (x[i + 1] - x[i]), y[i] + share * (y[i + 1] - y[i])
            at_yaw = yaw[i] + share * (yaw[i + 1] - yaw[i])
            c, s = math.cos(at_yaw), math.sin(at_yaw)
            spare = np.inf
            for k in range(len(first) - 1):
                u, w = first[k], first[k + 1]
                at_cx, at_cy = at_x + c * cx - s * cy, at_y + s * cx + c * cy
                spare = min(spare, distance_to(at_cx, at_cy, px[u:w], py[u:w]) - radius - apart)
            if spare > 0.0:
                # As many looks on the turning circle cannot come near.
                look += int(min(spare / hop, looks)) + 1 if hop > 0.0 else looks + 1
                continue
            look += 1
            for v in range(len(own_x)):
                wx[v], wy[v] = at_x + c * own_x[v] - s * own_y[v], at_y + s * own_x[v] + c * own_y[v]
            for m in range(len(own_first) - 1):
                a, b = own_first[m], own_first[m + 1]
                for k in range(len(first) - 1):
                    u, w = first[k], first[k + 1]
                    if gap(wx[a:b], wy[a:b], px[u:w], py[u:w]) < apart:
                        return float(t[i] + share * (t[i + 1] - t[i]))
    return -1.0
