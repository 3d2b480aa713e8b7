"""Lines, shapes and words laid over a picture, drawn twice as large and averaged, so that edges are smooth."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray
from PIL import Image, ImageDraw, ImageFilter

from standfall.papers.lettering import text_mask

Colour = tuple[int, int, int]
Box = tuple[float, float, float, float]

WHITE: Colour = (255, 255, 255)
_FINE = 2


class Overlay:
    """A transparent sheet the size of a picture; places and sizes are in pixels of the picture, y down."""

    def __init__(self, width_px: int, height_px: int) -> None:
        # See-through white: what the smooth edges of letters and halos are mixed with.
        self._image = Image.new("RGBA", (width_px * _FINE, height_px * _FINE), (*WHITE, 0))
        self._pen = ImageDraw.Draw(self._image)
        self._taken: list[Box] = []

    def lines(self, starts: ArrayLike, ends: ArrayLike, colour: Colour, width: float) -> None:
        """Draw straight pieces (k, 2) to (k, 2) with round ends."""
        # Odd, for an even line has no middle: Pillow would put it to the left or right as the line runs.
        thick = 2 * int(width * _FINE / 2) + 1
        # Whole fine pixels: Pillow rounds lines and circles differently, which would show as knots.
        ends_px = np.rint(np.concatenate([np.asarray(starts), np.asarray(ends)], axis=1) * _FINE)
        for x0, y0, x1, y1 in ends_px.tolist():
            self._pen.line([(x0, y0), (x1, y1)], fill=colour, width=thick)
        if thick < 3:
            return
        for x, y in ends_px.reshape(-1, 2).tolist():
            reach = thick // 2
            self._pen.ellipse([x - reach, y - reach, x + reach, y + reach], fill=colour)

    def polygon(
        self, corners: ArrayLike, colour: Colour, rim: Colour | None = None, width: float = 0.0
    ) -> None:
        """Fill a polygon (n, 2), with a rim of that width outside where one is given."""
        places = [tuple(place) for place in (np.asarray(corners) * _FINE).tolist()]
        if rim is not None:
            self._pen.line(
                [*places, *places[:2]], fill=rim, width=max(1, round(2 * width * _FINE)), joint="curve"
            )
        self._pen.polygon(places, fill=colour)

    def disc(self, x: float, y: float, radius: float, colour: Colour) -> None:
        """Fill a circle."""
        x, y, radius = x * _FINE, y * _FINE, radius * _FINE
        self._pen.ellipse([x - radius, y - radius, x + radius, y + radius], fill=colour)

    def box(self, box: Box, colour: Colour, radius: float = 0.0) -> None:
        """Fill a box (left, top, right, bottom)."""
        self._pen.rounded_rectangle([side * _FINE for side in box], radius * _FINE, fill=colour)

    def words_box(self, x: float, y: float, words: str, size: float, anchor: str) -> Box:
        """Return the box words take at a place; ``anchor`` is l, m or r, then t, m or b, as what the place is."""
        mask = text_mask(words, size * _FINE)
        wide, high = mask.width / _FINE, mask.height / _FINE
        left = x - {"l": 0.0, "m": 0.5, "r": 1.0}[anchor[0]] * wide
        top = y - {"t": 0.0, "m": 0.5, "b": 1.0}[anchor[1]] * high
        return left, top, left + wide, top + high

    def words(
        self,
        x: float,
        y: float,
        words: str,
        size: float,
        colour: Colour,
        anchor: str,
        halo: Colour | None = None,
    ) -> Box:
        """Write words on one line, with a halo where one is asked for; return the box they take."""
        box = self.words_box(x, y, words, size, anchor)
        mask = text_mask(words, size * _FINE)
        left, top = round(box[0] * _FINE), round(box[1] * _FINE)
        if halo is not None:
            reach = max(1, round(size * _FINE / 9))
            wide = Image.new("L", (mask.width + 2 * reach, mask.height + 2 * reach))
            wide.paste(mask, (reach, reach))
            self._image.paste(
                halo, (left - reach, top - reach), wide.filter(ImageFilter.MaxFilter(2 * reach + 1))
            )
        self._image.paste(colour, (left, top), mask)
        return box

    def plate(
        self, x: float, y: float, words: str, size: float, colour: Colour, plate: Colour, anchor: str
    ) -> Box:
        """Write words on a plate; return the box of the plate."""
        box = grown(self.words_box(x, y, words, size, anchor), 0.3 * size, 0.05 * size)
        self.box(box, plate, 0.25 * size)
        self.words(x, y, words, size, colour, anchor)
        return box

    def is_free(self, box: Box) -> bool:
        """Tell whether a box lies on the sheet and clear of all that were taken."""
        left, top, right, bottom = box
        if left < 0 or top < 0 or right * _FINE > self._image.width or bottom * _FINE > self._image.height:
            return False
        return not any(left < b[2] and b[0] < right and top < b[3] and b[1] < bottom for b in self._taken)

    def take(self, box: Box) -> None:
        """Keep other words off a box."""
        self._taken.append(box)

    def on(self, picture: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """Return the picture (height, width, 3) with this sheet over it."""
        under = Image.fromarray(picture).convert("RGBA")
        return np.asarray(Image.alpha_composite(under, self._image.reduce(_FINE)).convert("RGB"))


def grown(box: Box, across: float, along: float) -> Box:
    """Return a box larger by so much at each side, and at top and bottom."""
    return box[0] - across, box[1] - along, box[2] + across, box[3] + along


def fitted_words(words: str, size: float, width: float) -> str:
    """Return words that fit into a width, cut off with three points where they are too long."""
    if text_mask(words, size).width <= width:
        return words
    kept = words
    while kept and text_mask(kept + "...", size).width > width:
        kept = kept[: min(len(kept) - 1, math.ceil(len(kept) * 0.95))]
    return kept.rstrip() + "..."


def arrow(tip: ArrayLike, ahead: ArrayLike, length: float) -> NDArray[np.float64]:
    """Return the seven corners of an arrow that ends at a place and points along a unit vector (y down)."""
    way = np.asarray(ahead, dtype=np.float64)
    aside = np.array([-way[1], way[0]])
    along = np.array([0.0, 0.42, 0.42, 1.0, 1.0, 0.42, 0.42]) * length
    across = np.array([0.0, 0.26, 0.09, 0.09, -0.09, -0.09, -0.26]) * length
    return np.asarray(np.asarray(tip) - along[:, None] * way + across[:, None] * aside)
