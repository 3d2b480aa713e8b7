"""Colour scales for numbers: even to the eye, and readable with any colour vision.

A scale is a path through CIE L*a*b* on which lightness rises (or falls) steadily while the hue turns. Lightness
alone orders the colours for everybody; the turn from blue or violet to yellow adds steps without setting red
against green. Chroma is a fixed share of what sRGB can show at each lightness and hue, up to a limit. At last
the path is walked in equal steps of CIEDE2000, so that equal differences of the number look equally large.

The construction follows P. Kovesi, "Good Colour Maps: How to Design Them", 2015, arXiv:1509.03700: control of
lightness along a path in L*a*b*, then equal perceptual contrast along it. The paths are our own.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage

from standfall.mural.conversion import lab_to_linear, linear_to_srgb8
from standfall.mural.difference import ciede2000

Floats = NDArray[np.float64]
Number = Literal["time", "speed", "chance"]

STEPS = 256
# A colour that is on no scale: for what a scale does not speak of. Its CIEDE2000 from every colour of every scale
# is above 20, with dichromatic vision too.
OFF_SCALE = (0, 0, 0)

_PATH_POINTS = 4097
# Share of the greatest chroma of sRGB that is used: a little inside, so that rounding never leaves it.
_CHROMA_SHARE = 0.93
# Hundredths of the path over which chroma is evened out.
_SMOOTHED = 24


@dataclass(frozen=True)
class _Path:
    """L* and hue in degrees at both ends (the hue turns the way the numbers run), and the most chroma used."""

    lightness: tuple[float, float]
    hue_deg: tuple[float, float]
    chroma: float


# Chosen by eye on the light floor of the pictures; what the tests ask of them decides.
_PATHS: dict[Number, _Path] = {
    "time": _Path((26.0, 92.0), (290.0, 100.0), 55.0),
    "speed": _Path((26.0, 93.0), (320.0, 460.0), 60.0),
    "chance": _Path((88.0, 26.0), (95.0, -20.0), 60.0),
}


@dataclass(frozen=True)
class Scale:
    """Colours of numbers from ``low`` to ``high``; numbers beyond take the colour of the nearer end.

    Attributes:
        srgb8: (STEPS, 3) uint8 colours from low to high.
        low, high: numbers of the first and the last colour; low < high.
        logarithmic: equal ratios, not equal differences, are equal steps; low is above 0 then.
    """

    srgb8: NDArray[np.uint8]
    low: float
    high: float
    logarithmic: bool = False

    def share(self, numbers: ArrayLike) -> Floats:
        """Return where numbers lie, 0 at the low end to 1 at the high one; NaN stays NaN."""
        values = np.asarray(numbers, dtype=np.float64)
        low, high = self.low, self.high
        if self.logarithmic:
            with np.errstate(divide="ignore"):
                values = np.log(values)
            low, high = math.log(low), math.log(high)
        return np.clip((values - low) / (high - low), 0.0, 1.0)

    def step(self, numbers: ArrayLike) -> NDArray[np.int64]:
        """Return the row of ``srgb8`` of each number; NaN gives 0."""
        share = np.nan_to_num(self.share(numbers), nan=0.0)
        return np.asarray(np.floor(share * (STEPS - 1) + 0.5).astype(np.int64))


def make_scale(number: Number, low: float, high: float, *, logarithmic: bool = False) -> Scale:
    """Return the scale for times, speeds or chances between two numbers.

    Raises:
        ValueError: high is not above low, or low is not above 0 on a logarithmic scale.
    """
    if not low < high or (logarithmic and low <= 0):
        raise ValueError(f"a scale cannot run from {low} to {high}")
    return Scale(_colours(number), low, high, logarithmic)


def ticks(low: float, high: float, most: int) -> Floats:
    """Return the multiples of a round step (1, 2 or 5 times a power of ten) from low to high, at most ``most``."""
    step = round_step(high - low, most - 1)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return np.asarray(np.arange(first, last + 1) * step, dtype=np.float64)


def round_step(span: float, most: int) -> float:
    """Return the smallest of 1, 2, 5 times a power of ten that fits at most ``most`` times into a span above 0."""
    least = span / max(most, 1)
    power = 10.0 ** math.floor(math.log10(least))
    # A hair of room: 0.3 / 3 is a little below 0.1 in binary.
    return next(step * power for step in (1, 2, 5, 10) if step * power >= least * (1 - 1e-9))


@cache
def _colours(number: Number) -> NDArray[np.uint8]:
    path = _PATHS[number]
    along = np.linspace(0.0, 1.0, _PATH_POINTS)
    lightness = path.lightness[0] + (path.lightness[1] - path.lightness[0]) * along
    hue = np.radians(path.hue_deg[0] + (path.hue_deg[1] - path.hue_deg[0]) * along)
    chroma = _CHROMA_SHARE * _smooth_below(_greatest_chroma(lightness, hue, path.chroma))
    lab = _lab(lightness, chroma, hue)
    walked = np.concatenate([[0.0], np.cumsum(ciede2000(lab[1:], lab[:-1]))])
    place = np.interp(np.linspace(0.0, walked[-1], STEPS), walked, along)
    even = np.stack([np.interp(place, along, lab[:, axis]) for axis in range(3)], axis=1)
    codes = linear_to_srgb8(lab_to_linear(even))
    codes.setflags(write=False)
    return codes


def _greatest_chroma(lightness: Floats, hue: Floats, most: float) -> Floats:
    """Return the greatest chroma up to ``most`` that sRGB shows at each lightness and hue, by halving."""
    low, high = np.zeros_like(lightness), np.full_like(lightness, most)
    for _ in range(40):
        middle = (low + high) / 2
        linear = lab_to_linear(_lab(lightness, middle, hue))
        shown = ((linear >= 0) & (linear <= 1)).all(axis=1)
        low, high = np.where(shown, middle, low), np.where(shown, high, middle)
    return low


def _smooth_below(values: Floats) -> Floats:
    """Even out peaks, which would show as lines on a map, without going above the values anywhere.

    The mean of the least values over a stretch each is never above the value in its middle.
    """
    stretch = 2 * (len(values) * _SMOOTHED // 200) + 1
    least = ndimage.minimum_filter1d(values, stretch, mode="nearest")
    return np.asarray(ndimage.uniform_filter1d(least, stretch, mode="nearest"))


def _lab(lightness: Floats, chroma: Floats, hue: Floats) -> Floats:
    return np.stack([lightness, chroma * np.cos(hue), chroma * np.sin(hue)], axis=1)
