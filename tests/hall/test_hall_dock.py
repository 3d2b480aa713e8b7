"""Docks: room to stand and turn by hand arithmetic, docks that are too close, and robots without a place."""

from __future__ import annotations

import math

import pytest
from hall_case import cart, hall_brief, rectangle, table, with_part

from standfall.brief import Area, Brief, Dock, Laying
from standfall.findings import Finding
from standfall.hall import make_site
from standfall.hall.dock import docked, users

#: Clearance and what the rounding of ways may cut: 30 + 20 mm.
KEPT_M = 0.05


def _findings(**changes: object) -> list[Finding]:
    return make_site(hall_brief(**changes))[1]


def _codes(**changes: object) -> list[tuple[str, str]]:
    return [(finding.code, finding.where) for finding in _findings(**changes)]


@pytest.mark.parametrize(
    ("place_m", "reason"),
    [
        ((9.0, 3.0), "outside the hall"),
        ((-0.001, 3.0), "outside the hall"),
        ((4.0, 3.0), "in pillar 'post'"),
        ((2.5, 3.0), "in exit 'door'"),
        ((1.5, 3.0), "in walkway 'path'"),
    ],
)
def test_a_dock_off_the_free_floor(place_m: tuple[float, float], reason: str) -> None:
    areas = (
        Area(name="post", kind="pillar", centre_m=(4.0, 3.0), radius_m=0.2),
        rectangle("door", "exit", 2.2, 2.5, 0.6, 1),
        rectangle("path", "walkway", 1.2, 2.5, 0.6, 1),
    )
    (finding,) = _findings(areas=areas, docks=(table(place_m=place_m),), crew=None)
    assert (finding.code, finding.where) == ("H804", "dock[0].place_m")
    assert reason in finding.message
    assert f"x {place_m[0]:.3f} m, y {place_m[1]:.3f} m" == finding.value


def test_people_may_come_in_by_an_exit_but_not_by_a_no_go_area() -> None:
    areas = (rectangle("door", "exit", 0, 0, 1, 1), rectangle("press", "no_go", 7, 0, 1, 1))
    gate = Dock(name="gate", kind="crew", place_m=(0.5, 0.5))
    assert _codes(areas=areas, docks=(table(), gate)) == []
    press = Dock(name="gate", kind="crew", place_m=(7.5, 0.5))
    assert _codes(areas=areas, docks=(table(), press)) == [("H804", "dock[1].place_m")]


# Heading along x the chassis reaches 0.6 m behind the place and 0.15 m to each side; the arms 0.1 m ahead.
@pytest.mark.parametrize(
    ("heading_deg", "nearest_m"),
    [(0, (0.6, 0.15)), (90, (0.15, 0.6)), (180, (0.1, 0.15)), (270, (0.15, 0.1))],
)
@pytest.mark.parametrize("side", [0, 1])
def test_a_robot_fits_its_dock_to_the_millimetre(
    heading_deg: float, nearest_m: tuple[float, float], side: int
) -> None:
    place = [3.0, 3.0]
    for short_m, wanted in ((-0.001, []), (0.001, ["H805"])):
        place[side] = nearest_m[side] + KEPT_M - short_m
        dock = table(place_m=tuple(place), heading_rad=math.radians(heading_deg))
        found = [finding.code for finding in _findings(docks=(dock,), crew=None)]
        assert [code for code in found if code != "H807"] == wanted


def test_what_is_in_the_way_is_named() -> None:
    post = rectangle("post", "pillar", 6.12, 2.9, 0.2, 0.2)
    (finding,) = _findings(areas=(post,), docks=(table(),), crew=None)
    assert (finding.code, finding.where) == ("H805", "dock[0]")
    assert "pillar 'post'" in finding.message and "edge of the hall" not in finding.message
    near_wall = table(place_m=(0.5, 3.0))
    (finding,) = _findings(docks=(near_wall,), crew=None)
    assert "the edge of the hall" in finding.message
    both = _findings(areas=(rectangle("door", "exit", 0.5, 3.1, 0.5, 0.5),), docks=(near_wall,), crew=None)
    assert "exit 'door' and the edge of the hall" in both[0].message


def test_parts_too_high_for_dominoes_are_not_too_high_for_walls() -> None:
    # The arms, 120 mm up, reach 0.1 m ahead: a pillar 0.14 m ahead is in their clearance of 0.05 m.
    post = rectangle("post", "pillar", 6.14, 2.99, 0.02, 0.02)
    assert _codes(areas=(post,), docks=(table(),), crew=None) == [("H805", "dock[0]")]
    without = cart(parts=cart().parts[:1])
    assert _codes(areas=(post,), docks=(table(),), crew=None, robots=(without,)) == []


