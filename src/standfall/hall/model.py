"""Robots and people made ready for geometry: which of their parts touch what stands, as convex polygons."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from standfall.brief import Crew, Robot, RobotPart
from standfall.geometry import split_convex
from standfall.hall.shape import read_polygon

Floats = NDArray[np.float64]

#: Less than a tenth of a square millimetre of a robot is no part of it.
PART_LEAST_M2 = 1e-7
# Sides of the polygon round a person.
_PERSON_SIDES = 16


@dataclass(frozen=True)
class Model:
    """One ``[[robot]]`` made ready. Polygons are convex, (p, 2), counter-clockwise, in the robot's frame.

    Attributes:
        robot: as in the brief.
        travel: parts so low that they touch dominoes while the tray is raised.
        lowered: parts that touch dominoes on the way down or with the tray lowered; all of ``travel`` and more.
        turn_radius_m: from the turn centre to the farthest corner of ``travel``, 0 when that is empty.
        names: of the single robots.
        body: all parts, whatever their height: nothing passes over walls, pillars or people.
        body_radius_m: from the turn centre to the farthest corner of ``body``.
    """

    robot: Robot
    travel: tuple[Floats, ...]
    lowered: tuple[Floats, ...]
    turn_radius_m: float
    names: tuple[str, ...]
    body: tuple[Floats, ...]
    body_radius_m: float


@dataclass(frozen=True)
class Worker:
    """The ``[crew]`` made ready: each person as the floor they need to kneel or walk.

    Attributes:
        crew: as in the brief.
        travel: one polygon (16, 2) round the circle of ``crew.room_m``; zero is its middle.
        turn_radius_m: to its corners.
        names: of the builders.
    """

    crew: Crew
    travel: tuple[Floats, ...]
    turn_radius_m: float
    names: tuple[str, ...]


def make_model(robot: Robot, domino_height_m: float, over_m: float) -> Model:
    """Make a robot ready: which of its parts touch dominoes, in convex pieces.

    A part whose sides cross counts as its hull, and one without area is left out: ``robot_findings`` tells of both.

    Args:
        robot: as in the brief.
        domino_height_m: how high what it drives over stands.
        over_m: a part higher than that by less than this touches all the same.
    """
    touching_m = domino_height_m + over_m
    travel = _pieces(robot.parts, lambda part: part.bottom_m < touching_m)
    lowered = _pieces(robot.parts, lambda part: min(part.bottom_m, part.lowest_m) < touching_m)
    body = _pieces(robot.parts, lambda _: True)
    return Model(
        robot=robot,
        travel=travel,
        lowered=lowered,
        turn_radius_m=_radius_m(travel, robot.turn_centre_m),
        names=robot.names,
        body=body,
        body_radius_m=_radius_m(body, robot.turn_centre_m),
    )


def crew_model(crew: Crew) -> Worker:
    """Make the crew ready: a person is a polygon of 16 sides drawn round the circle of ``crew.room_m``."""
    radius_m = crew.room_m / 2 / math.cos(math.pi / _PERSON_SIDES)
    turns = 2 * np.pi * np.arange(_PERSON_SIDES) / _PERSON_SIDES
    corners = radius_m * np.column_stack([np.cos(turns), np.sin(turns)])
    return Worker(crew, (corners,), radius_m, crew.names)


def _pieces(parts: Sequence[RobotPart], wanted: Callable[[RobotPart], bool]) -> tuple[Floats, ...]:
    polygons = (read_polygon(part.outline_m, PART_LEAST_M2)[0] for part in parts if wanted(part))
    return tuple(piece for polygon in polygons if polygon is not None for piece in split_convex(polygon))


def _radius_m(pieces: Sequence[Floats], centre_m: tuple[float, float]) -> float:
    return max((float(np.hypot(*(piece - centre_m).T).max()) for piece in pieces), default=0.0)
