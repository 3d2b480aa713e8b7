"""Times and speeds of driving against textbook formulas, numerical integration and an optimum by scipy."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import linprog

from standfall.geometry.motion import make_profile, peak_speed_m_s, travel_time_s

SECTIONS = st.lists(st.tuples(st.floats(0.001, 8.0), st.floats(0.02, 2.0)), min_size=1, max_size=12)


def test_trapezoid_and_triangle_by_hand():
    # Even acceleration: 10 m at 1.5 m/s and 0.5 m/s^2 take d/v + v/a = 6.667 + 3 s.
    assert travel_time_s(10.0, 1.5, 0.5) == pytest.approx(9.666666667, abs=1e-9)
    # 2 m are too short to reach 1.5 m/s (that needs v^2/a = 4.5 m): 2 sqrt(d/a) = 2 sqrt(4) s.
    assert travel_time_s(2.0, 1.5, 0.5) == pytest.approx(4.0, abs=1e-12)
    # Both formulas meet at v^2/a.
    assert travel_time_s(4.5, 1.5, 0.5) == pytest.approx(2 * math.sqrt(4.5 / 0.5), abs=1e-12)
    # A turn of 90 degrees at 1 rad/s and 2 rad/s^2: (pi/2)/1 + 1/2.
    assert travel_time_s(math.pi / 2, 1.0, 2.0) == pytest.approx(math.pi / 2 + 0.5, abs=1e-12)
    assert travel_time_s(0.0, 1.0, 1.0) == 0.0


def test_unequal_ramps_by_hand():
    # v^2/(2*2) + v^2/(2*4) = 100: v = sqrt(800/3) = 16.3299; time v/2 + v/4 = 12.2474.
    assert peak_speed_m_s(100.0, 1e9, 2.0, 4.0) == pytest.approx(16.329931619, abs=1e-9)
    assert travel_time_s(100.0, 1e9, 2.0, 4.0) == pytest.approx(12.247448714, abs=1e-9)
    # With 10 m/s: 10/2 + 10/4 s of ramps over 25 + 12.5 m, and 62.5 m at 10 m/s.
    assert travel_time_s(100.0, 10.0, 2.0, 4.0) == pytest.approx(7.5 + 6.25, abs=1e-12)


def test_one_section_is_the_textbook_case():
    profile = make_profile([100.0], [1e3], 2.0, 4.0)
    assert profile.duration_s == pytest.approx(12.247448714, abs=1e-9)
    assert profile.speed_m_s.max() == pytest.approx(16.329931619, abs=1e-9)
    assert make_profile([10.0], [1.5], 0.5).duration_s == pytest.approx(9.666666667, abs=1e-9)


def test_slow_stretch_in_the_middle_by_hand():
    # 1 m/s^2, 4 m at 2 m/s, 1 m at 0.5 m/s, 4 m at 2 m/s. The brakes are on for (v^2 - 0.25)/2 m. A peak of 2 m/s
    # needs 2 + 1.875 m, which fits: 2 s up, 0.125 m at 2 m/s, 1.5 s down, 2 s slow, and the same backwards.
    profile = make_profile([4.0, 1.0, 4.0], [2.0, 0.5, 2.0], 1.0)
    assert profile.duration_s == pytest.approx(2 * (2.0 + 0.0625 + 1.5) + 2.0, abs=1e-12)


@settings(deadline=None, max_examples=40)
@given(SECTIONS, st.floats(0.1, 3.0), st.floats(0.1, 3.0))
def test_speed_integrates_to_distance_and_keeps_to_its_limits(sections, acceleration, braking):
    lengths, limits = map(np.array, zip(*sections, strict=True))
    profile = make_profile(lengths, limits, acceleration, braking)
    assert profile.place_m[-1] == pytest.approx(lengths.sum(), rel=1e-12)
    assert np.all(np.diff(profile.time_s) > 0)
    # Numerical integration by scipy, knot by knot, against the closed form.
    gone = 0.0
    for begin, end, place in zip(profile.time_s[:-1], profile.time_s[1:], profile.place_m[1:], strict=True):
        gone += quad(lambda t: float(profile.speed_at(t)), begin, end)[0]
        assert gone == pytest.approx(place, abs=1e-7)
    time = np.linspace(0.0, profile.duration_s, 400)
    place, speed = profile.place_at(time), profile.speed_at(time)
    rate = np.diff(profile.speed_m_s) / np.diff(profile.time_s)
    assert rate.max() <= acceleration * (1 + 1e-6)
    assert rate.min() >= -braking * (1 + 1e-6)
    ends = np.cumsum(lengths)
    inside = np.searchsorted(ends, place - 1e-9, side="left").clip(0, len(ends) - 1)
    after = np.searchsorted(ends, place + 1e-9, side="left").clip(0, len(ends) - 1)
    assert np.all(speed <= np.maximum(limits[inside], limits[after]) + 1e-9)


@settings(deadline=None, max_examples=12)
@given(SECTIONS, st.floats(0.2, 2.0), st.floats(0.2, 2.0))
def test_no_other_speed_is_faster_anywhere(sections, acceleration, braking):
    """In the squares of the speeds the limits are linear; scipy's linear programme finds the greatest at once."""
    lengths, limits = map(np.array, zip(*sections, strict=True))
    profile = make_profile(lengths, limits, acceleration, braking)
    n = len(lengths)
    if n < 2:
        return
    top = np.concatenate([[0.0], np.minimum(limits[:-1], limits[1:]) ** 2, [0.0]])
    step = np.eye(n + 1)[1:] - np.eye(n + 1)[:-1]
    found = linprog(
        -np.ones(n + 1),
        A_ub=np.concatenate([step, -step]),
        b_ub=np.concatenate([2 * acceleration * lengths, 2 * braking * lengths]),
        bounds=list(zip(np.zeros(n + 1), top, strict=True)),
    )
    at_ends = np.interp(np.cumsum(lengths)[:-1], profile.place_m, np.arange(len(profile.place_m)))
    ours = profile.speed_m_s[np.round(at_ends).astype(int)]
    assert ours == pytest.approx(np.sqrt(found.x[1:-1]), abs=1e-4)


@pytest.mark.parametrize(
    "wrong", [(-1.0, 1.0, 1.0, None), (1.0, 0.0, 1.0, None), (1.0, 1.0, -1.0, None), (1.0, 1.0, 1.0, 0.0)]
)
def test_misuse_is_refused(wrong):
    with pytest.raises(ValueError):
        travel_time_s(*wrong)


def test_sections_and_limits_belong_together():
    with pytest.raises(ValueError, match="one limit for each section"):
        make_profile([1.0, 2.0], [1.0], 1.0)
