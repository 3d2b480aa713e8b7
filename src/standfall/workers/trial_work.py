"""The trials of a build, spread over workers."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from standfall.fall.trial_run import prepare_trials, run_trials
from standfall.fall.verdict import sum_up
from standfall.workers.pool import cores
from standfall.workers.team import Team

if TYPE_CHECKING:
    from standfall.brief import Brief
    from standfall.fall.prediction import Prediction
    from standfall.fall.trial import Trials
    from standfall.mural.standing import Standing
    from standfall.tiles import Tiling

Progress = Callable[[int, int, str], None]

# Trials in one batch: some tenths of a second of work, so that a bar moves and Ctrl-C is heard.
BATCH = 25


def try_falls(
    brief: Brief,
    standing: Standing,
    tiling: Tiling,
    prediction: Prediction,
    *,
    trials: int,
    seed: int,
    workers: int | None = None,
    cluster: str | None = None,
    limits: bool = True,
    progress: Progress | None = None,
) -> Trials:
    """Let a build fall ``trials`` times with the errors of its brief; the same whoever does the work.

    Args:
        brief, standing, tiling: of the plan.
        prediction: of its fall without errors.
        trials: how many, at least 1.
        seed: of the drawn errors.
        workers: processes on this machine, at most as many as it has processors for us: more would only take its
            memory. None for all of them.
        cluster: address of a Dask scheduler instead.
        limits: whether the largest errors allowed are sought, too.
        progress: called with batches done, of how many, and what.

    Raises:
        StandfallError: no cluster answers, Dask is not installed, or a worker died.
    """
    batches = [(first, min(BATCH, trials - first)) for first in range(0, trials, BATCH)]
    if progress is not None:
        progress(0, len(batches), "trials")  # the first batch is long in coming, as the workers start first
    with Team(workers=min(workers or cores(), cores()), cluster=cluster) as team:
        team.start(len(batches))  # they load their libraries while this process makes ready
        setup = prepare_trials(
            brief,
            standing,
            tiling,
            prediction.contacts,
            prediction.pieces,
            prediction.ground,
            prediction.strikes,
            seed,
        )
        done = list(team.call(partial(run_trials, setup), batches, progress=progress))
        search = partial(team.call, progress=progress, what="looking for the errors allowed")
        return sum_up(setup, done, limits=limits, call=search)
