"""Lanes: the ways that robots drive and people walk, thinned out until they can be told apart on paper."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from standfall.routes.track import PHASES

if TYPE_CHECKING:
    from standfall.routes.trip import Trips

Floats = NDArray[np.float64]

# Lanes nearer together than this part of the hall's size count as one: three millimetres on a sheet.
_SPACING = 1 / 90
# A way that is new for less than so many spacings adds no lane.
_LEAST = 5.0
# A lane is drawn on at both ends to where it is this near to another one, in spacings, so that none ends in the air.
_JOINED = 0.35
# Points along a way, in spacings.
_SAMPLE = 0.25
_DRIVEN = [PHASES.index(phase) for phase in ("drive", "return", "turn")]
_WALKED = [PHASES.index("walk")]


@dataclass(frozen=True)
class Lane:
    """A way: ``drive`` or ``walk``, and (p, 2) points."""

    kind: str
    path_m: Floats


def thin_lanes(trips: Trips, size_m: float) -> tuple[Lane, ...]:
    """Return a set of lanes that no other trip leaves by much, longest ways first.

    Args:
        trips: all trips.
        size_m: longer side of the hall.
    """
    spacing_m = size_m * _SPACING
    lanes: list[Lane] = []
    for kind, phases in (("drive", _DRIVEN), ("walk", _WALKED)):
        ways = _ways(trips, phases)
        length = [float(np.hypot(*np.diff(way, axis=0).T).sum()) for way in ways]
        ground = _Ground(spacing_m, np.concatenate([np.zeros((1, 2)), *ways]))
        for number in sorted(range(len(ways)), key=lambda number: (-length[number], number)):
            lanes += [Lane(kind, path) for path in ground.new_parts(ways[number])]
    return tuple(lanes)


def _ways(trips: Trips, phases: list[int]) -> list[Floats]:
    """Return the stretches of waypoints that are in one of the phases."""
    wanted = np.isin(trips.phase, phases)
    ways = []
    for first, end in zip(trips.way_first[:-1], trips.way_first[1:], strict=True):
        mine = wanted[first : end - 1]
        begins = np.flatnonzero(mine & ~np.concatenate([[False], mine[:-1]]))
        ends = np.flatnonzero(mine & ~np.concatenate([mine[1:], [False]])) + 2
        for begin, stop in zip(begins + first, ends + first, strict=True):
            points = np.column_stack([trips.x_m[begin:stop], trips.y_m[begin:stop]])
            moved = np.concatenate([[True], np.any(np.diff(points, axis=0) != 0, axis=1)])
            if moved.sum() > 1:
                ways.append(points[moved])
    return ways


class _Ground:
    """Which cells of the floor a lane is near already, and on which one runs."""

    def __init__(self, spacing_m: float, places: Floats) -> None:
        self._spacing_m = spacing_m
        low, high = places.min(axis=0), places.max(axis=0)
        self._near = _Cells(spacing_m, low, high)
        self._on = _Cells(_JOINED * spacing_m, low, high)

    def new_parts(self, way: Floats) -> list[Floats]:
        """Return the parts of a way that are near no lane yet, drawn on to where they join one, and note them."""
        points = self._sampled(way)
        new = ~self._near.hold(points)
        if not new.any():
            return []
        on = self._on.hold(points)
        changes = np.flatnonzero(np.diff(np.concatenate([[False], new, [False]]).astype(np.int8)))
        kept = np.zeros(len(points), np.bool_)
        for begin, end in zip(changes[::2].tolist(), changes[1::2].tolist(), strict=True):
            if float(np.hypot(*np.diff(points[begin:end], axis=0).T).sum()) < _LEAST * self._spacing_m:
                continue
            joins_before, joins_after = np.flatnonzero(on[:begin]), np.flatnonzero(on[end:])
            first = int(joins_before[-1]) if len(joins_before) else 0
            last = end + int(joins_after[0]) if len(joins_after) else len(points) - 1
            kept[first : last + 1] = True
        changes = np.flatnonzero(np.diff(np.concatenate([[False], kept, [False]]).astype(np.int8)))
        parts = [points[a:b] for a, b in zip(changes[::2], changes[1::2], strict=True)]
        for part in parts:
            self._near.add(part)
            self._on.add(part)
        return [_plain(part) for part in parts if len(part) > 1]

    def _sampled(self, way: Floats) -> Floats:
        """Return points along a way, its corners among them, a quarter of a spacing apart or less."""
        steps = np.hypot(*np.diff(way, axis=0).T)
        counts = np.maximum(np.ceil(steps / (_SAMPLE * self._spacing_m)).astype(np.int64), 1)
        leg = np.repeat(np.arange(len(steps)), counts)
        share = (np.arange(len(leg)) - np.repeat(np.cumsum(counts) - counts, counts) + 1) / counts[leg]
        points = way[leg] + (way[leg + 1] - way[leg]) * share[:, None]
        return np.concatenate([way[:1], points])


class _Cells:
    """Square cells that points were in, with the eight around each."""

    def __init__(self, size_m: float, low: Floats, high: Floats) -> None:
        self._size_m, self._low = size_m, low
        columns, rows = (np.floor((high - low) / size_m).astype(np.int64) + 3).tolist()
        self._cells = np.zeros((columns, rows), np.bool_)

    def hold(self, points: Floats) -> NDArray[np.bool_]:
        column, row = self._numbers(points)
        return np.asarray(self._cells[column, row])

    def add(self, points: Floats) -> None:
        column, row = self._numbers(points)
        for across in (-1, 0, 1):
            for up in (-1, 0, 1):
                self._cells[column + across, row + up] = True

    def _numbers(self, points: Floats) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        # One more, so that the cells around are there too.
        column, row = (np.floor((points - self._low) / self._size_m).astype(np.int64) + 1).T
        return column, row


def _plain(path: Floats) -> Floats:
    """Leave out points on a straight."""
    if len(path) < 3:
        return path
    before, after = path[1:-1] - path[:-2], path[2:] - path[1:-1]
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    scale = np.hypot(*before.T) * np.hypot(*after.T)
    turns = np.abs(cross) > 1e-6 * scale
    return np.asarray(path[np.concatenate([[True], turns, [True]])])
