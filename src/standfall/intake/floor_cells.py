"""Free cells of a grid to a floor with straight walls that never claims more than was free."""

from __future__ import annotations

import heapq
from collections.abc import Iterator

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# A wall may come in by this many cells to become straight: a cell is not enough for the steps of most slants.
SHAVED_CELLS = 1.25
# At most so many corners are cut off along one straight: each further one is held against all before it.
_CUT_MOST = 400


def largest_part(free: Bools) -> tuple[Bools, Ints]:
    """Return the cells of the largest part that hangs together side by side, and the cells of the other parts.

    Args:
        free: (rows, columns).

    Returns:
        A mask, empty when no cell is free, and the numbers of cells of the other parts, largest first.
    """
    labels, count = ndimage.label(free)
    if count == 0:
        return np.zeros_like(free), np.empty(0, np.int64)
    cells = np.bincount(labels.ravel(), minlength=count + 1)[1:]
    largest = int(np.argmax(cells))
    others = np.sort(np.delete(cells, largest))[::-1]
    return np.asarray(labels == largest + 1), others.astype(np.int64)


def blocks_of(part: Bools) -> Ints:
    """Return (k, 4) blocks of cells that cover a mask without overlap: first and end column, first and end row."""
    padded = np.zeros((part.shape[0], part.shape[1] + 2), np.int8)
    padded[:, 1:-1] = part
    step = np.diff(padded, axis=1)
    row, begin = np.nonzero(step == 1)
    end = np.nonzero(step == -1)[1]
    order = np.lexsort((row, end, begin))
    row, begin, end = row[order], begin[order], end[order]
    new = np.ones(len(row), np.bool_)
    new[1:] = (np.diff(begin) != 0) | (np.diff(end) != 0) | (np.diff(row) != 1)
    first = np.flatnonzero(new)
    last = np.append(first[1:], len(row)) - 1
    return np.column_stack([begin[first], end[first], row[first], row[last] + 1]).astype(np.int64)


def floor_of_blocks(blocks: Ints) -> shapely.Polygon:
    """Return the outline of blocks that hang together, in cells: a cell reaches from its number to the next."""
    boxes = shapely.box(blocks[:, 0], blocks[:, 2], blocks[:, 1], blocks[:, 3])
    return shapely.simplify(shapely.union_all(boxes), 0.0)


def shaved(floor: shapely.Polygon, by: float = SHAVED_CELLS) -> shapely.Polygon:
    """Return a floor with straighter walls inside the one given.

    The steps that a slanting wall makes in a grid become one straight: corners that stick out of the room are cut
    off, least first, as long as the wall comes in by at most ``by`` there and touches nothing. Corners that
    stick into the room stay, so no obstacle is ever lost.

    Args:
        floor: rings of any direction.
        by: most that any corner of ``floor`` may be left outside, in its units.
    """
    return _Shaver(shapely.orient_polygons(floor), by).floor()


class _Shaver:
    """All corners of a floor as rings of numbers, the room to the left of each edge."""

    def __init__(self, floor: shapely.Polygon, by: float) -> None:
        self._by = by
        rings = [shapely.get_coordinates(ring)[:-1] for ring in (floor.exterior, *floor.interiors)]
        self._at = np.concatenate(rings)
        self._first = np.cumsum([0, *map(len, rings)])
        n = len(self._at)
        self._before, self._after = np.arange(-1, n - 1), np.arange(1, n + 1)
        for begin, end in zip(self._first, self._first[1:], strict=False):
            self._before[begin], self._after[end - 1] = end - 1, begin
        self._here = np.ones(n, np.bool_)
        self._left = np.diff(self._first)
        # Corners cut off between a corner and the next one.
        self._cut: list[list[int]] = [[] for _ in range(n)]
        self._tree = shapely.STRtree(shapely.points(self._at))

    def floor(self) -> shapely.Polygon:
        heap = [(off, corner) for corner in range(len(self._at)) if (off := self._off(corner)) is not None]
        heapq.heapify(heap)
        while heap:
            off, corner = heapq.heappop(heap)
            if not self._here[corner] or self._off(corner) != off or not self._clear(corner):
                continue
            for neighbour in self._take_out(corner):
                changed = self._off(neighbour)
                if changed is not None:
                    heapq.heappush(heap, (changed, neighbour))
        kept = [np.flatnonzero(self._here[a:b]) + a for a, b in self._spans()]
        return shapely.Polygon(self._at[kept[0]], [self._at[ring] for ring in kept[1:]])

    def _spans(self) -> Iterator[tuple[int, int]]:
        yield from zip(self._first.tolist(), self._first[1:].tolist(), strict=False)

    def _off(self, corner: int) -> float | None:
        """Return how far the wall would come in if a corner were cut off, ``None`` if it may not be."""
        ring = int(np.searchsorted(self._first, corner, side="right")) - 1
        before, after = int(self._before[corner]), int(self._after[corner])
        along = self._at[after] - self._at[before]
        length = float(np.hypot(*along))
        if self._left[ring] <= 3 or length == 0.0:
            return None
        # To the right of the new edge lies what is cut off.
        turn = along[0] * (self._at[before][1] - self._at[corner][1]) - along[1] * (
            self._at[before][0] - self._at[corner][0]
        )
        if turn < 0.0:
            return None
        if len(self._cut[before]) + len(self._cut[corner]) >= _CUT_MOST:
            return None
        lost = self._at[[corner, *self._cut[before], *self._cut[corner]]] - self._at[before]
        off = float(np.abs(along[0] * lost[:, 1] - along[1] * lost[:, 0]).max() / length)
        return off if off <= self._by else None

    def _clear(self, corner: int) -> bool:
        """Tell whether no other corner that is still there lies in the piece that would be cut off."""
        own = (int(self._before[corner]), corner, int(self._after[corner]))
        triangle = self._at[list(own)]
        low, high = triangle.min(axis=0), triangle.max(axis=0)
        near = self._tree.query(shapely.box(*low, *high))
        near = near[self._here[near] & ~np.isin(near, own)]
        if not len(near):
            return True
        sides = np.roll(triangle, -1, axis=0) - triangle
        to = self._at[near][:, None, :] - triangle[None, :, :]
        cross = sides[None, :, 0] * to[..., 1] - sides[None, :, 1] * to[..., 0]
        return not bool((cross >= 0.0).all(axis=1).any())

    def _take_out(self, corner: int) -> tuple[int, int]:
        before, after = int(self._before[corner]), int(self._after[corner])
        self._after[before], self._before[after] = after, before
        self._here[corner] = False
        self._left[int(np.searchsorted(self._first, corner, side="right")) - 1] -= 1
        self._cut[before] += [corner, *self._cut[corner]]
        return before, after
