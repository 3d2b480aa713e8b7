"""The frame of a field on the floor and its way into the hall frame (docs/frames.md)."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class FieldFrame:
    """A field's corner beside row 0 and column 0, and the direction it falls.

    Seen along the fall, ``across_m`` runs to the right and ``along_m`` ahead. So ahead is
    (cos, sin) of the fall direction and right is (sin, -cos): a quarter turn clockwise.
    """

    corner_m: tuple[float, float]
    fall_direction_rad: float

    def to_hall(self, across_m: Floats, along_m: Floats) -> tuple[Floats, Floats]:
        """Convert field metres to hall ``x_m``, ``y_m`` (same shapes as given)."""
        cosine, sine = _cos_sin(self.fall_direction_rad)
        x_m = self.corner_m[0] + along_m * cosine + across_m * sine
        y_m = self.corner_m[1] + along_m * sine - across_m * cosine
        return x_m, y_m

    def from_hall(self, x_m: Floats, y_m: Floats) -> tuple[Floats, Floats]:
        """Convert hall metres to field ``across_m``, ``along_m``; the inverse of ``to_hall``."""
        cosine, sine = _cos_sin(self.fall_direction_rad)
        dx, dy = x_m - self.corner_m[0], y_m - self.corner_m[1]
        return dx * sine - dy * cosine, dx * cosine + dy * sine

    def affine(self) -> Floats:
        """Return the (2, 3) matrix that takes (across, along, 1) to (x, y)."""
        cosine, sine = _cos_sin(self.fall_direction_rad)
        return np.array([[sine, cosine, self.corner_m[0]], [-cosine, sine, self.corner_m[1]]])


def _cos_sin(angle_rad: float) -> tuple[float, float]:
    # cos(90 deg) is 6e-17 in floating point; a quarter turn of the brief should be exact.
    quarters = angle_rad / (math.pi / 2)
    if abs(quarters - round(quarters)) < 1e-12:
        return ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[round(quarters) % 4]
    return math.cos(angle_rad), math.sin(angle_rad)
