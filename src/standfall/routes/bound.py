"""How short the driving could be at best."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from standfall.hall.site import Site
from standfall.routes.leg import Leg, turn_centre_m
from standfall.routes.roads import Roads
from standfall.routes.stance import Stances, serves


def lower_bound_m(site: Site, stances: Stances, legs: Sequence[Leg], roads: Roads) -> float:
    """Return what the driving of these steps comes to at least, whatever their order.

    For each tile: the shortest way of a point, the robot's turn centre, from any of its docks to any set-down of
    the tile, through the hall without a domino, there and back; shared by as many tiles as a trip may hold.

    Args:
        site: docks and models.
        stances: all ways to set the tiles down.
        legs: the steps that are laid; those by hand do not count.
        roads: of a point in the empty hall.
    """
    first = np.searchsorted(stances.step, np.arange(int(stances.step.max(initial=-1)) + 2))
    known: dict[tuple[int, float, float], float] = {}
    parts = []
    for leg in legs:
        if leg.by_hand:
            continue
        best, carries = math.inf, 1
        for row in range(int(first[leg.step]), int(first[leg.step + 1])):
            model = site.models[int(stances.model[row])]
            centre = model.robot.turn_centre_m
            pose = (float(stances.x_m[row]), float(stances.y_m[row]), float(stances.yaw_rad[row]))
            goal = turn_centre_m(pose, centre)
            key = (int(stances.model[row]), round(goal[0], 6), round(goal[1], 6))
            if key not in known:
                known[key] = _nearest_m(site, key[0], goal, roads)
            if known[key] / model.robot.carries < best / carries:
                best, carries = known[key], model.robot.carries
        parts.append(2 * best / carries)
    return math.fsum(part for part in parts if math.isfinite(part))


def _nearest_m(site: Site, model: int, goal: tuple[float, float], roads: Roads) -> float:
    own = site.models[model]
    nearest = math.inf
    for dock in site.docks:
        if dock.kind == "loading" and serves(dock.robots, own):
            start = turn_centre_m((*dock.place_m, dock.heading_rad), own.robot.turn_centre_m)
            way = roads.path(start, goal)
            # Where even a point has no way the straight line is still a bound.
            length = math.dist(start, goal) if way is None else float(np.hypot(*np.diff(way, axis=0).T).sum())
            nearest = min(nearest, length)
    return nearest
