"""The kernels of traffic against shapely and against trying everything."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from traffic_hall import (
    square,
)

from standfall.routes import _traffic_kernels as kernels
from standfall.routes.reservation import TICK_S

# Kernels against shapely


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 100_000))
def test_kernels_agree_with_shapely(seed):
    rng = np.random.default_rng(seed)
    hulls = []
    for _ in range(2):
        corners = rng.normal(size=(7, 2)) + rng.uniform(-2, 2, 2)
        hulls.append(shapely.get_coordinates(shapely.MultiPoint(corners).convex_hull.exterior)[-2::-1])
    one, two = (shapely.Polygon(hull) for hull in hulls)
    assert one.exterior.is_ccw
    (ax, ay), (bx, by) = (np.ascontiguousarray(hull.T) for hull in hulls)
    p, q = rng.uniform(-3, 3, (2, 2))
    line = shapely.LineString([p, q])
    assert kernels.crosses(*p, *q, ax, ay) == one.intersects(line)
    assert kernels.distance_to(*p, ax, ay) == pytest.approx(one.distance(shapely.Point(p)), abs=1e-12)
    gap = kernels.gap(ax, ay, bx, by)
    assert gap <= one.distance(two) + 1e-9
    assert (gap < 0) == one.intersects(two)


def test_touching_is_not_entering():
    box = square(1.0)
    x, y = np.ascontiguousarray(box.T)
    assert not kernels.crosses(-2.0, 1.0, 2.0, 1.0, x, y)
    assert not kernels.crosses(-2.0, 0.0, 0.0, 2.0, x, y)
    assert kernels.crosses(-2.0, 0.99, 2.0, 0.99, x, y)
    assert kernels.crosses(0.0, 0.0, 0.0, 0.0, x, y)
    assert not kernels.crosses(1.0, 0.0, 1.0, 0.0, x, y)


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 100_000))
def test_samples_hold_the_way(seed):
    """At every moment the way is within the bend of a straight motion between ticks, and once it is that far off."""
    rng = np.random.default_rng(seed)
    t = np.concatenate([[0.0], np.cumsum(rng.exponential(0.3, 20))])
    x, y = rng.normal(size=(2, 21)).cumsum(axis=1)
    sx, sy, bend = kernels.sample_way(t, x, y, TICK_S)
    ticks = np.arange(len(sx)) * TICK_S
    assert ticks[-1] >= t[-1] > ticks[-1] - TICK_S
    times = np.sort(np.concatenate([np.linspace(0.0, ticks[-1], 3000), t]))
    k = np.minimum((times / TICK_S).astype(int), len(sx) - 2)
    off = np.hypot(
        np.interp(times, t, x) - np.interp(times, ticks, sx),
        np.interp(times, t, y) - np.interp(times, ticks, sy),
    )
    assert np.all(off <= bend[k] + 1e-9)
    assert bend.max() == pytest.approx(off.max(), abs=1e-9)
    assert sx == pytest.approx(np.interp(ticks, t, x), abs=1e-12)


def test_first_free_departure_against_trying_all():
    """Every departure tried, with distances by shapely between zero and the relative motion."""
    rng = np.random.default_rng(3)
    waited = 0
    for _ in range(60):
        a, b = rng.integers(3, 25, 2)
        ax, ay, bx, by = (rng.uniform(0, 6, n) for n in (a, a, b, b))
        bend_a, bend_b = rng.uniform(0, 0.1, a), rng.uniform(0, 0.1, b)
        start, other = (int(value) for value in rng.integers(0, 12, 2))
        found = kernels.first_free(start, ax, ay, bend_a, other, bx, by, bend_b, 0.3)

        def clear(at, ax=ax, ay=ay, bx=bx, by=by, bend_a=bend_a, bend_b=bend_b, other=other):
            for i in range(len(ax) - 1):
                j = at + i - other
                if 0 <= j < len(bx) - 1:
                    motion = shapely.LineString(
                        [(ax[i] - bx[j], ay[i] - by[j]), (ax[i + 1] - bx[j + 1], ay[i + 1] - by[j + 1])]
                    )
                    if motion.distance(shapely.Point(0, 0)) < 0.3 + bend_a[i] + bend_b[j]:
                        return False
            return True

        assert clear(found)
        assert not any(clear(at) for at in range(start, found))
        waited += found > start
    assert waited > 10
