"""From the starters of a brief to strikes on single pieces, and what is wrong with them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from standfall.brief import Brief, Starter
from standfall.fall.block import Block
from standfall.fall.chain import least_push_rad_s
from standfall.fall.contact import Contacts
from standfall.fall.falling import FALLEN, Fall, Strikes
from standfall.fall.ground import Ground
from standfall.fall.pieces import Pieces
from standfall.fall.place import place_name
from standfall.fall.starter import (
    StarterFigure,
    Touch,
    starter_figure,
    touch,
    with_least_omega,
)
from standfall.findings import Finding, make_finding
from standfall.mural.standing import Standing

# A push is judged by whether it fells this many pieces: beyond, none of our runs at any gap died of its start.
FIRST_PIECES = 40
# A push that has less than this share of it along a piece's fall, at 85 degrees, is no push.
LEAST_SHARE = 0.087
NEVER_OFF = -2


@dataclass(frozen=True)
class Pushes:
    """All starters of a build.

    Attributes:
        strikes: on single pieces, starter by starter.
        figures: one for each starter that touches something, in the brief's order.
        findings: starters that are missing or touch nothing.
    """

    strikes: Strikes
    figures: tuple[StarterFigure, ...]
    findings: tuple[Finding, ...]


def push_all(brief: Brief, standing: Standing, pieces: Pieces) -> Pushes:
    """Find what each starter of the brief strikes, when, and how hard."""
    if not brief.starters:
        nothing = make_finding(
            "F701",
            "starter",
            "the brief names no starter, so nothing falls",
            value=0,
            limit="at least one [[starter]]",
            next_step="Add a [[starter]] with a line, a field or a place that it strikes.",
        )
        return Pushes(_join([]), (), (nothing,))
    block = _block(brief)
    strikes, figures, findings = [], [], []
    for number, starter in enumerate(brief.starters):
        touched = touch(starter, standing, brief, pieces)
        if not len(touched.node):
            findings.append(_touches_nothing(number, starter))
            continue
        figure = starter_figure(starter, block, len(touched.node))
        figures.append(figure)
        strikes.append(_strikes_of(number, starter, figure, touched, _awaited(brief, standing, starter)))
    return Pushes(_join(strikes), tuple(figures), tuple(findings))


def _block(brief: Brief) -> Block:
    domino = brief.domino
    return Block(domino.height_m, domino.thickness_m, domino.mass_kg)


def _awaited(brief: Brief, standing: Standing, starter: Starter) -> int:
    """Return the last domino of the line a starter waits for, -1 when it waits for none."""
    if starter.waits_for is None:
        return -1
    number = [line.name for line in brief.lines].index(starter.waits_for)
    places = np.flatnonzero(standing.line == number)
    if not len(places):
        raise ValueError(f"starter {starter.name!r} waits for a line without dominoes, {starter.waits_for!r}")
    return int(places[-1])


def _strikes_of(
    number: int, starter: Starter, figure: StarterFigure, touched: Touch, awaited: int
) -> Strikes:
    count = len(touched.node)
    # A driven edge keeps its speed on the way; a bob or ball that has struck the first piece is hardly slower
    # over the few millimetres to the next.
    at_s = starter.delay_s + figure.release_to_strike_s + touched.travel_m / figure.strike_speed_m_s
    return Strikes(
        node=touched.node,
        at_s=at_s,
        omega_rad_s=figure.omega_rad_s * np.cos(touched.turn_rad),
        waits_for=np.full(count, awaited, dtype=np.int32),
        starter=np.full(count, number, dtype=np.int16),
    )


def _join(parts: Sequence[Strikes]) -> Strikes:
    empty = Strikes(
        np.empty(0, np.int32), np.empty(0), np.empty(0), np.empty(0, np.int32), np.empty(0, np.int16)
    )
    names = ("node", "at_s", "omega_rad_s", "waits_for", "starter")
    return Strikes(*(np.concatenate([getattr(part, name) for part in [empty, *parts]]) for name in names))


def _touches_nothing(number: int, starter: Starter) -> Finding:
    aim = starter.line or starter.field or f"{starter.place_m}"
    return make_finding(
        "F702",
        f"starter[{number}] {starter.name}",
        f"the starter strikes no domino; it is aimed at {aim}",
        value=0,
        limit="at least one domino on the floor within its stroke",
        next_step="Move it, turn it, or give it a longer stroke_mm.",
    )


def judge_pushes(
    brief: Brief,
    standing: Standing,
    contacts: Contacts,
    pieces: Pieces,
    ground: Ground,
    pushes: Pushes,
    fall: Fall,
) -> tuple[tuple[StarterFigure, ...], list[Finding]]:
    """Work out the least push each starter must give, and name starters that are too weak or never go off."""
    figures, findings = [], []
    block = _block(brief)
    numbers = np.unique(pushes.strikes.starter)
    for figure, number in zip(pushes.figures, numbers, strict=True):
        starter = brief.starters[number]
        mine = np.flatnonzero(pushes.strikes.starter == number)
        # Pushed at an angle to its fall, a piece gets the cosine's share of what the starter gives.
        share = pushes.strikes.omega_rad_s[mine] / figure.omega_rad_s
        least, weak = _least_omega(
            contacts, pieces, ground, standing, fall, pushes.strikes.node[mine], share, figure.omega_rad_s
        )
        figure = with_least_omega(figure, starter, block, least) if np.isfinite(least) else figure
        figures.append(figure)
        if not (fall.starter == number).any():
            weak = _in_vain(pushes.strikes, mine, fall)
        if weak == NEVER_OFF:
            findings.append(_never_off(int(number), starter))
        elif weak >= 0:
            findings.append(_too_weak(int(number), figure, least, place_name(brief, standing, weak)))
    return tuple(figures), findings


def _in_vain(strikes: Strikes, mine: np.ndarray, fall: Fall) -> int:
    """Return the first piece that a starter pushed before another felled it, ``NEVER_OFF`` when it pushed none."""
    awaited = strikes.waits_for[mine]
    due_s = strikes.at_s[mine] + np.where(awaited >= 0, fall.struck_s[awaited], 0.0)
    piece = strikes.node[mine] % len(fall)
    pushed = piece[fall.struck_s[piece] > due_s]
    return int(pushed[0]) if len(pushed) else NEVER_OFF


def _least_omega(
    contacts: Contacts,
    pieces: Pieces,
    ground: Ground,
    standing: Standing,
    fall: Fall,
    nodes: np.ndarray,
    share: np.ndarray,
    given_rad_s: float,
) -> tuple[float, int]:
    """Return the least a starter must give to fell the first pieces, the greatest over a few of those struck.

    Args:
        contacts, pieces, ground, standing, fall: as everywhere.
        nodes: (k,) what it strikes.
        share: (k,) of what the starter gives that goes along the fall of each.
        given_rad_s: what it gives.

    Returns:
        that, NaN where no push does; and the first piece that is pushed too weakly, so that some of the first
        pieces ahead of it stay up, -1 when none is.
    """
    least, weak = 0.0, -1
    for place in np.unique(np.linspace(0, len(nodes) - 1, 5).astype(int)).tolist():
        node = int(nodes[place])
        chain, gaps_m = _ahead(contacts, node)
        slope_rad = float(ground.slope_along(standing.yaw_rad[chain[:1]])[0])
        if node >= len(pieces):
            slope_rad = -slope_rad
        along = Ground(ground.domino_friction, ground.floor_friction, slope_rad, 0.0)
        needed = least_push_rad_s(np.maximum(gaps_m, 0.0), pieces.take(chain), along)
        needed = needed / share[place] if share[place] > LEAST_SHARE else math.nan
        if weak < 0 and not given_rad_s >= needed and (fall.state[chain] != FALLEN).any():
            weak = int(chain[0])
        least = float(np.maximum(least, needed))  # NaN stays
    return least, weak


def _ahead(contacts: Contacts, node: int) -> tuple[np.ndarray, np.ndarray]:
    """Follow the nearest contact from a node: the first pieces of its chain, and their gaps."""
    count = len(contacts)
    chain, gaps_m, seen = [node % count], [], {node % count}
    while len(chain) < FIRST_PIECES:
        edge = int(contacts.first[node])
        if edge == contacts.first[node + 1] or int(contacts.target[edge]) % count in seen:
            break
        node = int(contacts.target[edge])
        seen.add(node % count)
        chain.append(node % count)
        gaps_m.append(float(contacts.gap_m[edge]))
    return np.array(chain, dtype=np.intp), np.array(gaps_m)


def _too_weak(number: int, figure: StarterFigure, least: float, where: str) -> Finding:
    if np.isfinite(least):
        limit = f"{least:.2f} rad/s for the first {FIRST_PIECES} pieces"
        step = f"Strike with at least {rounded_up(1000 * figure.needed_speed_m_s, 1):g} mm/s{_how(figure)}"
        step += ", or widen the first gaps."
    else:
        limit = "no push this way fells the first pieces"
        step = "Push along the fall direction, or change the gaps: no harder push helps here."
    return make_finding(
        "F703",
        f"starter[{number}] {figure.name}",
        f"the push on {where} is too weak for the pieces behind it",
        value=f"{figure.omega_rad_s:.2f} rad/s",
        limit=limit,
        next_step=step,
    )


def _how(figure: StarterFigure) -> str:
    """Say what gives a starter the speed it needs."""
    if figure.kind == "lever":
        return " at the driven end"
    if figure.kind == "pendulum":
        if not np.isfinite(figure.needed_release_rad):
            return ", which takes a heavier bob or a longer thread"
        return f", that is drawn back by at least {rounded_up(math.degrees(figure.needed_release_rad), 1):g} degrees"
    if np.isfinite(figure.needed_ramp_height_m):
        return f", that is from a ramp at least {rounded_up(1000 * figure.needed_ramp_height_m, 1):g} mm high"
    return ""


def rounded_up(value: float, digits: int) -> float:
    """Round a least amount up, so that who sets just what is printed does not set too little."""
    unit = 10.0**digits
    return math.ceil(value * unit - 1e-9) / unit


def _never_off(number: int, starter: Starter) -> Finding:
    waits = f"it waits for {starter.waits_for}" if starter.waits_for else "all it strikes had fallen before"
    return make_finding(
        "F704",
        f"starter[{number}] {starter.name}",
        f"the starter never fells anything: {waits}",
        value=starter.waits_for or "",
        limit="the last domino of that line is struck, or the pieces still stand",
        next_step="Let it wait for a line that falls before, or for none.",
    )
