"""How much stands to be lost while a tile is laid: the unbroken columns of tiles it is part of."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from standfall.brief import Brief
from standfall.routes.step import Steps
from standfall.tiles import Tiling


def at_risk(brief: Brief, steps: Steps, tiling: Tiling, order: NDArray[np.integer]) -> float:
    """Return the mean number of dominoes that a fall takes which starts in the tile just laid.

    Half of the falls run forward and half backward, through all tiles of the same tray column that stand
    without a break; half-offset rows spread sideways besides, which is not counted. Hand work is left out.

    Args:
        brief: for the tray.
        steps: all steps.
        tiling: the tiles.
        order: steps in laying order.

    Source: reasoning from the columns of straight rows; that an accident falls either way equally often is
    an assumption of ours.
    """
    if brief.tray is None or not len(tiling):
        return 0.0
    band = np.floor_divide(tiling.first_row - tiling.first_row.min(initial=0), brief.tray.rows)
    column = tiling.first_col - tiling.first_col.min(initial=0)
    standing: dict[tuple[int, int, int], int] = {}
    lost = count = 0
    for step in order:
        if step >= len(tiling):
            continue
        field, b, c = int(tiling.field[step]), int(band[step]), int(column[step])
        own = standing[field, b, c] = int(steps.dominoes[step])
        lost += 2 * own
        for direction in (1, -1):
            at = b + direction
            while (field, at, c) in standing:
                lost += standing[field, at, c]
                at += direction
        count += 1
    return 0.5 * lost / count if count else 0.0
