"""A canvas for very many small quadrilaterals: painted by samples, the nearest one wins.

Each quad is covered with a grid of samples about one fine pixel apart, all quads of one size at once, so
that a million dominoes take seconds. The canvas holds the number of an ink and a nearness for each
fine pixel; inks become light only at the end, where a block of fine pixels is averaged to one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from standfall.mural.conversion import linear_to_srgb8

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Samples worked on at a time: about 50 MB of working arrays.
_SAMPLES = 1_000_000
# A quad seen from very near may be as large as the picture; beyond this many samples a side it is clipped
# anyway, and holes in it would not matter.
_SIDE_MOST = 6000
# A quad at least this many samples each way gets a rim of one sample in its edge ink.
_RIM_FROM = 9
# Samples a fine pixel of length on a slanting quad: with sqrt 2, none of its pixels is stepped over.
_DENSITY = math.sqrt(2)
_EMPTY = np.iinfo(np.int32).max


@dataclass(frozen=True)
class _Samples:
    """A grid of samples on a quad: fractions along its first and its second side."""

    u: Floats
    v: Floats

    def between(self, corner: Floats) -> Floats:
        """Spread values at the corners (n, 4) over the samples: (n, across, along), 1 where they do not vary."""
        u, v = self.u[:, None], self.v[None, :]
        slack = 1e-9 * (1.0 + np.abs(corner).max())
        across = np.abs(corner[:, [1, 2]] - corner[:, [0, 3]]).max()
        along = np.abs(corner[:, [3, 2]] - corner[:, [0, 1]]).max()
        if across <= slack:
            return corner[:, :1, None] + (corner[:, 3:] - corner[:, :1])[:, :, None] * v
        if along <= slack:
            return corner[:, :1, None] + (corner[:, 1:2] - corner[:, :1])[:, :, None] * u
        weight = np.stack(np.broadcast_arrays((1 - u) * (1 - v), u * (1 - v), u * v, (1 - u) * v))
        return np.asarray(corner @ weight.reshape(4, -1)).reshape(-1, len(self.u), len(self.v))


class Canvas:
    """Fine pixels, ``fine`` x ``fine`` of which make one pixel of the picture.

    The value of a fine pixel is (depth, ink) packed into one int32, so that keeping the smallest value
    keeps the nearest sample, and of equally near ones that with the lower ink: the order in which quads
    are painted does not matter.
    """

    def __init__(self, width_px: int, height_px: int, inks: int, fine: int) -> None:
        self.width_px, self.height_px, self.fine = width_px, height_px, fine
        # One number more than there are inks: all bits set stands for an empty fine pixel.
        self._ink_bits = inks.bit_length()
        self._depths = (1 << (31 - self._ink_bits)) - 2
        self._cells = np.full(width_px * fine * height_px * fine, _EMPTY, dtype=np.int32)

    def paint(self, quads: Floats, depth: Floats, ink: Ints, edge: Ints) -> None:
        """Paint quads.

        Args:
            quads: (n, 4, 2) corners in order round each quad, in pixels of the picture, x right and y down
                from the top left corner of the picture.
            depth: 0 for the nearest to 1 for the farthest: (n,) for whole quads, or (n, 4) at the
                corners, evened between them.
            ink, edge: (n,) ink of each quad and of its rim (drawn where there is room for it).
        """
        seen = self._in_sight(quads)
        quads, depth, ink, edge = quads[seen] * self.fine, depth[seen], ink[seen], edge[seen]
        counts, inset = _sample_counts(quads)
        quads = _inset(quads, inset)
        depth = depth if depth.ndim == 1 else _inset(depth[..., None], inset)[..., 0]
        sizes, group = np.unique(counts, axis=0, return_inverse=True)
        group = group.reshape(-1)
        order = np.argsort(group, kind="stable")
        ends = np.searchsorted(group[order], np.arange(len(sizes)), side="right")
        begun = 0
        for (across, along, _), end in zip(sizes, ends, strict=True):
            samples = _Samples(np.linspace(0.0, 1.0, across), np.linspace(0.0, 1.0, along))
            step = max(1, _SAMPLES // int(across * along))
            for first in range(begun, end, step):
                some = order[first : min(first + step, end)]
                place, inside = self._places(quads[some], samples)
                value = self._values(depth[some], ink[some], edge[some], samples)
                if inside is not None:
                    place, value = place[inside], value[inside]
                np.minimum.at(self._cells, place.reshape(-1), value.reshape(-1))
            begun = end

    def _in_sight(self, quads: Floats) -> NDArray[np.bool_]:
        low, high = quads.min(axis=1), quads.max(axis=1)
        size = np.array([self.width_px, self.height_px])
        return np.asarray(((high >= 0) & (low < size)).all(axis=1))

    def _places(self, quads: Floats, samples: _Samples) -> tuple[Ints, NDArray[np.bool_] | None]:
        """Fine pixels (n, across, along) of the samples, and which of them lie on the canvas, ``None`` for all."""
        wide, high = self.width_px * self.fine, self.height_px * self.fine
        x, y = samples.between(quads[..., 0]), samples.between(quads[..., 1])
        # A thousand more keeps truncation the same as rounding down, a little left of or above the canvas too.
        column, row = (x + 1000.0).astype(np.int64) - 1000, (y + 1000.0).astype(np.int64) - 1000
        place = row * wide + column
        low, most = quads.min(axis=(0, 1)), quads.max(axis=(0, 1))
        if low.min() >= 0 and most[0] < wide and most[1] < high:
            return place, None
        return place, (x >= 0) & (x < wide) & (y >= 0) & (y < high)

    def _values(self, depth: Floats, ink: Ints, edge: Ints, samples: _Samples) -> NDArray[np.int32]:
        """Packed depth and ink (n, across, along) of the samples."""
        across, along = len(samples.u), len(samples.v)
        corners = depth[:, None, None] if depth.ndim == 1 else samples.between(depth)
        near = (np.clip(corners, 0.0, 1.0) * self._depths).astype(np.int32) << self._ink_bits
        value = np.empty((len(depth), across, along), dtype=np.int32)
        value[...] = near | ink.astype(np.int32)[:, None, None]
        if across >= _RIM_FROM and along >= _RIM_FROM:
            rim = np.broadcast_to(near, value.shape)
            number = edge.astype(np.int32)[:, None]
            for side in (
                (slice(None), 0),
                (slice(None), -1),
                (slice(None), slice(None), 0),
                (slice(None), slice(None), -1),
            ):
                value[side] = rim[side] | number
        return value

    def picture(self, inks: Floats, ground: NDArray[np.uint8], ground_inks: Floats) -> NDArray[np.uint8]:
        """Average the fine pixels to a picture, in linear light.

        Args:
            inks: (k, 3) linear light of each ink.
            ground: (height, width) number of what lies behind, per pixel.
            ground_inks: (g, 3) linear light of each of those.

        Returns:
            sRGB codes, (height, width, 3).
        """
        fine, wide = self.fine, self.width_px * self.fine
        cells = self._cells.reshape(self.height_px * fine, wide)
        mask = (1 << self._ink_bits) - 1
        shade = np.zeros((3, mask + 1), dtype=np.float32)
        shade[:, : len(inks)] = inks.T
        ground_light = ground_inks.astype(np.float32)
        picture = np.empty((self.height_px, self.width_px, 3), dtype=np.uint8)
        rows = max(1, _SAMPLES // (wide * fine))
        for first in range(0, self.height_px, rows):
            last = min(first + rows, self.height_px)
            part = cells[first * fine : last * fine]
            light = (
                _block_sums((part == _EMPTY).astype(np.float32), fine)[..., None]
                * ground_light[ground[first:last]]
            )
            numbers = part & mask
            for channel in range(3):
                light[..., channel] += _block_sums(shade[channel][numbers], fine)
            picture[first:last] = linear_to_srgb8(light / np.float32(fine**2))
        return picture


def _block_sums(values: NDArray[np.float32], fine: int) -> NDArray[np.float32]:
    """Sum blocks of ``fine`` x ``fine`` values; rows first, whole rows at a time, which NumPy does fast."""
    down = values.reshape(-1, fine, values.shape[1]).sum(axis=1, dtype=np.float32)
    total = down[:, ::fine].copy()
    for column in range(1, fine):
        total += down[:, column::fine]
    return np.asarray(total, dtype=np.float32)


def _inset(corners: Floats, inset: Floats) -> Floats:
    """Move corners (n, 4, d) inwards by fractions (n, 2) of the first and the second side."""
    first, second = inset[:, :1, None], inset[:, 1:, None]
    near = corners + first * (corners[:, [1, 0, 3, 2]] - corners)
    return near + second * (near[:, [3, 2, 1, 0]] - near)


def _sample_counts(quads: Floats) -> tuple[Ints, Floats]:
    """Return (n, 3) samples along the first and second side, and 1 for a slanting quad; and (n, 2) insets.

    So many that no fine pixel inside is missed: one for each is enough for an upright quad, sqrt 2 as many
    for a slanting one. Counts are rounded up to few sizes, for there is a call of NumPy for each.

    The outermost samples lie half a fine pixel inside the quad. An upright one then covers just the pixels
    whose middle it covers, its true area on average; a slanting one up to 6 % more (measured). One thinner
    than a pixel covers what a line one pixel thick does.
    """
    sides = np.roll(quads, -1, axis=1) - quads
    size = np.abs(sides)
    slanting = (size.min(axis=2) > 1e-6 * (1.0 + size.max(axis=2))).any(axis=1)
    straight = np.hypot(sides[..., 0], sides[..., 1])
    longer = np.stack([np.maximum(straight[:, n], straight[:, n + 2]) for n in (0, 1)], axis=1)
    inset = 0.5 / np.maximum(longer, 1.0)
    samples = longer * (1.0 - 2.0 * inset) * np.where(slanting, _DENSITY, 1.0)[:, None]
    count = 1 + np.clip(np.ceil(samples - 1e-6), 0, _SIDE_MOST).astype(np.int64)
    # Up to 8 exactly; beyond that to one of 8 sizes between powers of two.
    unit = 1 << np.maximum(np.frexp(count)[1] - 4, 0)
    return np.column_stack([-(-count // unit) * unit, slanting.astype(np.int64)]), inset
