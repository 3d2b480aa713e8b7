"""What a build lead reads about tiles, hand work, robots, docks and lanes."""

import math
from dataclasses import replace

import pytest
import shapely
from access_case import FRONT, SKIRTS, UP, Case, patch, stacked
from board import Board, box, make_brief, make_robot, part

from standfall.brief import Area, Crew, Dock
from standfall.routes.access_findings import access_findings, lane_width_m


def read(case, **keys):
    return {finding.code: finding for finding in access_findings(case.ground, case.access(**keys))}


def test_nothing_to_say_about_a_field_that_can_be_laid():
    assert read(Case(patch(3, 3, (FRONT,)))) == {}


def test_trapped_tiles_are_named_with_what_is_in_the_way():
    found = read(Case(patch(3, 1, (SKIRTS,))))
    assert set(found) == {"R901"}
    finding = found["R901"]
    # Of three side by side the two outer ones can be laid; the first of those with one neighbour is tile 1.
    assert finding.where == "tile 1" and finding.value == 3 and finding.limit == 2
    assert "tile 1 has tile 2 in its way" in finding.message
    assert "Without tile 2 the other 2 steps" in finding.message and "no order lays more" in finding.message


def test_tile_at_the_wall_is_told_apart():
    # The field begins 0.3 m from the wall; the body reaches 0.56 m behind the middle of a tile.
    board = patch(2, 1, (FRONT,))
    board = replace(board, tiles=tuple((x, 0.45, yaw) for x, _, yaw in board.tiles))
    found = read(
        Case(
            replace(board, brief=replace(board.brief, tray=replace(board.brief.tray, orientations_deg=(0,))))
        )
    )
    assert found["R902"].value == 2 and found["R902"].where == "tile 1"
    assert "R905" in found and "not even in an empty hall" in found["R905"].message


def test_hand_work_out_of_reach_and_tiles_only_people_can_lay():
    board = patch(5, 5, (FRONT,), Crew(reach_m=1.2))
    middle = 12
    case = Case(board, stacked(board, [middle]))
    standing = [step for step in range(25) if step != middle]
    found = read(case, standing=standing, wanted=[middle, 25], hand_allowed=True)
    assert set(found) == {"R904"} and found["R904"].where == "tile 13"
    short = replace(board, brief=replace(board.brief, crew=Crew(reach_m=0.3)))
    case = Case(short, stacked(short, [middle]))
    found = read(case, standing=[*standing, middle], wanted=[25])
    assert set(found) == {"R903"}
    # 0.3 m from the edge of the kneeling room of 0.6 m across.
    assert found["R903"].limit.startswith("within 600 mm")
    assert found["R903"].where == "stacked rows at x 4.250 m, y 3.750 m"


def test_dock_behind_a_lane_that_is_too_narrow():
    areas = (
        Area(name="left", kind="pillar", outline_m=box(0, 2, 4.25, 2.3)),
        Area(name="right", kind="pillar", outline_m=box(4.75, 2, 9, 2.3)),
    )
    found = read(Case(patch(3, 2, (FRONT,), areas=areas)))
    assert {"R901", "R905", "R906", "R907"} == set(found)
    # The lane is 500 mm; body and plate are 0.5 m across and keep 30 mm on both sides.
    assert found["R907"].value == pytest.approx(500, abs=1) and found["R907"].limit == 560
    assert found["R906"].where == found["R907"].where == "dock[0]"


def test_one_of_two_docks_leads_nowhere():
    fence = (Area(name="fence", kind="pillar", outline_m=box(0, 6.5, 9, 6.6)),)
    docks = (
        Dock(name="front", place_m=(4.5, 1.0), heading_rad=UP),
        Dock(name="back", place_m=(4.5, 7.3), heading_rad=UP),
    )
    found = read(Case(patch(3, 2, (FRONT,), areas=fence, docks=docks)))
    assert "R901" not in found and "R905" not in found
    assert found["R906"].where == "dock[1]" and found["R907"].value == 0


def test_robot_that_cannot_leave_its_tile():
    ring = make_robot(
        tuple(
            part(f"side {k}", side)
            for k, side in enumerate(
                [box(-0.2, -0.3, -0.16, 0.3), box(0.16, -0.3, 0.2, 0.3), box(-0.2, 0.26, 0.2, 0.3)]
            )
        ),
        leave=(0.0,),
        name="ring",
    )
    found = read(Case(patch(2, 2, (FRONT, ring))))
    assert set(found) == {"R905"} and found["R905"].where == "robot[1]" and "'ring'" in found["R905"].message


def test_lane_width_of_an_hourglass():
    # Two rooms joined by an opening of 0.7 m between sharp pillars, and by one of 0.4 m.
    floor = shapely.box(0, 0, 6, 4).difference(
        shapely.union_all([shapely.box(2.9, 0, 3.1, 1.0), shapely.box(2.9, 1.7, 3.1, 3.6)])
    )
    width = lane_width_m(floor, (1.0, 2.0), shapely.MultiPoint([(5.0, 2.0)]), 0.5)
    assert width == pytest.approx(0.7, abs=0.002)
    apart = floor.difference(shapely.box(2.95, 0, 3.05, 4))
    assert lane_width_m(apart, (1.0, 2.0), shapely.MultiPoint([(5.0, 2.0)]), 0.5) == 0.0


def test_crew_that_lays_all_hears_nothing_of_robots():
    board = Board(
        make_brief(box(0, 0, 6, 6), (), (), (), Crew(tiles_by_hand=True)),
        ((3.0, 3.0, 0.0), (3.5, 3.0, math.pi)),
    )
    assert read(Case(board)) == {}
