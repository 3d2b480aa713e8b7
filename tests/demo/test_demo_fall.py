"""The demo's brief as it will fall: no turn too sharp, no gap too wide, and starters that have what they name."""

from __future__ import annotations

import math

import numpy as np
import pytest

from standfall.brief import Brief, read_text
from standfall.demo import brief_text
from standfall.mural.line import LinePlace, place_lines

HEIGHT_M, WIDTH_M, THICKNESS_M = 0.048, 0.024, 0.0075


@pytest.fixture(scope="module")
def brief() -> Brief:
    reading = read_text(brief_text().encode())
    assert reading.findings == () and reading.brief is not None
    return reading.brief


@pytest.fixture(scope="module")
def lines(brief: Brief) -> dict[str, LinePlace]:
    places, findings = place_lines(list(enumerate(brief.lines)))
    assert findings == []
    return {brief.lines[number].name: place for number, place in places.items()}


def test_the_starters_of_the_story(brief: Brief) -> None:
    finger, batten = brief.starters
    assert (finger.kind, finger.line, finger.waits_for) == ("finger", "lead-in", None)
    assert (batten.kind, batten.field, batten.waits_for, batten.delay_s) == (
        "pusher",
        "mural",
        "split left",
        0,
    )
    assert (batten.first_col, batten.last_col) == (None, None)  # the whole row
    assert brief.fall.domino_friction == 0.2 and brief.fall.flatness == "din_18202_row_3"


def test_no_piece_of_a_line_turns_by_more_than_3_degrees_against_the_last(
    brief: Brief, lines: dict[str, LinePlace]
) -> None:
    # Along an arc the turn is pitch over radius; the tightest has 500 mm: 24 / 500 rad = 2.75 degrees. The pitch
    # is evened down from 24 mm.
    sharpest = 0.0
    for line in brief.lines:
        _, _, yaw_rad = lines[line.name].poses()
        turns = np.abs(np.diff(yaw_rad))
        assert turns.max() <= 0.024 / min(part.arc_radius_m for part in line.path if part.arc_radius_m) + 1e-9
        sharpest = max(sharpest, float(turns.max()))
    assert math.degrees(sharpest) == pytest.approx(2.75, abs=0.02)


def test_gaps_of_lines_and_field_are_those_that_builders_use(
    brief: Brief, lines: dict[str, LinePlace]
) -> None:
    # A third of the height or so (common practice, no source: 0.3 to 0.5). (24 - 7.5) / 48 = 0.344 along lines,
    # (22 - 7.5) / 48 = 0.302 in the field.
    for line in brief.lines:
        assert (lines[line.name].pitch_m - THICKNESS_M) / HEIGHT_M == pytest.approx(0.344, abs=0.002)
    assert (brief.fields[0].row_pitch_m - THICKNESS_M) / HEIGHT_M == pytest.approx(0.302, abs=0.001)


@pytest.mark.parametrize(("name", "way"), [("split left", -1), ("split right", 1)])
def test_the_splits_end_one_gap_before_row_0(name: str, way: int, lines: dict[str, LinePlace]) -> None:
    x_m, y_m, yaw_rad = (values[-1] for values in lines[name].poses())
    # Up from the lead-in's end at 4.566 m: 120 mm, then twice 800 mm x sin 30 degrees: 5.486 m. Aside: 13 mm and
    # twice 800 mm x (1 - cos 30 degrees), 227.4 mm from x = 8.455 m.
    assert (x_m, y_m) == pytest.approx((8.455 + way * 0.2274, 5.486), abs=1e-4)
    assert yaw_rad == pytest.approx(math.pi / 2, abs=1e-4)
    # Row 0 stands with its middles half a row pitch in, at 5.511 m: 25 mm on, a clear gap of 17.5 mm = 0.36 h.
    assert (5.511 - y_m - THICKNESS_M) / HEIGHT_M == pytest.approx(0.365, abs=0.002)
    columns_m = 4.0 + 0.027 * (np.arange(330) + 0.5)
    aside_m = np.abs(columns_m - x_m).min()
    assert WIDTH_M - aside_m > 0.75 * WIDTH_M
