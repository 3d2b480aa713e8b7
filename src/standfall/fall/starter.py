"""Starters: how fast each strikes, when, which pieces, what that gives them, and what would be needed.

Two sorts. *Driven* ones (finger, pusher, lever) are held or powered, much heavier than a piece, and go on at their
speed. *Free* ones (pendulum, ball, cylinder) strike with the energy of their fall and lose to the pieces what
they give. A struck piece turns about its far bottom edge; its foot holds.

Left out: drag of the air, friction of pivots, rolling resistance, the spin a ball carries into the strike.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.special import ellipk

from standfall.fall.block import Block
from standfall.fall.contact import find_contacts
from standfall.fall.ground import GRAVITY_M_S2
from standfall.fall.pieces import Pieces

if TYPE_CHECKING:
    from standfall.brief import Brief, Starter
    from standfall.mural.standing import Standing

Floats = NDArray[np.float64]

DRIVEN = ("finger", "pusher", "lever")
ROLLING = ("ball", "cylinder")
# Where a starter strikes when the brief does not say, in heights of the piece.
USUAL_HEIGHT = 0.75
# Moment of inertia about its own axis, over m r^2: (solid, hollow). A thin shell or tube when hollow.
ROLL_INERTIA = {"ball": (2 / 5, 2 / 3), "cylinder": (1 / 2, 1.0)}
# A pendulum is not drawn back further than a brief allows: beyond, a thread goes slack.
LARGEST_RELEASE_RAD = math.radians(170)
# Lengths closer than this are the same, as in the brief: an edge that only grazes a piece does not strike it.
SAME_LENGTH_M = 5e-6


@dataclass(frozen=True)
class StarterFigure:
    """What one starter does.

    Attributes:
        name, kind: as in the brief.
        strike_height_m: height above the floor at which it strikes.
        strike_speed_m_s: its speed there as it strikes.
        omega_rad_s: angular speed it gives each piece it strikes.
        release_to_strike_s: from letting go to the strike. 0 for driven starters: their clock is the strike.
        struck: pieces struck together.
        least_omega_rad_s: least that fells the first pieces, NaN until known.
        needed_speed_m_s: the brief's speed (of the driven end of a lever) that gives just that; for free
            starters the speed at the strike. NaN until known.
        needed_ramp_height_m: the same for a ramp, NaN for other kinds or until known.
        needed_release_rad: the same for a pendulum; NaN for other kinds, until known, or when no release does.
    """

    name: str
    kind: str
    strike_height_m: float
    strike_speed_m_s: float
    omega_rad_s: float
    release_to_strike_s: float
    struck: int
    least_omega_rad_s: float = math.nan
    needed_speed_m_s: float = math.nan
    needed_ramp_height_m: float = math.nan
    needed_release_rad: float = math.nan


def starter_figure(starter: Starter, block: Block, struck: int = 1) -> StarterFigure:
    """Return what a starter gives the pieces it strikes together.

    Args:
        starter: from a brief that has been checked.
        block: one of the pieces, all alike.
        struck: how many it strikes at once, at least 1.

    Raises:
        ValueError: ``struck`` below 1, an unknown kind, or a key that the kind needs is not there.
    """
    if struck < 1:
        raise ValueError("a starter's figures are for at least one struck piece")
    speed_m_s = strike_speed_m_s(starter)
    return StarterFigure(
        name=starter.name,
        kind=starter.kind,
        strike_height_m=strike_height_m(starter, block),
        strike_speed_m_s=speed_m_s,
        omega_rad_s=speed_m_s * _omega_per_speed(starter, block, struck),
        release_to_strike_s=release_to_strike_s(starter),
        struck=struck,
    )


def with_least_omega(
    figure: StarterFigure, starter: Starter, block: Block, omega_rad_s: float
) -> StarterFigure:
    """Return the figure with the least angular speed the pieces need, and what would give just that."""
    return replace(
        figure,
        least_omega_rad_s=omega_rad_s,
        needed_speed_m_s=needed_speed_m_s(starter, block, omega_rad_s, figure.struck),
        needed_ramp_height_m=needed_ramp_height_m(starter, block, omega_rad_s, figure.struck),
        needed_release_rad=needed_release_rad(starter, block, omega_rad_s, figure.struck),
    )


def strike_height_m(starter: Starter, block: Block) -> float:
    """Return the height at which it strikes, three quarters of the piece where the brief does not say."""
    given = starter.strike_height_m
    return USUAL_HEIGHT * block.height_m if given is None else given


def strike_speed_m_s(starter: Starter) -> float:
    """Return the speed of the striking edge, bob or body as it strikes.

    Lever: speed of the driven end times the arm ratio. Pendulum: sqrt(2 g L (1 - cos a)), the bob a point at L, at
    its lowest. Ball, cylinder: rolling from rest without slipping, sqrt(2 g H / (1 + I / (m r_roll^2))), which
    is sqrt(10 g H / 7) for a solid ball on a flat ramp, sqrt(4 g H / 3) for a solid cylinder.

    Raises:
        ValueError: an unknown kind, a key that the kind needs is not there, or rails wider than the ball.
    """
    if starter.kind in DRIVEN:
        return _needed(starter, "speed_m_s") * _arm_ratio(starter)
    if starter.kind == "pendulum":
        # 1 - cos(a) = 2 sin^2(a / 2).
        reach_m, release_rad = _needed(starter, "length_m"), _needed(starter, "release_rad")
        return 2 * math.sqrt(GRAVITY_M_S2 * reach_m) * math.sin(0.5 * release_rad)
    drop_m, share = _needed(starter, "ramp_height_m"), _rolling_share(starter)
    return math.sqrt(2 * GRAVITY_M_S2 * drop_m / (1 + share))


def release_to_strike_s(starter: Starter) -> float:
    """Return the time from letting go to the strike; 0 for driven starters, whose clock is the strike.

    Pendulum: a quarter of its full period, sqrt(L / g) K(sin(a / 2)) with Legendre's complete elliptic integral.
    Ball, cylinder: 2 L / v down the ramp (even acceleration from rest) and runout / v on the level.

    Raises:
        ValueError: as ``strike_speed_m_s``.
    """
    speed_m_s = strike_speed_m_s(starter)
    if starter.kind in DRIVEN:
        return 0.0
    if starter.kind == "pendulum":
        quarter = float(ellipk(math.sin(0.5 * _needed(starter, "release_rad")) ** 2))
        return math.sqrt(_needed(starter, "length_m") / GRAVITY_M_S2) * quarter
    return (2 * _needed(starter, "ramp_length_m") + starter.runout_m) / speed_m_s


def needed_speed_m_s(starter: Starter, block: Block, omega_rad_s: float, struck: int = 1) -> float:
    """Return the speed that gives the struck pieces this angular speed: what to write as ``speed_mm_s``.

    For a lever it is that of the driven end. For free starters, which have no such key, it is the speed at the
    strike.
    """
    strike_m_s = omega_rad_s / _omega_per_speed(starter, block, struck)
    return strike_m_s / _arm_ratio(starter)


def needed_ramp_height_m(starter: Starter, block: Block, omega_rad_s: float, struck: int = 1) -> float:
    """Return the height of ramp that gives the struck pieces this angular speed; NaN for other kinds."""
    if starter.kind not in ROLLING:
        return math.nan
    speed_m_s = omega_rad_s / _omega_per_speed(starter, block, struck)
    return speed_m_s**2 * (1 + _rolling_share(starter)) / (2 * GRAVITY_M_S2)


def needed_release_rad(starter: Starter, block: Block, omega_rad_s: float, struck: int = 1) -> float:
    """Return how far to draw back a pendulum for this angular speed.

    NaN for other kinds, and where 170 degrees are not enough: then the bob must be heavier or hang longer.
    """
    if starter.kind != "pendulum":
        return math.nan
    speed_m_s = omega_rad_s / _omega_per_speed(starter, block, struck)
    half_sine = speed_m_s / (2 * math.sqrt(GRAVITY_M_S2 * _needed(starter, "length_m")))
    if half_sine > math.sin(0.5 * LARGEST_RELEASE_RAD):
        return math.nan
    return 2 * math.asin(half_sine)


def synchronise(
    figures: Sequence[StarterFigure], strike_s: Sequence[float] | None = None
) -> tuple[float, ...]:
    """Return the delay of each release, so that all starters strike when they should.

    Args:
        figures: of the starters.
        strike_s: when each is to strike, from any common moment; all at once when left out.

    Returns:
        Seconds from the first release to each; the smallest is 0. With all strikes at once the slowest starter
        has 0.

    Raises:
        ValueError: not one time for each starter.
    """
    wanted_s = [0.0] * len(figures) if strike_s is None else list(strike_s)
    if len(wanted_s) != len(figures):
        raise ValueError("every starter needs one time to strike")
    release_s = [when - figure.release_to_strike_s for when, figure in zip(wanted_s, figures, strict=True)]
    first_s = min(release_s, default=0.0)
    return tuple(release - first_s for release in release_s)


@dataclass(frozen=True)
class Touch:
    """The pieces a starter strikes.

    Attributes:
        node: (k,) int32, ascending; node i of n dominoes falls along its yaw, node n + i against it.
        travel_m: (k,) how far the striking edge has gone when it meets the piece; 0 for lines and fields.
        turn_rad: (k,) fall direction of the node less the direction of the push, at most a right angle either
            way; 0 for lines and fields.
    """

    node: NDArray[np.int32]
    travel_m: Floats
    turn_rad: Floats


def touched(starter: Starter, standing: Standing, brief: Brief, pieces: Pieces) -> NDArray[np.int32]:
    """Return the nodes a starter strikes, ascending; ``touch`` says more."""
    return touch(starter, standing, brief, pieces).node


def touch(starter: Starter, standing: Standing, brief: Brief, pieces: Pieces) -> Touch:
    """Return which pieces a starter strikes, and how.

    A line: its first domino. A field: row 0, all columns or those named, as far as there are dominoes. A place: the
    edge, ``width_m`` wide with its middle at the place, moves ahead by ``stroke_m``; it strikes the pieces whose
    footprint meets the rectangle it sweeps, the nearest on each stretch of its width. A piece in reach of the fall
    of one that the edge meets earlier is left to that one, whose top runs ahead of the edge. Pushed at right
    angles to its yaw, a piece counts as falling forward, though no part of this model holds there.

    Only pieces on the floor that are as high as the strike count; upper ones are carried along.

    Args:
        starter: from a brief that has been checked.
        standing, pieces: the same n dominoes.
        brief: for the names of lines and fields, and the width of a domino.

    Raises:
        ValueError: a line or field that the brief lacks, a starter without a target, or one at a place without
            a direction.
    """
    if len(standing) != len(pieces):
        raise ValueError("standing and pieces must speak of the same dominoes")
    low = standing.layer == 0
    if starter.strike_height_m is not None:
        low &= pieces.height_m >= starter.strike_height_m - SAME_LENGTH_M
    if starter.place_m is not None:
        width_m = brief.domino.width_m if starter.width_m is None else starter.width_m
        return _touch_at_place(starter, standing, pieces, np.flatnonzero(low), width_m)
    if starter.line is not None:
        number = _number(starter.line, [line.name for line in brief.lines], "line")
        low &= (standing.line == number) & (standing.row == 0)
    elif starter.field is not None:
        number = _number(starter.field, [field.name for field in brief.fields], "field")
        low &= (standing.field == number) & (standing.row == 0)
        if starter.first_col is not None:
            low &= standing.col >= starter.first_col
        if starter.last_col is not None:
            low &= standing.col <= starter.last_col
    else:
        raise ValueError(f"starter {starter.name!r} has no line, field or place")
    node = np.flatnonzero(low).astype(np.int32)
    return Touch(node, np.zeros(len(node)), np.zeros(len(node)))


def _number(name: str, names: list[str], what: str) -> int:
    if name not in names:
        raise ValueError(f"there is no {what} {name!r}")
    return names.index(name)


def _touch_at_place(
    starter: Starter, standing: Standing, pieces: Pieces, chosen: NDArray[np.intp], width_m: float
) -> Touch:
    """Touch among the chosen pieces, in the edge's own axes: u ahead of the place, v to its left."""
    assert starter.place_m is not None
    if starter.direction_rad is None:
        raise ValueError(f"starter {starter.name!r} at a place needs direction_rad")
    cosine, sine = math.cos(starter.direction_rad), math.sin(starter.direction_rad)
    dx, dy = standing.x_m[chosen] - starter.place_m[0], standing.y_m[chosen] - starter.place_m[1]
    u, v = dx * cosine + dy * sine, dy * cosine - dx * sine
    # Whose outer circle meets the rectangle; the rest of a large mural is not looked at further.
    around = 0.5 * np.hypot(pieces.thickness_m[chosen], pieces.width_m[chosen])
    near = (u > -around) & (u < starter.stroke_m + around) & (np.abs(v) < 0.5 * width_m + around)
    chosen, u, v = chosen[near], u[near], v[near]
    turn_rad = standing.yaw_rad[chosen] - starter.direction_rad
    # Rounding must not make a push at right angles a backward one.
    backward = np.cos(turn_rad) < -1e-9
    turn_rad = turn_rad + np.where(backward, math.pi, 0.0)
    boxes = pieces.take(chosen)
    swept = shapely.box(0.0, -0.5 * width_m, starter.stroke_m, 0.5 * width_m)
    parts = shapely.intersection(shapely.polygons(_corners(u, v, turn_rad, boxes)), swept)
    travel_m = shapely.bounds(parts)[:, 0]
    struck = _exposed(parts, starter.stroke_m) & ~_left_to_others(u, v, turn_rad, boxes, travel_m)
    node = (chosen + np.where(backward, len(standing), 0)).astype(np.int32)[struck]
    turn_rad = np.arctan2(np.sin(turn_rad), np.cos(turn_rad))[struck]
    order = np.argsort(node)
    return Touch(node[order], travel_m[struck][order], turn_rad[order])


