"""Rounding the corners of a taut way into arcs."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from standfall.routes import _way_kernels as kernels

Floats = NDArray[np.float64]

#: No point of a chord is farther from its arc than this, nor than a tenth of the allowed cut.
CHORD_M = 0.002


@dataclass(frozen=True)
class Rounded:
    """A way of straights and arcs, the arcs as chords, through q points.

    Attributes:
        x_m, y_m: (q,) points; those of arcs lie on the arc, so chords lie inside it.
        heading_rad: (q,) direction of the way there, without jumps; at a stop that of the part before.
        length_m: (q - 1,) lengths of the parts, along the arc where it is one.
        radius_m: (q - 1,) radius of each part, infinite for straights.
        stop: (q,) corners too sharp to round, where the robot comes to rest.
    """

    x_m: Floats
    y_m: Floats
    heading_rad: Floats
    length_m: Floats
    radius_m: Floats
    stop: NDArray[np.bool_]

    @property
    def way_m(self) -> float:
        """Length of the whole way."""
        return float(self.length_m.sum())

    def speed_limit(self, speed_m_s: float, acceleration_m_s2: float, turn_rad_s: float) -> Floats:
        """Return the (q - 1,) greatest speed on each part.

        On an arc the acceleration towards its middle, v^2 / r, stays within that of the drive (common practice,
        no source), and the rate of turn v / r within its limit, infinite for robots that keep their yaw.
        """
        found: Floats = kernels.limits(self.radius_m, speed_m_s, acceleration_m_s2, turn_rad_s)
        return found

    def between_stops(self) -> list[Rounded]:
        """Cut the way at its stops."""
        if not self.stop.any():
            return [self]
        cuts = [0, *np.flatnonzero(self.stop).tolist(), len(self.x_m) - 1]
        pieces = []
        for first, last in itertools.pairwise(cuts):
            heading = self.heading_rad[first : last + 1].copy()
            # A point carries the heading before it; behind a stop the way goes on as its first part does.
            if first > 0:
                heading[0] = heading[1]
            pieces.append(
                Rounded(
                    self.x_m[first : last + 1],
                    self.y_m[first : last + 1],
                    heading,
                    self.length_m[first:last],
                    self.radius_m[first:last],
                    np.zeros(last + 1 - first, np.bool_),
                )
            )
        return pieces


def round_corners(way_m: Floats, corner_m: float, offset_m: float = 0.0) -> Rounded:
    """Round the corners of a way.

    Each corner is cut by an arc that touches both straights; it and its chords come nowhere farther from the corner
    than ``corner_m``, and it takes at most half of each straight. Corners that turn back by more than 170 degrees or
    leave no room for an arc of 1 mm are stopped at.

    Args:
        way_m: (p, 2) corners of the way, at least one.
        corner_m: how far a corner may be cut.
        offset_m: distance from the way of the point whose arcs, too, are to be followed within ``CHORD_M``.
    """
    points = np.ascontiguousarray(way_m, dtype=np.float64)
    sagitta = min(CHORD_M, 0.1 * corner_m) if corner_m > 0.0 else CHORD_M
    return Rounded(*kernels.round_corners(points, corner_m, sagitta, offset_m))
