"""Blocks: the rectangles of a field that share a lay sheet, in the order they are printed.

With trays, a tile is one block; for a crew without trays, a band of rows is cut into blocks side by
side. A block too wide, too high or too colourful for one page is halved until each part fits.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from standfall.brief import Field
from standfall.mural.standing import Standing
from standfall.papers.page import (
    COUNT_COLUMNS,
    RUN_STYLES,
    Grid,
    Page,
    RunStyle,
    finder_size_mm,
    lay_out_grid,
    most_columns,
    most_rows,
    run_letters,
    run_lines,
)
from standfall.papers.run import break_lines, runs_of
from standfall.planning.plan import Plan

Colours = NDArray[np.int16]


@dataclass(frozen=True)
class Block:
    """A rectangle of cells of a field on one sheet.

    ``tile`` is the tile's number, 0 in a band; ``band`` counts bands of a field from 0, -1 for a tile.
    ``first_row`` and ``first_col`` may be negative where a tray reaches over the field's edge.
    ``part`` of ``parts`` counts from 1.
    """

    field: int
    layer: int
    tile: int
    band: int
    first_row: int
    first_col: int
    rows: int
    cols: int
    part: int = 1
    parts: int = 1


@dataclass(frozen=True)
class FieldColours:
    """The dominoes of a field as arrays: per layer (rows, columns) colour, -1 for none; and their tile."""

    colour: tuple[Colours, Colours]
    tile: NDArray[np.int32]

    def of(self, block: Block) -> tuple[Colours, NDArray[np.bool_]]:
        """Return a block's colours (rows, cols), -1 for none, and whether each cell lies in the field."""
        colours = np.full((block.rows, block.cols), -1, dtype=np.int16)
        inside = np.zeros(colours.shape, dtype=np.bool_)
        rows, cols = self.tile.shape
        r0, c0 = max(block.first_row, 0), max(block.first_col, 0)
        r1, c1 = min(block.first_row + block.rows, rows), min(block.first_col + block.cols, cols)
        if r1 > r0 and c1 > c0:
            mine = self.tile[r0:r1, c0:c1] == block.tile
            there = (
                slice(r0 - block.first_row, r1 - block.first_row),
                slice(c0 - block.first_col, c1 - block.first_col),
            )
            colours[there] = np.where(mine, self.colour[block.layer][r0:r1, c0:c1], -1)
            inside[there] = True
        return colours, inside


def field_colours(plan: Plan) -> list[FieldColours]:
    """Return the dominoes of each field as arrays; in row bands no domino has a tile."""
    fields = [
        _one_field(plan.standing, number, field.rows, field.columns)
        for number, field in enumerate(plan.brief.fields)
    ]
    if plan.brief.papers.sheets == "row_bands":
        return [replace(field, tile=np.zeros_like(field.tile)) for field in fields]
    return fields


def _one_field(standing: Standing, number: int, rows: int, columns: int) -> FieldColours:
    mine = np.flatnonzero(standing.field == number)
    layers = []
    for layer in (0, 1):
        some = mine[standing.layer[mine] == layer]
        colour = np.full((rows, columns), -1, dtype=np.int16)
        colour[standing.row[some], standing.col[some]] = standing.colour[some]
        layers.append(colour)
    tile = np.zeros((rows, columns), dtype=np.int32)
    tile[standing.row[mine], standing.col[mine]] = standing.tile[mine]
    return FieldColours((layers[0], layers[1]), tile)


def make_blocks(plan: Plan, fields: Sequence[FieldColours], page: Page) -> list[Block]:
    """Return the blocks of all lay sheets in order: tile by tile or band by band, each with its second layer.

    Dominoes of a field that no tile holds are laid by hand: they come in bands after the tiles.
    """
    wholes = [*_tiles(plan), *(band for number in range(len(fields)) for band in _bands(number, plan))]
    return [block for whole in wholes for block in _layers(whole, fields, plan, page)]


