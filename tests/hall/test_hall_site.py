"""The site: what is left of the floor for whom, by areas worked out by hand, and areas that are none."""

from __future__ import annotations

import math
import random

import pytest
import shapely
from hall_case import BOWTIE, FLOOR, cart, hall_brief, rectangle, table, with_part

from standfall.brief import Area, Dock, Hall
from standfall.findings import CATALOGUE
from standfall.hall import make_site

ALL_KINDS = ("pillar", "hole", "exit", "escape_route", "fire_point", "no_go", "walkway")


def test_the_floor_is_shared_out_as_the_kinds_say() -> None:
    # Squares of 0.5 m side by side along the top, 0.25 square metres each, on a floor of 48.
    areas = tuple(rectangle(kind, kind, 0.5 + number, 5.0, 0.5, 0.5) for number, kind in enumerate(ALL_KINDS))
    site, findings = make_site(hall_brief(areas=areas))
    assert findings == [] and site is not None
    assert site.outline.area == pytest.approx(48)
    assert site.floor.area == pytest.approx(48 - 2 * 0.25)
    assert site.for_robots.area == pytest.approx(48 - 7 * 0.25)
    assert site.for_dominoes.area == pytest.approx(48 - 7 * 0.25)
    assert site.for_people.area == pytest.approx(48 - 3 * 0.25)
    for area, shape in site.areas:
        middle = shape.centroid
        assert site.floor.contains(middle) == (area.kind not in ("pillar", "hole"))
        assert site.for_people.contains(middle) == (area.kind not in ("pillar", "hole", "no_go"))
        assert not site.for_robots.contains(middle)


def test_a_round_pillar_is_kept_clear_to_its_last_millimetre() -> None:
    pillar = Area(name="post", kind="pillar", centre_m=(4.0, 3.0), radius_m=0.25)
    site, findings = make_site(hall_brief(areas=(pillar,)))
    assert findings == [] and site is not None
    assert site.floor.distance(shapely.Point(4.0, 3.0)) >= 0.25 - 1e-12
    assert 48 - site.floor.area == pytest.approx(math.pi * 0.25**2, rel=2e-3)


def test_areas_may_overlap_one_another_and_the_wall() -> None:
    areas = (rectangle("a", "exit", -1, 2, 2, 1), rectangle("b", "no_go", 0.5, 2, 1, 1))
    site, findings = make_site(hall_brief(areas=areas))
    assert findings == [] and site is not None
    # Within the hall the two are one rectangle of 1.5 m by 1 m.
    assert site.for_robots.area == pytest.approx(48 - 1.5)


@pytest.mark.parametrize("outline", [BOWTIE, ((0.0, 0.0), (1.0, 0.0)), ((0.0, 0.0), (1.0, 0.0), (2.0, 0.0))])
def test_a_floor_that_is_none_gives_no_site(outline: tuple[tuple[float, float], ...]) -> None:
    site, findings = make_site(hall_brief(hall=Hall(outline_m=outline)))
    assert site is None
    assert [(finding.code, finding.where) for finding in findings] == [("S407", "hall.outline_m")]


def test_a_floor_that_was_never_given_is_told_by_the_brief() -> None:
    assert make_site(hall_brief(hall=Hall())) == (None, [])


def test_an_area_that_crosses_itself_is_told_and_kept_clear_as_its_hull() -> None:
    crossed = Area(name="crossed", kind="no_go", outline_m=BOWTIE)
    site, findings = make_site(hall_brief(areas=(crossed,), docks=()))
    assert site is not None
    assert site.for_people.area == pytest.approx(48 - 4)
    (finding,) = [finding for finding in findings if finding.code == "H801"]
    assert finding.where == "area[0].outline_m"
    assert "1 1" in str(finding.value)  # where its sides cross


def test_an_area_without_area_is_told() -> None:
    flat = Area(name="flat", kind="exit", outline_m=((1, 1), (2, 2), (3, 3)))
    site, findings = make_site(hall_brief(areas=(flat,)))
    assert site is not None and site.areas == ()
    assert [finding.code for finding in findings] == ["H801"]


def test_an_area_off_the_floor_is_told_with_its_place() -> None:
    # Somebody wrote millimetres.
    far = rectangle("far", "exit", 4000, 0, 1000, 200)
    _, findings = make_site(hall_brief(areas=(far,)))
    (finding,) = findings
    assert (finding.code, finding.grade, finding.where) == ("H802", "warns", "area[0]")
    assert "x 0 to 8 m, y 0 to 6 m" in str(finding.limit)


def test_areas_that_leave_no_floor() -> None:
    everywhere = rectangle("everywhere", "walkway", -1, -1, 10, 10)
    site, findings = make_site(hall_brief(areas=(everywhere,)))
    assert site is not None and site.for_robots.is_empty
    assert site.for_people.area == pytest.approx(48)
    codes = [finding.code for finding in findings]
    assert codes.count("H803") == 1
    assert "H804" in codes  # the dock as well: nothing is hidden


def test_all_that_is_wrong_is_told_at_once() -> None:
    brief = hall_brief(
        areas=(
            Area(name="crossed", kind="no_go", outline_m=tuple((x + 2, y + 2) for x, y in BOWTIE)),
            rectangle("far", "exit", 90, 0, 1, 1),
            rectangle("post", "pillar", 5.9, 2.9, 0.2, 0.2),
        ),
        docks=(
            table(),
            table(name="bay", place_m=(0.1, 3.0)),
            Dock(name="gate", kind="crew", place_m=(-1, 0)),
        ),
        robots=(
            cart(),
            with_part(cart(name="odd"), 0, outline_m=BOWTIE),
            with_part(cart(name="high"), 0, bottom_m=0.2),
        ),
    )
    _, findings = make_site(brief)
    assert {finding.code for finding in findings} == {"H801", "H802", "H804", "H805", "H808", "H809", "H812"}
    places = {finding.where for finding in findings}
    assert places >= {"area[0].outline_m", "area[1]", "dock[0].place_m", "dock[2].place_m", "robot[2].part"}


def test_whatever_the_corners_are_nothing_is_raised() -> None:
    rng = random.Random(5)
    told = set()

    def points(most: int) -> tuple[tuple[float, float], ...]:
        grid = [0.0, 1.0, 2.0, 3.0, 1e-7, 8.0, -1000.0, 1000.0, 6.0]
        return tuple((rng.choice(grid), rng.choice(grid)) for _ in range(rng.randint(0, most)))

    for _ in range(300):
        areas = tuple(
            Area(name=f"area {number}", kind=rng.choice(ALL_KINDS), outline_m=points(7))
            for number in range(3)
        )
        robot = with_part(cart(count=rng.randint(1, 3)), rng.randint(0, 1), outline_m=points(6))
        outline = points(6) if rng.random() < 0.3 else FLOOR
        docks = (
            table(place_m=rng.choice([(6.0, 3.0), (0.0, 0.0), (1000.0, -1000.0)]), heading_rad=rng.random()),
        )
        site, findings = make_site(
            hall_brief(areas=areas, robots=(robot,), docks=docks, hall=Hall(outline_m=outline))
        )
        assert site is not None or not outline or [finding.code for finding in findings] == ["S407"]
        for finding in findings:
            assert CATALOGUE[finding.code].grade == finding.grade
            assert finding.message.isprintable() and finding.next_step.endswith(".")
            assert finding.value is not None and finding.limit is not None
        told |= {finding.code for finding in findings}
    assert told >= {"H801", "H802", "H804", "H805", "H808", "H812", "S407"}
