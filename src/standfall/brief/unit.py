"""Units a key may carry in its name, and their conversion to SI, done once, here."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit as the brief spells it.

    ``per_si`` file units make one SI unit; dividing by it (and not multiplying by 0.001) gives
    the correctly rounded SI number, so 7.5 mm is exactly the float 0.0075.
    """

    suffix: str
    words: str
    per_si: float

    def to_si(self, value: float) -> float:
        """Convert a number of this unit to SI."""
        return value / self.per_si

    def from_si(self, value: float) -> float:
        """Convert an SI number to this unit, rounded to what a person would write."""
        return float(f"{value * self.per_si:.12g}")


NONE = Unit("", "", 1.0)
MM = Unit("_mm", "mm", 1000.0)
M = Unit("_m", "m", 1.0)
G = Unit("_g", "g", 1000.0)
DEG = Unit("_deg", "degrees", 180.0 / math.pi)
PERCENT = Unit("_percent", "%", 100.0)
PER_MILLION = Unit("_per_million", "per million", 1e6)
KPA = Unit("_kpa", "kPa", 1e-3)
S = Unit("_s", "s", 1.0)
HZ = Unit("_hz", "Hz", 1.0)
M_S = Unit("_m_s", "m/s", 1.0)
MM_S = Unit("_mm_s", "mm/s", 1000.0)
MM_S2 = Unit("_mm_s2", "mm/s²", 1000.0)
DEG_S = Unit("_deg_s", "degrees/s", 180.0 / math.pi)
DEG_S2 = Unit("_deg_s2", "degrees/s²", 180.0 / math.pi)
MIN = Unit("_min", "min", 1.0 / 60.0)
# A slope as rise over run, a plain number in SI.
MM_PER_M = Unit("_mm_per_m", "mm/m", 1000.0)
