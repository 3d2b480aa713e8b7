"""Cutting fields into tiles, against brute force and against slot positions worked out another way."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from standfall.brief import Field, Tray
from standfall.mural.field import FieldPlace, place_field
from standfall.tiles import KINDS, SlotMap, Tiling, cut_fields, fitting_offsets

COL_PITCH_M, ROW_PITCH_M = 0.027, 0.022


def _place(rows: int, columns: int, **keys: Any) -> FieldPlace:
    usual: dict[str, Any] = {
        "name": "mural",
        "picture": "picture.png",
        "col_pitch_m": COL_PITCH_M,
        "row_pitch_m": ROW_PITCH_M,
        "corner_m": (3.0, -2.0),
        "fall_direction_rad": math.radians(37),
    }
    return place_field(Field(**(usual | keys), rows=rows, columns=columns))


def _tray(rows: int, columns: int, **keys: Any) -> Tray:
    return Tray(rows=rows, columns=columns, col_pitch_m=COL_PITCH_M, row_pitch_m=ROW_PITCH_M, **keys)


EITHER = st.booleans()


@st.composite
def jobs(draw: st.DrawFn, half: st.SearchStrategy[bool] = EITHER) -> tuple[np.ndarray, FieldPlace, Tray]:
    """A mask with holes, its field and a tray that fits it."""
    rows, columns = draw(st.integers(1, 14)), draw(st.integers(1, 14))
    bits = draw(st.lists(st.booleans(), min_size=rows * columns, max_size=rows * columns))
    dense = draw(st.booleans())
    mask = np.array(bits).reshape(rows, columns)
    if dense:  # mostly full, as murals are
        mask |= np.roll(mask, 1, axis=1) | np.roll(mask, 1, axis=0)
    laid = "half_offset" if draw(half) else "straight"
    tray = _tray(
        draw(st.integers(1, 6)),
        draw(st.integers(1, 6)),
        rows_laid=laid,
        orientations_deg=draw(st.sampled_from([(0, 180), (180, 0), (0,), (180,)])),
    )
    place = _place(
        rows,
        columns,
        rows_laid=laid,
        fall_direction_rad=math.radians(draw(st.sampled_from([0, 37, 90, 180, 275, -90]))),
    )
    return mask, place, tray


def _fits(job: tuple[np.ndarray, FieldPlace, Tray]) -> bool:
    _, place, tray = job
    return bool(fitting_offsets(place.grid.half_offset, tray, place.grid.rows))


def _slot_in_tile(tray: Tray, row: int, col: int) -> tuple[float, float]:
    """Middle of a slot in the tile frame: x across, y along the fall of an unturned tray.

    The opening holds C columns, and half a column more where every second row stands half a pitch to the
    right; the frame's zero is its middle. A single row of slots has no second row to make room for.
    """
    shifted = tray.rows_laid == "half_offset" and tray.rows > 1
    width = tray.columns + (0.5 if shifted else 0.0)
    shift = 0.5 if shifted and row % 2 == 1 else 0.0
    return (col + 0.5 + shift - width / 2) * COL_PITCH_M, (row + 0.5 - tray.rows / 2) * ROW_PITCH_M


def _assert_slots_meet_cells(
    mask: np.ndarray, place: FieldPlace, tray: Tray, tiling: Tiling, slots: SlotMap
) -> None:
    for row, col in np.argwhere(mask):
        tile = slots.tile[row, col] - 1
        x, y = _slot_in_tile(tray, int(slots.slot_row[row, col]), int(slots.slot_col[row, col]))
        cosine, sine = math.cos(tiling.yaw_rad[tile]), math.sin(tiling.yaw_rad[tile])
        got = (tiling.x_m[tile] + cosine * x - sine * y, tiling.y_m[tile] + sine * x + cosine * y)
        wanted = place.centres(np.array([row]), np.array([col]))
        assert got == pytest.approx((wanted[0][0], wanted[1][0]), abs=1e-9)


@settings(max_examples=150, deadline=None, derandomize=True)
@given(jobs().filter(_fits))
def test_every_domino_lies_in_one_slot_and_the_slot_lies_on_it(
    job: tuple[np.ndarray, FieldPlace, Tray],
) -> None:
    mask, place, tray = job
    tiling, (slots,) = cut_fields([mask], [place], tray)
    assert ((slots.tile > 0) == mask).all()
    assert (slots.slot_row[~mask] == -1).all() and (slots.slot_col[~mask] == -1).all()
    taken = np.stack([slots.tile[mask], slots.slot_row[mask], slots.slot_col[mask]], axis=1)
    assert len(np.unique(taken, axis=0)) == mask.sum()
    assert ((taken[:, 1] >= 0) & (taken[:, 1] < tray.rows)).all()
    assert ((taken[:, 2] >= 0) & (taken[:, 2] < tray.columns)).all()
    np.testing.assert_array_equal(np.bincount(taken[:, 0], minlength=len(tiling) + 1)[1:], tiling.dominoes)
    assert (tiling.dominoes > 0).all()
    assert set(tiling.turn_deg.tolist()) <= set(tray.orientations_deg)
    _assert_slots_meet_cells(mask, place, tray, tiling, slots)


def _tiles_and_full(mask: np.ndarray, tray: Tray, row_offset: int, col_offset: int) -> tuple[int, int]:
    """Count trays that are needed, and full ones, by looking at each tray's own cells."""
    tiles = full = 0
    for top in range(-row_offset, mask.shape[0], tray.rows):
        for left in range(-col_offset, mask.shape[1], tray.columns):
            cells = mask[max(top, 0) : max(top + tray.rows, 0), max(left, 0) : max(left + tray.columns, 0)]
            tiles += bool(cells.any())
            full += int(cells.sum()) == tray.rows * tray.columns
    return tiles, full


