"""A low quantile of the error at which a drawn laying first fails, from few falls.

Each draw fails from some error on: what falls whole mostly does so with any smaller error in the same
directions too. Where it does not, draws that fail below are missed; so all are counted at the error found, and
it is lowered until no more than the share asked for fail there. The draws' errors of failure in order are an
order statistic, and the interval of their quantile needs no distribution: the quantile lies below the k-th of n
with the chance that a binomial number is below k (W.R. Thompson, "On confidence ranges for the median and other
expectation distributions for populations of unknown distribution form", Annals of Mathematical Statistics 7
(1936) 122-128). Only the lowest few matter, so a draw that comes right at an error beyond those is never looked
at again.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import binom

from standfall.fall.chance import LEVEL, chance_of
from standfall.fall.trial import Interval

Reals = NDArray[np.float64]
Ids = NDArray[np.intp]
# Tells which draws (k,) fail, each at its own error (k,).
Fails = Callable[[Ids, Reals], NDArray[np.bool_]]

# An error of failure is known within this share.
FINE = 0.02
_FIRST = 24
_GROWTH = 1.25
_AGAIN = 1.1
_LESS = 0.96
_MORE = 2
_LEAST = 1e-6
_START = 2e-4


@dataclass(frozen=True)
class LowQuantile:
    """The error below which a given share of draws fails.

    Attributes:
        value: largest error known to be below it; 0 when so many fail without any.
        low, high: 95 % interval if all draws fail from some error on,
            within ``FINE``; high is infinite where too few failed to tell.
        failing: share of draws that fail at ``value``.
    """

    value: float
    low: float
    high: float
    failing: Interval


def ranks(draws: int, share: float) -> tuple[int, int, int]:
    """Return which draw in order is the quantile, and which are the ends of its interval (0: no lower end)."""
    tail = 0.5 * (1.0 - LEVEL)
    low, high = (int(binom.ppf(at, draws, share)) for at in (tail, 1.0 - tail))
    return max(int(share * draws + 1e-9), 1), low, high + 1


class _Search:
    """Brackets of the error of failure of each draw."""

    def __init__(self, fails: Fails, draws: int) -> None:
        self._fails = fails
        self.right = np.full(draws, -1.0)  # largest error known to come right
        self.wrong = np.full(draws, math.inf)  # smallest known to fail

    def test(self, draw: Ids, error: Reals) -> None:
        if not len(draw):
            return
        failed = self._fails(draw, error)
        self.wrong[draw[failed]] = error[failed]
        self.right[draw[~failed]] = error[~failed]

    def test_at(self, draw: Ids, error: float) -> None:
        draw = draw[(self.right[draw] < error) & (self.wrong[draw] > error)]
        self.test(draw, np.full(len(draw), error))

    def settle(self, draws: int, keep: int) -> float:
        """Halve brackets until the ``keep`` lowest of the first draws are known; return the last of them."""
        while True:
            wrong, right = self.wrong[:draws], self.right[:draws]
            last = float(np.partition(wrong, keep - 1)[keep - 1]) if keep <= draws else math.inf
            wide = np.isfinite(wrong) & (wrong > _LEAST) & (wrong - right > FINE * wrong) & (right < last)
            draw = np.flatnonzero(wide)
            if not len(draw):
                return last
            middle = np.where(
                right[draw] > 0.0,
                np.sqrt(np.abs(right[draw]) * wrong[draw]),
                np.where(right[draw] < 0.0, 0.0, 0.5 * wrong[draw]),
            )
            self.test(draw, middle)


def lowest_failures(
    fails: Fails, draws: int, share: float, given: float, largest: float, known: Mapping[int, bool]
) -> LowQuantile:
    """Search the error at which a share of the draws fails.

    Args:
        fails: tells which draws fail at which errors.
        draws: how many, numbered from 0.
        share: of the draws.
        given: an error to begin with.
        largest: no error beyond is looked at.
        known: draws whose outcome at ``given`` is known: whether they fail.
    """
    search = _Search(fails, draws)
    for draw, failed in known.items():
        if draw < draws:
            (search.wrong if failed else search.right)[draw] = given
    rank, low, most = ranks(draws, share)
    most = min(max(most, rank), draws)
    sought = min(rank + _MORE, most)  # the end of the interval would take falls of larger errors
    at = min(max(given, _START), largest)
    done = min(_FIRST, draws)
    search.test_at(np.arange(done), at)
    while np.isfinite(search.wrong[:done]).sum() < min(2, done) and at < largest:
        at = min(at * _GROWTH, largest)
        search.test_at(np.arange(done), at)
    while True:
        # As many as are in the end to be expected of so many draws.
        at = min(at, search.settle(done, min(max(math.ceil(sought * done / draws), 2), sought)))
        if done == draws:
            break
        before, done = done, min(2 * done, draws)
        search.test_at(np.arange(before, done), at)
    # The end of the interval may be left open, but not the quantile itself.
    while (search.wrong <= at).sum() < rank and at < largest:
        at = min(max(at, _LEAST) * _AGAIN, largest)
        search.test_at(np.arange(draws), at)
    search.settle(draws, max(min(int((search.wrong <= at).sum()), most), rank))
    order = np.argsort(search.wrong, kind="stable")
    wrong, right = search.wrong[order], np.maximum(search.right[order], 0.0)
    value = float(right[rank - 1]) if wrong[rank - 1] > _LEAST else 0.0
    # Not all is so orderly: some draws fail at an error, and not at a somewhat larger one. So all are counted.
    failing = int((search.wrong <= value).sum())
    while value > _LEAST:
        failing = int(fails(np.arange(draws), np.full(draws, value)).sum())
        if failing <= rank:
            break
        value *= _LESS
    return LowQuantile(
        value=value,
        low=float(right[low - 1]) if low else 0.0,
        # Beyond ``at`` not all draws were tried.
        high=float(wrong[most - 1]) if wrong[most - 1] <= at else math.inf,
        failing=chance_of(failing, draws),
    )
