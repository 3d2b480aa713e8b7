"""What moves: a robot or a person, with speeds, times and the room it takes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from standfall.hall.model import Model, Worker

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Mover:
    """A kind of robot, or the people.

    Attributes:
        names: of the single robots or people.
        by_hand: people.
        follows: its yaw follows its way.
        centre_m: the point it turns on, in its frame.
        radius_m: from there to its farthest corner.
        shapes: (p, 2) convex outlines in its frame of all its parts, whatever their height.
        speed_m_s, slow_m_s, acceleration_m_s2, turn_rad_s, turn_acceleration_rad_s2: its limits; a person needs
            no time to gain speed or to turn (common practice for planning, no source).
        lower_s, release_s, raise_s: times of setting down.
        lay_s: time of one domino by hand.
        battery_s, charge_s: time away from docks on one charge and time to charge, or ``None``.
    """

    names: tuple[str, ...]
    by_hand: bool
    follows: bool
    centre_m: tuple[float, float]
    radius_m: float
    shapes: tuple[Floats, ...]
    speed_m_s: float
    slow_m_s: float
    acceleration_m_s2: float = math.inf
    turn_rad_s: float = math.inf
    turn_acceleration_rad_s2: float = math.inf
    lower_s: float = 0.0
    release_s: float = 0.0
    raise_s: float = 0.0
    lay_s: float = 0.0
    battery_s: float | None = None
    charge_s: float | None = None

    @property
    def offset_m(self) -> float:
        """Distance of the frame's origin from the turn centre."""
        return math.hypot(*self.centre_m)


def robot_mover(model: Model) -> Mover:
    """Return how a model of robot moves."""
    robot = model.robot
    return Mover(
        names=model.names,
        by_hand=False,
        follows=robot.drive == "differential",
        centre_m=(robot.turn_centre_m[0], robot.turn_centre_m[1]),
        radius_m=model.body_radius_m,
        shapes=model.body,
        speed_m_s=robot.speed_m_s,
        slow_m_s=min(robot.slow_m_s, robot.speed_m_s),
        acceleration_m_s2=robot.acceleration_m_s2,
        turn_rad_s=robot.turn_rad_s,
        turn_acceleration_rad_s2=robot.turn_acceleration_rad_s2,
        lower_s=robot.lower_s,
        release_s=robot.release_s,
        raise_s=robot.raise_s,
        battery_s=robot.battery_s,
        charge_s=robot.charge_s,
    )


def person_mover(worker: Worker) -> Mover:
    """Return how people move."""
    crew = worker.crew
    return Mover(
        names=worker.names,
        by_hand=True,
        follows=True,
        centre_m=(0.0, 0.0),
        radius_m=worker.turn_radius_m,
        shapes=worker.travel,
        speed_m_s=crew.walk_m_s,
        slow_m_s=crew.walk_m_s,
        lay_s=crew.lay_s,
    )
