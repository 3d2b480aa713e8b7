"""The pieces of a fall: size and mass of each, as columns."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Pieces:
    """n dominoes as solid boxes of even density.

    Attributes:
        height_m, width_m, thickness_m: (n,) standing height, size across the fall, size along it.
        mass_kg: (n,) mass of each.
    """

    height_m: NDArray[np.float64]
    width_m: NDArray[np.float64]
    thickness_m: NDArray[np.float64]
    mass_kg: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.height_m)

    @classmethod
    def alike(
        cls, count: int, *, height_m: float, width_m: float, thickness_m: float, mass_kg: float
    ) -> Pieces:
        """Return ``count`` pieces of one size and mass."""
        return cls(*(np.full(count, value) for value in (height_m, width_m, thickness_m, mass_kg)))

    def take(self, chosen: NDArray[np.intp]) -> Pieces:
        """Return the pieces at these places, in this order."""
        return Pieces(
            self.height_m[chosen], self.width_m[chosen], self.thickness_m[chosen], self.mass_kg[chosen]
        )
