"""Inside which errors a fall that is under way cannot die, whatever its speed.

The speed of a front follows J y' = 2 (A - B y), y its square (``_train_kernels``). Where the torque sum A of the
train is not negative, y cannot come down to 0, however slow the front is: y' >= -2 B y / J, so y stays above an
exponential. And a hit leaves (J - I) / J > 0 of the speed. So a fall cannot die where A >= 0 at each lean of the
front, for every train the errors may make.

A train's shape follows from its gaps alone, and its far pieces only help: a piece that leans beyond its tip angle
has positive torque, and so have all behind it, which lean further. So A >= 0 for the front and the few pieces
behind it (``depth``) is enough, with the worst gaps of a range, the worst friction, masses and slope. That is what
``find_box`` looks for: by trying the ends and the middle of the range for each gap, in all combinations. It is a
search, not a proof; the tests try random chains inside the boxes found.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from standfall.fall._envelope_kernels import least_torque

# A box must keep this share of the torque that tips a piece (half its weight times its thickness), so that
# neither the steps of the search nor those of the swing matter.
SPARE = 0.05
_SHALLOW = (3, 4, 5)
_DEEP = (3, 5, 6, 7, 10)
_ANGLES = 15
_HALVINGS = 7
# Gaps narrower or wider than these shares of the height are not looked at: nothing there can be relied on.
_NARROWEST, _WIDEST = 0.02, 0.85


@dataclass(frozen=True)
class Conditions:
    """What else varies inside a box. Sizes are those of all pieces of the chain.

    Attributes:
        height_m, thickness_m: of the pieces.
        friction_low, friction_high: of piece on piece.
        mass_share: masses lie within (1 - this, 1 + this) times their nominal value.
        slope_rad: least slope along the fall, positive downhill.
        turn_most_rad: largest turn from one piece to the next.
    """

    height_m: float
    thickness_m: float
    friction_low: float
    friction_high: float
    mass_share: float = 0.0
    slope_rad: float = 0.0
    turn_most_rad: float = 0.0


@dataclass(frozen=True)
class Box:
    """A range of gaps inside which a front with ``depth`` leaning pieces behind it cannot stall.

    Attributes:
        gap_low_m, gap_high_m: the range.
        depth: how many gaps behind the front have to lie in it.
        torque: least torque sum over the torque that tips one piece.
    """

    gap_low_m: float
    gap_high_m: float
    depth: int
    torque: float

    @property
    def carries(self) -> bool:
        """Tell whether the box holds with some to spare."""
        return self.torque >= SPARE


def try_box(gap_low_m: float, gap_high_m: float, depth: int, conditions: Conditions) -> Box:
    """Return the box with its least torque, -inf where pieces behind the front would not all help."""
    levels = 3 if depth <= 6 else 2
    low, high = gap_low_m / conditions.height_m, gap_high_m / conditions.height_m
    slimness = conditions.thickness_m / conditions.height_m
    last = max(math.asin(min(high, 1.0)), math.atan(slimness) - conditions.slope_rad)
    torque = least_torque(
        np.linspace(low, high, levels if high > low else 1),
        depth,
        np.sin(np.linspace(0.0, last, _ANGLES)),
        slimness,
        np.array([conditions.friction_low, conditions.friction_high]),
        np.array([1.0, math.cos(conditions.turn_most_rad)]),
        conditions.mass_share,
        conditions.slope_rad,
    )
    return Box(gap_low_m, gap_high_m, depth, float(torque))


def _carries(low: float, high: float, conditions: Conditions, depths: tuple[int, ...]) -> Box | None:
    for depth in depths:
        box = try_box(low, high, depth, conditions)
        if box.carries:
            return box
    return None


def find_box(gap_low_m: float, gap_high_m: float, conditions: Conditions, *, spare_m: float) -> Box | None:
    """Return a box around the gaps as planned, as wide as it gets; None when there is none.

    Args:
        gap_low_m, gap_high_m: least and largest gap as planned.
        conditions: what else varies.
        spare_m: error the box should allow at least on the narrow side while the wide side is sought.
    """
    if not 0.0 < gap_low_m <= gap_high_m < _WIDEST * conditions.height_m:
        return None
    # A box that needs few pieces and still leaves twice the error asked for is worth more than a wider one.
    for depth in _SHALLOW:
        low, high = gap_low_m - 2.0 * spare_m, gap_high_m + 2.0 * spare_m
        if low > _NARROWEST * conditions.height_m and _carries(low, high, conditions, (depth,)) is not None:
            return _widest(low, high, conditions, (depth,))
    low = max(min(gap_low_m, _NARROWEST * conditions.height_m), gap_low_m - spare_m)
    for start in (low, gap_low_m):
        if _carries(start, gap_high_m, conditions, _DEEP) is not None:
            return _widest(start, gap_high_m, conditions, _DEEP)
    return None


def _widest(low: float, high: float, conditions: Conditions, depths: tuple[int, ...]) -> Box | None:
    end = max(high, _WIDEST * conditions.height_m)
    high = _furthest(high, end, lambda at: _carries(low, at, conditions, depths))
    end = min(low, _NARROWEST * conditions.height_m)
    low = _furthest(low, end, lambda at: _carries(at, high, conditions, depths))
    return _carries(low, high, conditions, depths)


def _furthest(sure: float, end: float, carries: Callable[[float], Box | None]) -> float:
    """Return the point furthest from ``sure`` towards ``end`` that still carries, by halving."""
    if carries(end) is not None:
        return end
    for _ in range(_HALVINGS):
        middle = 0.5 * (sure + end)
        if carries(middle) is not None:
            sure = middle
        else:
            end = middle
    return sure
