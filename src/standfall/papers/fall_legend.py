"""The strips above and below a picture of a fall: title, colour scale, keys, chart of speed, list of seams."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from standfall.fall.trial import Seam
from standfall.papers.fall_marks import WARNING
from standfall.papers.legend import INK, length_text, scale_length_m
from standfall.papers.overlay import WHITE, Colour, Overlay, fitted_words
from standfall.papers.preview import Window
from standfall.papers.scale import Scale, round_step, ticks
from standfall.planning.plan import Plan

Floats = NDArray[np.float64]

GRID: Colour = (208, 206, 202)
_CURVE: Colour = (150, 40, 96)
_BAND: Colour = (232, 206, 216)
# Stretches of time of the speed chart over the whole fall.
_CHART_BINS = 120
_SEAM_COLUMNS = 2


@dataclass(frozen=True)
class Key:
    """A swatch of colour, ringed like what it stands for, or none; and words."""

    colour: Colour | None
    words: str
    ringed: bool = False


def header_strip(plan: Plan, title: str, right: Sequence[str], width_px: int) -> NDArray[np.uint8]:
    """Draw the title and the build's name on the left, up to two lines of figures on the right."""
    unit = width_px / 100
    strip, sheet = _blank(width_px, 6.4)
    figures = [
        sheet.words(98.2 * unit, y * unit, words, 1.5 * unit, INK, "rm")
        for y, words in zip((2.3, 4.5), right, strict=False)
    ]
    room = min([box[0] for box in figures], default=98 * unit) - 3.8 * unit
    job = plan.brief.job
    name = f"{job.name}, {job.place}" if job.place else job.name
    sheet.words(1.8 * unit, 2.3 * unit, fitted_words(title, 2.4 * unit, room), 2.4 * unit, INK, "lm")
    sheet.words(1.8 * unit, 4.7 * unit, fitted_words(name, 1.4 * unit, room), 1.4 * unit, INK, "lm")
    return sheet.on(strip)


def footer_strip(
    scale: Scale, labels: Sequence[tuple[float, str]], caption: str, keys: Sequence[Key], window: Window
) -> NDArray[np.uint8]:
    """Draw the colour scale with its labels and caption on the left; keys and a scale bar on the right.

    The keys come one below the other, the scale bar in metres last.
    """
    unit = window.width_px / 100
    lines = len(keys) + 1
    strip, sheet = _blank(window.width_px, max(7.4, 1.4 + 2.2 * lines))
    left, right, top, bottom = 1.8 * unit, 60 * unit, 1.2 * unit, 2.9 * unit
    bar = np.repeat(scale.srgb8[_bar_steps(round(right - left))][None], round(bottom - top), axis=0)
    strip[round(top) : round(top) + bar.shape[0], round(left) : round(left) + bar.shape[1]] = bar
    for number, words in labels:
        x = left + float(scale.share(number)) * (right - left)
        sheet.lines([(x, bottom)], [(x, bottom + 0.45 * unit)], INK, 0.1 * unit)
        y, size = bottom + 0.5 * unit, 1.2 * unit
        box = sheet.words_box(x, y, words, size, "mt")
        x += max(0.0, left - box[0])
        if sheet.is_free(box):
            sheet.take(sheet.words(x, y, words, size, INK, "mt"))
    caption = fitted_words(caption, 1.2 * unit, right - left)
    sheet.words(left, bottom + 2.2 * unit, caption, 1.2 * unit, INK, "lt")
    for row, key in enumerate(keys):
        _draw_key(sheet, key, 64 * unit, (1.9 + 2.2 * row) * unit, unit)
    _scale_bar(sheet, 64 * unit, (1.9 + 2.2 * len(keys)) * unit, window)
    return sheet.on(strip)


def _bar_steps(width_px: int) -> NDArray[np.int64]:
    return np.floor(np.linspace(0, 255, max(width_px, 2)) + 0.5).astype(np.int64)


