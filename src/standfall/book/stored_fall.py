"""The predicted fall as the build file keeps it: what of a prediction is stored, and its rows in the tables."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from dataclasses import astuple, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from standfall.fall.falling import Fall
from standfall.fall.ground import Ground
from standfall.fall.starter import StarterFigure
from standfall.fall.trial import Interval, Seam, Trials
from standfall.findings import Finding

if TYPE_CHECKING:
    from standfall.fall.prediction import Prediction

Row = tuple[Any, ...]

# Intervals of a ``fall_trial`` row, each in four columns: value, low, high, method.
_INTERVALS = ("chance_all_fall", "mean_standing", "chance_no_touch")


@dataclass(frozen=True)
class StoredFall:
    """The predicted fall of the newest plan in a build file.

    Attributes:
        fall: what becomes of each of its dominoes, in the order of their ids.
        ground: friction and slope it was predicted for.
        starters: figures of the starters that touch something.
        starter_numbers: their places in the brief; what ``fall.starter`` holds.
        findings: worst first.
        trials: outcome of falls with drawn errors, ``None`` when there were none.
        summary: the prediction's figures, as ``standfall fall --json`` prints them.
    """

    fall: Fall
    ground: Ground
    starters: tuple[StarterFigure, ...]
    starter_numbers: tuple[int, ...]
    findings: tuple[Finding, ...]
    trials: Trials | None
    summary: dict[str, Any]


def stored_fall(prediction: Prediction) -> StoredFall:
    """Return what is kept of a prediction.

    Raises:
        ValueError: its summary is no JSON.
    """
    try:
        summary = json.loads(summary_text(prediction.summary()))
    except (TypeError, ValueError) as error:
        raise ValueError(f"prediction.summary() is no JSON: {error}") from error
    return StoredFall(
        fall=prediction.fall,
        ground=prediction.ground,
        starters=tuple(prediction.starters),
        # Figures come in the brief's order, one for each starter that strikes something.
        starter_numbers=tuple(np.unique(prediction.strikes.starter).tolist()),
        findings=tuple(prediction.findings),
        trials=prediction.trials,
        summary=summary,
    )


def summary_text(summary: dict[str, Any]) -> str:
    """Return the text of ``fall.summary``."""
    return json.dumps(summary, ensure_ascii=False, allow_nan=False)


def ground_row(ground: Ground) -> Row:
    """Return the four columns of ``fall`` that describe the ground."""
    return _cells((ground.domino_friction, ground.floor_friction, ground.slope_rad, ground.downhill_rad))


def starter_rows(fall: StoredFall) -> list[Row]:
    """Return the rows of ``fall_starter``."""
    pairs = zip(fall.starter_numbers, fall.starters, strict=True)
    return [(number, *_cells(astuple(figure))) for number, figure in pairs]


def starter_of(row: Row) -> StarterFigure:
    """Return the figure in a row of ``fall_starter``."""
    return StarterFigure(*_numbers(row[1:]))


def trial_row(trials: Trials) -> Row:
    """Return the row of ``fall_trial``."""
    intervals = [cell for name in _INTERVALS for cell in astuple(getattr(trials, name))]
    largest = (trials.largest_seam_error_m, trials.largest_touch_error_m)
    return (0, *_cells((trials.trials, trials.seed, *intervals, *largest)))


def seam_rows(trials: Trials) -> list[Row]:
    """Return the rows of ``fall_seam``."""
    return [
        (place, seam.tile or None, seam.next_tile or None, *_cells(astuple(seam)[2:]))
        for place, seam in enumerate(trials.seams)
    ]


def trials_of(row: Row, outcomes: Iterable[int], stood: Iterable[int], seams: Iterable[Row]) -> Trials:
    """Return the trials of a row of ``fall_trial``, two columns of numbers, and rows of ``fall_seam``."""
    _, trials, seed, *cells = row
    intervals = {name: Interval(*cells[4 * place : 4 * place + 4]) for place, name in enumerate(_INTERVALS)}
    seam_error_m, touch_error_m = _numbers(cells[4 * len(_INTERVALS) :])
    return Trials(
        trials=trials,
        seed=seed,
        standing=np.array(list(outcomes), dtype=np.int32),
        stood=np.asarray(stood, dtype=np.int32),
        **intervals,
        largest_seam_error_m=seam_error_m,
        largest_touch_error_m=touch_error_m,
        seams=tuple(Seam(tile or 0, next_tile or 0, *rest) for _, tile, next_tile, *rest in seams),
    )


def _cells(values: Iterable[Any]) -> Row:
    """Return values as SQLite keeps them: NaN as NULL, and zero without a sign."""
    return tuple(
        (None if math.isnan(value) else value + 0.0) if isinstance(value, float) else value
        for value in values
    )


def _numbers(cells: Iterable[Any]) -> list[Any]:
    return [math.nan if cell is None else cell for cell in cells]
