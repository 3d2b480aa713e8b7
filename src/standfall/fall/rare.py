"""Rare failures: chances too small to be seen in a few thousand trials.

Importance sampling of a union of half-spaces, after A.B. Owen, Y. Maximov, M. Chertkov, "Importance sampling the
union of rare events with an application to power systems analysis", Electronic Journal of Statistics 13 (2019)
231-254, arXiv 1710.06965. Where a failure needs at least one of many unlikely events, choose one of them in
proportion to its chance, draw all errors given that it happens, and count how many events then hold, S. The mean
over draws of (sum of chances) times (1 / S if the fall really fails, else 0) is the chance of failure, without
bias, and no draw can be larger than the sum.

The failure of each draw is decided by the fall itself. What the method needs is that no failure lies outside the
union: the half-spaces of ``half_spaces`` are widened for that, the first pieces behind a starter have limits of
their own (``start_limits``), and errors beyond all caps are added to the upper end of the interval.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.random import Generator, Philox
from numpy.typing import NDArray
from scipy.sparse import csr_array, vstack
from scipy.special import ndtr, ndtri
from scipy.stats import t

from standfall.fall.chain import chain_contacts
from standfall.fall.chance import LEVEL, clopper_pearson
from standfall.fall.contact import Contacts
from standfall.fall.falling import FALLEN, Strikes, topple
from standfall.fall.half_spaces import (
    FAR,
    FRICTION,
    HalfSpaces,
    dimensions,
    edge_margins,
    half_spaces,
    meeting_margins,
    touch_margins,
)
from standfall.fall.pieces import Pieces
from standfall.fall.placement import Normals, draw_normals, lay
from standfall.fall.trial import Interval
from standfall.fall.trial_run import one_trial, touched_seams
from standfall.fall.trial_setup import CAP, TrialSetup, at_seams

Reals = NDArray[np.float64]

METHOD = "importance sampling of a union 95 %"
# Draws of chance of this module start here, far from the trials'.
_FIRST_DRAW = 1 << 40
_CHOICE = 9
# With so many draws of either sort, their mean is near enough to normal.
_MANY = 20
_HALVINGS = 8
_PUSH_SHARE = 0.9


@dataclass(frozen=True)
class RareCase:
    """A question about one build: what may fail, and the half-spaces that hold all ways to.

    Attributes:
        setup: the build; with ``touch`` only the pieces that may touch.
        spaces: the half-spaces.
        touch: whether it is about tiles that touch; else about pieces left standing.
        beyond: bound of the chance of everything the half-spaces leave out.
    """

    setup: TrialSetup
    spaces: HalfSpaces
    touch: bool
    beyond: float

    @property
    def total(self) -> float:
        """Return the sum of the chances of the half-spaces: the chance of failure is no larger."""
        return float(self.spaces.chance.sum())


def conditional_normal(threshold: float, even: float) -> float:
    """Return a standard normal number given that it is at least ``threshold``, from an even number in (0, 1)."""
    return -float(ndtri(even * ndtr(-threshold)))


def draw_in_union(spaces: HalfSpaces, x: Reals, choice: float, even: float) -> tuple[Reals, int]:
    """Move a standard normal point into one half-space, chosen in proportion to its chance.

    Args:
        spaces: j half-spaces.
        x: (d,) standard normal numbers; is changed.
        choice, even: even numbers in (0, 1).

    Returns:
        the point, distributed as normal numbers given the half-space chosen; how many half-spaces hold it.
    """
    upto = np.cumsum(spaces.chance)
    chosen = min(int(np.searchsorted(upto, choice * upto[-1], side="right")), len(upto) - 1)
    direction = spaces.direction
    row = slice(direction.indptr[chosen], direction.indptr[chosen + 1])
    at, along = direction.indices[row], direction.data[row]
    now = float(along @ x[at])
    x[at] += along * (conditional_normal(float(spaces.threshold[chosen]), even) - now)
    return x, max(int((direction @ x >= spaces.threshold).sum()), 1)


def interval_of(shares: Reals, total: float, beyond: float) -> Interval:
    """Return the chance of failure from draws in a union.

    Args:
        shares: (draws,) 1 / S of a draw that failed, 0 of one that did not.
        total: sum of the chances.
        beyond: added to the upper end.

    By Student's t where 20 draws or more failed and 20 or more are not a plain 1. Else the spread between draws
    tells too little: each share is rounded to 0 or 1 with its own value as the chance of 1, which keeps the mean,
    and the interval is the exact one of Clopper and Pearson.
    """
    draws = len(shares)
    value = float(shares.mean()) * total
    if (shares > 0).sum() >= _MANY and (shares < 1).sum() >= _MANY:
        half = float(t.isf(0.5 * (1.0 - LEVEL), draws - 1) * shares.std(ddof=1) / math.sqrt(draws)) * total
        low, high = value - half, value + half
    else:
        even = Generator(Philox(key=[draws, 0])).random(draws)
        low, high = (total * end for end in clopper_pearson(int((even < shares).sum()), draws))
        low, high = min(low, value), max(high, value)
    return Interval(value, max(low, 0.0), min(high + beyond, 1.0), METHOD)


def why_not_rare(setup: TrialSetup) -> str:
    """Return why the chance of a full fall cannot be had this way, empty when it can."""
    if setup.hubs:
        return "fronts split or meet"
    if setup.error.missing > 0:
        return "pieces that lack are not rare"
    if setup.box is None:
        return setup.in_full
    return ""


def standing_case(setup: TrialSetup) -> RareCase | None:
    """Return the case "some piece is left standing"; None where ``why_not_rare`` says why, or no start is sure."""
    if why_not_rare(setup) or setup.box is None:
        return None
    start = start_limits(setup)
    if start is None:
        return None
    early = (setup.always[setup.edges] != 0).all(axis=1)
    limits = (
        np.where(early, start[0], setup.box.gap_low_m),
        np.where(early, start[1], setup.box.gap_high_m),
    )
    reached = setup.reached[setup.edges[:, 0]]
    edges = [margins.where(reached) for margins in edge_margins(setup, limits)]
    spaces = _with_friction(setup, half_spaces(setup, edges + meeting_margins(setup), widened=True))
    return RareCase(setup, spaces, False, _beyond(setup, spaces))


def touch_case(setup: TrialSetup, among: TrialSetup | None = None) -> RareCase:
    """Return the case "pieces of two tiles overlap when they are set down".

    Args:
        setup: the build.
        among: the pieces of it that may touch, if known from errors as large or larger (``at_seams``).
    """
    few = at_seams(among or setup, setup.error)
    spaces = half_spaces(few, touch_margins(few), widened=True)
    # All pieces count for errors beyond the caps, those too that cannot touch within them.
    return RareCase(few, spaces, True, _beyond(setup, spaces))


def _with_friction(setup: TrialSetup, spaces: HalfSpaces) -> HalfSpaces:
    error = setup.error
    spread = error.domino_friction_spread
    if spread <= 0:
        return spaces
    thresholds = np.array(
        [
            (setup.friction[1] - error.domino_friction) / spread,
            (error.domino_friction - setup.friction[0]) / spread,
        ]
    )
    last = dimensions(setup) - 1
    rows = csr_array((np.array([1.0, -1.0]), (np.array([0, 1]), np.array([last, last]))), shape=(2, last + 1))
    return HalfSpaces(
        csr_array(vstack([spaces.direction, rows], format="csr")),
        np.concatenate([spaces.threshold, thresholds]),
        np.concatenate([spaces.kind, np.full(2, FRICTION, dtype=np.int8)]),
        np.concatenate([spaces.seam, np.full(2, -1, dtype=np.int32)]),
        np.concatenate([spaces.pair, np.full(2, -1, dtype=np.int64)]),
        spaces.left_out,
    )


def _beyond(setup: TrialSetup, spaces: HalfSpaces) -> float:
    # Four numbers of each piece, three of each tile, on either side of a cap.
    numbers = 2 * (4 * len(setup.laying) + 3 * setup.laying.tiles)
    return float(numbers * ndtr(-CAP) + spaces.left_out * ndtr(-FAR))


def start_limits(setup: TrialSetup) -> tuple[float, float] | None:
    """Return the range of gaps with which the weakest push surely gets the first pieces going; None: no range.

    By trying: rows of the box's depth, each gap at the ends and in the middle of the range, in all combinations,
    with a tenth less push and both ends of friction.
    """
    if setup.box is None or not len(setup.strikes):
        return None
    early = (setup.always[setup.edges] != 0).all(axis=1) & setup.reached[setup.edges[:, 0]]
    if not early.any():
        return setup.box.gap_low_m, setup.box.gap_high_m
    low, high = float(setup.gap_m[early].min()), float(setup.gap_m[early].max())
    wide = min(low - setup.box.gap_low_m, setup.box.gap_high_m - high)
    for _ in range(_HALVINGS):
        if wide > 0 and _starts(setup, low - wide, high + wide):
            return low - wide, high + wide
        wide *= 0.7
    return None


def _starts(setup: TrialSetup, low_m: float, high_m: float) -> bool:
    depth = setup.box.depth if setup.box is not None else 0
    levels = (low_m, 0.5 * (low_m + high_m), high_m) if depth <= 6 else (low_m, high_m)
    gaps = np.array(list(itertools.product(levels, repeat=depth)))
    rows, length = len(gaps), depth + 1
    height, width, thick = setup.sizes
    pieces = Pieces.alike(
        rows * length,
        height_m=height,
        width_m=width,
        thickness_m=thick,
        mass_kg=float(setup.pieces.mass_kg[0]),
    )
    # The rows one behind the other, each out of the reach of the one before.
    apart = np.concatenate([gaps, np.full((rows, 1), 2.0 * height)], axis=1).ravel()[:-1]
    slopes = setup.ground.slope_along(setup.laying.yaw_rad)
    yaw_rad = np.full(len(pieces), setup.laying.yaw_rad[int(np.argmin(slopes))])
    push = _PUSH_SHARE * math.cos(setup.turn_most_rad) * float(setup.strikes.omega_rad_s.min())
    strikes = Strikes(
        node=np.arange(0, len(pieces), length, dtype=np.int32),
        at_s=np.zeros(rows),
        omega_rad_s=np.full(rows, push),
        waits_for=np.full(rows, -1, dtype=np.int32),
        starter=np.zeros(rows, dtype=np.int16),
    )
    contacts: Contacts = chain_contacts(apart, pieces)
    for friction in setup.friction:
        ground = replace(setup.ground, domino_friction=float(friction))
        if (topple(contacts, pieces, yaw_rad, ground, strikes).state != FALLEN).any():
            return False
    return True


def run_rare(case: RareCase, first: int, count: int) -> Reals:
    """Draw ``count`` layings from number ``first`` on; return 1 / S of each that fails, else 0 (count,)."""
    shares = np.zeros(count)
    setup = case.setup
    if not len(case.spaces.threshold):
        return shares
    for number in range(count):
        draw = _FIRST_DRAW + first + number
        normals = draw_normals(setup.laying, setup.error, setup.seed, draw)
        choice, even = Generator(Philox(key=[setup.seed, draw], counter=[0, 0, 0, _CHOICE])).random(2)
        x = np.concatenate([normals.tile, normals.piece.ravel().astype(np.float64), normals.friction[:1]])
        x, held = draw_in_union(case.spaces, x, choice, 1.0 - even)
        laid = lay(setup.laying, setup.error, _normals_at(normals, x))
        if (touched_seams(setup, laid) if case.touch else one_trial(setup, laid).stood).any():
            shares[number] = 1.0 / held
    return shares


def _normals_at(normals: Normals, x: Reals) -> Normals:
    tiles = len(normals.tile)
    piece = x[tiles:-1].reshape(-1, 3).astype(np.float32)
    return replace(normals, tile=x[:tiles], piece=piece, friction=np.array([x[-1], normals.friction[1]]))


def rare_chance(case: RareCase, shares: Reals) -> Interval:
    """Return the chance of failure from the draws of ``run_rare``, all batches in order."""
    if not len(case.spaces.threshold):
        return Interval(0.0, 0.0, case.beyond, METHOD)
    return interval_of(shares, case.total, case.beyond)
