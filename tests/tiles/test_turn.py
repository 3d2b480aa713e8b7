"""Turned trays against where their slots come to lie in the hall, worked out from the pose alone."""

from __future__ import annotations

import math

import numpy as np
import pytest

from standfall.brief import Field, Tray
from standfall.mural.field import FieldPlace, place_field
from standfall.mural.standing import STANDING_TYPES, Standing
from standfall.tiles import Tiling, allowed_turns, cut_fields, turned, with_tiles

COL_PITCH_M, ROW_PITCH_M = 0.027, 0.022
TRAY = Tray(rows=4, columns=3, col_pitch_m=COL_PITCH_M, row_pitch_m=ROW_PITCH_M)


def _field(rows: int, columns: int) -> FieldPlace:
    return place_field(
        Field(
            name="mural",
            picture="picture.png",
            rows=rows,
            columns=columns,
            col_pitch_m=COL_PITCH_M,
            row_pitch_m=ROW_PITCH_M,
            corner_m=(3.0, -2.0),
            fall_direction_rad=math.radians(37),
        )
    )


def _laid(rows: int, columns: int) -> tuple[Tiling, Standing]:
    place = _field(rows, columns)
    tiling, maps = cut_fields([np.ones((rows, columns), np.bool_)], [place], TRAY)
    row, col = np.divmod(np.arange(rows * columns), columns)
    x_m, y_m = place.centres(row, col)
    values = {name: np.zeros(len(row)) for name in STANDING_TYPES}
    values |= {"x_m": x_m, "y_m": y_m, "row": row, "col": col, "line": np.full(len(row), -1)}
    standing = Standing(**{name: values[name].astype(kind) for name, kind in STANDING_TYPES.items()})
    return tiling, with_tiles(standing, maps)


def _slot_places(tiling: Tiling, standing: Standing) -> tuple[np.ndarray, np.ndarray]:
    """Middle of each domino's slot: the tile frame has its zero in the middle of the opening (docs/frames.md)."""
    tile = standing.tile - 1
    x = (standing.slot_col + 0.5 - TRAY.columns / 2) * COL_PITCH_M
    y = (standing.slot_row + 0.5 - TRAY.rows / 2) * ROW_PITCH_M
    yaw = tiling.yaw_rad[tile]
    # A turn by yaw and a shift: the rotation matrix of any textbook.
    return (
        tiling.x_m[tile] + x * np.cos(yaw) - y * np.sin(yaw),
        tiling.y_m[tile] + x * np.sin(yaw) + y * np.cos(yaw),
    )


@pytest.mark.parametrize("pattern", ["none", "all", "every second"])
def test_every_domino_stays_in_its_slot_however_trays_are_turned(pattern: str) -> None:
    tiling, standing = _laid(10, 7)
    number = np.arange(len(tiling))
    wanted = {"none": 0 * number, "all": 0 * number + 180, "every second": 180 * (number % 2)}[pattern]
    new_tiling, new_standing = turned(tiling, standing, wanted, TRAY)
    assert (new_tiling.turn_deg == wanted).all()
    x_m, y_m = _slot_places(new_tiling, new_standing)
    np.testing.assert_allclose(x_m, standing.x_m, atol=1e-9)
    np.testing.assert_allclose(y_m, standing.y_m, atol=1e-9)


def test_turned_twice_is_as_before() -> None:
    tiling, standing = _laid(8, 6)
    away = turned(tiling, standing, np.full(len(tiling), 180), TRAY)
    back_tiling, back_standing = turned(*away, np.zeros(len(tiling)), TRAY)
    np.testing.assert_allclose(np.cos(back_tiling.yaw_rad - tiling.yaw_rad), 1.0, atol=1e-12)
    assert (back_standing.slot_row == standing.slot_row).all()
    assert (back_standing.slot_col == standing.slot_col).all()


def _pattern(rows: int, turn: int) -> list[int]:
    """Which rows of the tray, from the back, stand half a pitch to the right once it is turned."""
    shifts = [row % 2 for row in range(rows)]
    if turn == 0:
        return shifts
    # Seen after half a turn the last slot row lies at the back, and what stuck out to the right sticks out to
    # the left: by that much the others now stand to the right.
    return [1 - shift for shift in reversed(shifts)]


@pytest.mark.parametrize("rows", [1, 2, 3, 4, 5])
@pytest.mark.parametrize("first_row", [0, 1, 2, 7])
def test_allowed_turns_of_half_offset_rows(rows: int, first_row: int) -> None:
    tray = Tray(
        rows=rows, columns=3, col_pitch_m=COL_PITCH_M, row_pitch_m=ROW_PITCH_M, rows_laid="half_offset"
    )
    wanted = [(first_row + row) % 2 for row in range(rows)]
    fits = tuple(turn for turn in (0, 180) if rows == 1 or _pattern(rows, turn) == wanted)
    assert allowed_turns(first_row, True, tray) == fits


def test_a_tray_that_may_not_be_turned_is_not() -> None:
    tray = Tray(rows=4, columns=3, col_pitch_m=0.027, row_pitch_m=0.022, orientations_deg=(180,))
    assert allowed_turns(0, False, tray) == (180,)
    assert allowed_turns(0, True, tray) == (180,)
    assert allowed_turns(1, True, tray) == ()
