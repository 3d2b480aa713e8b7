"""The least torque sum of a train over a range of gaps, compiled."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, TypeVar, cast

import numpy as np
from numba import njit
from numpy.typing import NDArray

from standfall.fall._train_kernels import (
    FACE,
    HELP,
    INERTIA,
    LEVER,
    PULL_COS,
    PULL_SIN,
    QUANTITIES,
    TURN,
    train_sums,
)

_F = TypeVar("_F", bound=Callable[..., Any])
# Numba's disk cache looks at the file of a kernel only: after a change to _train_kernels, touch this file too.
_kernel = cast(Callable[[_F], _F], njit(cache=True))

_Reals = NDArray[np.float64]

# Where a piece leans so far that it may reach over the next, it may drive both: its train is then shared, and
# what a member adds to the sum is weighted with something between these.
_SHARE_LEAST, _SHARE_MOST = 1.0 / 3.0, 2.0


@_kernel
def _torque(
    sin_front: float,
    gaps: _Reals,
    train: _Reals,
    length: int,
    friction: float,
    pull: _Reals,
    mass_share: float,
    sines: _Reals,
    rates: _Reals,
) -> float:
    """Worst torque sum over masses at one lean of the front; -inf where it is not to be trusted.

    gaps: (length,) over the height. pull: the torque of a piece per sine and per cosine of its lean.
    """
    cos_front = math.sqrt(1.0 - sin_front * sin_front)
    used = train_sums(sin_front, cos_front, length, train, friction, sines, rates)[3]
    shared = False
    along = 0.0
    for member in range(1, used):
        along += gaps[member] + (train[member, FACE] if member > 1 else 0.0)
        if member == 1 and sines[1] >= gaps[1] + train[1, FACE] + sin_front:
            return -np.inf  # it would overtake the front
        if member > 1 and sines[member] >= along:
            shared = True
    for member in range(length):
        share = 1.0
        if member < used:
            sine = sines[member]
            helps = pull[0] * sine + pull[1] * math.sqrt(max(1.0 - sine * sine, 0.0)) >= 0.0
            share = 1.0 - mass_share if helps else 1.0 + mass_share
            if shared and member > 0:
                share *= _SHARE_LEAST if helps else _SHARE_MOST
            if member == length - 1 and not helps:
                return -np.inf  # pieces further back might hinder
        train[member, PULL_SIN], train[member, PULL_COS] = share * pull[0], share * pull[1]
    return float(train_sums(sin_front, cos_front, length, train, friction, sines, rates)[1])


@_kernel
def least_torque(
    levels: _Reals,
    depth: int,
    front_sines: _Reals,
    slimness: float,
    frictions: _Reals,
    turn_cosines: _Reals,
    mass_share: float,
    slope: float,
) -> float:
    """Least torque sum of a front with ``depth`` members behind it, each gap at each of the levels.

    Args:
        levels: (l,) gaps to try, over the height.
        depth: members behind the front; all l^depth combinations are tried.
        front_sines: of the leans of the front to try.
        slimness: thickness over height, of all pieces.
        frictions, turn_cosines: to try, the same for all members.
        mass_share: masses vary by this share either way.
        slope: rad, along the fall, positive downhill.

    Returns:
        the least sum, over the torque that tips one piece on level floor; -inf where a member hinders that must help.
    """
    length = depth + 1
    train = np.ones((length, QUANTITIES))
    pull = np.array(
        [
            (math.cos(slope) + slimness * math.sin(slope)) / slimness,
            (math.sin(slope) - slimness * math.cos(slope)) / slimness,
        ]
    )
    train[:, FACE], train[:, HELP], train[:, INERTIA] = slimness, 1.0, 1.0
    sines, rates, gaps = np.empty(length), np.empty(length), np.empty(length)
    least = np.inf
    for number in range(len(levels) ** depth):
        rest = number
        for member in range(1, length):
            gaps[member] = levels[rest % len(levels)]
            rest //= len(levels)
            train[member, LEVER] = gaps[member] + slimness
        for turn_cos in turn_cosines:
            train[:, TURN] = 1.0 / turn_cos
            for friction in frictions:
                for sin_front in front_sines:
                    torque = _torque(sin_front, gaps, train, length, friction, pull, mass_share, sines, rates)
                    if torque < least:
                        least = torque
                    if least == -np.inf:
                        return least
    return least
