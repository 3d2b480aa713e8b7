"""The steps of a build: one for each tile, and one for each piece of hand work a person does from one place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from standfall.brief import Brief
from standfall.geometry.convex import Convex
from standfall.geometry.outline import rectangle_corners
from standfall.mural.field import FieldPlace, place_field
from standfall.mural.standing import Standing
from standfall.tiles import Tiling

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

StepKind = Literal["tile", "gap", "stack", "line"]
KINDS: tuple[StepKind, ...] = ("tile", "gap", "stack", "line")

#: A line is laid in stretches of at most this length, so that one place to kneel serves each
#: (common practice, no source).
STRETCH_M = 0.6
# Runs of cells that begin and end within this are flush.
_FLUSH_M = 1e-6


@dataclass(frozen=True)
class Steps:
    """n steps: the tiles in their order (step = tile number - 1), then gaps, stacks and lines.

    Attributes:
        kind: (n,) int8 number in ``KINDS``. ``gap``: part of the rows that trays left open; ``stack``: the
            upper dominoes on one tile or gap; ``line``: a stretch of a hand-laid line.
        tile: (n,) int32 number of the tile; a stack has the one it stands on; 0 for none.
        x_m, y_m: (n,) middle of its dominoes.
        dominoes: (n,) int32 how many.
        after: (n,) int32 step that must be done before it, -1 for none.
        member_first, member: (n + 1,) and (d,) ids of its dominoes, rising.
        shapes: m convex outlines round its dominoes' footprints. The gaps between the rows of one step, and
            between the pieces of a line, count as occupied. A stack has none: it stands on another step.
        shape_of: (m,) int32 step of each, rising.
    """

    kind: NDArray[np.int8]
    tile: NDArray[np.int32]
    x_m: Floats
    y_m: Floats
    dominoes: NDArray[np.int32]
    after: NDArray[np.int32]
    member_first: NDArray[np.int64]
    member: NDArray[np.int64]
    shapes: Convex
    shape_of: NDArray[np.int32]

    def __len__(self) -> int:
        return len(self.kind)

    def members(self, step: int) -> NDArray[np.int64]:
        """Return the ids of a step's dominoes."""
        return self.member[self.member_first[step] : self.member_first[step + 1]]


@dataclass(frozen=True)
class _Numbers:
    """Which step each domino belongs to, and what kinds they are."""

    of_domino: Ints
    kind: list[int]
    tile: list[int]
    after: list[int]

    def add(self, kind: StepKind, tile: int, after: int, members: Ints) -> None:
        self.of_domino[members] = len(self.kind)
        self.kind.append(KINDS.index(kind))
        self.tile.append(tile)
        self.after.append(after)


def make_steps(brief: Brief, standing: Standing, tiling: Tiling) -> Steps:
    """Cut a build into steps.

    Args:
        brief: for the piece, the tray and the fields' places.
        standing: all dominoes, with their tiles.
        tiling: the tiles.
    """
    count = len(tiling)
    numbers = _Numbers(
        np.where(standing.tile > 0, standing.tile.astype(np.int64) - 1, -1),
        [KINDS.index("tile")] * count,
        [int(number) for number in tiling.number],
        [-1] * count,
    )
    _number_gaps(numbers, brief, standing)
    _number_stacks(numbers, standing)
    _number_lines(numbers, brief, standing)
    places = [place_field(field) for field in brief.fields]
    boxes, owner = _field_shapes(brief, standing, numbers.of_domino, places)
    hulls, line_owner = _line_shapes(brief, standing, numbers.of_domino)
    shape_of = np.concatenate([owner, line_owner]).astype(np.int32)
    order = np.argsort(shape_of, kind="stable")
    polygons = boxes + hulls
    return _gathered(numbers, standing, Convex.from_list([polygons[k] for k in order]), shape_of[order])


def _gathered(numbers: _Numbers, standing: Standing, shapes: Convex, shape_of: NDArray[np.int32]) -> Steps:
    n = len(numbers.kind)
    member = np.argsort(numbers.of_domino, kind="stable")
    dominoes = np.bincount(numbers.of_domino, minlength=n)
    share = np.maximum(dominoes, 1)
    return Steps(
        kind=np.array(numbers.kind, np.int8),
        tile=np.array(numbers.tile, np.int32),
        x_m=np.bincount(numbers.of_domino, standing.x_m, minlength=n) / share,
        y_m=np.bincount(numbers.of_domino, standing.y_m, minlength=n) / share,
        dominoes=dominoes.astype(np.int32),
        after=np.array(numbers.after, np.int32),
        member_first=np.concatenate([[0], np.cumsum(dominoes)]).astype(np.int64),
        member=member.astype(np.int64),
        shapes=shapes,
        shape_of=shape_of,
    )


def _number_gaps(numbers: _Numbers, brief: Brief, standing: Standing) -> None:
    """Rows left open by the trays, in stretches as wide as a tray."""
    open_floor = (standing.field >= 0) & (standing.layer == 0) & (standing.tile == 0)
    for number, field in enumerate(brief.fields):
        mine = np.flatnonzero(open_floor & (standing.field == number))
        if not len(mine):
            continue
        width = brief.tray.columns if brief.tray else field.columns
        band = np.zeros(field.rows, np.int64)
        for at, (first, last) in enumerate(field.gap_rows):
            band[first : last + 1] = at
        key = band[standing.row[mine]] * field.columns + standing.col[mine] // width
        for value in np.unique(key):
            numbers.add("gap", 0, -1, mine[key == value])


