"""A field on the floor: where each of its cells stands in the hall."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from standfall.brief import Field
from standfall.geometry import FieldFrame
from standfall.mural.cells import CellGrid

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class FieldPlace:
    """The cell grid of a field and its place in the hall."""

    grid: CellGrid
    frame: FieldFrame

    def across_m(self, rows: NDArray[np.integer], cols: NDArray[np.integer]) -> Floats:
        """Distance of cell middles from the field's left edge, to the right seen along the fall.

        ``rows`` and ``cols`` (same shape) may lie outside the field; the grid goes on evenly.
        """
        shift = 0.5 * (rows % 2) if self.grid.half_offset else 0.0
        return np.asarray((cols + 0.5 + shift) * self.grid.col_pitch_m)

    def along_m(self, rows: NDArray[np.integer]) -> Floats:
        """Distance of cell middles from the field's back edge, along the fall."""
        return np.asarray((rows + 0.5) * self.grid.row_pitch_m)

    def centres(self, rows: NDArray[np.integer], cols: NDArray[np.integer]) -> tuple[Floats, Floats]:
        """Return ``x_m``, ``y_m`` in the hall of the middles of cells."""
        return self.frame.to_hall(self.across_m(rows, cols), self.along_m(rows))

    def corners_m(self) -> Floats:
        """Return the (4, 2) corners of the field in the hall: back left, back right, front right, front left."""
        across = np.array([0.0, self.grid.width_m, self.grid.width_m, 0.0])
        along = np.array([0.0, 0.0, self.grid.length_m, self.grid.length_m])
        return np.stack(self.frame.to_hall(across, along), axis=-1)


def place_field(field: Field) -> FieldPlace:
    """Return where a field of the brief lies."""
    grid = CellGrid(
        columns=field.columns,
        rows=field.rows,
        col_pitch_m=field.col_pitch_m,
        row_pitch_m=field.row_pitch_m,
        half_offset=field.rows_laid == "half_offset",
    )
    return FieldPlace(grid, FieldFrame(field.corner_m, field.fall_direction_rad))
