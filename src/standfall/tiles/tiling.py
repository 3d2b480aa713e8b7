"""Tiles: the trayloads a field is cut into."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

TileKind = Literal["full", "edge", "holed"]
KINDS: tuple[TileKind, ...] = ("full", "edge", "holed")


@dataclass(frozen=True)
class Tiling:
    """m tiles over all fields; a tile's number is its row plus 1 (0 means: laid by hand).

    Numbered field by field in the brief's order, in each from row 0 on, in a band of rows from
    column 0 on.

    Attributes:
        field: (m,) int16 number of the field.
        first_row, first_col: (m,) int32 field cell under the corner of the tray opening beside the
            lowest row and column; negative where the tray reaches over the field's edge.
        x_m, y_m: (m,) centre of the tray opening in the hall.
        yaw_rad: (m,) of the tile frame: its x axis runs across the columns, its y axis along the fall
            when ``turn_deg`` is 0 and against it when 180.
        turn_deg: (m,) int16, 0 or 180: how the tray is turned against the fall.
        dominoes: (m,) int32 dominoes in the tray (floor layer).
        kind: (m,) int8 index into ``KINDS``: full, reaching over the field's edge, or with empty cells
            of the mural inside the field.
        cut_rows, cut_cols: per field, the offset of the cut: rows and columns by which the first tray
            reaches over the field's first row and column.
    """

    field: NDArray[np.int16]
    first_row: NDArray[np.int32]
    first_col: NDArray[np.int32]
    x_m: NDArray[np.float64]
    y_m: NDArray[np.float64]
    yaw_rad: NDArray[np.float64]
    turn_deg: NDArray[np.int16]
    dominoes: NDArray[np.int32]
    kind: NDArray[np.int8]
    cut_rows: tuple[int, ...]
    cut_cols: tuple[int, ...]

    def __len__(self) -> int:
        return len(self.field)

    @property
    def number(self) -> NDArray[np.int32]:
        """Return the tiles' numbers, from 1."""
        return np.arange(1, len(self.field) + 1, dtype=np.int32)
