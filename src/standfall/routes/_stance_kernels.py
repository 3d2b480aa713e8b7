"""Set-down poses against what stands: compiled tests of convex polygons that move straight."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple, TypeVar, cast

import numpy as np
from numba import njit
from numpy.typing import NDArray

from standfall.routes._cell_kernels import TOUCH_M, bounds

_F = TypeVar("_F", bound=Callable[..., Any])
_kernel = cast(Callable[[_F], _F], njit(cache=True, error_model="numpy"))

Rows = NDArray[Any]


class Polygons(NamedTuple):
    """Convex polygons counter-clockwise; polygon i has the corners ``first[i]`` to ``first[i + 1]``."""

    first: Rows
    x_m: Rows
    y_m: Rows


class Buckets(NamedTuple):
    """Squares of floor and what lies in each: ``item[first[b]:first[b + 1]]`` of square b = row * nx + column."""

    x0_m: float
    y0_m: float
    side_m: float
    nx: int
    ny: int
    first: Rows
    item: Rows


class Poses(NamedTuple):
    """k set-downs: where, in which group of turned shapes, and the straight way out of each."""

    step: Rows
    group: Rows
    x_m: Rows
    y_m: Rows
    dx_m: Rows
    dy_m: Rows


class Groups(NamedTuple):
    """Turned shapes of a robot.

    Polygons ``pose_first[g]`` to ``travel_first[g]`` touch only while it is lowered, those from there to
    ``pose_first[g + 1]`` while it travels as well.
    """

    pose_first: Rows
    travel_first: Rows
    shapes: Polygons


@_kernel
def _gap(ax: Rows, ay: Rows, bx: Rows, by: Rows) -> float:
    """Widest gap between b and an edge of a, negative when b bites into every edge's half-plane."""
    best = -np.inf
    last = len(ax) - 1
    for i in range(len(ax)):
        ex, ey = ax[i] - ax[last], ay[i] - ay[last]
        length = np.sqrt(ex * ex + ey * ey)
        if length > 1e-12:
            nx, ny = ey / length, -ex / length
            least = np.inf
            for j in range(len(bx)):
                value = nx * (bx[j] - ax[i]) + ny * (by[j] - ay[i])
                if value < least:
                    least = value
            if least > best:
                best = least
        last = i
    return best


@_kernel
def _corner_distance2(ax: Rows, ay: Rows, bx: Rows, by: Rows) -> float:
    """Least squared distance of a corner of b from an edge of a."""
    best = np.inf
    last = len(ax) - 1
    for i in range(len(ax)):
        ex, ey = ax[i] - ax[last], ay[i] - ay[last]
        length2 = ex * ex + ey * ey
        for j in range(len(bx)):
            px, py = bx[j] - ax[last], by[j] - ay[last]
            along = 0.0
            if length2 > 0.0:
                along = min(1.0, max(0.0, (px * ex + py * ey) / length2))
            qx, qy = px - along * ex, py - along * ey
            value = qx * qx + qy * qy
            if value < best:
                best = value
        last = i
    return best


@_kernel
def too_near(ax: Rows, ay: Rows, bx: Rows, by: Rows, room_m: float) -> bool:
    """Tell whether two convex polygons are nearer than ``room_m``; with none, whether they overlap."""
    gap = max(_gap(ax, ay, bx, by), _gap(bx, by, ax, ay))
    if room_m <= TOUCH_M:
        return bool(gap < -TOUCH_M)
    if gap >= room_m - TOUCH_M:
        return False
    if gap <= 0.0:
        return True
    # Two corners may be farther apart than any edge shows.
    distance2 = min(_corner_distance2(ax, ay, bx, by), _corner_distance2(bx, by, ax, ay))
    return bool(distance2 < (room_m - TOUCH_M) ** 2)


@_kernel
def sweep(x: Rows, y: Rows, dx: float, dy: float, out_x: Rows, out_y: Rows) -> int:
    """Write the hull of a convex polygon and its translate; return how many corners it has."""
    count = len(x)
    size = 0
    before = (y[0] - y[count - 1]) * dx - (x[0] - x[count - 1]) * dy
    for i in range(count):
        after_i = (i + 1) % count
        after = (y[after_i] - y[i]) * dx - (x[after_i] - x[i]) * dy
        if before <= 0.0 or after <= 0.0:
            moved_first = before > 0.0
            if moved_first:
                out_x[size], out_y[size] = x[i] + dx, y[i] + dy
                size += 1
            out_x[size], out_y[size] = x[i], y[i]
            size += 1
            if not moved_first and after > 0.0:
                out_x[size], out_y[size] = x[i] + dx, y[i] + dy
                size += 1
        else:
            out_x[size], out_y[size] = x[i] + dx, y[i] + dy
            size += 1
        before = after
    return size


