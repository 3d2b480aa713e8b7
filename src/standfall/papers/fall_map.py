"""Maps of a fall from above: when each domino is struck, how fast the fall runs, and what may stay standing."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from standfall.fall.falling import FALLEN, Fall
from standfall.fall.trial import Trials
from standfall.mural.conversion import srgb8_to_linear
from standfall.papers.canvas import Canvas
from standfall.papers.fall_legend import (
    Key,
    chart_strip,
    footer_strip,
    header_strip,
    seam_strip,
    sure_words,
    ticks_of_chances,
)
from standfall.papers.fall_marks import (
    draw_isochrones,
    draw_starters,
    label_isochrones,
    mark_standing,
    pushes,
    stay_words,
)
from standfall.papers.isochrone import Isochrones, LineMarks, find_isochrones, find_line_marks
from standfall.papers.legend import INK
from standfall.papers.overlay import WHITE, Overlay
from standfall.papers.pose import pose_boxes
from standfall.papers.preview import FLOOR, MARGIN_M, OUTSIDE, WALL, Window, fine_for, fit_window
from standfall.papers.scale import OFF_SCALE, STEPS, Scale, make_scale, round_step, ticks
from standfall.planning.plan import Plan

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

WIDTH_PX = 2400
# Most isochrones on a picture.
MOST_LINES = 16
# The hall is shown whole unless it is more than this many times as large as what stands in it.
_HALL_MOST = 3.0
# Else so much floor is shown around, in parts of what stands there.
_ROOM = 0.3
_TALLEST = 1.4
_CHUNK = 100_000
# The floor that belongs to a domino is tinted, with this share of its colour in linear light. Where a footprint
# would be thinner than so many pixels, so that it could not be told from its tint, that floor has all of the colour.
_TINT = 0.5
_THIN_PX = 4.0
# A line of single dominoes is drawn at least so many hundredths of the picture wide.
_LINE_WIDTH = 0.4
# Inks after the colours of the scale and their tints: off the scale, and what the scale has no number for.
_OFF, _NONE = 2 * STEPS, 2 * STEPS + 1
# What has no number (not struck by another, or never seen standing): a light grey of our own.
NO_NUMBER = (206, 208, 212)
# Isochrones bridge a gap of one missing domino, not more.
_REACH_PITCHES = 2.2


def draw_fall_times(plan: Plan, fall: Fall, width_px: int = WIDTH_PX) -> NDArray[np.uint8]:
    """Draw the hall from above, every domino coloured by the time it is struck, with isochrones.

    Args:
        plan: what stands where.
        fall: what becomes of each.
        width_px: of the picture.

    Returns:
        sRGB codes, uint8 (height, width, 3).

    Raises:
        ValueError: the fall is not of this plan's dominoes, or width_px is below 300.
    """
    check_fall(plan, len(fall), width_px)
    last_s = float(np.nanmax(fall.struck_s)) if np.isfinite(fall.struck_s).any() else 0.0
    scale = make_scale("time", 0.0, last_s or 1.0)
    ink = np.where(fall.state == FALLEN, scale.step(fall.struck_s), _OFF)
    window = hall_window(plan, width_px)
    picture = _paint(plan, window, ink, scale)
    sheet = Overlay(window.width_px, window.height_px)
    step_s = isochrone_step_s(fall)
    lines, marks = _isochrones(plan, fall, step_s)
    draw_isochrones(sheet, window, lines, marks)
    starters, idle = pushes(plan, fall)
    draw_starters(sheet, window, starters)
    mark_standing(picture, sheet, window, plan, fall)
    label_isochrones(sheet, window, lines, marks)
    right = [_count_words(fall), f"{fall.total_s:.1f} s until all is at rest"]
    header = header_strip(plan, "When each domino is struck", right, width_px)
    footer = footer_strip(
        scale,
        [(second, f"{second:.6g}") for second in ticks(0.0, scale.high, MOST_LINES)],
        "seconds since the first starter let go; lines every " + f"{step_s:.6g} s",
        [*_standing_key(fall), *(Key(None, f"{name}: strikes nothing") for name in idle)],
        window,
    )
    return np.concatenate([header, sheet.on(picture), footer])


def draw_fall_speeds(plan: Plan, fall: Fall, width_px: int = WIDTH_PX) -> NDArray[np.uint8]:
    """Draw the hall from above, every domino coloured by the speed of the fall where it arrives, and a chart.

    Arguments and errors are those of ``draw_fall_times``. The scale covers all speeds but the slowest and the
    fastest hundredth, which take the colours of its ends. A domino that a starter strikes has no speed.
    """
    check_fall(plan, len(fall), width_px)
    moving = np.isfinite(fall.speed_m_s) & (fall.state == FALLEN)
    speeds = fall.speed_m_s[moving]
    low, high = (float(value) for value in np.percentile(speeds, [1, 99])) if len(speeds) else (0.0, 1.0)
    if high - low < 0.02 * high or high <= low:
        # Even throughout: not a scale that makes much of rounding.
        low, high = 0.9 * low, 1.1 * high + 1e-6
    scale = make_scale("speed", low, high)
    ink = np.where(moving, scale.step(np.where(moving, fall.speed_m_s, low)), _NONE)
    ink = np.where(fall.state == FALLEN, ink, _OFF)
    window = hall_window(plan, width_px)
    picture = _paint(plan, window, ink, scale)
    sheet = Overlay(window.width_px, window.height_px)
    starters, _ = pushes(plan, fall)
    draw_starters(sheet, window, starters)
    mark_standing(picture, sheet, window, plan, fall)
    right = [_count_words(fall), f"{fall.mean_speed_m_s:.2f} m/s on average" if len(speeds) else "no speed"]
    header = header_strip(plan, "How fast the fall runs", right, width_px)
    caption = "metres a second, from domino to domino"
    if len(speeds) and (speeds.min() < low or speeds.max() > high):
        caption += f" ({speeds.min():.2f} to {speeds.max():.2f}; rare ones take the end colours)"
    keys = [Key(NO_NUMBER, "struck by a starter"), *_standing_key(fall)]
    labels = [(speed, f"{speed:.4g}") for speed in ticks(low, high, 10)]
    footer = footer_strip(scale, labels, caption, keys, window)
    chart = chart_strip(fall.struck_s[moving], speeds, fall.total_s, width_px)
    return np.concatenate([header, sheet.on(picture), chart, footer])


def draw_fall_chances(plan: Plan, fall: Fall, trials: Trials, width_px: int = WIDTH_PX) -> NDArray[np.uint8]:
    """Draw the hall from above, every domino coloured by how often it stayed up in the trials, and the seams.

    Arguments and errors are those of ``draw_fall_times``. The scale is logarithmic, from once in all trials to
    always; a domino never seen standing is grey, which is no promise. The weakest seams are numbered.
    """
    check_fall(plan, len(fall), width_px)
    if len(trials.stood) != len(plan.standing):
        raise ValueError(f"{len(trials.stood)} dominoes in the trials, {len(plan.standing)} in the plan")
    count = max(trials.trials, 1)
    scale = make_scale("chance", 1 / max(count, 2), 1.0, logarithmic=True)
    seen = trials.stood > 0
    ink = np.where(seen, scale.step(np.where(seen, trials.stood / count, 1.0)), _NONE)
    window = hall_window(plan, width_px)
    picture = _paint(plan, window, ink, scale)
    sheet = Overlay(window.width_px, window.height_px)
    starters, _ = pushes(plan, fall)
    draw_starters(sheet, window, starters)
    _number_seams(sheet, window, trials)
    every = trials.chance_all_fall
    right = [
        f"all fall: {sure_words(every.value)}, between {sure_words(every.low)} and {sure_words(every.high)}",
        f"{trials.trials:,} trials ({every.method})",
    ]
    header = header_strip(plan, "Chance that a domino stays up", right, width_px)
    footer = footer_strip(
        scale,
        ticks_of_chances(scale.low),
        "chance to stay up, each line ten times the one before",
        [Key(NO_NUMBER, f"never stayed up in {trials.trials:,} trials")],
        window,
    )
    return np.concatenate([header, sheet.on(picture), seam_strip(trials.seams, width_px), footer])


def hall_window(plan: Plan, width_px: int) -> Window:
    """Return the window around the hall, or around what stands in it where the hall is very much larger."""
    outline = np.array(plan.brief.hall.outline_m)
    low, high = outline.min(axis=0), outline.max(axis=0)
    places = _places(plan)
    if len(places):
        reach = plan.brief.domino.height_m
        mine_low, mine_high = places.min(axis=0) - reach, places.max(axis=0) + reach
        size = float((mine_high - mine_low).max())
        if float((high - low).max()) > _HALL_MOST * size:
            room = _ROOM * size
            low, high = np.maximum(low, mine_low - room), np.minimum(high, mine_high + room)
        low, high = np.minimum(low, mine_low), np.maximum(high, mine_high)
    margin_m = min(MARGIN_M, 0.05 * float((high - low).max()))
    return fit_window(low - margin_m, high + margin_m, width_px, _TALLEST)


def _places(plan: Plan) -> Floats:
    """Return (k, 2) the places of all dominoes and of the starters that have one."""
    starters = [starter.place_m for starter in plan.brief.starters if starter.place_m is not None]
    dominoes = np.column_stack([plan.standing.x_m, plan.standing.y_m])
    return np.concatenate([dominoes, np.array(starters, dtype=np.float64).reshape(-1, 2)])


def check_fall(plan: Plan, dominoes: int, width_px: int) -> None:
    """Refuse a fall of another number of dominoes, and pictures too small for words.

    Raises:
        ValueError: either is so.
    """
    if dominoes != len(plan.standing):
        raise ValueError(f"{dominoes} dominoes in the fall, {len(plan.standing)} in the plan")
    if width_px < 300:
        raise ValueError(f"a picture of a fall needs at least 300 pixels of width, not {width_px}")


def _paint(plan: Plan, window: Window, ink: Ints, scale: Scale) -> NDArray[np.uint8]:
    """Paint the floor, each domino's share of it in a tint and each footprint in full colour."""
    fine = fine_for(window.width_px, window.height_px, plan.brief.domino.thickness_m * window.px_per_m)
    canvas = Canvas(window.width_px, window.height_px, 2 * STEPS + 2, fine)
    boxes = pose_boxes(plan.standing, plan.brief, "standing")
    spots = _spots(plan, _LINE_WIDTH / 100 * window.width_px / window.px_per_m)
    tint = _TINT if plan.brief.domino.thickness_m * window.px_per_m >= _THIN_PX else 1.0
    # On top: the off-scale ones first, so that none hides behind a neighbour or under a stacked piece.
    depth = np.where(ink == _OFF, 0.0, 0.4 - 0.1 * np.minimum(plan.standing.layer, 1))
    for first in range(0, len(boxes), _CHUNK):
        some = slice(first, first + _CHUNK)
        part = boxes.part(some)
        corners = [
            part.foot + part.side,
            part.foot - part.side,
            part.foot - part.side + part.back,
            part.foot + part.side + part.back,
        ]
        quads = window.pixels(np.stack(corners, axis=1)[..., :2])
        canvas.paint(quads, depth[some], ink[some], ink[some])
        pale = np.where(ink[some] < STEPS, ink[some] + STEPS, ink[some])
        canvas.paint(window.pixels(spots[some]), depth[some] + 0.5, pale, pale)
    light = srgb8_to_linear(scale.srgb8)
    floor = srgb8_to_linear(np.array(FLOOR, dtype=np.uint8))
    others = srgb8_to_linear(np.array([OFF_SCALE, NO_NUMBER], dtype=np.uint8))
    inks = np.concatenate([light, light * tint + floor * (1 - tint), others])
    return canvas.picture(inks, *hall_ground(plan, window))


