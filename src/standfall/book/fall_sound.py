"""Whether a predicted fall holds together, so that it reads back exactly as it was written."""

from __future__ import annotations

import math

import numpy as np

from standfall.book.column_check import check_range, check_types
from standfall.book.columns import FALL_COLUMNS
from standfall.book.sound import check_finding
from standfall.book.stored_fall import StoredFall
from standfall.fall.falling import BY_STARTER, FALLEN, NO_STRIKER, STATES, UNTOUCHED, Fall
from standfall.fall.trial import Trials

# What a starter's figure may lack.
_GAPS = ("least_omega_rad_s", "needed_speed_m_s", "needed_ramp_height_m", "needed_release_rad")


def check_fall(stored: StoredFall, dominoes: int, tiles: int) -> None:
    """Check everything the build file relies on.

    Args:
        stored: the fall.
        dominoes: in the plan it belongs to.
        tiles: likewise.

    Raises:
        ValueError: a mistake in the program that predicted it (or, on reading, a damaged file).
    """
    _check_columns(stored.fall, dominoes, stored.starter_numbers)
    ground = stored.ground
    for name in ("domino_friction", "floor_friction", "slope_rad", "downhill_rad"):
        _check_number("ground", name, getattr(ground, name))
    if len(stored.starters) != len(stored.starter_numbers):
        raise ValueError("starters and the strikes of starters are not the same")
    for figure in stored.starters:
        for name, value in vars(figure).items():
            if name.endswith(("_m", "_s", "_rad")):
                _check_number(f"starter {figure.name!r}", name, value, gap=name in _GAPS)
    for finding in stored.findings:
        check_finding(finding)
    if stored.trials is not None:
        _check_trials(stored.trials, dominoes, tiles)


def _check_columns(fall: Fall, dominoes: int, starters: tuple[int, ...]) -> None:
    check_types("fall", fall, FALL_COLUMNS, dominoes, gaps=True)
    check_range("fall", fall, ("striker",), NO_STRIKER, dominoes)
    check_range("fall", fall, ("state",), 0, len(STATES))
    if not np.isin(fall.starter, (-1, *starters)).all():
        raise ValueError("fall.starter holds a number that nothing carries")
    never = np.isnan(fall.struck_s)
    if (never != (fall.striker == NO_STRIKER)).any() or (never & (fall.starter >= 0)).any():
        raise ValueError("a domino of fall has a striker and was never struck, or the other way round")
    if (never != (fall.state == UNTOUCHED)).any():
        raise ValueError("a domino of fall is untouched and was struck, or neither")
    if ((fall.striker == BY_STARTER) & (fall.starter < 0)).any():
        raise ValueError("a domino of fall was struck by a starter without a number")
    fallen = fall.state == FALLEN
    if fallen.any() and np.isnan(fall.down_s[fallen]).all():
        raise ValueError("dominoes of fall have fallen and none comes to rest")


def _check_trials(trials: Trials, dominoes: int, tiles: int) -> None:
    if not (trials.trials >= 1 and 0 <= trials.seed < 2**63):
        raise ValueError("trials.trials or trials.seed is out of range")
    check_types("trials", trials, {"standing": np.int32}, trials.trials)
    check_types("trials", trials, {"stood": np.int32}, dominoes)
    check_range("trials", trials, ("standing",), 0, dominoes + 1)
    check_range("trials", trials, ("stood",), 0, trials.trials + 1)
    for name in ("chance_all_fall", "mean_standing", "chance_no_touch"):
        interval = getattr(trials, name)
        for end in ("value", "low", "high"):
            _check_number(f"trials.{name}", end, getattr(interval, end))
        if not 0 <= interval.value <= (dominoes if name == "mean_standing" else 1):
            raise ValueError(f"trials.{name} is out of range")
    for name in ("largest_seam_error_m", "largest_touch_error_m"):
        _check_number("trials", name, getattr(trials, name), gap=True)
    for seam in trials.seams:
        if not (0 <= seam.tile <= tiles and 0 <= seam.next_tile <= tiles and 0 <= seam.chance <= 1):
            raise ValueError("a seam of trials holds a number that nothing carries")
        for name in ("x_m", "y_m"):
            _check_number("a seam of trials", name, getattr(seam, name))


def _check_number(holder: str, name: str, value: float, *, gap: bool = False) -> None:
    if not (math.isfinite(value) or (gap and math.isnan(value))):
        raise ValueError(f"{holder}: {name} is not a finite number")
