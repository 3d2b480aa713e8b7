"""Where a field's cells stand: worked by hand, and against shapely's affine maps."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Point, affinity

from standfall.brief import Field
from standfall.mural.field import place_field


def _field(**keys: Any) -> Field:
    usual: dict[str, Any] = {
        "name": "mural",
        "picture": "picture.png",
        "columns": 4,
        "rows": 3,
        "col_pitch_m": 0.03,
        "row_pitch_m": 0.02,
        "corner_m": (1.0, 2.0),
    }
    return Field(**(usual | keys))


def test_cell_middles_by_hand() -> None:
    # Falling up the drawing: right is +x, ahead is +y. Cell (row 2, column 1): 1.5 pitches right of the corner
    # and 2.5 ahead, so x = 1 + 1.5 x 0.03 = 1.045 and y = 2 + 2.5 x 0.02 = 2.05.
    place = place_field(_field(fall_direction_rad=math.pi / 2))
    x_m, y_m = place.centres(np.array([0, 2]), np.array([0, 1]))
    np.testing.assert_allclose(x_m, [1.015, 1.045], atol=1e-12)
    np.testing.assert_allclose(y_m, [2.010, 2.050], atol=1e-12)


def test_along_x_the_columns_run_down_the_drawing() -> None:
    place = place_field(_field())
    x_m, y_m = place.centres(np.array([0, 0]), np.array([0, 3]))
    np.testing.assert_allclose(x_m, [1.01, 1.01], atol=1e-12)
    np.testing.assert_allclose(y_m, [2 - 0.015, 2 - 0.105], atol=1e-12)


def test_half_offset_rows_stand_half_a_pitch_to_the_right() -> None:
    place = place_field(_field(rows_laid="half_offset"))
    rows = np.array([0, 1, 2, -1, -2])
    np.testing.assert_allclose(
        place.across_m(rows, np.zeros(5, int)), [0.015, 0.030, 0.015, 0.030, 0.015], atol=1e-12
    )


@pytest.mark.parametrize(("rows_laid", "width_m"), [("straight", 0.12), ("half_offset", 0.135)])
def test_corners_go_round_from_the_back_left(rows_laid: str, width_m: float) -> None:
    corners = place_field(_field(rows_laid=rows_laid, fall_direction_rad=math.pi / 2)).corners_m()
    wanted = [[1, 2], [1 + width_m, 2], [1 + width_m, 2.06], [1, 2.06]]
    np.testing.assert_allclose(corners, wanted, atol=1e-12)


@settings(max_examples=80, deadline=None, derandomize=True)
@given(
    st.integers(1, 30),
    st.integers(1, 30),
    st.floats(-360, 360),
    st.booleans(),
    st.floats(0.01, 0.1),
    st.floats(0.01, 0.1),
)
def test_every_cell_lies_in_the_field_and_where_shapely_puts_it(
    columns: int, rows: int, degrees: float, half: bool, col_pitch_m: float, row_pitch_m: float
) -> None:
    place = place_field(
        _field(
            columns=columns,
            rows=rows,
            fall_direction_rad=math.radians(degrees),
            rows_laid="half_offset" if half else "straight",
            col_pitch_m=col_pitch_m,
            row_pitch_m=row_pitch_m,
        )
    )
    row, col = rows - 1, columns // 2
    x_m, y_m = place.centres(np.array([row]), np.array([col]))
    shift = 0.5 if half and row % 2 else 0.0
    flat = Point((col + 0.5 + shift) * col_pitch_m, (row + 0.5) * row_pitch_m)
    turned = affinity.rotate(flat, degrees - 90, origin=(0, 0))
    wanted = affinity.translate(turned, 1.0, 2.0)
    assert (x_m[0], y_m[0]) == pytest.approx((wanted.x, wanted.y), abs=1e-9)
    across, along = place.frame.from_hall(x_m, y_m)
    assert 0 < across[0] < place.grid.width_m and 0 < along[0] < place.grid.length_m
