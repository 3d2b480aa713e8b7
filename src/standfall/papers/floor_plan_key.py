"""The column beside a floor plan: what it is, to what scale, what the signs mean, what to take care of."""

from __future__ import annotations

import numpy as np

from standfall.papers.floor_plan import FloorPlanDrawing
from standfall.papers.floor_plan_mark import (
    HAIR,
    INK,
    PAPER,
    QUIET,
    Marks,
    Trace,
    Words,
    box_mm,
    words_width_mm,
)
from standfall.papers.floor_plan_sheet import LEAST_DIGIT_MM, MARGIN_MM, SIDE_MM, SheetView
from standfall.papers.floor_plan_signs import (
    AREA_MEANING,
    CAUTIONS,
    DOCK_LETTERS,
    DOCK_WORDS,
    HAND,
    LANE,
    TINTS,
    TRAPPED,
    WALK,
    area_fill,
    area_ink,
)
from standfall.papers.floor_plan_symbol import dock_sign
from standfall.papers.glyph import shortened
from standfall.papers.scale import round_step

_BODY_MM, _LINE_MM = 2.9, 3.75
_SIGN_MM = 12.0
_BAR_LONGEST_MM = 60.0


class _Column:
    """A cursor that goes down the column."""

    def __init__(self, marks: Marks, view: SheetView) -> None:
        self.marks, self.left = marks, view.width_mm - MARGIN_MM - SIDE_MM
        self.y = MARGIN_MM

    def words(
        self, text: str, size: float = _BODY_MM, *, bold: bool = False, colour: str = INK, x: float = 0.0
    ) -> None:
        """Put words on the base line where the cursor is."""
        self.marks.sheet.append(Words(text, (self.left + x, self.y), size, bold=bold, colour=colour))

    def paragraph(self, text: str, *, x: float = 0.0, colour: str = INK, size: float = _BODY_MM) -> None:
        """Put words on as many lines as they need, and go below them."""
        for line in wrapped(text, SIDE_MM - x, size):
            self.words(line, size, colour=colour, x=x)
            self.y += _LINE_MM * size / _BODY_MM

    def heading(self, text: str) -> None:
        self.y += 3.6
        rule = np.array([(self.left, self.y - 4.4), (self.left + SIDE_MM, self.y - 4.4)])
        self.marks.sheet.append(Trace((rule,), stroke=HAIR, width_mm=0.2))
        self.words(text, 3.1, bold=True, colour=QUIET)
        self.y += 4.6

    def sign(self, marks: list[Trace | Words], text: str) -> None:
        """Put a sign and what it means, and go below them."""
        self.marks.sheet += marks
        self.paragraph(text, x=_SIGN_MM)
        self.y += 0.5


def wrapped(text: str, width_mm: float, size_mm: float) -> list[str]:
    """Break words into lines that are no wider than ``width_mm``."""
    lines, line = [], ""
    for word in text.split():
        longer = f"{line} {word}".strip()
        if line and words_width_mm(Words(longer, (0.0, 0.0), size_mm)) > width_mm:
            lines.append(line)
            line = word
        else:
            line = longer
    return [*lines, line]


def draw_key(marks: Marks, drawing: FloorPlanDrawing, view: SheetView, sheet: int, sheets: int) -> None:
    """Draw the column."""
    column = _Column(marks, view)
    _title(column, drawing, view, sheet, sheets)
    _scale_bar(column, view)
    column.heading("What is on it")
    for words, figure in drawing.facts:
        column.words(words, colour=QUIET)
        column.words(figure, bold=True, x=34.0)
        column.y += _LINE_MM
    for note in drawing.notes:
        column.paragraph(note)
    if len(drawing.tiles) and not view.digit_mm:
        column.paragraph(
            f"Numbers lower than {LEAST_DIGIT_MM:g} mm are left out here; the next sheets have them, and the DXF file."
            if sheets > 1
            else f"Numbers lower than {LEAST_DIGIT_MM:g} mm are left out here; the DXF file has them."
        )
    column.heading("Signs")
    _tile_signs(column, drawing, view)
    _other_signs(column, drawing)
    column.heading("Take care")
    for caution in CAUTIONS:
        dot = box_mm((column.left + 0.4, column.y - 1.5), (column.left + 1.4, column.y - 0.5))
        marks.sheet.append(Trace((dot,), True, INK, None))
        column.paragraph(caution, x=3.0)
        column.y += 0.8


def _title(column: _Column, drawing: FloorPlanDrawing, view: SheetView, sheet: int, sheets: int) -> None:
    column.y += 6.0
    column.words(shortened(view.title, 30), 7.0, bold=True)
    column.y += 6.2
    column.words(shortened(drawing.name, 40), 3.9, bold=True)
    column.y += 4.6
    if drawing.place:
        column.words(shortened(drawing.place, 48), 3.1)
        column.y += 4.4
    which = f"sheet {sheet} of {sheets}" + (f", plan {drawing.plan}" if drawing.plan else "")
    column.words(which, colour=QUIET)
    column.y += 2.4


