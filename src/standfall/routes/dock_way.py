"""Ways between docks that are free at any time: to the charger, to where a robot waits, and back."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from standfall.hall.site import Site
from standfall.routes.course import Course, LayerFloor
from standfall.routes.leg import DockWay, Pose, on_way_m, turn_centre_m
from standfall.routes.stance import serves

_SAME_RAD = 1e-8


def make_dock_ways(site: Site, floors: Sequence[LayerFloor], steps: Iterable[int]) -> list[DockWay]:
    """Find for each robot model the ways between its docks with everything standing.

    An omnidirectional robot keeps the heading of one of the two docks, whichever way is found first; where neither
    has a way, and for a differential robot, its turning circle must get through.

    Args:
        site: docks and models.
        floors: of each layer.
        steps: all that will ever stand.
    """
    course = Course(site, floors)
    for step in steps:
        course.stand(step)
    ways = []
    for model, own in enumerate(site.models):
        docks = [
            number
            for number, dock in enumerate(site.docks)
            if dock.kind != "crew" and serves(dock.robots, own)
        ]
        layers = [number for number, floor in enumerate(floors) if floor.layer.model == model]
        for at, first in enumerate(docks):
            for last in docks[at + 1 :]:
                way = _way(site, model, first, last, layers, floors, course)
                if way is not None:
                    ways.append(way)
    return ways


def _way(
    site: Site,
    model: int,
    first: int,
    last: int,
    layers: Sequence[int],
    floors: Sequence[LayerFloor],
    course: Course,
) -> DockWay | None:
    centre = site.models[model].robot.turn_centre_m
    omnidirectional = site.models[model].robot.drive == "omnidirectional"
    poses = [(*site.docks[number].place_m, site.docks[number].heading_rad) for number in (first, last)]
    headings = {pose[2] for pose in poses}
    for number in sorted(layers, key=lambda layer: floors[layer].layer.yaw_rad not in headings):
        yaw = floors[number].layer.yaw_rad
        if (yaw is None and omnidirectional) or not _turns(poses, yaw, model, centre, floors, course):
            continue
        start, goal = (on_way_m(pose, centre, yaw) for pose in poses)
        found = course.path(number, start, goal, (first, last))
        if found is not None:
            return DockWay(model, first, last, poses[0], poses[1], found, yaw)
    return None


def _turns(
    poses: Sequence[Pose],
    yaw_rad: float | None,
    model: int,
    centre_m: tuple[float, float],
    floors: Sequence[LayerFloor],
    course: Course,
) -> bool:
    """Tell whether the robot can turn to the yaw of the way at both docks, where it must."""
    turning = next(
        number
        for number, floor in enumerate(floors)
        if floor.layer.model == model and floor.layer.yaw_rad is None
    )
    return all(
        (yaw_rad is not None and abs(math.remainder(yaw_rad - pose[2], 2 * math.pi)) < _SAME_RAD)
        or course.free(turning, turn_centre_m(pose, centre_m))
        for pose in poses
    )
