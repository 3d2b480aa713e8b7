"""Small halls for traffic: robots, docks and straight legs, invented for these tests."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np

from standfall.brief import Crew, Dock, Laying, Robot, RobotPart
from standfall.geometry.convex import Convex
from standfall.hall.model import crew_model, make_model
from standfall.routes.leg import WORKER, DockWay, Leg, on_way_m
from standfall.routes.track import PHASES

NOTHING = Convex.from_list([])


def nothing_in_the_way(leg, step):
    return NOTHING


def square(half_m, at_m=(0.0, 0.0)):
    x, y = at_m
    return np.array(
        [
            [x - half_m, y - half_m],
            [x + half_m, y - half_m],
            [x + half_m, y + half_m],
            [x - half_m, y + half_m],
        ]
    )


def carrier(name="carrier", drive="omnidirectional", half_m=0.3, **changes):
    """A square robot: 1 m/s, 0.5 m/s^2, 1 rad/s, 1 rad/s^2, 0.2 m/s slow, 3 + 1 + 2 s to set down."""
    values = {
        "name": name,
        "drive": drive,
        "speed_m_s": 1.0,
        "acceleration_m_s2": 0.5,
        "turn_rad_s": 1.0,
        "turn_acceleration_rad_s2": 1.0,
        "slow_m_s": 0.2,
        "lower_s": 3.0,
        "release_s": 1.0,
        "raise_s": 2.0,
        "parts": (RobotPart(name="frame", outline_m=tuple(map(tuple, square(half_m))), bottom_m=0.01),),
    }
    return Robot(**(values | changes))


def dock(name, x_m, y_m, heading_rad=0.0, **changes):
    return Dock(name=name, place_m=(x_m, y_m), heading_rad=heading_rad, **changes)


def hall(robots, docks, crew=None, **laying):
    """The parts of a site that traffic looks at."""
    return SimpleNamespace(
        docks=tuple(docks),
        models=tuple(make_model(robot, 0.048, 0.01) for robot in robots),
        worker=None if crew is None else crew_model(crew),
        laying=Laying(**laying),
    )


def builders(count, **changes):
    return Crew(builders=count, **changes)


def leg(site, step, number, to_m, yaw_rad=0.0, *, model=0, via=(), leave_m=0.8, **changes):
    """A leg over some corners to a set-down that is left backwards, against its yaw."""
    place = site.docks[number]
    pose = (*place.place_m, place.heading_rad)
    robot = site.models[model].robot
    travel = None if robot.drive == "differential" else changes.pop("travel_yaw_rad", yaw_rad)
    leave = (to_m[0] - leave_m * math.cos(yaw_rad), to_m[1] - leave_m * math.sin(yaw_rad))
    out = np.array(
        [
            on_way_m(pose, robot.turn_centre_m, travel),
            *via,
            on_way_m((*leave, yaw_rad), robot.turn_centre_m, travel),
        ]
    )
    values = {"dominoes": 80, "conflict": frozenset()} | changes
    return Leg(step, model, number, pose, out, out[::-1].copy(), travel, to_m, yaw_rad, leave, **values)


def hand_leg(site, step, number, to_m, *, via=(), dominoes=10, **changes):
    """A leg of a person, who kneels where the way ends."""
    place = site.docks[number]
    pose = (*place.place_m, place.heading_rad)
    out = np.array([place.place_m, *via, to_m])
    return Leg(
        step,
        WORKER,
        number,
        pose,
        out,
        out[::-1].copy(),
        None,
        to_m,
        0.5,
        to_m,
        dominoes,
        by_hand=True,
        **changes,
    )


def dock_way(site, first, last, *, model=0, via=(), travel_yaw_rad=0.0):
    poses = [(*site.docks[k].place_m, site.docks[k].heading_rad) for k in (first, last)]
    robot = site.models[model].robot
    travel = None if robot.drive == "differential" else travel_yaw_rad
    ends = [on_way_m(pose, robot.turn_centre_m, travel) for pose in poses]
    return DockWay(model, first, last, poses[0], poses[1], np.array([ends[0], *via, ends[1]]), travel)


def poses_at(trips, number, times_s):
    """Where the robot of a trip is at some times, straight between waypoints."""
    rows = trips.waypoints_of(number)
    return tuple(
        np.interp(times_s, trips.t_s[rows], column[rows]) for column in (trips.x_m, trips.y_m, trips.yaw_rad)
    )


def away_s(trips, number):
    """From when to when the robot of a trip is on its way."""
    rows = trips.waypoints_of(number)
    moving = ~np.isin(trips.phase[rows], [PHASES.index(name) for name in ("dock", "wait", "charge")])
    return float(trips.t_s[rows][np.flatnonzero(moving)[0]]), float(trips.end_s[number])


def set_down_s(trips, step):
    """When a step is begun to be set down or laid."""
    rows = np.flatnonzero(
        (trips.way_step == step) & np.isin(trips.phase, [PHASES.index("lower"), PHASES.index("lay")])
    )
    return float(trips.t_s[rows[0]])