def _draw_key(sheet: Overlay, key: Key, x: float, y: float, unit: float) -> None:
    if key.colour is not None:
        if key.ringed:
            sheet.disc(x + unit, y, 1.0 * unit, WARNING)
            sheet.disc(x + unit, y, 0.72 * unit, WHITE)
            sheet.box((x + 0.55 * unit, y - 0.25 * unit, x + 1.45 * unit, y + 0.25 * unit), key.colour)
        else:
            sheet.box((x, y - 0.7 * unit, x + 2 * unit, y + 0.7 * unit), key.colour)
        x += 2.7 * unit
    words = fitted_words(key.words, 1.3 * unit, 98.2 * unit - x)
    sheet.words(x, y, words, 1.3 * unit, INK, "lm")


def _scale_bar(sheet: Overlay, x: float, y: float, window: Window) -> None:
    unit = window.width_px / 100
    length_m = scale_length_m(window.px_per_m, window.width_px)
    end = x + length_m * window.px_per_m
    starts, ends = [(x, y)], [(end, y)]
    for place in (x, end):
        starts.append((place, y - 0.45 * unit))
        ends.append((place, y + 0.45 * unit))
    sheet.lines(starts, ends, INK, 0.16 * unit)
    sheet.words(end + 0.7 * unit, y, length_text(length_m), 1.3 * unit, INK, "lm")


def ticks_of_chances(low: float) -> list[tuple[float, str]]:
    """Return labels for the tens of a logarithmic scale of chances from ``low`` to 1."""
    last = math.floor(-math.log10(low) + 1e-9)
    return [(10.0**-power, chance_words(10.0**-power)) for power in range(last, -1, -1)]


def chance_words(chance: float) -> str:
    """Return a small chance in words: ``2.3 %``, or ``1 in 12,000`` below a thousandth."""
    if chance >= 0.001 or chance <= 0:
        return f"{chance * 100:.2g} %" if chance < 0.995 else "100 %"
    every = 1 / chance
    unit = 10.0 ** (math.floor(math.log10(every)) - 1)
    return f"1 in {round(every / unit) * unit:,.0f}"


def sure_words(chance: float) -> str:
    """Return a chance near 1 as percent, with two figures of what it lacks: ``97 %``, ``99.983 %``."""
    lack = 1 - chance
    digits = 0 if lack >= 0.1 or lack <= 1e-9 else math.ceil(-math.log10(lack)) - 1
    return f"{chance * 100:.{digits}f} %"


def mean_speeds(struck_s: Floats, speed_m_s: Floats, total_s: float, bins: int = _CHART_BINS) -> Floats:
    """Return (bins, 3) lower decile, mean and upper decile of the speeds in equal stretches of time.

    Args:
        struck_s, speed_m_s: (n,) when and how fast, all finite.
        total_s: end of the last stretch; the first begins at 0.
        bins: how many stretches. NaN where nothing is struck.
    """
    found = np.full((bins, 3), np.nan)
    if not len(struck_s) or total_s <= 0:
        return found
    number = np.minimum((struck_s / total_s * bins).astype(np.int64), bins - 1)
    order = np.argsort(number, kind="stable")
    edges = np.searchsorted(number[order], np.arange(bins + 1))
    for k in range(bins):
        some = speed_m_s[order[edges[k] : edges[k + 1]]]
        if len(some):
            found[k] = np.percentile(some, 10), some.mean(), np.percentile(some, 90)
    return found


