"""The strip under a picture: how large, which way it falls, how many there are."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from standfall.papers.pose import State
from standfall.planning.plan import Plan

# Height of the strip against the width of the picture.
LEGEND_SHARE = 0.03
INK = (42, 40, 38)
_STEPS_M = tuple(step * 10.0**power for power in range(-2, 4) for step in (1, 2, 5))


def draw_legend(strip: NDArray[np.uint8], plan: Plan, state: State, px_per_m: float) -> None:
    """Draw a scale bar, the fall direction and the count into a white strip (height, width, 3), in place."""
    image = Image.fromarray(strip)
    pen = ImageDraw.Draw(image)
    height, width = strip.shape[:2]
    font = ImageFont.load_default(size=max(8.0, 0.5 * height))
    middle, gap = height / 2, 0.6 * height
    x = _scale_bar(pen, font, gap, middle, px_per_m, width)
    for angle in _directions(plan):
        x = _arrow(pen, x + 2 * gap, middle, angle, 0.36 * height)
    if _directions(plan):
        pen.text((x + 0.5 * gap, middle), "falls this way", fill=INK, font=font, anchor="lm")
    count = f"{len(plan.standing):,} dominoes {state}, seen from above"
    pen.text((width - gap, middle), count, fill=INK, font=font, anchor="rm")
    strip[:] = np.asarray(image)


def scale_length_m(px_per_m: float, width_px: int) -> float:
    """Return the longest round length (1, 2, 5 and tens of them) that takes at most an eighth of the width."""
    fitting = [length for length in _STEPS_M if length * px_per_m <= width_px / 8]
    return fitting[-1] if fitting else _STEPS_M[0]


def length_text(length_m: float) -> str:
    """Return a round length in words: ``50 cm`` or ``2 m``."""
    return f"{length_m:g} m" if length_m >= 1 else f"{length_m * 100:g} cm"


def _scale_bar(
    pen: ImageDraw.ImageDraw,
    font: ImageFont.FreeTypeFont | ImageFont.ImageFont,
    x: float,
    y: float,
    px_per_m: float,
    width: int,
) -> float:
    length_m = scale_length_m(px_per_m, width)
    end, tick, thick = x + length_m * px_per_m, width / 220, max(1, round(width / 900))
    pen.line([(x, y), (end, y)], fill=INK, width=thick)
    for place in (x, end):
        pen.line([(place, y - tick), (place, y + tick)], fill=INK, width=thick)
    text = length_text(length_m)
    pen.text((end + 2 * tick, y), text, fill=INK, font=font, anchor="lm")
    return end + 2 * tick + pen.textlength(text, font=font)


def _directions(plan: Plan) -> list[float]:
    """Different fall directions of the fields, in their order, at most four."""
    angles = dict.fromkeys(round(field.fall_direction_rad % (2 * math.pi), 6) for field in plan.brief.fields)
    return list(angles)[:4]


def _arrow(pen: ImageDraw.ImageDraw, x: float, y: float, angle_rad: float, half: float) -> float:
    """Draw an arrow in a square from ``x`` on; y runs down on the picture, so the angle runs backwards."""
    ahead = np.array([math.cos(angle_rad), -math.sin(angle_rad)])
    aside = np.array([-ahead[1], ahead[0]])
    centre = np.array([x + half, y])
    tip, tail, neck = centre + half * ahead, centre - half * ahead, centre
    pen.line([tuple(tail), tuple(neck)], fill=INK, width=max(1, round(half / 4)))
    pen.polygon([tuple(tip), tuple(neck + 0.55 * half * aside), tuple(neck - 0.55 * half * aside)], fill=INK)
    return x + 2 * half
