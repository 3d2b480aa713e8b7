"""Traffic against an own sampler of places, and hand arithmetic."""

import math
from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from traffic_hall import (
    NOTHING,
    away_s,
    builders,
    carrier,
    dock,
    dock_way,
    hall,
    hand_leg,
    leg,
    nothing_in_the_way,
    poses_at,
    set_down_s,
    square,
)

from standfall.findings import StandfallError
from standfall.geometry.convex import Convex
from standfall.routes.reservation import PEOPLE_APART_M, TICK_S
from standfall.routes.track import PHASES
from standfall.routes.traffic import plan_traffic


def _least_distance(trips, one, other):
    """Sampled every 20 ms while both are on their way; infinite when they never are."""
    (a, b), (c, d) = away_s(trips, one), away_s(trips, other)
    if max(a, c) >= min(b, d):
        return math.inf
    times = np.arange(max(a, c), min(b, d), 0.02)
    p, q = poses_at(trips, one, times), poses_at(trips, other, times)
    return float(np.hypot(p[0] - q[0], p[1] - q[1]).min())


def _check_columns(trips, legs):
    assert sorted(trips.step.tolist()) == sorted(each.step for each in legs)
    for number in range(len(trips)):
        rows = trips.waypoints_of(number)
        assert np.all(np.diff(trips.t_s[rows]) >= 0)
        assert trips.t_s[rows][0] == trips.start_s[number]
        assert trips.t_s[rows][-1] == trips.end_s[number]
    for robot in range(len(trips.names)):
        mine = np.flatnonzero(trips.robot == robot)
        ends = trips.end_s[mine]
        assert np.all(trips.start_s[mine][1:] >= ends[:-1] - 1e-9)
    downs = [set_down_s(trips, each.step) for each in legs]
    assert np.all(np.diff(downs) > 0)


# One robot, by hand


def test_one_robot_by_hand():
    site = hall([carrier()], [dock("north", 0.0, 0.0, load_s=20.0)])
    legs = [leg(site, step, 0, (4.8 + step, 0.0)) for step in range(3)]
    trips, findings = plan_traffic(site, legs, nothing_in_the_way)
    assert findings == []
    _check_columns(trips, legs)
    # Each: 20 s loading; d/1 + 1/0.5 to the leave point (d = 4, 5, 6 m) and 4.4 s straight in, both ways; 6 s to
    # set down. Departures fall on the next quarter of a second.
    lasts = [2 * (d + 2 + 4.4) + 6 for d in (4.0, 5.0, 6.0)]
    begin = 0.0
    for number, time in enumerate(lasts):
        assert trips.start_s[number] == pytest.approx(begin)
        departure = math.ceil((begin + 20.0) / TICK_S - 1e-9) * TICK_S
        begin = departure + time
        assert trips.end_s[number] == pytest.approx(begin, abs=1e-8)
    assert trips.laying_s == pytest.approx(begin)
    assert trips.phase_s("dock") == pytest.approx(60.0)
    assert trips.driven_m.tolist() == pytest.approx([9.6, 11.6, 13.6])


def test_legs_with_a_way_on_make_one_trip():
    site = hall([carrier(carries=2)], [dock("north", 0.0, 0.0, load_s=20.0)])
    on = np.array([(4.2, 0.0), (4.2, 3.0)])
    legs = [leg(site, 0, 0, (5.0, 0.0), next_m=on), leg(site, 1, 0, (5.0, 3.0)), leg(site, 2, 0, (5.0, 1.5))]
    trips, _ = plan_traffic(site, legs, nothing_in_the_way)
    _check_columns(trips, legs)
    assert [trips.steps_of(number).tolist() for number in range(2)] == [[0, 1], [2]]
    # Two tiles are loaded for the first trip, one for the second.
    assert trips.phase_s("dock") == pytest.approx(60.0)
    assert away_s(trips, 0)[0] == pytest.approx(40.0)