def _corners(u: Floats, v: Floats, turn_rad: Floats, pieces: Pieces) -> Floats:
    """Return the (k, 4, 2) corners of footprints, each piece of its own size."""
    along = 0.5 * pieces.thickness_m[:, None] * np.array([1.0, 1.0, -1.0, -1.0])
    across = 0.5 * pieces.width_m[:, None] * np.array([-1.0, 1.0, 1.0, -1.0])
    cosine, sine = np.cos(turn_rad)[:, None], np.sin(turn_rad)[:, None]
    return np.stack(
        [u[:, None] + along * cosine - across * sine, v[:, None] + along * sine + across * cosine], axis=-1
    )


def _exposed(parts: NDArray[np.object_], stroke_m: float) -> NDArray[np.bool_]:
    """Tell which parts are the nearest (least u) on some stretch of v.

    Footprints are convex and apart, so between two neighbouring ends of parts the order does not change: one ray
    in the middle of each such stretch tells it.
    """
    exposed = np.zeros(len(parts), dtype=np.bool_)
    ends = shapely.bounds(parts)[:, [1, 3]]
    ends = np.unique(ends[np.isfinite(ends)])
    wide = np.diff(ends) > SAME_LENGTH_M
    level = (0.5 * (ends[:-1] + ends[1:]))[wide]
    u = np.broadcast_to([0.0, stroke_m], (len(level), 2))
    rays = shapely.linestrings(np.stack([u, np.repeat(level[:, None], 2, axis=1)], axis=-1))
    ray, part = shapely.STRtree(parts).query(rays, predicate="intersects")
    hit = shapely.bounds(shapely.intersection(rays[ray], parts[part]))
    deep = hit[:, 2] - hit[:, 0] > SAME_LENGTH_M
    ray, part, reached = ray[deep], part[deep], hit[deep, 0]
    order = np.lexsort((reached, ray))
    _, nearest = np.unique(ray[order], return_index=True)
    exposed[part[order][nearest]] = True
    return exposed


