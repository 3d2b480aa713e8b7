"""All trials of a build summed up, with what else is worth knowing of them."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import numpy as np

from standfall.fall.rare import RareCase, rare_chance, run_rare, standing_case, touch_case
from standfall.fall.seam import Call, in_turn, largest_seam_error, largest_touch_error, weakest_seams
from standfall.fall.trial import Interval, Trials
from standfall.fall.trial_run import TrialBatch, merge
from standfall.fall.trial_setup import TrialSetup

# With so many failures seen, plain trials tell the chance well enough.
_ENOUGH = 10
# Where the half-spaces' chances sum up to more, drawing in them cannot be better than plain trials.
_RARE = 1.0


def sum_up(
    setup: TrialSetup,
    batches: Sequence[TrialBatch],
    *,
    draws: int = 200,
    layings: int = 400,
    limits: bool = True,
    call: Call = in_turn,
) -> Trials:
    """Merge batches; where they saw fewer than 10 failures, sample those; find weak seams and the errors allowed.

    Args:
        setup: the build.
        batches: of all its trials.
        draws: layings drawn for each rare chance, and for each error of touching tiles tried.
        layings: layings drawn for the largest error with which all fall.
        limits: whether the largest errors are sought, which takes some 500 falls more, of larger errors.
        call: how to call a function over batches; ``workers.Team.call`` for more cores.
    """
    plain = merge(setup, batches)
    failures = int((plain.standing > 0).sum())
    touches = round((1.0 - plain.chance_no_touch.value) * plain.trials)
    all_fall, no_touch = plain.chance_all_fall, plain.chance_no_touch
    if failures < _ENOUGH:
        all_fall = _better(standing_case(setup), all_fall, draws, call)
    if touches < _ENOUGH:
        no_touch = _better(touch_case(setup), no_touch, draws, call)
    nan = float("nan")
    return merge(
        setup,
        batches,
        seams=weakest_seams(setup, batches),
        chance_all_fall=all_fall,
        chance_no_touch=no_touch,
        largest_seam_error_m=(
            largest_seam_error(setup, batches=batches, draws=layings, call=call).error_m if limits else nan
        ),
        largest_touch_error_m=largest_touch_error(setup, draws=draws, call=call).error_m if limits else nan,
    )


def _better(case: RareCase | None, plain: Interval, draws: int, call: Call) -> Interval:
    """Return the chance from draws in the union where those half-spaces are rare, else the plain one.

    Which of the two is decided by the half-spaces alone, before anything is drawn.
    """
    if case is None or case.total > _RARE:
        return plain
    shares = [np.zeros(1)]
    if len(case.spaces.threshold):
        batches = [(first, min(25, draws - first)) for first in range(0, draws, 25)]
        shares = list(call(partial(run_rare, case), batches))
    failure = rare_chance(case, np.concatenate(shares))
    return Interval(1.0 - failure.value, 1.0 - failure.high, 1.0 - failure.low, failure.method)
