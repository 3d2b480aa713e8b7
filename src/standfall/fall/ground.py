"""What the dominoes stand on, and what they rub against."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

# Standard acceleration of free fall: CGPM 1901, third meeting, declaration on the unit of mass.
GRAVITY_M_S2 = 9.80665


@dataclass(frozen=True)
class Ground:
    """Friction and floor of a fall.

    Attributes:
        domino_friction: kinetic coefficient of friction of domino on domino.
        floor_friction: of a domino's foot on the floor. The train model holds feet fast; this number only
            decides where that may be believed.
        slope_rad: steepest slope of the floor, 0 level.
        downhill_rad: direction in the hall in which the floor goes down.
    """

    domino_friction: float = 0.2
    floor_friction: float = 0.4
    slope_rad: float = 0.0
    downhill_rad: float = 0.0

    def slope_along(self, yaw_rad: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the slope met by pieces that fall in direction ``yaw_rad``, positive downhill."""
        rise = math.tan(self.slope_rad) * np.cos(self.downhill_rad - np.asarray(yaw_rad))
        return np.asarray(np.arctan(rise))
