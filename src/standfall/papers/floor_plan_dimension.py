"""Dimensions of a floor plan: which lengths are given, and on which side of what they measure."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# A floor with more sides than this gets only its overall size: the rest would be a thicket.
_SIDES_MOST = 24
_SIDE_LEAST_M = 0.5
_SAME_M = 0.0005


@dataclass(frozen=True)
class Dimension:
    """A length from one point to another, written to the right of the way between them.

    Attributes:
        begin_m, end_m: the points.
        kind: ``hall`` or ``field``.
        level: 0 nearest to what it measures, 1 outside of that.
    """

    begin_m: tuple[float, float]
    end_m: tuple[float, float]
    kind: str
    level: int

    @property
    def length_mm(self) -> float:
        """What is written."""
        return 1000.0 * float(np.hypot(self.end_m[0] - self.begin_m[0], self.end_m[1] - self.begin_m[1]))


def hall_dimensions(outline_m: Floats) -> tuple[Dimension, ...]:
    """Return the sides of a floor and its overall size, each length along one direction once.

    Args:
        outline_m: (p, 2) corners, counter-clockwise, so that outside is to the right of each side.
    """
    low, high = outline_m.min(axis=0), outline_m.max(axis=0)
    corners = np.array([[low[0], low[1]], [high[0], low[1]], [high[0], high[1]], [low[0], high[1]]])
    found: list[Dimension] = []
    seen: list[tuple[Floats, float, float]] = []
    if len(outline_m) <= _SIDES_MOST:
        for begin, end in zip(outline_m, np.roll(outline_m, -1, axis=0), strict=True):
            _add(found, seen, begin, end, 0)
    # Below and at the left, where the rulers are.
    _add(found, seen, corners[0], corners[1], 1)
    _add(found, seen, corners[3], corners[0], 1)
    return tuple(found)


def _add(
    found: list[Dimension], seen: list[tuple[Floats, float, float]], begin: Floats, end: Floats, level: int
) -> None:
    """Add a dimension unless the same stretch of the same direction is there."""
    way = end - begin
    length = float(np.hypot(*way))
    if length < _SIDE_LEAST_M:
        return
    along = way / length
    along = along if (along[0], along[1]) > (-along[0], -along[1]) else -along
    low, high = sorted((float(begin @ along), float(end @ along)))
    for other, other_low, other_high in seen:
        if (
            np.allclose(other, along, atol=1e-6)
            and abs(other_low - low) < _SAME_M
            and abs(other_high - high) < _SAME_M
        ):
            return
    seen.append((along, low, high))
    found.append(Dimension(_point(begin), _point(end), "hall", level))


def field_dimensions(corners_m: Floats) -> tuple[Dimension, ...]:
    """Return width and depth of a field from its corners: back left, back right, front right, front left.

    Seen along the fall they stand to the right and in front, where no line leads to row 0.
    """
    # Counter-clockwise, so that outside is to the right.
    return (
        Dimension(_point(corners_m[1]), _point(corners_m[2]), "field", 0),
        Dimension(_point(corners_m[2]), _point(corners_m[3]), "field", 0),
    )


def _point(point: Floats) -> tuple[float, float]:
    return float(point[0]), float(point[1])
