"""What may go wrong in a laying, as half-spaces of the normal numbers it is drawn from.

Each way a planned contact may leave what surely carries, and each way two pieces may meet that must not, is a
margin that has to stay positive. A margin depends on the errors of two pieces, that is of two tiles and of the two
pieces in them, nearly linearly: m = m0 + g . e. Cut after the linear part, "the margin is used up" is a half-space
of the normal numbers, whose chance is known. What is cut off is bounded for all errors within the caps of the
setup; with ``widened`` each half-space is moved by that bound, so that the real thing lies inside.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csr_array, hstack, vstack
from scipy.special import ndtr, owens_t

from standfall.fall._contact_kernels import LEAST_SHARE as UNSEEN
from standfall.fall.trial_setup import CAP, LEAST_SHARE, TrialSetup

Reals = NDArray[np.float64]
Ids = NDArray[np.int64]

NARROW, WIDE, ASIDE, TURNED, MEET, FRICTION = range(6)
# Half-spaces further out than this are left out; each has a chance below 1e-16.
FAR = 8.3
_CHUNK = 50_000


@dataclass(frozen=True)
class HalfSpaces:
    """j half-spaces ``direction @ x >= threshold`` of standard normal x.

    Attributes:
        direction: (j, d) sparse, rows of length 1; d as in ``normals_row``.
        threshold: (j,) distance from the origin, below 0 when that lies inside.
        kind: (j,) int8 what happens: ``NARROW`` to ``FRICTION``.
        seam: (j,) int32 row in the table of seams, -1 none.
        pair: (j,) int64 the two pieces as one number; the same for both signs of a turn or a side.
        left_out: how many were left out as too far.
    """

    direction: csr_array
    threshold: Reals
    kind: NDArray[np.int8]
    seam: NDArray[np.int32]
    pair: Ids
    left_out: int

    @property
    def chance(self) -> Reals:
        """Return the chance of each (j,)."""
        return np.asarray(ndtr(-self.threshold))


@dataclass(frozen=True)
class Margins:
    """k margins m0 + ahead * (change of distance ahead) + aside * (...) + turn * (...) of pairs of pieces."""

    pairs: Ids
    margin: Reals
    ahead: Reals
    aside: Reals
    turn: Reals
    kind: NDArray[np.int8]
    seam: NDArray[np.int32]

    def __len__(self) -> int:
        return len(self.margin)

    def where(self, chosen: NDArray[np.bool_] | Ids | slice) -> Margins:
        """Return some of them."""
        return Margins(
            self.pairs[chosen],
            self.margin[chosen],
            self.ahead[chosen],
            self.aside[chosen],
            self.turn[chosen],
            self.kind[chosen],
            self.seam[chosen],
        )


def _poses(setup: TrialSetup, pairs: Ids) -> tuple[Reals, Reals, Reals]:
    laying = setup.laying
    one, other = pairs[:, 0], pairs[:, 1]
    cosine, sine = np.cos(laying.yaw_rad[one]), np.sin(laying.yaw_rad[one])
    out_x, out_y = laying.x_m[other] - laying.x_m[one], laying.y_m[other] - laying.y_m[one]
    turn = laying.yaw_rad[other] - laying.yaw_rad[one]
    turn = np.arctan2(np.sin(turn), np.cos(turn))
    return out_x * cosine + out_y * sine, out_y * cosine - out_x * sine, turn


def edge_margins(setup: TrialSetup, limits: tuple[Reals, Reals]) -> list[Margins]:
    """Return the margins of the planned contacts; limits: least and largest gap of each edge (e,)."""
    _, width, thick = setup.sizes
    pairs = setup.edges.astype(np.int64)
    ahead, aside, turn = _poses(setup, pairs)
    cosine, sine = np.cos(turn), np.sin(turn)
    ones, none = np.ones(len(pairs)), np.zeros(len(pairs))
    found = []

    def add(margin: Reals, along: Reals, across: Reals, turning: Reals, kind: int) -> None:
        kinds = np.full(len(pairs), kind, dtype=np.int8)
        found.append(Margins(pairs, margin, along, across, turning, kinds, setup.seam_of_edge))

    middle = ahead - 0.5 * thick * (1.0 + cosine)
    for sign in (1.0, -1.0):  # the nearest corner is one or the other
        corner, corner_rate = 0.5 * sign * width * sine, 0.5 * sign * width * cosine
        add(middle - corner - limits[0], ones, none, 0.5 * thick * sine - corner_rate, NARROW)
        add(limits[1] - middle - corner, -ones, none, -0.5 * thick * sine - corner_rate, WIDE)
        met = 0.5 * width * (1.0 + cosine) - LEAST_SHARE * width
        add(met - sign * aside, none, -sign * ones, -0.5 * width * sine, ASIDE)
        add(setup.turn_most_rad - sign * turn, none, none, -sign * ones, TURNED)
    return found


def meeting_margins(setup: TrialSetup) -> list[Margins]:
    """Return the margins of pieces that must not be reached: their distance from the ground the striker sweeps."""
    none = np.full(len(setup.others), -1, dtype=np.int32)
    # What meets by less than a certain share is not struck.
    return _apart_margins(setup, setup.others.astype(np.int64), none, UNSEEN * setup.sizes[1], both=False)


def touch_margins(setup: TrialSetup) -> list[Margins]:
    """Return the margins of neighbours of different tiles: the wider of the distances along and across."""
    return _apart_margins(setup, setup.touch_pairs.astype(np.int64), setup.seam_of_touch, 0.0, both=True)


def _apart_margins(
    setup: TrialSetup, pairs: Ids, seam: NDArray[np.int32], unseen_m: float, *, both: bool
) -> list[Margins]:
    height, width, thick = setup.sizes
    ahead, aside, turn = _poses(setup, pairs)
    cosine, sine = np.cos(turn), np.sin(turn)
    kinds = np.full(len(pairs), MEET, dtype=np.int8)
    # |cos| of the turn in the sizes: its sign does not change near 90 degrees by more than the bound covers.
    side = np.where(cosine >= 0.0, 1.0, -1.0)
    found = []
    for sign in (1.0, -1.0):  # of the sine of the turn
        across = np.sign(aside) + (aside == 0.0)
        half = 0.5 * (width * (1.0 + side * cosine) + thick * sign * sine)
        half_rate = 0.5 * (-width * side * sine + thick * sign * cosine)
        margin, along_rate, across_rate = across * aside - half + unseen_m, np.zeros(len(pairs)), across
        # Or the distance along: of the two faces; or of the piece from the ground that is swept, before or behind.
        deep = 0.5 * (thick * (1.0 + side * cosine) + width * sign * sine)
        deep_rate = 0.5 * (-thick * side * sine + width * sign * cosine)
        along = np.where(ahead < 0.0, -1.0, 1.0)
        apart = along * ahead - deep
        if not both:
            apart = np.where(ahead < 0.0, apart + thick, apart - height)
        wider = apart > margin
        margin = np.where(wider, apart, margin)
        along_rate, across_rate = np.where(wider, along, 0.0), np.where(wider, 0.0, across_rate)
        half_rate = np.where(wider, deep_rate, half_rate)
        found.append(Margins(pairs, margin, along_rate, across_rate, -half_rate, kinds, seam))
    return found


def _cut_off(setup: TrialSetup, margins: Margins) -> Reals:
    """Bound what the linear part of each margin leaves out, for errors within the caps."""
    _, width, thick = setup.sizes
    one, other = margins.pairs[:, 0], margins.pairs[:, 1]
    laying = setup.laying
    hand_1, hand_2 = (laying.tile[one] < 0).astype(int), (laying.tile[other] < 0).astype(int)
    # Of the difference of two errors, and not of each, as independent ones add in squares.
    shift = np.hypot(setup.cap_m[hand_1], setup.cap_m[hand_2])
    turn_1, turn_2 = setup.cap_rad[hand_1], setup.cap_rad[hand_2]
    distance = np.hypot(laying.x_m[other] - laying.x_m[one], laying.y_m[other] - laying.y_m[one])
    # Taylor's rest of the striker's frame, and of the sizes as seen in it (two terms of half a size each).
    moved = 0.5 * turn_1**2 * distance + turn_1 * shift
    seen = 0.25 * (width + thick) * (turn_1**2 + turn_2**2)
    # A tile's own turn: 1 - cos of it times the distance from its centre.
    tile_turn = np.minimum(setup.cap_rad[0], 1.0)
    if setup.error.tile_factor is None:
        tile_turn = 8.0 * setup.error.tile_turn_rad
    arm = 0.0
    own = laying.tile >= 0
    if own.any():
        at = laying.tile[own]
        arm = float(
            np.hypot(laying.x_m[own] - laying.centre_x_m[at], laying.y_m[own] - laying.centre_y_m[at]).max()
        )
    rest = moved + seen + tile_turn**2 * arm
    return np.where(margins.kind == TURNED, 0.0, rest)


def _rows(setup: TrialSetup, margins: Margins) -> csr_array:
    """Return how margins change with the normal numbers: (k, d) sparse."""
    laying, error = setup.laying, setup.error
    one, other = margins.pairs[:, 0], margins.pairs[:, 1]
    ahead, aside, _ = _poses(setup, margins.pairs)
    cosine, sine = np.cos(laying.yaw_rad[one]), np.sin(laying.yaw_rad[one])
    by_x = margins.ahead * cosine - margins.aside * sine
    by_y = margins.ahead * sine + margins.aside * cosine
    by_turn_1 = margins.ahead * aside - margins.aside * ahead - margins.turn
    count, tiles = len(laying), laying.tiles
    number = np.arange(len(margins))
    rows, columns, values = [], [], []
    tile_rows, tile_columns, tile_values = [], [], []
    for piece, x, y, turn in ((one, -by_x, -by_y, by_turn_1), (other, by_x, by_y, margins.turn)):
        hand = laying.tile[piece] < 0
        place = np.where(hand, error.hand_m, error.piece_m)
        spin = np.where(hand, error.hand_turn_rad, error.piece_turn_rad)
        for axis, value in enumerate((x * place, y * place, turn * spin)):
            rows.append(number)
            columns.append(3 * piece + axis)
            values.append(value)
        own = np.flatnonzero(~hand)
        tile = laying.tile[piece[own]].astype(np.int64)
        arm_x = laying.x_m[piece[own]] - laying.centre_x_m[tile]
        arm_y = laying.y_m[piece[own]] - laying.centre_y_m[tile]
        carried = turn[own] + y[own] * arm_x - x[own] * arm_y
        for axis, value in enumerate((x[own], y[own], carried)):
            tile_rows.append(own)
            tile_columns.append(3 * tile + axis)
            tile_values.append(value)
    tile_part = _sparse(tile_rows, tile_columns, tile_values, (len(margins), 3 * tiles))
    if error.tile_factor is None:
        scale = np.tile([error.tile_m, error.tile_m, error.tile_turn_rad], tiles)
        tile_part = csr_array(tile_part.multiply(scale[None, :])) if tiles else tile_part
    else:
        tile_part = csr_array(tile_part @ csr_array(error.tile_factor))
    piece_part = _sparse(rows, columns, values, (len(margins), 3 * count))
    nothing = csr_array((len(margins), 1))
    return csr_array(hstack([tile_part, piece_part, nothing], format="csr"))


def _sparse(rows: list[Ids], columns: list[Ids], values: list[Reals], shape: tuple[int, int]) -> csr_array:
    if not rows:
        return csr_array(shape)
    parts = (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns)))
    made = csr_array(coo_array(parts, shape=shape))
    made.sum_duplicates()
    return made


def _near(setup: TrialSetup, margins: Margins) -> Margins:
    """Leave out margins so large that no error within reach uses them up; cheap, and on the safe side."""
    laying, error = setup.laying, setup.error
    one, other = margins.pairs[:, 0], margins.pairs[:, 1]
    hand_1, hand_2 = laying.tile[one] < 0, laying.tile[other] < 0
    distance = np.hypot(laying.x_m[other] - laying.x_m[one], laying.y_m[other] - laying.y_m[one])
    # Two pieces of one tile share its error, all but its turn.
    same = (laying.tile[one] == laying.tile[other]) & ~hand_1
    cap_m, cap_rad = setup.cap_m / CAP, setup.cap_rad / CAP
    place = np.hypot(cap_m[hand_1.astype(int)], cap_m[hand_2.astype(int)])
    place = np.where(same, math.sqrt(2.0) * error.piece_m + cap_rad[0] * distance, place)
    turn_1, turn_2 = cap_rad[hand_1.astype(int)], cap_rad[hand_2.astype(int)]
    moves = np.hypot(margins.ahead, margins.aside)
    most = moves * (place + turn_1 * distance) + np.abs(margins.turn) * (turn_1 + turn_2)
    near = np.flatnonzero(margins.margin - _cut_off(setup, margins) < FAR * most)
    return margins.where(near)


def _chunks(margins: Margins) -> list[Margins]:
    return [margins.where(slice(at, at + _CHUNK)) for at in range(0, len(margins), _CHUNK)]


def half_spaces(setup: TrialSetup, margins: list[Margins], *, widened: bool) -> HalfSpaces:
    """Return the half-spaces in which margins are used up; widened: all that really uses them up lies inside."""
    kept_rows, kept_at, kept_kind, kept_seam, kept_pair = [], [], [], [], []
    reachable = [_near(setup, one) for one in margins]
    left_out = sum(map(len, margins)) - sum(map(len, reachable))
    for part in (part for one in reachable for part in _chunks(one)):
        rows = _rows(setup, part)
        length = np.sqrt(np.asarray(rows.multiply(rows).sum(axis=1)).ravel())
        margin = part.margin - (_cut_off(setup, part) if widened else 0.0)
        with np.errstate(divide="ignore", invalid="ignore"):
            threshold = np.where(length > 0.0, margin / length, np.where(margin > 0.0, np.inf, -np.inf))
        near = np.flatnonzero(threshold < FAR)
        left_out += len(part) - len(near)
        # Margin used up: -row @ x >= margin.
        unit = rows[near].multiply(-1.0 / np.maximum(length[near], 1e-300)[:, None])
        kept_rows.append(csr_array(unit))
        kept_at.append(threshold[near])
        kept_kind.append(part.kind[near])
        kept_seam.append(part.seam[near])
        kept_pair.append(part.pairs[near, 0] * len(setup.laying) + part.pairs[near, 1])
    if not kept_rows:
        return HalfSpaces(
            csr_array((0, dimensions(setup))),
            np.empty(0),
            np.empty(0, dtype=np.int8),
            np.empty(0, dtype=np.int32),
            np.empty(0, dtype=np.int64),
            0,
        )
    return HalfSpaces(
        csr_array(vstack(kept_rows, format="csr")),
        np.concatenate(kept_at),
        np.concatenate(kept_kind),
        np.concatenate(kept_seam),
        np.concatenate(kept_pair),
        left_out,
    )


def either_chance(spaces: HalfSpaces) -> tuple[Reals, NDArray[np.intp]]:
    """Return the chance that one or both half-spaces of each pair and kind hold, and the row of its first.

    Exact for two: P(A) + P(B) - P(A and B), the last from Owen's T function (D.B. Owen, "Tables for computing
    bivariate normal probabilities", Annals of Mathematical Statistics 27 (1956) 1075-1090).
    """
    order = np.lexsort((spaces.kind, spaces.pair))
    same = np.zeros(len(order), dtype=np.bool_)
    same[1:] = (np.diff(spaces.pair[order]) == 0) & (np.diff(spaces.kind[order]) == 0)
    chance = spaces.chance[order]
    second = np.flatnonzero(same)
    one, other = order[second - 1], order[second]
    along = np.asarray(spaces.direction[one].multiply(spaces.direction[other]).sum(axis=1)).ravel()
    chance[second - 1] = _union_of_two(spaces.threshold[one], spaces.threshold[other], along)
    kept = np.flatnonzero(~same)
    return chance[kept], order[kept]


def _union_of_two(h: Reals, k: Reals, correlation: Reals) -> Reals:
    # Both 0 or without a spread are moved by less than shows.
    h, k = (np.where(np.abs(at) < 1e-9, 1e-9, np.clip(at, -40.0, 40.0)) for at in (h, k))
    rho = np.clip(correlation, -1.0 + 1e-12, 1.0 - 1e-12)
    root = np.sqrt((1.0 - rho) * (1.0 + rho))
    opposite = np.where(h * k < 0.0, 0.5, 0.0)
    both_sides = owens_t(h, (k / h - rho) / root) + owens_t(k, (h / k - rho) / root)
    return np.asarray(0.5 * (ndtr(-h) + ndtr(-k)) + both_sides + opposite)


def dimensions(setup: TrialSetup) -> int:
    """Return how many normal numbers a trial's half-spaces speak of: tiles, pieces, domino friction."""
    factor = setup.error.tile_factor
    tiles = 3 * setup.laying.tiles if factor is None else factor.shape[1]
    return int(tiles + 3 * len(setup.laying) + 1)
