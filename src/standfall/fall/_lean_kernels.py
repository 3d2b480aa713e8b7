"""Who leans on whom while it falls: the train behind a front, and which piece reaches another first. Compiled."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, NamedTuple, TypeVar, cast

import numpy as np
from numba import njit
from numpy.typing import NDArray

from standfall.fall._fall_tables import PAST, Rows
from standfall.fall._train_kernels import (
    FACE,
    HELP,
    INERTIA,
    LEVER,
    LONGEST,
    PULL_COS,
    PULL_SIN,
    QUANTITIES,
    TRACK_ROWS,
    TURN,
    train_sums,
)

_F = TypeVar("_F", bound=Callable[..., Any])
_kernel = cast(Callable[[_F], _F], njit(cache=True, error_model="numpy"))


class Graph(NamedTuple):
    """The contact graph: edges of node k are rows ``first[k]`` to ``first[k + 1]``."""

    first: NDArray[Any]
    edges: NDArray[Any]


class Work(NamedTuple):
    """Work space."""

    train: NDArray[Any]
    who: NDArray[Any]  # each member
    track: NDArray[Any]
    sines: NDArray[Any]
    rates: NDArray[Any]
    ends: NDArray[Any]  # sum J at the end of the last swing
    counts: NDArray[Any]  # members gathered, rows of the track filled, whether any may yet reach more


@_kernel
def _new_work() -> Work:
    return Work(
        np.empty((LONGEST, QUANTITIES)),
        np.empty(LONGEST, dtype=np.int64),
        np.empty((TRACK_ROWS, 3)),
        np.empty(LONGEST),
        np.empty(LONGEST),
        np.zeros(1),
        np.zeros(3, dtype=np.int64),
    )


@_kernel
def _node(state: Rows, piece: int) -> int:
    return piece + len(state) if state[piece].backward else piece


@_kernel
def _gather(state: Rows, work: Work, front: int, limit: int) -> int:
    """Fill the train behind a front, from the pieces that were struck one by the other."""
    train, piece, length, is_open = work.train, front, 0, 0
    limit = min(limit, LONGEST)
    while True:
        row = state[piece]
        train[length, INERTIA] = row.inertia
        train[length, PULL_SIN], train[length, PULL_COS] = row.pull_sin, row.pull_cos
        work.who[length] = piece
        if (row.open and length > 0) or row.beside >= 0:
            is_open = 1
        length += 1
        if row.behind < 0 or length >= limit:
            break
        train[length, LEVER], train[length, FACE] = row.lever, row.face
        train[length, TURN], train[length, HELP] = row.turn, row.help
        piece = row.behind
    work.counts[0], work.counts[2] = length, is_open
    return length


@_kernel
def _skip_past(graph: Graph, state: Rows, piece: int) -> int:
    """Move a piece's ``waiting`` over edges to pieces that have fallen away; return it, -1 at the end."""
    if not state[piece].open:
        return -1
    count = len(state)
    edge = state[piece].waiting
    stop = graph.first[_node(state, piece) + 1]
    while edge < stop and state[graph.edges[edge].target % count].phase == PAST:
        edge += 1
    state[piece].waiting = edge
    if edge < stop:
        return int(edge)
    state[piece].open = False
    return -1


@_kernel
def _turning(work: Work, member: int, used: int) -> int:
    """Return the member whose angle and speed a member has: its own, or that of the last one it lies flat on.

    A piece that has landed drives nothing any more, but it goes on turning with the one under it.
    """
    return min(member, used - 1)


