"""Each frame of ``docs/frames.md`` is described alike, and its formulas are those of the code."""

import math

import numpy as np
import pytest
from doc_page import read_page, section, table_rows

from standfall.brief import Field, Tray
from standfall.geometry import FieldFrame
from standfall.mural.field import place_field
from standfall.tiles import cut_fields

PAGE = read_page("frames.md")
ROW_NAMES = ("zero", "axes", "unit", "names")


@pytest.mark.parametrize("frame", ["Picture", "Field", "Hall", "Tile", "Camera"])
def test_frame_has_zero_axes_unit_names_a_converter_and_a_drawing(frame):
    text = section(PAGE, frame)
    rows = [row[0] for row in table_rows(text)]
    assert tuple(rows[: len(ROW_NAMES)]) == ROW_NAMES
    assert len(rows) > len(ROW_NAMES)
    assert sum(line.startswith("    ") for line in text.splitlines()) >= 4


def test_what_is_not_built_says_so():
    assert section(PAGE, "Robot").strip().startswith("Not used yet")
    assert "A plan has no clock" in section(PAGE, "Clocks")


@pytest.mark.parametrize("degrees", [0, 37, 90, 180, -123.4])
def test_field_to_hall_as_written(degrees):
    # x = corner_x + along cos(d) + across sin(d), y = corner_y + along sin(d) - across cos(d)
    d, across, along = math.radians(degrees), 1.7, 0.4
    x_m, y_m = FieldFrame((3.0, -2.0), d).to_hall(np.array([across]), np.array([along]))
    assert x_m[0] == pytest.approx(3.0 + along * math.cos(d) + across * math.sin(d), abs=1e-12)
    assert y_m[0] == pytest.approx(-2.0 + along * math.sin(d) - across * math.cos(d), abs=1e-12)


def _field(degrees, rows_laid):
    return Field(
        name="mural",
        picture="picture.png",
        columns=12,
        rows=9,
        col_pitch_m=0.027,
        row_pitch_m=0.022,
        rows_laid=rows_laid,
        corner_m=(1.0, 2.0),
        fall_direction_rad=math.radians(degrees),
    )


def test_middles_of_cells_as_written():
    place = place_field(_field(30, "half_offset"))
    rows, cols = np.array([0, 1, 4]), np.array([0, 3, 11])
    # along = (row + 0.5) x row pitch; across = (col + 0.5) x column pitch, half a pitch more in odd rows.
    assert place.along_m(rows) == pytest.approx([0.011, 0.033, 0.099])
    assert place.across_m(rows, cols) == pytest.approx([0.0135, 0.108, 0.3105])


@pytest.mark.parametrize("turn_deg", [0, 180])
@pytest.mark.parametrize("degrees", [0, 90, 200])
def test_yaw_of_a_tile_as_written(degrees, turn_deg):
    # direction of the fall - 90 degrees + turn, a whole turn more or less
    field = _field(degrees, "straight")
    tray = Tray(columns=4, rows=3, col_pitch_m=0.027, row_pitch_m=0.022, orientations_deg=(turn_deg,))
    tiling, maps = cut_fields([np.ones((9, 12), dtype=bool)], [place_field(field)], tray)
    off = tiling.yaw_rad - math.radians(degrees - 90 + turn_deg)
    assert np.cos(off) == pytest.approx(1.0)
    # Turned by 180 degrees the slot of the first cell is the tray's last.
    first = (int(maps[0].slot_row[0, 0]), int(maps[0].slot_col[0, 0]))
    assert first == ((0, 0) if turn_deg == 0 else (2, 3))
