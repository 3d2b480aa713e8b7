"""A small build planned from brief to trips, and what is told when tiles cannot be laid or have fallen."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from small_floor import BODY, CART, TILE_M, cart, dock, small_floor

from standfall.findings import Finding
from standfall.intake import read_brief
from standfall.planning import Outcome, make_plan
from standfall.routes.access import Access
from standfall.routes.make import plan_rest
from standfall.routes.plan import Routes
from standfall.routes.step import KINDS
from standfall.routes.trip import PHASES

ToToml = Callable[[dict[str, Any]], bytes]
WriteBrief = Callable[[dict[str, Any]], Path]

TABLE = dock("table", 5.0, 1.0)
GATE = {"name": "gate", "kind": "crew", "place_m": [5.0, 4.0]}
COLUMNS = 4  # tiles side by side; tile 1 is at the lower left, numbers go band by band
#: Low skirts left and right of the tray: own dominoes reach 147 mm to the side, those of the next tile begin at 150.
SKIRTS = [
    {
        "name": f"skirt {side}",
        "outline_m": [[-0.055, low], [0.055, low], [0.055, low + 0.04], [-0.055, low + 0.04]],
        "bottom_mm": 20,
    }
    for side, low in (("left", 0.16), ("right", -0.2))
]


def planned(write_brief: WriteBrief, data: dict[str, Any]) -> Outcome:
    return make_plan(read_brief(write_brief(data)))


def routes_of(outcome: Outcome) -> Routes:
    assert outcome.plan is not None, outcome.findings
    assert outcome.plan.routes is not None, outcome.findings
    return outcome.plan.routes


def found(findings: tuple[Finding, ...], code: str) -> Finding:
    (one,) = [finding for finding in findings if finding.code == code]
    return one


def kinds_in(access: Access, routes: Routes) -> list[str]:
    return [KINDS[kind] for kind in routes.steps.kind[access.order]]


def begins_s(routes: Routes, phase: str) -> dict[int, float]:
    """When each step begins to be lowered or laid."""
    trips, number = routes.trips, PHASES.index(phase)  # type: ignore[arg-type]
    rows = np.flatnonzero(trips.phase == number)
    first: dict[int, float] = {}
    for row in rows:
        first.setdefault(int(trips.way_step[row]), float(trips.t_s[row]))
    return first


def test_a_build_with_a_robot_and_a_crew_from_brief_to_trips(
    small: dict[str, Any], write_brief: WriteBrief
) -> None:
    small["field"][0] |= {"gap_rows": [[10, 11], [20, 20]], "stacked_rows": [[28, 29]]}
    outcome = planned(write_brief, small | {"robot": [CART], "dock": [TABLE, GATE], "crew": {}})
    assert not outcome.blocked, outcome.findings
    routes, plan = routes_of(outcome), outcome.plan
    assert plan is not None
    steps, access = routes.steps, routes.access
    # By hand: 6 bands of 4 trays; two stretches of open rows cut at 4 trays; rows 28 and 29 on the last band.
    counted = {kind: kinds_in(access, routes).count(kind) for kind in ("tile", "gap", "stack")}
    assert counted == {"tile": 24, "gap": 8, "stack": 4}
    # At 24 mm a stretch of 0.6 m has 25 pieces.
    lines = [np.count_nonzero(plan.standing.line == number) for number in range(2)]
    assert kinds_in(access, routes).count("line") == sum(math.ceil(pieces / 25) for pieces in lines)
    assert sorted(access.order.tolist()) == list(range(len(steps)))
    assert routes.unreachable == ()
    # The robot lays the tiles and people the rest, what rests on something after it.
    tile = steps.kind[access.order] == KINDS.index("tile")
    assert (access.stance.model[tile] == 0).all()
    assert (access.stance.model[~tile] == -1).all()
    place = {step: at for at, step in enumerate(access.order.tolist())}
    rests = [step for step in range(len(steps)) if steps.after[step] >= 0]
    assert len(rests) == 4
    assert all(place[step] > place[int(steps.after[step])] for step in rests)
    # Each is begun after the one before it in the order.
    begun = begins_s(routes, "lower") | begins_s(routes, "lay")
    times = [begun[step] for step in access.order.tolist()]
    assert all(a < b for a, b in itertools.pairwise(times))


def test_trays_stand_as_the_plan_says_they_were_turned(
    small: dict[str, Any], write_brief: WriteBrief
) -> None:
    # A dock above the field: the robot may come from above, its trays turned by half a turn.
    docks = [dock("table", 4.6, 4.0, 270), GATE]
    outcome = planned(write_brief, small | {"robot": [CART], "dock": docks, "crew": {}})
    routes, plan = routes_of(outcome), outcome.plan
    assert plan is not None
    trips, tiling = routes.trips, plan.tiling
    assert set(tiling.turn_deg.tolist()) == {0, 180}
    lowered = np.flatnonzero(trips.phase == PHASES.index("lower"))
    assert len(lowered) == len(tiling)
    for row in lowered:
        tile = int(trips.way_step[row])
        # Rows of slots count up to the left of the tray's x axis and ahead of the robot: tray_turns_deg is 0.
        assert (trips.x_m[row], trips.y_m[row]) == pytest.approx((tiling.x_m[tile], tiling.y_m[tile]))
        off = math.remainder(trips.yaw_rad[row] - tiling.yaw_rad[tile] - math.pi / 2, 2 * math.pi)
        assert off == pytest.approx(0.0, abs=1e-9)
        # The first slot row is the one behind: of the lowest row in the hall if unturned, of the highest if turned.
        mine = plan.standing.tile == tile + 1
        back = plan.standing.y_m[mine & (plan.standing.slot_row == 0)]
        up = math.sin(trips.yaw_rad[row])
        assert (up * (back - tiling.y_m[tile]) < 0).all()


def test_without_robots_and_crew_nothing_is_planned(small: dict[str, Any], write_brief: WriteBrief) -> None:
    outcome = planned(write_brief, small)
    assert outcome.plan is not None
    assert outcome.plan.routes is None
    assert not [finding for finding in outcome.findings if finding.code[0] in "HR"]


def test_people_lay_tiles_from_where_they_reach_and_touch_nothing(
    small: dict[str, Any], write_brief: WriteBrief
) -> None:
    crew = {"builders": 2, "reach_mm": 550, "room_mm": 500, "tiles_by_hand": True}
    small |= {"dock": [GATE], "crew": crew}
    outcome = planned(write_brief, small)
    assert not outcome.blocked, outcome.findings
    routes, plan = routes_of(outcome), outcome.plan
    assert plan is not None
    access, stance = routes.access, routes.access.stance
    assert sorted(access.order.tolist()) == list(range(len(routes.steps)))
    assert (stance.model == -1).all()
    assert routes.driven_m == 0.0
    assert set(routes.trips.names) == {"builder 1", "builder 2"}
    piece = (plan.brief.domino.width_m, plan.brief.domino.thickness_m)
    boxes = [
        shapely.affinity.rotate(
            shapely.box(x - piece[1] / 2, y - piece[0] / 2, x + piece[1] / 2, y + piece[0] / 2),
            yaw,
            use_radians=True,
        )
        for x, y, yaw in zip(plan.standing.x_m, plan.standing.y_m, plan.standing.yaw_rad, strict=True)
    ]
    standing: list[shapely.Geometry] = []
    for row, step in enumerate(access.order.tolist()):
        own = [boxes[domino] for domino in routes.steps.members(step)]
        kneels = shapely.Point(stance.x_m[row], stance.y_m[row])
        # 550 mm from the edge of the 500 mm somebody kneels on; 30 mm clearance from whatever stands.
        farthest = max(shapely.hausdorff_distance(kneels, box) for box in own)
        assert farthest <= 0.55 + 0.25 + 1e-9
        standing += own
        assert shapely.distance(kneels, standing).min() >= 0.25 + 0.03 - 1e-9


def test_a_robot_with_skirts_on_both_sides_lays_every_other_tile(
    small: dict[str, Any], write_brief: WriteBrief
) -> None:
    # With both neighbours' places taken up by skirts no two tiles side by side can be laid: the second of them has
    # the first where its skirt must stand. Of 4 in a band 2 remain, of 6 bands 12 tiles.
    small["field"][0] |= {"stacked_rows": []}
    small["tray"] |= {"orientations_deg": [0]}
    robot = cart(part=[*CART["part"], *SKIRTS])
    for name in ("line", "starter", "fall"):
        del small[name]
    outcome = planned(write_brief, small | {"robot": [robot], "dock": [TABLE]})
    assert outcome.blocked
    trapped = found(outcome.findings, "R901")
    # No plan lays more, so what is called the most that can be laid is not less.
    assert isinstance(trapped.limit, int)
    assert trapped.limit >= 12
    routes = routes_of(outcome)
    left_out = set(routes.unreachable)
    assert len(left_out) == 12
    laid = set(range(1, 25)) - left_out
    assert not [tile for tile in laid if tile + 1 in laid and tile % COLUMNS]
    # Those left out are named, the first eight of them one by one.
    named = re.search(r"Without tiles ([\d, ]+) and 4 more", trapped.message)
    assert named is not None
    assert {int(number) for number in named[1].split(",")} <= left_out


# The band of a tile and its column: tiles 10, 11, 14 and 15 are the middle ones of bands 3 and 4 of 6.
PATCH = (9, 10, 13, 14)


def test_people_lay_a_patch_again_that_fell_where_no_robot_gets(
    small: dict[str, Any], to_toml: ToToml
) -> None:
    # Behind each of these tiles, where the robot's body must be, two bands stand. From below the field people reach
    # them: they kneel 0.35 m below it (300 mm of room, clearance 30 mm, corner 20 mm), and the farthest corner is
    # four bands up and half a tile aside: hypot(0.35 + 0.44, 0.15) < 0.9 m, 600 mm from the edge of their room.
    assert math.hypot(0.35 + 4 * TILE_M[1], TILE_M[0] / 2) < 0.9
    case = small_floor(small, to_toml, [cart()], [TABLE, GATE], crew={})
    access, legs, findings = plan_rest(case.floor(), sorted(set(range(24)) - set(PATCH)))
    assert sorted(access.order.tolist()) == list(PATCH)
    assert (access.stance.model == -1).all()
    assert all(leg.by_hand for leg in legs.legs)
    assert legs.driven_m == 0.0
    by_hand = found(findings, "R904")
    assert "tiles 10, 11, 14, 15" in by_hand.message
    assert by_hand.value == 4


def test_a_patch_that_nobody_reaches_is_told(small: dict[str, Any], to_toml: ToToml) -> None:
    # With arms of 50 mm: 0.35 m from the middle of the person to the nearest edge of the field is all there is.
    case = small_floor(small, to_toml, [cart()], [TABLE, GATE], crew={"reach_mm": 50})
    access, legs, findings = plan_rest(case.floor(), sorted(set(range(24)) - set(PATCH)))
    assert access.order.tolist() == []
    assert legs.legs == ()
    assert set(access.trapped) == set(PATCH)
    trapped = found(findings, "R901")
    assert trapped.grade == "blocks"
    assert trapped.value == 4
    assert "tiles 10, 11, 14, 15" in trapped.message


def test_a_patch_at_the_near_edge_is_laid_by_the_robot_again(small: dict[str, Any], to_toml: ToToml) -> None:
    # Two tiles in the middle of the lowest band, and one above them: it must come before the one in front of it. A
    # body 160 mm wide keeps 50 mm (clearance and corner) from the dominoes that begin 150 mm left and right of the
    # middle of its tile: 150 - 80 = 70.
    slim = BODY | {"outline_m": [[-0.5, -0.08], [-0.08, -0.08], [-0.08, 0.08], [-0.5, 0.08]]}
    case = small_floor(small, to_toml, [cart(part=[slim])], [TABLE, GATE], crew={})
    floor = case.floor()
    access, _, findings = plan_rest(floor, sorted(set(range(24)) - {1, 2, 5}))
    assert sorted(access.order.tolist()) == [1, 2, 5]
    assert (access.stance.model == 0).all()
    order = access.order.tolist()
    assert order.index(5) < order.index(1)
    assert not [finding for finding in findings if finding.code in ("R901", "R904")]
    # What must not be laid is not, and nothing waits for it.
    access, _, _ = plan_rest(floor, sorted(set(range(24)) - {1, 2, 5}), forbidden=[1])
    assert sorted(access.order.tolist()) == [2, 5]


def test_the_planned_order_is_kept_where_nothing_has_fallen(small: dict[str, Any], to_toml: ToToml) -> None:
    case = small_floor(small, to_toml, [cart()], [TABLE, GATE], crew={})
    floor = case.floor()
    whole, _, _ = plan_rest(floor, [])
    order = whole.order.tolist()
    front = np.zeros(len(floor.steps))
    front[order] = -np.arange(len(order))
    rest, _, _ = plan_rest(floor, order[:10], front=front)
    assert rest.order.tolist() == order[10:]
