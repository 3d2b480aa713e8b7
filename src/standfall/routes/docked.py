"""Robots that may stand at docks, as obstacles to those that drive."""

from __future__ import annotations

import math
from collections.abc import Collection

import numpy as np
from numpy.typing import NDArray

from standfall.geometry.convex import Convex, differences
from standfall.hall.shape import in_hall
from standfall.hall.site import Site
from standfall.routes.layer import Layer
from standfall.routes.stance import serves, turned

Floats = NDArray[np.float64]

# Sides of the polygon round a turning circle: at most 0.5 % larger.
_SIDES = 32


def docked_obstacles(site: Site, layer: Layer, but: Collection[int]) -> Convex:
    """Return where a layer's origin may not be while robots stand at docks.

    At each dock any robot it serves may stand. A robot that drives counts with the circle round all its parts, as
    it does where trips are kept apart in time; a person with the room they need.

    Args:
        site: docks and models.
        layer: of a robot or of people.
        but: docks at which nobody else can be: where the way begins and ends.
    """
    bodies = [
        in_hall(piece, *dock.place_m, dock.heading_rad)
        for number, dock in enumerate(site.docks)
        if number not in but and dock.kind != "crew"
        for model in site.models
        if serves(dock.robots, model)
        for piece in model.body
    ]
    if not bodies:
        return Convex.from_list([])
    moving = list(layer.shape) if layer.model < 0 else [_circle(site, layer)]
    return differences(Convex.from_list(bodies), Convex.from_list(moving))


def _circle(site: Site, layer: Layer) -> Floats:
    model = site.models[layer.model]
    room_m = site.laying.clearance_m + site.laying.corner_m
    radius_m = (model.body_radius_m + room_m) / math.cos(math.pi / _SIDES)
    turns = 2 * np.pi * np.arange(_SIDES) / _SIDES
    circle = radius_m * np.stack([np.cos(turns), np.sin(turns)], axis=-1)
    # In the turning layer the origin is the turn centre itself.
    middle = (0.0, 0.0) if layer.yaw_rad is None else turned(model.robot.turn_centre_m, layer.yaw_rad)
    return np.asarray(circle + np.array(middle))
