"""The leaning train, compiled: its sums at one moment, and the swing of its front.

Reals = NDArray[np.float64]

The model is that of J.M.J. van Leeuwen, "The domino effect", Am. J. Phys. 78 (2010) 721, arXiv
physics/0401018: feet do not slip, hits are inelastic, faces rub. ``docs/fall.md`` derives each line, the two
cuts that uneven gaps need, and what we add for turns and for pieces that share a train.

A train is a table ``train[member, quantity]``; member 0 is the front, member p the piece that pushes p - 1.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, TypeVar, cast

import numpy as np
from numba import njit
from numpy.typing import NDArray

_F = TypeVar("_F", bound=Callable[..., Any])
_kernel = cast(Callable[[_F], _F], njit(cache=True, error_model="numpy"))

Reals = NDArray[np.float64]

# Inertia about the leading edge; torque of weight per sine and per cosine of the angle from upright; with h
# the member's height and d the thickness of the piece it pushes: (clear gap + d) / h and d / h; one over the
# cosine of the turn between the two; share of the member that drives this train.
INERTIA, PULL_SIN, PULL_COS, LEVER, FACE, TURN, HELP = range(7)
QUANTITIES = 8  # a power of two, so that a member starts where a cache line may
# A train's tail is cut where its pull on the front falls below this share: 1e-3 would cost 0.1 to 0.8 % of
# speed, 1e-6 nothing that shows (measured against the uncut train).
TAIL = 1e-6
LONGEST = 512

# The least cosine a turn is reckoned with: beyond 70 degrees nothing here holds, and a finding says so.
LEAST_TURN_COS = 0.34

STALLED, REACHED = 0, 1
STEPS = 3
WIDEST_STEP_RAD, LEAST_STEP_RAD = 0.2, 0.02
_REFINED = 0.3  # where less than this share of y is left in a swing, it is done again in finer steps
_FINE = 10
# A step in which a member lands that still moved at this share of the front's speed is cut into so many.
_HEAVY = 0.02
_CUT = 5
_REST = 1e-9  # (rad/s)^2; slower is at rest


@_kernel
def train_sums(
    sin_front: float, cos_front: float, length: int, train: Reals, friction: float, sines: Reals, rates: Reals
) -> tuple[float, float, float, int]:
    """Sum inertia, torque and their change over a train at one lean of its front.

    With the equation of motion J y' = 2 (A - B y), y the square of the front's angular speed and ' its change
    with the front's angle.

    Args:
        sin_front, cos_front: of the front's angle from upright.
        length: members in ``train``; fewer may take part.
        train: (>= length, QUANTITIES) table.
        friction: kinetic friction of piece on piece.
        sines, rates: (>= length,) filled with the sine of each member's angle and its speed over the front's.

    Returns:
        J, A, B, number of members that take part.
    """
    sine, cosine = sin_front, cos_front
    rate, curve, force, share = 1.0, 0.0, 1.0, 1.0
    inertia = train[0, INERTIA]
    torque = sine * train[0, PULL_SIN] + cosine * train[0, PULL_COS]
    change = 0.0
    sines[0], rates[0] = sine, 1.0
    for member in range(1, length):
        lever, face = train[member, LEVER], train[member, FACE]
        sin_lean = lever * cosine - face
        if sin_lean <= 0.0 or sin_lean >= 1.0:
            return inertia, torque, change, member  # flush: it has landed on the next and drives nothing
        cos_lean = math.sqrt(1.0 - sin_lean * sin_lean)
        steep = 1.0 / cos_lean
        slide = lever * sine
        drop = slide * steep
        pushed = cos_lean - slide - friction * face
        if drop >= 1.0 or pushed <= 0.0:
            return inertia, torque, change, member  # its edge has slid off, or jams
        turn = train[member, TURN]
        bend = -lever * rate * steep * (cosine - sine * sin_lean * steep * drop)
        curve = (curve * (1.0 - drop) + rate * bend) * turn
        rate *= (1.0 - drop) * turn
        force *= pushed / (cos_lean + friction * sin_lean) * turn
        share *= train[member, HELP]
        sine, cosine = sine * cos_lean + cosine * sin_lean, cosine * cos_lean - sine * sin_lean
        sines[member], rates[member] = sine, rate
        weight = share * force
        if weight * rate < TAIL:
            return inertia, torque, change, member
        inertia += weight * rate * train[member, INERTIA]
        torque += weight * (sine * train[member, PULL_SIN] + cosine * train[member, PULL_COS])
        change += weight * curve * train[member, INERTIA]
    return inertia, torque, change, length


@_kernel
def swing(
    angle_from: float,
    angle_to: float,
    square: float,
    length: int,
    train: Reals,
    friction: float,
    steps: int,
    track: Reals,
    sines: Reals,
    rates: Reals,
) -> tuple[int, float, int, int, float]:
    """Let a train's front turn from one angle to another (classical Runge-Kutta of order 4 in the angle).

    Args:
        angle_from, angle_to: rad, of the front.
        square: square of the front's angular speed at ``angle_from``, 1/s2.
        length, train, friction: as in ``train_sums``.
        steps: equal steps of the angle.
        track: (>= 2 steps * 5 + 1, 3) filled with angle, square of speed and time at each half step.
        sines, rates: work space, left as they are at the end of the swing.

    Returns:
        whether the front got there, the least square on the way, members at the end, rows of ``track``
        filled, J at the end.
    """
    whole = (angle_to - angle_from) / steps
    inertia, torque, change, used = train_sums(
        math.sin(angle_from), math.cos(angle_from), length, train, friction, sines, rates
    )
    slope = 2.0 * (torque - change * square) / inertia
    least, time, angle = square, 0.0, angle_from
    track[0, 0], track[0, 1], track[0, 2] = angle_from, square, 0.0
    row, fine, number = 0, 0, 0
    if square <= _REST:
        if slope <= 0.0:
            return STALLED, 0.0, used, 1, inertia  # it stands at rest, and weight holds it
        square = least = track[0, 1] = _REST  # weight alone pulls it over
    while number < steps:
        step = whole / _CUT if fine > 0 else whole
        middle, end = angle + 0.5 * step, angle + step
        inertia, torque, change, _ = train_sums(
            math.sin(middle), math.cos(middle), length, train, friction, sines, rates
        )
        slope_2 = 2.0 * (torque - change * (square + 0.5 * step * slope)) / inertia
        slope_3 = 2.0 * (torque - change * (square + 0.5 * step * slope_2)) / inertia
        inertia, torque, change, left = train_sums(
            math.sin(end), math.cos(end), length, train, friction, sines, rates
        )
        if left < used and fine == 0 and rates[left] > _HEAVY:
            fine = _CUT  # a member that mattered has landed on the way: go there in short steps
            continue
        slope_4 = 2.0 * (torque - change * (square + step * slope_3)) / inertia
        after = square + step / 6.0 * (slope + 2.0 * slope_2 + 2.0 * slope_3 + slope_4)
        slope_end = 2.0 * (torque - change * after) / inertia
        half = 0.5 * (square + after) + 0.125 * step * (slope - slope_end)  # cubic through both ends
        least = min(least, half, after)
        if half <= 0.0 or after <= 0.0:
            return STALLED, least, used, row + 1, inertia
        first, mid, last = 1.0 / math.sqrt(square), 1.0 / math.sqrt(half), 1.0 / math.sqrt(after)
        track[row + 1, 0], track[row + 1, 1] = middle, half
        # Integral over the first half of the parabola through three values of 1 / speed.
        track[row + 1, 2] = time + step / 24.0 * (5.0 * first + 8.0 * mid - last)
        time += step / 6.0 * (first + 4.0 * mid + last)  # Simpson
        track[row + 2, 0], track[row + 2, 1], track[row + 2, 2] = end, after, time
        square, slope, used, angle, row = after, slope_end, left, end, row + 2
        fine = max(fine - 1, 0)
        if fine == 0:
            number += 1
            angle = angle_from + number * whole
    return REACHED, least, used, row + 1, inertia


@_kernel
def careful_swing(
    angle_from: float,
    angle_to: float,
    square: float,
    length: int,
    train: Reals,
    friction: float,
    track: Reals,
    sines: Reals,
    rates: Reals,
) -> tuple[int, float, int, int, float]:
    """Swing in few steps, and again in many where little speed is left on the way."""
    # No half step may jump over the tip angle, where weight turns from holding to pulling: least speed is left there.
    tip = math.atan2(-train[0, PULL_COS], train[0, PULL_SIN])
    step = min(WIDEST_STEP_RAD, max(2.0 * tip, LEAST_STEP_RAD)) if tip > angle_from else WIDEST_STEP_RAD
    steps = max(STEPS, math.ceil((angle_to - angle_from) / step))
    state, least, used, rows, inertia = swing(
        angle_from, angle_to, square, length, train, friction, steps, track, sines, rates
    )
    if least <= _REFINED * square:
        state, least, used, rows, inertia = swing(
            angle_from, angle_to, square, length, train, friction, steps * _FINE, track, sines, rates
        )
    return state, least, used, rows, inertia


@_kernel
def at_angle(angle: float, rows: int, track: Reals) -> tuple[float, float]:
    """Return time and square of speed at an angle of the front, between the half steps of its track."""
    row = 0
    while row < rows - 2 and track[row + 1, 0] < angle:
        row += 1
    span = track[row + 1, 0] - track[row, 0]
    part = 0.0 if span <= 0.0 else min(max((angle - track[row, 0]) / span, 0.0), 1.0)
    time = track[row, 2] + part * (track[row + 1, 2] - track[row, 2])
    return time, track[row, 1] + part * (track[row + 1, 1] - track[row, 1])


TRACK_ROWS = 2 * max(STEPS, math.ceil(0.5 * math.pi / LEAST_STEP_RAD)) * _FINE * _CUT + 1