def _tiles(plan: Plan) -> Iterator[Block]:
    tray, tiling = plan.brief.tray, plan.tiling
    if tray is None or plan.brief.papers.sheets == "row_bands":
        return
    for index in range(len(tiling)):
        yield Block(
            field=int(tiling.field[index]),
            layer=0,
            tile=index + 1,
            band=-1,
            first_row=int(tiling.first_row[index]),
            first_col=int(tiling.first_col[index]),
            rows=tray.rows,
            cols=tray.columns,
        )


def _bands(number: int, plan: Plan) -> Iterator[Block]:
    field, high = plan.brief.fields[number], plan.brief.papers.band_rows
    for band in range(math.ceil(field.rows / high)):
        first = band * high
        yield Block(number, 0, 0, band, first, 0, min(high, field.rows - first), field.columns)


def _layers(whole: Block, fields: Sequence[FieldColours], plan: Plan, page: Page) -> list[Block]:
    """Cut a block into parts that fit, then the same again for its second layer; leave out empty parts."""
    blocks = []
    for layer in (0, 1):
        block = replace(whole, layer=layer)
        colours, _ = fields[whole.field].of(block)
        if not (colours >= 0).any():
            continue
        parts = [
            part
            for part in _parts(block, colours, plan, page)
            if (fields[whole.field].of(part)[0] >= 0).any()
        ]
        blocks += [replace(part, part=n, parts=len(parts)) for n, part in enumerate(parts, start=1)]
    return blocks


def _parts(block: Block, colours: Colours, plan: Plan, page: Page) -> list[Block]:
    letters = max(len(code) for code in plan.palette.codes)
    half = plan.brief.fields[block.field].rows_laid == "half_offset"
    down = math.ceil(block.rows / most_rows())
    across = math.ceil(block.cols / most_columns(page, letters, half))
    parts = []
    for r0, r1 in _even_cuts(block.rows, down):
        for c0, c1 in _even_cuts(block.cols, across):
            part = replace(
                block,
                first_row=block.first_row + r0,
                first_col=block.first_col + c0,
                rows=r1 - r0,
                cols=c1 - c0,
            )
            parts += _halved(part, colours[r0:r1, c0:c1], plan, page)
    return parts


def _even_cuts(size: int, parts: int) -> list[tuple[int, int]]:
    edges = [size * n // parts for n in range(parts + 1)]
    return list(pairwise(edges))


def _halved(block: Block, colours: Colours, plan: Plan, page: Page) -> list[Block]:
    few = len(np.unique(colours[colours >= 0])) <= most_counts(page, plan.brief.fields[block.field])
    if few and fit_runs(colours, block, plan, page) is not None:
        return [block]
    if block.rows > 1:
        middle = block.rows // 2
        lower = replace(block, rows=middle)
        upper = replace(block, first_row=block.first_row + middle, rows=block.rows - middle)
        return _halved(lower, colours[:middle], plan, page) + _halved(upper, colours[middle:], plan, page)
    middle = block.cols // 2
    left = replace(block, cols=middle)
    right = replace(block, first_col=block.first_col + middle, cols=block.cols - middle)
    return _halved(left, colours[:, :middle], plan, page) + _halved(right, colours[:, middle:], plan, page)


def most_counts(page: Page, field: Field) -> int:
    """Return how many colours the list of counts on a field's sheets can hold."""
    _, high_mm = finder_size_mm(field.columns * field.col_pitch_m, field.rows * field.row_pitch_m)
    return page.count_lines(high_mm) * COUNT_COLUMNS


def fit_runs(colours: Colours, block: Block, plan: Plan, page: Page) -> tuple[RunStyle, Grid] | None:
    """Return the most readable style in which the block's runs fit below its grid, ``None`` when none does."""
    field = plan.brief.fields[block.field]
    letters = max(len(code) for code in plan.palette.codes)
    half = 0.5 if field.rows_laid == "half_offset" else 0.0
    aspect = field.row_pitch_m / field.col_pitch_m
    runs = [runs_of(row) for row in colours]
    for style in RUN_STYLES:
        grid = lay_out_grid(page, block.rows, block.cols + half, letters, aspect, style.low_slots)
        wide = run_letters(page, style.size_pt)
        lines = sum(len(break_lines(row, plan.palette.codes, wide)) for row in runs)
        if lines <= run_lines(page, block.rows * grid.cell_height_mm, style):
            return style, grid
    return None
