"""What is printed on the lay sheet of a block, as plain data for the template."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from standfall.papers.block import Block, Colours, FieldColours, fit_runs
from standfall.papers.finder import Finder, place_on_finder
from standfall.papers.glyph import printable, shortened
from standfall.papers.page import (
    CORNER_MM,
    Grid,
    Page,
    RunStyle,
    run_letters,
)
from standfall.papers.run import break_lines, runs_of
from standfall.planning.plan import Plan

# A slot in the grid: the colour's number, or one of these.
HOLE, OUTSIDE = -1, -2
# Width of a digit of Libertinus Serif at the size of the row and column numbers (9 pt), with a gap.
_DIGIT_MM, _DIGIT_GAP_MM = 1.6, 1.4
# Width of an ordinary letter of the line below the title (11 pt, a third of it bold).
_LETTER_MM = 2.0


class BlockSheets:
    """Makes the sheets of a plan's blocks; holds what they share."""

    def __init__(
        self,
        plan: Plan,
        page: Page,
        fields: Sequence[FieldColours],
        finders: Sequence[Finder],
        neighbours: Mapping[int, tuple[int, int, int, int]],
    ) -> None:
        self._plan, self._page, self._fields, self._finders = plan, page, fields, finders
        self._neighbours = neighbours
        self._bands = [-(-field.rows // plan.brief.papers.band_rows) for field in plan.brief.fields]

    def sheet(self, block: Block) -> dict[str, Any]:
        """Return the data of one sheet."""
        plan, page = self._plan, self._page
        field = plan.brief.fields[block.field]
        colours, inside = self._fields[block.field].of(block)
        half = field.rows_laid == "half_offset"
        fit = fit_runs(colours, block, plan, page)
        assert fit is not None, "blocks are halved until their runs fit"
        style, grid = fit
        place = place_on_finder(block, field, self._finders[block.field])
        # A second layer is set by hand: the tray and its slots have no say.
        tray = bool(block.tile) and block.layer == 0
        turned = tray and int(plan.tiling.turn_deg[block.tile - 1]) == 180
        return {
            "kind": "block",
            **self._title(block),
            **self._what(block, int((colours >= 0).sum())),
            "layer": block.layer,
            "turned": turned,
            "tray": tray,
            "second": self._second(block),
            "grid": _grid_data(colours, inside, block, grid, half),
            "labels": self._labels(block, grid, turned, half) if tray else self._numbers(block, grid, half),
            **self._runs(block, colours, style),
            "counts": self._counts(colours, self._finders[block.field].height_mm),
            "finder": {"image": f"finder_{block.field}.png", "block": [round(value, 3) for value in place]},
            "finder_size": [self._finders[block.field].width_mm, self._finders[block.field].height_mm],
            "neighbours": list(self._neighbours.get(block.tile, ())),
        }

    def _title(self, block: Block) -> dict[str, Any]:
        part = f"part {block.part} of {block.parts}" if block.parts > 1 else ""
        if block.tile:
            return {"title": f"Tile {block.tile}", "of": f"of {len(self._plan.tiling)}", "part": part}
        bands = self._bands[block.field]
        return {"title": f"Band {block.band + 1}", "of": f"of {bands}", "part": part}

    def _what(self, block: Block, dominoes: int) -> dict[str, Any]:
        """The line below the title; the field's name gets what the rest leaves of it."""
        field = self._plan.brief.fields[block.field]
        rows = _range_text(block.first_row, block.rows, field.rows)
        cols = _range_text(block.first_col, block.cols, field.columns)
        rest = (
            len(f" · rows {rows} · columns {cols} · {dominoes} dominoes · tray not turned") + 20 * block.layer
        )
        room = int((self._page.inner_width_mm - CORNER_MM) / _LETTER_MM) - rest
        return {
            "field": shortened(printable(field.name), max(8, min(40, room))),
            "rows_text": rows,
            "cols_text": cols,
            "dominoes": dominoes,
        }

    def _second(self, block: Block) -> str:
        """Rows of a floor-layer block that carry a second domino, in words, empty when none does."""
        if block.layer:
            return ""
        upper = self._fields[block.field].colour[1]
        rows, cols = upper.shape
        r0, c0 = max(block.first_row, 0), max(block.first_col, 0)
        r1, c1 = min(block.first_row + block.rows, rows), min(block.first_col + block.cols, cols)
        stacked = np.flatnonzero((upper[r0:r1, c0:c1] >= 0).any(axis=1)) + r0
        return rows_in_words(stacked)

    def _numbers(self, block: Block, grid: Grid, half: bool) -> dict[str, Any]:
        """Row and column numbers, each with the middle of its row or column in cells from bottom or left."""
        field = self._plan.brief.fields[block.field]
        rows = [
            (n + 0.5, block.first_row + n) for n in range(block.rows) if 0 <= block.first_row + n < field.rows
        ]
        low = 0.5 + _shift(block.first_row, half)
        cols = [
            (n + low, block.first_col + n)
            for n in range(block.cols)
            if 0 <= block.first_col + n < field.columns
        ]
        return {
            "rows": rows,
            "cols": _thinned(cols, grid.cell_width_mm, field.columns - 1),
            "slot_rows": [],
            "slot_cols": [],
            "corner": [],
        }

    def _labels(self, block: Block, grid: Grid, turned: bool, half: bool) -> dict[str, Any]:
        """The same, with the tray's own numbers at the right and above, and the place of its slot 0, 0."""
        tray, tiling = self._plan.brief.tray, self._plan.tiling
        assert tray is not None, "tiles are cut by a tray"
        row0 = block.first_row - int(tiling.first_row[block.tile - 1])
        col0 = block.first_col - int(tiling.first_col[block.tile - 1])
        rows = [tray.rows - 1 - (row0 + n) if turned else row0 + n for n in range(block.rows)]
        cols = [tray.columns - 1 - (col0 + n) if turned else col0 + n for n in range(block.cols)]
        high = 0.5 + _shift(block.first_row + block.rows - 1, half)
        labels = self._numbers(block, grid, half)
        labels["slot_rows"] = [(n + 0.5, slot) for n, slot in enumerate(rows)]
        labels["slot_cols"] = _thinned(
            [(n + high, slot) for n, slot in enumerate(cols)], grid.cell_width_mm, tray.columns - 1
        )
        if 0 in rows and 0 in cols:
            labels["corner"] = ["right", "top"] if turned else ["left", "bottom"]
        return labels

    def _runs(self, block: Block, colours: Colours, style: RunStyle) -> dict[str, Any]:
        wide = run_letters(self._page, style.size_pt)
        lines = []
        for n in reversed(range(block.rows)):
            row = block.first_row + n
            for number, line in enumerate(break_lines(runs_of(colours[n]), self._plan.palette.codes, wide)):
                if line:
                    lines.append([f"row {row}" if number == 0 else "", line, n % 2 == 0])
        return {"runs": lines, "run_pt": style.size_pt, "run_line_mm": round(style.line_mm, 3)}

    def _counts(self, colours: Colours, finder_mm: float) -> dict[str, Any]:
        used = np.bincount(colours[colours >= 0], minlength=len(self._plan.palette))
        found = [(int(colour), int(used[colour])) for colour in np.flatnonzero(used)]
        lines = self._page.count_lines(finder_mm)
        columns = max(1, -(-len(found) // lines))
        letters = {1: 30, 2: 12}.get(columns, 0)
        names = [
            shortened(printable(self._plan.palette.names[colour]), letters) if letters else ""
            for colour, _ in found
        ]
        return {"columns": columns, "lines": lines, "of": found, "names": names}


def _shift(row: int, half: bool) -> float:
    return 0.5 * (row % 2) if half else 0.0


def _grid_data(
    colours: Colours, inside: NDArray[np.bool_], block: Block, grid: Grid, half: bool
) -> dict[str, Any]:
    slots = np.where(inside | (colours >= 0), colours, OUTSIDE)[::-1]
    shifts = [_shift(block.first_row + n, half) for n in reversed(range(block.rows))]
    return {
        "slots": slots.tolist(),
        "shifts": shifts,
        "cell": [round(grid.cell_width_mm, 3), round(grid.cell_height_mm, 3)],
        "code_pt": round(grid.code_pt, 2),
    }


def _range_text(first: int, count: int, size: int) -> str:
    low, high = max(first, 0), min(first + count, size) - 1
    return f"{low}" if low == high else f"{low} to {high}"


def rows_in_words(rows: NDArray[np.integer]) -> str:
    """Return sorted row numbers as ``rows 3 to 5, 9``."""
    if not len(rows):
        return ""
    breaks = np.flatnonzero(np.diff(rows) > 1) + 1
    stretches = [(int(part[0]), int(part[-1])) for part in np.split(rows, breaks)]
    words = ", ".join(f"{low}" if low == high else f"{low} to {high}" for low, high in stretches)
    return f"row{'s' if len(rows) > 1 else ''} {words}"


def _thinned(labels: list[tuple[float, int]], cell_mm: float, largest: int) -> list[tuple[float, int]]:
    """Leave out numbers that would touch: keep multiples of 1, 2, 5, 10, ... as cells are narrow."""
    needed = len(str(max(largest, 0))) * _DIGIT_MM + _DIGIT_GAP_MM
    step = next(step for step in (1, 2, 5, 10, 20, 50) if step * cell_mm >= needed or step == 50)
    return [label for label in labels if label[1] % step == 0]
