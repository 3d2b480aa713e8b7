"""Overlapping pairs against every pair tried with shapely (general-purpose library)."""

from __future__ import annotations

from itertools import combinations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity, box

from standfall.geometry import overlapping_pairs
from standfall.geometry.overlap import TOUCH_M

WIDTH_M, THICKNESS_M = 0.024, 0.0075


def _tried_one_by_one(poses: np.ndarray, width_m: float, thickness_m: float) -> list[list[int]]:
    flat = box(-thickness_m / 2, -width_m / 2, thickness_m / 2, width_m / 2)
    shapes = [
        affinity.translate(affinity.rotate(flat, yaw, origin=(0, 0), use_radians=True), x, y)
        for x, y, yaw in poses
    ]
    # Two rectangles that bite each other by more than the moulding tolerance on each side.
    small = [shape.buffer(-TOUCH_M, join_style="mitre") for shape in shapes]
    return [[a, b] for a, b in combinations(range(len(poses)), 2) if small[a].intersects(small[b])]


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    st.lists(st.tuples(st.floats(0, 0.12), st.floats(0, 0.12), st.floats(-4, 4)), min_size=0, max_size=25),
    st.floats(0.01, 0.03),
    st.floats(0.005, 0.01),
)
def test_pairs_are_those_found_one_by_one(
    poses: list[tuple[float, float, float]], width_m: float, thickness_m: float
) -> None:
    columns = np.array(poses).reshape(-1, 3)
    pairs = overlapping_pairs(*columns.T, width_m, thickness_m)
    assert pairs.shape == (len(pairs), 2)
    assert pairs.tolist() == _tried_one_by_one(columns, width_m, thickness_m)


def test_touching_pieces_do_not_overlap_and_deeper_ones_do() -> None:
    pitches = [THICKNESS_M, THICKNESS_M - 0.5 * TOUCH_M, THICKNESS_M - 3 * TOUCH_M]
    for pitch_m, overlap in zip(pitches, (False, False, True), strict=True):
        x_m = np.array([0.0, pitch_m])
        pairs = overlapping_pairs(x_m, np.zeros(2), np.zeros(2), WIDTH_M, THICKNESS_M)
        assert (len(pairs) == 1) == overlap


def test_a_hundred_thousand_pieces_in_a_grid_overlap_only_where_one_was_moved() -> None:
    rows, cols = 400, 250
    y_m, x_m = (axis.ravel() for axis in np.mgrid[0:rows, 0:cols].astype(float))
    x_m, y_m = x_m * 0.022, y_m * 0.027
    x_m[12_345] += 0.022  # now stands in its neighbour of column + 1
    pairs = overlapping_pairs(x_m, y_m, np.zeros(rows * cols), WIDTH_M, THICKNESS_M)
    assert pairs.tolist() == [[12_345, 12_346]]


def test_one_piece_or_none_cannot_overlap() -> None:
    for count in (0, 1):
        column = np.zeros(count)
        assert overlapping_pairs(column, column, column, WIDTH_M, THICKNESS_M).shape == (0, 2)
