"""How long it takes to drive or turn, and where a thing is meanwhile: even acceleration under limits.

The formulas are those of even acceleration, v^2 = u^2 + 2 a d and d = (u + v) t / 2 (any textbook of mechanics).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from standfall.geometry import _motion_kernels as kernels

Floats = NDArray[np.float64]


def peak_speed_m_s(
    distance_m: float, speed_m_s: float, acceleration_m_s2: float, braking_m_s2: float | None = None
) -> float:
    """Return the greatest speed on a straight way from rest to rest.

    Args:
        distance_m: length of the way.
        speed_m_s: greatest speed allowed.
        acceleration_m_s2: how fast it gains speed.
        braking_m_s2: how fast it loses speed; as the acceleration when left out.

    Raises:
        ValueError: a distance below zero, or a speed or acceleration that is not above zero.
    """
    braking = acceleration_m_s2 if braking_m_s2 is None else braking_m_s2
    _check(distance_m, speed_m_s, acceleration_m_s2, braking)
    return float(kernels.peak_speed(distance_m, 0.0, 0.0, speed_m_s, acceleration_m_s2, braking))


def travel_time_s(
    distance_m: float, speed_m_s: float, acceleration_m_s2: float, braking_m_s2: float | None = None
) -> float:
    """Return the time of a straight way from rest to rest: a trapezoid of speed, or a triangle when it is short.

    Equal ramps: d / v + v / a from d = v^2 / a on, and 2 sqrt(d / a) below. Arguments and errors as
    ``peak_speed_m_s``; for a turn give radians, radians per second and radians per second squared.
    """
    braking = acceleration_m_s2 if braking_m_s2 is None else braking_m_s2
    top = peak_speed_m_s(distance_m, speed_m_s, acceleration_m_s2, braking)
    if top == 0.0:
        return 0.0
    ramps_m = 0.5 * top * top * (1.0 / acceleration_m_s2 + 1.0 / braking)
    return top / acceleration_m_s2 + top / braking + max(distance_m - ramps_m, 0.0) / top


@dataclass(frozen=True)
class Profile:
    """Speed along a way: spells of even acceleration between k knots, from rest to rest.

    Attributes:
        place_m: (k,) distance from the start at each knot, rising.
        speed_m_s: (k,) speed there.
        time_s: (k,) when, rising, from 0.
    """

    place_m: Floats
    speed_m_s: Floats
    time_s: Floats

    @property
    def duration_s(self) -> float:
        """Time of the whole way."""
        return float(self.time_s[-1])

    def speed_at(self, time_s: ArrayLike) -> Floats:
        """Return the speed at any times; outside the way it is at rest."""
        return np.asarray(
            np.interp(np.asarray(time_s, dtype=np.float64), self.time_s, self.speed_m_s, left=0.0, right=0.0)
        )

    def place_at(self, time_s: ArrayLike) -> Floats:
        """Return the distance from the start at any times."""
        time = np.clip(np.asarray(time_s, dtype=np.float64), 0.0, self.time_s[-1])
        k = np.clip(np.searchsorted(self.time_s, time, side="right") - 1, 0, max(len(self.time_s) - 2, 0))
        # The mean of two speeds times the time between them: exact while the acceleration is even.
        return np.asarray(
            self.place_m[k] + 0.5 * (self.speed_m_s[k] + self.speed_at(time)) * (time - self.time_s[k])
        )


def make_profile(
    length_m: ArrayLike, limit_m_s: ArrayLike, acceleration_m_s2: float, braking_m_s2: float | None = None
) -> Profile:
    """Return the fastest way along sections with a speed limit each, from rest to rest.

    Args:
        length_m: (m,) lengths of the sections in order.
        limit_m_s: (m,) greatest speed on each.
        acceleration_m_s2: how fast it gains speed.
        braking_m_s2: how fast it loses speed; as the acceleration when left out.

    Raises:
        ValueError: a length below zero, or a limit or acceleration that is not above zero.
    """
    lengths = np.asarray(length_m, dtype=np.float64)
    limits = np.asarray(limit_m_s, dtype=np.float64)
    braking = acceleration_m_s2 if braking_m_s2 is None else braking_m_s2
    if lengths.shape != limits.shape or lengths.ndim != 1:
        raise ValueError("a speed profile needs one limit for each section")
    _check(float(lengths.min(initial=0.0)), float(limits.min(initial=1.0)), acceleration_m_s2, braking)
    place, speed, time, _ = kernels.profile_knots(lengths, limits, acceleration_m_s2, braking)
    return Profile(place, speed, time)


def _check(distance: float, speed: float, acceleration: float, braking: float) -> None:
    if not distance >= 0.0:
        raise ValueError(f"a way cannot be {distance} m long")
    if not min(speed, acceleration, braking) > 0.0:
        raise ValueError("speeds and accelerations must be above zero")