@_kernel
def overlap_span(
    ax: Rows, ay: Rows, bx: Rows, by: Rows, px: float, py: float, dx: float, dy: float
) -> tuple[float, float]:
    """Return between which lengths b, put at p and moved along the unit vector d, overlaps a.

    From the separating axes of both: on each, the two overlap for one span of lengths. Empty: (0, -1).
    """
    begin, end = -np.inf, np.inf
    for which in range(2):
        count = len(ax) if which == 0 else len(bx)
        for i in range(count):
            j = (i + 1) % count
            if which == 0:
                nx, ny = ay[j] - ay[i], ax[i] - ax[j]
            else:
                nx, ny = by[j] - by[i], bx[i] - bx[j]
            length = np.sqrt(nx * nx + ny * ny)
            if length < 1e-12:
                continue
            nx, ny = nx / length, ny / length
            a_low, a_high, b_low, b_high = np.inf, -np.inf, np.inf, -np.inf
            for k in range(len(ax)):
                value = nx * ax[k] + ny * ay[k]
                a_low, a_high = min(a_low, value), max(a_high, value)
            for k in range(len(bx)):
                value = nx * (bx[k] + px) + ny * (by[k] + py)
                b_low, b_high = min(b_low, value), max(b_high, value)
            speed = nx * dx + ny * dy
            if abs(speed) < 1e-12:
                if b_low >= a_high - TOUCH_M or b_high <= a_low + TOUCH_M:
                    return 0.0, -1.0
            elif speed > 0.0:
                begin, end = max(begin, (a_low - b_high) / speed), min(end, (a_high - b_low) / speed)
            else:
                begin, end = max(begin, (a_high - b_low) / speed), min(end, (a_low - b_high) / speed)
    if begin >= end:
        return 0.0, -1.0
    return begin, end


@_kernel
def exits(
    shapes: Polygons,
    own_first: Rows,
    step: Rows,
    x_m: Rows,
    y_m: Rows,
    way_x: Rows,
    way_y: Rows,
    group: Rows,
    group_first: Rows,
    movers: Polygons,
    most: int,
) -> Rows:
    """Return (k, most) lengths at which a straight way is clear of its own tile, least first, NaN for none.

    Each is an end of a span of overlap that lies in no other span; nought where there is no overlap at all.
    """
    found = np.full((len(step), most), np.nan)
    for k in range(len(step)):
        begin, end = [0.0], [0.0]
        begin.pop()
        end.pop()
        for a in range(own_first[step[k]], own_first[step[k] + 1]):
            a0, a1 = shapes.first[a], shapes.first[a + 1]
            for b in range(group_first[group[k]], group_first[group[k] + 1]):
                b0, b1 = movers.first[b], movers.first[b + 1]
                low, high = overlap_span(
                    shapes.x_m[a0:a1],
                    shapes.y_m[a0:a1],
                    movers.x_m[b0:b1],
                    movers.y_m[b0:b1],
                    x_m[k],
                    y_m[k],
                    way_x[k],
                    way_y[k],
                )
                if high > low and high > 0.0:
                    begin.append(low)
                    end.append(high)
        at = 0.0
        for number in range(most):
            moved = True
            while moved:
                moved = False
                for i in range(len(begin)):
                    if begin[i] - TOUCH_M < at < end[i] - TOUCH_M:
                        at = end[i]
                        moved = True
            found[k, number] = at
            following = np.inf
            for i in range(len(begin)):
                if begin[i] >= at - TOUCH_M and end[i] > at + TOUCH_M and end[i] < following:
                    following = end[i]
            if following == np.inf:
                break
            at = following - 2.0 * TOUCH_M
    return found


@_kernel
def fill_buckets(
    low_x: Rows, low_y: Rows, high_x: Rows, high_y: Rows, x0: float, y0: float, side: float, nx: int, ny: int
) -> Buckets:
    """Put boxes into all the squares they reach."""
    first = np.zeros(nx * ny + 1, np.int64)
    for turn in range(2):
        if turn == 1:
            total = 0
            for b in range(nx * ny):
                here = first[b]
                first[b] = total
                total += here
            first[nx * ny] = total
            item = np.empty(total, np.int64)
            filled = first.copy()
        for k in range(len(low_x)):
            i0 = min(max(int(np.floor((low_x[k] - x0) / side)), 0), nx - 1)
            i1 = min(max(int(np.floor((high_x[k] - x0) / side)), 0), nx - 1)
            j0 = min(max(int(np.floor((low_y[k] - y0) / side)), 0), ny - 1)
            j1 = min(max(int(np.floor((high_y[k] - y0) / side)), 0), ny - 1)
            for j in range(j0, j1 + 1):
                for i in range(i0, i1 + 1):
                    b = j * nx + i
                    if turn == 0:
                        first[b] += 1
                    else:
                        item[filled[b]] = k
                        filled[b] += 1
    return Buckets(x0, y0, side, nx, ny, first, item)


