"""From pixels to cells: the mean light over the true area of each domino of a field."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from standfall.mural import _kernels
from standfall.mural.conversion import LINEAR_OF_CODE
from standfall.mural.picture import Picture, Placement, crop_centre_on_field, laid_on_field

FloatArray = NDArray[np.float64]
Progress = Callable[[int, int, str], None]

#: Pixels worked on at a time. Bounds the memory beside the picture (16 MB for the copy) and sets how
#: often progress is told.
BAND_PX: Final = 4_000_000
# A side this near a pixel boundary is meant to lie on it; keeps whole-number ratios free of rounding.
_SNAP_PX: Final = 1e-7
# Cover this near 0 or 1 is 0 or 1: what is left of it is rounding.
_TRACE: Final = 1e-9


@dataclass(frozen=True)
class CellGrid:
    """The cells of a field, one per domino.

    Attributes:
        columns, rows: how many; row 0 falls first, column 0 is at the left seen along the fall.
        col_pitch_m, row_pitch_m: spacing across and along the fall, also the size of a cell.
        half_offset: rows 1, 3, ... stand half a column pitch to the right.

    Raises:
        ValueError: a count below 1 or a pitch that is not positive.
    """

    columns: int
    rows: int
    col_pitch_m: float
    row_pitch_m: float
    half_offset: bool = False

    def __post_init__(self) -> None:
        if self.columns < 1 or self.rows < 1:
            raise ValueError(f"a field needs at least one cell, not {self.columns} x {self.rows}")
        if not (0 < self.col_pitch_m < np.inf and 0 < self.row_pitch_m < np.inf):
            raise ValueError(f"pitches must be positive, not {self.col_pitch_m} m, {self.row_pitch_m} m")

    @property
    def shift_m(self) -> float:
        """How far rows 1, 3, ... stand to the right."""
        return 0.5 * self.col_pitch_m if self.half_offset and self.rows > 1 else 0.0

    @property
    def width_m(self) -> float:
        """Across the fall, from the left of the straight rows to the right of the shifted ones."""
        return self.columns * self.col_pitch_m + self.shift_m

    @property
    def length_m(self) -> float:
        """Along the fall."""
        return self.rows * self.row_pitch_m


@dataclass(frozen=True, eq=False)
class Cells:
    """What the picture asks of each cell.

    Attributes:
        linear: mean linear sRGB, float64 (rows, columns, 3), weighted by alpha; 0 where ``cover`` is 0.
        cover: mean alpha over the cell, float64 (rows, columns), 0 to 1; outside the picture counts as 0.
    """

    linear: FloatArray
    cover: FloatArray


def window_px(
    width_px: float, height_px: float, grid: CellGrid, fit: str, centre: tuple[float, float]
) -> tuple[float, float, float, float]:
    """The part of a laid picture that the field shows: (left, right, near, far) in its pixels.

    Args:
        width_px: columns of the picture as laid on the field (square pixels).
        height_px: rows of it.
        grid: the field.
        fit: as in `Placement`. With ``whole`` the window reaches beyond the picture.
        centre: as in `Placement.crop_centre`, but across and along the field.
    """
    if fit == "stretch":
        return 0.0, width_px, 0.0, height_px
    across, along = width_px / grid.width_m, height_px / grid.length_m  # pixels per metre
    scale = min(across, along) if fit == "crop" else max(across, along)
    # The side that decides is exact, not size times scale.
    wide = width_px if scale == across else grid.width_m * scale
    high = height_px if scale == along else grid.length_m * scale
    if fit == "whole":
        left, near = 0.5 * (width_px - wide), 0.5 * (height_px - high)
    else:
        left = min(max(centre[0] * width_px - 0.5 * wide, 0.0), width_px - wide)
        near = min(max(centre[1] * height_px - 0.5 * high, 0.0), height_px - high)
    return left, left + wide, near, near + high


def _snapped(edges_px: FloatArray) -> FloatArray:
    whole = np.rint(edges_px)
    return np.where(np.abs(edges_px - whole) < _SNAP_PX, whole, edges_px)


def cells_of_sums(sums: FloatArray, area: FloatArray | float) -> Cells:
    """Cells of premultiplied light and alpha (rows, columns, 4), summed over an area (rows, columns)."""
    cover = sums[..., 3] / area
    cover = np.where(cover < _TRACE, 0.0, np.where(cover > 1.0 - _TRACE, 1.0, cover))
    linear = np.zeros((*sums.shape[:2], 3))
    np.divide(sums[..., :3], sums[..., 3:], out=linear, where=cover[..., None] > 0)
    # A mean lies between its terms; rounding may leave it a last bit outside.
    return Cells(linear=np.clip(linear, 0.0, 1.0), cover=cover)


def average_cells(
    picture: Picture, grid: CellGrid, placement: Placement, progress: Progress | None = None
) -> Cells:
    """Mean colour of each cell: linear light, averaged over the exact area, weighted by alpha.

    A pixel is a square of even colour; each counts with the exact part of it that a cell covers, so that
    no light is gained or lost, for cells larger and smaller than a pixel alike. Averaging happens in
    linear light because light adds up and codes do not (Poynton, "Digital Video and HD", 2nd ed., 2012,
    chapter 27, from memory); a pixel counts by its alpha (Porter and Duff, SIGGRAPH 1984: premultiplied).

    Args:
        picture: the picture.
        grid: the field, whose real proportions are kept.
        placement: fit, crop and turn.
        progress: told (rows done, rows, "averaging the picture").

    Returns:
        `Cells` of shape (grid.rows, grid.columns).
    """
    laid = laid_on_field(picture.rgba, placement.picture_up)
    height, width = laid.shape[:2]
    centre = crop_centre_on_field(placement.crop_centre, placement.picture_up)
    left, right, near, far = window_px(width, height, grid, placement.fit, centre)
    row_edges = _snapped(near + (far - near) * np.arange(grid.rows + 1) / grid.rows)
    per_metre = (right - left) / grid.width_m
    columns = np.arange(grid.columns + 1) * grid.col_pitch_m
    sides = _snapped(left + np.stack([columns, columns + grid.shift_m]) * per_metre)

    sums = np.empty((grid.rows, grid.columns, 4))
    first = 0
    while first < grid.rows:
        top = max(0, int(np.floor(row_edges[first])))
        fitting = int(np.searchsorted(row_edges, top + max(1, BAND_PX // width), side="right")) - 1
        last = min(grid.rows, max(first + 1, fitting))
        bottom = min(height, int(np.ceil(row_edges[last])))
        sums[first:last] = _kernels.average_band(
            np.ascontiguousarray(laid[top : max(top, bottom)]),
            LINEAR_OF_CODE,
            row_edges[first : last + 1] - top,
            sides[:, :-1],
            sides[:, 1:],
            first,
        )
        first = last
        if progress is not None:
            progress(first, grid.rows, "averaging the picture")
    wide = np.diff(sides)[np.arange(grid.rows) % 2]
    return cells_of_sums(sums, wide * np.diff(row_edges)[:, None])
