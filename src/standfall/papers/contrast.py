"""Ink on a colour: black or white, whichever can be read on it.

Source: W3C, Web Content Accessibility Guidelines (WCAG) 2.2, "relative luminance" and "contrast ratio".
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from standfall.mural.conversion import srgb8_to_linear

Floats = NDArray[np.float64]

# Weights of linear red, green and blue in relative luminance (WCAG 2.2).
_WEIGHTS = np.array([0.2126, 0.7152, 0.0722])
# Light scattered by the screen or paper, in the same units (WCAG 2.2).
_FLARE = 0.05


def relative_luminance(srgb8: ArrayLike) -> Floats:
    """Return the relative luminance (...,) of sRGB codes (..., 3): 0 for black, 1 for white."""
    return np.asarray(srgb8_to_linear(np.asarray(srgb8, dtype=np.uint8)) @ _WEIGHTS)


def contrast_ratio(one: ArrayLike, other: ArrayLike) -> Floats:
    """Return the contrast ratio (...,) of two arrays of sRGB codes (..., 3): 1 to 21, in either order."""
    first, second = relative_luminance(one) + _FLARE, relative_luminance(other) + _FLARE
    return np.asarray(np.maximum(first, second) / np.minimum(first, second))


def ink_on(srgb8: ArrayLike) -> NDArray[np.uint8]:
    """Return black or white (..., 3) for letters on each colour (..., 3), whichever contrasts more.

    The two ratios multiply to 21, so the greater is never below sqrt(21) = 4.58, which is above the
    4.5 that WCAG 2.2 asks of text (success criterion 1.4.3). Black wins a tie.
    """
    colours = np.asarray(srgb8, dtype=np.uint8)
    on_white = contrast_ratio(colours, np.full(3, 255, np.uint8))
    on_black = contrast_ratio(colours, np.zeros(3, np.uint8))
    return np.where((on_white > on_black)[..., None], 255, 0).astype(np.uint8) * np.ones(3, np.uint8)