def test_the_same_input_gives_the_same_bytes():
    site = hall([carrier(count=2)], [dock("north", 0.0, 0.0), dock("south", 0.0, 3.0)])
    legs = [leg(site, step, step % 2, (4.0 + step % 3, 1.5 + step % 2)) for step in range(10)]
    one, _ = plan_traffic(site, legs, nothing_in_the_way)
    two, _ = plan_traffic(site, legs, nothing_in_the_way)
    for name in one.__dataclass_fields__:
        first, second = getattr(one, name), getattr(two, name)
        assert first == second if name == "names" else first.tobytes() == second.tobytes()


# Robots among each other


def test_head_on_in_one_corridor():
    """Two robots at the ends of a lane, each with tiles beyond the other's dock side: they must take turns."""
    site = hall([carrier(count=2)], [dock("west", 0.0, 0.0), dock("east", 12.0, 0.0)])
    legs = []
    for step in range(6):
        west = step % 2 == 0
        legs.append(
            leg(site, step, 0 if west else 1, (8.0, 0.0) if west else (4.0, 0.0), 0.0 if west else math.pi)
        )
    trips, findings = plan_traffic(site, legs, nothing_in_the_way)
    assert findings == []
    _check_columns(trips, legs)
    apart = 2 * math.hypot(0.3, 0.3) + site.laying.clearance_m
    for one in range(6):
        for other in range(one + 1, 6):
            if trips.robot[one] != trips.robot[other]:
                assert _least_distance(trips, one, other) >= apart
    # Had they not waited they would have met: the ways overlap for 4 m.
    assert trips.phase_s("wait") > 15.0


def test_passing_lanes_are_used_at_once():
    """Discs that stay apart do not wait for each other at all."""
    site = hall([carrier(count=2)], [dock("west", 0.0, 0.0), dock("east", 12.0, 1.0)])
    legs = [
        leg(
            site,
            step,
            step % 2,
            (8.0, 0.0) if step % 2 == 0 else (4.0, 1.0),
            0.0 if step % 2 == 0 else math.pi,
        )
        for step in range(6)
    ]
    trips, _ = plan_traffic(site, legs, nothing_in_the_way)
    # Only the order of set-downs costs time: the second robot follows the first by a tick.
    assert trips.phase_s("wait") < 6.0
    assert min(_least_distance(trips, k, k + 1) for k in range(0, 6, 2)) == pytest.approx(1.0, abs=0.01)


@settings(deadline=None, max_examples=15)
@given(st.integers(0, 10_000), st.integers(1, 4), st.sampled_from(["omnidirectional", "differential"]))
def test_random_halls_always_finish_without_a_meeting(seed, robots, drive):
    """No deadlock: every step is done; and no two robots ever come nearer than their turning circles."""
    rng = np.random.default_rng(seed)
    half = float(rng.uniform(0.1, 0.4))
    centre = (float(rng.uniform(-0.2, 0.2)), 0.0)
    site = hall(
        [carrier(count=robots, drive=drive, half_m=half, turn_centre_m=centre)],
        [
            dock(f"dock {k}", 2.5 * k, 0.0, math.pi / 2, load_s=float(rng.uniform(0, 30)))
            for k in range(robots)
        ],
    )
    legs = []
    for step in range(12):
        via = [tuple(rng.uniform((0, 2.5), (8, 4)))] if rng.random() < 0.7 else []
        to, number = rng.uniform((0, 5), (8, 9)), int(rng.integers(robots))
        legs.append(leg(site, step, number, (float(to[0]), float(to[1])), math.pi / 2, via=via))
    trips, findings = plan_traffic(site, legs, nothing_in_the_way)
    if trips is None:
        # Robots without a single trip are dealt to docks that others serve, and may find no place.
        assert {finding.code for finding in findings} == {"R923"}
        return
    _check_columns(trips, legs)
    apart = 2 * site.models[0].body_radius_m + site.laying.clearance_m
    for one in range(len(trips)):
        for other in range(one + 1, len(trips)):
            if trips.robot[one] != trips.robot[other]:
                times = np.arange(
                    max(away_s(trips, one)[0], away_s(trips, other)[0]),
                    min(trips.end_s[one], trips.end_s[other]),
                    0.02,
                )
                p, q = poses_at(trips, one, times), poses_at(trips, other, times)
                places = [(x + np.cos(a) * centre[0], y + np.sin(a) * centre[0]) for x, y, a in (p, q)]
                gaps = np.hypot(places[0][0] - places[1][0], places[0][1] - places[1][1])
                assert gaps.min(initial=math.inf) >= apart


