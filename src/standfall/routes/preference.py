"""Which of the steps that could be laid last is to be laid last: candidates for the access search.

Feasibility never depends on the choice (docs/routes.md), so it is free to serve short ways and tidy fronts.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from standfall.brief import Brief
from standfall.routes.step import KINDS, Steps
from standfall.tiles import Tiling

Floats = NDArray[np.float64]

# Hand work is taken away before any tile, so laid after all tiles as long as people still get there.
_BY_HAND_FIRST = -1e9


def preferences(
    brief: Brief, steps: Steps, tiling: Tiling, dock_m: Floats, movers: int
) -> Iterator[tuple[str, Floats]]:
    """Yield (name, preference) pairs; the lowest preference is laid last.

    ``far first`` lays what is farthest from the docks first. The others advance a straight front: along the
    fall, against it, to the right and to the left, each band begun at the end that is farther from the docks.

    Args:
        brief: for the fall directions and the tray.
        steps: n steps.
        tiling: the tiles.
        dock_m: (n,) how far each step is from its nearest dock.
        movers: robots or builders that work at once; the front is split among them, so that steps that follow
            each other lie apart.
    """
    distance = dock_m / max(float(dock_m.max(initial=0.0)), 1e-9)
    zone = _zone(brief, steps, tiling, movers)
    yield "far first", _finished(steps, distance, zone, movers)
    if not len(tiling):
        return
    along, across = _tray_places(brief, steps, tiling)
    for name, band in (
        ("along the fall", -along),
        ("against the fall", along),
        ("to the right", -across),
        ("to the left", across),
    ):
        # In a band the near end is taken away first, so laid last. A distance is at most 1, a band apart is 2.
        yield name, _finished(steps, 2.0 * band + distance, zone, movers)


def _tray_places(brief: Brief, steps: Steps, tiling: Tiling) -> tuple[Floats, Floats]:
    """Return for each step its place in trays along and across its field's fall, fields one after the other."""
    tray = brief.tray
    assert tray is not None
    along, across = np.zeros(len(steps)), np.zeros(len(steps))
    count = len(tiling)
    along[:count] = np.floor_divide(tiling.first_row, tray.rows) + 0.0
    across[:count] = np.floor_divide(tiling.first_col, tray.columns) + 0.0
    # One field after the other: bands of different fields do not mix.
    along[:count] += 1e4 * tiling.field
    across[:count] += 1e4 * tiling.field
    return along, across


def _zone(brief: Brief, steps: Steps, tiling: Tiling, movers: int) -> NDArray[np.int64]:
    """Return the zone of each step: as many as movers, side by side across the fall, equally full."""
    if movers < 2 or not len(tiling):
        return np.zeros(len(steps), np.int64)
    direction = brief.fields[int(tiling.field[0])].fall_direction_rad
    place = steps.x_m * math.sin(direction) - steps.y_m * math.cos(direction)
    tiles = steps.kind == KINDS.index("tile")
    edges = np.quantile(place[tiles], np.arange(1, movers) / movers)
    return np.searchsorted(edges, place, side="right")


def _finished(steps: Steps, value: Floats, zone: NDArray[np.int64], movers: int) -> Floats:
    """Rank the tiles zone by zone and deal them out in turn; put hand work at the end of the build."""
    rank = np.empty(len(steps))
    tiles = steps.kind == KINDS.index("tile")
    for number in range(max(movers, 1)):
        mine = np.flatnonzero(tiles & (zone == number))
        order = mine[np.argsort(value[mine], kind="stable")]
        # Zones of unequal size are dealt out in proportion, so that their fronts stay level.
        rank[order] = (np.arange(len(order)) + 0.5) / max(len(order), 1) + 1e-9 * number
    hand = np.flatnonzero(~tiles)
    # Among hand work the last line goes first, so lines are laid in the order of the brief.
    rank[hand] = _BY_HAND_FIRST - hand
    return rank
