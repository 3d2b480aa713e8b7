"""Faults in [fall] and [[starter]]: key by key, and key against key."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from standfall.brief import FallConditions, Reading, Starter, keys_of, read_text
from standfall.findings import Finding

Findings = Callable[[Path], list[Finding]]
Write = Callable[[dict[str, Any] | bytes], Path]
ToToml = Callable[[dict[str, Any]], bytes]
FINGER, BATTEN, WEIGHT, BALL, TUBE, BEAM = range(6)  # their places in the small brief


def _where(place: str | int) -> str:
    return place if isinstance(place, str) else f"starter[{place}]"


def _blocking(reading: Reading) -> list[tuple[str, str]]:
    return sorted((f.code, f.where) for f in reading.findings if f.grade == "blocks")


@pytest.fixture
def read(small: dict[str, Any], to_toml: ToToml) -> Callable[[], Reading]:
    """Read the small brief as it has been changed, pictures and places aside."""
    return lambda: read_text(to_toml(small))


def _section(small: dict[str, Any], place: str | int) -> dict[str, Any]:
    return small[place] if isinstance(place, str) else small["starter"][place]


# ------------------------------------------------------------------ each key alone

ANGLE = [("B106", -361), ("B106", 360.5), ("B105", "90"), ("B105", True)]
ABOVE_0 = [("B106", 0), ("B106", -1), ("B106", 1e9), ("B106", math.inf), ("B105", "1")]
FROM_0 = [("B106", -0.1), ("B106", 1e9), ("B106", math.nan), ("B105", "1"), ("B105", False)]
NAME = [("B108", "k" * 41), ("B108", "two\nlines"), ("B105", 7), ("B105", [])]
# Both sides of the bounds; those of the friction, the slope and the release are the ones the page promises.
BAD_FALL: dict[str, list[tuple[str, Any]]] = {
    "domino_friction": [*ABOVE_0, ("B106", 1.51)],
    "domino_friction_spread": [*FROM_0, ("B106", 0.51)],
    "floor_friction": [*ABOVE_0, ("B106", 2.01)],
    "floor_friction_spread": [*FROM_0, ("B106", 0.51)],
    "floor_slope_mm_per_m": [*FROM_0, ("B106", 201)],
    "downhill_deg": ANGLE,
    "mass_spread_percent": [*FROM_0, ("B106", 51)],
    "tile_error_mm": FROM_0,
    "tile_turn_error_deg": [*FROM_0, ("B106", 46)],
    "piece_error_mm": FROM_0,
    "piece_turn_error_deg": [*FROM_0, ("B106", 46)],
    "hand_error_mm": FROM_0,
    "hand_turn_error_deg": [*FROM_0, ("B106", 46)],
    "missing_per_million": [*FROM_0, ("B106", 100_001)],
    "flatness": [("B107", "DIN_18202_row_3"), ("B107", "din_18202_row_5"), ("B107", ""), ("B105", 3)],
    "vibration_mm_s": FROM_0,
    "vibration_hz": ABOVE_0,
    "draught_m_s": FROM_0,
}
# A starter of the small brief that has the key, and values it must not have.
BAD_STARTER: dict[str, tuple[int, list[tuple[str, Any]]]] = {
    "name": (FINGER, [*NAME, ("B108", " ")]),
    "kind": (BEAM, [("B107", "hand"), ("B107", "Lever"), ("B105", 1)]),
    "line": (FINGER, NAME),
    "field": (BATTEN, NAME),
    "first_col": (BATTEN, [("B106", -1), ("B106", 44), ("B106", 20_001), ("B105", 1.0), ("B105", True)]),
    "last_col": (BATTEN, [("B106", -1), ("B106", 44), ("B106", 10**30), ("B105", 31.5), ("B105", "31")]),
    "place_m": (WEIGHT, [("B106", [0, 1001]), ("B106", [math.nan, 0]), ("B105", [1.0]), ("B105", 1.0)]),
    "direction_deg": (BALL, ANGLE),
    "width_mm": (WEIGHT, ABOVE_0),
    "stroke_mm": (BATTEN, ABOVE_0),
    "delay_s": (BATTEN, [*FROM_0, ("B106", 86_401)]),
    "waits_for": (BATTEN, NAME),
    "strike_height_mm": (FINGER, [*ABOVE_0, ("B106", 48.1)]),  # the domino stands 48 mm high
    "speed_mm_s": (BEAM, ABOVE_0),
    "arm_ratio": (BEAM, ABOVE_0),
    "mass_g": (TUBE, ABOVE_0),
    "length_mm": (WEIGHT, ABOVE_0),
    "release_deg": (WEIGHT, [*ABOVE_0, ("B106", 170.1)]),
    "ramp_height_mm": (BALL, ABOVE_0),
    "ramp_length_mm": (BALL, ABOVE_0),
    "runout_mm": (BALL, FROM_0),
    "diameter_mm": (BALL, ABOVE_0),
    "hollow": (TUBE, [("B105", 1), ("B105", "yes")]),
    "rail_gap_mm": (BALL, FROM_0),
    "restitution": (BATTEN, [*FROM_0, ("B106", 1.01)]),
}
BAD = [("fall", name, bad) for name, values in BAD_FALL.items() for bad in values] + [
    (place, name, bad) for name, (place, values) in BAD_STARTER.items() for bad in values
]


def test_no_key_is_left_out_of_these_tests(small: dict[str, Any]) -> None:
    assert set(BAD_FALL) == set(keys_of(FallConditions)) == set(small["fall"])
    assert set(BAD_STARTER) == set(keys_of(Starter)) == set().union(*small["starter"])


@pytest.mark.parametrize(("place", "name", "bad"), BAD)
def test_a_bad_value_is_the_only_fault_found(
    place: str | int, name: str, bad: tuple[str, Any], small: dict[str, Any], read: Callable[[], Reading]
) -> None:
    code, value = bad
    _section(small, place)[name] = value
    reading = read()
    assert _blocking(reading) == [(code, f"{_where(place)}.{name}")]
    # A bad value leaves no brief; one that only does not go with another key does.
    sound_alone = (name, value) in (("first_col", 44), ("last_col", 44), ("strike_height_mm", 48.1))
    assert (reading.brief is not None) == sound_alone


@pytest.mark.parametrize(
    ("place", "name"), [("fall", name) for name in BAD_FALL] + [(p, n) for n, (p, _) in BAD_STARTER.items()]
)
@pytest.mark.parametrize(
    "odd", [0, -1, 1e308, -0.0, math.nan, 2**63 - 1, "", "x", [], {}, [[]], [0, 0], True]
)
def test_odd_values_are_read_or_told_and_never_raise(
    place: str | int, name: str, odd: Any, small: dict[str, Any], read: Callable[[], Reading]
) -> None:
    _section(small, place)[name] = odd
    reading = read()
    # What is told is told of this section, and of this key unless it sets others at odds.
    assert all(finding.where.startswith(_where(place)) for finding in reading.findings)
    if reading.brief is None:
        assert f"{_where(place)}.{name}" in [finding.where for finding in reading.findings]
    elif not reading.findings:
        section = reading.brief.fall if place == "fall" else reading.brief.starters[int(place)]
        numbers = [value for value in vars(section).values() if isinstance(value, float)]
        assert all(map(math.isfinite, numbers))


# ------------------------------------------------------------------ key against key

Change = dict[str, Any]
GONE = object()
CASES: dict[str, tuple[str | int, Change, list[tuple[str, str]]]] = {
    "unknown key of the fall": (
        "fall",
        {"friction": 0.2},
        [("B103", "fall.friction")],
    ),
    "unknown key of a starter": (FINGER, {"speed": 1}, [("B103", "starter[0].speed")]),
    "nameless": (FINGER, {"name": GONE}, [("B104", "starter[0].name")]),
    "no kind": (BALL, {"kind": GONE}, [("B104", "starter[3].kind")]),
    "two of one name": (BALL, {"name": " Weight"}, [("B109", "starter[3].name")]),
    "vibration without a frequency": ("fall", {"vibration_hz": GONE}, [("B104", "fall.vibration_hz")]),
    "frequency without a vibration": ("fall", {"vibration_mm_s": GONE}, [("B104", "fall.vibration_mm_s")]),
    "frequency beside a bad vibration": ("fall", {"vibration_mm_s": -1}, [("B106", "fall.vibration_mm_s")]),
    # what is struck
    "nothing to strike": (FINGER, {"line": GONE}, [("B111", "starter[0]")]),
    "line and field": (FINGER, {"field": "mural"}, [("B111", "starter[0]")]),
    "line and place": (FINGER, {"place_m": [1, 1], "direction_deg": 0}, [("B111", "starter[0]")]),
    "line and a bad place": (
        FINGER,
        {"place_m": [1], "direction_deg": 0},
        [("B105", "starter[0].place_m"), ("B111", "starter[0]")],
    ),
    "place without a direction": (BALL, {"direction_deg": GONE}, [("B104", "starter[3].direction_deg")]),
    "direction on a line": (FINGER, {"direction_deg": 0}, [("B111", "starter[0].direction_deg")]),
    "width on a field": (BATTEN, {"width_mm": 900}, [("B111", "starter[1].width_mm")]),
    "no such line": (FINGER, {"line": "leadin"}, [("B110", "starter[0].line")]),
    "no such field": (BATTEN, {"field": "murals"}, [("B110", "starter[1].field")]),
    "a field for a line": (FINGER, {"line": "mural"}, [("B110", "starter[0].line")]),
    "nothing to wait for": (BALL, {"waits_for": "mural"}, [("B110", "starter[3].waits_for")]),
    "one column": (BATTEN, {"first_col": 43, "last_col": 43}, []),
    "up to the last column": (BATTEN, {"last_col": GONE}, []),
    "columns swapped": (BATTEN, {"first_col": 9, "last_col": 8}, [("B106", "starter[1].last_col")]),
    "both columns beyond the field": (
        BATTEN,
        {"first_col": 50, "last_col": 60},
        [("B106", "starter[1].first_col"), ("B106", "starter[1].last_col")],
    ),
    "columns of a line": (FINGER, {"first_col": 0}, [("B111", "starter[0]")]),
    "columns of a field with a bad name": (BATTEN, {"field": 1}, [("B105", "starter[1].field")]),
    # what strikes
    "a ramp as long as high": (BALL, {"ramp_length_mm": 20}, [("B111", "starter[3].ramp_length_mm")]),
    "a ramp just longer than high": (BALL, {"ramp_length_mm": 20.1}, []),
    "a ramp shorter than high": (TUBE, {"ramp_height_mm": 300}, [("B111", "starter[4].ramp_length_mm")]),
    "rails as far apart as the ball is thick": (
        BALL,
        {"rail_gap_mm": 16},
        [("B111", "starter[3].rail_gap_mm")],
    ),
    "rails just close enough": (BALL, {"rail_gap_mm": 15.9}, []),
    "a cylinder on rails": (TUBE, {"rail_gap_mm": 20}, [("B111", "starter[4].rail_gap_mm")]),
    "at the top edge": (FINGER, {"strike_height_mm": 48}, []),
    "what is so anyway": (FINGER, {"arm_ratio": 1, "runout_mm": 0, "hollow": False, "rail_gap_mm": 0}, []),
    "a bad key hides none that is missing": (
        WEIGHT,
        {"restitution": 2, "mass_g": "50", "length_mm": GONE, "speed_mm_s": 9, "direction_deg": GONE},
        [
            ("B104", "starter[2].direction_deg"),
            ("B104", "starter[2].length_mm"),
            ("B105", "starter[2].mass_g"),
            ("B106", "starter[2].restitution"),
            ("B111", "starter[2].speed_mm_s"),
        ],
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_keys_at_odds(case: str, small: dict[str, Any], write_brief: Write, findings_of: Findings) -> None:
    place, change, wanted = CASES[case]
    section = _section(small, place)
    for name, value in change.items():
        if value is GONE:
            del section[name]
        else:
            section[name] = value
    found = [(f.code, f.where) for f in findings_of(write_brief(small)) if f.grade == "blocks"]
    assert sorted(found) == wanted


# By hand from the page's table of kinds: what each needs, and what it may have besides.
KINDS: dict[str, tuple[set[str], set[str]]] = {
    "finger": ({"speed_mm_s"}, set()),
    "pusher": ({"speed_mm_s"}, set()),
    "lever": ({"speed_mm_s"}, {"arm_ratio"}),
    "pendulum": ({"mass_g", "length_mm", "release_deg"}, set()),
    "ball": (
        {"mass_g", "diameter_mm", "ramp_height_mm", "ramp_length_mm"},
        {"runout_mm", "hollow", "rail_gap_mm"},
    ),
    "cylinder": ({"mass_g", "diameter_mm", "ramp_height_mm", "ramp_length_mm"}, {"runout_mm", "hollow"}),
}
VALUES: dict[str, Any] = {
    "speed_mm_s": 300,
    "arm_ratio": 2,
    "mass_g": 40,
    "length_mm": 250,
    "release_deg": 30,
    "ramp_height_mm": 30,
    "ramp_length_mm": 150,
    "runout_mm": 10,
    "diameter_mm": 20,
    "hollow": True,
    "rail_gap_mm": 9,
}


@pytest.mark.parametrize("kind", KINDS)
def test_each_kind_is_told_what_it_lacks_and_what_is_not_its_own(
    kind: str, small: dict[str, Any], read: Callable[[], Reading]
) -> None:
    needed, besides = KINDS[kind]
    rng = random.Random(kind)
    for _ in range(40):
        given = {name for name in VALUES if rng.random() < 0.5}
        small["starter"] = [{"name": "s", "kind": kind, "line": "lead-in"} | {n: VALUES[n] for n in given}]
        lacking = [("B104", f"starter[0].{name}") for name in needed - given]
        foreign = [("B111", f"starter[0].{name}") for name in given - needed - besides]
        assert _blocking(read()) == sorted(lacking + foreign)


@pytest.mark.parametrize(
    ("place", "change", "step"),
    [
        (FINGER, {"line": "leadin"}, "Did you mean 'lead-in'?"),
        (BATTEN, {"field": "murals"}, "Did you mean 'mural'?"),
        (FINGER, {"speed_mm": 250}, "Did you mean starter[0].speed_mm_s?"),
        ("fall", {"floor_slope": 1}, "Did you mean fall.floor_slope_mm_per_m?"),
        (FINGER, {"strike_height_mm": 60}, "Strike at about 36 mm."),  # three quarters of 48 mm
    ],
)
def test_the_next_step_helps(
    place: str | int, change: Change, step: str, small: dict[str, Any], read: Callable[[], Reading]
) -> None:
    _section(small, place).update(change)
    assert step in [finding.next_step for finding in read().findings]


@pytest.mark.parametrize("name", ["line", "field"])
def test_a_name_that_cannot_be_read_is_not_also_missed(
    name: str, small: dict[str, Any], read: Callable[[], Reading]
) -> None:
    small[name][0]["name"] = "k" * 41
    small[name].append(small[name][0] | {"name": "other"})
    codes = {code for code, _ in _blocking(read())}
    assert codes == ({"B108", "B110"} if name == "line" else {"B108"})  # the split has lost its line, as ever
    assert not [f for f in read().findings if f.where.startswith("starter")]


def test_sections_of_the_wrong_kind(small: dict[str, Any], read: Callable[[], Reading]) -> None:
    small["fall"], small["starter"] = [{}], {}
    assert _blocking(read()) == [("B105", "fall"), ("B105", "starter")]
    small["fall"], small["starter"] = {}, [1]
    assert _blocking(read()) == [("B105", "starter")]


def test_more_starters_than_a_brief_takes(small: dict[str, Any], read: Callable[[], Reading]) -> None:
    small["starter"] = [
        {"name": f"s{n}", "kind": "finger", "line": "lead-in", "speed_mm_s": 1} for n in range(1001)
    ]
    assert _blocking(read()) == [("B106", "starter")]
    small["starter"].pop()
    assert _blocking(read()) == []


# ------------------------------------------------------------------ what is read


def test_a_brief_without_the_sections_reads_as_before(
    small: dict[str, Any], read: Callable[[], Reading]
) -> None:
    del small["fall"], small["starter"]
    reading = read()
    assert reading.findings == () and reading.brief is not None
    assert reading.brief.starters == ()
    fall = reading.brief.fall
    assert (fall.domino_friction, fall.floor_friction, fall.floor_slope, fall.missing) == (0.2, 0.4, 0, 0)
    assert (fall.tile_error_m, fall.piece_error_m, fall.hand_error_m) == (0.0005, 0.0003, 0.001)
    # 0.05, 0.5 and 1.5 degrees
    turns = (fall.tile_turn_error_rad, fall.piece_turn_error_rad, fall.hand_turn_error_rad)
    assert turns == pytest.approx((math.pi / 3600, math.pi / 360, math.pi / 120), rel=1e-15)
    assert (fall.flatness, fall.vibration_m_s, fall.vibration_hz, fall.draught_m_s) == (
        "unknown",
        None,
        None,
        None,
    )


def test_units_become_si(small: dict[str, Any], read: Callable[[], Reading]) -> None:
    brief = read().brief
    assert brief is not None
    fall = brief.fall
    # By hand: 2 mm in 1 m, half a turn, 50 in a million, 0.1 mm/s.
    assert (fall.floor_slope, fall.downhill_rad, fall.missing) == (0.002, math.pi, 5e-5)
    assert (fall.mass_spread, fall.vibration_m_s, fall.vibration_hz, fall.draught_m_s) == (0.01, 1e-4, 8, 0.2)
    batten, weight, ball = (brief.starters[n] for n in (BATTEN, WEIGHT, BALL))
    assert (batten.speed_m_s, batten.stroke_m, batten.delay_s, batten.restitution) == (0.4, 0.03, 0.5, 0.1)
    assert (batten.first_col, batten.last_col, batten.waits_for) == (0, 15, "lead-in")
    assert (weight.mass_kg, weight.length_m, weight.width_m) == (0.05, 0.3, 0.02)
    assert weight.release_rad == pytest.approx(math.pi / 9, rel=1e-15)  # 20 degrees
    assert (weight.place_m, weight.direction_rad) == ((1.9045, 1.5), math.pi / 2)
    assert (ball.ramp_height_m, ball.ramp_length_m, ball.runout_m) == (0.02, 0.2, 0.05)
    assert (ball.diameter_m, ball.rail_gap_m, ball.hollow) == (0.016, 0.008, False)
    assert brief.starters[BEAM].arm_ratio == 2 and brief.starters[TUBE].hollow