def _scale_bar(column: _Column, view: SheetView) -> None:
    """A bar of whole metres in black and white, and what to measure on it."""
    column.heading(f"Scale 1:{view.scale:,} on {view.paper}")
    unit_m = round_step(_BAR_LONGEST_MM / view.mm_per_m, 5)
    count = max(1, int(_BAR_LONGEST_MM / view.mm_per_m / unit_m + 1e-9))
    left, top = column.left + 1.0, column.y + 1.6
    for number in range(count):
        low = (left + number * unit_m * view.mm_per_m, top)
        high = (left + (number + 1) * unit_m * view.mm_per_m, top + 1.8)
        column.marks.sheet.append(
            Trace((box_mm(low, high),), True, INK if number % 2 == 0 else PAPER, INK, 0.2)
        )
    for number in range(count + 1):
        at = (left + number * unit_m * view.mm_per_m, top - 0.8)
        column.marks.sheet.append(Words(f"{number * unit_m:g}", at, 2.3, "middle", mono=True))
    column.marks.sheet.append(
        Words("m", (left + count * unit_m * view.mm_per_m + 3.4, top - 0.8), 2.3, mono=True)
    )
    column.y = top + 6.4
    length = count * unit_m * view.mm_per_m
    column.paragraph(
        f"Print at actual size: the bar is {length:.1f} mm long. Dimensions are in mm.", colour=QUIET
    )


def _tile_signs(column: _Column, drawing: FloorPlanDrawing, view: SheetView) -> None:
    if not len(drawing.tiles):
        return
    left, y = column.left, column.y
    tile = box_mm((left, y - 3.0), (left + 9.0, y + 1.2))
    number = Words("40", (left + 4.5, y + 0.05), 2.9, "middle", mono=True, bold=True)
    what = "tile, laid as the 40th step" if drawing.ordered else "tile with its number"
    sign: list[Trace | Words] = [Trace((tile,), True, TINTS[2], INK, 0.18)]
    column.sign([*sign, number] if view.digit_mm else sign, what if view.digit_mm else "tile")
    if not drawing.ordered:
        return
    y = column.y
    wide = 9.0 / len(TINTS)
    tints: list[Trace | Words] = [
        Trace((box_mm((left + n * wide, y - 2.6), (left + (n + 1) * wide, y + 0.4)),), True, tint, INK, 0.1)
        for n, tint in enumerate(TINTS)
    ]
    column.sign(tints, "from the first tiles laid to the last")
    if np.isfinite(drawing.tiles.heading_rad).any() and view.digit_mm:
        y = column.y
        wedge = np.array([(left + 7.4, y - 2.6), (left + 8.7, y - 1.3), (left + 6.1, y - 1.3)])
        edge = np.array([(left, y - 2.6), (left + 9.0, y - 2.6)])
        column.sign(
            [Trace((edge,), width_mm=0.18), Trace((wedge,), True, INK, None)],
            "front of the robot at set-down",
        )
    if view.digit_mm:
        y = column.y
        column.sign(
            [Words("16\u201330", (left + 4.5, y), 2.3, "middle", mono=True, colour=QUIET)],
            "the tiles' own numbers: below the other, or of a whole row at its left end",
        )
    if (drawing.tiles.order == 0).any():
        y = column.y
        box = box_mm((left, y - 2.8), (left + 9.0, y + 0.6))
        cross = (box[[0, 2]], box[[1, 3]])
        column.sign(
            [Trace((box,), True, TRAPPED, INK, 0.18), Trace(cross, stroke="#b3261e", width_mm=0.3)],
            "tile that cannot be laid",
        )


def _other_signs(column: _Column, drawing: FloorPlanDrawing) -> None:
    left = column.left

    def stroke(colour: str, width: float, dash: tuple[float, ...] = ()) -> list[Trace | Words]:
        line = np.array([(left, column.y - 1.0), (left + 9.0, column.y - 1.0)])
        return [Trace((line,), stroke=colour, width_mm=width, dash_mm=dash)]

    kinds = {hand.kind for hand in drawing.hands}
    if "line" in kinds:
        column.sign(
            stroke(HAND, 0.9), "line laid by hand, with its steps" if drawing.ordered else "line laid by hand"
        )
    if "gap" in kinds:
        box = box_mm((left, column.y - 2.6), (left + 9.0, column.y + 0.4))
        column.sign([Trace((box,), True, "hatch:gap", HAND, 0.2)], "rows closed by hand")
    lanes = {lane.kind for lane in drawing.lanes}
    if "drive" in lanes:
        column.sign(stroke(LANE, 0.3), "where robots drive; ways close together are drawn once")
    if "walk" in lanes:
        column.sign(stroke(WALK, 0.3, (0.9, 0.9)), "where people walk to lay")
    for kind in AREA_MEANING:
        if any(area.kind == kind for area in drawing.areas):
            box = box_mm((left, column.y - 2.6), (left + 9.0, column.y + 0.4))
            column.sign([Trace((box,), True, area_fill(kind), area_ink(kind), 0.3)], AREA_MEANING[kind])
    for kind in DOCK_LETTERS:
        if any(dock.kind == kind for dock in drawing.docks):
            column.y += 0.6
            column.sign(dock_sign(kind, left + 4.5, column.y - 1.0), DOCK_WORDS[kind])
