"""Rounded ways and trips against circle formulas, closed forms of even acceleration, and arithmetic by hand."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from traffic_hall import builders, carrier, dock, dock_way, hall, hand_leg, leg

from standfall.findings import StandfallError
from standfall.geometry.motion import make_profile, travel_time_s
from standfall.geometry.path import Arc, Path, Straight
from standfall.routes.leg import on_way_m, turn_centre_m
from standfall.routes.mover import person_mover, robot_mover
from standfall.routes.rounding import CHORD_M, round_corners
from standfall.routes.track import PHASES, Track
from standfall.routes.trip import joined, make_move, make_trip, pause

CORNERS = st.lists(
    st.tuples(st.integers(-40, 40), st.integers(-40, 40)).map(lambda p: (p[0] / 8, p[1] / 8)),
    min_size=2,
    max_size=9,
    unique=True,
)


def _phase(trip, name):
    return trip.phase == PHASES.index(name)


# Rounding


@pytest.mark.parametrize("turn_deg", [10.0, 45.0, 90.0, 120.0, 160.0, -90.0, -33.0])
def test_arc_of_a_corner_is_the_circle_of_the_formula(turn_deg):
    turn = math.radians(turn_deg)
    end = (5.0 + 5 * math.cos(turn), 5 * math.sin(turn))
    rounded = round_corners(np.array([(0.0, 0.0), (5.0, 0.0), end]), 0.02)
    radius = float(rounded.radius_m.min())
    half = abs(turn) / 2
    # A circle that touches both sides of a corner comes within r (1/cos(turn/2) - 1) of it, and touches at
    # r tan(turn/2) from it (elementary geometry). The chords take CHORD_M or a tenth of the 20 mm besides.
    assert radius * (1 / math.cos(half) - 1) == pytest.approx(0.02 - 0.002, abs=1e-12)
    touch = 5.0 - radius * math.tan(half)
    arc = np.isfinite(rounded.radius_m)
    on_arc = np.flatnonzero(arc[:-1] | arc[1:]) + 1 if len(arc) > 2 else np.array([1])
    centre = np.array([touch, math.copysign(radius, turn)])
    distance = np.hypot(rounded.x_m[on_arc] - centre[0], rounded.y_m[on_arc] - centre[1])
    assert distance == pytest.approx(np.full(len(on_arc), radius), abs=1e-9)
    assert rounded.x_m[1] == pytest.approx(touch, abs=1e-12)
    assert rounded.length_m[arc].sum() == pytest.approx(radius * abs(turn), rel=1e-12)
    assert rounded.heading_rad[-1] == pytest.approx(turn, abs=1e-12)
    # No chord is farther from its arc than CHORD_M: sagitta r (1 - cos(half its angle)).
    chord = np.diff(rounded.heading_rad)[arc]
    assert (radius * (1 - np.cos(chord / 2))).max() <= CHORD_M + 1e-12


def test_short_straights_bound_the_radius():
    # Sides of 0.1 m at a right angle: the arc may take half of each, so r = 0.05 / tan(45 deg).
    way = np.array([(0.0, 0.0), (0.1, 0.0), (0.1, 0.1), (0.2, 0.1)])
    rounded = round_corners(way, 0.5)
    assert rounded.radius_m[np.isfinite(rounded.radius_m)] == pytest.approx(0.05)
    assert len(np.unique(rounded.radius_m)) == 2


@settings(deadline=None, max_examples=80)
@given(CORNERS, st.sampled_from([0.005, 0.02, 0.1]))
def test_no_corner_is_cut_by_more_than_allowed(corners, corner_m):
    """The distance of each corner from the rounded way, by shapely."""
    rounded = round_corners(np.array(corners), corner_m)
    line = shapely.LineString(np.stack([rounded.x_m, rounded.y_m], axis=1))
    assert max(line.distance(shapely.Point(corner)) for corner in corners) <= corner_m + 1e-9
    taut = shapely.LineString(corners)
    assert line.within(taut.buffer(corner_m + 1e-9))
    assert line.length <= rounded.way_m + 1e-9
    assert rounded.way_m <= taut.length + 1e-9
    assert (rounded.x_m[0], rounded.y_m[0]) == corners[0]
    assert (rounded.x_m[-1], rounded.y_m[-1]) == corners[-1]
    assert np.all(rounded.length_m > 0)


def test_a_way_that_turns_back_is_stopped_at():
    rounded = round_corners(np.array([(0.0, 0.0), (2.0, 0.0), (1.0, 0.0)]), 0.02)
    pieces = rounded.between_stops()
    assert [piece.way_m for piece in pieces] == [2.0, 1.0]
    assert math.cos(pieces[1].heading_rad[0]) == pytest.approx(-1.0)


def test_corner_speed_is_that_of_the_lateral_acceleration():
    rounded = round_corners(np.array([(0.0, 0.0), (5.0, 0.0), (5.0, 5.0)]), 0.02)
    radius = 0.018 / (math.sqrt(2) - 1)
    limit = rounded.speed_limit(1.0, 0.5, math.inf)
    # v^2 / r = a.
    assert limit[1] == pytest.approx(math.sqrt(0.5 * radius))
    assert limit[0] == 1.0
    # A robot that turns with its way at 1 rad/s at most: v = r.
    assert rounded.speed_limit(1.0, 0.5, 1.0)[1] == pytest.approx(radius)


# Waypoints


@pytest.mark.parametrize("drive", ["omnidirectional", "differential"])
@pytest.mark.parametrize("centre", [(0.0, 0.0), (-0.35, 0.1)])
def test_waypoints_stay_within_5_mm_of_the_true_motion(drive, centre):
    """The true motion: straights and arcs of a circle (``Path``), and the closed form of even acceleration."""
    robot = carrier(drive=drive, turn_centre_m=centre, acceleration_m_s2=0.8, speed_m_s=1.6)
    mover = robot_mover(hall([robot], []).models[0])
    follows = drive == "differential"
    turn = math.radians(70)
    way = np.array([(0.0, 0.0), (4.0, 0.0), (4 + 3 * math.cos(turn), 3 * math.sin(turn))])
    corner = 0.05
    track = Track(mover, (-centre[0], -centre[1], 0.0) if follows else (0.0, 0.0, 0.0), corner)
    track.follow("drive", 0, 0, way, None if follows else 0.0)
    t_s, x_m, y_m, yaw, *_ = track.columns()

    radius = (corner - CHORD_M) / (1 / math.cos(turn / 2) - 1)
    back = radius * math.tan(turn / 2)
    path = Path((0.0, 0.0), 0.0, (Straight(4 - back), Arc(radius, turn), Straight(3 - back)))
    corner_speed = math.sqrt(0.8 * radius)
    if follows:
        corner_speed = min(corner_speed, 1.0 * radius)
    profile = make_profile([4 - back, radius * turn, 3 - back], [1.6, corner_speed, 1.6], 0.8)
    assert t_s[-1] == pytest.approx(profile.duration_s, abs=1e-9)
    times = np.linspace(0.0, profile.duration_s, 4001)
    true_x, true_y, heading = path.poses(profile.place_at(times))
    if follows:
        true_x = true_x - np.cos(heading) * centre[0] + np.sin(heading) * centre[1]
        true_y = true_y - np.sin(heading) * centre[0] - np.cos(heading) * centre[1]
    off = np.hypot(np.interp(times, t_s, x_m) - true_x, np.interp(times, t_s, y_m) - true_y)
    assert off.max() <= 0.005
    assert off.max() > 1e-5
    if follows:
        assert np.abs(np.interp(times, t_s, yaw) - heading).max() < math.radians(2)
    assert track.driven_m == pytest.approx(path.length_m, rel=1e-12)


def test_turning_on_the_spot_follows_the_circle_within_5_mm():
    centre = (-0.4, 0.2)
    mover = robot_mover(hall([carrier(turn_centre_m=centre)], []).models[0])
    track = Track(mover, (1.0, 2.0, 0.3), 0.02)
    track.turn(0.3 + 2.5, -1, -1)
    t_s, x_m, y_m, yaw, *_ = track.columns()
    # 2.5 rad at 1 rad/s and 1 rad/s^2: 2.5/1 + 1/1 s.
    assert t_s[-1] == pytest.approx(3.5, abs=1e-12)
    times = np.linspace(0.0, 3.5, 2001)
    true_yaw = 0.3 + make_profile([2.5], [1.0], 1.0).place_at(times)
    fixed = turn_centre_m((1.0, 2.0, 0.3), centre)
    true_x = fixed[0] - np.cos(true_yaw) * centre[0] + np.sin(true_yaw) * centre[1]
    true_y = fixed[1] - np.sin(true_yaw) * centre[0] - np.cos(true_yaw) * centre[1]
    off = np.hypot(np.interp(times, t_s, x_m) - true_x, np.interp(times, t_s, y_m) - true_y)
    assert off.max() <= 0.005
    # The farthest corner of the robot, too, turns in time.
    assert (np.abs(np.interp(times, t_s, yaw) - true_yaw) * mover.radius_m).max() <= 0.005
    assert track.driven_m == 0.0


def test_half_a_turn_goes_left_and_more_goes_the_shorter_way():
    mover = robot_mover(hall([carrier()], []).models[0])
    for begin, to, expected in [
        (0.0, math.pi, math.pi),
        (0.0, -math.pi, math.pi),
        (0.2, -3.0, -3.2 + 2 * math.pi),
    ]:
        track = Track(mover, (0.0, 0.0, begin), 0.02)
        track.turn(to, -1, -1)
        assert track.pose[2] - begin == pytest.approx(expected)


# Trips


def test_times_of_a_trip_by_hand():
    site = hall([carrier(speed_m_s=1.5)], [dock("north", 0.0, 0.0)])
    way = leg(site, 7, 0, (10.8, 0.0))
    trip = make_trip([way], robot_mover(site.models[0]), 0.02)
    # 10 m to the leave point: 10/1.5 + 1.5/0.5. Approach 0.8 m at 0.2 m/s: 0.8/0.2 + 0.2/0.5 = 4.4.
    drive, approach = 9.666666667, 4.4
    assert trip.set_down_s[0] == pytest.approx(drive + approach, abs=1e-8)
    assert trip.done_s[0] == pytest.approx(drive + approach + 6.0, abs=1e-8)
    assert trip.clear_s[0] == pytest.approx(drive + 2 * approach + 6.0, abs=1e-8)
    assert trip.lasts_s == pytest.approx(2 * (drive + approach) + 6.0, abs=1e-8)
    assert trip.driven_m == pytest.approx(21.6, abs=1e-12)
    order = [PHASES[p] for p, before in zip(trip.phase, [-1, *trip.phase[:-1]], strict=True) if p != before]
    assert order == ["drive", "approach", "lower", "release", "raise", "leave", "return"]
    assert np.all(trip.way_step == 7)
    assert np.all(np.diff(trip.t_s) > 0)


@pytest.mark.parametrize("drive", ["omnidirectional", "differential"])
def test_set_down_is_exact_and_the_trip_ends_where_it_began(drive):
    robot = carrier(drive=drive, turn_centre_m=(-0.31, 0.07))
    site = hall([robot], [dock("north", 0.3, -1.1, 2.0)])
    to, yaw = (7.123456789, 3.3333333333), -2.9876543210987
    trip = make_trip(
        [leg(site, 0, 0, to, yaw, via=[(2.0, 2.0), (3.0, 0.5)])], robot_mover(site.models[0]), 0.02
    )
    down = _phase(trip, "lower") | _phase(trip, "release") | _phase(trip, "raise")
    assert down.sum() == 3
    assert set(trip.x_m[down]) == {to[0]}
    assert set(trip.y_m[down]) == {to[1]}
    assert set(trip.yaw_rad[down]) == {yaw}
    for end in (0, -1):
        assert (trip.x_m[end], trip.y_m[end]) == (0.3, -1.1)
        assert math.remainder(trip.yaw_rad[end] - 2.0, 2 * math.pi) == pytest.approx(0.0, abs=1e-9)
    # Yaw and place run on without jumps.
    lasts = np.diff(trip.t_s)
    assert np.all(lasts > 0)
    assert (np.abs(np.diff(trip.yaw_rad)) / lasts).max() <= 1.0 + 1e-6
    tx, ty = trip.turn_centre()
    assert (np.hypot(np.diff(tx), np.diff(ty)) / lasts).max() <= 1.0 + 1e-6
    # The straight approach and departure do not turn.
    straight = _phase(trip, "approach") | _phase(trip, "leave")
    assert np.ptp(trip.yaw_rad[straight]) == 0.0


def test_a_differential_robot_heads_along_its_way():
    robot = carrier(drive="differential", turn_centre_m=(-0.2, 0.0))
    site = hall([robot], [dock("north", 0.0, 0.0, 1.0)])
    trip = make_trip([leg(site, 0, 0, (6.0, 4.0), 0.5, via=[(2.0, 2.5)])], robot_mover(site.models[0]), 0.02)
    tx, ty = trip.turn_centre()
    moving = np.flatnonzero(_phase(trip, "drive") | _phase(trip, "return"))[:-1]
    heading = np.arctan2(ty[moving + 1] - ty[moving], tx[moving + 1] - tx[moving])
    mean_yaw = (trip.yaw_rad[moving] + trip.yaw_rad[moving + 1]) / 2
    assert np.abs(np.cos(heading - mean_yaw) - 1).max() < 1e-4


def test_slow_stretches_are_driven_slowly():
    site = hall([carrier()], [dock("north", 0.0, 0.0)])
    way = leg(site, 3, 0, (12.0, 0.0))
    asked = []

    def slow(of, x_m, y_m):
        asked.append(of)
        return (x_m > 4.0) & (x_m < 6.0)

    trip = make_trip([way], robot_mover(site.models[0]), 0.02, slow)
    assert {id(of) for of in asked} == {id(way)}
    speed = np.abs(np.diff(trip.x_m) / np.diff(trip.t_s))
    middle = (trip.x_m[:-1] + trip.x_m[1:]) / 2
    driving = _phase(trip, "drive")[:-1] | _phase(trip, "return")[:-1]
    assert speed[driving & (middle > 4.0) & (middle < 6.0)].max() <= 0.2 + 1e-9
    assert speed[driving & (middle < 3.0)].max() == pytest.approx(1.0)
    # 2 m at 0.2 instead of 1 m/s, each way, and the ramps beside: more than 16 s lost.
    free = make_trip([way], robot_mover(site.models[0]), 0.02)
    assert trip.lasts_s - free.lasts_s > 16.0


def test_several_tiles_on_one_trip():
    site = hall([carrier(carries=2)], [dock("north", 0.0, 0.0)])
    one = leg(site, 4, 0, (5.0, 0.0), next_m=np.array([(4.2, 0.0), (4.2, 3.0)]))
    two = leg(site, 5, 0, (5.0, 3.0))
    trip = make_trip([one, two], robot_mover(site.models[0]), 0.02)
    # 4.2 m there, 3 m between leave points, hypot(4.2, 3) m home, and four straights of 0.8 m.
    assert trip.driven_m == pytest.approx(4.2 + 3.0 + math.hypot(4.2, 3.0) + 3.2, abs=1e-9)
    expected = (
        travel_time_s(4.2, 1, 0.5) + travel_time_s(3, 1, 0.5) + travel_time_s(math.hypot(4.2, 3), 1, 0.5)
    )
    assert trip.lasts_s == pytest.approx(expected + 4 * 4.4 + 12.0, abs=1e-9)
    assert trip.set_down_s[1] > trip.clear_s[0]
    assert set(trip.way_step) == {4, 5}


def test_a_person_walks_lays_and_walks_back():
    site = hall([], [dock("door", 0.0, 0.0, kind="crew")], builders(1, walk_m_s=0.8, lay_s=2.5))
    trip = make_trip(
        [hand_leg(site, 2, 0, (4.0, 3.0), via=[(4.0, 0.0)], dominoes=12)], person_mover(site.worker), 0.02
    )
    # 7 m at 0.8 m/s each way and 12 dominoes of 2.5 s.
    assert trip.lasts_s == pytest.approx(2 * 7 / 0.8 + 30.0)
    assert trip.set_down_s[0] == pytest.approx(8.75)
    assert trip.driven_m == pytest.approx(14.0)
    assert {PHASES[p] for p in trip.phase} == {"walk", "lay"}
    first = trip.phase == PHASES.index("walk")
    assert trip.yaw_rad[first][0] == 0.0


def test_drives_and_stays_are_joined_without_a_gap():
    site = hall([carrier()], [dock("loading", 0.0, 0.0), dock("parking", 0.0, 4.0, -1.5, kind="parking")])
    mover = robot_mover(site.models[0])
    come, trip = (
        make_move(dock_way(site, 1, 0), mover, 0.02),
        make_trip([leg(site, 0, 0, (6.0, 0.0))], mover, 0.02),
    )
    go = make_move(dock_way(site, 0, 1), mover, 0.02)
    stay = pause(mover, (0.0, 0.0, 0.0), "dock", 20.0)
    whole = joined([come, stay, trip, go])
    assert whole.lasts_s == pytest.approx(come.lasts_s + 20.0 + trip.lasts_s + go.lasts_s)
    assert whole.set_down_s[0] == pytest.approx(come.lasts_s + 20.0 + trip.set_down_s[0])
    assert whole.driven_m == pytest.approx(8.0 + trip.driven_m)
    lasts = np.diff(whole.t_s)
    assert lasts.min() > 0
    assert (np.hypot(np.diff(whole.x_m), np.diff(whole.y_m)) / lasts).max() <= 1.0 + 1e-6
    assert (np.abs(np.diff(whole.yaw_rad)) / lasts).max() <= 1.0 + 1e-6


def test_where_ways_begin():
    # A quarter turn about a point half a metre behind: the origin ends up beside it.
    assert on_way_m((1.0, 0.0, 0.0), (-0.5, 0.0), math.pi / 2) == pytest.approx((0.5, 0.5))
    assert on_way_m((1.0, 0.0, 0.0), (-0.5, 0.0), None) == pytest.approx((0.5, 0.0))
    assert on_way_m((1.0, 0.0, 0.3), (-0.5, 0.0), 0.3) == (1.0, 0.0)


def test_ways_that_do_not_meet_are_refused():
    site = hall([carrier()], [dock("north", 0.0, 0.0)])
    mover = robot_mover(site.models[0])
    good = leg(site, 0, 0, (5.0, 0.0))
    wrong = [
        {"out_m": good.out_m + 0.01},
        {"back_m": good.back_m[::-1].copy()},
        {"leave_m": (4.0, 0.0)},
        {"travel_yaw_rad": None},
    ]
    for change in wrong:
        values = {name: getattr(good, name) for name in good.__dataclass_fields__} | change
        with pytest.raises(StandfallError):
            make_trip([type(good)(**values)], mover, 0.02)
    with pytest.raises(StandfallError, match="no way on"):
        make_trip([good, good], mover, 0.02)
