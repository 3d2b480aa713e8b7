"""The mural seen from straight above, standing or fallen."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from standfall.mural.conversion import srgb8_to_linear
from standfall.papers.canvas import Canvas
from standfall.papers.legend import LEGEND_SHARE, draw_legend
from standfall.papers.pose import Boxes, State, order_of_fall, pose_boxes
from standfall.planning.plan import Plan

Floats = NDArray[np.float64]

# Floor of the hall, what lies outside it, and the line between (our own choice).
FLOOR = (226, 222, 214)
OUTSIDE = (198, 193, 184)
WALL = (120, 114, 106)
# How much darker the rim of a domino is, in linear light.
RIM_LIGHT = 0.45
# Floor shown around the mural, and how much of that a small mural gets in proportion.
MARGIN_M = 0.4
_MARGIN_SHARE = 0.08
_TALLEST = 1.5
_CHUNK = 100_000
# Fine pixels of a canvas: four bytes each.
_FINE_PIXELS = 60_000_000
# A lamp high up at the back left: standing dominoes throw shadows this far, in parts of the height of
# their tops, to the right and down on the picture; light left on the floor there (our own choice).
_SHADOW = np.array([0.06, -0.1])
_SHADOW_LIGHT = 0.62
_SHADOW_STEPS = 2


@dataclass(frozen=True)
class Window:
    """The part of the hall that is drawn: its top left corner and the scale; hall x right, y up."""

    left_m: float
    top_m: float
    px_per_m: float
    width_px: int
    height_px: int

    def pixels(self, xy_m: Floats) -> Floats:
        """Return the places (..., 2) in pixels, x right, y down, of hall points (..., 2)."""
        return (np.asarray(xy_m) - [self.left_m, self.top_m]) * [self.px_per_m, -self.px_per_m]


def draw_preview(plan: Plan, state: State, width_px: int = 2400, *, legend: bool = True) -> NDArray[np.uint8]:
    """Draw the mural from above, hall x to the right and y up.

    Standing, each domino shows its footprint; fallen, it lies flat ahead of its foot and on the ones
    ahead of it, so that its head shows. Standing and fallen pictures of one plan have the same frame.

    Args:
        plan: what stands where.
        state: standing or fallen.
        width_px: of the picture.
        legend: add a strip below with a scale bar, the fall direction and the count.

    Returns:
        sRGB codes, uint8 (height, width, 3).

    Raises:
        ValueError: width_px is below 16.
    """
    if width_px < 16:
        raise ValueError(f"a preview needs at least 16 pixels of width, not {width_px}")
    window = frame(plan, width_px)
    picture = _paint(plan, state, window)
    if not legend:
        return picture
    strip = np.full((round(width_px * LEGEND_SHARE), width_px, 3), 255, dtype=np.uint8)
    draw_legend(strip, plan, state, window.px_per_m)
    return np.concatenate([picture, strip])


def frame(plan: Plan, width_px: int) -> Window:
    """Return the window around the mural, standing and fallen, with a margin of floor.

    A mural much higher than wide gets more floor left and right, so that the picture stays handy.
    """
    low, high = _extent(plan)
    margin_m = min(MARGIN_M, _MARGIN_SHARE * float((high - low).max()))
    return fit_window(low - margin_m, high + margin_m, width_px, _TALLEST)


def fit_window(low: Floats, high: Floats, width_px: int, tallest: float) -> Window:
    """Return the window around two corners of the hall; what is much taller than wide gets more floor beside it.

    Args:
        low, high: (2,) corners in the hall, in m.
        width_px: width of the picture.
        tallest: most that a picture may be higher than wide.
    """
    size_m = high - low
    width_m = max(float(size_m[0]), float(size_m[1]) / tallest)
    px_per_m = width_px / width_m
    centre = (low + high) / 2
    height_px = max(1, math.ceil(size_m[1] * px_per_m - 1e-6))
    return Window(
        left_m=float(centre[0] - width_m / 2),
        top_m=float(centre[1] + height_px / px_per_m / 2),
        px_per_m=px_per_m,
        width_px=width_px,
        height_px=height_px,
    )


def _extent(plan: Plan) -> tuple[Floats, Floats]:
    if not len(plan.standing):
        outline = np.array(plan.brief.hall.outline_m)
        return outline.min(axis=0), outline.max(axis=0)
    lows, highs = [], []
    states: tuple[State, ...] = ("standing", "fallen")
    for state in states:
        boxes = pose_boxes(plan.standing, plan.brief, state, flat=True)
        for corner in (boxes.foot, boxes.foot + boxes.up, boxes.foot + boxes.back):
            reach = np.abs(boxes.side)
            lows.append((corner - reach).min(axis=0)[:2])
            highs.append((corner + reach).max(axis=0)[:2])
    return np.min(lows, axis=0), np.max(highs, axis=0)


def _paint(plan: Plan, state: State, window: Window) -> NDArray[np.uint8]:
    standing, colours = plan.standing, len(plan.palette)
    fine = fine_for(window.width_px, window.height_px, plan.brief.domino.thickness_m * window.px_per_m)
    canvas = Canvas(window.width_px, window.height_px, 2 * colours + 1, fine)
    boxes = pose_boxes(standing, plan.brief, state, flat=True)
    order = -standing.layer.astype(np.float64) if state == "standing" else order_of_fall(standing)
    depth = 0.999 * _share(order)
    for first in range(0, len(boxes), _CHUNK):
        some = slice(first, first + _CHUNK)
        ink = standing.colour[some].astype(np.int64)
        faces = _seen_from_above(boxes.part(some), state)
        quads = window.pixels(faces[..., :2])
        canvas.paint(quads, depth[some], ink + colours, ink)
        if state == "standing":
            _shade(canvas, faces, window, 2 * colours)
    # Rims have the lower numbers, so that they win where they share a fine pixel with the face.
    light = np.clip(plan.palette.linear, 0.0, 1.0)
    ground, lights = _ground(plan, window)
    return canvas.picture(
        np.concatenate([light * RIM_LIGHT, light, lights[:1] * _SHADOW_LIGHT]), ground, lights
    )


def _shade(canvas: Canvas, faces: Floats, window: Window, ink: int) -> None:
    """Paint the shadows of top ends (n, 4, 3) below everything: a few shifted copies make up the sweep."""
    numbers, deep = np.full(len(faces), ink), np.ones(len(faces))
    for step in range(1, _SHADOW_STEPS + 1):
        shift = faces[..., 2:] * _SHADOW * (step / _SHADOW_STEPS)
        canvas.paint(window.pixels(faces[..., :2] + shift), deep, numbers, numbers)


def _seen_from_above(boxes: Boxes, state: State) -> Floats:
    """Return (n, 4, 3) the face that is seen: the top end standing, the broad back fallen."""
    near = boxes.foot + (boxes.up if state == "standing" else boxes.back)
    edge = boxes.back if state == "standing" else boxes.up
    return np.stack(
        [near + boxes.side, near - boxes.side, near - boxes.side + edge, near + boxes.side + edge], axis=1
    )


def _share(order: Floats) -> Floats:
    """Squeeze an order into 0 to 1."""
    if not len(order):
        return order
    low, high = order.min(), order.max()
    return (order - low) / (high - low) if high > low else np.zeros_like(order)


def fine_for(width_px: int, height_px: int, thickness_px: float = 0.0) -> int:
    """Return how many fine pixels a side make one pixel: 2 to 8, as many as memory allows and are needed.

    A small picture needs more: its gaps between dominoes are narrow, and would come and go in stripes.

    Args:
        width_px, height_px: size of the picture.
        thickness_px: of a domino in it; 3 are enough once that is large.
    """
    needed = 8 if thickness_px <= 2.0 else max(3, math.ceil(16.0 / thickness_px))
    return max(2, min(needed, math.isqrt(_FINE_PIXELS // (width_px * height_px))))


def _ground(plan: Plan, window: Window) -> tuple[NDArray[np.uint8], Floats]:
    """The floor, what is outside the hall and the outline; and their linear light."""
    image = Image.new("L", (window.width_px, window.height_px), 1)
    outline = [tuple(point) for point in window.pixels(np.array(plan.brief.hall.outline_m))]
    pen = ImageDraw.Draw(image)
    pen.polygon(outline, fill=0)
    pen.line(
        [*outline, outline[0], outline[1]], fill=2, width=max(1, round(window.width_px / 800)), joint="curve"
    )
    lights = srgb8_to_linear(np.array([FLOOR, OUTSIDE, WALL], dtype=np.uint8))
    return np.asarray(image), lights
