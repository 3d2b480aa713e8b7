"""The weakest seams between tiles, and how large a seam's error may be."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from standfall.fall.chance import chance_of
from standfall.fall.contact import find_contacts
from standfall.fall.half_spaces import edge_margins, either_chance, half_spaces, touch_margins
from standfall.fall.quantile import lowest_failures
from standfall.fall.rare import rare_chance, run_rare, touch_case
from standfall.fall.trial import Interval, Seam
from standfall.fall.trial_run import CROSSINGS, TOUCHING, TrialBatch, left_standing, run_touches
from standfall.fall.trial_setup import TrialSetup, at_seams, set_up

Reals = NDArray[np.float64]
# Calls a function for each batch of arguments and gives the results in order; ``workers.Team.call`` is one.
Call = Callable[[Callable[..., Any], Sequence[tuple[Any, ...]]], Iterable[Any]]

# A chance is counted where so many trials saw it, else taken from the closed form.
_COUNTED = 10
WANTED = 0.99
# Beyond this sum of chances drawing in the union is no better than plain trials.
_COMMON = 30.0
_GROWTH = 1.5
_GROWTHS = 14
_REFINEMENTS = 5
_FINE = 0.02
_BATCH = 25
# Layings in one batch of the search, which has few at a time.
_FEW = 4
_AHEAD = 1.3
_NO_SIZE = "tile errors depend on each other and have no size to scale"
_EXACT = "even with tiles set down exactly, {} with more than 1 % chance"


@dataclass(frozen=True)
class SeamLimit:
    """The largest error of a seam that is still good enough.

    Attributes:
        error_m: standard deviation on each axis of the difference of two neighbouring tiles' places; nan for none.
        reason: why there is none, or what the figure rests on.
        chance: of a good build at that error; None when there is none.
        low_m, high_m: 95 % interval of ``error_m``; nan where none was made, infinite where too few layings failed.
    """

    error_m: float
    reason: str
    chance: Interval | None
    low_m: float = float("nan")
    high_m: float = float("nan")


def in_turn(function: Callable[..., Any], batches: Sequence[tuple[Any, ...]]) -> Iterable[Any]:
    """Call the function for one batch after the other, in this process."""
    return (function(*batch) for batch in batches)


def weakest_seams(setup: TrialSetup, batches: Sequence[TrialBatch], most: int = 20) -> tuple[Seam, ...]:
    """Return the seams most likely to give trouble, worst first.

    Trouble is an edge across the seam outside what surely carries, or pieces that overlap when set down; a seam's
    chance and reason are those of its likeliest trouble. It is counted where 10 trials or more saw it. Else it is
    the sum over the seam's edges of the chance of each, from the normal distribution with the margin taken as
    linear in the errors: as the edges depend on each other, that is the most it can be.
    """
    if not len(setup.seams):
        return ()
    closed = seam_chances(setup)
    trials = sum(batch.count for batch in batches)
    if trials:
        seen = np.sum(
            [np.column_stack([batch.crossed_ill, batch.touched]) for batch in batches], axis=0, dtype=np.int64
        )
        closed = np.where(seen >= _COUNTED, seen / trials, closed)
    worst = closed.argmax(axis=1)
    chance = closed.max(axis=1)
    order = np.argsort(-chance, kind="stable")[:most]
    reasons = (*CROSSINGS, TOUCHING)
    return tuple(
        Seam(
            tile=int(setup.seams.tile[row]),
            next_tile=int(setup.seams.next_tile[row]),
            chance=float(chance[row]),
            reason=reasons[int(worst[row])],
            x_m=float(setup.seams.x_m[row]),
            y_m=float(setup.seams.y_m[row]),
        )
        for row in order
        if chance[row] > 0.0
    )


def seam_chances(setup: TrialSetup) -> Reals:
    """Return for each seam (s, 5) the most each trouble's chance can be: ``CROSSINGS``, then ``TOUCHING``."""
    least, largest = setup.limits[:2]
    edges = len(setup.edges)
    across = (setup.seam_of_edge >= 0) & setup.reached[setup.edges[:, 0]]
    margins = edge_margins(setup, (np.full(edges, least), np.full(edges, largest)))
    crossing = half_spaces(setup, [one.where(across) for one in margins], widened=False)
    touching = half_spaces(setup, touch_margins(setup), widened=False)
    chances = np.zeros((len(setup.seams), len(CROSSINGS) + 1))
    chance, row = either_chance(crossing)
    np.add.at(chances, (crossing.seam[row].astype(np.intp), crossing.kind[row].astype(np.intp)), chance)
    chance, row = either_chance(touching)
    np.add.at(chances[:, -1], touching.seam[row].astype(np.intp), chance)
    return np.minimum(chances, 1.0)


