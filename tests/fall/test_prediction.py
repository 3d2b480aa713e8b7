"""A whole prediction: builds as data in, the fall and its findings out. Other tests of findings use the builders."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from fall_builds import (
    BATTEN,
    FINGER,
    HEIGHT_M,
    LINES,
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
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

import standfall
from standfall.fall.falling import FALLEN, STALLED, UNTOUCHED
from standfall.fall.prediction import Prediction, predict_fall, with_trials
from standfall.fall.trial import Interval, Seam, Trials
from standfall.fall.used import edge_sources
from standfall.mural.standing import Standing


def test_a_good_build_has_nothing_but_what_is_taken_for_granted(predict: Predict) -> None:
    prediction = predict(mural(20, 12), BATTEN)
    assert codes(prediction) == set()
    (granted,) = told(prediction, "F720")
    assert granted.value == "domino friction 0.2, floor friction 0.4"  # the brief's own when it says nothing
    assert not prediction.blocked
    assert (prediction.fall.fallen, prediction.fall.standing) == (240, 0)
    # All columns alike: the front is flat, and each row is struck at one moment.
    struck_s = prediction.fall.struck_s.reshape(20, 12)
    np.testing.assert_allclose(struck_s, np.repeat(struck_s[:, :1], 12, axis=1), atol=1e-9)


def test_no_starter(predict: Predict) -> None:
    prediction = predict(even(10))
    assert codes(prediction) == {"F701", "F715"}
    assert prediction.blocked
    assert prediction.summary()["fallen"] == 0
    assert codes(predict(even(10), FINGER)) == {"F715"}


def test_nothing_stands(predict: Predict) -> None:
    nothing = group([], [], [])
    assert codes(predict(nothing)) == {"F701"}
    prediction = predict(nothing, FINGER)
    assert codes(prediction) == {"F702"}
    figures = json.loads(json.dumps(prediction.summary(), allow_nan=False))
    assert (figures["fallen"], figures["total_s"], figures["safety_gap_mm"]) == (0, 0.0, None)


def test_everything_is_wrong_at_once(predict: Predict) -> None:
    """Each line and starter has its fault; each is told, where it is, the worst grade first."""
    standing = join(
        row([0.3] * 5 + [0.85, 0.05, 0.3, 1.2] + [0.3] * 4),
        even(6, x_m=5.87, y_m=2.0, line=1),  # its last piece's face at x 5.983: less than 48 mm to the wall
        group([3, 3.022, 3.044], [3, 3, 3], np.radians([0, 13, 13]), line=2),
        mural(4, 3, upper=(1,)),
    )
    prediction = predict(
        standing,
        FINGER,
        FINGER | {"line": "second", "waits_for": "third"},
        {"kind": "finger", "place_m": [5.0, 4.0], "direction_deg": 0, "speed_mm_s": 300},
        FINGER | {"line": "third", "speed_mm_s": 60},
        {
            "kind": "finger",
            "place_m": [1.027, 1.58],
            "direction_deg": -90,
            "speed_mm_s": 300,
            "width_mm": 80,
        },
        fall={"floor_friction": 0.15, "vibration_mm_s": 100, "vibration_hz": 10},
    )
    found = {(finding.code, finding.where) for finding in prediction.findings}
    # 1.2 h is more than a height and less than the 2.2 h that stop a fall on a floor of 0.15.
    assert found == {
        ("F702", "starter[2] push 2"),
        ("F703", "starter[3] push 3"),
        ("F704", "starter[1] push 1"),
        ("F705", "line lead-in"),
        ("F705", "line second"),
        ("F705", "line third"),
        ("F706", "line lead-in"),
        ("F709", "line lead-in"),
        ("F710", "line lead-in"),
        ("F711", "field mural"),
        ("F713", "field mural"),
        ("F715", "line lead-in"),
        ("F715", "line second"),
        ("F716", "line second"),
        ("F717", "line lead-in"),
        ("F719", "fall"),
        ("F720", "fall"),
    }
    grades = [finding.grade for finding in prediction.findings]
    assert grades == sorted(grades, key=["blocks", "warns", "notes"].index)
    assert len(prediction.findings) == len(found)
    json.dumps(prediction.summary(), allow_nan=False)


def test_the_small_brief_planned_the_public_way(
    small: dict[str, Any], write_brief: Callable[[dict[str, Any]], Path]
) -> None:
    plan = standfall.plan(standfall.read_brief(write_brief(small))).plan
    assert plan is not None
    prediction = predict_fall(plan.brief, plan.standing)
    fall, standing = prediction.fall, plan.standing
    assert [figure.name for figure in prediction.starters] == [s.name for s in plan.brief.starters]
    # The batten lets go half a second after the line's last domino is struck, and strikes at once.
    last = np.flatnonzero(standing.line == 0)[-1]
    batten = (standing.field == 0) & (standing.row == 0) & (standing.layer == 0) & (standing.col <= 15)
    np.testing.assert_allclose(fall.struck_s[batten & (fall.starter == 1)], fall.struck_s[last] + 0.5)
    assert (fall.starter[batten] == 1).all()
    assert {finding.where for finding in told(prediction, "F711")} == {"field mural"}
    assert_consistent(prediction)


@pytest.mark.parametrize("upper", [(18, 19), (0,), (5,)])
def test_the_upper_layer_falls_with_the_lower(predict: Predict, upper: tuple[int, ...]) -> None:
    standing = mural(20, 4, upper=upper)
    prediction = predict(standing, BATTEN)
    fall = prediction.fall
    assert fall.standing == 0
    for number in np.flatnonzero(standing.layer == 1):
        (foot,) = np.flatnonzero(
            (standing.layer == 0)
            & (standing.row == standing.row[number])
            & (standing.col == standing.col[number])
        )
        assert fall.striker[number] == foot
        for name in ("struck_s", "omega_rad_s", "down_s", "state", "backward"):
            assert getattr(fall, name)[number] == getattr(fall, name)[foot]
        assert np.isnan(fall.speed_m_s[number])
        assert np.isnan(fall.margin[number])
    # The bare field takes the same times.
    np.testing.assert_array_equal(fall.struck_s[:80], predict(mural(20, 4), BATTEN).fall.struck_s)


def test_the_upper_layer_stays_where_the_lower_does(predict: Predict) -> None:
    standing = mural(10, 1, upper=(7, 8))
    standing.y_m[standing.row >= 6] += 2 * HEIGHT_M  # a gap of 2.3 h before row 6
    prediction = predict(standing, BATTEN)
    assert prediction.fall.fallen == 6
    assert (prediction.fall.state[6:] == UNTOUCHED).all()
    # Four on the floor hang together, and two above them.
    assert sorted(finding.value for finding in told(prediction, "F705")) == [2, 4]


def test_stance(predict: Predict) -> None:
    # A third of what tips it: atan(7.5 / 48) = 8.88 degrees, so 2.96; 52 mm/m is 2.98 degrees, 51 is 2.92.
    (steep,) = told(predict(mural(5, 3), BATTEN, fall={"floor_slope_mm_per_m": 52}), "F719")
    assert (steep.where, steep.value, steep.limit) == ("fall", "2.98 degrees", "2.96 degrees")
    assert not told(predict(mural(5, 3), BATTEN, fall={"floor_slope_mm_per_m": 51}), "F719")
    # 2 pi f v = 0.5125 m/s2 at 10 Hz is 5.2 % of g, a third of 15.6 %; 8.1 mm/s is 0.509 m/s2, 8.3 is 0.522.
    shaking = {"vibration_hz": 10}
    assert told(predict(mural(5, 3), BATTEN, fall=shaking | {"vibration_mm_s": 8.3}), "F719")
    assert not told(predict(mural(5, 3), BATTEN, fall=shaking | {"vibration_mm_s": 8.1}), "F719")


def chance(value: float, low: float, high: float) -> Interval:
    return Interval(value, low, high, "by hand")


def trials_of(count: int, all_fall: Interval, no_touch: Interval) -> Trials:
    return Trials(
        trials=400,
        seed=7,
        standing=(np.arange(400) < round(400 * (1 - all_fall.value))).astype(np.int32),
        stood=np.zeros(count, np.int32),
        chance_all_fall=all_fall,
        mean_standing=chance(0.1, 0.0, 0.2),
        chance_no_touch=no_touch,
        largest_seam_error_m=math.nan,
        seams=(Seam(1, 2, 0.01, "gap too wide", 1.0, 2.0),),
    )


SURE = chance(1.0, 0.9908, 1.0)  # 400 of 400: 1 - 0.025**(1 / 400) = 0.0092 may fail (Clopper-Pearson)
UNSURE = chance(0.985, 0.9676, 0.9945)


@pytest.mark.parametrize(
    ("all_fall", "no_touch", "expected"),
    [
        (SURE, SURE, set()),
        (chance(0.995, 0.99, 1.0), SURE, set()),  # 99 % is enough
        (UNSURE, SURE, {"F721"}),
        (SURE, UNSURE, {"F722"}),
        (UNSURE, chance(0.0, 0.0, 0.01), {"F721", "F722"}),
    ],
)
def test_trials(predict: Predict, all_fall: Interval, no_touch: Interval, expected: set[str]) -> None:
    bare = predict(mural(5, 3), BATTEN)
    prediction = with_trials(bare, trials_of(15, all_fall, no_touch))
    assert codes(prediction) == expected
    assert all(finding.where == "trials" for finding in prediction.findings if finding.code != "F720")
    figures = json.loads(json.dumps(prediction.summary(), allow_nan=False))
    assert figures["chance_all_fall"]["value"] == all_fall.value
    assert figures["largest_seam_error_mm"] is None
    # Tried again, better: what was said of the first trials goes.
    assert codes(with_trials(prediction, trials_of(15, SURE, SURE))) == set()


def test_what_trials_say(predict: Predict) -> None:
    bare = predict(mural(5, 3), BATTEN)
    prediction = with_trials(bare, trials_of(15, UNSURE, chance(0.25, 0.2, 0.3)))
    (fall,), (touch,) = told(prediction, "F721"), told(prediction, "F722")
    assert (fall.value, fall.limit) == ("96.76 to 99.45 % (95 % interval)", "99 %")
    assert "98.50 %" in fall.message
    assert "14.4 mm" in fall.next_step  # 0.3 of 48 mm
    assert "75.0 %" in touch.message
    assert touch.value == "20.0 to 30.0 % of builds without a touch"


def test_advice_where_no_gap_is_good(predict: Predict) -> None:
    """Pieces 40 mm thick and 48 mm high: with one missing the hole is 40 mm, more than 0.8 h."""
    domino = {"thickness_mm": 40}
    standing = group(1 + 0.044 * np.arange(5), np.ones(5), 0.0)  # gaps of 4 mm
    prediction = predict(standing, FINGER | {"speed_mm_s": 20_000}, domino=domino)
    assert prediction.summary()["design_gap_mm"]["advised"] is None
    again = with_trials(prediction, trials_of(5, UNSURE, UNSURE))
    texts = json.dumps([finding.as_dict() for finding in again.findings])
    assert "nan" not in texts
    assert "inf " not in texts
    assert {"F710", "F721"} <= codes(again)


# --- whatever stands on the floor and however it is pushed


def assert_consistent(prediction: Prediction) -> None:
    """Check what must hold of every fall, from the arrays alone."""
    fall, count = prediction.fall, len(prediction.fall)
    struck = np.isfinite(fall.struck_s)
    np.testing.assert_array_equal(struck, fall.striker != -2)
    np.testing.assert_array_equal(struck, fall.state != UNTOUCHED)
    np.testing.assert_array_equal(struck, np.isfinite(fall.omega_rad_s))
    by_piece = np.flatnonzero(fall.striker >= 0)
    assert (fall.struck_s[fall.striker[by_piece]] <= fall.struck_s[by_piece]).all()
    assert (fall.state[fall.striker[by_piece]] == FALLEN).all()
    assert (fall.starter[fall.striker == -1] >= 0).all()
    fallen = fall.state == FALLEN
    assert (fall.down_s[fallen] > fall.struck_s[fallen]).all()
    assert np.isnan(fall.down_s[~fallen]).all()
    assert fall.total_s == (fall.down_s[fallen].max() if fallen.any() else 0.0)
    assert np.all((fall.margin[struck] >= 0) & (fall.margin[struck] <= 1) | np.isnan(fall.margin[struck]))
    # Whoever stays up within easy reach of one that fell was shielded: that one leans on a third.
    contacts = prediction.contacts
    source = edge_sources(contacts)
    striker, target = source % count, contacts.target % count
    easy = (contacts.gap_m < 0.8 * HEIGHT_M) & (contacts.overlap > 0.25)
    easy &= np.abs(contacts.turn_rad) < math.radians(12)
    live = (fall.state[striker] == FALLEN) & (fall.backward[striker] == (source >= count))
    missed = np.flatnonzero(easy & live & (fall.state[target] == UNTOUCHED))
    leans = np.zeros(count, dtype=bool)
    leans[striker[live & np.isfinite(fall.struck_s[target])]] = True
    assert leans[striker[missed]].all()
    blocking = [finding for finding in prediction.findings if finding.grade == "blocks"]
    assert bool(blocking) or fall.standing == 0
    assert sum(f.value for f in told(prediction, "F705") if isinstance(f.value, int)) == fall.standing
    figures = json.dumps(prediction.summary(), allow_nan=False)
    assert " nan" not in figures


def apart(x_m: NDArray[Any], y_m: NDArray[Any], yaw_rad: NDArray[Any]) -> list[int]:
    """Return which pieces stand, each set down where it touches none before it."""
    kept: list[int] = []
    feet: list[shapely.Polygon] = []
    for number in range(len(x_m)):
        along = 0.5 * THICKNESS_M * np.array([1, 1, -1, -1])
        across = 0.5 * WIDTH_M * np.array([-1, 1, 1, -1])
        cosine, sine = math.cos(yaw_rad[number]), math.sin(yaw_rad[number])
        corners = np.column_stack([along * cosine - across * sine, along * sine + across * cosine])
        foot = shapely.Polygon(corners + np.array([x_m[number], y_m[number]]))
        if all(foot.distance(other) > 2e-4 for other in feet):
            kept.append(number)
            feet.append(foot)
    return kept


def scattering(rng: np.random.Generator) -> Standing:
    """Return a heap thrown at random, a careless grid or a line that wanders and turns about, in two lines."""
    count, kind = int(rng.integers(2, 90)), rng.integers(3)
    if kind == 0:
        x, y = rng.uniform(0.0, rng.uniform(0.05, 0.6), (2, count))
        yaw = rng.uniform(-math.pi, math.pi, count)
    elif kind == 1:
        r, c = np.divmod(np.arange(count), math.isqrt(count) + 1)
        x, y = 0.022 * r + rng.normal(0, 0.002, count), 0.026 * c + rng.normal(0, 0.002, count)
        yaw = rng.normal(0, 0.2, count)
    else:
        heading = np.cumsum(rng.normal(0, 0.08, count))
        x, y = 0.022 * np.cumsum(np.cos(heading)), 0.022 * np.cumsum(np.sin(heading))
        yaw = heading + math.pi * (rng.random(count) < 0.1)
    kept = apart(x, y, yaw)
    second = rng.integers(0, 2, len(kept)).astype(bool)
    x, y, yaw = 1 + x[kept], 1 + y[kept], yaw[kept]
    return join(group(x[~second], y[~second], yaw[~second]), group(x[second], y[second], yaw[second], line=1))


def random_push(rng: np.random.Generator, standing: Standing) -> dict[str, Any]:
    aim = int(rng.integers(len(standing)))
    deg = math.degrees(standing.yaw_rad[aim]) + rng.choice([0, 180, 40, 90])
    deg = float((deg + 180) % 360 - 180)
    back_m = 0.015
    push: dict[str, Any] = {
        "kind": "finger",
        "place_m": [
            float(standing.x_m[aim] - back_m * math.cos(math.radians(deg))),
            float(standing.y_m[aim] - back_m * math.sin(math.radians(deg))),
        ],
        "direction_deg": deg,
        "speed_mm_s": float(rng.choice([50, 150, 500, 3000])),
        "width_mm": float(rng.choice([5, 30, 200])),
        "delay_s": float(rng.choice([0, 0.1, 0.5])),
    }
    waits = [name for number, name in enumerate(LINES) if (standing.line == number).any()]
    return push | ({"waits_for": str(rng.choice(waits))} if rng.random() < 0.3 else {})


def test_a_piece_with_two_ahead_of_it_strikes_both(predict: Predict) -> None:
    """Half a width to either side, at 3 and at 9 mm, each the last of its way: the second is struck in passing."""
    x = 1 + np.array([0, PITCH_M, PITCH_M + THICKNESS_M + 0.003, PITCH_M + THICKNESS_M + 0.009])
    prediction = predict(group(x, [1, 1, 1.0125, 0.9875], 0.0), FINGER)
    assert prediction.fall.standing == 0


def test_a_piece_that_lies_flat_on_one_beside_it_strikes_nothing_at_no_speed(predict: Predict) -> None:
    """Two pushed together, the right one 0.5 mm ahead and a little slower, and a row ahead of each."""
    ahead = 1 + THICKNESS_M + 0.0005
    x = [1, ahead, 1 + THICKNESS_M + 0.020, *(ahead + (THICKNESS_M + 0.009) * np.arange(1, 3))]
    aside = 1.0205
    standing = group(x, [1, aside, 0.9925, aside, aside], 0.0)
    narrow = {"kind": "finger", "direction_deg": 0, "width_mm": 2, "stroke_mm": 14}
    prediction = predict(
        standing,
        narrow | {"place_m": [0.99, 0.995], "speed_mm_s": 300},
        narrow | {"place_m": [ahead - 0.01, aside + 0.005], "speed_mm_s": 285},
    )
    assert_consistent(prediction)
    assert (prediction.fall.omega_rad_s[prediction.fall.state == FALLEN] > 0).all()


@settings(
    max_examples=40,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(seed=st.integers(0, 2**32 - 1))
def test_random_scatterings_fall_consistently(predict: Predict, seed: int) -> None:
    rng = np.random.default_rng(seed)
    standing = scattering(rng)
    pushes = [random_push(rng, standing) for _ in range(rng.integers(1, 5))]
    ground = {
        "domino_friction": float(rng.choice([0.05, 0.2, 0.5])),
        "floor_friction": float(rng.choice([0.1, 0.25, 0.5])),
        "floor_slope_mm_per_m": float(rng.choice([0, 60])),
    }
    prediction = predict(standing, *pushes, fall=ground)
    assert_consistent(prediction)
    stalled = prediction.fall.state == STALLED
    assert (prediction.fall.margin[stalled] == 0).all()
