"""The compiled loops of the contact search against slow, readable twins."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from standfall.fall import _contact_kernels as kernels
from standfall.fall.contact import lay_out, new_bench
from standfall.fall.pieces import Pieces

Poses = tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]


def scattered(seed: int) -> tuple[Poses, Pieces]:
    """60 pieces of all sizes within 0.2 m, facing anywhere, on one of two storeys."""
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(0, 0.2, (2, 60))
    z = rng.choice([0.0, 0.048], 60, p=[0.8, 0.2])
    scale = rng.uniform(0.4, 1.6, (3, 60))
    pieces = Pieces(0.048 * scale[0], 0.024 * scale[1], 0.0075 * scale[2], np.full(60, 0.0085))
    return (x, y, z, rng.uniform(-7, 7, 60)), pieces


def cut(
    corners: list[tuple[float, float]], axis: int, sign: float, limit: float
) -> list[tuple[float, float]]:
    """Keep of a convex polygon what has sign * coordinate <= limit: one step of Sutherland and Hodgman 1974."""
    kept: list[tuple[float, float]] = []
    for k, here in enumerate(corners):
        before = corners[k - 1]
        a, b = limit - sign * before[axis], limit - sign * here[axis]
        if (a < 0) != (b < 0):
            t = a / (a - b)
            kept.append((before[0] + t * (here[0] - before[0]), before[1] + t * (here[1] - before[1])))
        if b >= 0:
            kept.append(here)
    return kept


@settings(max_examples=300, deadline=None, derandomize=True)
@given(
    st.floats(-4, 4), st.floats(-3, 3), st.floats(-4, 4) | st.sampled_from([0.0, math.pi / 2, math.pi / 4]),
    st.floats(0.1, 2), st.floats(0.1, 3), st.floats(-1, 0), st.floats(0.1, 3), st.floats(0.1, 2),
)  # fmt: skip
def test_clip_is_the_polygon_cut_four_times(
    u: float, v: float, turn: float, a: float, b: float, near: float, far: float, half: float
) -> None:
    p, q = math.cos(turn), math.sin(turn)
    corners = [
        (u + i * a * p - j * b * q, v + i * a * q + j * b * p)
        for i, j in ((1, 1), (-1, 1), (-1, -1), (1, -1))
    ]
    for axis, sign, limit in ((0, -1.0, -near), (0, 1.0, far), (1, -1.0, half), (1, 1.0, half)):
        corners = cut(corners, axis, sign, limit)
    got = kernels._clip(u, v, p, q, a, b, near, far, half)
    if not corners:
        # Nothing in common, or no more than a rounded touch.
        assert got[0] > got[1] or got[1] - got[0] < 1e-9 or got[3] - got[2] < 1e-9
        return
    us, vs = zip(*corners, strict=True)
    wanted = (min(us), max(us), min(vs), max(vs))
    if wanted[1] - wanted[0] > 1e-9 and wanted[3] - wanted[2] > 1e-9:
        assert got == pytest.approx(wanted, abs=1e-9)


@settings(max_examples=80, deadline=None, derandomize=True)
@given(st.lists(st.tuples(st.integers(0, 40), st.integers(1, 9)), min_size=1, max_size=30))
def test_hidden_parts_are_the_union(stretches: list[tuple[int, int]]) -> None:
    bench, parts, hidden = new_bench(30), 0, set()
    for low, length in stretches:
        parts = kernels._hide(bench, parts, float(low), float(low + length))
        hidden |= set(range(low, low + length))
    told = [
        (int(low), int(high))
        for low, high in zip(bench.cover_low[:parts], bench.cover_high[:parts], strict=True)
    ]
    assert [unit for low, high in told for unit in range(low, high)] == sorted(hidden)
    # Apart from each other and rising.
    assert all(one[1] < two[0] for one, two in pairwise(told))


@settings(max_examples=80, deadline=None, derandomize=True)
@given(st.integers(0, 10**9), st.integers(1, 200), st.floats(0.01, 2))
def test_cells_hold_every_piece_once_and_where_it_lies(seed: int, count: int, cell: float) -> None:
    x, y = np.random.default_rng(seed).uniform(-1, 1, (2, count))
    columns = rows = int(2 / cell) + 1
    start, item = kernels.sort_into_cells(x, y, -1.0, -1.0, cell, columns, rows)
    place = np.floor((y + 1) / cell) * columns + np.floor((x + 1) / cell)
    assert item.tolist() == np.argsort(place, kind="stable").tolist()
    assert start.tolist() == np.searchsorted(np.sort(place), np.arange(columns * rows + 1)).tolist()


def seen_slowly(
    poses: Poses, pieces: Pieces, me: int, way: float, reach_m: float
) -> list[tuple[int, float, float]]:
    """What ``look_ahead`` does, piece by piece: cut to the band, sort, take off what nearer ones fill."""
    x, y, z, yaw = poses
    lead, half = pieces.thickness_m[me] / 2, pieces.width_m[me] / 2
    met = []
    for j in range(len(x)):
        if j == me or abs(z[j] - z[me]) >= 1e-3:
            continue
        corners = []
        for i, k in ((1, 1), (-1, 1), (-1, -1), (1, -1)):
            a, b = i * pieces.thickness_m[j] / 2, k * pieces.width_m[j] / 2
            dx = x[j] + a * math.cos(yaw[j]) - b * math.sin(yaw[j]) - x[me]
            dy = y[j] + a * math.sin(yaw[j]) + b * math.cos(yaw[j]) - y[me]
            corners.append(
                (dx * math.cos(way) + dy * math.sin(way) - lead, dy * math.cos(way) - dx * math.sin(way))
            )
        for axis, sign, limit in ((0, -1.0, 2 * lead), (0, 1.0, reach_m), (1, -1.0, half), (1, 1.0, half)):
            corners = cut(corners, axis, sign, limit)
        us, vs = [corner[0] for corner in corners], [corner[1] for corner in corners]
        if corners and max(us) > 1e-9 and min(us) < reach_m - 1e-9 and max(vs) - min(vs) > 1e-9:
            node = j if math.cos(yaw[j] - way) >= 0 else j + len(x)
            met.append((min(us), node, min(vs), max(vs)))
    found = []
    for gap, node, low, high in sorted(met):
        # Between two neighbouring ends of stretches the band is hidden or not as its middle is.
        nearer = [(a, b) for near, _, a, b in met if near < gap - 1e-6]
        ends = sorted({low, high, *(e for ab in nearer for e in ab if low < e < high)})
        seen = sum(
            two - one for one, two in pairwise(ends) if not any(a <= (one + two) / 2 <= b for a, b in nearer)
        )
        share = min(seen / min(pieces.width_m[me], pieces.width_m[node % len(x)]), 1.0)
        if share >= 0.02:
            found.append((node, gap, share))
    return found


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.integers(0, 10**9), st.floats(-4, 4), st.floats(0.01, 0.2))
def test_look_ahead_as_its_slow_twin(seed: int, way: float, reach_m: float) -> None:
    poses, pieces = scattered(seed)
    bench = new_bench(60)
    end = kernels.look_ahead(lay_out(*poses, pieces), 7, math.cos(way), math.sin(way), reach_m, bench, 0)
    wanted = seen_slowly(poses, pieces, 7, way, reach_m)
    assert bench.target[:end].tolist() == [node for node, _, _ in wanted]
    assert bench.gap[:end] == pytest.approx([gap for _, gap, _ in wanted], abs=1e-9)
    assert bench.share[:end] == pytest.approx([share for _, _, share in wanted], abs=1e-9)
