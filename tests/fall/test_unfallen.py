"""Who stays standing and why: groups, their sizes and places counted by hand; and gaps that may be crossed."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from fall_builds import (
    BATTEN,
    FINGER,
    HEIGHT_M,
    PITCH_M,
    THICKNESS_M,
    Predict,
    even,
    group,
    join,
    mural,
    row,
    told,
)

from standfall.fall.falling import STALLED
from standfall.fall.prediction import Prediction
from standfall.mural.standing import STANDING_TYPES, Standing


def groups(prediction: Prediction) -> list[tuple[str, Any]]:
    return [(finding.where, finding.value) for finding in told(prediction, "F705")]


def without(standing: Standing, gone: Any) -> Standing:
    kept = np.setdiff1d(np.arange(len(standing)), gone)
    return Standing(**{name: getattr(standing, name)[kept] for name in STANDING_TYPES})


def test_nobody(predict: Predict) -> None:
    assert groups(predict(even(10), FINGER)) == []


@pytest.mark.parametrize(
    ("gap_heights", "friction", "unsure"),
    [
        # 1.5 heights stop a fall on 0.3 and more, 2.2 on 0.15, 1.85 halfway (docs/fall.md).
        (1.02, 0.4, True),
        (1.48, 0.4, True),
        (1.52, 0.4, False),
        (1.83, 0.225, True),
        (1.87, 0.225, False),
        (2.18, 0.15, True),
        (2.22, 0.15, False),
    ],
)
def test_a_gap(predict: Predict, gap_heights: float, friction: float, unsure: bool) -> None:
    prediction = predict(
        row([0.3] * 4 + [gap_heights] + [0.3] * 6), FINGER, fall={"floor_friction": friction}
    )
    assert groups(prediction) == [("line lead-in", 7)]
    assert prediction.fall.fallen == 5
    (stays,) = told(prediction, "F705")
    assert "7 dominoes" in stays.message
    assert "lead-in place 5; lead-in place 6" in stays.message
    assert stays.message.endswith("and 2 more")
    crossing = told(prediction, "F717")
    assert bool(crossing) == unsure
    if unsure:
        told_mm = f"{48 * gap_heights:.1f} mm"
        assert f"the gap of {told_mm} from lead-in place 4 to lead-in place 5" in stays.message
        assert (crossing[0].where, crossing[0].value) == ("line lead-in", told_mm)
        assert crossing[0].message.startswith("1 gaps")
        assert crossing[0].message.endswith("lead-in place 4")
    else:
        assert "no falling piece reaches them" in stays.message
    # It is crossed when it is less than a height.
    assert groups(predict(row([0.3] * 4 + [0.95] + [0.3] * 6), FINGER)) == []


def test_a_missing_stretch(predict: Predict) -> None:
    # One missing at 0.3 h leaves 36.3 mm, within reach; two leave 58.2 mm, beyond 48; three 80.1, beyond 72.
    whole = even(20)
    assert groups(predict(without(whole, [9]), FINGER)) == []
    for gone, reason in (
        ([9, 10], "the gap of 58.2 mm from lead-in place 8 to lead-in place 11"),
        ([9, 10, 11], "no falling piece reaches them"),
    ):
        prediction = predict(without(whole, gone), FINGER)
        assert groups(prediction) == [("line lead-in", 20 - 1 - gone[-1])]
        assert reason in told(prediction, "F705")[0].message


def test_a_missing_row_of_a_field(predict: Predict) -> None:
    field = mural(12, 5)
    prediction = predict(without(field, np.flatnonzero((field.row >= 7) & (field.row < 9))), BATTEN)
    # Each column stands for itself from row 9 on.
    assert groups(prediction) == [("field mural", 3)] * 5
    assert [f.message.split(": ")[1].split(";")[0] for f in told(prediction, "F705")] == [
        f"mural row 9 column {column}" for column in range(5)
    ]
    (crossing,) = told(prediction, "F717")
    assert crossing.message.startswith("5 gaps")


def test_a_fall_that_dies(predict: Predict) -> None:
    # Gaps of 0.5 mm, below the 0.71 mm at which any fall dies: it dies there, at a piece that is struck.
    prediction = predict(row([0.3] * 20 + [0.0104] * 60), FINGER)
    (stalled,) = np.flatnonzero(prediction.fall.state == STALLED)
    (finding,) = told(prediction, "F705")
    assert finding.value == 81 - stalled == prediction.fall.standing
    assert f"the fall dies at lead-in place {stalled}, which is struck too weakly" in finding.message
    assert f": lead-in place {stalled}; lead-in place {stalled + 1};" in finding.message


def test_islands_are_told_largest_first(predict: Predict) -> None:
    island = mural(4, 3)
    standing = join(
        replace(island, field=np.ones(12, np.int16)),
        even(6),
        even(5, y_m=3.0, line=1),
        group([4.0, 4.5], [4.0, 4.0], 0.0, line=2),
    )
    prediction = predict(standing, FINGER)
    # The field's columns stand 27 mm apart and reach one another no more than lines do.
    assert groups(prediction) == [
        ("line second", 5),
        ("field sign", 4),
        ("field sign", 4),
        ("field sign", 4),
        ("line third", 1),
        ("line third", 1),
    ]
    assert all("no falling piece reaches them" in finding.message for finding in told(prediction, "F705"))
    assert not told(prediction, "F717")


def test_a_half_offset_field_hangs_together(predict: Predict) -> None:
    prediction = predict(join(mural(6, 4, half=True), even(3, y_m=3.0)), FINGER)
    assert groups(prediction) == [("field mural", 24)]


def test_at_most_twenty_groups_are_told_one_by_one(predict: Predict) -> None:
    lone = group(1 + 0.1 * np.arange(23), np.full(23, 3.0), 0.0, line=1)
    standing = join(even(3), lone, even(2, y_m=4.0, line=2))
    prediction = predict(standing, FINGER)
    # The pair first, 19 of the 23 after it, and the last 4 together.
    assert groups(prediction) == [("line third", 2)] + [("line second", 1)] * 19 + [("line second", 4)]
    assert "4 smaller groups" in told(prediction, "F705")[-1].message
    assert sum(value for _, value in groups(prediction)) == prediction.fall.standing == 25


def test_who_is_shielded_by_a_piece_that_stays_up(predict: Predict) -> None:
    """Place 0 leans on the first of a heavy block and never gets to the piece a little further on beside it."""
    # Straight ahead twelve pieces nearly face on face, on which a push dies; half a width aside one at a wider gap.
    ahead = 1 + 0.010 + THICKNESS_M + np.arange(12) * (THICKNESS_M + 0.0001)
    standing = join(
        group(np.concatenate([[1.0], ahead]), [1.0, *[1.0 - 0.013] * 12], 0.0),
        group([1 + 0.016 + THICKNESS_M], [1.0 + 0.013], 0.0, line=1),
    )
    prediction = predict(standing, FINGER | {"speed_mm_s": 100})
    assert STALLED in prediction.fall.state[1:13]
    shielded = [f for f in told(prediction, "F705") if f.where == "line second"]
    assert [f.value for f in shielded] == [1]
    assert (
        "lead-in place 0 comes to lean on another piece before it gets to second place 0"
        in shielded[0].message
    )


def test_without_a_push_that_is_all_there_is_to_say(predict: Predict) -> None:
    assert not told(predict(even(5)), "F705")
    aimed_off = {"kind": "finger", "place_m": [5, 4], "direction_deg": 0, "speed_mm_s": 300}
    assert groups(predict(even(5), aimed_off)) == [("line lead-in", 5)]


def test_backward_fronts_stop_at_gaps_too(predict: Predict) -> None:
    standing = row([0.3] * 4 + [1.2] + [0.3] * 4)
    end_m = float(standing.x_m[-1])
    backward = {"kind": "finger", "place_m": [end_m + 0.02, 1.0], "direction_deg": 180, "speed_mm_s": 500}
    prediction = predict(standing, backward)
    assert groups(prediction) == [("line lead-in", 5)]
    assert "the gap of 57.6 mm from lead-in place 5 to lead-in place 4" in told(prediction, "F705")[0].message
    (crossing,) = told(prediction, "F717")
    assert crossing.message.endswith("lead-in place 5")
    assert PITCH_M < HEIGHT_M
