"""Speed along a line under limits of speed and acceleration, compiled."""

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

# Knots closer in time than this are one.
_AT_ONCE_S = 1e-9


@_kernel
def peak_speed(
    distance: float, first: float, last: float, limit: float, acceleration: float, braking: float
) -> float:
    """Return the greatest speed reached on a distance that begins and ends at given speeds.

    From (v^2 - first^2) / (2 acceleration) + (v^2 - last^2) / (2 braking) = distance.
    """
    square = 2.0 * acceleration * braking * distance + braking * first * first + acceleration * last * last
    return min(limit, math.sqrt(square / (acceleration + braking)))


@_kernel
def node_speeds(length: Rows, limit: Rows, acceleration: float, braking: float) -> Rows:
    """Return the greatest speed at each of the m + 1 ends of m sections, at rest before and after all.

    One pass backward for the brakes, one forward for the drive.
    """
    m = len(length)
    speed = np.zeros(m + 1)
    for k in range(m - 1, 0, -1):
        reach = math.sqrt(speed[k + 1] * speed[k + 1] + 2.0 * braking * length[k])
        speed[k] = min(limit[k - 1], limit[k], reach)
    for k in range(m):
        reach = math.sqrt(speed[k] * speed[k] + 2.0 * acceleration * length[k])
        speed[k + 1] = min(speed[k + 1], reach)
    return speed


@_kernel
def profile_knots(
    length: Rows, limit: Rows, acceleration: float, braking: float
) -> tuple[Rows, Rows, Rows, Rows]:
    """Return distance, speed, time and section at the ends of all spells of even acceleration.

    The section of a knot is the one of the spell that ends there. The first knot is the start, at zero.
    """
    m = len(length)
    node = node_speeds(length, limit, acceleration, braking)
    place, speed, time = np.zeros(3 * m + 1), np.zeros(3 * m + 1), np.zeros(3 * m + 1)
    section = np.zeros(3 * m + 1, dtype=np.int64)
    count, begun = 1, 0.0
    for k in range(m):
        first, last = node[k], node[k + 1]
        # Rounding must not let the peak drop below either end.
        top = max(peak_speed(length[k], first, last, limit[k], acceleration, braking), first, last)
        gain = (top * top - first * first) / (2.0 * acceleration)
        loss = (top * top - last * last) / (2.0 * braking)
        even = max(length[k] - gain - loss, 0.0)
        end = begun + length[k]
        spells = (
            (begun + gain, top, (top - first) / acceleration),
            (begun + gain + even, top, even / top if top > 0.0 else 0.0),
            (end, last, (top - last) / braking),
        )
        for to, at, lasts in spells:
            if lasts > _AT_ONCE_S:
                place[count], speed[count], section[count] = to, at, k
                time[count] = time[count - 1] + lasts
                count += 1
        # The end of a section is exact, whatever the rounding of its spells.
        if count > 1:
            place[count - 1] = end
        begun = end
    return place[:count], speed[:count], time[:count], section[:count]