@settings(max_examples=150, deadline=None, derandomize=True)
@given(jobs().filter(_fits))
def test_the_cut_is_the_best_of_all_and_ties_go_by_the_rule(job: tuple[np.ndarray, FieldPlace, Tray]) -> None:
    mask, place, tray = job
    tiling, _ = cut_fields([mask], [place], tray)
    # Which offsets a tray can follow at all: with shifted rows every band must begin on a row whose shift
    # some allowed turn of the tray has. Turned round, slot row R-1-i comes to lie at i and right becomes left.
    allowed = []
    for offset in range(tray.rows):
        firsts = range(-offset, mask.shape[0] + 2 * tray.rows, tray.rows)
        if tray.rows_laid == "straight" or all(
            any(_follows(tray, turn, first) for turn in tray.orientations_deg) for first in firsts
        ):
            allowed.append(offset)
    best = min(
        (*(_key := _tiles_and_full(mask, tray, rows, cols))[:1], -_key[1], rows, cols)
        for rows in allowed
        for cols in range(tray.columns)
    )
    assert (
        len(tiling),
        -int((tiling.kind == KINDS.index("full")).sum()),
        tiling.cut_rows[0],
        tiling.cut_cols[0],
    ) == best


def _follows(tray: Tray, turn: int, first_row: int) -> bool:
    """Tell whether the shifts of the slot rows are the field's, up to one shift of the whole tray for one row."""
    if tray.rows == 1:
        return True
    for i in range(tray.rows):
        field_shift = 0.5 * ((first_row + i) % 2)
        # Turned, the tray is half a pitch wider than its columns; from its right edge its slots run back.
        tray_shift = 0.5 * (i % 2) if turn == 0 else 0.5 - 0.5 * ((tray.rows - 1 - i) % 2)
        if tray_shift != field_shift:
            return False
    return True


@settings(max_examples=80, deadline=None, derandomize=True)
@given(jobs().filter(_fits))
def test_tiles_say_where_they_are_and_of_what_kind(job: tuple[np.ndarray, FieldPlace, Tray]) -> None:
    mask, place, tray = job
    tiling, (slots,) = cut_fields([mask], [place], tray)
    order = list(zip(tiling.first_row.tolist(), tiling.first_col.tolist(), strict=True))
    assert order == sorted(order)
    assert tiling.number.tolist() == list(range(1, len(tiling) + 1))
    for tile in range(len(tiling)):
        top, left = order[tile]
        rows, cols = np.nonzero(slots.tile == tile + 1)
        assert top <= rows.min() and rows.max() < top + tray.rows
        assert left <= cols.min() and cols.max() < left + tray.columns
        over = top < 0 or left < 0 or top + tray.rows > mask.shape[0] or left + tray.columns > mask.shape[1]
        kind = "full" if len(rows) == tray.rows * tray.columns else "edge" if over else "holed"
        assert KINDS[tiling.kind[tile]] == kind


@settings(max_examples=60, deadline=None, derandomize=True)
@given(jobs().filter(_fits))
def test_a_turned_tile_is_the_unturned_one_turned_back(job: tuple[np.ndarray, FieldPlace, Tray]) -> None:
    mask, place, tray = job
    _, (slots,) = cut_fields([mask], [place], tray)
    tiling, _ = cut_fields([mask], [place], tray)
    for tile in np.flatnonzero(tiling.turn_deg == 180):
        for row, col in np.argwhere(slots.tile == tile + 1):
            assert slots.slot_row[row, col] == tray.rows - 1 - (row - tiling.first_row[tile])
            assert slots.slot_col[row, col] == tray.columns - 1 - (col - tiling.first_col[tile])


