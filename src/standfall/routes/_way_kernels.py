"""Ways with rounded corners, and the waypoints on them, compiled."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, TypeVar, cast

import numpy as np
from numba import njit
from numpy.typing import NDArray

from standfall.geometry._motion_kernels import profile_knots

_F = TypeVar("_F", bound=Callable[..., Any])
_kernel = cast(Callable[[_F], _F], njit(cache=True, error_model="numpy"))

Rows = NDArray[Any]

# Corners nearer to each other than this are one; a bend below the angle is rounding.
_SAME_M = 1e-9
_STRAIGHT_RAD = 1e-6
# A corner that would need a tighter arc than this, or turns back sharper, is stopped at.
TIGHTEST_M = 1e-3
SHARPEST_RAD = math.radians(170.0)
# Waypoints closer in time than this are one.
_AT_ONCE_S = 1e-9


@_kernel
def _distinct(points: Rows) -> Rows:
    """Return the corners of a way without repeats."""
    kept = np.empty_like(points)
    kept[0] = points[0]
    count = 1
    for i in range(1, len(points)):
        if math.hypot(points[i, 0] - kept[count - 1, 0], points[i, 1] - kept[count - 1, 1]) > _SAME_M:
            kept[count] = points[i]
            count += 1
    # The goal itself is kept exactly.
    if count > 1:
        kept[count - 1] = points[len(points) - 1]
    return kept[:count]


@_kernel
def corner_radius(turn: float, before: float, after: float, cut: float) -> float:
    """Return the radius of the arc in a corner: at most ``cut`` from it, at most half of both straights."""
    half = 0.5 * abs(turn)
    # The middle of the arc is r (1 / cos(turn / 2) - 1) from the corner, its ends r tan(turn / 2).
    tall = 1.0 / math.cos(half) - 1.0
    room = 0.5 * min(before, after) / math.tan(half)
    return min(cut / tall, room) if tall > 0.0 else room


@_kernel
def chord_count(turn: float, lever: float, sagitta: float) -> int:
    """Return into how many chords an arc is cut so that none is farther than ``sagitta`` from its arc."""
    widest = 2.0 * math.acos(max(1.0 - sagitta / lever, 0.8))
    return max(1, math.ceil(abs(turn) / widest - 1e-9))


@_kernel
def round_corners(points: Rows, corner: float, sagitta: float, offset: float) -> Any:
    """Return x, y, heading at q points of the rounded way, length and radius of each part, and stops (q,).

    A part is a straight (radius infinite) or a chord of an arc; its length is measured along the arc. ``offset`` is
    how far the farthest point that has to keep to ``sagitta`` lies off the way.
    """
    way = _distinct(points)
    n = len(way)
    turn, radius, heading = np.zeros(n), np.zeros(n), np.zeros(max(n - 1, 1))
    total = n
    span = np.zeros(max(n - 1, 1))
    for i in range(n - 1):
        dx, dy = way[i + 1, 0] - way[i, 0], way[i + 1, 1] - way[i, 1]
        span[i] = math.hypot(dx, dy)
        raw = math.atan2(dy, dx)
        if i == 0:
            heading[0] = raw
            continue
        bend = raw - heading[i - 1]
        turn[i] = bend - 2.0 * math.pi * math.floor(bend / (2.0 * math.pi) + 0.5)
        heading[i] = heading[i - 1] + turn[i]
        if _STRAIGHT_RAD < abs(turn[i]) < SHARPEST_RAD:
            radius[i] = corner_radius(turn[i], span[i - 1], span[i], corner - sagitta)
            if radius[i] >= TIGHTEST_M:
                total += chord_count(turn[i], radius[i] + offset, sagitta)
    return _laid_out(way, turn, radius, heading, total, sagitta, offset)


@_kernel
def _laid_out(
    way: Rows, turn: Rows, radius: Rows, heading: Rows, total: int, sagitta: float, offset: float
) -> Any:
    n = len(way)
    x, y, yaw = np.empty(total), np.empty(total), np.empty(total)
    length, bow = np.empty(total - 1), np.empty(total - 1)
    stop = np.zeros(total, dtype=np.bool_)
    x[0], y[0], yaw[0] = way[0, 0], way[0, 1], heading[0]
    q = 1
    for i in range(1, n):
        h = heading[i - 1]
        arc = i < n - 1 and abs(turn[i]) > _STRAIGHT_RAD and radius[i] >= TIGHTEST_M
        back = radius[i] * math.tan(0.5 * abs(turn[i])) if arc else 0.0
        x[q], y[q] = way[i, 0] - back * math.cos(h), way[i, 1] - back * math.sin(h)
        gone = math.hypot(x[q] - x[q - 1], y[q] - y[q - 1])
        # Two arcs may meet in the middle of a straight.
        if gone > _SAME_M:
            yaw[q], bow[q - 1], length[q - 1] = h, np.inf, gone
            q += 1
        if not arc:
            stop[q - 1] = i < n - 1 and abs(turn[i]) > _STRAIGHT_RAD
            continue
        side = 1.0 if turn[i] > 0.0 else -1.0
        chords = chord_count(turn[i], radius[i] + offset, sagitta)
        cx, cy = x[q - 1] - side * radius[i] * math.sin(h), y[q - 1] + side * radius[i] * math.cos(h)
        for k in range(1, chords + 1):
            at = h + turn[i] * k / chords
            x[q], y[q] = cx + side * radius[i] * math.sin(at), cy - side * radius[i] * math.cos(at)
            yaw[q], bow[q - 1], length[q - 1] = at, radius[i], radius[i] * abs(turn[i]) / chords
            q += 1
    return x[:q], y[:q], yaw[:q], length[: q - 1], bow[: q - 1], stop[:q]


@_kernel
def refine(x: Rows, y: Rows, length: Rows, apart: float) -> tuple[Rows, Rows, Rows]:
    """Return the points of a way and more between them, at most ``apart``, and the part each one ends."""
    total = 1
    for i in range(len(length)):
        total += max(1, math.ceil(length[i] / apart))
    fx, fy, part = np.empty(total), np.empty(total), np.zeros(total, dtype=np.int64)
    fx[0], fy[0] = x[0], y[0]
    q = 1
    for i in range(len(length)):
        pieces = max(1, math.ceil(length[i] / apart))
        for k in range(1, pieces + 1):
            share = k / pieces
            fx[q], fy[q] = x[i] + share * (x[i + 1] - x[i]), y[i] + share * (y[i + 1] - y[i])
            part[q] = i
            q += 1
    return fx, fy, part


@_kernel
def _sections(length: Rows, limit: Rows, slack: Rows, slow: Rows, part: Rows, slow_limit: float) -> Any:
    """Return length, limit and slack of the sections of even limit: parts, cut where slow begins or ends."""
    pieces = np.zeros(len(length), dtype=np.int64)
    for q in range(1, len(part)):
        pieces[part[q]] += 1
    size = max(len(part) - 1, 1)
    long, most, loose = np.zeros(size), np.zeros(size), np.zeros(size)
    count = 0
    for q in range(1, len(part)):
        i = part[q]
        top = min(limit[i], slow_limit) if slow[q] or slow[q - 1] else limit[i]
        if count == 0 or most[count - 1] != top or loose[count - 1] != slack[i]:
            most[count], loose[count] = top, slack[i]
            count += 1
        long[count - 1] += length[i] / pieces[i]
    return long[:count], most[:count], loose[:count]


@_kernel
def _moments(place: Rows, speed: Rows, time: Rows, section: Rows, loose: Rows, mark: Rows) -> Any:
    """Return distances and times of all waypoints: knots, moments on ramps, and when each mark is passed."""
    total = len(place) + len(mark)
    for k in range(1, len(place)):
        lasts = time[k] - time[k - 1]
        rate = abs(speed[k] - speed[k - 1]) / lasts
        total += int(lasts * math.sqrt(rate / (8.0 * loose[section[k]]))) + 1
    out_s, out_t = np.empty(total), np.empty(total)
    out_s[0], out_t[0] = 0.0, 0.0
    q, m = 1, 0
    while m < len(mark) and mark[m] <= _SAME_M:
        m += 1
    for k in range(1, len(place)):
        lasts = time[k] - time[k - 1]
        rate = (speed[k] - speed[k - 1]) / lasts
        # Between two moments tau apart a straight line is off by rate tau^2 / 8.
        pieces = max(1, math.ceil(lasts * math.sqrt(abs(rate) / (8.0 * loose[section[k]])) - 1e-9))
        for piece in range(1, pieces + 1):
            tau = lasts * piece / pieces
            s = place[k] if piece == pieces else place[k - 1] + (speed[k - 1] + 0.5 * rate * tau) * tau
            t = time[k - 1] + tau
            while m < len(mark) and mark[m] < s - _SAME_M:
                gone = mark[m] - place[k - 1]
                at = math.sqrt(max(speed[k - 1] * speed[k - 1] + 2.0 * rate * gone, 0.0))
                passed = time[k - 1] + 2.0 * gone / (speed[k - 1] + at)
                if passed > out_t[q - 1] + _AT_ONCE_S and passed < t - _AT_ONCE_S:
                    out_s[q], out_t[q] = mark[m], passed
                    q += 1
                m += 1
            while m < len(mark) and mark[m] <= s + _SAME_M:
                m += 1
            out_s[q], out_t[q] = s, t
            q += 1
    return out_s[:q], out_t[:q]


@_kernel
def way_points(
    x: Rows,
    y: Rows,
    heading: Rows,
    length: Rows,
    limit: Rows,
    slack: Rows,
    slow: Rows,
    part: Rows,
    slow_limit: float,
    acceleration: float,
) -> tuple[Rows, Rows, Rows, Rows]:
    """Return time, x, y and heading of the waypoints of a way from rest to rest.

    ``limit`` and ``slack`` (how far off in distance a straight line between moments may be) are those of the parts;
    ``slow`` and ``part`` those of the points of ``refine``.
    """
    long, most, loose = _sections(length, limit, slack, slow, part, slow_limit)
    place, speed, time, section = profile_knots(long, most, acceleration, acceleration)
    mark = np.zeros(len(x))
    for i in range(len(length)):
        mark[i + 1] = mark[i] + length[i]
    s, t = _moments(place, speed, time, section, loose, mark)
    px, py, yaw = np.empty(len(s)), np.empty(len(s)), np.empty(len(s))
    i = 0
    for k in range(len(s)):
        while i < len(length) - 1 and s[k] > mark[i + 1]:
            i += 1
        share = min(max((s[k] - mark[i]) / length[i], 0.0), 1.0)
        px[k], py[k] = x[i] + share * (x[i + 1] - x[i]), y[i] + share * (y[i + 1] - y[i])
        yaw[k] = heading[i] + share * (heading[i + 1] - heading[i])
    last = len(s) - 1
    px[last], py[last], yaw[last] = x[len(x) - 1], y[len(y) - 1], heading[len(x) - 1]
    return t, px, py, yaw


@_kernel
def straight_points(length: float, speed: float, acceleration: float, slack: float) -> tuple[Rows, Rows]:
    """Return time and distance of the waypoints of a straight from rest to rest."""
    long, most, loose = np.array([length]), np.array([speed]), np.array([slack])
    place, rate, time, section = profile_knots(long, most, acceleration, acceleration)
    s, t = _moments(place, rate, time, section, loose, np.zeros(1))
    return t, s


@_kernel
def limits(radius: Rows, speed: float, acceleration: float, turn: float) -> Rows:
    """Return the greatest speed on parts of a way: of all, of acceleration on arcs, and of the rate of turn."""
    limit = np.empty(len(radius))
    for i in range(len(radius)):
        limit[i] = min(speed, math.sqrt(acceleration * radius[i]))
        # No limit on the rate of turn times no bend is no limit.
        if turn < np.inf:
            limit[i] = min(limit[i], turn * radius[i])
    return limit


@_kernel
def origins(tx: Rows, ty: Rows, yaw: Rows, cx: float, cy: float) -> tuple[Rows, Rows]:
    """Return the origin of a robot frame for places of the turn centre (cx, cy) and yaws."""
    x, y = np.empty(len(yaw)), np.empty(len(yaw))
    for i in range(len(yaw)):
        c, s = math.cos(yaw[i]), math.sin(yaw[i])
        x[i], y[i] = tx[i] - c * cx + s * cy, ty[i] - s * cx - c * cy
    return x, y


@_kernel
def turn_points(
    yaw: float, angle: float, speed: float, acceleration: float, slack: float, widest: float
) -> tuple[Rows, Rows]:
    """Return time and yaw of the waypoints of a turn on the spot, none more than ``widest`` from the next.

    ``slack`` is how far off in angle a straight line between moments may be.
    """
    long, most, loose = np.array([abs(angle)]), np.array([speed]), np.array([slack])
    place, rate, time, section = profile_knots(long, most, acceleration, acceleration)
    pieces = max(1, math.ceil(long[0] / widest - 1e-9))
    mark = np.empty(pieces + 1)
    for k in range(pieces + 1):
        mark[k] = long[0] * k / pieces
    s, t = _moments(place, rate, time, section, loose, mark)
    for k in range(len(s)):
        s[k] = yaw + s[k] if angle > 0.0 else yaw - s[k]
    return t, s
