"""The whole fall, compiled: fronts run over the contact graph in order of time.

Each front is a train (``_train_kernels``): the piece struck last, and behind it the pieces that lean on one
another. It swings until it reaches the next piece, or until a piece further back reaches another one (a
split). ``docs/fall.md`` tells what is assumed where pieces share a train.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, TypeVar, cast

import numpy as np
from numba import njit
from numpy.typing import NDArray

from standfall.fall._event_kernels import PUSH, REACH, START, Events, new_events, put, take
from standfall.fall._fall_tables import FALLEN, FRONT, PAST, STALLED, STANDS, Rows
from standfall.fall._lean_kernels import (
    Graph,
    Work,
    _earliest_split,
    _follow,
    _gather,
    _lean_sine,
    _new_work,
    _node,
    _skip_past,
    _turning,
)
from standfall.fall._share_kernels import (
    _give,
    _lessen,
    _settle,
    _take_hold,
    _turn_to,
    _unite,
)
from standfall.fall._train_kernels import HELP, LONGEST, REACHED, at_angle, careful_swing, train_sums

_F = TypeVar("_F", bound=Callable[..., Any])
_kernel = cast(Callable[[_F], _F], njit(cache=True, error_model="numpy"))

# Strikes of one piece within this time count as one; far above rounding, far below a step of some 20 ms.
TOGETHER_S = 1e-7
# Pieces whose gaps differ by less than this share of the height are reached at once by one striker.
_SAME_GAP = 1e-6
_FLAT = 0.5 * math.pi
# A struck piece waits for other strikers for this share of the time that the front took to come to it.
_WAIT = 0.1


@_kernel
def _swing_on(
    state: Rows, work: Work, friction: float, piece: int, angle_to: float
) -> tuple[int, float, int]:
    length = work.counts[0]
    swung, least, used, rows, work.ends[0] = careful_swing(
        state[piece].angle, angle_to, state[piece].square, length, work.train, friction,
        work.track, work.sines, work.rates,
    )  # fmt: skip
    work.counts[1] = rows
    return swung, least, used


@_kernel
def _rest(state: Rows, work: Work, first: int, time_s: float) -> None:
    """Members from ``first`` on have come to rest."""
    for member in range(first, work.counts[0]):
        piece = work.who[member]
        if math.isnan(state[piece].down_s):
            state[piece].down_s = time_s
        beside = state[piece].beside
        while beside >= 0:
            if math.isnan(state[beside].down_s):
                state[beside].down_s = time_s
            beside = state[beside].next_beside


@_kernel
def _weight_at(work: Work, member: int, rate: float, inertia: float) -> float:
    """Return the inertia with which a member of a train hits, as it counts at that member.

    A front that has only a share of the member's train tells of the whole by that share.
    """
    share = 1.0
    for place in range(1, member + 1):
        share *= work.train[place, HELP]
    return inertia / max(min(share, 1.0) * rate * rate, 1e-12)


@_kernel
def _foresee(graph: Graph, state: Rows, work: Work, friction: float, events: Events, piece: int) -> None:
    """Swing a front on, its train gathered, and put in the heap what it reaches next."""
    length = work.counts[0]
    own = _skip_past(graph, state, piece)
    angle_from = state[piece].angle
    angle_to = _FLAT
    if own >= 0:
        angle_to = max(math.asin(graph.edges[own].contact), angle_from)
    swung, least, used = _swing_on(state, work, friction, piece, angle_to)
    edge, rate, weight = own, 1.0, work.ends[0]
    if swung != REACHED:
        angle_to = work.track[work.counts[1] - 1, 0]
    if work.counts[2]:
        used = train_sums(
            math.sin(angle_to), math.cos(angle_to), length, work.train, friction, work.sines, work.rates
        )[3]
        who, member, angle = _earliest_split(graph, state, work, friction, angle_from, angle_to, length, used)
        if who >= 0:
            weight, _, _, there = train_sums(
                math.sin(angle), math.cos(angle), length, work.train, friction, work.sines, work.rates
            )
            place = _turning(work, member, there)
            swung, angle_to, rate = REACHED, angle, work.rates[place]
            if who != work.who[member]:
                _, rate = _lean_sine(graph, state, work, place, who)
            edge = state[who].waiting
            weight = _weight_at(work, place, rate, weight)
    spent = least / state[piece].start_square
    if swung == REACHED:
        after_s, square = at_angle(angle_to, work.counts[1], work.track)
        time_s = state[piece].since + after_s
        state[piece].next_angle, state[piece].next_square = angle_to, square
        state[piece].next_edge, state[piece].next_rate = edge, rate
        state[piece].next_s, state[piece].next_weight = time_s, weight
        state[piece].version += 1
        put(events, state, time_s, REACH, piece, state[piece].version)
    else:
        time_s = state[piece].since + work.track[work.counts[1] - 1, 2]
        state[piece].state, state[piece].phase = STALLED, STANDS  # another striker may yet fell it
        state[piece].version += 1
        spent = 0.0
        used = 1
    state[piece].margin = min(state[piece].margin, max(spent, 0.0))
    state[piece].used = used
    _rest(state, work, used, time_s)


@_kernel
def _strike_all(
    graph: Graph,
    state: Rows,
    work: Work,
    friction: float,
    events: Events,
    first: int,
    last: int,
    struck: int,
    time_s: float,
    weight: float,
    speed: float,
    advance_m_s: float,
) -> None:
    """A piece touches pieces that stand or have not set off: they become one group, and get what it has to give.

    Args:
        graph, state, work, friction, events: as everywhere.
        first, last: range of the edges that come to a contact.
        struck: how many of them lead to such pieces.
        time_s: when.
        weight, speed: as in ``_give``.
        advance_m_s: speed of the striker's edge, for those it touches a little later.
    """
    count = len(state)
    node = graph.edges[first].source
    striker = node % count
    before = state[striker].children
    after = before + struck
    _lessen(graph, state, node, before / after)
    state[striker].children = after
    passed_s, one, held = time_s - state[striker].struck_s, -1, False
    with_one = first
    for edge in range(first, last):
        link = graph.edges[edge]
        if not _is_open_to(state, link):
            continue
        target = link.target % count
        if state[target].phase == STANDS:
            _take_hold(graph, state, edge, striker, target)
            later_s = (link.gap_m - graph.edges[first].gap_m) / max(advance_m_s, 1e-9)
            state[target].struck_s = time_s + later_s
            if passed_s + later_s > TOGETHER_S:
                state[target].speed = link.pitch_m / (passed_s + later_s)
            put(events, state, time_s + later_s + max(TOGETHER_S, _WAIT * passed_s), START, target, 0)
        elif state[target].behind < 0:
            continue  # a starter has just pushed it, which is harder
        graph.edges[edge].leans = True
        held = held or state[target].behind == striker
        if one < 0:
            one, with_one = target, edge
            _give(state, link, friction, weight, speed, state[striker].flow * struck / after)
        elif weight == math.inf:
            _give(state, link, friction, weight, speed, 0.0)
        _unite(state, one, target)
    if one >= 0 and not held and state[striker].parent_beside < 0:
        # Others struck them first, but it goes on with them.
        _lean_beside(graph, state, work, striker, with_one, time_s)


@_kernel
def _moves_with(state: Rows, link: Any) -> bool:
    """Say whether an edge leads to a front that is on its way, and in that direction."""
    row = state[link.target % len(state)]
    return bool(row.phase == FRONT and row.set_off and row.backward == (link.target >= len(state)))


@_kernel
def _is_open_to(state: Rows, link: Any) -> bool:
    """Say whether an edge leads to a piece that stands, or has been struck that way and has not set off."""
    row = state[link.target % len(state)]
    if row.phase == STANDS:
        return True
    return bool(row.phase == FRONT and not row.set_off and row.backward == (link.target >= len(state)))


@_kernel
def _hit(
    graph: Graph, state: Rows, friction: float, piece: int, first: int, last: int, speed: float
) -> float:
    """Share out the motion where a piece further back in a train hits pieces that stand (inelastic).

    All is reckoned at the striker: a train counts there with its sum J over the square of the striker's speed over
    its front's, and over the share of the push that friction leaves. The one speed after the hit is that of all
    momentum over all inertia. For one standing piece this is the factor (J - I) / J of the model.

    Args:
        graph, state, friction: as everywhere.
        piece: front of the striker's train; what it hits with is in ``next_weight``.
        first, last: range of the edges that come to a contact.
        speed: angular speed of the striker before.

    Returns:
        Its speed after.
    """
    count = len(state)
    inertia = state[piece].next_weight
    momentum = inertia * speed
    for edge in range(first, last):
        link = graph.edges[edge]
        row = state[link.target % count]
        if row.phase == STANDS:
            ratio, left, _ = _follow(link, 0.0, friction)
            if ratio > 0.0:
                inertia += row.inertia / (ratio * ratio * left)
    return float(momentum / inertia)


@_kernel
def _start(
    graph: Graph,
    state: Rows,
    awaited: NDArray[np.bool_],
    pushes: Rows,
    work: Work,
    friction: float,
    events: Events,
    piece: int,
) -> None:
    """A struck piece begins to swing, and with it all of its group."""
    if state[piece].set_off:
        return
    if state[piece].behind < 0:
        _set_off(graph, state, awaited, pushes, work, friction, events, piece)
        return
    member = state[piece].group
    _settle(state, member)
    while member >= 0:
        _set_off(graph, state, awaited, pushes, work, friction, events, member)
        member = state[member].group_next


@_kernel
def _set_off(
    graph: Graph,
    state: Rows,
    awaited: NDArray[np.bool_],
    pushes: Rows,
    work: Work,
    friction: float,
    events: Events,
    piece: int,
) -> None:
    row = state[piece]
    node = _node(state, piece)
    row.waiting, row.open = graph.first[node], graph.first[node] < graph.first[node + 1]
    row.square = row.omega**2
    row.start_square = max(row.square, 1e-300)
    row.angle, row.since = 0.0, row.struck_s
    row.margin, row.set_off = 1.0, True
    if awaited[piece]:
        for number in range(len(pushes)):
            if pushes[number].waits_for == piece:
                put(events, state, row.struck_s + pushes[number].at_s, PUSH, number, 0)
    _gather(state, work, piece, 1 if row.behind < 0 else state[row.behind].used + 1)
    _foresee(graph, state, work, friction, events, piece)


@_kernel
def _reach(
    graph: Graph, state: Rows, work: Work, friction: float, events: Events, piece: int, time_s: float
) -> None:
    """A front, or a piece in its train, reaches what it was foreseen to reach."""
    count = len(state)
    edge = state[piece].next_edge
    state[piece].angle, state[piece].square = state[piece].next_angle, state[piece].next_square
    state[piece].since = time_s
    if edge < 0:
        state[piece].state, state[piece].phase = FALLEN, PAST
        _gather(state, work, piece, LONGEST)
        _rest(state, work, 0, time_s)
        return
    node = graph.edges[edge].source
    striker = node % count
    omega = math.sqrt(state[piece].square) * state[piece].next_rate
    # What it would touch within the wait counts as touched now: its edge moves on at about this speed.
    advance_m_s = omega * state[striker].height_m * math.sqrt(max(1.0 - graph.edges[edge].contact ** 2, 0.0))
    near_m = _SAME_GAP * state[striker].height_m
    if striker == piece:
        near_m = max(near_m, advance_m_s * _WAIT * (time_s - state[striker].struck_s))
    widest = graph.edges[edge].gap_m + near_m
    last = edge
    while last < graph.first[node + 1] and graph.edges[last].gap_m <= widest:
        last += 1
    state[striker].waiting, state[striker].open = last, last < graph.first[node + 1]
    if striker == piece:
        omega = _take_in(state, piece, omega)
    struck, late = 0, -1
    for touched in range(edge, last):
        if _is_open_to(state, graph.edges[touched]):
            struck += 1
        elif late < 0 and _moves_with(state, graph.edges[touched]):
            late = touched
    if striker != piece:
        after = _hit(graph, state, friction, piece, edge, last, omega)
        if struck > 0:
            _strike_all(
                graph, state, work, friction, events, edge, last, struck, time_s, math.inf, after, advance_m_s
            )
        if omega > 0.0:
            state[piece].square *= (after / omega) ** 2
    elif struck > 0 or (late >= 0 and not _goes_on(graph, state, piece, late, time_s, omega)):
        state[piece].state, state[piece].phase = FALLEN, PAST
        weight = state[piece].next_weight
        if struck > 0:
            _strike_all(
                graph, state, work, friction, events, edge, last, struck, time_s, weight, omega, advance_m_s
            )
        else:
            _follow_late(state, piece, graph.edges[late], friction, weight, omega)
            _lean_beside(graph, state, work, piece, late, time_s)
        return
    _gather(state, work, piece, LONGEST)
    _foresee(graph, state, work, friction, events, piece)


@_kernel
def _goes_on(graph: Graph, state: Rows, piece: int, late: int, time_s: float, omega: float) -> bool:
    """Say whether a front reaches another piece before it comes up with the one that moves ahead of it.

    It comes up with that one when it has struck its next and slowed down; until then nothing holds the front.
    """
    own = _skip_past(graph, state, piece)
    if own < 0:
        return False
    left_s = state[graph.edges[late].target % len(state)].next_s - time_s
    return bool(math.asin(graph.edges[own].contact) - state[piece].angle < omega * left_s)


@_kernel
def _follow_late(state: Rows, piece: int, link: Any, friction: float, weight: float, speed: float) -> None:
    """Note on a front that a striker comes after it, which will hit from behind when the front strikes its next.

    Until then it adds nothing: the front is ahead of it. Its weight, speed and flow are as they are now.
    """
    row = state[link.target % len(state)]
    ratio, left, _ = _follow(link, 0.0, friction)
    mass = weight * ratio * ratio * left
    row.late_mass += mass
    row.late_momentum += mass * speed / ratio
    row.late_flow += state[piece].flow


@_kernel
def _take_in(state: Rows, piece: int, speed: float) -> float:
    """Let those who come late hit a front as it strikes its next; return its speed after, and weigh it anew."""
    row = state[piece]
    if row.late_mass <= 0.0:
        return speed
    both = row.next_weight + row.late_mass
    after = (row.next_weight * speed + row.late_momentum) / both
    row.next_weight = both
    if row.behind >= 0:
        row.help += row.late_flow / state[row.behind].flow
    row.flow += row.late_flow
    row.late_mass, row.late_momentum, row.late_flow = 0.0, 0.0, 0.0
    return float(after)


@_kernel
def _lean_beside(graph: Graph, state: Rows, work: Work, piece: int, edge: int, time_s: float) -> None:
    """Note that a piece leans on one that another has struck first, and goes on with that.

    Nobody's train holds those behind it from now on: they come to rest about one step later.
    """
    target = graph.edges[edge].target % len(state)
    state[piece].parent_beside = edge
    state[piece].next_beside = state[target].beside
    state[target].beside = piece
    _gather(state, work, piece, LONGEST)
    _rest(state, work, 0, 2.0 * time_s - state[piece].struck_s)


@_kernel
def _push(state: Rows, push: Any, time_s: float, events: Events) -> None:
    piece = push.node % len(state)
    row = state[piece]
    if row.phase != STANDS:
        return
    row.phase, row.flow, row.set_off = FRONT, 1.0, False
    row.striker, row.starter, row.behind = -1, push.starter, -1
    row.struck_s, row.omega = time_s, push.omega
    _turn_to(state, piece, push.node >= len(state))
    put(events, state, time_s + TOGETHER_S, START, piece, 0)


@_kernel
def _fall(graph: Graph, state: Rows, friction: float, pushes: Rows, until_s: float) -> None:
    work = _new_work()
    events = new_events(2 * len(state) + len(pushes) + 64)
    awaited = np.zeros(len(state), dtype=np.bool_)
    for number in range(len(pushes)):
        if pushes[number].waits_for >= 0:
            awaited[pushes[number].waits_for] = True
        else:
            put(events, state, pushes[number].at_s, PUSH, number, 0)
    while events.size[0] > 0:
        time_s, kind, index, version = take(events)
        if time_s > until_s:
            break
        if kind == PUSH:
            _push(state, pushes[index], time_s, events)
        elif kind == START:
            _start(graph, state, awaited, pushes, work, friction, events, index)
        elif version == state[index].version:
            _reach(graph, state, work, friction, events, index, time_s)


def fall_down(
    first: NDArray[np.int64], edges: Rows, pieces: Rows, friction: float, pushes: Rows, until_s: float
) -> None:
    """Run the whole fall, filling in ``pieces``.

    Args:
        first: (2n + 1,) rows of ``edges`` by node.
        edges: rows of ``EDGE``.
        pieces: (n,) rows of ``PIECE``, all standing.
        friction: of piece on piece.
        pushes: rows of ``PUSHES``.
        until_s: the moment to stop at.
    """
    _fall(Graph(first, edges), pieces, float(friction), pushes, float(until_s))