def _spots(plan: Plan, line_width_m: float) -> Floats:
    """Return (n, 4, 2) the floor that belongs to each domino: a pitch by a pitch, on a line a pitch by its width.

    Lines get at least ``line_width_m``.
    """
    standing, piece = plan.standing, plan.brief.domino
    along, across = np.full(len(standing), piece.thickness_m), np.full(len(standing), piece.width_m)
    for number, field in enumerate(plan.brief.fields):
        mine = standing.field == number
        along[mine], across[mine] = field.row_pitch_m, field.col_pitch_m
    for number, line in enumerate(plan.brief.lines):
        along[standing.line == number] = line.pitch_m
    across[standing.line >= 0] = max(piece.width_m, line_width_m)
    ahead = np.column_stack([np.cos(standing.yaw_rad), np.sin(standing.yaw_rad)])
    aside = np.column_stack([-ahead[:, 1], ahead[:, 0]]) * (across / 2)[:, None]
    ahead = ahead * (along / 2)[:, None]
    middle = np.column_stack([standing.x_m, standing.y_m])
    return np.stack(
        [middle + ahead + aside, middle + ahead - aside, middle - ahead - aside, middle - ahead + aside],
        axis=1,
    )


def hall_ground(plan: Plan, window: Window) -> tuple[NDArray[np.uint8], Floats]:
    """The floor, what is outside the hall and the outline; and their linear light."""
    image = Image.new("L", (window.width_px, window.height_px), 1)
    outline = [tuple(point) for point in window.pixels(np.array(plan.brief.hall.outline_m))]
    pen = ImageDraw.Draw(image)
    pen.polygon(outline, fill=0)
    pen.line(
        [*outline, outline[0], outline[1]], fill=2, width=max(1, round(window.width_px / 500)), joint="curve"
    )
    return np.asarray(image), srgb8_to_linear(np.array([FLOOR, OUTSIDE, WALL], dtype=np.uint8))


