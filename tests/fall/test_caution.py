"""Findings about a fall that leaves what the model knows: where each must be, and close by where it must not."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from fall_builds import (
    BATTEN,
    FINGER,
    HEIGHT_M,
    PITCH_M,
    THICKNESS_M,
    WIDTH_M,
    Predict,
    codes,
    even,
    group,
    join,
    mural,
    row,
    told,
)

from standfall.fall.prediction import Prediction
from standfall.findings import Finding
from standfall.mural.standing import Standing


def the(prediction: Prediction, code: str) -> Finding:
    """Return the only finding with this code."""
    (finding,) = told(prediction, code)
    return finding


def with_gap(gap_heights: float, count: int = 1) -> Standing:
    """Return a row in which the gaps after the sixth piece, place 5, are so wide."""
    return row([0.3] * 5 + [gap_heights] * count + [0.3] * 4)


# --- gaps


def test_wide_gaps(predict: Predict) -> None:
    finding = the(predict(with_gap(0.85), FINGER), "F706")
    # 0.85 x 48 = 40.8 mm; 0.8 x 48 = 38.4 mm.
    assert (finding.where, finding.value, finding.limit) == (
        "line lead-in",
        "40.8 mm",
        "38.4 mm, 0.8 of the height",
    )
    assert finding.message.startswith("1 pieces")
    assert finding.message.endswith(": lead-in place 6")
    assert "14.4 mm" in finding.next_step  # 0.3 x 48
    assert not told(predict(with_gap(0.79), FINGER), "F706")


@pytest.mark.parametrize("x_m", [0.3, 1.0, 1.7])
def test_a_gap_at_a_limit_is_within_it_wherever_it_is(predict: Predict, x_m: float) -> None:
    """Places in the hall are rounded to 1e-16 m, and gaps with them: that must not make a finding."""
    assert not told(predict(row([0.8] * 8, x_m=x_m), FINGER), "F706")
    assert not told(predict(row([0.1] * 8, x_m=x_m), FINGER), "F710")
    # The slippery limits are the first gap that is too wide.
    slippery = predict(row([0.7] * 8, x_m=x_m), FINGER, fall={"floor_friction": 0.15})
    assert the(slippery, "F709").message.count("these 8 gaps") == 1


def test_narrow_gaps(predict: Predict) -> None:
    finding = the(predict(with_gap(0.09, 3), FINGER), "F710")
    assert (finding.where, finding.value) == ("line lead-in", "4.3 mm")  # 0.09 x 48
    # 4.8 is a tenth of 48. Dies below 2 d^3 / (h^2 - d^2) (1 + 4.4 x 0.2) = 0.375 x 1.88 = 0.71 mm (docs/fall.md).
    assert finding.limit == "4.8 mm, a tenth of the height; nothing falls at 0.7 mm"
    assert "lead-in place 6; lead-in place 7; lead-in place 8" in finding.message
    assert not told(predict(with_gap(0.11, 3), FINGER), "F710")


@pytest.mark.parametrize(
    ("friction", "gap_heights", "slips"),
    [
        (0.19, 0.71, True),
        (0.19, 0.69, False),
        (0.21, 0.71, False),
        (0.21, 0.76, True),
        (0.29, 0.76, True),
        (0.29, 0.74, False),
        (0.3, 0.79, False),
    ],
)
def test_slippery_floors(predict: Predict, friction: float, gap_heights: float, slips: bool) -> None:
    # Rigid-body runs (docs/fall.md): feet slide back under 0.2 from 0.7 h, under 0.3 from 0.75 h.
    found = told(predict(with_gap(gap_heights), FINGER, fall={"floor_friction": friction}), "F709")
    assert bool(found) == slips
    if slips:
        assert found[0].value == f"floor friction {friction}, gap {48 * gap_heights:.1f} mm"
        assert found[0].message.endswith(": lead-in place 6")


# --- turns, overlap, side sweeps


def bent(deg: float, count: int = 5) -> Standing:
    """Return a row that turns by so much at each piece from place 5 on."""
    yaw = np.radians(deg) * np.concatenate([np.zeros(5), np.arange(1, count + 1)])
    chord = 0.5 * (yaw[1:] + yaw[:-1])
    x = 1 + np.concatenate([[0], np.cumsum(PITCH_M * np.cos(chord))])
    y = 1 + np.concatenate([[0], np.cumsum(PITCH_M * np.sin(chord))])
    return group(x, y, yaw)


def test_sharp_turns(predict: Predict) -> None:
    finding = the(predict(bent(13), FINGER), "F707")
    assert (finding.where, finding.value, finding.limit) == (
        "line lead-in",
        "13 degrees",
        "12 degrees from piece to piece",
    )
    assert finding.message.startswith("5 pieces")
    assert "lead-in place 5; lead-in place 6" in finding.message
    assert the(predict(bent(-13), FINGER), "F707").value == "13 degrees"
    assert not told(predict(bent(12), FINGER), "F707")
    # A full turn of 360 degrees in the yaw of the second half changes nothing.
    around = bent(11)
    around.yaw_rad[6:] -= 2 * math.pi
    assert not told(predict(around, FINGER), "F707")


def stepped(widths: float) -> Standing:
    """Return a row whose pieces from place 5 on stand so many widths to the left."""
    return replace(even(10), y_m=1 + np.where(np.arange(10) >= 5, widths * WIDTH_M, 0.0))


def test_small_overlaps(predict: Predict) -> None:
    finding = the(predict(stepped(0.8), FINGER), "F708")
    assert (finding.where, finding.value, finding.limit) == ("line lead-in", "20 %", "25 % of the width")
    assert finding.message.endswith(": lead-in place 5")
    assert not told(predict(stepped(0.75), FINGER), "F708")
    assert not told(predict(stepped(-0.74), FINGER), "F708")


def side_by_side(aside_widths: float, neighbour_m: tuple[float, float]) -> Standing:
    """Return a stepped row and one more piece, ahead and to the left of place 5, in a line of its own."""
    base = stepped(aside_widths)
    return join(
        base, group([base.x_m[5] + neighbour_m[0]], [base.y_m[5] + neighbour_m[1]], 0.0, line=1, row=0)
    )


def test_side_sweeps(predict: Predict) -> None:
    # Met on its right tenth, place 5 turns left by up to 55 degrees: the front of its fall then passes 30 mm to
    # its left, where the straight fall, 12 mm to either side, never comes.
    left, right = (0.025, 0.030), (0.025, -0.045)
    finding = the(predict(side_by_side(0.9, left), FINGER), "F712")
    assert (finding.where, finding.value) == ("line lead-in", "55 degrees at most")
    assert "lead-in place 5; the first may meet second place 0" in finding.message
    # Not on the other side, not out of reach, not when it is met by more than half; and mirrored on the mirror.
    assert not told(predict(side_by_side(0.9, right), FINGER), "F712")
    assert not told(predict(side_by_side(0.9, (0.025, 0.070)), FINGER), "F712")
    assert not told(predict(side_by_side(0.45, left), FINGER), "F712")
    assert told(predict(side_by_side(-0.9, (0.025, -0.030)), FINGER), "F712")
    assert not told(predict(side_by_side(-0.9, (0.025, 0.045)), FINGER), "F712")


def test_a_neighbour_that_leans_already_is_not_swept(predict: Predict) -> None:
    standing = side_by_side(0.9, (0.025, 0.030))
    early = {"kind": "finger", "line": "second", "speed_mm_s": 500, "strike_height_mm": 36}
    assert not told(predict(standing, FINGER, early), "F712")
    assert told(predict(standing, FINGER, early | {"delay_s": 5}), "F712")


@pytest.mark.parametrize("columns", [2, 7, 12])
def test_a_half_offset_field_with_a_flat_front_sweeps_into_nobody(predict: Predict, columns: int) -> None:
    prediction = predict(mural(12, columns, half=True), BATTEN)
    assert prediction.fall.standing == 0
    assert codes(prediction) == set()


# --- stacks, directions, meetings, ends, walls, margins


def test_stacks(predict: Predict) -> None:
    finding = the(predict(mural(6, 4, upper=(1, 5)), BATTEN), "F711")
    assert (finding.where, finding.value, finding.limit) == ("field mural", 8, "one layer")
    assert "mural row 1 column 0, upper layer" in finding.message
    assert finding.message.endswith("and 3 more")
    assert not told(predict(mural(6, 4), BATTEN), "F711")


def facing(first: int, second: int) -> Standing:
    """Return two lines that fall towards one another, their last faces a usual gap apart."""
    return join(even(first), even(second, x_m=1 + PITCH_M * (first + second - 1), deg=180, line=1))


def test_against_their_direction(predict: Predict) -> None:
    prediction = predict(facing(7, 9), FINGER)
    finding = the(prediction, "F713")
    assert (finding.where, finding.value, finding.limit) == ("line second", 9, 0)
    assert "second place 0; second place 1" in finding.message
    assert prediction.fall.standing == 0
    # It runs out of that line at its first piece, and of the other nowhere.
    assert [end.where for end in told(prediction, "F715")] == ["line second"]
    assert "first piece, place 0" in told(prediction, "F715")[0].message
    assert not told(predict(even(7), FINGER), "F713")


def test_fronts_that_meet(predict: Predict) -> None:
    finding = the(predict(facing(7, 7), FINGER, FINGER | {"line": "second"}), "F714")
    # Alike and let go together, each line is felled to its last piece: these two fall on one another.
    assert (finding.where, finding.value, finding.grade) == ("line lead-in", 2, "notes")
    assert "lead-in place 6; second place 6" in finding.message
    # Let go late, the second finds all of its pieces fallen.
    assert not told(predict(facing(7, 7), FINGER, FINGER | {"line": "second", "delay_s": 9}), "F714")
    # Back to back they run apart.
    apart = join(even(7), even(7, x_m=1 - PITCH_M, deg=180, line=1))
    assert not told(predict(apart, FINGER, FINGER | {"line": "second"}), "F714")


@pytest.mark.parametrize("missing", [0, 12])
def test_a_line_that_closes_on_itself(predict: Predict, missing: int) -> None:
    angle = 2 * math.pi * np.arange(60 - missing) / 60
    radius_m = PITCH_M * 60 / (2 * math.pi)  # 6 degrees a piece, so no sharp turn
    ring = group(2 + radius_m * np.sin(angle), 2 - radius_m * np.cos(angle), angle)
    prediction = predict(ring, FINGER)
    assert prediction.fall.standing == 0
    if missing:
        assert codes(prediction) == {"F715"}
    else:
        # The last falls where the first lies since long, and the ring has no end.
        assert codes(prediction) == {"F714"}
        assert the(prediction, "F714").message.endswith("at 1 places: lead-in place 0")


def test_line_ends(predict: Predict) -> None:
    # Line 0 leads into line 1 (across, so that its last piece meets it at right angles), which ends in the air.
    end_m = 1 + 9 * PITCH_M
    meets = group([end_m + PITCH_M] * 8, 1 + PITCH_M * np.arange(8), math.pi / 2, line=1)
    finding = the(predict(join(even(10), meets), FINGER), "F715")
    assert finding.where == "line second"
    assert finding.value == f"x {end_m + PITCH_M:.3f} m, y {1 + 7 * PITCH_M:.3f} m"
    assert finding.limit == "another piece within 48.0 mm ahead of it"
    # Whoever waits for it is its end.
    third = even(3, y_m=3.0, line=2)
    waited = predict(join(even(10), meets, third), FINGER, FINGER | {"line": "third", "waits_for": "second"})
    assert [end.where for end in told(waited, "F715")] == ["line third"]


def test_walls(predict: Predict) -> None:
    # The hall ends at x = 6 m. The last piece lies from its leading face, 3.75 mm ahead, over another 48 mm.
    reach_m = THICKNESS_M / 2 + HEIGHT_M
    for room_m, hits in ((reach_m + 0.0005, 0), (reach_m - 0.0005, 1), (reach_m - 0.0005 - 2 * PITCH_M, 3)):
        found = told(predict(even(10, x_m=6 - room_m - 9 * PITCH_M), FINGER), "F716")
        assert [finding.value for finding in found] == ([hits] if hits else [])
    assert found[0].where == "line lead-in"
    assert "lead-in place 7; lead-in place 8; lead-in place 9" in found[0].message


def test_a_wall_behind_a_piece_that_falls_the_other_way(predict: Predict) -> None:
    near = even(10, x_m=5.98 - 9 * PITCH_M)  # its last piece 16 mm from the wall
    assert told(predict(near, FINGER), "F716")
    backward = {"kind": "finger", "place_m": [5.9955, 1.0], "direction_deg": 180, "speed_mm_s": 500}
    prediction = predict(near, backward)
    assert prediction.fall.backward.all()
    assert not told(prediction, "F716")
    # And the other end of the hall.
    far = replace(near, x_m=near.x_m - near.x_m[0] + 0.02)
    assert not told(predict(far, FINGER), "F716")
    from_right = {"kind": "finger", "place_m": [float(far.x_m[-1]) + 0.02, 1.0], "direction_deg": 180}
    assert the(predict(far, from_right | {"speed_mm_s": 500}), "F716").value == 2  # at 20 and 41.9 mm


def test_little_margin(predict: Predict) -> None:
    # A piece alone needs the energy m g (2R - h) / 2 of its start. What it keeps is what it had more than that:
    # with 1.04 times the speed 1 - 1 / 1.0816 = 7.5 %, with 1.07 times 12.7 %.
    least = predict(even(20), FINGER).starters[0].needed_speed_m_s
    little, enough = (
        predict(even(20), FINGER | {"speed_mm_s": 1000 * least * more}) for more in (1.04, 1.07)
    )
    finding = the(little, "F718")
    assert finding.where == "line lead-in"
    assert float(str(finding.value).removesuffix(" %")) == pytest.approx(7.5, abs=0.3)
    assert finding.message.endswith(": lead-in place 0")
    assert little.fall.standing == 0
    assert not told(enough, "F718")


def test_homes_are_told_in_the_order_of_the_brief(predict: Predict) -> None:
    """Fields first, then lines, each with its own finding and count."""
    wide_m = 0.85 * HEIGHT_M + THICKNESS_M
    standing = join(
        mural(4, 2, pitch_m=wide_m),
        replace(mural(3, 3, pitch_m=wide_m), field=np.ones(9, np.int16), x_m=mural(3, 3).x_m + 1),
        even(3, 0.85, y_m=1.0),
        even(5, 0.85, y_m=0.5, line=1),
    )
    prediction = predict(standing, BATTEN, BATTEN | {"field": "sign"}, FINGER, FINGER | {"line": "second"})
    found = told(prediction, "F706")
    assert [finding.where for finding in found] == [
        "field mural",
        "field sign",
        "line lead-in",
        "line second",
    ]
    # All but the first row of each: 3 x 2, 2 x 3, 2 and 4.
    assert [finding.message.split()[0] for finding in found] == ["6", "6", "2", "4"]
