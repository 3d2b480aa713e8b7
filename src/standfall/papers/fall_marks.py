"""What is marked on the pictures of a fall: isochrones, starters, and dominoes that stay standing."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from standfall.fall.falling import FALLEN, Fall
from standfall.papers.isochrone import Isochrones, LineMarks
from standfall.papers.legend import INK
from standfall.papers.overlay import WHITE, Box, Colour, Overlay, arrow, grown
from standfall.papers.preview import Window
from standfall.planning.plan import Plan

Floats = NDArray[np.float64]

# Rings and plates that warn. Never alone: shape and words say the same to who cannot see red.
WARNING: Colour = (196, 0, 24)
# Groups of dominoes left standing that are named on the picture, largest first.
_NAMED_GROUPS = 12
# No words are written over a ring that is smaller than this, in hundredths of the width.
_SMALL_GROUP = 8.0
# Arrows of starters are long enough to be seen: this many hundredths of the width.
_ARROW = 3.2


@dataclass(frozen=True)
class Push:
    """What one starter does on the picture.

    Attributes:
        name: as in the brief.
        middle_m: (2,) middle of the struck faces, or where it would strike.
        ahead: (2,) unit vector of the push.
        left_m, right_m: how far the struck faces reach to both sides of the middle.
        struck: dominoes it strikes.
    """

    name: str
    middle_m: Floats
    ahead: Floats
    left_m: float
    right_m: float
    struck: int


def pushes(plan: Plan, fall: Fall) -> tuple[list[Push], list[str]]:
    """Return the starters that can be drawn, and the names of those that strike nothing and have no place."""
    found: list[Push] = []
    placeless: list[str] = []
    for number, starter in enumerate(plan.brief.starters):
        rows = np.flatnonzero(fall.starter == number)
        if len(rows):
            found.append(_push_of_rows(starter.name, plan, fall, rows))
        elif starter.place_m is not None:
            yaw = starter.direction_rad or 0.0
            ahead = np.array([math.cos(yaw), math.sin(yaw)])
            found.append(Push(starter.name, np.array(starter.place_m, dtype=np.float64), ahead, 0.0, 0.0, 0))
        else:
            placeless.append(starter.name)
    return found, placeless


def _push_of_rows(name: str, plan: Plan, fall: Fall, rows: NDArray[np.intp]) -> Push:
    standing, piece = plan.standing, plan.brief.domino
    yaw = standing.yaw_rad[rows] + np.where(fall.backward[rows], math.pi, 0.0)
    ahead = np.array([np.cos(yaw).mean(), np.sin(yaw).mean()])
    ahead /= max(float(np.hypot(*ahead)), 1e-9)
    faces = np.column_stack([standing.x_m[rows], standing.y_m[rows]]) - ahead * (piece.thickness_m / 2)
    middle = faces.mean(axis=0)
    aside = (faces - middle) @ np.array([-ahead[1], ahead[0]])
    half = piece.width_m / 2
    return Push(name, middle, ahead, float(aside.max()) + half, half - float(aside.min()), len(rows))


def draw_starters(sheet: Overlay, window: Window, starters: list[Push]) -> None:
    """Draw a bar along the struck faces, an arrow onto it and the name; no later word covers them."""
    unit = window.width_px / 100
    length = _ARROW * unit
    for push in starters:
        ahead = push.ahead * [1.0, -1.0]
        left = np.array([ahead[1], -ahead[0]])
        middle = window.pixels(push.middle_m)
        ends = np.array(
            [middle + left * push.left_m * window.px_per_m, middle - left * push.right_m * window.px_per_m]
        ) - ahead * (0.3 * unit)
        wide = float(np.hypot(*(ends[1] - ends[0])))
        if wide > length:
            sheet.lines(ends[:1], ends[1:], WHITE, 0.5 * unit)
            sheet.lines(ends[:1], ends[1:], INK, 0.28 * unit)
            # Not in the middle of a wide front: that is where a feeder line comes in.
            tip = ends[0] * 0.8 + ends[1] * 0.2 - ahead * (0.15 * unit)
        else:
            tip = middle - ahead * (0.15 * unit)
        shape = arrow(tip, ahead, length)
        sheet.polygon(shape, INK, WHITE, 0.12 * unit)
        sheet.take((*shape.min(axis=0), *shape.max(axis=0)))
        words = push.name if push.struck else f"{push.name}: strikes nothing"
        _name_beside(sheet, words, shape, tip - ahead * length, -ahead, unit)


def _name_beside(sheet: Overlay, words: str, shape: Floats, tail: Floats, away: Floats, unit: float) -> None:
    """Write a name at the tail of its arrow, or beside it where there is no room."""
    size = 1.35 * unit
    low, high = shape.min(axis=0), shape.max(axis=0)
    x, y = tail + away * (0.4 * unit)
    behind = ("r" if away[0] < -0.7 else "l" if away[0] > 0.7 else "m") + (
        "b" if away[1] < -0.7 else "t" if away[1] > 0.7 else "m"
    )
    middle = (low + high) / 2
    choices = [
        (x, y, behind),
        (high[0] + 0.5 * unit, middle[1], "lm"),
        (low[0] - 0.5 * unit, middle[1], "rm"),
        (middle[0], low[1] - 0.4 * unit, "mb"),
        (middle[0], high[1] + 0.4 * unit, "mt"),
    ]
    boxes = [sheet.words_box(float(a), float(b), words, size, anchor) for a, b, anchor in choices]
    best = next((number for number, box in enumerate(boxes) if sheet.is_free(box)), 0)
    a, b, anchor = choices[best]
    sheet.take(sheet.words(float(a), float(b), words, size, INK, anchor, WHITE))


def draw_isochrones(sheet: Overlay, window: Window, lines: Isochrones, marks: LineMarks) -> None:
    """Draw isochrones and the marks across lines, dark on a light edge to be seen on every colour."""
    unit = window.width_px / 100
    starts, ends = window.pixels(lines.start_m), window.pixels(lines.end_m)
    places, across = _mark_places(window, marks)
    for colour, width in ((WHITE, 0.26), (INK, 0.1)):
        sheet.lines(starts, ends, colour, width * unit)
        sheet.lines(places - across, places + across, colour, (width + 0.06) * unit)


def label_isochrones(sheet: Overlay, window: Window, lines: Isochrones, marks: LineMarks) -> None:
    """Write the time of each isochrone where there is room."""
    unit = window.width_px / 100
    size = 1.15 * unit
    for place, side, level in zip(*_mark_places(window, marks), marks.level, strict=True):
        _time_beside(sheet, place, side, seconds(level * lines.step_s), size)
    middles = window.pixels((lines.start_m + lines.end_m) / 2)
    order = np.argsort(lines.strand, kind="stable")
    bounds = np.flatnonzero(np.diff(lines.strand[order], prepend=-1, append=-1))
    for first, last in pairwise(bounds):
        mine = order[first:last]
        _time_on(sheet, middles[mine], seconds(lines.level[mine[0]] * lines.step_s), size)


def _mark_places(window: Window, marks: LineMarks) -> tuple[Floats, Floats]:
    """Return the middles of marks across lines and half of each, to its left, in pixels."""
    across = np.column_stack([-marks.ahead[:, 1], marks.ahead[:, 0]]) * [1.0, -1.0]
    return window.pixels(marks.place_m), across * (0.0075 * window.width_px)


def seconds(time_s: float) -> str:
    """Return a round time in words."""
    return f"{time_s:.6g} s"


def _time_on(sheet: Overlay, places: Floats, words: str, size: float) -> None:
    """Write a time on its strand, at the first of a few places from the middle outwards that is free."""
    order = np.argsort(places @ np.array([1.0, 0.01]), kind="stable")
    box = sheet.words_box(0.0, 0.0, words, size, "mm")
    if np.ptp(places, axis=0).max() < 1.5 * (box[2] - box[0]):
        return
    for share in (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8, 0.1, 0.9):
        x, y = places[order[int(share * (len(order) - 1))]]
        box = grown(sheet.words_box(x, y, words, size, "mm"), 0.3 * size, 0.0)
        if sheet.is_free(box):
            sheet.take(sheet.plate(x, y, words, size, INK, WHITE, "mm"))
            return


def _time_beside(sheet: Overlay, place: Floats, side: Floats, words: str, size: float) -> None:
    """Write a time at either end of a mark across a line, where there is room."""
    for way in (1.0, -1.0):
        out = side / np.hypot(*side) * way
        x, y = place + side * way + out * (0.3 * size)
        anchor = ("l" if out[0] > 0.5 else "r" if out[0] < -0.5 else "m") + (
            "t" if out[1] > 0.5 else "b" if out[1] < -0.5 else "m"
        )
        box = sheet.words_box(x, y, words, size, anchor)
        if sheet.is_free(box):
            sheet.take(sheet.words(x, y, words, size, INK, anchor, WHITE))
            return


def mark_standing(picture: NDArray[np.uint8], sheet: Overlay, window: Window, plan: Plan, fall: Fall) -> None:
    """Draw a ring around each group of dominoes that stay standing, into the picture, and its number beside it."""
    rows = np.flatnonzero(fall.state != FALLEN)
    if not len(rows):
        return
    unit = window.width_px / 100
    places = window.pixels(np.column_stack([plan.standing.x_m[rows], plan.standing.y_m[rows]]))
    column = np.clip(places[:, 0].astype(np.int64), 0, window.width_px - 1)
    row = np.clip(places[:, 1].astype(np.int64), 0, window.height_px - 1)
    empty = np.ones((window.height_px, window.width_px), dtype=np.bool_)
    empty[row, column] = False
    far = ndimage.distance_transform_edt(empty)
    clear = 0.55 * unit + plan.brief.domino.width_m / 2 * window.px_per_m
    _ring(picture, far, clear + 0.18 * unit, 0.6 * unit, WHITE)
    _ring(picture, far, clear + 0.18 * unit, 0.3 * unit, WARNING)
    group, _ = ndimage.label(far <= clear, structure=np.ones((3, 3)))
    number = group[row, column]
    counts = np.bincount(number)
    largest = np.argsort(-counts, kind="stable")[:_NAMED_GROUPS]
    for chosen in largest[counts[largest] > 0]:
        mine = places[number == chosen]
        reach = clear + 0.4 * unit
        box = (*(mine.min(axis=0) - reach), *(mine.max(axis=0) + reach))
        if max(box[2] - box[0], box[3] - box[1]) < _SMALL_GROUP * unit:
            sheet.take(box)
        _count_beside(sheet, box, int(counts[chosen]), 1.35 * unit)


def _ring(picture: NDArray[np.uint8], far: Floats, radius: float, width: float, colour: Colour) -> None:
    cover = np.clip(width / 2 + 0.5 - np.abs(far - radius), 0.0, 1.0)
    rows, columns = np.nonzero(cover)
    share = cover[rows, columns][:, None]
    mixed = picture[rows, columns] * (1 - share) + np.array(colour) * share
    picture[rows, columns] = np.floor(mixed + 0.5).astype(np.uint8)


def _count_beside(sheet: Overlay, ring: Box, count: int, size: float) -> None:
    words = stay_words(count)
    middle_x, middle_y = (ring[0] + ring[2]) / 2, (ring[1] + ring[3]) / 2
    gap = 0.35 * size
    for x, y, anchor in (
        (middle_x, ring[1] - gap, "mb"),
        (middle_x, ring[3] + gap, "mt"),
        (ring[2] + 2 * gap, middle_y, "lm"),
        (ring[0] - 2 * gap, middle_y, "rm"),
        (middle_x, middle_y, "mm"),
    ):
        box = grown(sheet.words_box(x, y, words, size, anchor), 0.3 * size, 0.05 * size)
        if sheet.is_free(box):
            sheet.take(sheet.plate(x, y, words, size, WHITE, WARNING, anchor))
            return


def stay_words(count: int) -> str:
    """Return how many stay up, in words."""
    return f"{count:,} stays up" if count == 1 else f"{count:,} stay up"