# Dominoes that are set down meanwhile


def test_a_tile_waits_until_the_robot_before_has_passed_its_place():
    """The first robot's way home leads over the place of the second tile."""
    site = hall([carrier(count=2)], [dock("west", 0.0, 0.0), dock("south", 6.0, -6.0, math.pi / 2)])
    legs = [leg(site, 0, 0, (10.0, 0.0)), leg(site, 1, 1, (6.0, -1.5), math.pi / 2)]
    tile = Convex.from_list([square(0.3 + 0.2, (6.0, -1.5 + 1.2))])

    def in_way(of, step):
        return tile if step == 1 else NOTHING

    free, _ = plan_traffic(site, legs, nothing_in_the_way)
    held, _ = plan_traffic(site, legs, in_way)
    rows = held.waypoints_of(0)
    times = np.arange(held.t_s[rows][0], held.end_s[0], 0.01)
    x, y, _ = poses_at(held, 0, times)
    inside = shapely.contains_xy(shapely.Polygon(tile.polygon(0)), x, y)
    assert times[inside].max() <= set_down_s(held, 1)
    # Without the tile's shape it would have been set down while the first was still out there.
    x, y, _ = poses_at(free, 0, times)
    inside = shapely.contains_xy(shapely.Polygon(tile.polygon(0)), x, y)
    assert times[inside].max() > set_down_s(free, 1)


@pytest.mark.parametrize(("conflict", "waits"), [(frozenset(), False), (frozenset({1}), True), (None, True)])
def test_a_tile_in_the_way_of_a_departure_waits_for_it(conflict, waits):
    site = hall([carrier(count=2)], [dock("west", 0.0, 0.0), dock("south", 6.0, -6.0)])
    legs = [leg(site, 0, 0, (9.0, 0.0), conflict=conflict), leg(site, 1, 1, (13.0, -6.0))]
    trips, _ = plan_traffic(site, legs, nothing_in_the_way)
    rows = trips.waypoints_of(0)
    clear = trips.t_s[rows][trips.phase[rows] == PHASES.index("return")][0]
    assert (set_down_s(trips, 1) >= clear) == waits


# People


def test_robots_and_people_are_never_on_the_floor_together():
    site = hall(
        [carrier()], [dock("north", 0.0, 0.0), dock("door", 0.0, 5.0, kind="crew", load_s=0.0)], builders(2)
    )
    legs = [
        leg(site, 0, 0, (5.0, 0.0)),
        hand_leg(site, 1, 1, (2.0, 9.0)),
        hand_leg(site, 2, 1, (6.0, 9.0)),
        leg(site, 3, 0, (6.0, 0.0)),
        hand_leg(site, 4, 1, (6.0, 7.0)),
    ]
    trips, _ = plan_traffic(site, legs, nothing_in_the_way)
    _check_columns(trips, legs)
    robot = [number for number in range(5) if trips.names[trips.robot[number]] == "carrier"]
    for one in robot:
        for other in set(range(5)) - set(robot):
            (a, b), (c, d) = away_s(trips, one), away_s(trips, other)
            assert b <= c or d <= a


