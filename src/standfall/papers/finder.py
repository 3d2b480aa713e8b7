"""Finders: a small picture of each field, the same on every sheet, and where a block lies on it."""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from standfall.brief import Field
from standfall.mural.conversion import linear_to_srgb8, srgb8_to_linear
from standfall.mural.palette import Palette
from standfall.papers.block import Block, FieldColours
from standfall.papers.page import finder_size_mm
from standfall.papers.preview import FLOOR
from standfall.planning.plan import Plan

# Pixels along the longer side of a finder: about 300 per inch at the size it is printed.
_SIDE_PX = 840


@dataclass(frozen=True)
class Finder:
    """A field seen from above with the fall upwards, for the corner of a sheet: PNG bytes and its size."""

    png: bytes
    width_mm: float
    height_mm: float


def make_finder(field: Field, colours: FieldColours, palette: Palette) -> Finder:
    """Draw a field one flat cell a domino, upper layer over lower.

    Args:
        field: its pitches.
        colours: what stands where.
        palette: the colours.
    """
    rows, cols = colours.tile.shape
    size_mm = finder_size_mm(cols * field.col_pitch_m, rows * field.row_pitch_m)
    seen = np.where(colours.colour[1] >= 0, colours.colour[1], colours.colour[0])[::-1]
    lights = np.concatenate([palette.srgb8, np.array([FLOOR], dtype=np.uint8)])
    share = _SIDE_PX / max(size_mm)
    picture = _resized(lights[seen], max(1, round(size_mm[0] * share)), max(1, round(size_mm[1] * share)))
    return Finder(png_bytes(picture), *size_mm)


def _resized(picture: NDArray[np.uint8], width_px: int, height_px: int) -> NDArray[np.uint8]:
    """Enlarge by repeating pixels, reduce by averaging in linear light, each axis by itself."""
    rows = np.arange(height_px) * picture.shape[0] // height_px
    cols = np.arange(width_px) * picture.shape[1] // width_px
    if picture.shape[0] <= height_px and picture.shape[1] <= width_px:
        return np.asarray(picture[rows][:, cols])
    light = srgb8_to_linear(picture)
    for axis, place in ((0, rows), (1, cols)):
        size = light.shape[axis]
        if size > len(place):
            counts = np.diff(np.concatenate([place, [size]])).astype(np.float64)
            shape = [1, 1, 1]
            shape[axis] = -1
            light = np.add.reduceat(light, place, axis=axis) / counts.reshape(shape)
        else:
            light = np.take(light, place, axis=axis)
    return linear_to_srgb8(light)


def png_bytes(picture: NDArray[np.uint8]) -> bytes:
    """Return sRGB codes (height, width, 3) as a PNG file; the same picture gives the same bytes."""
    file = io.BytesIO()
    Image.fromarray(picture).save(file, format="PNG", compress_level=6)
    return file.getvalue()


def place_on_finder(block: Block, field: Field, finder: Finder) -> tuple[float, float, float, float]:
    """Return x, y (from the top left), width and height in mm of a block on its finder, cut at the edges."""
    half = 0.5 if field.rows_laid == "half_offset" and block.cols < field.columns else 0.0
    left = min(max(block.first_col, 0), field.columns) / field.columns
    right = min(max(block.first_col + block.cols + half, 0), field.columns) / field.columns
    low = min(max(block.first_row, 0), field.rows) / field.rows
    high = min(max(block.first_row + block.rows, 0), field.rows) / field.rows
    wide, tall = finder.width_mm, finder.height_mm
    return left * wide, (1 - high) * tall, (right - left) * wide, (high - low) * tall


def neighbours(plan: Plan) -> dict[int, tuple[int, int, int, int]]:
    """Return for each tile its neighbours' numbers: ahead, behind, left, right, 0 where there is none."""
    tiling, tray = plan.tiling, plan.brief.tray
    if tray is None:
        return {}
    corners = [
        (int(field), int(row), int(col))
        for field, row, col in zip(tiling.field, tiling.first_row, tiling.first_col, strict=True)
    ]
    number = {corner: index + 1 for index, corner in enumerate(corners)}
    steps = ((tray.rows, 0), (-tray.rows, 0), (0, -tray.columns), (0, tray.columns))
    found = {}
    for index, (field, row, col) in enumerate(corners):
        ahead, behind, left, right = (
            number.get((field, row + down, col + across), 0) for down, across in steps
        )
        found[index + 1] = (ahead, behind, left, right)
    return found
