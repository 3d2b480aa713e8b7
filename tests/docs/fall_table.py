"""The table of speeds in ``docs/fall.md``, from the model itself."""

from __future__ import annotations

import math

import numpy as np

from standfall.fall.chain import chain_fall
from standfall.fall.ground import GRAVITY_M_S2, Ground
from standfall.fall.pieces import Pieces

HEIGHT_M, THICKNESS_M = 0.048, 0.0075
GAPS = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8)
FRICTIONS = (0.1, 0.2, 0.3, 0.4)
# The slowest of these rows is within 1 % of its last speed after 43 hits.
PIECES = 120
PUSH_RAD_S = 30.0


def fall_table(what: str) -> str:
    """Return a table of the page."""
    if what != "speeds":
        raise KeyError(what)
    head = "| gap / height | " + " | ".join(f"friction {friction}" for friction in FRICTIONS) + " |\n"
    rule = "|---" * (len(FRICTIONS) + 1) + "|\n"
    rows = [
        f"| {gap} | " + " | ".join(f"{steady_speed(gap, friction):.2f}" for friction in FRICTIONS) + " |\n"
        for gap in GAPS
    ]
    return head + rule + "".join(rows)


def steady_speed(gap: float, friction: float) -> float:
    """Return the speed at the end of a long even row, over sqrt(g h)."""
    pieces = Pieces.alike(PIECES, height_m=HEIGHT_M, width_m=0.024, thickness_m=THICKNESS_M, mass_kg=0.0085)
    row = chain_fall(np.full(PIECES - 1, gap * HEIGHT_M), pieces, Ground(friction), PUSH_RAD_S)
    return float(row.speed_m_s[-1]) / math.sqrt(GRAVITY_M_S2 * HEIGHT_M)