def _round(step):
    """Places on a circle about the door, 3 m or more from each other."""
    return (5 * math.cos(1.2 * (step % 4)), 5 * math.sin(1.2 * (step % 4)) + step // 4)


def test_builders_work_at_once_and_keep_a_metre_apart():
    site = hall([], [dock("door", 0.0, 0.0, kind="crew", load_s=5.0)], builders(3, lay_s=3.0))
    legs = [hand_leg(site, step, 0, _round(step), dominoes=30) for step in range(6)]
    trips, findings = plan_traffic(site, legs, nothing_in_the_way)
    assert findings == []
    _check_columns(trips, legs)
    assert len(set(trips.robot.tolist())) == 3
    room = 2 * site.worker.turn_radius_m + PEOPLE_APART_M
    for one in range(6):
        for other in range(one + 1, 6):
            if trips.robot[one] != trips.robot[other]:
                assert _least_distance(trips, one, other) >= room - 1e-9
    alone = hall([], site.docks, builders(1, lay_s=3.0))
    assert trips.laying_s < 0.5 * plan_traffic(alone, legs, nothing_in_the_way)[0].laying_s


def test_what_must_be_done_before_is_done_before():
    site = hall([], [dock("door", 0.0, 0.0, kind="crew", load_s=0.0)], builders(2))
    legs = [hand_leg(site, 0, 0, (3.0, 0.0), dominoes=60), hand_leg(site, 1, 0, (0.0, 6.0), dominoes=5)]
    trips, _ = plan_traffic(site, legs, nothing_in_the_way, after=[-1, 0])
    # 3 m at 1 m/s, then 60 dominoes of 3 s.
    assert set_down_s(trips, 1) >= 3.0 + 180.0
    assert set_down_s(plan_traffic(site, legs, nothing_in_the_way, after=[-1, -1])[0], 1) < 60.0


# Docks and batteries


def _shared(parking, robots=2):
    places = [dock("loading", 0.0, 0.0, load_s=20.0)]
    places += [dock(f"parking {k}", -3.0, 3.0 * (k + 1) * (-1) ** k, kind="parking") for k in range(parking)]
    site = hall([carrier(count=robots, half_m=0.1)], places)
    ways = [dock_way(site, k + 1, 0) for k in range(parking)]
    legs = [leg(site, k, 0, (6.0 + k, 2.0 * (k % 3) - 2.0), conflict=frozenset()) for k in range(8)]
    return site, legs, ways


def test_a_shared_dock_holds_one_robot_at_a_time():
    site, legs, ways = _shared(2)
    trips, findings = plan_traffic(site, legs, nothing_in_the_way, ways=ways)
    assert findings == []
    _check_columns(trips, legs)
    assert set(trips.robot.tolist()) == {0, 1}
    times = np.arange(0.0, trips.laying_s, 0.1)
    at_dock = np.zeros((2, len(times)), np.bool_)
    for number in range(len(trips)):
        on = (times >= away_s(trips, number)[0]) & (times <= trips.end_s[number])
        x, y, _ = poses_at(trips, number, times[on])
        at_dock[trips.robot[number], on] |= np.hypot(x, y) < 0.15
    assert at_dock.any(axis=1).all()
    assert not (at_dock[0] & at_dock[1]).any()


def test_who_has_no_place_to_wait_stays_idle():
    site, legs, ways = _shared(1)
    trips, findings = plan_traffic(site, legs, nothing_in_the_way, ways=ways)
    assert [finding.code for finding in findings] == ["R922"]
    assert set(trips.robot.tolist()) == {0}


def test_a_dock_that_its_robot_cannot_leave_for_another():
    site = hall([carrier()], [dock("north", 0.0, 0.0), dock("south", 0.0, 6.0)])
    legs = [leg(site, 0, 0, (5.0, 0.0)), leg(site, 1, 1, (5.0, 6.0))]
    trips, findings = plan_traffic(site, legs, nothing_in_the_way)
    assert trips is None
    assert {finding.code for finding in findings} == {"R923"}
    trips, findings = plan_traffic(site, legs, nothing_in_the_way, ways=[dock_way(site, 0, 1)])
    assert findings == []
    # The drive from dock to dock, 6 m, is a trip of its own without a step.
    assert np.diff(trips.step_first).tolist() == [1, 0, 1]
    assert trips.driven_m[1] == pytest.approx(6.0)


def test_a_parked_robot_in_the_way_is_found():
    near = [dock("north", 0.0, 0.0), dock("south", 3.0, 0.62)]
    site = hall([carrier(count=2)], near)
    legs = [leg(site, 0, 0, (6.0, 0.0)), leg(site, 1, 1, (9.0, 2.0))]
    _, findings = plan_traffic(site, legs, nothing_in_the_way)
    assert [finding.code for finding in findings] == ["R921"]
    # 0.64 m between middles leave 40 mm between robots 0.6 m wide, and 30 mm are asked for; turning circles of
    # 0.42 m would overlap, but a robot that stands does not turn.
    site = hall([carrier(count=2)], [near[0], dock("south", 3.0, 0.64)])
    legs = [leg(site, 0, 0, (6.0, 0.0)), leg(site, 1, 1, (9.0, 2.0))]
    assert plan_traffic(site, legs, nothing_in_the_way)[1] == []


@pytest.mark.parametrize("charger", [True, False])
def test_batteries_are_charged_in_time(charger):
    places = [dock("north", 0.0, 0.0), dock("south", 0.0, 4.0), dock("charger", -3.0, 2.0, kind="charging")]
    site = hall([carrier(count=2, half_m=0.2, battery_s=100.0, charge_s=300.0)], places)
    ways = [dock_way(site, k, 2) for k in (0, 1)] if charger else []
    legs = [leg(site, k, k % 2, (9.0, 4.0 * (k % 2))) for k in range(10)]
    trips, findings = plan_traffic(site, legs, nothing_in_the_way, ways=ways)
    assert findings == []
    _check_columns(trips, legs)
    charges = []
    for robot in range(2):
        used = 0.0
        for number in np.flatnonzero(trips.robot == robot):
            rows = trips.waypoints_of(number)
            if (trips.phase[rows] == PHASES.index("charge")).any():
                charges.append((trips.start_s[number], trips.end_s[number]))
                assert np.ptp(trips.t_s[rows]) == pytest.approx(300.0)
                assert trips.dock[number] == (2 if charger else robot)
                used = 0.0
            else:
                begin, end = away_s(trips, number)
                used += end - begin
            assert used <= 100.0
    assert len(charges) >= 4
    if charger:
        # One place, so one after the other.
        charges.sort()
        assert all(one[1] <= two[0] for one, two in pairwise(charges))


def test_a_battery_too_small_for_a_trip_is_found():
    site = hall([carrier(battery_s=30.0, charge_s=60.0)], [dock("north", 0.0, 0.0)])
    _, findings = plan_traffic(site, [leg(site, 0, 0, (9.0, 0.0))], nothing_in_the_way)
    assert [finding.code for finding in findings] == ["R920"]


def test_misuse_is_refused():
    site = hall([carrier()], [dock("north", 0.0, 0.0)])
    with pytest.raises(StandfallError, match="does not have"):
        plan_traffic(site, [leg(site, 0, 0, (5.0, 0.0), by_hand=True)], nothing_in_the_way)
    on = np.array([(4.2, 0.0), (5.2, 0.0)])
    with pytest.raises(StandfallError, match="way on to a next one"):
        plan_traffic(site, [leg(site, 0, 0, (5.0, 0.0), next_m=on)], nothing_in_the_way)


def test_no_steps_no_trips():
    trips, findings = plan_traffic(hall([carrier()], [dock("north", 0.0, 0.0)]), [], nothing_in_the_way)
    assert (len(trips), trips.laying_s, findings) == (0, 0.0, [])
