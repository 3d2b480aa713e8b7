"""Each frame of ``docs/frames.md`` is described alike, and its formulas are those of the code."""

import math

import numpy as np
import pytest
from doc_page import read_page, section, table_rows

from standfall.brief import Domino, Field, Tray
from standfall.fall import Strikes, topple
from standfall.fall.chain import chain_contacts
from standfall.fall.contact import find_contacts
from standfall.fall.ground import Ground
from standfall.fall.pieces import Pieces
from standfall.geometry import FieldFrame
from standfall.hall.robot import tile_corners
from standfall.hall.shape import in_hall
from standfall.mural.field import place_field
from standfall.tiles import cut_fields

PAGE = read_page("frames.md")
ROW_NAMES = ("zero", "axes", "unit", "names")


@pytest.mark.parametrize("frame", ["Picture", "Field", "Hall", "Tile", "Robot", "Camera", "Fall"])
def test_frame_has_zero_axes_unit_names_a_converter_and_a_drawing(frame):
    text = section(PAGE, frame)
    rows = [row[0] for row in table_rows(text)]
    assert tuple(rows[: len(ROW_NAMES)]) == ROW_NAMES
    assert len(rows) > len(ROW_NAMES)
    assert sum(line.startswith("    ") for line in text.splitlines()) >= 4


def test_planning_reads_no_clock():
    assert "Planning reads no clock" in section(PAGE, "Clocks")


def test_nodes_gap_and_offset_of_the_fall_as_written():
    # A striker that falls along y, and a piece 30 mm ahead and 5 mm to its left that faces it.
    pieces = Pieces.alike(2, height_m=0.048, width_m=0.024, thickness_m=0.0075, mass_kg=0.0085)
    yaw_rad = np.array([math.pi / 2, -math.pi / 2])
    contacts = find_contacts(np.array([0.0, -0.005]), np.array([0.0, 0.03]), np.zeros(2), yaw_rad, pieces)
    edges = slice(contacts.first[0], contacts.first[1])
    # It is struck from the front: node n + k. Gap 30 - 7.5 mm; pitch by Pythagoras.
    assert contacts.target[edges].tolist() == [2 + 1]
    assert contacts.gap_m[edges] == pytest.approx([0.0225])
    assert contacts.offset_m[edges] == pytest.approx([0.005])
    assert contacts.turn_rad[edges] == pytest.approx([0.0], abs=1e-12)
    assert contacts.pitch_m[edges] == pytest.approx([math.hypot(0.03, 0.005)])


def test_clock_of_the_fall_counts_from_the_first_release():
    # A starter that strikes 0.2 s after zero, one row of two: 0.2 s, and later.
    pieces = Pieces.alike(2, height_m=0.048, width_m=0.024, thickness_m=0.0075, mass_kg=0.0085)
    strike = Strikes(
        np.zeros(1, np.int32),
        np.array([0.2]),
        np.array([10.0]),
        np.full(1, -1, np.int32),
        np.zeros(1, np.int16),
    )
    fall = topple(chain_contacts(np.array([0.0144]), pieces), pieces, np.zeros(2), Ground(), strike)
    assert fall.struck_s[0] == 0.2
    assert 0.2 < fall.struck_s[1] < fall.down_s.max() == fall.total_s


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


@pytest.mark.parametrize("turn_deg", [0, 180])
@pytest.mark.parametrize("tray_turn_deg", [0, 90, 180, 270])
def test_yaw_of_a_robot_over_its_tile_as_written(tray_turn_deg, turn_deg):
    # yaw of the robot = yaw of the tile + 90 degrees - turn of the tray; the fall is along 30 degrees
    field = _field(30, "straight")
    tray = Tray(columns=4, rows=3, col_pitch_m=0.027, row_pitch_m=0.022, orientations_deg=(turn_deg,))
    domino = Domino(height_m=0.048, width_m=0.024, thickness_m=0.0075, mass_kg=0.0085)
    tiling, _ = cut_fields([np.ones((9, 12), dtype=bool)], [place_field(field)], tray)
    turn_rad = math.radians(tray_turn_deg)
    yaw_rad = tiling.yaw_rad[0] + math.pi / 2 - turn_rad
    corners = in_hall(tile_corners(tray, domino, turn_rad), tiling.x_m[0], tiling.y_m[0], yaw_rad)
    # Along the fall two row pitches and a thickness, across three column pitches and a width.
    along = corners @ [math.cos(math.radians(30)), math.sin(math.radians(30))]
    across = corners @ [-math.sin(math.radians(30)), math.cos(math.radians(30))]
    assert np.ptp(along) == pytest.approx(2 * 0.022 + 0.0075)
    assert np.ptp(across) == pytest.approx(3 * 0.027 + 0.024)
