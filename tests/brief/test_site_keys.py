"""Areas, docks, robots, crew, laying: every key arrives in SI, and keys at odds are told, all at once."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest
from site_sections import with_site

from standfall.brief import Area, Crew, Dock, Laying, Robot, RobotPart, keys_of, read_text
from standfall.findings import CATALOGUE

Edit = Callable[[dict[str, Any]], None]
Told = Callable[[dict[str, Any]], list[tuple[str, str]]]


@pytest.fixture
def site(small: dict[str, Any]) -> dict[str, Any]:
    return with_site(small)


@pytest.fixture
def told(to_toml: Callable[[dict[str, Any]], bytes]) -> Told:
    """Return code and place of each finding of a brief; each is well-formed."""

    def tell(data: dict[str, Any]) -> list[tuple[str, str]]:
        findings = read_text(to_toml(data)).findings
        for finding in findings:
            assert finding.message.isprintable() and finding.next_step.endswith((".", "?"))
            assert None not in (finding.value, finding.limit)
            assert CATALOGUE[finding.code].grade == finding.grade
        return [(finding.code, finding.where) for finding in findings]

    return tell


@pytest.mark.parametrize("section", [Area, Dock, Robot, RobotPart, Crew, Laying])
def test_the_site_gives_every_key(section: type[Any], site: dict[str, Any]) -> None:
    tables = {
        Area: site["area"],
        Dock: site["dock"],
        Robot: site["robot"],
        RobotPart: site["robot"][0]["part"],
        Crew: [site["crew"]],
        Laying: [site["laying"]],
    }
    assert {key for table in tables[section] for key in table} == set(keys_of(section))


def test_every_key_arrives_in_si(site: dict[str, Any], to_toml: Callable[[dict[str, Any]], bytes]) -> None:
    reading = read_text(to_toml(site))
    assert reading.findings == ()
    brief = reading.brief
    assert brief is not None
    post, door = brief.areas
    assert (post.kind, post.centre_m, post.radius_m, post.outline_m) == ("pillar", (4.0, 4.5), 0.15, ())
    assert (door.kind, door.outline_m[2], door.centre_m) == ("exit", (6.0, 5.0), None)
    table, socket, gate = brief.docks
    assert (table.place_m, table.heading_rad, table.load_s) == ((5.0, 1.0), math.pi, 25.0)
    assert (table.robots, socket.robots, gate.kind) == ((), ("cart",), "crew")
    (cart,) = brief.robots
    assert cart.names == ("cart 1", "cart 2")
    assert (cart.speed_m_s, cart.acceleration_m_s2, cart.slow_m_s) == (0.6, 0.3, 0.1)
    assert (cart.turn_rad_s, cart.turn_acceleration_rad_s2) == pytest.approx((math.pi / 4, math.pi / 2))
    assert (cart.lower_s, cart.release_s, cart.raise_s, cart.carries) == (4.0, 2.0, 3.0, 2)
    assert cart.tray_turns_rad == pytest.approx((0.0, math.pi))
    assert cart.leave_rad == pytest.approx((math.pi,))
    assert (cart.battery_s, cart.charge_s) == (5400.0, 1800.0)
    assert (cart.turn_centre_m, cart.parts[0].outline_m[0]) == ((-0.3, 0.0), (-0.5, -0.12))
    assert [part.bottom_m for part in cart.parts] == [0.02, 0.14]
    assert [part.lowest_m for part in cart.parts] == [0.02, 0.07]
    crew, laying = brief.crew, brief.laying
    assert crew is not None and crew.names == ("builder 1", "builder 2")
    assert (crew.reach_m, crew.room_m, crew.walk_m_s, crew.lay_s) == (0.55, 0.5, 0.9, 4.0)
    assert (laying.clearance_m, laying.set_down_clearance_m, laying.over_m) == (0.025, 0.0015, 0.012)
    assert (laying.slow_zone_m, laying.corner_m) == (0.2, 0.015)
    assert brief.fields[0].gap_rows == ((10, 11), (20, 20))


def test_without_the_site_nothing_is_there(
    small: dict[str, Any], to_toml: Callable[[dict[str, Any]], bytes]
) -> None:
    brief = read_text(to_toml(small)).brief
    assert brief is not None
    assert (brief.areas, brief.docks, brief.robots, brief.crew) == ((), (), (), None)
    assert brief.laying == Laying()
    assert brief.fields[0].gap_rows == ()
    # The defaults as the page gives them: 30, 1, 10, 150 and 20 mm.
    assert (brief.laying.clearance_m, brief.laying.set_down_clearance_m) == (0.03, 0.001)
    assert (brief.laying.over_m, brief.laying.slow_zone_m, brief.laying.corner_m) == (0.01, 0.15, 0.02)


def put(value: object, *path: str | int) -> Edit:
    def edit(data: dict[str, Any]) -> None:
        *way, last = path
        place: Any = data
        for step in way:
            place = place[step]
        place[last] = value

    return edit


def drop(*path: str | int) -> Edit:
    def edit(data: dict[str, Any]) -> None:
        *way, last = path
        place: Any = data
        for step in way:
            place = place[step]
        del place[last]

    return edit


R, D, A = ("robot", 0), ("dock", 0), ("area", 0)
SINGLE: dict[str, tuple[Edit, list[tuple[str, str]]]] = {
    # a key by itself
    "no kind of area": (put("door", *A, "kind"), [("B107", "area[0].kind")]),
    "no kind of dock": (put("harbour", *D, "kind"), [("B107", "dock[0].kind")]),
    "no drive": (put("legs", *R, "drive"), [("B107", "robot[0].drive")]),
    "no speed": (put(0, *R, "speed_mm_s"), [("B106", "robot[0].speed_mm_s")]),
    "no acceleration": (put(0.0, *R, "acceleration_mm_s2"), [("B106", "robot[0].acceleration_mm_s2")]),
    "no turning": (put(0, *R, "turn_deg_s"), [("B106", "robot[0].turn_deg_s")]),
    "no slow speed": (put(-1, *R, "slow_mm_s"), [("B106", "robot[0].slow_mm_s")]),
    "no robot at all": (put(0, *R, "count"), [("B106", "robot[0].count")]),
    "carries nothing": (put(0, *R, "carries"), [("B106", "robot[0].carries")]),
    "no drive named": (drop(*R, "drive"), [("B104", "robot[0].drive")]),
    "no parts": (put([], *R, "part"), [("B106", "robot[0].part")]),
    "parts left out": (drop(*R, "part"), [("B104", "robot[0].part")]),
    "a part below the floor": (put(-1, *R, "part", 0, "bottom_mm"), [("B106", "robot[0].part[0].bottom_mm")]),
    "flat points": (put([0, 0], *R, "part", 1, "outline_m"), [("B105", "robot[0].part[1].outline_m")]),
    "no radius": (put(0, *A, "radius_mm"), [("B106", "area[0].radius_mm")]),
    "a dock without a place": (drop(*D, "place_m"), [("B104", "dock[0].place_m")]),
    "a dock for nobody": (put([], *D, "robots"), [("B105", "dock[0].robots")]),
    "no builders": (put(0, "crew", "builders"), [("B106", "crew.builders")]),
    "no room": (put(0, "crew", "room_mm"), [("B106", "crew.room_mm")]),
    "no clearance": (put(-1, "laying", "clearance_mm"), [("B106", "laying.clearance_mm")]),
    "a near miss": (put(1, *R, "cary"), [("B103", "robot[0].cary")]),
    "areas as one section": (put({"name": "x"}, "area"), [("B105", "area")]),
    "robots as a number": (put(3, "robot"), [("B105", "robot")]),
    "a crew of text": (put("two", "crew"), [("B105", "crew")]),
    # the hall
    "neither outline nor drawing": (drop("hall", "outline_m"), [("B104", "hall.outline_m")]),
    "an empty outline": (put([], "hall", "outline_m"), [("B104", "hall.outline_m")]),
    "outline and drawing": (put("shed.dxf", "hall", "drawing"), [("B111", "hall.drawing")]),
    # areas
    "polygon and circle": (put([[0, 0], [1, 0], [1, 1]], *A, "outline_m"), [("B111", "area[0]")]),
    "a middle without a radius": (drop(*A, "radius_mm"), [("B111", "area[0]")]),
    "a radius without a middle": (drop(*A, "centre_m"), [("B111", "area[0]")]),
    "an area of no form": (drop("area", 1, "outline_m"), [("B111", "area[1]")]),
    "two areas of one name": (put(" POST", "area", 1, "name"), [("B109", "area[1].name")]),
    # docks
    "two docks of one name": (put("Table", "dock", 1, "name"), [("B109", "dock[1].name")]),
    "a dock for another robot": (put(["crat", "cart"], *D, "robots"), [("B110", "dock[0].robots")]),
    "a robot at the crew's dock": (put(["cart"], "dock", 2, "robots"), [("B111", "dock[2].robots")]),
    "a crew's dock without a crew": (drop("crew"), [("B104", "crew")]),
    "a crew without a dock": (drop("dock", 2), [("B104", "dock")]),
    "no loading dock": (put("parking", *D, "kind"), [("B104", "dock")]),
    "no charging dock": (drop("dock", 1), [("B104", "dock")]),
    # robots
    "a battery without charging": (drop(*R, "charge_min"), [("B104", "robot[0].charge_min")]),
    "charging without a battery": (drop(*R, "battery_min"), [("B104", "robot[0].battery_min")]),
    "slow is fast": (put(601, *R, "slow_mm_s"), [("B106", "robot[0].slow_mm_s")]),
    "a tray askew": (put([45], *R, "tray_turns_deg"), [("B107", "robot[0].tray_turns_deg")]),
    "a tray turned twice alike": (put([90, 90], *R, "tray_turns_deg"), [("B107", "robot[0].tray_turns_deg")]),
    "a tray in no turn": (put([], *R, "tray_turns_deg"), [("B107", "robot[0].tray_turns_deg")]),
    "no way to leave": (put([], *R, "leave_deg"), [("B107", "robot[0].leave_deg")]),
    "two parts of one name": (put("BODY", *R, "part", 1, "name"), [("B109", "robot[0].part[1].name")]),
    "a robot called as a builder": (
        lambda data: data["robot"][0].update(name="Builder", count=2),
        [("B110", "dock[1].robots"), ("B109", "robot[0].name"), ("B104", "dock")],
    ),
    # the crew
    "robots and tiles by hand": (put(True, "crew", "tiles_by_hand"), [("B111", "crew.tiles_by_hand")]),
    # rows left open; the field has 30 rows, of which 28 and 29 are stacked
    "beyond the last row": (
        put([[25, 30]], "field", 0, "gap_rows"),
        [("B106", "field[0].gap_rows"), ("B106", "field[0].gap_rows")],
    ),
    "out of order": (put([[20, 21], [3, 4]], "field", 0, "gap_rows"), [("B106", "field[0].gap_rows")]),
    "a row twice": (put([[3, 5], [5, 6]], "field", 0, "gap_rows"), [("B106", "field[0].gap_rows")]),
    "open and stacked": (put([[27, 28]], "field", 0, "gap_rows"), [("B106", "field[0].gap_rows")]),
    "backwards": (put([[5, 4]], "field", 0, "gap_rows"), [("B106", "field[0].gap_rows")]),
}


@pytest.mark.parametrize("name", SINGLE)
def test_one_fault_is_the_only_one_found(name: str, site: dict[str, Any], told: Told) -> None:
    edit, wanted = SINGLE[name]
    edit(site)
    assert told(site) == wanted


def test_a_field_that_is_all_open_is_never_laid(site: dict[str, Any], told: Told) -> None:
    site["field"][0].update(gap_rows=[[0, 14], [15, 29]], stacked_rows=[])
    assert told(site) == [("B106", "field[0].gap_rows")]
    site["field"][0]["gap_rows"] = [[0, 14], [16, 29]]
    assert told(site) == []


def test_a_differential_drive_leaves_forward_or_backward_only(site: dict[str, Any], told: Told) -> None:
    site["robot"][0].update(drive="differential", leave_deg=[0, 180, -180, 360])
    assert told(site) == []
    site["robot"][0]["leave_deg"] = [180, 90]
    assert told(site) == [("B111", "robot[0].leave_deg")]


def test_numbering_must_not_make_one_name_of_two(site: dict[str, Any], told: Told) -> None:
    # "cart" is there twice, so "cart 2" is one of the two.
    other = {**site["robot"][0], "name": "Cart 2", "count": 1}
    del other["battery_min"], other["charge_min"]
    site["robot"].append(other)
    assert told(site) == [("B109", "robot[1].name")]
    other["name"] = "cart 3"
    assert told(site) == []
    # The same name twice is told once, not once more for each number.
    other.update(name="cart", count=3)
    assert told(site) == [("B109", "robot[1].name")]


def test_a_dock_for_others_serves_nobody_else(site: dict[str, Any], told: Told) -> None:
    site["robot"].append({**site["robot"][0], "name": "sledge"})
    # The socket is for "cart" only: "sledge" has a battery and nowhere to charge it.
    assert told(site) == [("B104", "dock")]
    site["dock"][1]["robots"].append("sledge")
    assert told(site) == []


def test_a_crew_may_set_down_the_trays_without_robots(site: dict[str, Any], told: Told) -> None:
    del site["robot"], site["dock"][0:2]
    site["crew"]["tiles_by_hand"] = True
    assert told(site) == []


def test_a_drawing_stands_for_the_outline(
    site: dict[str, Any], to_toml: Callable[[dict[str, Any]], bytes]
) -> None:
    site["hall"] = {"drawing": "shed.dxf", "drawing_layer": "walls"}
    reading = read_text(to_toml(site))
    assert reading.findings == ()
    assert reading.hall is not None
    assert (reading.hall.outline_m, reading.hall.drawing, reading.hall.drawing_layer) == (
        (),
        "shed.dxf",
        "walls",
    )


def test_a_blank_drawing_is_none(site: dict[str, Any], told: Told) -> None:
    site["hall"] = {"drawing": " "}
    assert told(site) == [("B104", "hall.outline_m")]


def test_many_faults_of_the_site_are_told_in_one_go(site: dict[str, Any], told: Told) -> None:
    for edit in (
        put("ramp", *A, "kind"),
        drop("area", 1, "outline_m"),
        put(["crat"], *D, "robots"),
        put(0, *R, "speed_mm_s"),
        put([30], *R, "tray_turns_deg"),
        drop(*R, "charge_min"),
        put("BODY", *R, "part", 1, "name"),
        put([[1, 2], [2, 3], [29, 31]], "field", 0, "gap_rows"),
        put(True, "crew", "tiles_by_hand"),
        put(-5, "laying", "over_mm"),
        drop("hall", "outline_m"),
    ):
        edit(site)
    assert set(told(site)) == {
        ("B107", "area[0].kind"),
        ("B111", "area[1]"),
        ("B110", "dock[0].robots"),
        ("B106", "robot[0].speed_mm_s"),
        ("B107", "robot[0].tray_turns_deg"),
        ("B104", "robot[0].charge_min"),
        ("B109", "robot[0].part[1].name"),
        ("B106", "field[0].gap_rows"),
        ("B111", "crew.tiles_by_hand"),
        ("B106", "laying.over_mm"),
        ("B104", "hall.outline_m"),
        ("B104", "dock"),  # the only loading dock is for a robot that is not there
    }
