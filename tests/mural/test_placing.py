"""Places in the hall, and overlaps found near others only against overlaps found by looking everywhere."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from standfall.brief import Colour, Domino, Field, Hall, Line, PathPart
from standfall.geometry import overlapping_pairs
from standfall.mural.field import place_field
from standfall.mural.line import place_lines
from standfall.mural.palette import make_palette
from standfall.mural.placing import hall_findings, outside_hall, overlap_findings, shared_floor
from standfall.mural.stand import stand_up

DOMINO = Domino(height_m=0.048, width_m=0.024, thickness_m=0.0075, mass_kg=0.0085)
HALL = Hall(outline_m=((0.0, 0.0), (6.0, 0.0), (6.0, 5.0), (0.0, 5.0)))
PALETTE = make_palette([Colour(name="ivory", srgb="#ffffff", stock=1)])


def _field(**keys: Any) -> Field:
    usual: dict[str, Any] = {
        "name": "mural",
        "picture": "p.png",
        "columns": 12,
        "rows": 10,
        "col_pitch_m": 0.027,
        "row_pitch_m": 0.022,
        "corner_m": (1.0, 1.0),
        "fall_direction_rad": math.pi / 2,
    }
    return Field(**(usual | keys))


def _line(start_m: tuple[float, float], direction_rad: float, length_m: float, name: str = "lead-in") -> Line:
    return Line(
        name=name,
        colours=("ivory",),
        pitch_m=0.024,
        start_m=start_m,
        start_direction_rad=direction_rad,
        path=(PathPart(straight_m=length_m),),
    )


poses = st.tuples(st.floats(0.9, 1.4), st.floats(0.9, 1.4), st.floats(-4, 4))


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    st.lists(st.tuples(poses, st.booleans()), min_size=1, max_size=3),
    st.lists(st.tuples(poses, st.floats(0.03, 0.5)), max_size=3),
    st.integers(0, 2**32 - 1),
)
def test_looking_near_others_only_misses_no_overlap(
    field_poses: list[tuple[tuple[float, float, float], bool]],
    line_poses: list[tuple[tuple[float, float, float], float]],
    seed: int,
) -> None:
    rng = np.random.default_rng(seed)
    fields = [
        _field(corner_m=(x, y), fall_direction_rad=yaw, rows_laid="half_offset" if half else "straight")
        for (x, y, yaw), half in field_poses
    ]
    lines = [_line((x, y), yaw, length, f"line {n}") for n, ((x, y, yaw), length) in enumerate(line_poses)]
    places = [place_field(field) for field in fields]
    lower = [np.where(rng.random((10, 12)) < 0.7, 0, -1).astype(np.int32) for _ in fields]
    upper = [np.where(rng.random((10, 12)) < 0.3, low, -1).astype(np.int32) for low in lower]
    line_places, _ = place_lines(enumerate(lines))
    standing = stand_up(
        lower, upper, places, [(n, lines[n], line_places[n]) for n in range(len(lines))], PALETTE, 0.048
    )
    names = [f"field {n}" for n in range(len(fields))] + [f"line {n}" for n in range(len(lines))]
    findings = overlap_findings(standing, places, DOMINO, names)

    floor = np.flatnonzero(standing.layer == 0)
    pairs = floor[
        overlapping_pairs(standing.x_m[floor], standing.y_m[floor], standing.yaw_rad[floor], 0.024, 0.0075)
    ]
    source = np.where(standing.field >= 0, standing.field, len(fields) + standing.line)
    wanted: dict[str, int] = {}
    for first, second in np.sort(source[pairs], axis=1).tolist():
        where = names[first] if first == second else f"{names[first]} and {names[second]}"
        wanted[where] = wanted.get(where, 0) + 1
    assert {finding.where: int(finding.message.split()[0]) for finding in findings} == wanted
    assert all(finding.code == "S402" for finding in findings)


def test_an_overlap_names_the_pieces_and_the_place() -> None:
    # A line along x at y = 1.011, where row 0 stands; it begins 100 mm before column 0 (middle x = 1.0135).
    field, line = _field(), _line((0.9135, 1.011), 0.0, 0.12)
    place, line_place = place_field(field), place_lines([(0, line)])[0][0]
    standing = stand_up(
        [np.zeros((10, 12), np.int32)],
        [np.full((10, 12), -1, np.int32)],
        [place],
        [(0, line, line_place)],
        PALETTE,
        0.048,
    )
    (finding,) = overlap_findings(standing, [place], DOMINO, ["field 'mural'", "line 'lead-in'"])
    # Pieces across each other: bites within 12 + 3.75 mm. Dominoes 4 (x = 1.0095) and 5 (1.0335) meet columns
    # 0 (1.0135) and 1 (1.0405), which are 24 wide: 4 meets 0, 5 meets 1.
    assert finding.message.startswith("2 pairs")
    assert "row 0 column 0" in finding.message and "number 4 along the line" in finding.message
    assert finding.value == "x 1.014 m, y 1.011 m"


def test_outlines_that_are_no_floor_are_told_once_and_nothing_is_held_against_them() -> None:
    crossed = Hall(outline_m=((0.0, 0.0), (6.0, 5.0), (6.0, 0.0), (0.0, 5.0)))
    (finding,) = hall_findings(crossed)
    assert (finding.code, finding.where) == ("S407", "hall.outline_m")
    field = _field(corner_m=(50.0, 50.0))
    assert outside_hall(crossed, [(0, field, place_field(field))], [], DOMINO) == []
    assert hall_findings(HALL) == [] and hall_findings(None) == []
    assert outside_hall(None, [(0, field, place_field(field))], [], DOMINO) == []


def test_a_line_outside_says_how_many_and_which_first() -> None:
    # From x = 5.76 at 24 mm: pieces 3.75 mm either side of 5.76 + 0.024 n; n = 10 stands across the wall.
    line = _line((5.76, 2.0), 0.0, 0.48)
    (finding,) = outside_hall(HALL, [], [(4, line, place_lines([(4, line)])[0][4])], DOMINO)
    assert (finding.code, finding.where) == ("S404", "line[4]")
    assert finding.message.startswith("11 dominoes") and finding.message.endswith("number 10")
    # Without a sound piece only the middles count: number 10 stands on the wall itself.
    (finding,) = outside_hall(HALL, [], [(4, line, place_lines([(4, line)])[0][4])], None)
    assert finding.message.startswith(("10 dominoes", "11 dominoes"))


@pytest.mark.parametrize(
    ("corner_m", "fault"), [((0.0, 0.0), False), ((5.68, 4.78), True), ((5.676, 4.78), False)]
)
def test_a_field_outside_says_how_far(corner_m: tuple[float, float], fault: bool) -> None:
    # 12 x 27 mm = 0.324 m wide, 10 x 22 mm = 0.22 m deep.
    field = _field(corner_m=corner_m)
    findings = outside_hall(HALL, [(2, field, place_field(field))], [], DOMINO)
    assert bool(findings) == fault
    if fault:
        assert findings[0].where == "field[2]"
        assert findings[0].value == "x 5.680 to 6.004 m, y 4.780 to 5.000 m"
        assert findings[0].limit == "floor x 0 to 6 m, y 0 to 5 m"


def test_fields_that_share_floor_are_told_with_the_area_and_the_middle() -> None:
    # Each field is 12 x 27 mm = 0.324 m across and 10 x 22 mm = 0.220 m along; the second lies 0.3 m further
    # to the right and 0.2 m further ahead, so 0.024 x 0.020 m = 0.00048 square metres are shared. The third
    # only touches the first.
    fields = [_field(), _field(corner_m=(1.3, 1.2)), _field(corner_m=(0.676, 1.0))]
    placed = [(number, field, place_field(field)) for number, field in enumerate(fields)]
    (finding,) = shared_floor(placed)
    assert (finding.code, finding.where) == ("S410", "field[0] and field[1]")
    assert finding.value == pytest.approx(0.00048)
    assert "x 1.312 m, y 1.210 m" in finding.message
    assert shared_floor(placed[:1]) == shared_floor([]) == []
