"""The field frame against shapely's affine maps (shapely 2, general-purpose library)."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Point, affinity

from standfall.geometry import FieldFrame

metres = st.floats(-500, 500)
directions = st.floats(-360, 360) | st.sampled_from(
    [-360.0, -270.0, -90.0, 0.0, 30.0, 45.0, 90.0, 180.0, 270.0, 360.0]
)


def _by_shapely(frame: FieldFrame, across_m: float, along_m: float) -> tuple[float, float]:
    # Across is a quarter turn clockwise from along, so (across, along) is a right-handed frame turned by
    # the fall direction less 90 degrees.
    turned = affinity.rotate(
        Point(across_m, along_m), frame.fall_direction_rad - math.pi / 2, origin=(0, 0), use_radians=True
    )
    moved = affinity.translate(turned, *frame.corner_m)
    return moved.x, moved.y


@settings(max_examples=200, deadline=None, derandomize=True)
@given(metres, metres, directions, metres, metres)
def test_to_hall_as_shapely_turns_and_moves(
    x: float, y: float, degrees: float, across: float, along: float
) -> None:
    frame = FieldFrame((x, y), math.radians(degrees))
    got = frame.to_hall(np.array([across]), np.array([along]))
    assert (got[0][0], got[1][0]) == pytest.approx(_by_shapely(frame, across, along), abs=1e-9)


@settings(max_examples=200, deadline=None, derandomize=True)
@given(metres, metres, directions, st.lists(st.tuples(metres, metres), max_size=8))
def test_from_hall_undoes_to_hall(
    x: float, y: float, degrees: float, points: list[tuple[float, float]]
) -> None:
    frame = FieldFrame((x, y), math.radians(degrees))
    across, along = (np.array([point[axis] for point in points]) for axis in (0, 1))
    back = frame.from_hall(*frame.to_hall(across, along))
    np.testing.assert_allclose(back[0], across, atol=1e-9)
    np.testing.assert_allclose(back[1], along, atol=1e-9)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(metres, metres, directions, metres, metres)
def test_affine_is_the_same_map_as_a_matrix(
    x: float, y: float, degrees: float, across: float, along: float
) -> None:
    frame = FieldFrame((x, y), math.radians(degrees))
    by_matrix = frame.affine() @ np.array([across, along, 1.0])
    by_method = frame.to_hall(np.array([across]), np.array([along]))
    np.testing.assert_allclose(by_matrix, np.concatenate(by_method), atol=1e-9)


@pytest.mark.parametrize(
    ("degrees", "ahead", "right"),
    [
        # Along the drawing's x axis the right hand points down, along y it points to x, and so on round.
        (0, (1, 0), (0, -1)),
        (90, (0, 1), (1, 0)),
        (180, (-1, 0), (0, 1)),
        (270, (0, -1), (-1, 0)),
        (-90, (0, -1), (-1, 0)),
        (360, (1, 0), (0, -1)),
    ],
)
def test_quarter_turns_are_exact(degrees: float, ahead: tuple[int, int], right: tuple[int, int]) -> None:
    frame = FieldFrame((0.0, 0.0), math.radians(degrees))
    assert tuple(float(part[0]) for part in frame.to_hall(np.array([0.0]), np.array([1.0]))) == ahead
    assert tuple(float(part[0]) for part in frame.to_hall(np.array([1.0]), np.array([0.0]))) == right
