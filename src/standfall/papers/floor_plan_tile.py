"""Tiles on a floor plan: tinted from the first laid to the last, with their numbers and the robot's front."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from standfall.papers.floor_plan import FloorPlanDrawing
from standfall.papers.floor_plan_label import Labels
from standfall.papers.floor_plan_mark import INK, QUIET, Floats, Marks, Trace, Words
from standfall.papers.floor_plan_sheet import DIGIT_HEIGHT, SheetView, tile_sides_m
from standfall.papers.floor_plan_signs import TINTS, TRAPPED
from standfall.papers.page import MONO_WIDTH

# A tile's own number stands below the other where a tile is at least this many digits high, and its digits are then
# this high in parts of the others.
_OWN_FROM, _OWN_SHARE = 3.0, 0.5
_OWN_LEAST_MM = 1.2
# Every tenth number is bold, so that the eye finds its way.
_BOLD = 10


@dataclass(frozen=True)
class _Frame:
    """A tile on paper: middle, unit along its longer side (upright for a reader), half lengths."""

    middle: Floats
    along: Floats
    down: Floats
    half_long: float
    half_short: float


def draw_tiles(marks: Marks, labels: Labels, drawing: FloorPlanDrawing, view: SheetView) -> None:
    """Draw all tiles of a plan."""
    tiles = drawing.tiles
    if not len(tiles):
        return
    corners = view.to_paper(tiles.corners_m)
    _tints(marks, drawing, corners)
    width = 0.18 if view.digit_mm else 0.08
    marks.plan.append(Trace(tuple(corners), True, None, INK, width))
    lost = np.flatnonzero(tiles.order == 0)
    if len(lost):
        crosses = [line for tile in lost for line in (corners[tile][[0, 2]], corners[tile][[1, 3]])]
        marks.plan.append(Trace(tuple(crosses), stroke="#b3261e", width_mm=0.3))
    if not view.digit_mm:
        return
    _fronts(marks, drawing, corners, view)
    shown = range(len(tiles)) if view.field < 0 else np.flatnonzero(tiles.field == view.field).tolist()
    own = _own_digit_mm(drawing, view)
    for tile in shown:
        _numbers(marks, drawing, tile, corners[tile], view, own)
    if own == 0.0 and drawing.ordered:
        _rows(marks, labels, drawing, corners, view)


def _tints(marks: Marks, drawing: FloorPlanDrawing, corners: Floats) -> None:
    tiles = drawing.tiles
    if not drawing.ordered:
        marks.plan.append(Trace(tuple(corners), True, TINTS[0], None))
        return
    # By rank among the tiles alone, so that hand work last does not leave the last tints unused.
    rank = np.zeros(len(tiles), np.int64)
    laid = np.flatnonzero(tiles.order > 0)
    rank[laid[np.argsort(tiles.order[laid], kind="stable")]] = np.arange(len(laid))
    band = rank * len(TINTS) // max(len(laid), 1)
    for number, tint in enumerate(TINTS):
        mine = corners[(band == number) & (tiles.order > 0)]
        if len(mine):
            marks.plan.append(Trace(tuple(mine), True, tint, None))
    if (tiles.order == 0).any():
        marks.plan.append(Trace(tuple(corners[tiles.order == 0]), True, TRAPPED, None))


def _own_digit_mm(drawing: FloorPlanDrawing, view: SheetView) -> float:
    """Height of the digits of the tiles' own numbers, 0 when there is no room or they are the only ones."""
    across, along = tile_sides_m(drawing.tiles.corners_m)
    short_mm = float(np.percentile(np.minimum(across, along), 10)) * view.mm_per_m
    if not drawing.ordered or short_mm < _OWN_FROM * view.digit_mm:
        # Perhaps with smaller digits above: the two share the height.
        own = short_mm / _OWN_FROM * _OWN_SHARE
        return 0.0 if not drawing.ordered or own < _OWN_LEAST_MM else own
    return max(_OWN_SHARE * view.digit_mm, _OWN_LEAST_MM)