def isochrone_step_s(fall: Fall) -> float:
    """Return a round time between isochrones: few enough for the picture, and at least two dominoes apart."""
    struck = np.flatnonzero(fall.striker >= 0)
    delay_s = fall.struck_s[struck] - fall.struck_s[fall.striker[struck]]
    usual_s = float(np.median(delay_s)) if len(struck) else 0.0
    last_s = float(np.nanmax(fall.struck_s)) if np.isfinite(fall.struck_s).any() else 0.0
    return round_step(max(last_s, 2 * usual_s * MOST_LINES) or 1.0, MOST_LINES)


def _isochrones(plan: Plan, fall: Fall, step_s: float) -> tuple[Isochrones, LineMarks]:
    standing = plan.standing
    places = np.column_stack([standing.x_m, standing.y_m])
    struck = np.isfinite(fall.struck_s)
    in_field = np.flatnonzero((standing.line < 0) & (standing.layer == 0) & struck)
    pitches = [max(field.row_pitch_m, field.col_pitch_m) for field in plan.brief.fields]
    lines = find_isochrones(
        places[in_field], fall.struck_s[in_field], step_s, _REACH_PITCHES * max(pitches, default=0.0)
    )
    marks = find_line_marks(
        places, fall.struck_s, fall.striker.astype(np.int64), np.flatnonzero(standing.line >= 0), step_s
    )
    return lines, marks


def _number_seams(sheet: Overlay, window: Window, trials: Trials) -> None:
    """Number the seams, strongest first, so that the weakest lies on top."""
    unit = window.width_px / 100
    for number, seam in reversed(list(enumerate(trials.seams, start=1))):
        x, y = window.pixels(np.array([seam.x_m, seam.y_m]))
        sheet.disc(x, y, 1.05 * unit, WHITE)
        sheet.disc(x, y, 0.9 * unit, INK)
        sheet.words(x, y, str(number), 1.1 * unit, WHITE, "mm")


def _count_words(fall: Fall) -> str:
    return f"{fall.fallen:,} of {len(fall):,} dominoes fall"


def _standing_key(fall: Fall) -> list[Key]:
    if not fall.standing:
        return [Key(None, "none stays up")]
    return [Key(OFF_SCALE, stay_words(fall.standing), ringed=True)]
