"""The marks of one sheet: hall, areas, lanes, tiles with their numbers, lines, docks, dimensions, rulers."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely

from standfall.papers.floor_plan import AreaMark, DockMark, FloorPlanDrawing
from standfall.papers.floor_plan_dimension import Dimension
from standfall.papers.floor_plan_key import draw_key
from standfall.papers.floor_plan_label import Labels
from standfall.papers.floor_plan_mark import (
    HAIR,
    INK,
    PALE,
    PAPER,
    QUIET,
    Floats,
    Marks,
    Trace,
    Words,
    box_mm,
    words_width_mm,
)
from standfall.papers.floor_plan_sheet import RULER_MM, SheetView
from standfall.papers.floor_plan_signs import (
    AREA_WORDS,
    HAND,
    LANE,
    WALK,
    area_fill,
    area_ink,
)
from standfall.papers.floor_plan_symbol import arrow, cross, dock_sign, ring
from standfall.papers.floor_plan_tile import draw_tiles
from standfall.papers.scale import round_step

_WALL_MM = 0.7
# Distance of a dimension from what it measures, and of a second one from the first.
_AWAY_MM, _LEVEL_MM = 6.0, 5.0
_FIGURE_MM = 2.5
_NAME_MM, _PLACE_MM = 3.0, 2.3


def draw_sheet(drawing: FloorPlanDrawing, view: SheetView, sheet: int = 1, sheets: int = 1) -> Marks:
    """Return all marks of a sheet.

    Args:
        drawing: what is drawn.
        view: the sheet.
        sheet, sheets: its number, and how many there are.
    """
    marks = Marks()
    left, top, wide, high = view.plan_mm
    labels = Labels((left, top), (left + wide, top + high))
    marks.plan.append(Trace((box_mm((left, top), (left + wide, top + high)),), True, PALE, None))
    marks.plan.append(Trace((view.to_paper(drawing.outline_m),), True, PAPER, None))
    _areas(marks, drawing, view)
    _grid(marks, drawing, view)
    for kind, colour, dash in (("walk", WALK, (0.9, 0.9)), ("drive", LANE, ())):
        ways = tuple(view.to_paper(lane.path_m) for lane in drawing.lanes if lane.kind == kind)
        if ways:
            marks.plan.append(Trace(ways, stroke=colour, width_mm=0.3, dash_mm=dash))
    _room_for_labels(labels, drawing, view)
    draw_tiles(marks, labels, drawing, view)
    _hands(marks, labels, drawing, view)
    marks.plan.append(Trace((view.to_paper(drawing.outline_m),), True, None, INK, _WALL_MM))
    for dimension in drawing.dimensions:
        if view.field < 0 or dimension.kind == "field":
            _dimension(marks, labels, dimension, view)
    for dock in drawing.docks:
        _dock(marks, labels, dock, view)
    _names(marks, labels, drawing, view)
    _origin(marks, view)
    _rulers(marks, view)
    draw_key(marks, drawing, view, sheet, sheets)
    return marks


# ---------------------------------------------------------------- floor


def _areas(marks: Marks, drawing: FloorPlanDrawing, view: SheetView) -> None:
    for area in drawing.areas:
        edge = view.to_paper(area.corners_m)
        marks.plan.append(Trace((edge,), True, area_fill(area.kind), area_ink(area.kind), 0.3))


def _grid(marks: Marks, drawing: FloorPlanDrawing, view: SheetView) -> None:
    """Small crosses on the floor where the labelled lines of both rulers meet."""
    step = ruler_step_m(view)
    low, high = drawing.outline_m.min(axis=0), drawing.outline_m.max(axis=0)
    xs = np.arange(np.ceil(low[0] / step), np.floor(high[0] / step) + 1) * step
    ys = np.arange(np.ceil(low[1] / step), np.floor(high[1] / step) + 1) * step
    if len(xs) * len(ys) > 10_000:
        return
    places = np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2)
    floor = shapely.Polygon(drawing.outline_m)
    inside = places[shapely.contains_xy(floor, places[:, 0], places[:, 1])]
    arms = [stroke for x, y in view.to_paper(inside).tolist() for stroke in cross(x, y, 0.8)]
    if arms:
        marks.plan.append(Trace(tuple(arms), stroke=HAIR, width_mm=0.12))


def _room_for_labels(labels: Labels, drawing: FloorPlanDrawing, view: SheetView) -> None:
    for field in drawing.fields:
        labels.keep_clear(view.to_paper(field.corners_m))
    for area in drawing.areas:
        labels.keep_clear(view.to_paper(area.corners_m))
    for hand in drawing.hands:
        labels.keep_off(view.to_paper(hand.path_m), 0.6)
    outline = view.to_paper(np.concatenate([drawing.outline_m, drawing.outline_m[:1]]))
    labels.keep_off(outline, 0.5)
    for dock in drawing.docks:
        place = view.to_paper(np.array(dock.place_m))
        labels.keep_clear(box_mm((place[0] - 2.4, place[1] - 2.4), (place[0] + 2.4, place[1] + 2.4)))
        ahead = np.array([np.cos(dock.heading_rad), -np.sin(dock.heading_rad)])
        labels.keep_off(np.array([place, place + 8.0 * ahead]), 1.2)
        for part in dock.body_m:
            labels.keep_clear(view.to_paper(part))


def _names(marks: Marks, labels: Labels, drawing: FloorPlanDrawing, view: SheetView) -> None:
    for area in drawing.areas:
        _area_name(marks, labels, area, view)
    for field in drawing.fields:
        corner = field.corners_m[0]
        place = f"row 0, column 0: x {corner[0] * 1000:,.0f}, y {corner[1] * 1000:,.0f} mm"
        at = view.to_paper(corner)
        back = -np.array([np.cos(field.fall_rad), -np.sin(field.fall_rad)])
        name = Words(f"field {field.name}", (0.0, 0.0), _NAME_MM, bold=True, halo=True)
        marks.plan.append(labels.beside(name, at + 3.2 * back, 1.2))
        where = Words(place, (0.0, 0.0), _PLACE_MM, colour=QUIET, halo=True)
        marks.plan.append(labels.beside(where, at + 6.5 * back, 1.2))
        marks.plan.append(Trace(cross(float(at[0]), float(at[1]), 1.6)))
        _fall_arrow(marks, field.corners_m, view)


def _fall_arrow(marks: Marks, corners_m: Floats, view: SheetView) -> None:
    """An arrow that comes from behind to row 0, near its right end."""
    left, right, front = view.to_paper(corners_m[:3])
    ahead = (front - right) / max(float(np.hypot(*(front - right))), 1e-9)
    tip = left + 0.9 * (right - left) - 0.8 * ahead
    marks.plan += arrow(tip - 8.0 * ahead, tip, 2.6, INK, 0.5)
    aside = np.array([-ahead[1], ahead[0]])
    at = tip - 4.6 * ahead + 2.2 * aside
    words = Words("fall", (0.0, 0.0), 2.6, "middle", bold=True)
    marks.plan.append(_at(words, at[0] + (2.4 if abs(ahead[1]) > abs(ahead[0]) else 0.0), at[1] + 0.9))


def _area_name(marks: Marks, labels: Labels, area: AreaMark, view: SheetView) -> None:
    edge = view.to_paper(area.corners_m)
    words = AREA_WORDS[area.kind]
    own = area.name if area.name.casefold().startswith(words.casefold()) else f"{words}: {area.name}"
    size = 2.5
    name = Words(own, (0.0, 0.0), size, "middle", bold=True, colour=area_ink(area.kind), halo=True)
    wide, high = np.ptp(edge, axis=0)
    middle = shapely.Polygon(edge).representative_point()
    width = words_width_mm(name)
    if wide >= width + 1.0 and high >= size * 1.3:
        marks.plan.append(_at(name, middle.x, middle.y + 0.28 * size))
    elif high >= width + 1.0 and wide >= size * 1.3:
        marks.plan.append(_at(name, middle.x + 0.28 * size, middle.y, -90.0))
    elif area.kind not in ("pillar", "hole"):
        marks.plan.append(
            labels.beside(name, np.array([middle.x, middle.y]), float(min(wide, high)) / 2 + 1.0)
        )


def _at(words: Words, x: float, y: float, angle_deg: float = 0.0) -> Words:
    return replace(words, at_mm=(float(x), float(y)), angle_deg=angle_deg)


# ---------------------------------------------------------------- hand work and docks


def _hands(marks: Marks, labels: Labels, drawing: FloorPlanDrawing, view: SheetView) -> None:
    width = max(drawing.line_width_m * view.mm_per_m, 0.5)
    for hand in drawing.hands:
        path = view.to_paper(hand.path_m)
        if hand.kind == "gap":
            marks.plan.append(Trace((path,), True, "hatch:gap", HAND, 0.2))
        elif len(path) > 1:
            marks.plan.append(Trace((path,), stroke=HAND, width_mm=width))
            marks.plan.append(Trace((_across(path, width + 1.2),), stroke=HAND, width_mm=0.25))
    for hand in drawing.hands:
        if hand.order > 0:
            found = labels.one_of(
                _beside_path(hand.kind, view.to_paper(hand.path_m), str(hand.order)), needed=False
            )
            if found is not None:
                marks.plan.append(found)


def _across(path: Floats, length_mm: float) -> Floats:
    """A short stroke across the beginning of a path."""
    way = path[1] - path[0]
    aside = np.array([-way[1], way[0]]) / max(float(np.hypot(*way)), 1e-9) * length_mm / 2
    return np.array([path[0] - aside, path[0] + aside])


def _beside_path(kind: str, path: Floats, text: str) -> list[Words]:
    """Words on both sides of the middle of a path, or in the middle of an outline."""
    size = 2.3
    words = Words(text, (0.0, 0.0), size, "middle", mono=True, bold=True, colour=HAND, halo=True)
    if kind == "gap":
        middle = path.mean(axis=0)
        return [_at(words, float(middle[0]), float(middle[1]) + 0.36 * size)]
    at = len(path) // 2
    middle = path[at]
    way = path[min(at + 1, len(path) - 1)] - path[max(at - 1, 0)]
    aside = np.array([-way[1], way[0]]) / max(float(np.hypot(*way)), 1e-9)
    found = []
    for away in (2.6, -2.6, 3.8, -3.8):
        place = middle + aside * away
        found.append(_at(words, float(place[0]), float(place[1]) + 0.36 * size))
    return found


def _dock(marks: Marks, labels: Labels, dock: DockMark, view: SheetView) -> None:
    place = view.to_paper(np.array(dock.place_m))
    if dock.body_m:
        parts = tuple(view.to_paper(part) for part in dock.body_m)
        marks.plan.append(Trace(parts, True, "#e9e6e1", QUIET, 0.2))
    ahead = np.array([np.cos(dock.heading_rad), -np.sin(dock.heading_rad)])
    if dock.kind != "crew":
        marks.plan += arrow(place + 1.5 * ahead, place + 7.5 * ahead, 2.2, INK, 0.55)
    marks.plan += dock_sign(dock.kind, float(place[0]), float(place[1]))
    name = Words(dock.name, (0.0, 0.0), _NAME_MM, bold=True, halo=True)
    marks.plan.append(labels.beside(name, place, 3.2))


# ---------------------------------------------------------------- measures


def _dimension(marks: Marks, labels: Labels, dimension: Dimension, view: SheetView) -> None:
    begin, end = view.to_paper(np.array([dimension.begin_m, dimension.end_m]))
    length = float(np.hypot(*(end - begin)))
    if length < 3.0:
        return
    way = (end - begin) / length
    # To the right of the way in the hall is to the left of it on the paper, whose y runs down.
    aside = np.array([-way[1], way[0]])
    away = _AWAY_MM + _LEVEL_MM * dimension.level if dimension.kind == "hall" else _AWAY_MM - 1.0
    a, b = begin + away * aside, end + away * aside
    colour = INK if dimension.kind == "hall" else QUIET
    slash = (way + aside) * 0.9
    lines = (
        np.array([begin + 1.2 * aside, a + 1.2 * aside]),
        np.array([end + 1.2 * aside, b + 1.2 * aside]),
        np.array([a - 1.0 * way, b + 1.0 * way]),
    )
    marks.plan.append(Trace(lines, stroke=colour, width_mm=0.15))
    marks.plan.append(
        Trace(tuple(np.array([p - slash, p + slash]) for p in (a, b)), stroke=colour, width_mm=0.4)
    )
    angle = float(np.degrees(np.arctan2(way[1], way[0])))
    angle = angle + 180.0 if angle > 90.0 + 1e-6 or angle <= -90.0 - 1e-6 else angle
    angle = -90.0 if abs(abs(angle) - 90.0) < 1e-6 else (angle + 180.0) % 360.0 - 180.0
    turn = np.radians(angle)
    above = np.array([np.sin(turn), -np.cos(turn)])
    middle = (a + b) / 2 + 0.7 * above
    text = f"{dimension.length_mm:,.0f}"
    figure = Words(
        text,
        (float(middle[0]), float(middle[1])),
        _FIGURE_MM,
        "middle",
        angle,
        mono=True,
        colour=colour,
    )
    marks.plan.append(figure)
    labels.keep_clear(box_mm(tuple(np.minimum(a, b) - 2.8), tuple(np.maximum(a, b) + 2.8)))


def _origin(marks: Marks, view: SheetView) -> None:
    """A mark at x = 0, y = 0 of the hall with its axes."""
    x, y = (float(value) for value in view.to_paper(np.zeros(2)))
    left, top, wide, high = view.plan_mm
    if not (left < x < left + wide and top < y < top + high):
        return
    here = np.array([x, y])
    marks.plan += arrow(here, np.array([x + 9.0, y]), 2.0, INK, 0.35)
    marks.plan += arrow(here, np.array([x, y - 9.0]), 2.0, INK, 0.35)
    marks.plan.append(Trace((ring(x, y, 1.3),), True, PAPER, INK, 0.35))
    marks.plan.append(Trace(cross(x, y, 1.3), stroke=INK, width_mm=0.25))
    marks.plan.append(Words("x", (x + 9.8, y + 0.8), 2.8, mono=True, bold=True, halo=True))
    marks.plan.append(Words("y", (x - 0.8, y - 9.8), 2.8, mono=True, bold=True, halo=True))


def ruler_step_m(view: SheetView) -> float:
    """Return the distance of labelled lines of the rulers: a round one of twelve millimetres or more."""
    return round_step(12.0 / view.mm_per_m, 1)


def _rulers(marks: Marks, view: SheetView) -> None:
    """A ruler in metres of the hall below the plan and one at its left."""
    left, top, wide, high = view.plan_mm
    step = ruler_step_m(view)
    marks.sheet.append(Trace((box_mm((left, top), (left + wide, top + high)),), True, None, INK, 0.35))
    corner = np.array(view.centre_m) - np.array([wide, high]) / 2 / view.mm_per_m
    for axis, length in ((0, wide), (1, high)):
        low = float(corner[axis])
        numbers = np.arange(np.ceil(low / step), np.floor((low + length / view.mm_per_m) / step) + 1)
        ticks = []
        for number in numbers:
            along = (number * step - low) * view.mm_per_m
            text = f"{number * step:.6g}".replace("-0", "0") if number == 0 else f"{number * step:.6g}"
            if axis == 0:
                x, y = left + along, top + high
                ticks.append(np.array([(x, y), (x, y + 1.6)]))
                marks.sheet.append(Words(text, (x, y + 4.2), 2.3, "middle", mono=True, colour=QUIET))
            else:
                x, y = left, top + high - along
                ticks.append(np.array([(x, y), (x - 1.6, y)]))
                marks.sheet.append(
                    Words(text, (x - 2.2, y - 0.6), 2.3, "middle", -90.0, mono=True, colour=QUIET)
                )
        if ticks:
            marks.sheet.append(Trace(tuple(ticks), stroke=INK, width_mm=0.25))
    base = top + high + RULER_MM - 1.2
    marks.sheet.append(Words("x and y of the hall in metres", (left + wide, base), 2.3, "end", colour=QUIET))