def _numbers(
    marks: Marks, drawing: FloorPlanDrawing, tile: int, corners: Floats, view: SheetView, own_mm: float
) -> None:
    frame = _frame(corners)
    order, number = int(drawing.tiles.order[tile]), int(drawing.tiles.number[tile])
    digit = min(view.digit_mm, own_mm / _OWN_SHARE) if own_mm else view.digit_mm
    text = str(order) if order else "-"
    # Tiles cut short at the edge of a field get smaller digits, or none.
    digit = _that_fits(digit, text, frame)
    if digit == 0.0:
        return
    shift = 0.5 * own_mm + 0.15 * digit if own_mm and frame.half_short >= digit + own_mm else 0.0
    angle = float(np.degrees(np.arctan2(frame.along[1], frame.along[0])))
    at = frame.middle + frame.down * (digit / 2 - shift)
    size = digit / DIGIT_HEIGHT
    bold = order % _BOLD == 0
    marks.plan.append(Words(text, (float(at[0]), float(at[1])), size, "middle", angle, mono=True, bold=bold))
    if shift:
        below = at + frame.down * (own_mm + 0.4 * digit)
        words = Words(
            str(number), (float(below[0]), float(below[1])), own_mm / DIGIT_HEIGHT, "middle", angle, mono=True,
            colour=QUIET,
        )  # fmt: skip
        marks.plan.append(words)


def _that_fits(digit: float, text: str, frame: _Frame) -> float:
    by_length = 2 * frame.half_long * 0.92 / (MONO_WIDTH * len(text)) * DIGIT_HEIGHT
    fitting = min(digit, by_length, 2 * frame.half_short * 0.72)
    return fitting if fitting >= 0.75 * digit else 0.0


def _frame(corners: Floats) -> _Frame:
    first, second = (corners[1] - corners[0]) / 2, (corners[2] - corners[1]) / 2
    a, b = float(np.hypot(*first)), float(np.hypot(*second))
    along = first / max(a, 1e-9) if a >= b else second / max(b, 1e-9)
    # Read from left to right, or from below upwards.
    if along[0] < -1e-9 or (abs(along[0]) <= 1e-9 and along[1] > 0):
        along = -along
    down = np.array([-along[1], along[0]])
    return _Frame(corners.mean(axis=0), along, down, max(a, b), min(a, b))


def _fronts(marks: Marks, drawing: FloorPlanDrawing, corners: Floats, view: SheetView) -> None:
    """A small black wedge inside the edge that the front of the robot points at."""
    wedges = []
    known = np.flatnonzero(np.isfinite(drawing.tiles.heading_rad))
    for tile in known.tolist():
        heading = float(drawing.tiles.heading_rad[tile])
        ahead = np.array([np.cos(heading), -np.sin(heading)])
        quad = corners[tile]
        sides = np.array([(quad[1] - quad[0]) / 2, (quad[2] - quad[1]) / 2])
        lengths = np.maximum(np.hypot(*sides.T), 1e-9)
        units = sides / lengths[:, None]
        front = int(np.argmax(np.abs(units @ ahead)))
        size = min(1.3, 0.26 * float(lengths.min()))
        # Beside the right end of the front edge, where no digit is.
        right = np.array([-ahead[1], ahead[0]])
        tip = quad.mean(axis=0) + lengths[front] * ahead + max(lengths[1 - front] - 1.3 * size, 0.0) * right
        aside = np.array([-ahead[1], ahead[0]])
        wedges.append(np.array([tip, tip - size * ahead + size * aside, tip - size * ahead - size * aside]))
    if wedges:
        marks.plan.append(Trace(tuple(wedges), True, INK, None))


def _rows(marks: Marks, labels: Labels, drawing: FloorPlanDrawing, corners: Floats, view: SheetView) -> None:
    """The tiles' own numbers, first and last, at the left end of each row of tiles."""
    tiles = drawing.tiles
    size = 1.7 / DIGIT_HEIGHT
    for key in sorted(set(zip(tiles.field.tolist(), tiles.row.tolist(), strict=True))):
        mine = np.flatnonzero((tiles.field == key[0]) & (tiles.row == key[1]))
        first, last = int(mine[np.argmin(tiles.number[mine])]), int(mine[np.argmax(tiles.number[mine])])
        quad = corners[first]
        out = quad[0] - quad[1]
        out = out / max(float(np.hypot(*out)), 1e-9)
        at = (quad[0] + quad[3]) / 2 + 1.2 * out
        low, high = int(tiles.number[first]), int(tiles.number[last])
        text = f"{low}" if low == high else f"{low}\u2013{high}"
        # Away from the field, along its rows; upside down only for a reader who stands on the other side.
        angle = float(np.degrees(np.arctan2(-out[1], -out[0])))
        flip = angle > 90.0 + 1e-6 or angle < -90.0 - 1e-6
        angle = angle - 180.0 if flip else angle
        turn = np.radians(angle)
        base = at + np.array([-np.sin(turn), np.cos(turn)]) * 0.36 * size
        anchor = "start" if flip else "end"
        words = Words(
            text, (float(base[0]), float(base[1])), size, anchor, angle, mono=True, colour=QUIET, halo=True
        )
        found = labels.one_of([words], needed=False)
        if found is not None:
            marks.plan.append(found)
