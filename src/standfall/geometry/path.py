"""Paths of straights and arcs, and the poses along them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Straight:
    """Straight ahead; ``heading_rad`` given only where the path turns on the spot first."""

    length_m: float
    heading_rad: float | None = None


@dataclass(frozen=True)
class Arc:
    """Along a circle; ``turn_rad`` positive to the left."""

    radius_m: float
    turn_rad: float

    @property
    def length_m(self) -> float:
        """Length of the arc."""
        return self.radius_m * abs(self.turn_rad)


@dataclass(frozen=True)
class Path:
    """A path from a start pose through straights and arcs, in order."""

    start_m: tuple[float, float]
    start_heading_rad: float
    parts: tuple[Straight | Arc, ...]

    @property
    def length_m(self) -> float:
        """Length of the whole path."""
        return math.fsum(part.length_m for part in self.parts)

    @property
    def tightest_radius_m(self) -> float:
        """Least radius of any arc, infinite when there is none."""
        return min((part.radius_m for part in self.parts if isinstance(part, Arc)), default=math.inf)

    def poses(self, distance_m: Floats) -> tuple[Floats, Floats, Floats]:
        """Return ``x_m``, ``y_m``, ``yaw_rad`` at each distance along the path.

        Args:
            distance_m: (n,) distances from the start, increasing; beyond the end the last part goes on.
        """
        x_m, y_m, yaw_rad = (np.empty_like(distance_m) for _ in range(3))
        pose = (*self.start_m, self.start_heading_rad)
        begun = 0.0
        for number, part in enumerate(self.parts):
            if isinstance(part, Straight) and part.heading_rad is not None:
                pose = (pose[0], pose[1], part.heading_rad)
            last = number == len(self.parts) - 1
            # A distance on the joint belongs to the earlier part, so a corner piece faces the way it came.
            first = 0 if number == 0 else int(np.searchsorted(distance_m, begun, side="right"))
            end = begun + part.length_m
            stop = len(distance_m) if last else int(np.searchsorted(distance_m, end, side="right"))
            x_m[first:stop], y_m[first:stop], yaw_rad[first:stop] = _along(
                part, pose, distance_m[first:stop] - begun
            )
            ends = _along(part, pose, np.array([part.length_m]))
            pose = (float(ends[0][0]), float(ends[1][0]), float(ends[2][0]))
            begun = end
        return x_m, y_m, yaw_rad


def _along(
    part: Straight | Arc, pose: tuple[float, float, float], s_m: Floats
) -> tuple[Floats, Floats, Floats]:
    x, y, heading = pose
    if isinstance(part, Straight):
        return x + s_m * math.cos(heading), y + s_m * math.sin(heading), np.full_like(s_m, heading)
    side = math.copysign(1.0, part.turn_rad)
    yaw = heading + side * s_m / part.radius_m
    # The centre lies at the radius to the left (turn positive) or right of the heading.
    centre_x = x - side * part.radius_m * math.sin(heading)
    centre_y = y + side * part.radius_m * math.cos(heading)
    return (
        centre_x + side * part.radius_m * np.sin(yaw),
        centre_y - side * part.radius_m * np.cos(yaw),
        yaw,
    )
