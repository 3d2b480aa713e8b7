"""Trials of one build: set down with drawn errors, let fall, count what stays up.

``trial_in_full`` is the plain way: contacts of all pieces as they came to stand, and the fall of all. The short
way, ``one_trial``, comes to the same outcome from fewer pieces; ``trial_setup`` tells which and why. Both ways
agree on every piece, which the tests try over many seeds and errors of all sizes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from standfall.fall._trial_kernels import doubtful, gather, touching
from standfall.fall.chance import chance_of, mean_of
from standfall.fall.contact import Contacts, find_contacts
from standfall.fall.falling import FALLEN, Strikes, topple
from standfall.fall.ground import Ground
from standfall.fall.pieces import Pieces
from standfall.fall.placement import Laid, PlacementError, draw_normals, lay, laying_of
from standfall.fall.trial import Interval, Seam, Trials
from standfall.fall.trial_setup import TrialSetup, set_up
from standfall.tiles.tiling import Tiling

if TYPE_CHECKING:
    from standfall.brief.section import Brief
    from standfall.mural.standing import Standing

Flags = NDArray[np.bool_]

CROSSINGS = ("gap too narrow", "gap too wide", "too far aside", "turned too far")
TOUCHING = "pieces touch when set down"
SEAMS_MOST = 20


@dataclass(frozen=True)
class Outcome:
    """One trial.

    Attributes:
        stood: (n,) pieces left standing; a missing piece is not.
        touched: (s,) int8 seams where pieces overlap when they are set down.
        crossing: (s, 4) int8 seams with an edge outside what surely carries, in the order of ``CROSSINGS``.
        let_fall: pieces that were let fall to know.
    """

    stood: Flags
    touched: NDArray[np.int8]
    crossing: NDArray[np.int8]
    let_fall: int


@dataclass(frozen=True)
class TrialBatch:
    """Trials ``first`` to ``first + count``; what ``merge`` puts together.

    Attributes:
        first, count, seed: which trials.
        standing: (count,) int32 left standing.
        stood: (n,) int32 in how many trials each stayed up.
        untouched: (count,) no two tiles touched.
        crossed_ill: (s, 4) int32 trials in which a seam had such an edge.
        touched: (s,) int32 trials in which a seam's pieces touched.
        let_fall: pieces let fall in all trials.
    """

    first: int
    count: int
    seed: int
    standing: NDArray[np.int32]
    stood: NDArray[np.int32]
    untouched: Flags
    crossed_ill: NDArray[np.int32]
    touched: NDArray[np.int32]
    let_fall: int


def prepare_trials(
    brief: Brief,
    standing: Standing,
    tiling: Tiling,
    contacts: Contacts,
    pieces: Pieces,
    ground: Ground,
    strikes: Strikes,
    seed: int,
) -> TrialSetup:
    """Get the trials of a build ready; arguments as planned, contacts of the pieces as planned."""
    error = PlacementError.of_brief(brief)
    return set_up(laying_of(standing, tiling), error, contacts, pieces, ground, strikes, seed)


def _fallen(setup: TrialSetup, laid: Laid, chosen: NDArray[np.intp]) -> Flags:
    """Let these pieces (k,) fall, in their order, and tell which do (k,)."""
    place = np.full(len(setup.laying), -1, dtype=np.int64)
    place[chosen] = np.arange(len(chosen))
    pieces = setup.pieces.take(chosen)
    if len(laid.mass_share):
        pieces = replace(pieces, mass_kg=pieces.mass_kg * laid.mass_share[chosen])
    ground = replace(setup.ground, domino_friction=laid.domino_friction, floor_friction=laid.floor_friction)
    strikes = _strikes_among(setup.strikes, place, len(chosen))
    contacts = find_contacts(
        laid.x_m[chosen],
        laid.y_m[chosen],
        setup.laying.z_m[chosen],
        laid.yaw_rad[chosen],
        pieces,
        strikes.node,
    )
    return np.asarray(topple(contacts, pieces, laid.yaw_rad[chosen], ground, strikes).state == FALLEN)


def _strikes_among(strikes: Strikes, place: NDArray[np.int64], count: int) -> Strikes:
    """Return the strikes on the pieces chosen, numbered as they are; one that waits for a missing piece is out."""
    whole = len(place)
    piece = place[strikes.node % whole]
    waits = np.where(strikes.waits_for >= 0, place[strikes.waits_for], -1)
    kept = (piece >= 0) & ((strikes.waits_for < 0) | (waits >= 0))
    return Strikes(
        node=(piece + count * (strikes.node >= whole))[kept].astype(np.int32),
        at_s=strikes.at_s[kept],
        omega_rad_s=strikes.omega_rad_s[kept],
        waits_for=waits[kept].astype(np.int32),
        starter=strikes.starter[kept],
    )


def _stood(setup: TrialSetup, laid: Laid, fallen: Flags) -> Flags:
    above = np.flatnonzero(setup.laying.support >= 0)
    # Upper pieces come down with what they stand on.
    fallen[above] |= fallen[setup.laying.support[above]]
    return ~fallen & ~laid.missing


def stood_in_full(setup: TrialSetup, laid: Laid) -> Flags:
    """Return which pieces stay up (n,), the plain way."""
    chosen = np.flatnonzero(~laid.missing)
    fallen = np.zeros(len(laid.missing), dtype=np.bool_)
    fallen[chosen] = _fallen(setup, laid, chosen)
    return _stood(setup, laid, fallen)


def trial_in_full(setup: TrialSetup, trial: int) -> Flags:
    """Return which pieces stay up (n,) in a trial, the plain way: the truth the short way has to meet."""
    return stood_in_full(
        setup, lay(setup.laying, setup.error, draw_normals(setup.laying, setup.error, setup.seed, trial))
    )


def touched_seams(setup: TrialSetup, laid: Laid) -> NDArray[np.int8]:
    """Return the seams (s,) at which pieces overlap when they are set down; nothing falls for that."""
    touched = np.zeros(len(setup.seams), dtype=np.int8)
    if len(setup.touch_pairs):
        seen = (laid.x_m, laid.y_m, laid.cos_yaw, laid.sin_yaw, laid.missing)
        _, width, thick = setup.sizes
        touching(*seen, setup.touch_pairs, setup.seam_of_touch, 0.5 * thick, 0.5 * width, touched)
    return touched


def one_trial(setup: TrialSetup, laid: Laid) -> Outcome:
    """Return the outcome of one laying, the short way where there is one."""
    count = len(laid.missing)
    doubt = np.zeros(count, dtype=np.int8)
    crossing = np.zeros((len(setup.seams), len(CROSSINGS)), dtype=np.int8)
    touched = touched_seams(setup, laid)
    sizes = setup.sizes
    seen = (laid.x_m, laid.y_m, laid.cos_yaw, laid.sin_yaw, laid.missing)
    facing = doubtful(
        *seen,
        setup.edges,
        setup.others,
        setup.clear_m,
        sizes,
        setup.limits,
        setup.seam_of_edge,
        doubt,
        crossing,
        setup.pred,
        setup.succ,
    )
    if setup.in_full or facing or not _within(setup, laid) or (doubt[~setup.reached] != 0).any():
        stood = stood_in_full(setup, laid)
        return Outcome(stood, touched, crossing, int(count - laid.missing.sum()))
    return Outcome(*_short_way(setup, laid, doubt, touched, crossing))


def _within(setup: TrialSetup, laid: Laid) -> bool:
    """Tell whether a laying keeps to the errors that the lists and the box were made for."""
    if (laid.reach_m > setup.cap_m).any() or (laid.reach_rad > setup.cap_rad).any():
        return False
    if not setup.friction[0] <= laid.domino_friction <= setup.friction[1]:
        return False
    return not len(laid.mass_share) or float(np.abs(laid.mass_share - 1.0).max()) <= setup.mass_share


def _short_way(
    setup: TrialSetup,
    laid: Laid,
    doubt: NDArray[np.int8],
    touched: NDArray[np.int8],
    crossing: NDArray[np.int8],
) -> tuple[Flags, NDArray[np.int8], NDArray[np.int8], int]:
    count = len(doubt)
    whole = np.zeros(count, dtype=np.int8)
    chosen = np.empty(count, dtype=np.int8)
    let_fall = 0
    while True:
        gather(doubt, setup.always, setup.pred, setup.succ, setup.deep, whole, chosen)
        here = np.flatnonzero((chosen != 0) & ~laid.missing)
        fallen = setup.reached.copy()
        fallen[here] = _fallen(setup, laid, here)
        let_fall += len(here)
        # Where the chain goes on beyond what was let fall, its last piece must do as planned.
        after = setup.succ[here]
        last = here[(after >= 0) & (chosen[np.maximum(after, 0)] == 0)]
        ill = last[(fallen[last] != setup.reached[last]) & (whole[last] == 0)]
        if not len(ill):
            break
        whole[ill] = 1
    fallen[laid.missing] = False
    return _stood(setup, laid, fallen), touched, crossing, let_fall


def run_trials(setup: TrialSetup, first: int, count: int) -> TrialBatch:
    """Do trials ``first`` to ``first + count - 1``; the same whichever worker does them."""
    standing = np.zeros(count, dtype=np.int32)
    untouched = np.zeros(count, dtype=np.bool_)
    stood = np.zeros(len(setup.laying), dtype=np.int32)
    crossed_ill = np.zeros((len(setup.seams), len(CROSSINGS)), dtype=np.int32)
    touched = np.zeros(len(setup.seams), dtype=np.int32)
    let_fall = 0
    for number in range(count):
        normals = draw_normals(setup.laying, setup.error, setup.seed, first + number)
        outcome = one_trial(setup, lay(setup.laying, setup.error, normals))
        standing[number] = outcome.stood.sum()
        untouched[number] = not outcome.touched.any()
        stood += outcome.stood
        crossed_ill += outcome.crossing
        touched += outcome.touched
        let_fall += outcome.let_fall
    return TrialBatch(first, count, setup.seed, standing, stood, untouched, crossed_ill, touched, let_fall)


def run_touches(setup: TrialSetup, first: int, count: int) -> int:
    """Set down layings ``first`` to ``first + count - 1``; return in how many tiles touch."""
    found = 0
    for number in range(first, first + count):
        normals = draw_normals(setup.laying, setup.error, setup.seed, number)
        found += bool(touched_seams(setup, lay(setup.laying, setup.error, normals)).any())
    return found


def left_standing(setup: TrialSetup, draws: Sequence[int], tile_m: Sequence[float]) -> list[bool]:
    """Tell for each drawn laying, its tiles' errors scaled to a deviation, whether anything is left standing."""
    found = []
    for draw, deviation_m in zip(draws, tile_m, strict=True):
        error = setup.error.with_tile_error(deviation_m)
        normals = draw_normals(setup.laying, error, setup.seed, draw)
        found.append(bool(one_trial(setup, lay(setup.laying, error, normals)).stood.any()))
    return found