def _number_stacks(numbers: _Numbers, standing: Standing) -> None:
    """One step for what stands on each tile or gap."""
    upper = np.flatnonzero((standing.layer > 0) & (standing.field >= 0))
    if not len(upper):
        return
    base = numbers.of_domino[_below(standing, upper)]
    order = np.argsort(base, kind="stable")
    found, first = np.unique(base[order], return_index=True)
    for step, members in zip(found, np.split(upper[order], first[1:]), strict=True):
        numbers.add("stack", numbers.tile[step], int(step), members)


def _below(standing: Standing, upper: Ints) -> Ints:
    """Return for each upper domino the one it stands on: the same field, row and column."""
    floor = np.flatnonzero((standing.layer == 0) & (standing.field >= 0))
    key = np.stack([standing.field, standing.row, standing.col]).astype(np.int64)
    spans = key.max(axis=1) + 1 if len(standing) else np.ones(3, np.int64)
    flat = (key[0] * spans[1] + key[1]) * spans[2] + key[2]
    sorted_floor = floor[np.argsort(flat[floor], kind="stable")]
    return np.asarray(sorted_floor[np.searchsorted(flat[sorted_floor], flat[upper])])


def _number_lines(numbers: _Numbers, brief: Brief, standing: Standing) -> None:
    for number, line in enumerate(brief.lines):
        mine = np.flatnonzero(standing.line == number)
        pieces = max(1, int(STRETCH_M / line.pitch_m))
        for begin in range(0, len(mine), pieces):
            numbers.add("line", 0, -1, mine[begin : begin + pieces])


def _field_shapes(
    brief: Brief, standing: Standing, step_of: Ints, places: Sequence[FieldPlace]
) -> tuple[list[Floats], Ints]:
    """Boxes round the runs of dominoes of each step, rows of equal runs joined into one box."""
    boxes: list[Floats] = []
    owners = []
    half_w, half_t = brief.domino.width_m / 2, brief.domino.thickness_m / 2
    for number, place in enumerate(places):
        mine = np.flatnonzero((standing.field == number) & (standing.layer == 0))
        if not len(mine):
            continue
        step, row, left, right = _runs(step_of[mine], standing.row[mine], standing.col[mine])
        low_m = place.across_m(row, left) - half_w
        high_m = place.across_m(row, right) + half_w
        ahead = _has_next_row(step, row)
        back_m = place.along_m(row) - half_t
        front_m = np.where(ahead, place.along_m(row + 1) - half_t, place.along_m(row) + half_t)
        first, last = _stacked(step, row, low_m, high_m)
        across = np.stack([low_m[first], high_m[first], high_m[first], low_m[first]], axis=-1)
        along = np.stack([back_m[first], back_m[first], front_m[last], front_m[last]], axis=-1)
        boxes += list(np.stack(place.frame.to_hall(across, along), axis=-1))
        owners.append(step[first])
    return boxes, np.concatenate(owners) if owners else np.empty(0, np.int64)


def _runs(step: Ints, row: NDArray[np.int32], col: NDArray[np.int32]) -> tuple[Ints, Ints, Ints, Ints]:
    """Return step, row, first and last column of each unbroken run of cells."""
    order = np.lexsort((col, row, step))
    step, rows, cols = step[order], row[order].astype(np.int64), col[order].astype(np.int64)
    new = np.ones(len(step), np.bool_)
    new[1:] = (np.diff(step) != 0) | (np.diff(rows) != 0) | (np.diff(cols) != 1)
    first = np.flatnonzero(new)
    last = np.append(first[1:], len(step)) - 1
    return step[first], rows[first], cols[first], cols[last]


def _has_next_row(step: Ints, row: Ints) -> NDArray[np.bool_]:
    """Tell for each run whether its step goes on in the next row."""
    span = int(row.max()) + 2
    return np.isin(step * span + row + 1, step * span + row)


def _stacked(step: Ints, row: Ints, low_m: Floats, high_m: Floats) -> tuple[Ints, Ints]:
    """Return the first and last run of each stack of runs with the same sides in rows that follow each other."""
    low, high = np.round(low_m / _FLUSH_M), np.round(high_m / _FLUSH_M)
    order = np.lexsort((row, high, low, step))
    same = (
        (np.diff(step[order]) == 0)
        & (np.diff(low[order]) == 0)
        & (np.diff(high[order]) == 0)
        & (np.diff(row[order]) == 1)
    )
    begins = np.flatnonzero(np.append(True, ~same))
    ends = np.append(begins[1:], len(order)) - 1
    return order[begins], order[ends]


def _line_shapes(brief: Brief, standing: Standing, step_of: Ints) -> tuple[list[Floats], Ints]:
    """One hull for each piece of a line and the next one."""
    mine = np.flatnonzero(standing.line >= 0)
    if not len(mine):
        return [], np.empty(0, np.int64)
    corners = rectangle_corners(
        standing.x_m[mine],
        standing.y_m[mine],
        standing.yaw_rad[mine],
        brief.domino.width_m,
        brief.domino.thickness_m,
    )
    follows = np.append(np.diff(standing.line[mine]) == 0, False)
    onward = np.where(follows[:, None, None], np.roll(corners, -1, axis=0), corners)
    hulls = shapely.convex_hull(shapely.multipoints(np.concatenate([corners, onward], axis=1)))
    # Shapely's hulls run clockwise and repeat their first corner.
    return [shapely.get_coordinates(hull)[-2::-1] for hull in hulls], step_of[mine]
