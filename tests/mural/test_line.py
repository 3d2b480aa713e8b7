"""Lines by hand: spacing, branches, joints, arcs; and tight arcs against shapely (general-purpose library)."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity, box

from standfall.brief import Line, PathPart
from standfall.mural.line import LINE_DOMINOES_MOST, LinePlace, place_lines, tight_arcs

WIDTH_M, THICKNESS_M = 0.024, 0.0075


def _line(*path: PathPart, **keys: Any) -> Line:
    usual: dict[str, Any] = {"name": "lead-in", "colours": ("ivory",), "pitch_m": 0.024}
    if "branch_of" not in keys:
        usual |= {"start_m": (1.0, 2.0), "start_direction_rad": 0.0}
    return Line(**(usual | keys), path=path)


def _placed(*lines: Line) -> dict[int, LinePlace]:
    places, findings = place_lines(enumerate(lines))
    assert findings == []
    return places


def test_the_last_domino_stands_at_the_end_and_none_is_further_than_the_pitch() -> None:
    # 1000 mm at most 24 mm apart: 41.67 gaps, so 42 of 23.81 mm and 43 dominoes.
    (place,) = _placed(_line(PathPart(straight_m=1.0))).values()
    assert place.dominoes == 43
    assert place.pitch_m == pytest.approx(1 / 42)
    x_m, y_m, yaw_rad = place.poses()
    assert (x_m[0], y_m[0], x_m[-1]) == pytest.approx((1.0, 2.0, 2.0))
    np.testing.assert_allclose(np.diff(x_m), 1 / 42)
    assert (yaw_rad == 0).all() and (y_m == 2).all()


def test_a_whole_number_of_pitches_is_not_evened() -> None:
    # 240 mm / 24 mm = 10 gaps exactly, though 0.24 / 0.024 in floating point is 10 give or take.
    for count in range(1, 200):
        (place,) = _placed(_line(PathPart(straight_m=0.024 * count))).values()
        assert place.dominoes == count + 1


@settings(max_examples=80, deadline=None, derandomize=True)
@given(
    st.floats(0.01, 0.1),
    st.lists(st.floats(0.2, 3.0), min_size=1, max_size=4),
    st.floats(-6, 6).filter(lambda t: abs(t) > 0.1),
)
def test_spacing_along_any_path(pitch_m: float, straights: list[float], turn_rad: float) -> None:
    parts = [PathPart(straight_m=length) for length in straights] + [
        PathPart(arc_radius_m=0.8, turn_rad=turn_rad)
    ]
    (place,) = _placed(_line(*parts, pitch_m=pitch_m)).values()
    length_m = sum(straights) + 0.8 * abs(turn_rad)
    assert place.path.length_m == pytest.approx(length_m)
    assert place.pitch_m <= pitch_m * (1 + 1e-6)
    assert (place.dominoes - 1) * place.pitch_m == pytest.approx(length_m)
    assert (place.dominoes - 2) * pitch_m < length_m * (1 + 1e-6)  # one fewer would be too few
    x_m, y_m, _ = place.poses()
    assert (
        np.hypot(np.diff(x_m), np.diff(y_m)) <= place.pitch_m + 1e-12
    ).all()  # a chord is no longer than its arc


def test_to_a_point_turns_on_the_spot() -> None:
    # From (1, 2) 3 m along x, then to (4, 6): 4 m straight up.
    (place,) = _placed(_line(PathPart(straight_m=3.0), PathPart(to_m=(4.0, 6.0)), pitch_m=1.0)).values()
    x_m, y_m, yaw_rad = place.poses()
    np.testing.assert_allclose(x_m, [1, 2, 3, 4, 4, 4, 4, 4], atol=1e-12)
    np.testing.assert_allclose(y_m, [2, 2, 2, 2, 3, 4, 5, 6], atol=1e-12)
    np.testing.assert_allclose(yaw_rad, [0, 0, 0, 0, *[math.pi / 2] * 4], atol=1e-12)


def test_a_first_part_to_a_point_needs_no_direction() -> None:
    (place,) = _placed(_line(PathPart(to_m=(1.0, 1.0)), pitch_m=0.5, start_direction_rad=None)).values()
    np.testing.assert_allclose(place.poses()[2], -math.pi / 2)


def test_a_point_where_the_line_already_is_does_not_turn_it() -> None:
    path = (PathPart(straight_m=0.4), PathPart(to_m=(1.0, 2.4)), PathPart(straight_m=0.4))
    (place,) = _placed(_line(*path, pitch_m=0.2, start_direction_rad=math.pi / 2)).values()
    x_m, y_m, _ = place.poses()
    np.testing.assert_allclose(x_m, 1.0, atol=1e-12)
    assert y_m[-1] == pytest.approx(2.8)


def test_an_arc_after_a_point_goes_on_in_the_new_heading() -> None:
    # To (1, 3) up, then a quarter to the left of radius 1: ends at (0, 4) heading to -x.
    path = (PathPart(to_m=(1.0, 3.0)), PathPart(arc_radius_m=1.0, turn_rad=math.pi / 2))
    (place,) = _placed(_line(*path)).values()
    x_m, y_m, yaw_rad = (column[-1] for column in place.poses())
    assert (x_m, y_m, yaw_rad) == pytest.approx((0.0, 4.0, math.pi), abs=1e-9)


# ------------------------------------------------------------------ branches


def test_a_branch_leaves_the_end_one_pitch_on() -> None:
    trunk = _line(PathPart(straight_m=1.2))
    branch = _line(PathPart(straight_m=0.24), name="split", branch_of="lead-in")
    place = _placed(trunk, branch)[1]
    # The trunk's last domino stands at x = 2.2; ten more follow in a row.
    assert place.dominoes == 10
    np.testing.assert_allclose(place.poses()[0], 2.2 + 0.024 * np.arange(1, 11))


@pytest.mark.parametrize(("aside_m", "y_m"), [(0.013, 2.013), (-0.013, 1.987)])
def test_aside_is_positive_to_the_left(aside_m: float, y_m: float) -> None:
    trunk = _line(PathPart(straight_m=1.2))
    branch = _line(PathPart(straight_m=0.24), name="split", branch_of="lead-in", branch_aside_m=aside_m)
    np.testing.assert_allclose(_placed(trunk, branch)[1].poses()[1], y_m)


def test_aside_turns_with_the_line() -> None:
    # The trunk runs straight up from (1, 2); left of it is towards -x.
    trunk = _line(PathPart(straight_m=1.2), start_direction_rad=math.pi / 2)
    branch = _line(PathPart(straight_m=0.24), name="split", branch_of="lead-in", branch_aside_m=0.013)
    x_m, y_m, _ = _placed(trunk, branch)[1].poses()
    np.testing.assert_allclose(x_m, 0.987)
    np.testing.assert_allclose(y_m, 3.2 + 0.024 * np.arange(1, 11))


def test_a_branch_part_of_the_way_round_an_arc() -> None:
    # Trunk: a quarter to the left of radius 1 round (1, 3). Half way it is at (1 + sin 45, 3 - cos 45), heading
    # 45 degrees; the branch turns a further 45 to the left and goes straight up from there.
    trunk = _line(PathPart(arc_radius_m=1.0, turn_rad=math.pi / 2))
    branch = _line(
        PathPart(straight_m=0.24),
        name="split",
        branch_of="lead-in",
        branch_at_m=math.pi / 4,
        branch_turn_rad=math.pi / 4,
    )
    x_m, y_m, yaw_rad = _placed(trunk, branch)[1].poses()
    root = math.sqrt(0.5)
    np.testing.assert_allclose(x_m, 1 + root, atol=1e-12)
    np.testing.assert_allclose(y_m, 3 - root + 0.024 * np.arange(1, 11), atol=1e-12)
    np.testing.assert_allclose(yaw_rad, math.pi / 2, atol=1e-12)


def test_branches_of_branches() -> None:
    lines = [_line(PathPart(straight_m=0.24))]
    lines += [
        _line(
            PathPart(straight_m=0.24),
            name=f"split {n}",
            branch_of=lines[-1].name if n == 1 else f"split {n - 1}",
        )
        for n in (1, 2)
    ]
    x_m = np.concatenate([place.poses()[0] for place in _placed(*lines).values()])
    np.testing.assert_allclose(x_m, 1.0 + 0.024 * np.arange(31))


def test_a_branch_at_the_very_start_and_beyond_the_end() -> None:
    trunk = _line(PathPart(straight_m=1.2))
    at_start = _line(
        PathPart(straight_m=0.24), name="a", branch_of="lead-in", branch_at_m=0.0, branch_turn_rad=math.pi / 2
    )
    beyond = _line(PathPart(straight_m=0.24), name="b", branch_of="lead-in", branch_at_m=1.201)
    places, findings = place_lines(enumerate([trunk, at_start, beyond]))
    assert places[1].poses()[1][0] == pytest.approx(2.024)
    (finding,) = findings
    assert (finding.code, finding.where, finding.value) == ("B106", "line[2].branch_at_mm", 1201.0)


# ------------------------------------------------------------------ faults


def test_a_line_shorter_than_a_pitch_is_a_finding_and_its_branches_are_passed_over() -> None:
    short = _line(PathPart(straight_m=0.02))
    branch = _line(PathPart(straight_m=0.24), name="split", branch_of="lead-in")
    places, findings = place_lines(enumerate([short, branch]))
    assert places == {}
    assert [finding.code for finding in findings] == ["S405"]


def test_a_slip_of_units_is_a_finding() -> None:
    places, findings = place_lines([(7, _line(PathPart(straight_m=1000.0), pitch_m=0.0009))])
    assert places == {}
    assert [(finding.code, finding.where) for finding in findings] == [("B112", "line[7]")]
    assert findings[0].value > LINE_DOMINOES_MOST


@pytest.mark.parametrize(
    "part",
    [
        PathPart(),
        PathPart(arc_radius_m=1.0),
        PathPart(turn_rad=1.0),
        PathPart(arc_radius_m=1.0, turn_rad=0.0),
    ],
)
def test_a_part_that_says_nothing_is_passed_over(part: PathPart) -> None:
    assert place_lines([(0, _line(part))]) == ({}, [])


def _bite(radius_m: float, pitch_m: float) -> float:
    """Area in which two neighbouring pieces on a circle overlap, by shapely."""
    flat = box(-THICKNESS_M / 2, -WIDTH_M / 2, THICKNESS_M / 2, WIDTH_M / 2)
    outward = affinity.translate(flat, 0, -radius_m)  # on the circle round the origin, heading along x
    turned = affinity.rotate(outward, pitch_m / radius_m, origin=(0, 0), use_radians=True)
    return float(outward.intersection(turned).area)


@settings(max_examples=150, deadline=None, derandomize=True)
@given(st.floats(0.013, 0.3), st.integers(2, 8), st.floats(0.008, 0.05))
def test_arcs_are_tight_just_when_neighbours_bite(radius_m: float, gaps: int, pitch_m: float) -> None:
    turn_rad = gaps * pitch_m / radius_m
    if turn_rad > 2 * math.pi - pitch_m / radius_m or pitch_m / radius_m > 1.5:
        return  # round more than once, or neighbours that do not face one another
    line = _line(PathPart(arc_radius_m=radius_m, turn_rad=turn_rad), pitch_m=pitch_m)
    findings = tight_arcs([(0, line)], _placed(line), WIDTH_M, THICKNESS_M)
    bite_m2 = _bite(radius_m, pitch_m)
    if bite_m2 == 0 or bite_m2 > 1e-10:  # a ten-thousandth of a square millimetre is rounding
        assert bool(findings) == (bite_m2 > 0)
    assert {(finding.code, finding.where) for finding in findings} <= {("S406", "line[0].path[0]")}


def test_tight_arcs_name_the_part() -> None:
    line = _line(
        PathPart(straight_m=0.5),
        PathPart(arc_radius_m=0.012, turn_rad=3.0),
        PathPart(arc_radius_m=0.8, turn_rad=1.0),
    )
    (finding,) = tight_arcs([(3, line)], place_lines([(3, line)])[0], WIDTH_M, THICKNESS_M)
    assert (finding.code, finding.where) == ("S406", "line[3].path[1]")


def test_lines_that_are_too_many_together_are_a_finding() -> None:
    # Two lines of 600,001 pieces each: either could pass, both together are more than a million.
    lines = [_line(PathPart(straight_m=14_400.0), name=f"line {n}") for n in range(2)]
    places, findings = place_lines(enumerate(lines))
    assert [place.dominoes for place in places.values()] == [600_001, 600_001]
    assert [(finding.code, finding.where, finding.value) for finding in findings] == [
        ("B112", "line", 1_200_002)
    ]
