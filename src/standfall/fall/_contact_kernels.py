"""Compiled search for what a falling piece reaches: cells on the floor, clipping, hiding.

The words: a striker's own frame has its leading bottom edge at forward 0, forward positive the way it falls,
sideways positive to the left. Its band is as wide as itself. The slow twins are in
tests/fall/test_contact_kernels.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, Final, NamedTuple, TypeVar, cast

import numpy as np
from numba import njit
from numpy.typing import NDArray

#: A bite of this or less is a touch at the edge, not a strike.
TOUCH_M: Final = 1e-9
#: Two pieces whose gaps differ by less are equally near: neither hides the other.
EQUAL_M: Final = 1e-6
#: Pieces whose feet differ by less stand on one storey.
STOREY_M: Final = 1e-3
#: An edge of which less is seen is no edge; the small number keeps a share of exactly this one.
LEAST_SHARE: Final = 0.02 - 1e-9
#: A turn within this of a right angle counts as falling forward.
RIGHT_ANGLE: Final = 1e-9

_F = TypeVar("_F", bound=Callable[..., Any])
_kernel = cast(Callable[[_F], _F], njit(cache=True))

_Floats = NDArray[np.float64]
_Int32 = NDArray[np.int32]
_Int64 = NDArray[np.int64]
_Bool = NDArray[np.bool_]


class Floor(NamedTuple):
    """n pieces, and the square cells of the floor that their middles lie in.

    x, y, z, cosine, sine (of the yaw), half_t, half_w (half thickness and width): (n,).
    start (columns * rows + 1,): the pieces of cell k are item[start[k]:start[k + 1]], in rising order.
    left, bottom, cell, columns, rows: where the cells lie. spread: the largest half diagonal of any piece.
    """

    x: _Floats
    y: _Floats
    z: _Floats
    cosine: _Floats
    sine: _Floats
    half_t: _Floats
    half_w: _Floats
    start: _Int64
    item: _Int32
    left: float
    bottom: float
    cell: float
    columns: int
    rows: int
    spread: float


class Bench(NamedTuple):
    """Room for the edges found, all of one length. low and high bound what a piece fills of the band.

    cover_low, cover_high hold the parts of the band that nearer pieces hide, apart from each other and rising.
    """

    target: _Int32
    gap: _Floats
    low: _Floats
    high: _Floats
    share: _Floats
    offset: _Floats
    turn: _Floats
    pitch: _Floats
    cover_low: _Floats
    cover_high: _Floats


@_kernel
def sort_into_cells(
    x: _Floats, y: _Floats, left: float, bottom: float, cell: float, columns: int, rows: int
) -> tuple[_Int64, _Int32]:
    """Return ``start`` and ``item`` of a ``Floor`` (counting sort)."""
    n = len(x)
    place = np.empty(n, np.int32)
    start = np.zeros(columns * rows + 1, np.int64)
    for i in range(n):
        column = min(max(int((x[i] - left) / cell), 0), columns - 1)
        row = min(max(int((y[i] - bottom) / cell), 0), rows - 1)
        place[i] = row * columns + column
        start[place[i] + 1] += 1
    for k in range(columns * rows):
        start[k + 1] += start[k]
    free = start[:-1].copy()
    item = np.empty(n, np.int32)
    for i in range(n):
        item[free[place[i]]] = i
        free[place[i]] += 1
    return start, item


@_kernel
def _clip(
    u: float, v: float, p: float, q: float, a: float, b: float, near: float, far: float, half: float
) -> tuple[float, float, float, float]:
    """Bound what a rectangle and the box near..far by -half..half have in common.

    The rectangle's middle is (u, v), its half sizes are a along (p, q) and b across. Returns the least and
    largest u and v; the least is above the largest where they have nothing in common. Every corner of the common
    part is a corner of the box inside the rectangle, or an end of a side of the rectangle clipped to the box.
    """
    u_low, u_high, v_low, v_high = math.inf, -math.inf, math.inf, -math.inf
    for corner in range(4):
        cu = near if corner < 2 else far
        cv = -half if corner % 2 == 0 else half
        if abs((cu - u) * p + (cv - v) * q) <= a and abs((cv - v) * p - (cu - u) * q) <= b:
            u_low, u_high = min(u_low, cu), max(u_high, cu)
            v_low, v_high = min(v_low, cv), max(v_high, cv)
    for side in range(4):
        # From one corner, step once along the side: two sides run along (p, q), two across.
        sign = 1.0 if side < 2 else -1.0
        su, sv = u - sign * (a * p - b * q), v - sign * (a * q + b * p)
        if side % 2 == 0:
            du, dv = sign * 2 * a * p, sign * 2 * a * q
        else:
            du, dv = -sign * 2 * b * q, sign * 2 * b * p
        first, last = 0.0, 1.0
        if du != 0.0:
            t, w = (near - su) / du, (far - su) / du
            first, last = max(first, min(t, w)), min(last, max(t, w))
        elif su < near or su > far:
            continue
        if dv != 0.0:
            t, w = (-half - sv) / dv, (half - sv) / dv
            first, last = max(first, min(t, w)), min(last, max(t, w))
        elif sv < -half or sv > half:
            continue
        if first <= last:
            # A hair outside the box is rounding.
            one, two = su + first * du, su + last * du
            u_low, u_high = min(u_low, max(min(one, two), near)), max(u_high, min(max(one, two), far))
            one, two = sv + first * dv, sv + last * dv
            v_low, v_high = min(v_low, max(min(one, two), -half)), max(v_high, min(max(one, two), half))
    return u_low, u_high, v_low, v_high


@_kernel
def _gather(floor: Floor, me: int, cosine: float, sine: float, reach: float, bench: Bench, at: int) -> int:
    """Write the nodes that meet the ground piece ``me`` sweeps to ``bench``; return the end, -1 when it is full."""
    x, y, z, lead, half = floor.x[me], floor.y[me], floor.z[me], floor.half_t[me], floor.half_w[me]
    middle = lead + 0.5 * reach
    middle_x, middle_y = x + middle * cosine, y + middle * sine
    wide = 0.5 * reach * abs(cosine) + half * abs(sine) + floor.spread
    tall = 0.5 * reach * abs(sine) + half * abs(cosine) + floor.spread
    first_column = max(int((middle_x - wide - floor.left) / floor.cell), 0)
    last_column = min(int((middle_x + wide - floor.left) / floor.cell), floor.columns - 1)
    first_row = max(int((middle_y - tall - floor.bottom) / floor.cell), 0)
    last_row = min(int((middle_y + tall - floor.bottom) / floor.cell), floor.rows - 1)
    end = at
    for row in range(first_row, last_row + 1):
        # The cells of a row lie one behind the other, and so do their pieces.
        begin = floor.start[row * floor.columns + first_column]
        stop = floor.start[row * floor.columns + last_column + 1]
        for k in range(begin, stop):
            j = floor.item[k]
            dx, dy = floor.x[j] - x, floor.y[j] - y
            v = dy * cosine - dx * sine
            a, b = floor.half_t[j], floor.half_w[j]
            if abs(v) >= half + a + b:
                continue
            u = dx * cosine + dy * sine - lead
            if u <= -a - b or u >= reach + a + b or j == me or abs(floor.z[j] - z) >= STOREY_M:
                continue
            p = floor.cosine[j] * cosine + floor.sine[j] * sine
            q = floor.sine[j] * cosine - floor.cosine[j] * sine
            # How far the piece reaches each way in the striker's frame: most end here.
            ahead, aside = a * abs(p) + b * abs(q), a * abs(q) + b * abs(p)
            if abs(v) >= half + aside or u <= -ahead or u >= reach + ahead:
                continue
            u_low, u_high, v_low, v_high = _clip(u, v, p, q, a, b, -2 * lead, reach, half)
            if u_high <= TOUCH_M or u_low >= reach - TOUCH_M or v_high - v_low <= TOUCH_M:
                continue
            if end == len(bench.target):
                return -1
            # Away from the striker: forward where the cosine of the angle between the two is not below 0.
            bench.target[end] = j if p >= -RIGHT_ANGLE else j + len(floor.x)
            bench.gap[end] = u_low
            bench.low[end], bench.high[end] = v_low, v_high
            end += 1
    return end


@_kernel
def _sort(bench: Bench, at: int, end: int) -> None:
    """Sort by gap, then by target (insertion: there are few)."""
    for k in range(at + 1, end):
        target, gap, low, high = bench.target[k], bench.gap[k], bench.low[k], bench.high[k]
        j = k - 1
        while j >= at and (bench.gap[j] > gap or (bench.gap[j] == gap and bench.target[j] > target)):
            bench.target[j + 1], bench.gap[j + 1] = bench.target[j], bench.gap[j]
            bench.low[j + 1], bench.high[j + 1] = bench.low[j], bench.high[j]
            j -= 1
        bench.target[j + 1], bench.gap[j + 1], bench.low[j + 1], bench.high[j + 1] = target, gap, low, high


@_kernel
def _hide(bench: Bench, parts: int, low: float, high: float) -> int:
    """Add low..high to the hidden parts of the band, joining those it meets; return how many there are."""
    cover_low, cover_high = bench.cover_low, bench.cover_high
    first = 0
    while first < parts and cover_high[first] < low:
        first += 1
    last = first
    while last < parts and cover_low[last] <= high:
        low, high = min(low, cover_low[last]), max(high, cover_high[last])
        last += 1
    if last == first:
        for k in range(parts, first, -1):
            cover_low[k], cover_high[k] = cover_low[k - 1], cover_high[k - 1]
    else:
        for k in range(last, parts):
            cover_low[k - last + first + 1], cover_high[k - last + first + 1] = cover_low[k], cover_high[k]
    cover_low[first], cover_high[first] = low, high
    return parts + 1 - (last - first)


@_kernel
def look_ahead(floor: Floor, me: int, cosine: float, sine: float, reach: float, bench: Bench, at: int) -> int:
    """Find what piece ``me`` meets when it falls along (cosine, sine).

    Writes node, gap and share of what is seen to ``bench`` from ``at`` on, nearest first.
    Returns the end, or -1 when the bench is full.
    """
    end = _gather(floor, me, cosine, sine, reach, bench, at)
    if end <= at:
        return end
    _sort(bench, at, end)
    parts, hidden = 0, at
    for k in range(at, end):
        while bench.gap[hidden] < bench.gap[k] - EQUAL_M:
            parts = _hide(bench, parts, bench.low[hidden], bench.high[hidden])
            hidden += 1
        seen = bench.high[k] - bench.low[k]
        for part in range(parts):
            common = min(bench.high[k], bench.cover_high[part]) - max(bench.low[k], bench.cover_low[part])
            seen -= max(common, 0.0)
        narrower = 2 * min(floor.half_w[me], floor.half_w[bench.target[k] % len(floor.x)])
        bench.share[k] = min(seen / narrower, 1.0)
    kept = at
    for k in range(at, end):
        if bench.share[k] >= LEAST_SHARE:
            bench.target[kept], bench.gap[kept], bench.share[kept] = (
                bench.target[k],
                bench.gap[k],
                bench.share[k],
            )
            kept += 1
    return kept


@_kernel
def follow(
    floor: Floor,
    yaw: _Floats,
    reach: _Floats,
    queue: _Int32,
    position: int,
    tail: int,
    queued: _Bool,
    count: _Int32,
    bench: Bench,
) -> tuple[int, int, int]:
    """Work down a queue of nodes until it or the bench ends; nodes struck for the first time join the queue.

    reach (n,): how far each piece reaches ahead. queue: nodes, of which ``tail`` are there and ``position`` done.
    queued (2n,): nodes that are in the queue or shall not join it. count (2n,): edges of each node, is written.
    Returns the new position and tail, and how many edges the bench holds.
    """
    n = len(yaw)
    at = 0
    while position < tail:
        node = queue[position]
        backward = node >= n
        me = node - n if backward else node
        sign = -1.0 if backward else 1.0
        cosine, sine = sign * floor.cosine[me], sign * floor.sine[me]
        end = look_ahead(floor, me, cosine, sine, reach[me], bench, at)
        if end < 0:
            break
        for k in range(at, end):
            target = bench.target[k]
            j = target - n if target >= n else target
            dx, dy = floor.x[j] - floor.x[me], floor.y[j] - floor.y[me]
            bench.offset[k] = dy * cosine - dx * sine
            bench.pitch[k] = math.sqrt(dx * dx + dy * dy)
            turn = yaw[j] - yaw[me]
            if backward != (target >= n):
                turn += math.pi
            turn -= 2 * math.pi * round(turn / (2 * math.pi))
            bench.turn[k] = min(max(turn, -0.5 * math.pi), 0.5 * math.pi)
            if not queued[target]:
                queued[target] = True
                queue[tail] = target
                tail += 1
        count[node] = end - at
        at = end
        position += 1
    return position, tail, at


@_kernel
def support_below(floor: Floor, height: _Floats) -> _Int32:
    """Return the piece that each piece stands on, -1 for none: top at its foot, nearest middle, lowest number."""
    n = len(floor.x)
    below = np.full(n, -1, np.int32)
    for i in range(n):
        x, y, z = floor.x[i], floor.y[i], floor.z[i]
        first_column = max(int((x - floor.spread - floor.left) / floor.cell), 0)
        last_column = min(int((x + floor.spread - floor.left) / floor.cell), floor.columns - 1)
        first_row = max(int((y - floor.spread - floor.bottom) / floor.cell), 0)
        last_row = min(int((y + floor.spread - floor.bottom) / floor.cell), floor.rows - 1)
        nearest = math.inf
        for row in range(first_row, last_row + 1):
            begin = floor.start[row * floor.columns + first_column]
            stop = floor.start[row * floor.columns + last_column + 1]
            for k in range(begin, stop):
                j = floor.item[k]
                if j == i or abs(floor.z[j] + height[j] - z) >= STOREY_M:
                    continue
                apart = math.hypot(floor.x[j] - x, floor.y[j] - y)
                if apart > math.hypot(floor.half_t[j], floor.half_w[j]):
                    continue
                if apart < nearest or (apart == nearest and j < below[i]):
                    nearest, below[i] = apart, j
    return below


@_kernel
def turn_and_look(
    floor: Floor,
    first: _Int64,
    target: _Int32,
    striker: _Int32,
    struck: _Int32,
    turn: _Floats,
    reach: _Floats,
    step: float,
    position: int,
    bench: Bench,
    found: NDArray[np.int64],
) -> tuple[int, int]:
    """Turn struck pieces and note whom they then meet and would not have met.

    striker, struck, turn (k,): domino that strikes, node that is struck, how far it may turn, counter-clockwise.
    It is looked from every turn of ``step`` or less between 0 and ``turn``. found (room, 2) is written: place in
    ``struck``, domino met. Returns how many of the k are done and how many rows are written.
    """
    n = len(floor.x)
    rows = 0
    while position < len(struck):
        node = struck[position]
        me = node % n
        sign = 1.0 if node < n else -1.0
        begin = rows
        looks = math.ceil(abs(turn[position]) / step)
        for look in range(1, looks + 1):
            angle = turn[position] * look / looks
            p, q = math.cos(angle), math.sin(angle)
            cosine = sign * (floor.cosine[me] * p - floor.sine[me] * q)
            sine = sign * (floor.sine[me] * p + floor.cosine[me] * q)
            end = look_ahead(floor, me, cosine, sine, reach[me], bench, 0)
            if end < 0 or rows + end > len(found):
                return position, begin
            for k in range(end):
                j = bench.target[k] % n
                known = j == striker[position]
                for edge in range(first[node], first[node + 1]):
                    known = known or target[edge] % n == j
                for row in range(begin, rows):
                    known = known or found[row, 1] == j
                if not known:
                    found[rows, 0], found[rows, 1] = position, j
                    rows += 1
        position += 1
    return position, rows