def seam_error_m(setup: TrialSetup) -> float:
    """Return the standard deviation on each axis of the difference of two neighbouring tiles' places.

    The square root of 2 times the tiles' own when they are independent; else the mean over seams.
    """
    factor = setup.error.tile_factor
    if factor is None:
        return math.sqrt(2.0) * setup.error.tile_m
    tiles = (setup.seams.tile > 0) & (setup.seams.next_tile > 0)
    one, other = setup.seams.tile[tiles] - 1, setup.seams.next_tile[tiles] - 1
    if not len(one):
        return float("nan")
    squares = [((factor[3 * other + axis] - factor[3 * one + axis]) ** 2).sum(axis=1) for axis in (0, 1)]
    return float(np.sqrt(np.mean(squares)))


def with_tile_error(setup: TrialSetup, tile_m: float) -> TrialSetup:
    """Return the same build with tiles set down less or more exactly."""
    laying = setup.laying
    contacts = find_contacts(
        laying.x_m, laying.y_m, laying.z_m, laying.yaw_rad, setup.pieces, setup.strikes.node
    )
    error = setup.error.with_tile_error(tile_m)
    return set_up(laying, error, contacts, setup.pieces, setup.ground, setup.strikes, setup.seed)


def touch_chance(
    setup: TrialSetup, *, draws: int, call: Call = in_turn, among: TrialSetup | None = None
) -> Interval:
    """Return the chance that tiles touch when they are set down, by whichever way fits; nothing falls for that.

    By importance sampling where the half-spaces are not common, else by plain draws.

    Args:
        setup: the build.
        draws: layings drawn.
        call: how to call a function over batches.
        among: as for ``touch_case``.
    """
    case = touch_case(setup, among)
    batches = [(first, min(_BATCH, draws - first)) for first in range(0, draws, _BATCH)]
    if case.total <= _COMMON:
        if case.total + case.beyond < 1e-9:
            return rare_chance(case, np.zeros(1))
        return rare_chance(case, np.concatenate(list(call(partial(run_rare, case), batches))))
    return chance_of(sum(call(partial(run_touches, case.setup), batches)), draws)


def largest_touch_error(setup: TrialSetup, *, draws: int = 200, call: Call = in_turn) -> SeamLimit:
    """Return the largest seam error with which no two tiles touch, with a chance of 99 %.

    Only the tiles' places vary, all other errors are as given. Each candidate is tried with the same random
    numbers; the logarithm of the chance is solved for, so an estimate off by a fifth moves the error by some 2 %.

    Args:
        setup: the build.
        draws: layings drawn for each candidate.
        call: how to call a function over batches; ``workers.Team.call`` for more cores.
    """
    largest_m = 0.5 * setup.sizes[0]
    wanted = math.log(1.0 - WANTED)
    seen: dict[float, Interval] = {}
    among: dict[float, TrialSetup] = {}

    def excess(tile_m: float) -> float:
        scaled = replace(setup, error=setup.error.with_tile_error(tile_m))
        larger = min((known for known in among if known >= tile_m), default=None)
        if larger is None:
            among[tile_m] = at_seams(setup, scaled.error)
            larger = tile_m
        seen[tile_m] = touch_chance(scaled, draws=draws, call=call, among=among[larger])
        return math.log(max(seen[tile_m].value, 1e-9)) - wanted

    if setup.error.tile_factor is not None and setup.error.tile_m <= 0:
        return SeamLimit(float("nan"), _NO_SIZE, None)
    high = max(setup.error.tile_m, 2e-4)
    high_excess = excess(high)
    low, low_excess = 0.0, excess(0.0)
    if low_excess > 0:
        return SeamLimit(float("nan"), _EXACT.format("tiles touch"), seen[0.0])
    for _ in range(_GROWTHS):
        if high_excess > 0 or high >= largest_m:
            break
        low, low_excess, high = high, high_excess, min(high * _GROWTH, largest_m)
        high_excess = excess(high)
    if high_excess <= 0:
        low = high
    while low == 0.0 and high > 1e-6:  # the given error is too large already
        lower = high / _GROWTH
        lower_excess = excess(lower)
        if lower_excess <= 0:
            low, low_excess = lower, lower_excess
        else:
            high, high_excess = lower, lower_excess
    for _ in range(_REFINEMENTS):
        if high - low <= _FINE * high:
            break
        share = 0.5 if not math.isfinite(low_excess) else -low_excess / (high_excess - low_excess)
        middle = low * (high / low) ** min(max(share, 0.15), 0.85) if low > 0 else 0.5 * high
        middle_excess = excess(middle)
        if middle_excess > 0:
            high, high_excess = middle, middle_excess
        else:
            low, low_excess = middle, middle_excess
    if low == 0.0:
        return SeamLimit(float("nan"), "no error of tiles is small enough", seen[0.0])
    return SeamLimit(
        low * _seam_scale(setup), f"from {draws} layings each at {len(seen)} errors", _other(seen[low])
    )