def test_straight_rows_allow_either_turn_and_unturned_is_taken() -> None:
    mask = np.ones((6, 8), dtype=bool)
    place = _place(6, 8)
    both, (upright,) = cut_fields([mask], [place], _tray(3, 4))
    only, (turned,) = cut_fields([mask], [place], _tray(3, 4, orientations_deg=(180,)))
    assert both.turn_deg.tolist() == [0] * 4 and only.turn_deg.tolist() == [180] * 4
    np.testing.assert_array_equal(turned.slot_row, 2 - upright.slot_row)
    np.testing.assert_array_equal(turned.slot_col, 3 - upright.slot_col)
    np.testing.assert_allclose(np.cos(only.yaw_rad - both.yaw_rad), -1.0)
    np.testing.assert_allclose(only.x_m, both.x_m)


def test_odd_trays_on_half_offset_rows_turn_band_by_band() -> None:
    mask = np.ones((9, 4), dtype=bool)
    place = _place(9, 4, rows_laid="half_offset")
    tiling, _ = cut_fields([mask], [place], _tray(3, 4, rows_laid="half_offset"))
    # Bands begin on rows 0, 3 and 6: even, odd, even.
    assert tiling.first_row.tolist() == [0, 3, 6]
    assert tiling.turn_deg.tolist() == [0, 180, 0]


def test_whole_multiples_need_no_partial_tile() -> None:
    tiling, _ = cut_fields([np.ones((300, 330), dtype=bool)], [_place(300, 330)], _tray(10, 22))
    # 300 / 10 bands of 330 / 22 trays
    assert len(tiling) == 30 * 15
    assert (tiling.dominoes == 220).all() and (tiling.kind == KINDS.index("full")).all()
    assert (tiling.cut_rows, tiling.cut_cols) == ((0,), (0,))


def test_an_island_is_cut_where_one_tray_holds_it() -> None:
    # A block of 3 x 4 in the middle of nothing fits one tray of 3 x 4 only at its own offset.
    mask = np.zeros((10, 11), dtype=bool)
    mask[4:7, 5:9] = True
    tiling, _ = cut_fields([mask], [_place(10, 11)], _tray(3, 4))
    assert len(tiling) == 1
    assert (tiling.first_row[0], tiling.first_col[0], tiling.dominoes[0]) == (4, 5, 12)


def test_numbers_go_on_over_the_fields_and_empty_fields_have_no_tiles() -> None:
    masks = [np.ones((4, 4), dtype=bool), np.zeros((4, 4), dtype=bool), np.ones((4, 4), dtype=bool)]
    places = [_place(4, 4), _place(4, 4), _place(4, 4, corner_m=(9.0, 9.0))]
    tiling, maps = cut_fields(masks, places, _tray(2, 2))
    assert len(tiling) == 8
    assert tiling.field.tolist() == [0] * 4 + [2] * 4
    assert (maps[1].tile == 0).all()
    assert sorted(np.unique(maps[2].tile).tolist()) == [5, 6, 7, 8]


def test_no_field_no_tile() -> None:
    for tray in (None, _tray(3, 3)):
        tiling, maps = cut_fields([], [], tray)
        assert len(tiling) == 0 and maps == [] and tiling.cut_rows == ()


def test_misuse_is_an_error() -> None:
    place = _place(4, 4, rows_laid="half_offset")
    with pytest.raises(ValueError, match="tray"):
        cut_fields([np.ones((4, 4), dtype=bool)], [place], None)
    with pytest.raises(ValueError, match="half-offset"):
        cut_fields(
            [np.ones((4, 4), dtype=bool)],
            [place],
            _tray(3, 3, rows_laid="half_offset", orientations_deg=(0,)),
        )


def test_the_same_field_gives_the_same_bytes() -> None:
    rng = np.random.default_rng(7)
    mask = rng.random((57, 83)) < 0.8
    place, tray = _place(57, 83), _tray(7, 9)
    first, second = cut_fields([mask], [place], tray)[0], cut_fields([mask.copy()], [place], replace(tray))[0]
    for name in ("x_m", "y_m", "yaw_rad", "dominoes", "kind", "turn_deg"):
        assert getattr(first, name).tobytes() == getattr(second, name).tobytes()
