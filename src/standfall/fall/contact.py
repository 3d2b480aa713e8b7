"""Which falling piece reaches which: the contact graph, from the poses alone."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from standfall.fall._contact_kernels import Bench, Floor, follow, sort_into_cells
from standfall.fall.pieces import Pieces

Floats = NDArray[np.float64]

# Edges a bench holds at a time: few enough to stay near the processor, many enough to be seldom emptied.
BENCH_EDGES = 1 << 16


@dataclass(frozen=True)
class Contacts:
    """What each of n dominoes reaches when it falls either way; e edges.

    Node k < n is domino k falling along its yaw, node n + k is domino k falling against it.

    Attributes:
        first: (2n + 1,) int64; the edges of node v are ``first[v]:first[v + 1]``, by gap, then by target.
        target: (e,) int32 node that is struck, and so which way it falls.
        gap_m: (e,) from the striker's leading face, along its fall, to the nearest point of the struck piece in
            the band the striker sweeps. Below 0 where the footprints overlap, down to minus the thickness.
        offset_m: (e,) sideways distance of the struck piece's middle from the striker's, left positive.
        turn_rad: (e,) fall direction of the struck node less that of the striker, from -pi/2 to pi/2.
        overlap: (e,) share of the narrower piece's width that is met and not hidden by nearer pieces, up to 1.
        pitch_m: (e,) from middle to middle.
    """

    first: NDArray[np.int64]
    target: NDArray[np.int32]
    gap_m: Floats
    offset_m: Floats
    turn_rad: Floats
    overlap: Floats
    pitch_m: Floats

    def __len__(self) -> int:
        """Return the number of dominoes."""
        return (len(self.first) - 1) // 2

    @property
    def edges(self) -> int:
        """Return how many edges there are."""
        return len(self.target)


def find_contacts(
    x_m: Floats,
    y_m: Floats,
    z_m: Floats,
    yaw_rad: Floats,
    pieces: Pieces,
    pushed: NDArray[np.int32] | None = None,
) -> Contacts:
    """Find which piece reaches which.

    A falling piece turns about its leading bottom edge, so its top edge sweeps the rectangle from its leading
    face forward by its own height, as wide as itself. Pieces of the same storey (feet within 1 mm) whose
    footprint bites into that rectangle by more than 1e-9 m each way may be struck.

    Nearer pieces hide farther ones: of the stretch of the band that a piece fills, the stretches filled by pieces
    whose gap is smaller by 1e-6 m or more are taken off. What is left, divided by the narrower of the two widths,
    is ``overlap``; under 0.02 there is no edge. Pieces nearer to equal than 1e-6 m do not hide each other.

    A struck piece falls away from the striker: forward or backward, whichever turns it by 90 degrees or less;
    forward at 90 degrees (within 1e-9 rad), to either side, so there ``turn_rad`` may be -pi/2.

    Every piece has its edges as a forward node. A backward node has edges only when it can be struck at all:
    it is a target of a forward node or of a backward node that can be struck, or it is ``pushed``.

    Args:
        x_m, y_m: (n,) middles of the footprints.
        z_m: (n,) heights of the feet.
        yaw_rad: (n,) fall directions.
        pieces: n sizes.
        pushed: (k,) nodes that starters push; a backward one of them has edges too.

    Raises:
        ValueError: columns of different length, or a number that is not finite.
    """
    floor = lay_out(x_m, y_m, z_m, yaw_rad, pieces)
    n = len(pieces)
    queue = np.empty(2 * n, np.int32)
    queue[:n] = np.arange(n)
    queued = np.zeros(2 * n, np.bool_)
    queued[:n] = True
    backward = np.empty(0, np.int32) if pushed is None else np.unique(pushed[pushed >= n])
    queued[backward] = True
    queue[n : n + len(backward)] = backward
    return sweep(floor, yaw_rad, pieces.height_m, queue, n + len(backward), queued)


def lay_out(x_m: Floats, y_m: Floats, z_m: Floats, yaw_rad: Floats, pieces: Pieces) -> Floor:
    """Sort pieces into the cells of a floor; arguments and errors as in ``find_contacts``."""
    columns = [np.ascontiguousarray(column, dtype=np.float64) for column in (x_m, y_m, z_m, yaw_rad)]
    sizes = (pieces.height_m, pieces.width_m, pieces.thickness_m)
    if any(column.shape != (len(pieces),) for column in columns):
        raise ValueError("x_m, y_m, z_m, yaw_rad and pieces must speak of the same dominoes")
    if not all(np.isfinite(column).all() for column in (*columns, *sizes)):
        raise ValueError("the poses or sizes of the dominoes hold a number that is not finite")
    x, y, z, yaw = columns
    n = len(x)
    left, bottom = (float(x.min()), float(y.min())) if n else (0.0, 0.0)
    wide, deep = (float(np.ptp(x)), float(np.ptp(y))) if n else (0.0, 0.0)
    cell = float(np.median(pieces.height_m)) if n else 1.0
    # On a wide and nearly empty floor larger cells do: at most about four a piece.
    cell = max(cell, math.sqrt(wide * deep / (4 * n + 1)), (wide + deep) / (4 * n + 1), 1e-6)
    across, along = int(wide / cell) + 1, int(deep / cell) + 1
    start, item = sort_into_cells(x, y, left, bottom, cell, across, along)
    half_t, half_w = 0.5 * pieces.thickness_m, 0.5 * pieces.width_m
    spread = float(np.hypot(half_t, half_w).max()) if n else 0.0
    return Floor(
        x,
        y,
        z,
        np.cos(yaw),
        np.sin(yaw),
        half_t,
        half_w,
        start,
        item,
        left,
        bottom,
        cell,
        across,
        along,
        spread,
    )


def new_bench(edges: int) -> Bench:
    """Return an empty bench for this many edges."""
    return Bench(np.empty(edges, np.int32), *(np.empty(edges) for _ in Bench._fields[1:]))


def sweep(
    floor: Floor,
    yaw_rad: Floats,
    reach_m: Floats,
    queue: NDArray[np.int32],
    tail: int,
    queued: NDArray[np.bool_],
) -> Contacts:
    """Find the edges of the nodes in a queue, and of those that join it.

    Args:
        floor: n pieces.
        yaw_rad: (n,) their fall directions.
        reach_m: (n,) how far each sweeps ahead of its leading face.
        queue: (2n,) nodes, of which the first ``tail`` are to be done, the forward ones first and in order.
        tail: how many.
        queued: (2n,) nodes in the queue, and those that shall not join it when struck. Is written.
    """
    nodes = 2 * len(yaw_rad)
    yaw = np.ascontiguousarray(yaw_rad, dtype=np.float64)
    reach = np.ascontiguousarray(reach_m, dtype=np.float64)
    count = np.zeros(nodes, np.int32)
    bench = new_bench(min(BENCH_EDGES, 4 * nodes + 16))
    kept: list[list[NDArray[Any]]] = [[] for _ in range(6)]
    _empty(bench, 0, kept)
    position = 0
    while position < tail:
        before = position
        position, tail, edges = follow(floor, yaw, reach, queue, position, tail, queued, count, bench)
        _empty(bench, edges, kept)
        if position == before:  # not even one node fits
            bench = new_bench(2 * len(bench.target))
    first = np.zeros(nodes + 1, np.int64)
    np.cumsum(count, out=first[1:])
    order = _node_order(queue[:tail], count, int(first[nodes // 2]))
    return Contacts(first, *(_joined(parts, order) for parts in kept))


def _empty(bench: Bench, edges: int, kept: list[list[NDArray[Any]]]) -> None:
    columns: tuple[NDArray[Any], ...] = (
        bench.target,
        bench.gap,
        bench.offset,
        bench.turn,
        bench.share,
        bench.pitch,
    )
    for parts, column in zip(kept, columns, strict=True):
        parts.append(column[:edges].copy())


def _node_order(
    queue: NDArray[np.int32], count: NDArray[np.int32], forward_edges: int
) -> NDArray[np.intp] | None:
    """Say how to bring edges from the order of the queue to that of the nodes; None when they are."""
    # Forward nodes are queued in order; backward nodes join in the order in which they are struck.
    backward = queue[queue >= len(count) // 2]
    if np.all(backward[1:] > backward[:-1]):
        return None
    owner = np.repeat(backward, count[backward])
    return np.concatenate(
        [np.arange(forward_edges), forward_edges + np.argsort(owner, kind="stable")], dtype=np.intp
    )


def _joined(parts: list[NDArray[Any]], order: NDArray[np.intp] | None) -> Any:
    """Join the parts of a column and let go of them, so that only one column is held twice at a time."""
    column = np.concatenate(parts)
    parts.clear()
    return column if order is None else column[order]
