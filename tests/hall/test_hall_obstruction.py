"""The mural in the way: areas, docks and ways out, by hand arithmetic."""

from __future__ import annotations

import pytest
import shapely
from hall_case import hall_brief, rectangle, table

from standfall.brief import Crew, Dock
from standfall.findings import Finding
from standfall.hall import make_site, mural_findings


def _findings(*footprints: shapely.Polygon, **changes: object) -> list[Finding]:
    site, before = make_site(hall_brief(**changes))
    assert site is not None
    assert [finding for finding in before if finding.grade == "blocks"] == []
    shapes = [(f"field[{number}]", f"field 'f{number}'", shape) for number, shape in enumerate(footprints)]
    return mural_findings(site, shapes)


@pytest.mark.parametrize("kind", ["pillar", "hole", "exit", "escape_route", "fire_point", "no_go", "walkway"])
def test_no_domino_stands_on_any_kind_of_area(kind: str) -> None:
    area = rectangle("corner", kind, 3.0, 5.0, 1.0, 1.0)
    (finding,) = _findings(shapely.box(2.0, 4.0, 3.5, 5.25), areas=(area,))
    assert (finding.code, finding.where) == ("H813", "field[0]")
    assert f"{kind} 'corner'" in finding.message
    # 0.5 m by 0.25 m of it.
    assert str(finding.value).startswith("0.125 square metres at x 3.2")
    # Beside it is not on it.
    assert _findings(shapely.box(2.0, 4.0, 3.0, 5.25), areas=(area,)) == []


def test_one_finding_for_each_field_and_area() -> None:
    areas = (rectangle("a", "pillar", 2, 2, 0.2, 0.2), rectangle("b", "no_go", 3, 2, 0.2, 0.2))
    found = _findings(shapely.box(1, 1, 2.1, 4), shapely.box(2.15, 1, 4, 4), areas=areas)
    assert [(finding.where, finding.message.split(" stands on ")[1]) for finding in found] == [
        ("field[0]", "pillar 'a'"),
        ("field[1]", "pillar 'a'"),
        ("field[1]", "no_go 'b'"),
    ]


def test_no_domino_stands_where_a_robot_docks() -> None:
    # At (6, 3) the robot reaches from x = 5.4 to 6.1, y = 2.85 to 3.15; 30 mm are kept.
    (finding,) = _findings(shapely.box(4, 2, 5.38, 4))
    assert (finding.code, finding.where) == ("H813", "field[0]")
    assert "robot 'cart'" in finding.message and "dock[0]" in finding.message
    assert _findings(shapely.box(4, 2, 5.37, 4)) == []


def _ways(*footprints: shapely.Polygon, **changes: object) -> list[Finding]:
    door = rectangle("east door", "exit", 7.8, 0.0, 0.2, 1.0)
    docks = (table(place_m=(6.0, 5.0)), Dock(name="gate", kind="crew", place_m=(0.5, 0.5)))
    given: dict[str, object] = {"areas": (door,), "docks": docks}
    return _findings(*footprints, **given | changes)


def test_a_way_out_that_is_wide_enough() -> None:
    # A mural right across the hall but for a lane along the wall: people need 0.6 m.
    assert _ways(shapely.box(3, 0.61, 4, 6)) == []
    (finding,) = _ways(shapely.box(3, 0.59, 4, 6))
    assert (finding.code, finding.grade, finding.where) == ("H814", "warns", "area")
    assert "once all dominoes stand" in finding.message and "fire rules" in finding.next_step
    # A narrower person still gets through.
    assert _ways(shapely.box(3, 0.59, 4, 6), crew=Crew(room_m=0.5)) == []


def test_a_way_out_that_was_never_there_says_so() -> None:
    wall = rectangle("press line", "no_go", 4, 0, 0.5, 6)
    (finding,) = _ways(
        areas=(rectangle("east door", "escape_route", 7.8, 0, 0.2, 1), wall),
        docks=(table(place_m=(6.0, 5.0)), Dock(name="gate", kind="crew", place_m=(0.5, 0.5))),
    )
    assert finding.code == "H814" and "even in the empty hall" in finding.message


def test_without_a_crew_people_are_on_the_largest_floor() -> None:
    docks = (table(place_m=(6.0, 5.0)),)
    # The mural leaves 3 m at the left and 2.6 m at the right, where the exit is.
    (finding,) = _ways(shapely.box(3, 0, 5.2, 6), docks=docks, crew=None)
    assert finding.code == "H814"
    assert _ways(shapely.box(2.5, 0, 4.5, 6), docks=docks, crew=None) == []


def test_two_fields_close_the_way_that_each_leaves_open() -> None:
    upper, lower = shapely.box(3, 3, 4, 6), shapely.box(3, 0, 4, 2.5)
    assert _ways(upper) == [] and _ways(lower) == []
    # 0.5 m between them is less than the 0.6 m of a person.
    assert [finding.code for finding in _ways(upper, lower)] == ["H814"]


def test_without_exits_in_the_brief_nothing_is_claimed_of_them() -> None:
    assert _findings(shapely.box(3, 0, 4, 6), areas=(), docks=(table(place_m=(6.0, 5.0)),)) == []


def test_an_empty_mural_is_in_nobodys_way() -> None:
    assert _ways() == []
    assert _ways(shapely.Polygon()) == []