def test_a_person_needs_room_at_the_door() -> None:
    # 0.3 m of person and 0.05 m kept, as 16 sides round them: 0.35 / cos(pi / 16) = 0.35686 m to a corner.
    for x_m, wanted in ((0.3574, []), (0.3564, [("H805", "dock[1]")])):
        gate = Dock(name="gate", kind="crew", place_m=(x_m, 3.0))
        assert _codes(docks=(table(), gate)) == wanted


@pytest.mark.parametrize(("drive", "code"), [("omnidirectional", "H807"), ("differential", "H806")])
def test_a_robot_that_cannot_turn_at_its_dock(drive: str, code: str) -> None:
    # Turning about (-0.35, 0) the arms sweep hypot(0.45, 0.1) = 0.46098 m, and 0.05 m are kept: 0.51098 m, and as the
    # circle is 64 sides drawn round it, 0.51098 / cos(pi / 64) = 0.5116 m at most.
    robot = cart(drive=drive)
    for y_m, wanted in ((0.5120, []), (0.5105, [(code, "dock[0]")])):
        dock = table(place_m=(3.0, y_m))
        assert _codes(docks=(dock,), robots=(robot,), crew=None) == wanted


def test_users_of_a_dock() -> None:
    brief = hall_brief(robots=(cart(), cart(name="sledge")))
    site = make_site(brief)[0]
    assert site is not None
    assert users(table(), site.models) == (0, 1)
    assert users(table(robots=("sledge",)), site.models) == (1,)
    assert users(Dock(name="gate", kind="crew", place_m=(0, 0)), site.models) == ()


def test_a_docked_robot_lies_as_its_heading_says() -> None:
    site = make_site(hall_brief())[0]
    assert site is not None
    shape = docked(table(place_m=(2.0, 1.0), heading_rad=math.pi / 2), site.models[0])
    # Turned by 90 degrees x is up: from 0.6 m below to 0.1 m above, 0.15 m to each side.
    assert shape.bounds == pytest.approx((1.85, 0.4, 2.15, 1.1))


def _two_docks(apart_m: float) -> tuple[Dock, Dock]:
    return table(place_m=(4.0, 2.0)), table(name="bay", kind="parking", place_m=(4.0, 2.0 + apart_m))


def test_docks_keep_two_robots_apart() -> None:
    # Chassis are 0.3 m wide and 30 mm are kept.
    robots = (cart(count=2),)
    assert _codes(docks=_two_docks(0.331), robots=robots, crew=None) == []
    assert _codes(docks=_two_docks(0.329), robots=robots, crew=None) == [("H811", "dock[0] and dock[1]")]
    # One robot is never at two docks.
    assert _codes(docks=_two_docks(0.1), crew=None) == []
    # Two that never use both docks do not meet there.
    docks = tuple(
        table(name=name, place_m=(4.0, y_m), robots=(name,)) for name, y_m in (("a", 2.0), ("b", 2.1))
    )
    assert _codes(docks=docks, robots=(cart(name="a"), cart(name="b")), crew=None) == [
        ("H811", "dock[0] and dock[1]")
    ]


def test_docks_too_close_for_one_kind_only_by_the_clearance() -> None:
    close = {"docks": _two_docks(0.31), "robots": (cart(count=2),), "crew": None}
    assert _codes(**close, laying=Laying(clearance_m=0.009)) == []
    assert _codes(**close, laying=Laying(clearance_m=0.011)) == [("H811", "dock[0] and dock[1]")]


def test_each_robot_needs_a_dock_of_its_own() -> None:
    docks = (
        table(place_m=(4, 1)),
        table(name="bay", place_m=(4, 2), robots=("a",)),
        table(name="nook", place_m=(4, 3), robots=("a",)),
    )

    def placed(*robots: tuple[str, int]) -> list[object]:
        brief = hall_brief(docks=docks, robots=tuple(cart(name=n, count=c) for n, c in robots), crew=None)
        return [finding.value for finding in make_site(brief)[1] if finding.code == "H812"]

    assert placed(("a", 3)) == []
    assert placed(("a", 2), ("b", 1)) == []
    assert placed(("a", 4)) == [3]
    # By Hall's theorem: the two called b share one dock, so one of them has none, though there are three docks.
    assert placed(("a", 1), ("b", 2)) == [2]
    assert placed(("a", 3), ("b", 1)) == [3]


def test_a_robot_in_doubt_is_not_held_against_docks() -> None:
    # Its outline crosses itself: as a hull it would not fit here, but that is not what is wrong.
    odd = with_part(cart(), 0, outline_m=((0, 0), (5, 5), (5, 0), (0, 5)))
    assert _codes(robots=(odd,), crew=None, docks=(table(),)) == [("H808", "robot[0].part[0].outline_m")]


def test_a_brief_without_docks_and_robots_has_nothing_to_say() -> None:
    brief: Brief = hall_brief(docks=(), robots=(), crew=None)
    site, findings = make_site(brief)
    assert findings == [] and site is not None
    assert (site.models, site.worker, site.docks) == ((), None, ())