def largest_seam_error(
    setup: TrialSetup, *, batches: Sequence[TrialBatch] = (), draws: int = 400, call: Call = in_turn
) -> SeamLimit:
    """Return the largest seam error with which all fall, with a chance of 99 %.

    Only the tiles' places vary, all other errors are as given. For each drawn laying its tiles' errors are scaled
    up until something is left standing; at the error returned, 1 % or less of them do (counted over all). How
    exact that is: with 4 of 400 seen, the chance of failure lies within 0.3 and 2.6 % (95 %).

    Args:
        setup: the build.
        batches: trials of the build with its own errors; they are the same layings and need not be tried again.
        draws: layings drawn.
        call: how to call a function over batches; ``workers.Team.call`` for more cores.
    """
    if setup.error.tile_factor is not None and setup.error.tile_m <= 0:
        return SeamLimit(float("nan"), _NO_SIZE, None)
    given_m = setup.error.tile_m
    known = {batch.first + k: bool(batch.standing[k]) for batch in batches for k in range(batch.count)}
    largest_m = 0.5 * setup.sizes[0]
    ready: list[tuple[float, Callable[..., Any]]] = []

    def fails(draw: NDArray[np.intp], tile_m: Reals) -> NDArray[np.bool_]:
        most_m = float(tile_m.max())
        if not ready:
            ready.append((given_m, partial(left_standing, setup)))
        if most_m > ready[-1][0]:
            # Ready for somewhat larger ones too, as that takes as long as some trials.
            at_m = min(_AHEAD * most_m, largest_m)
            ready.append((at_m, partial(left_standing, with_tile_error(setup, at_m))))
        cuts = [slice(at, at + _FEW) for at in range(0, len(draw), _FEW)]
        parts = call(ready[-1][1], [(tuple(draw[cut].tolist()), tuple(tile_m[cut].tolist())) for cut in cuts])
        return np.concatenate([np.asarray(part, dtype=np.bool_) for part in parts])

    found = lowest_failures(fails, draws, 1.0 - WANTED, given_m, largest_m, known)
    if found.value == 0.0:
        return SeamLimit(float("nan"), _EXACT.format("pieces are left standing"), _other(found.failing))
    scale = _seam_scale(setup)
    return SeamLimit(
        found.value * scale,
        f"from {draws} layings, each at the error at which it first fails",
        _other(found.failing),
        found.low * scale,
        found.high * scale,
    )


def _other(failure: Interval) -> Interval:
    return Interval(1.0 - failure.value, 1.0 - failure.high, 1.0 - failure.low, failure.method)


def _seam_scale(setup: TrialSetup) -> float:
    """Return the error of a seam over that of a tile."""
    if setup.error.tile_factor is None:
        return math.sqrt(2.0)
    return seam_error_m(setup) / setup.error.tile_m
