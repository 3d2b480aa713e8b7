"""Chances and means from trials, with honest 95 % intervals."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.stats import beta, t

from standfall.fall.trial import Interval

LEVEL = 0.95
# From this many trials that left something standing on, their mean is near enough to normal.
_MANY = 30


def clopper_pearson(hits: int, trials: int) -> tuple[float, float]:
    """Return the exact 95 % interval of a chance from ``hits`` in ``trials``.

    C.J. Clopper, E.S. Pearson, "The use of confidence or fiducial limits illustrated in the case of the
    binomial", Biometrika 26 (1934) 404-413; ends from quantiles of the beta distribution.
    """
    if not 0 <= hits <= trials or trials < 1:
        raise ValueError("a chance needs at least one trial, and hits among them")
    tail = 0.5 * (1.0 - LEVEL)
    low = 0.0 if hits == 0 else float(beta.ppf(tail, hits, trials - hits + 1))
    high = 1.0 if hits == trials else float(beta.isf(tail, hits + 1, trials - hits))
    return low, high


def chance_of(hits: int, trials: int) -> Interval:
    """Return a chance with its exact interval."""
    low, high = clopper_pearson(hits, trials)
    return Interval(hits / trials, low, high, "Clopper-Pearson 95 %")


def mean_of(standing: NDArray[np.int32], most: int) -> Interval:
    """Return the mean number left standing.

    With 30 trials or more that left something standing: Student's t. With fewer, from the exact interval of the
    chance that something stands, times how many then stand: the largest number seen, and at least 1, for the
    high end, the smallest for the low end. The high end says nothing of worse than was seen; that is rare by
    the same interval.

    Args:
        standing: (trials,) left standing in each.
        most: pieces there are.
    """
    trials = len(standing)
    value = float(standing.mean())
    some = standing[standing > 0]
    if len(some) >= _MANY:
        half = float(t.isf(0.5 * (1.0 - LEVEL), trials - 1)) * float(standing.std(ddof=1)) / math.sqrt(trials)
        return Interval(value, max(value - half, 0.0), min(value + half, float(most)), "Student t 95 %")
    low, high = clopper_pearson(len(some), trials)
    least, largest = (float(some.min()), float(some.max())) if len(some) else (0.0, 1.0)
    text = "Clopper-Pearson 95 % times the largest number seen standing"
    return Interval(value, low * least, min(high * largest, float(most)), text)
