"""How pieces share what drives them, compiled.

``flow`` is how many trains run through a piece: 1 in a row, a half in each branch of a split, 2 where two rows
join. The train behind a front counts with the front's flow over each member's, so no split or joint makes
weight or loses it. Pieces struck together, that lean on the same strikers, form a group: whoever of them lags
is pushed by all, so they share flow and motion evenly.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, TypeVar, cast

from numba import njit

from standfall.fall._fall_tables import FRONT, UNTOUCHED, Rows
from standfall.fall._lean_kernels import Graph, _follow

_F = TypeVar("_F", bound=Callable[..., Any])
_kernel = cast(Callable[[_F], _F], njit(cache=True, error_model="numpy"))


@_kernel
def _turn_to(state: Rows, piece: int, backward: int) -> None:
    """Note which way a piece falls."""
    row = state[piece]
    row.backward = backward
    if backward:
        row.pull_sin, row.pull_cos = row.back_sin, row.back_cos


@_kernel
def _hang_on(graph: Graph, state: Rows, edge: int, striker: int, target: int) -> None:
    """Let a piece be pushed by a striker's train from now on."""
    row, link = state[target], graph.edges[edge]
    row.parent, row.behind = edge, striker
    row.lever, row.face, row.turn = link.lever, link.face, link.turn


@_kernel
def _take_hold(graph: Graph, state: Rows, edge: int, striker: int, target: int) -> None:
    """Make a standing piece, or one that an earlier strike did not fell, the front of its striker's train."""
    row = state[target]
    if row.parent >= 0:
        graph.edges[row.parent].leans = False
    row.phase, row.state, row.set_off = FRONT, UNTOUCHED, False
    row.help, row.flow, row.mass, row.momentum, row.drive = 0.0, 0.0, 0.0, 0.0, 0.0
    row.late_mass, row.late_momentum, row.late_flow = 0.0, 0.0, 0.0
    row.group, row.group_next, row.group_tail, row.members = target, -1, target, 1
    row.striker, row.starter = striker, -1
    _hang_on(graph, state, edge, striker, target)
    _turn_to(state, target, graph.edges[edge].target >= len(state))


@_kernel
def _lessen(graph: Graph, state: Rows, node: int, part: float) -> None:
    """Leave to all that a node drives only a part of what drove them."""
    if part == 0.0:
        return
    for other in range(graph.first[node], graph.first[node + 1]):
        if graph.edges[other].leans:
            row = state[graph.edges[other].target % len(state)]
            row.help *= part
            row.flow *= part


@_kernel
def _unite(state: Rows, one: int, other: int) -> None:
    """Make one group of the groups of two pieces that have not set off."""
    keep, lose = state[one].group, state[other].group
    if keep == lose:
        return
    if state[keep].members < state[lose].members:
        keep, lose = lose, keep
    piece = lose
    while piece >= 0:
        state[piece].group = keep
        piece = state[piece].group_next
    state[state[keep].group_tail].group_next = lose
    state[keep].group_tail = state[lose].group_tail
    state[keep].members += state[lose].members
    state[keep].mass += state[lose].mass
    state[keep].momentum += state[lose].momentum
    state[keep].drive += state[lose].drive


@_kernel
def _give(state: Rows, link: Any, friction: float, weight: float, speed: float, drive: float) -> None:
    """Let a striker give its motion to the group of a piece that it touches.

    Args:
        state: all pieces.
        link: edge from striker to piece.
        friction: of piece on piece.
        weight: inertia behind the hit, as it counts at the striker; infinite when ``speed`` is that after the hit.
        speed: angular speed of the striker.
        drive: flow it lends the group.
    """
    piece = link.target % len(state)
    row = state[state[piece].group]
    row.drive += drive
    ratio, left, _ = _follow(link, 0.0, friction)
    if ratio <= 0.0:
        return
    if weight == math.inf:
        row.mass += state[piece].inertia
        row.momentum += 2.0 * state[piece].inertia * speed / ratio
    else:
        mass = weight * ratio * ratio * left
        row.mass += mass
        row.momentum += mass * speed / ratio


@_kernel
def _settle(state: Rows, root: int) -> None:
    """Give a group one speed (inelastic hit: all momentum over all inertia), and its flow in even parts."""
    group = state[root]
    inertia, piece = group.mass, root
    while piece >= 0:
        inertia += state[piece].inertia
        piece = state[piece].group_next
    piece = root
    omega, flow = group.momentum / inertia, group.drive / group.members
    while piece >= 0:
        row = state[piece]
        row.omega, row.flow = omega, flow
        row.help = flow / state[row.behind].flow
        piece = row.group_next