def _left_to_others(
    u: Floats, v: Floats, turn_rad: Floats, pieces: Pieces, travel_m: Floats
) -> NDArray[np.bool_]:
    """Tell which pieces are in reach of the fall of one that the edge meets earlier."""
    contacts = find_contacts(u, v, np.zeros(len(u)), turn_rad, pieces)
    count = len(pieces)
    # Forward nodes alone: every piece here is turned so that the edge pushes it forward.
    striker = np.repeat(np.arange(count), np.diff(contacts.first[: count + 1]))
    target = contacts.target[: len(striker)] % count
    left = np.zeros(count, dtype=np.bool_)
    left[target[travel_m[striker] < travel_m[target]]] = True
    return left


def _omega_per_speed(starter: Starter, block: Block, struck: int) -> float:
    """Return the angular speed given, over the speed of the strike.

    Driven: the piece goes with the mover, 1 / z. What it may bounce ahead is not counted on. Free: angular
    momentum about the pieces' edges, (1 + e) m z / (N I + m z^2), for N pieces struck together.
    """
    z_m = strike_height_m(starter, block)
    if starter.kind in DRIVEN:
        return 1 / z_m
    mass_kg = _needed(starter, "mass_kg")
    moment = struck * block.inertia_kg_m2 + mass_kg * z_m**2
    return (1 + starter.restitution) * mass_kg * z_m / moment


def _rolling_share(starter: Starter) -> float:
    """Return I / (m r_roll^2); on two rails the body rolls on the smaller radius sqrt(r^2 - (gap / 2)^2)."""
    if starter.kind not in ROLLING:
        raise ValueError(f"there is no starter of kind {starter.kind!r}")
    radius_m = 0.5 * _needed(starter, "diameter_m")
    roll_square = radius_m**2 - (0.5 * starter.rail_gap_m) ** 2
    if not roll_square > 0:
        raise ValueError(f"starter {starter.name!r} falls through between its rails")
    return ROLL_INERTIA[starter.kind][starter.hollow] * radius_m**2 / roll_square


def _arm_ratio(starter: Starter) -> float:
    return starter.arm_ratio if starter.kind == "lever" else 1.0


def _needed(starter: Starter, attribute: str) -> float:
    value: float | None = getattr(starter, attribute)
    if value is None:
        raise ValueError(f"starter {starter.name!r} is a {starter.kind} and needs {attribute}")
    return value