def chart_strip(struck_s: Floats, speed_m_s: Floats, total_s: float, width_px: int) -> NDArray[np.uint8]:
    """Draw the mean speed of all fronts against time, and the band in which four fifths of the dominoes lie."""
    unit = width_px / 100
    strip, sheet = _blank(width_px, 18)
    left, right, top, bottom = 6.5 * unit, 98.2 * unit, 3.4 * unit, 14.6 * unit
    words = "Mean speed of the fronts in m/s, over the seconds of the fall; the band holds four fifths of the dominoes"
    sheet.words(1.8 * unit, 1.7 * unit, words, 1.3 * unit, INK, "lm")
    found = mean_speeds(struck_s, speed_m_s, total_s)
    if not np.isfinite(found).any():
        sheet.words((left + right) / 2, (top + bottom) / 2, "nothing runs", 1.3 * unit, INK, "mm")
        return sheet.on(strip)
    step = round_step(float(np.nanmax(found)), 4)
    most = step * math.ceil(float(np.nanmax(found)) / step)
    x = left + (np.arange(len(found)) + 0.5) / len(found) * (right - left)
    y = bottom - found / most * (bottom - top)
    for speed in ticks(0.0, most, 6):
        level = bottom - speed / most * (bottom - top)
        sheet.lines([(left, level)], [(right, level)], GRID, 0.06 * unit)
        sheet.words(left - 0.6 * unit, level, f"{speed:.4g}", 1.2 * unit, INK, "rm")
    half = (right - left) / len(found) / 2
    for k in np.flatnonzero(np.isfinite(found[:, 1])):
        sheet.box((x[k] - half, y[k, 2], x[k] + half, max(y[k, 0], y[k, 2] + 1)), _BAND)
    there = np.isfinite(found[:, 1])
    joined = there[:-1] & there[1:]
    middle = np.column_stack([x, y[:, 1]])
    sheet.lines(middle[:-1][joined], middle[1:][joined], _CURVE, 0.22 * unit)
    alone = there & ~np.append(joined, False) & ~np.append(False, joined)
    for place in middle[alone]:
        sheet.disc(place[0], place[1], 0.25 * unit, _CURVE)
    sheet.lines([(left, bottom)], [(right, bottom)], INK, 0.1 * unit)
    for second in ticks(0.0, total_s, 17):
        place = left + second / total_s * (right - left)
        sheet.lines([(place, bottom)], [(place, bottom + 0.5 * unit)], INK, 0.1 * unit)
        sheet.words(place, bottom + 0.6 * unit, f"{second:.6g} s", 1.2 * unit, INK, "mt")
    return sheet.on(strip)


def seam_strip(seams: Sequence[Seam], width_px: int) -> NDArray[np.uint8]:
    """List the weakest seams in two columns, by the numbers they have on the map."""
    unit = width_px / 100
    rows = -(-len(seams) // _SEAM_COLUMNS)
    strip, sheet = _blank(width_px, 3.6 + 2.1 * max(rows, 0.5))
    title = (
        "Weakest seams: chance that the fall does not cross as meant" if seams else "No weak seams were found"
    )
    sheet.words(1.8 * unit, 1.9 * unit, title, 1.3 * unit, INK, "lm")
    for place, seam in enumerate(seams):
        column, row = divmod(place, rows)
        x, y = (1.8 + 49 * column) * unit, (4.4 + 2.1 * row) * unit
        sheet.disc(x + 0.9 * unit, y, 0.9 * unit, INK)
        sheet.words(x + 0.9 * unit, y, str(place + 1), 1.1 * unit, WHITE, "mm")
        words = f"{_side(seam.tile)} to {_side(seam.next_tile)}: {chance_words(seam.chance)}, {seam.reason}"
        sheet.words(x + 2.5 * unit, y, fitted_words(words, 1.3 * unit, 45 * unit), 1.3 * unit, INK, "lm")
    return sheet.on(strip)


def _side(tile: int) -> str:
    return f"tile {tile}" if tile else "hand-laid"


def _blank(width_px: int, height: float) -> tuple[NDArray[np.uint8], Overlay]:
    """Return a white strip, so many hundredths of its width high, and a sheet over it."""
    strip = np.full((round(height * width_px / 100), width_px, 3), 255, dtype=np.uint8)
    return strip, Overlay(width_px, len(strip))
