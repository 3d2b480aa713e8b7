"""Predicted falls made by hand, without running any mechanics: every state, striker and gap in the columns."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from standfall.fall.contact import Contacts
from standfall.fall.falling import Fall, Strikes
from standfall.fall.ground import Ground
from standfall.fall.pieces import Pieces
from standfall.fall.prediction import Prediction
from standfall.fall.spacing import DesignGap
from standfall.fall.stance import Stance
from standfall.fall.starter import StarterFigure
from standfall.fall.trial import Interval, Seam, Trials
from standfall.findings import Finding, make_finding
from standfall.planning.plan import Plan

PENDULUM = StarterFigure("tram bell", "pendulum", 0.036, 1.25, 10.5, 0.4, 22, 2.5, 0.3, math.nan, 0.2)
FINGER = StarterFigure("a finger", "finger", 0.036, 0.1, 2.0, 0.0, 1)
# The brief's second starter touches nothing, so it has no figure.
NUMBERS = (0, 2)
# How the columns of ``fall_by_hand`` go, in turn: what becomes of dominoes 5 k + 0, 1, 2, 3, 4.
STATES = (1, 1, 2, 1, 0)


def fall_by_hand(count: int) -> Fall:
    """Return a fall: the first two of five dominoes fall, the third stalls, the fourth falls, the last stands.

    The first of five is struck by starter 0, or by starter 2 in the second half, the others by the one before;
    the fourth falls backward. Domino k is struck k / 128 s after the start and rests a second later.
    """
    number = np.arange(count)
    turn = number % 5
    state = np.array(STATES, dtype=np.int8)[turn]
    struck = state != 0
    first = turn == 0
    struck_s = np.where(struck, number / 128, np.nan)
    return Fall(
        struck_s=struck_s,
        omega_rad_s=np.where(struck, 3.0 + turn, np.nan),
        speed_m_s=np.where(struck & ~first, 0.75 + 0.0625 * turn, np.nan),
        striker=np.where(~struck, -2, np.where(first, -1, number - 1)).astype(np.int32),
        starter=np.where(first, np.where(number < count // 2, *NUMBERS), -1).astype(np.int16),
        backward=turn == 3,
        margin=np.where(state == 2, 0.0, np.where(struck, 0.5 + turn / 16, np.nan)),
        down_s=np.where(state == 1, struck_s + 1.0, np.nan),
        state=state,
    )


def trials_by_hand(count: int, tiles: int) -> Trials:
    """Return the outcome of four trials of a build with that many dominoes and tiles."""
    return Trials(
        trials=4,
        seed=2**62,
        standing=np.array([0, 3, 0, 1], dtype=np.int32),
        stood=(np.arange(count) % 5).astype(np.int32),
        chance_all_fall=Interval(0.5, 0.0625, 0.9375, "Clopper-Pearson 95 %"),
        mean_standing=Interval(1.0, 0.125, 3.5, "Student t 95 %"),
        chance_no_touch=Interval(1.0, 0.5, 1.0, "importance sampling of a union 95 %"),
        largest_seam_error_m=0.00125,
        seams=(
            Seam(2, 3, 0.25, "gap too wide", 1.5, -2.25),
            Seam(0, 1, 0.125, "too far aside", 0.0, 0.5),
            Seam(tiles, 0, 0.0, "pieces touch", -1e-9, 3.0),
        ),
    )


def findings() -> tuple[Finding, ...]:
    """Return findings with text, a whole number, a fraction and nothing."""
    return (
        make_finding("F705", "line 'feeder'", "stay up – „all“", value=12, limit=0, next_step="Look."),
        make_finding("F718", "domino 7", "little margin", value=0.0625, limit=None, next_step="Widen."),
        make_finding("F720", "fall", "granted", value="friction 0.2", limit="measured", next_step="Measure."),
    )


def make_prediction_by_hand(plan: Plan, trials: bool = True) -> Prediction:
    """Return a prediction of a plan, with or without trials."""
    count = len(plan.standing)
    nothing = np.empty(0)
    return Prediction(
        contacts=Contacts(
            np.zeros(2 * count + 1, dtype=np.int64), np.empty(0, dtype=np.int32), *[nothing] * 5
        ),
        pieces=Pieces.alike(count, height_m=0.048, width_m=0.024, thickness_m=0.0075, mass_kg=0.0085),
        ground=Ground(0.21, 0.43, 0.01, -2.5),
        strikes=Strikes(
            node=np.array([0, count - 1, 1], dtype=np.int32),
            at_s=np.array([0.0, 0.0, 0.1]),
            omega_rad_s=np.array([2.0, 10.5, 10.5]),
            waits_for=np.full(3, -1, dtype=np.int32),
            starter=np.array([NUMBERS[0], NUMBERS[1], NUMBERS[1]], dtype=np.int16),
        ),
        fall=fall_by_hand(count),
        starters=(PENDULUM, FINGER),
        gap=DesignGap(0.004, 0.006, 0.02, 0.03, math.nan, ("",) * 5),
        stance=Stance(0.15, 0.0, 0.0, "", 0.001, 0.003, 0.15, *[math.nan] * 2, 12.0, math.nan, False, ()),
        findings=findings(),
        trials=trials_by_hand(count, len(plan.tiling)) if trials else None,
    )


def nothing_falls(plan: Plan) -> Prediction:
    """Return a prediction without any starter."""
    fall = fall_by_hand(len(plan.standing))
    still = {name: np.full(len(fall), np.nan) for name in fall.__dataclass_fields__}
    still |= {
        "striker": np.full(len(fall), -2, dtype=np.int32),
        "starter": np.full(len(fall), -1, dtype=np.int16),
        "backward": np.zeros(len(fall), dtype=np.bool_),
        "state": np.zeros(len(fall), dtype=np.int8),
    }
    prediction = make_prediction_by_hand(plan, trials=False)
    none = {name: column[:0] for name, column in vars(prediction.strikes).items()}
    return replace(prediction, fall=Fall(**still), starters=(), strikes=Strikes(**none))