@_kernel
def _lean_sine(graph: Graph, state: Rows, work: Work, member: int, beside: int) -> tuple[float, float]:
    """Return the sine of the angle of a piece that leans on a member from beside, and its speed over the front's.

    The lean and the ratio of speeds are those of ``train_sums``; those of the member once it lies flat on it.
    """
    link = graph.edges[state[beside].parent_beside]
    sine = work.sines[member]
    cosine = math.sqrt(max(1.0 - sine * sine, 0.0))
    sin_lean = link.lever * cosine - link.face
    if sin_lean <= 0.0 or sin_lean >= 1.0:
        return float(sine), float(work.rates[member] * link.turn)
    cos_lean = math.sqrt(1.0 - sin_lean * sin_lean)
    ratio = max(1.0 - link.lever * sine / cos_lean, 0.0)
    return sine * cos_lean + cosine * sin_lean, work.rates[member] * ratio * link.turn


@_kernel
def _sine_of(graph: Graph, state: Rows, work: Work, member: int, beside: int, used: int) -> float:
    """Return the sine of the angle of a member, or of a piece that leans on it from beside."""
    place = _turning(work, member, used)
    if beside >= 0:
        return _lean_sine(graph, state, work, place, beside)[0]
    return float(work.sines[place])


@_kernel
def _angle_of_contact(
    graph: Graph,
    state: Rows,
    work: Work,
    friction: float,
    member: int,
    beside: int,
    wanted: float,
    low: float,
    high: float,
    length: int,
) -> float:
    """Halve down to the front's angle at which a member, or a piece that leans on it, reaches a sine."""
    for _ in range(40):
        middle = 0.5 * (low + high)
        used = train_sums(
            math.sin(middle), math.cos(middle), length, work.train, friction, work.sines, work.rates
        )[3]
        if _sine_of(graph, state, work, member, beside, used) >= wanted:
            high = middle
        else:
            low = middle
        if high - low < 1e-10:
            break
    return high


@_kernel
def _earliest_split(
    graph: Graph,
    state: Rows,
    work: Work,
    friction: float,
    angle_from: float,
    angle_to: float,
    length: int,
    used: int,
) -> tuple[int, int, float]:
    """Find who behind the front first reaches another piece: (piece, member, front's angle), piece -1: nobody.

    Looked at are the members behind the front, landed ones too, and the pieces that lean on members from beside.
    ``work.sines`` and ``work.rates`` must be those at ``angle_to``, where ``used`` members take part.
    """
    found, found_member, found_angle = -1, 0, angle_to
    sines, rates = work.sines[:used].copy(), work.rates[:used].copy()
    for member in range(length):
        piece, beside = work.who[member], -1
        while True:
            edge = -1 if (member == 0 and beside < 0) else _skip_past(graph, state, piece)
            if edge >= 0:
                work.sines[:used], work.rates[:used] = sines, rates
                wanted = graph.edges[edge].contact
                if _sine_of(graph, state, work, member, beside, used) >= wanted:
                    angle = _angle_of_contact(
                        graph, state, work, friction, member, beside, wanted, angle_from, found_angle, length
                    )
                    if found < 0 or angle < found_angle:
                        found, found_member, found_angle = piece, member, angle
            beside = state[work.who[member]].beside if beside < 0 else state[beside].next_beside
            if beside < 0:
                break
            piece = beside
    return found, found_member, found_angle


@_kernel
def _follow(link: Any, angle: float, friction: float) -> tuple[float, float, float]:
    """Return how a striker pushes a piece that has turned to this angle.

    Returns:
        the striker's speed over the piece's, 0 when it cannot push; the share of its push that friction leaves,
        alpha / beta of the model over what that is without friction; and the angle it still has to turn before
        it touches the piece, from where it would have touched it upright.
    """
    sin_lean = link.lever * math.cos(angle) - link.face
    if sin_lean < 0.0 or sin_lean >= 1.0:
        return 0.0, 1.0, 0.0
    cos_lean = math.sqrt(1.0 - sin_lean * sin_lean)
    free = cos_lean - link.lever * math.sin(angle)
    pushed = free - friction * link.face
    if free <= 0.0 or pushed <= 0.0:
        return 0.0, 1.0, 0.0
    left = (pushed / (cos_lean + friction * sin_lean)) / (free / cos_lean)
    return free / cos_lean * link.turn, left, angle + math.asin(sin_lean) - math.asin(link.contact)
