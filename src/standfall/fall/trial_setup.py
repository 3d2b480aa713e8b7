"""What all trials of one build share: the planned fall, taken apart once into what errors can and cannot touch.

The planned contact graph is mostly chains: pieces that are struck by one piece only and strike one only. In a
chain whose gaps lie in the box of ``envelope`` a fall that is under way goes on. So a trial has to let fall only

- what is not a chain: where starters strike, where lines split and meet, and the first pieces behind those
  (``always``);
- in each trial the pieces whose contacts its errors leave in doubt, all before them (they decide how fast the
  front arrives) and a few behind, until the box holds again.

``trial_run`` does that, and ``trial_in_full`` is the plain way to the same outcome.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from standfall.fall._contact_kernels import LEAST_SHARE as UNSEEN
from standfall.fall.chains import Chains, find_chains, follow
from standfall.fall.contact import Contacts
from standfall.fall.envelope import Box, Conditions, find_box
from standfall.fall.falling import Strikes
from standfall.fall.ground import Ground
from standfall.fall.pieces import Pieces
from standfall.fall.placement import Laying, PlacementError
from standfall.fall.seam_table import SeamTable, find_seams

Reals = NDArray[np.float64]
Ids = NDArray[np.int32]

# Errors beyond this many standard deviations are not reckoned with in the lists below: a trial that draws one
# is let fall in full (about one in 50,000 for 100,000 pieces).
CAP = 6.5
# An edge surely carries while at least this share of the width meets: practice asks for a quarter.
LEAST_SHARE = 0.25
_TURN_MOST_RAD = math.radians(25.0)
_FRICTION_CAP = 5.0
# When so much of the build is to be let fall in every trial, nothing is gained by taking it apart.
_WORTHWHILE = 0.7


@dataclass(frozen=True)
class TrialSetup:
    """Everything ``run_trials`` needs; plain columns, so that it travels to other processes.

    Attributes:
        laying, error: what is set down, and how far off.
        pieces, ground, strikes: as for ``topple``; the ground's friction is replaced in each trial.
        seed: of all chance.
        edges: (e, 2) int32 striker and struck, of each piece the nearest, and of splits all.
        gap_m: (e,) planned.
        seam_of_edge: (e,) int32 row in ``seams``, -1 within a tile.
        others: (p, 2) int32 pairs near each other that must not meet.
        clear_m: (p,) float32 sideways distance at which they cannot, turned within the caps.
        touch_pairs: (q, 2) int32 neighbours of two tiles; ``seam_of_touch`` (q,).
        pred, succ: (n,) int32 neighbours in the chain, -1 none.
        always: (n,) int8 pieces let fall in each trial.
        reached: (n,) whether starters lead to it in the planned graph.
        cap_m, cap_rad: (2,) largest shift and turn reckoned with, in tiles and laid by hand.
        box: inside which chains carry; None when there is none.
        friction: (2,) range the box was made for.
        mass_share: masses the box was made for.
        turn_most_rad: turns the box was made for.
        deep: pieces let fall behind a doubtful one.
        seams: pairs of neighbouring tiles.
        hubs: whether fronts split or meet anywhere.
        in_full: why every trial is let fall in full, empty when it is not.
    """

    laying: Laying
    error: PlacementError
    pieces: Pieces
    ground: Ground
    strikes: Strikes
    seed: int
    edges: Ids
    gap_m: Reals
    seam_of_edge: Ids
    others: Ids
    clear_m: NDArray[np.float32]
    touch_pairs: Ids
    seam_of_touch: Ids
    pred: Ids
    succ: Ids
    always: NDArray[np.int8]
    reached: NDArray[np.bool_]
    cap_m: Reals
    cap_rad: Reals
    box: Box | None
    friction: Reals
    mass_share: float
    turn_most_rad: float
    deep: int
    seams: SeamTable
    hubs: bool
    in_full: str

    @property
    def sizes(self) -> tuple[float, float, float]:
        """Return height, width, thickness of the pieces, all alike."""
        return (
            float(self.pieces.height_m[0]),
            float(self.pieces.width_m[0]),
            float(self.pieces.thickness_m[0]),
        )

    @property
    def limits(self) -> tuple[float, float, float, float, float]:
        """Return what an edge that surely carries keeps: least and largest gap, least share, least cosine.

        Last the share of the width below which a piece is not struck.
        """
        height = self.sizes[0]
        low, high = (0.0, 0.8 * height) if self.box is None else (self.box.gap_low_m, self.box.gap_high_m)
        return low, high, LEAST_SHARE, math.cos(self.turn_most_rad), UNSEEN - 1e-6


def set_up(
    laying: Laying,
    error: PlacementError,
    contacts: Contacts,
    pieces: Pieces,
    ground: Ground,
    strikes: Strikes,
    seed: int,
) -> TrialSetup:
    """Take the planned fall apart.

    Args:
        laying: n pieces and their tiles.
        error: what varies.
        contacts: of the pieces as planned.
        pieces, ground, strikes: as for ``topple``.
        seed: of all chance, 0 or more.

    Raises:
        ValueError: columns of different length.
    """
    if not len(laying) == len(pieces) == len(contacts):
        raise ValueError("laying, pieces and contacts must speak of the same dominoes")
    cap_m, cap_rad = _caps(laying, error)
    chains = find_chains(contacts)
    reached = _reached(contacts, strikes)
    friction = np.array([-1.0, 1.0]) * _FRICTION_CAP * error.domino_friction_spread + error.domino_friction
    friction = np.maximum(friction, 0.02)
    mass_share = min(CAP * error.mass_spread, 0.9)
    # A chain may turn as planned, and as the errors turn it, but not beyond what the box can be made for.
    turn_most = min(_most_turn(chains) + 2.0 * float(cap_rad.max()), _TURN_MOST_RAD)
    in_full = _no_short_way(pieces)
    box = None
    if not in_full:
        box = _box_of(chains, reached, pieces, ground, laying, friction, mass_share, turn_most, error)
        in_full = _why_no_box(box, chains, reached)
    always, deep = np.zeros(len(laying), dtype=np.int8), 0
    if box is not None:
        deep = _depth(box, pieces)
        always = _always(contacts, chains, reached, strikes, box, turn_most, deep, float(pieces.width_m[0]))
        share = float(always[reached].mean()) if reached.any() else 1.0
        if share > _WORTHWHILE:
            in_full = (
                f"{100 * share:.0f} % of the pieces stand behind a starter, or where fronts split or meet"
            )
    floor = np.flatnonzero((laying.support < 0) | reached)
    neighbours = _neighbours(laying, floor, _surroundings_m(pieces), float(cap_m.max()))
    hubs = bool(chains.hub[reached].any())
    # Where fronts split or meet, pieces stand in each other's way as planned, and all fall in each trial.
    known = always if hubs else np.zeros_like(always)
    others = _others(neighbours, laying, pieces, chains, reached, known, cap_m, cap_rad)
    touch_pairs = _touch_pairs(neighbours, laying, pieces, cap_m, cap_rad)
    edges = chains.edges
    seams, seam_of_edge, seam_of_touch = find_seams(laying, edges[reached[edges[:, 0]]], edges, touch_pairs)
    return TrialSetup(
        laying=laying,
        error=error,
        pieces=pieces,
        ground=ground,
        strikes=strikes,
        seed=seed,
        edges=edges,
        gap_m=chains.gap_m,
        seam_of_edge=seam_of_edge,
        others=others,
        clear_m=_clear(others, laying, pieces, cap_rad),
        touch_pairs=touch_pairs,
        seam_of_touch=seam_of_touch,
        pred=chains.pred,
        succ=chains.succ,
        always=always,
        reached=reached,
        cap_m=cap_m,
        cap_rad=cap_rad,
        box=box,
        friction=friction,
        mass_share=mass_share,
        turn_most_rad=turn_most,
        deep=deep,
        seams=seams,
        hubs=hubs,
        in_full=in_full,
    )


def at_seams(setup: TrialSetup, error: PlacementError) -> TrialSetup:
    """Return a build of those pieces only that such errors may let touch a piece of another tile; nothing falls.

    Their numbers are new; tiles and seams keep theirs. The caps are those of the error given.
    """
    laying, pieces = setup.laying, setup.pieces
    cap_m, cap_rad = _caps(laying, error)
    floor = np.flatnonzero((laying.support < 0) | setup.reached)
    around = math.hypot(float(pieces.width_m.max(initial=0.0)), float(pieces.thickness_m.max(initial=0.0)))
    near = _neighbours(laying, floor, around, float(cap_m.max()))
    pairs = _touch_pairs(near, laying, pieces, cap_m, cap_rad)
    under = laying.support[pairs.ravel()]
    # The first piece too: it tells the size of all.
    chosen = np.unique(np.concatenate([pairs.ravel(), under[under >= 0], np.arange(min(len(laying), 1))]))
    place = np.full(len(laying), -1, dtype=np.int32)
    place[chosen] = np.arange(len(chosen), dtype=np.int32)
    support = laying.support[chosen]
    few = replace(
        laying,
        **{name: getattr(laying, name)[chosen] for name in ("x_m", "y_m", "z_m", "yaw_rad", "tile")},
        support=np.where(support >= 0, place[support], -1).astype(np.int32),
    )
    none, nothing = np.empty((0, 2), dtype=np.int32), np.empty(0, dtype=np.int32)
    pairs = place[pairs]
    seams, _, seam_of_touch = find_seams(few, none, none, pairs)
    alone = np.full(len(chosen), -1, dtype=np.int32)
    return replace(
        setup,
        laying=few,
        error=error,
        pieces=pieces.take(chosen),
        strikes=Strikes(nothing, np.empty(0), np.empty(0), nothing, np.empty(0, dtype=np.int16)),
        edges=none,
        gap_m=np.empty(0),
        seam_of_edge=nothing,
        others=none,
        clear_m=np.empty(0, dtype=np.float32),
        touch_pairs=pairs,
        seam_of_touch=seam_of_touch,
        pred=alone,
        succ=alone,
        always=np.zeros(len(chosen), dtype=np.int8),
        reached=setup.reached[chosen],
        cap_m=cap_m,
        cap_rad=cap_rad,
        seams=seams,
        in_full="nothing falls",
    )


def _why_no_box(box: Box | None, chains: Chains, reached: NDArray[np.bool_]) -> str:
    if box is not None:
        return ""
    if reached.any() and float(chains.hub[reached].mean()) > _WORTHWHILE:
        return "most pieces stand where fronts split or meet"
    return "no range of gaps was found in which the fall surely goes on"


def _depth(box: Box, pieces: Pieces) -> int:
    """Return how many successors are looked at: no piece reaches over more than its height holds of them."""
    height, thick = float(pieces.height_m[0]), float(pieces.thickness_m[0])
    return max(box.depth, math.ceil(height / (box.gap_low_m + thick))) + 1


def _surroundings_m(pieces: Pieces) -> float:
    """Return from how far, middle to middle, a piece may be met by the tallest and widest of all as it falls."""
    height, width = float(pieces.height_m.max(initial=0.0)), float(pieces.width_m.max(initial=0.0))
    thick = float(pieces.thickness_m.max(initial=0.0))
    around = 0.5 * math.hypot(width, thick)
    return math.hypot(0.5 * thick + height + around, 0.5 * width + around)


def _no_short_way(pieces: Pieces) -> str:
    for column in (pieces.height_m, pieces.width_m, pieces.thickness_m):
        if not len(column) or np.ptp(column) > 1e-9:
            return "the pieces are not all of one size"
    return ""


def _caps(laying: Laying, error: PlacementError) -> tuple[Reals, Reals]:
    place_m, turn_rad = error.tile_m, error.tile_turn_rad
    if error.tile_factor is not None and len(error.tile_factor):
        deviation = np.sqrt((error.tile_factor**2).sum(axis=1))
        place_m = float(max(deviation[0::3].max(), deviation[1::3].max()))
        turn_rad = float(deviation[2::3].max())
    own = laying.tile >= 0
    arm_m = 0.0
    if own.any():
        at = laying.tile[own]
        out = np.hypot(laying.x_m[own] - laying.centre_x_m[at], laying.y_m[own] - laying.centre_y_m[at])
        arm_m = float(out.max())
    tile_m = math.sqrt(place_m**2 + (arm_m * turn_rad) ** 2 + error.piece_m**2)
    cap_m = CAP * np.array([tile_m, error.hand_m]) + 1e-9
    cap_rad = CAP * np.array([math.hypot(turn_rad, error.piece_turn_rad), error.hand_turn_rad]) + 1e-9
    return cap_m, cap_rad


def _most_turn(chains: Chains) -> float:
    inner = chains.succ[chains.edges[:, 0]] == chains.edges[:, 1]
    return float(np.abs(chains.turn_rad[inner]).max()) if inner.any() else 0.0


def _reached(contacts: Contacts, strikes: Strikes) -> NDArray[np.bool_]:
    nodes = np.zeros(2 * len(contacts), dtype=np.bool_)
    nodes[strikes.node] = True
    follow(contacts.first, contacts.target, nodes, -1)
    return nodes[: len(contacts)] | nodes[len(contacts) :]


def _box_of(
    chains: Chains,
    reached: NDArray[np.bool_],
    pieces: Pieces,
    ground: Ground,
    laying: Laying,
    friction: Reals,
    mass_share: float,
    turn_most_rad: float,
    error: PlacementError,
) -> Box | None:
    inner = (chains.succ[chains.edges[:, 0]] == chains.edges[:, 1]) & reached[chains.edges[:, 0]]
    if not inner.any():
        return None
    slope_rad = float(ground.slope_along(laying.yaw_rad[reached]).min())
    conditions = Conditions(
        height_m=float(pieces.height_m[0]),
        thickness_m=float(pieces.thickness_m[0]),
        friction_low=float(friction[0]),
        friction_high=float(friction[1]),
        mass_share=mass_share,
        slope_rad=min(slope_rad, slope_rad - abs(ground.slope_rad) * 0.01),
        turn_most_rad=turn_most_rad,
    )
    gap_m = chains.gap_m[inner]
    spare_m = 3.0 * math.hypot(max(error.tile_m, error.hand_m), error.piece_m)
    for cut in (0.0, 0.02, 0.2):  # a few gaps far from all others must not spoil it for these
        low, high = np.quantile(gap_m, [cut, 1.0 - cut])
        box = find_box(float(low), float(high), conditions, spare_m=spare_m)
        if box is not None:
            return box
    return None


def _always(
    contacts: Contacts,
    chains: Chains,
    reached: NDArray[np.bool_],
    strikes: Strikes,
    box: Box,
    turn_most_rad: float,
    deep: int,
    width_m: float,
) -> NDArray[np.int8]:
    """Return which pieces are let fall in each trial: closed against everything that may come before."""
    count = len(contacts)
    seed = chains.hub.copy()
    seed[strikes.node % count] = True
    seed[strikes.waits_for[strikes.waits_for >= 0]] = True
    bad = (chains.gap_m < box.gap_low_m) | (chains.gap_m > box.gap_high_m)
    bad |= np.abs(chains.turn_rad) > turn_most_rad
    bad |= np.abs(chains.offset_m) > (1.0 - LEAST_SHARE) * width_m
    seed[chains.edges[bad].ravel()] = True
    seed &= reached
    first, target = chains.first, chains.target
    chosen = seed.copy()
    follow(first, target, chosen, deep)
    # Against the edges, to all that can come before.
    source = np.repeat(np.arange(count, dtype=np.int32), np.diff(first))
    order = np.argsort(target, kind="stable")
    back = np.zeros(count + 1, dtype=np.int64)
    np.cumsum(np.bincount(target, minlength=count), out=back[1:])
    follow(back, source[order], chosen, -1)
    return chosen.astype(np.int8)


def _neighbours(laying: Laying, floor: NDArray[np.intp], reach_m: float, cap_m: float) -> Ids:
    """Return unordered pairs (k, 2) of one storey that errors may bring so near each other."""
    if len(floor) < 2:
        return np.empty((0, 2), dtype=np.int32)
    place = np.column_stack([laying.x_m[floor], laying.y_m[floor], laying.z_m[floor] * 1e3])
    pairs = cKDTree(place).query_pairs(reach_m + 2.9 * cap_m, output_type="ndarray")
    return np.asarray(floor[pairs], dtype=np.int32)


def _frame(laying: Laying, one: Ids, other: Ids) -> tuple[Reals, Reals, Reals]:
    cosine, sine = np.cos(laying.yaw_rad[one]), np.sin(laying.yaw_rad[one])
    out_x, out_y = laying.x_m[other] - laying.x_m[one], laying.y_m[other] - laying.y_m[one]
    turn = laying.yaw_rad[other] - laying.yaw_rad[one]
    return out_x * cosine + out_y * sine, np.abs(out_y * cosine - out_x * sine), turn


def _others(
    neighbours: Ids,
    laying: Laying,
    pieces: Pieces,
    chains: Chains,
    reached: NDArray[np.bool_],
    always: NDArray[np.int8],
    cap_m: Reals,
    cap_rad: Reals,
) -> Ids:
    """Return ordered pairs (p, 2) that errors within the caps may let meet, and that do not follow in a chain."""
    pairs = np.concatenate([neighbours, neighbours[:, ::-1]])
    one, other = pairs[:, 0], pairs[:, 1]
    ahead, aside, turn = _frame(laying, one, other)
    hand_1, hand_2 = (laying.tile[one] < 0).astype(int), (laying.tile[other] < 0).astype(int)
    shift = math.sqrt(2.0) * (cap_m[hand_1] + cap_m[hand_2])
    turned = cap_rad[hand_1] + cap_rad[hand_2]
    shift += np.hypot(ahead, aside) * np.minimum(cap_rad[hand_1], 2.0)
    height, width, thick = pieces.height_m[one], pieces.width_m[one], pieces.thickness_m[one]
    sin_turn = np.minimum(np.abs(np.sin(turn)) + turned, 1.0)
    half = 0.5 * (thick + width * sin_turn)
    near = aside < 0.5 * (2.0 * width + thick * sin_turn) + shift
    near &= (ahead + half - 0.5 * thick > -shift) & (ahead - half - 0.5 * thick < height + shift)
    near &= reached[one] & ~((always[one] != 0) & (always[other] != 0))
    pairs = pairs[near]
    # What follows in the chain is meant to be met, or hidden by what is.
    at, follows = pairs[:, 0].copy(), np.zeros(len(pairs), dtype=np.bool_)
    for _ in range(chains.walk):
        at = np.where(at >= 0, chains.succ[at], -1)
        follows |= at == pairs[:, 1]
    pairs = pairs[~follows]
    return np.ascontiguousarray(pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))])


def _clear(pairs: Ids, laying: Laying, pieces: Pieces, cap_rad: Reals) -> NDArray[np.float32]:
    """Return the sideways distance (p,) from which on two pieces are clear of each other within the caps."""
    one, other = pairs[:, 0], pairs[:, 1]
    hand_1, hand_2 = (laying.tile[one] < 0).astype(int), (laying.tile[other] < 0).astype(int)
    turn = _frame(laying, one, other)[2]
    sin_turn = np.minimum(np.abs(np.sin(turn)) + cap_rad[hand_1] + cap_rad[hand_2], 1.0)
    clear_m = pieces.width_m[one] + 0.5 * pieces.thickness_m[one] * sin_turn
    return np.asarray(clear_m + 1e-6, dtype=np.float32)  # beyond rounding to single precision


def _touch_pairs(neighbours: Ids, laying: Laying, pieces: Pieces, cap_m: Reals, cap_rad: Reals) -> Ids:
    tile_1, tile_2 = laying.tile[neighbours[:, 0]], laying.tile[neighbours[:, 1]]
    pairs = neighbours[tile_1 != tile_2]
    one, other = pairs[:, 0], pairs[:, 1]
    ahead, aside, turn = _frame(laying, one, other)
    width, thick = pieces.width_m[one], pieces.thickness_m[one]
    hand_1, hand_2 = (laying.tile[one] < 0).astype(int), (laying.tile[other] < 0).astype(int)
    around = 0.5 * np.hypot(width, thick)
    slack = math.sqrt(2.0) * (cap_m[hand_1] + cap_m[hand_2]) + 2 * around * (
        cap_rad[hand_1] + cap_rad[hand_2]
    )
    cos_turn, sin_turn = np.abs(np.cos(turn)), np.abs(np.sin(turn))
    near = np.abs(ahead) < 0.5 * (thick + thick * cos_turn + width * sin_turn) + slack
    near &= aside < 0.5 * (width + width * cos_turn + thick * sin_turn) + slack
    pairs = pairs[near]
    return np.ascontiguousarray(pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))])
