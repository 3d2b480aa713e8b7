"""The standing set: every domino of the build as one row of NumPy columns."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

NO_TILE = 0


@dataclass(frozen=True)
class Standing:
    """n dominoes; a domino's id is its row, from 0.

    Order: fields as in the brief, in each the lower layer row by row and column by column, then
    the upper layer likewise; then the lines as in the brief, each from its start.

    Attributes:
        x_m, y_m: (n,) middle of the footprint in the hall.
        z_m: (n,) height its foot stands at: 0 on the floor, one domino height when stacked.
        yaw_rad: (n,) direction of its fall in the hall, counter-clockwise from x.
        colour: (n,) int16 number in the palette.
        field: (n,) int16 number of the field, -1 for a line's domino.
        line: (n,) int16 number of the line, -1 for a field's domino.
        row, col: (n,) int32 field row and column; on a line, row is the place along it and col is 0.
        layer: (n,) int8, 0 on the floor, 1 on top of another domino.
        tile: (n,) int32 number of its tile from 1, 0 (``NO_TILE``) when laid by hand.
        slot_row, slot_col: (n,) int16 slot in the tray's own rows and columns, -1 without a tile.
            A stacked domino carries the tile and slot of the one it stands on.
    """

    x_m: NDArray[np.float64]
    y_m: NDArray[np.float64]
    z_m: NDArray[np.float64]
    yaw_rad: NDArray[np.float64]
    colour: NDArray[np.int16]
    field: NDArray[np.int16]
    line: NDArray[np.int16]
    row: NDArray[np.int32]
    col: NDArray[np.int32]
    layer: NDArray[np.int8]
    tile: NDArray[np.int32]
    slot_row: NDArray[np.int16]
    slot_col: NDArray[np.int16]

    def __len__(self) -> int:
        return len(self.x_m)


STANDING_TYPES: dict[str, type] = {
    "x_m": np.float64,
    "y_m": np.float64,
    "z_m": np.float64,
    "yaw_rad": np.float64,
    "colour": np.int16,
    "field": np.int16,
    "line": np.int16,
    "row": np.int32,
    "col": np.int32,
    "layer": np.int8,
    "tile": np.int32,
    "slot_row": np.int16,
    "slot_col": np.int16,
}


def join_standing(parts: list[Standing]) -> Standing:
    """Put standing sets one behind the other, in the order given."""
    return Standing(
        **{
            column.name: (
                np.concatenate([getattr(part, column.name) for part in parts])
                if parts
                else np.empty(0, dtype=STANDING_TYPES[column.name])
            )
            for column in fields(Standing)
        }
    )
