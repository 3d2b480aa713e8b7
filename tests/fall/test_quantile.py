"""The low quantile of errors of failure: against sorting all of them, and scipy's binomial distribution."""

import math

import numpy as np
import pytest
import scipy.stats

from standfall.fall.quantile import FINE, lowest_failures, ranks


class Draws:
    """Draws that fail from known errors on; counts how often one is asked."""

    def __init__(self, critical):
        self.critical = critical
        self.asked = 0

    def fails(self, draw, error):
        self.asked += len(draw)
        return error >= self.critical[draw]


def _search(critical, given=0.001, share=0.01, known=None, largest=0.024):
    draws = Draws(critical)
    known = known or {}
    return lowest_failures(draws.fails, len(critical), share, given, largest, known), draws.asked


def test_ranks_hold_the_quantile_as_often_as_they_say():
    """P(1 <= B <= 8) for B binomial (400, 1 %), from scipy."""
    assert ranks(400, 0.01) == (4, 1, 9)
    assert scipy.stats.binom(400, 0.01).cdf(8) - scipy.stats.binom(400, 0.01).cdf(0) > 0.95
    for draws in (50, 100, 400, 1000, 3000):
        rank, low, high = ranks(draws, 0.01)
        binomial = scipy.stats.binom(draws, 0.01)
        assert low <= rank <= high
        assert binomial.cdf(low - 1) <= 0.025
        assert binomial.sf(high - 1) <= 0.025


@pytest.mark.parametrize("given", [1e-5, 3e-4, 0.001, 0.004, 0.02])
@pytest.mark.parametrize("draws", [60, 400])
def test_the_lowest_are_found_as_by_sorting_all(given, draws):
    critical = np.random.default_rng(draws).lognormal(math.log(0.002), 0.4, draws)
    found, asked = _search(critical, given)
    rank, low, high = ranks(draws, 0.01)
    order = np.sort(critical)
    assert found.value == pytest.approx(order[rank - 1], rel=FINE)
    assert found.value <= order[rank - 1]
    assert found.low == pytest.approx(order[low - 1] if low else 0.0, rel=FINE)
    assert found.high == pytest.approx(order[high - 1], rel=FINE) or found.high == math.inf
    assert found.failing.value == (critical <= found.value).sum() / draws
    if draws == 400:
        assert asked < 6 * draws  # sorting all takes some 8 for each


def test_what_is_known_is_not_asked_again():
    critical = np.random.default_rng(1).lognormal(math.log(0.002), 0.4, 400)
    known = {draw: bool(critical[draw] <= 0.001) for draw in range(400)}
    found, asked = _search(critical, 0.001, known=known)
    plain, more = _search(critical, 0.001)
    assert found.value == pytest.approx(plain.value, rel=FINE)
    assert found.low == pytest.approx(plain.low, rel=FINE)
    assert asked < more


def test_interval_holds_the_quantile_as_often_as_it_says():
    """1 % quantile of a lognormal from scipy; 100 searches of 95 %: fewer than 88 has a chance of 0.2 %."""
    truth = scipy.stats.lognorm(0.3, scale=0.002).ppf(0.01)
    holds = 0
    for seed in range(100):
        found, _ = _search(np.random.default_rng(seed).lognormal(math.log(0.002), 0.3, 400))
        holds += found.low <= truth <= found.high
    assert holds >= 88


def test_draws_that_fail_without_any_error_leave_none():
    critical = np.full(100, 0.01)
    critical[[3, 50]] = 0.0
    assert _search(critical)[0].value == 0.0


def test_where_too_few_ever_fail_the_largest_error_is_returned():
    found, _ = _search(np.full(100, 1.0))
    assert (found.value, found.high) == (0.024, math.inf)
