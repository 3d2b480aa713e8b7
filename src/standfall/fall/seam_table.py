"""The seams of a build: pairs of neighbouring tiles, and which contacts and touches cross them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from standfall.fall.placement import Laying

Ids = NDArray[np.int32]
Reals = NDArray[np.float64]


@dataclass(frozen=True)
class SeamTable:
    """s pairs of neighbouring tiles.

    Attributes:
        tile, next_tile: (s,) int32 numbers of the tiles in the direction of the fall, 0 laid by hand.
        x_m, y_m: (s,) middle of the seam.
    """

    tile: Ids
    next_tile: Ids
    x_m: Reals
    y_m: Reals

    def __len__(self) -> int:
        return len(self.tile)


def find_seams(laying: Laying, fallen: Ids, edges: Ids, touch_pairs: Ids) -> tuple[SeamTable, Ids, Ids]:
    """List pairs of neighbouring tiles, in the direction in which most of their edges cross."""
    number = laying.tile.astype(np.int64) + 1
    most = int(number.max(initial=0)) + 1

    def key(pairs: Ids) -> NDArray[np.int64]:
        one, other = number[pairs[:, 0]], number[pairs[:, 1]]
        return np.where(one == other, -1, np.minimum(one, other) * most + np.maximum(one, other))

    edge_key, touch_key = key(edges), key(touch_pairs)
    known = np.unique(np.concatenate([edge_key, touch_key]))
    known = known[known >= 0]
    seam_of_edge = np.where(edge_key < 0, -1, np.searchsorted(known, edge_key)).astype(np.int32)
    seam_of_touch = np.searchsorted(known, touch_key).astype(np.int32)
    low, high = known // most, known % most
    fallen_key = key(fallen)
    across = fallen_key >= 0
    up = np.where(number[fallen[across, 0]] < number[fallen[across, 1]], 1.0, -1.0)
    balance = np.bincount(np.searchsorted(known, fallen_key[across]), weights=up, minlength=len(known))
    forward = balance >= 0
    pairs = np.concatenate([edges[edge_key >= 0], touch_pairs])
    rows = np.concatenate([seam_of_edge[edge_key >= 0], seam_of_touch])
    times = np.maximum(np.bincount(rows, minlength=len(known)), 1)
    middle = [
        np.bincount(rows, weights=column[pairs].mean(axis=1), minlength=len(known)) / times
        for column in (laying.x_m, laying.y_m)
    ]
    table = SeamTable(
        tile=np.where(forward, low, high).astype(np.int32),
        next_tile=np.where(forward, high, low).astype(np.int32),
        x_m=middle[0],
        y_m=middle[1],
    )
    return table, seam_of_edge, seam_of_touch