@_kernel
def _placed(
    poses: Poses, groups: Groups, k: int, px: Rows, py: Rows, corners: Rows, sx: Rows, sy: Rows
) -> int:
    """Write all polygons of a stance, at its pose or swept along its way out; return how many there are."""
    g = poses.group[k]
    count = 0
    for p in range(groups.pose_first[g], groups.pose_first[g + 1]):
        p0, size = groups.shapes.first[p], groups.shapes.first[p + 1] - groups.shapes.first[p]
        for c in range(size):
            sx[c] = groups.shapes.x_m[p0 + c] + poses.x_m[k]
            sy[c] = groups.shapes.y_m[p0 + c] + poses.y_m[k]
        if p < groups.travel_first[g]:
            px[count, :size], py[count, :size] = sx[:size], sy[:size]
            corners[count] = size
        else:
            corners[count] = sweep(sx[:size], sy[:size], poses.dx_m[k], poses.dy_m[k], px[count], py[count])
        count += 1
    return count


@_kernel
def conflicts(
    poses: Poses,
    groups: Groups,
    shapes: Polygons,
    shape_of: Rows,
    buckets: Buckets,
    room_m: float,
    steps: int,
) -> tuple[Rows, Rows, Rows]:
    """Return which stances spare their own tile, and for each the steps that must not stand (first, step)."""
    spares = np.ones(len(poses.step), np.bool_)
    first = np.zeros(len(poses.step) + 1, np.int64)
    found = [0]
    found.pop()
    seen_shape = np.full(len(shape_of), -1, np.int64)
    hit = np.full(steps, -1, np.int64)
    widest = 0
    for i in range(len(groups.shapes.first) - 1):
        widest = max(widest, groups.shapes.first[i + 1] - groups.shapes.first[i])
    # Scratch: for one stance all of its polygons in place, first at the pose, then swept.
    most = 0
    for g in range(len(groups.travel_first)):
        most = max(most, groups.pose_first[g + 1] - groups.pose_first[g])
    px, py = np.empty((2 * most, widest + 2)), np.empty((2 * most, widest + 2))
    corners = np.empty(2 * most, np.int64)
    sx, sy = np.empty(widest), np.empty(widest)
    for k in range(len(poses.step)):
        count = _placed(poses, groups, k, px, py, corners, sx, sy)
        own = poses.step[k]
        for p in range(count):
            c = corners[p]
            x0, y0, x1, y1 = bounds(px[p, :c], py[p, :c])
            x0, y0, x1, y1 = x0 - room_m, y0 - room_m, x1 + room_m, y1 + room_m
            i0 = min(max(int(np.floor((x0 - buckets.x0_m) / buckets.side_m)), 0), buckets.nx - 1)
            i1 = min(max(int(np.floor((x1 - buckets.x0_m) / buckets.side_m)), 0), buckets.nx - 1)
            j0 = min(max(int(np.floor((y0 - buckets.y0_m) / buckets.side_m)), 0), buckets.ny - 1)
            j1 = min(max(int(np.floor((y1 - buckets.y0_m) / buckets.side_m)), 0), buckets.ny - 1)
            stamp = k * 2 * most + p
            for j in range(j0, j1 + 1):
                for i in range(i0, i1 + 1):
                    b = j * buckets.nx + i
                    for at in range(buckets.first[b], buckets.first[b + 1]):
                        m = buckets.item[at]
                        s = shape_of[m]
                        if seen_shape[m] == stamp or hit[s] == k:
                            continue
                        seen_shape[m] = stamp
                        m0, m1 = shapes.first[m], shapes.first[m + 1]
                        room = 0.0 if s == own else room_m
                        if too_near(px[p, :c], py[p, :c], shapes.x_m[m0:m1], shapes.y_m[m0:m1], room):
                            hit[s] = k
                            if s == own:
                                spares[k] = False
                            else:
                                found.append(s)
        first[k + 1] = len(found)
    return spares, first, np.array(found, dtype=np.int64)
