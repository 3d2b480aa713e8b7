"""Layers: one for each way of moving, in which a robot or a person is a point among grown obstacles."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from standfall.brief import Laying
from standfall.geometry.convex import Convex, differences, grown, hull
from standfall.hall.model import Model, Worker

Floats = NDArray[np.float64]

# Sides of the polygon that stands for a turning circle: drawn round it, at most 0.5 % larger.
_DISC_SIDES = 32


@dataclass(frozen=True)
class Layer:
    """One way of moving.

    Attributes:
        model: number in ``site.models``, -1 for the worker.
        yaw_rad: yaw that is kept, ``None`` where the robot may turn as it likes.
        shape: (p, 2) convex polygons round the origin that must not meet dominoes, turned by the yaw and grown by
            clearance and corner rounding. The origin is the middle of the tray opening at a fixed yaw, the turn
            centre where it may turn, the person's middle.
        body: the same of all parts whatever their height, which must not meet walls.
    """

    model: int
    yaw_rad: float | None
    shape: tuple[Floats, ...]
    body: tuple[Floats, ...]


def robot_layer(model: Model, number: int, yaw_rad: float | None, laying: Laying) -> Layer:
    """Return the layer of a robot at a yaw, or of its turning circle.

    Args:
        model: the robot.
        number: of the model in the site.
        yaw_rad: in the hall; ``None`` for the turning layer.
        laying: clearances.
    """
    room_m = laying.clearance_m + laying.corner_m
    if yaw_rad is None:
        shape = (_disc(model.turn_radius_m + room_m),) if model.travel else ()
        body = (_disc(model.body_radius_m + room_m),) if model.body else ()
        return Layer(number, None, shape, body)
    return Layer(
        number,
        yaw_rad,
        tuple(grown(_turned(part, yaw_rad), room_m) for part in model.travel),
        tuple(grown(_turned(part, yaw_rad), room_m) for part in model.body),
    )


def worker_layer(worker: Worker, laying: Laying) -> Layer:
    """Return the layer of a person who walks or kneels."""
    shape = tuple(grown(part, laying.clearance_m + laying.corner_m) for part in worker.travel)
    return Layer(-1, None, shape, shape)


def layer_obstacles(layer: Layer, shapes: Convex) -> tuple[Convex, NDArray[np.int64]]:
    """Return where the layer's origin may not be because of shapes on the floor.

    Args:
        layer: what moves.
        shapes: m convex polygons.

    Returns:
        The obstacles, touching allowed, and for each the number of its shape, rising. A layer without any low part
        has none.
    """
    moving = Convex.from_list(list(layer.shape))
    if not len(moving) or not len(shapes):
        return Convex.from_list([]), np.empty(0, np.int64)
    return differences(shapes, moving), np.repeat(np.arange(len(shapes)), len(moving))


def static_obstacles(layer: Layer, free_floor: BaseGeometry) -> Convex:
    """Return where the layer's origin may not be because of the edge of the floor.

    Every side of the floor's boundary, of pillars and holes too, is an obstacle for the whole body, so no way leads
    across it; two sides that meet share the obstacle of their corner and leave no crack. That a way does not begin
    outside is not seen from this: ``inside_floor`` tells.

    Args:
        layer: what moves.
        free_floor: polygon or several, holes included. Lines and points in a collection are no floor.
    """
    moving = Convex.from_list(list(layer.body))
    sides: list[Floats] = []
    for polygon in _polygons(free_floor):
        for ring in (polygon.exterior, *polygon.interiors):
            corners = shapely.get_coordinates(ring)
            ends = np.stack([corners[:-1], corners[1:]], axis=1)
            sides += list(ends[np.hypot(*(ends[:, 1] - ends[:, 0]).T) > 0.0])
    if not len(moving) or not sides:
        return Convex.from_list([])
    return differences(Convex.from_list(sides), moving)


def inside_floor(layer: Layer, free_floor: BaseGeometry, x_m: Floats, y_m: Floats) -> NDArray[np.bool_]:
    """Tell for places (n,) of the layer's origin whether what moves is on the floor rather than beyond its edge.

    A middle point of every piece of the body must lie on the floor. Together with ``static_obstacles``, which no
    piece may cross, that means all of it does. The origin itself may be off the floor: it can lie outside the body.

    Args:
        layer: what moves.
        free_floor: polygon or several, holes included.
        x_m, y_m: (n,) places.
    """
    x, y = np.atleast_1d(np.asarray(x_m, np.float64)), np.atleast_1d(np.asarray(y_m, np.float64))
    result = np.ones(len(x), np.bool_)
    floor = shapely.MultiPolygon(_polygons(free_floor))
    shapely.prepare(floor)
    for piece in layer.body:
        middle_x, middle_y = piece.mean(axis=0)
        result &= shapely.intersects_xy(floor, x + middle_x, y + middle_y)
    return result


def _polygons(geometry: BaseGeometry) -> list[shapely.Polygon]:
    return [part for part in shapely.get_parts(geometry) if part.geom_type == "Polygon" and not part.is_empty]


def _turned(points_m: Floats, yaw_rad: float) -> Floats:
    cosine, sine = math.cos(yaw_rad), math.sin(yaw_rad)
    return np.asarray(points_m @ np.array([[cosine, sine], [-sine, cosine]]))


def _disc(radius_m: float) -> Floats:
    turns = 2 * np.pi * np.arange(_DISC_SIDES) / _DISC_SIDES
    return hull(
        radius_m / math.cos(math.pi / _DISC_SIDES) * np.stack([np.cos(turns), np.sin(turns)], axis=-1)
    )
