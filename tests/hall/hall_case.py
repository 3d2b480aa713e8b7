"""An invented hall of 8 m by 6 m, a robot with its tray in front, and a crew: what the tests of the hall share."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

from standfall.brief import Area, Brief, Colour, Crew, Dock, Domino, Hall, Job, Robot, RobotPart, Tray

FLOOR = ((0.0, 0.0), (8.0, 0.0), (8.0, 6.0), (0.0, 6.0))
BOWTIE = ((0.0, 0.0), (2.0, 2.0), (2.0, 0.0), (0.0, 2.0))

#: A chassis 500 mm by 300 mm behind the tray, low; and arms that reach over the tray, 120 mm high, 70 mm lowered.
CHASSIS = RobotPart(
    name="chassis", outline_m=((-0.6, -0.15), (-0.1, -0.15), (-0.1, 0.15), (-0.6, 0.15)), bottom_m=0.02
)
ARMS = RobotPart(
    name="arms",
    outline_m=((-0.2, -0.1), (0.1, -0.1), (0.1, 0.1), (-0.2, 0.1)),
    bottom_m=0.12,
    lowered_bottom_m=0.07,
)
#: Slots of 5 rows at 22 mm and 7 columns at 27 mm: with dominoes of 7.5 mm by 24 mm the pieces of a full tile lie
#: within 4 x 22 + 7.5 = 95.5 mm along and 6 x 27 + 24 = 186 mm across.
TRAY = Tray(columns=7, rows=5, col_pitch_m=0.027, row_pitch_m=0.022)
DOMINO = Domino(height_m=0.048, width_m=0.024, thickness_m=0.0075, mass_kg=0.0085)


def cart(**changes: Any) -> Robot:
    """A robot that drives in any direction and turns about the middle of its chassis."""
    given: dict[str, Any] = {
        "name": "cart",
        "drive": "omnidirectional",
        "turn_centre_m": (-0.35, 0.0),
        "speed_m_s": 0.6,
        "acceleration_m_s2": 0.3,
        "turn_rad_s": math.pi / 4,
        "turn_acceleration_rad_s2": math.pi / 2,
        "slow_m_s": 0.1,
        "lower_s": 4.0,
        "release_s": 2.0,
        "raise_s": 3.0,
        "parts": (CHASSIS, ARMS),
    }
    return Robot(**given | changes)


def table(**changes: Any) -> Dock:
    """A loading dock in the open, heading along x."""
    return Dock(**{"name": "table", "place_m": (6.0, 3.0)} | changes)


def rectangle(name: str, kind: str, x_m: float, y_m: float, wide_m: float, deep_m: float) -> Area:
    """An area from its lower left corner."""
    corners = ((x_m, y_m), (x_m + wide_m, y_m), (x_m + wide_m, y_m + deep_m), (x_m, y_m + deep_m))
    return Area(name=name, kind=kind, outline_m=corners)


def hall_brief(**changes: Any) -> Brief:
    """A brief with the hall, one robot at one dock, and a crew that comes in at the left."""
    given: dict[str, Any] = {
        "job": Job(name="Small kingfisher"),
        "hall": Hall(outline_m=FLOOR),
        "domino": DOMINO,
        "colours": (Colour(name="night blue", srgb="#1a2340", stock=1000),),
        "tray": TRAY,
        "docks": (table(), Dock(name="gate", kind="crew", place_m=(0.5, 0.5))),
        "robots": (cart(),),
        "crew": Crew(),
    }
    return Brief(**given | changes)


def with_part(robot: Robot, number: int, **changes: Any) -> Robot:
    """The robot with one of its parts changed."""
    parts = list(robot.parts)
    parts[number] = dataclasses.replace(parts[number], **changes)
    return dataclasses.replace(robot, parts=tuple(parts))
