"""Isochrones: lines through all places that the fall reaches at the same moment.

Between dominoes the time is taken as linear over the triangles of their Delaunay triangulation, so that on an
even field an isochrone is exact. Triangles with a long side (over holes and between fields) carry no line; nor do
those whose corners are struck more than one step apart, since there two fronts pass without meeting. On a
line of dominoes, which is too thin for triangles, there is a mark between a domino and its striker instead.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import Delaunay, QhullError

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# More points than this are thinned first: the lines are drawn, and a picture has no more places.
MOST_POINTS = 120_000
# Four corners of a rectangle lie on a circle, and may be split either way: that makes Qhull slow and its choice a
# matter of rounding. Triangles are sought in a copy that is sheared by this much, where there is no such choice.
_SHEAR = 0.003
_CORNER_PAIRS = np.array([[0, 1], [1, 2], [2, 0]])


@dataclass(frozen=True)
class Isochrones:
    """k straight pieces of isochrones.

    Attributes:
        start_m, end_m: (k, 2) ends of each piece in the hall.
        level: (k,) it is the isochrone of ``level * step_s`` seconds.
        strand: (k,) pieces with the same number hang together.
        step_s: from isochrone to isochrone.
    """

    start_m: Floats
    end_m: Floats
    level: Ints
    strand: Ints
    step_s: float

    def __len__(self) -> int:
        return len(self.level)


def find_isochrones(xy_m: Floats, struck_s: Floats, step_s: float, reach_m: float) -> Isochrones:
    """Find the isochrones of a field.

    Args:
        xy_m: (n, 2) middles of dominoes.
        struck_s: (n,) when each is struck, all finite.
        step_s: seconds from isochrone to isochrone; the first is at one step.
        reach_m: longest side of a triangle that carries lines.
    """
    none = Isochrones(np.empty((0, 2)), np.empty((0, 2)), np.empty(0, int), np.empty(0, int), step_s)
    chosen, cell_m = _thinned(xy_m)
    xy_m, struck_s = xy_m[chosen], struck_s[chosen]
    if len(xy_m) < 4:
        return none
    try:
        sheared = (xy_m - xy_m.mean(axis=0)) @ [[1.0, 0.0], [_SHEAR, 1.0]]
        corners = Delaunay(sheared).simplices.astype(np.int64)
    except QhullError:  # all on one straight line
        return none
    sides = xy_m[corners[:, _CORNER_PAIRS[:, 0]]] - xy_m[corners[:, _CORNER_PAIRS[:, 1]]]
    times = struck_s[corners]
    sound = (np.hypot(sides[..., 0], sides[..., 1]) <= reach_m + 3 * cell_m).all(axis=1)
    sound &= np.ptp(times, axis=1) <= step_s
    corners, times = corners[sound], times[sound]
    below = np.floor(times / step_s).astype(np.int64)
    # Corners at most one step apart lie in at most two steps: one line crosses a triangle, or none does.
    level = below.max(axis=1)
    crossed = below.min(axis=1) < level
    return _crossings(xy_m, struck_s, corners[crossed], level[crossed], step_s) if crossed.any() else none


def _crossings(xy_m: Floats, struck_s: Floats, corners: Ints, level: Ints, step_s: float) -> Isochrones:
    """Cut each triangle (k, 3) with the line of its level: two of its sides are crossed."""
    at_s = level * step_s
    pairs = corners[:, _CORNER_PAIRS]
    # Compared by whole steps, as before: exactly two sides differ, whatever the rounding of level * step.
    late = np.floor(struck_s[pairs] / step_s).astype(np.int64) >= level[:, None, None]
    cut = late[..., 0] != late[..., 1]
    order = np.argsort(~cut, axis=1, kind="stable")[:, :2]
    sides = np.sort(np.take_along_axis(pairs, order[..., None], axis=1), axis=2)
    one, other = struck_s[sides[..., 0]], struck_s[sides[..., 1]]
    share = np.clip((at_s[:, None] - one) / (other - one), 0.0, 1.0)[..., None]
    places = xy_m[sides[..., 0]] * (1 - share) + xy_m[sides[..., 1]] * share
    # A crossing is known by its side, which belongs to one level here: pieces that share one hang together.
    _, number = np.unique((sides[..., 0] * len(xy_m) + sides[..., 1]).ravel(), return_inverse=True)
    number = number.reshape(-1, 2)
    ends = int(number.max()) + 1
    links = coo_array((np.ones(len(number)), (number[:, 0], number[:, 1])), shape=(ends, ends))
    _, strand = connected_components(links, directed=False)
    return Isochrones(places[:, 0], places[:, 1], level, strand[number[:, 0]].astype(np.int64), step_s)


def _thinned(xy_m: Floats) -> tuple[Ints, float]:
    """Return at most ``MOST_POINTS`` points, one to a cell, spread evenly; and the side of a cell, 0 for all."""
    count = len(xy_m)
    if count <= MOST_POINTS:
        return np.arange(count), 0.0
    low, high = xy_m.min(axis=0), xy_m.max(axis=0)
    cell_m = float(np.sqrt(max((high - low).prod(), 1e-12) / MOST_POINTS))
    column, row = ((xy_m - low) / cell_m).astype(np.int64).T
    _, first = np.unique(row * (int(column.max()) + 1) + column, return_index=True)
    return np.sort(first), cell_m


@dataclass(frozen=True)
class LineMarks:
    """m marks across lines of dominoes: ``place_m`` (m, 2), ``ahead`` (m, 2) unit vectors, ``level`` (m,)."""

    place_m: Floats
    ahead: Floats
    level: Ints


def find_line_marks(xy_m: Floats, struck_s: Floats, striker: Ints, on_line: Ints, step_s: float) -> LineMarks:
    """Find where fronts along lines are at each round moment: between a domino and the one that struck it.

    Args:
        xy_m: (n, 2) middles of all dominoes.
        struck_s: (n,) when each is struck, NaN for never.
        striker: (n,) domino that struck it, below 0 for none.
        on_line: rows of those that stand on lines.
        step_s: seconds from mark to mark; the first is at one step.
    """
    rows = on_line[(striker[on_line] >= 0) & np.isfinite(struck_s[on_line])]
    before = striker[rows]
    level = np.floor(struck_s[rows] / step_s).astype(np.int64)
    passed = np.floor(struck_s[before] / step_s).astype(np.int64) < level
    rows, before, level = rows[passed], before[passed], level[passed]
    share = (level * step_s - struck_s[before]) / (struck_s[rows] - struck_s[before])
    way = xy_m[rows] - xy_m[before]
    length = np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-12)[:, None]
    return LineMarks(xy_m[before] + way * share[:, None], way / length, level)