def merge(
    setup: TrialSetup,
    batches: Sequence[TrialBatch],
    *,
    seams: tuple[Seam, ...] = (),
    chance_all_fall: Interval | None = None,
    chance_no_touch: Interval | None = None,
    largest_seam_error_m: float = float("nan"),
    largest_touch_error_m: float = float("nan"),
) -> Trials:
    """Put batches together, in the order of their trials, whatever the order they came in.

    The other arguments are taken over as they are; chances not given are those of the trials.

    Raises:
        ValueError: no batch, or batches that overlap or leave a trial out.
    """
    ordered = sorted(batches, key=lambda batch: batch.first)
    done = 0
    for batch in ordered:
        if batch.first != done or batch.seed != setup.seed:
            raise ValueError("batches must follow one another from trial 0, with one seed")
        done += batch.count
    if not done:
        raise ValueError("there is no trial to merge")
    standing = np.concatenate([batch.standing for batch in ordered])
    untouched = np.concatenate([batch.untouched for batch in ordered])
    return Trials(
        trials=done,
        seed=setup.seed,
        standing=standing,
        stood=np.sum([batch.stood for batch in ordered], axis=0, dtype=np.int32),
        chance_all_fall=chance_all_fall or chance_of(int((standing == 0).sum()), done),
        mean_standing=mean_of(standing, len(setup.laying)),
        chance_no_touch=chance_no_touch or chance_of(int(untouched.sum()), done),
        largest_seam_error_m=largest_seam_error_m,
        largest_touch_error_m=largest_touch_error_m,
        seams=seams[:SEAMS_MOST],
    )
