"""The standing set: its order, layers and lines, against the rule written in ``Standing``."""

from __future__ import annotations

import math
from dataclasses import fields

import numpy as np

from standfall.brief import Colour, Field, Line, PathPart
from standfall.mural.field import FieldPlace, place_field
from standfall.mural.line import place_lines
from standfall.mural.palette import Palette, make_palette
from standfall.mural.stand import line_colours, stand_up
from standfall.mural.standing import STANDING_TYPES, Standing, join_standing


def _palette() -> Palette:
    return make_palette(
        [
            Colour(name=name, srgb=srgb, stock=1)
            for name, srgb in (("night", "#000000"), ("lake", "#0000ff"), ("ivory", "#ffffff"))
        ]
    )


def _place(corner_m: tuple[float, float]) -> FieldPlace:
    return place_field(
        Field(
            name="mural",
            picture="picture.png",
            columns=3,
            rows=2,
            col_pitch_m=0.03,
            row_pitch_m=0.02,
            corner_m=corner_m,
            fall_direction_rad=math.pi / 2,
        )
    )


def _line() -> Line:
    return Line(
        name="lead-in",
        colours=("ivory", "night"),
        pitch_m=0.03,
        start_m=(0.0, 0.0),
        start_direction_rad=0.0,
        path=(PathPart(straight_m=0.12),),
    )


def _standing() -> Standing:
    lower = [
        np.array([[0, 1, -1], [2, 0, 1]], dtype=np.int32),
        np.array([[-1, -1, -1], [-1, 2, -1]], dtype=np.int32),
    ]
    upper = [np.array([[-1, -1, -1], [1, -1, 2]], dtype=np.int32), np.full((2, 3), -1, dtype=np.int32)]
    line = _line()
    placed = place_lines([(0, line)])[0]
    return stand_up(
        lower, upper, [_place((1.0, 2.0)), _place((5.0, 2.0))], [(0, line, placed[0])], _palette(), 0.048
    )


def test_order_is_fields_by_layer_row_and_column_then_lines() -> None:
    standing = _standing()
    # Field 0: five below, two above; field 1: one; the line: 120 mm at 30 mm, so five.
    assert len(standing) == 5 + 2 + 1 + 5
    assert standing.field.tolist() == [0] * 7 + [1] + [-1] * 5
    assert standing.line.tolist() == [-1] * 8 + [0] * 5
    assert standing.layer.tolist() == [0] * 5 + [1] * 2 + [0] * 6
    assert standing.row.tolist() == [0, 0, 1, 1, 1, 1, 1, 1, 0, 1, 2, 3, 4]
    assert standing.col.tolist() == [0, 1, 0, 1, 2, 0, 2, 1, 0, 0, 0, 0, 0]
    assert standing.colour.tolist() == [0, 1, 2, 0, 1, 1, 2, 2, 2, 0, 2, 0, 2]


def test_the_upper_layer_stands_on_the_lower() -> None:
    standing = _standing()
    upper = standing.layer == 1
    assert set(standing.z_m[upper]) == {0.048} and set(standing.z_m[~upper]) == {0.0}
    for number in np.flatnonzero(upper):
        below = (standing.field == 0) & (standing.layer == 0)
        below &= (standing.row == standing.row[number]) & (standing.col == standing.col[number])
        assert below.sum() == 1
        assert (
            standing.x_m[below][0] == standing.x_m[number] and standing.y_m[below][0] == standing.y_m[number]
        )


def test_poses_are_the_fields_and_the_lines() -> None:
    standing = _standing()
    # Row 1, column 1 of the second field, falling up: 1.5 x 30 mm right, 1.5 x 20 mm ahead of (5, 2).
    np.testing.assert_allclose((standing.x_m[7], standing.y_m[7]), (5.045, 2.03))
    np.testing.assert_allclose(standing.yaw_rad[:8], math.pi / 2)
    np.testing.assert_allclose(standing.x_m[8:], 0.03 * np.arange(5))
    assert (standing.yaw_rad[8:] == 0).all()


def test_nothing_has_a_tile_yet() -> None:
    standing = _standing()
    assert (standing.tile == 0).all() and (standing.slot_row == -1).all() and (standing.slot_col == -1).all()


def test_columns_have_the_types_written_down() -> None:
    for standing in (_standing(), join_standing([]), stand_up([], [], [], [], _palette(), 0.048)):
        assert {
            column.name: getattr(standing, column.name).dtype.type for column in fields(Standing)
        } == STANDING_TYPES


def test_a_line_uses_its_colours_in_turn() -> None:
    assert line_colours(_line(), 5, _palette()).tolist() == [2, 0, 2, 0, 2]
    assert line_colours(_line(), 0, _palette()).tolist() == []
