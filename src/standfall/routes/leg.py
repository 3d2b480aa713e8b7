"""The way of one step: from its dock to where it is set down, and back."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Pose = tuple[float, float, float]

#: Number of the worker where a model is asked for.
WORKER = -1


@dataclass(frozen=True)
class Leg:
    """One step and the ways to it. A way is that of one point of the robot (``on_way_m``).

    Attributes:
        step: number of the step.
        model: number in ``site.models``, ``WORKER`` for a person.
        dock: number in ``site.docks``; the trip begins and ends there.
        dock_pose: x, y, yaw of the robot frame when docked.
        out_m: (p, 2) taut way from the dock to the leave point.
        back_m: (p, 2) taut way from the leave point to the dock.
        travel_yaw_rad: yaw kept on both ways, ``None`` when the yaw follows the way (differential robots, people).
        set_down_m, set_down_yaw_rad: pose of the robot frame at set-down; for a person where they kneel.
        leave_m: origin of the robot frame after the straight departure; the approach is that backwards.
        dominoes: how many are laid.
        by_hand: laid by a person.
        next_m: (p, 2) taut way from this leave point to that of the next leg, which then belongs to the same trip
            and whose ``travel_yaw_rad`` holds on it; ``None`` at the end of a trip.
        undock_m: where the robot frame's origin is once it has driven straight out of its dock at the dock's heading;
            it turns there, and comes back over it. ``None`` where it turns in the dock.
        conflict: steps that may not stand before this one has been left in a straight line; ``None`` when that
            is not known, which means any.
    """

    step: int
    model: int
    dock: int
    dock_pose: Pose
    out_m: Floats
    back_m: Floats
    travel_yaw_rad: float | None
    set_down_m: tuple[float, float]
    set_down_yaw_rad: float
    leave_m: tuple[float, float]
    dominoes: int
    by_hand: bool = False
    next_m: Floats | None = None
    conflict: frozenset[int] | None = None
    undock_m: tuple[float, float] | None = None

    @property
    def undocked_pose(self) -> Pose:
        """Pose of the robot frame where its ways begin and end."""
        return self.dock_pose if self.undock_m is None else (*self.undock_m, self.dock_pose[2])

    @property
    def set_down_pose(self) -> Pose:
        """Pose of the robot frame at set-down."""
        return (*self.set_down_m, self.set_down_yaw_rad)

    @property
    def leave_pose(self) -> Pose:
        """Pose of the robot frame after the straight departure."""
        return (*self.leave_m, self.set_down_yaw_rad)


@dataclass(frozen=True)
class DockWay:
    """The way of a model from one dock to another; it is driven in both directions.

    It must be free at any time, so it is found with everything standing. ``way_m`` (p, 2) is taut and that of the
    same point as in a leg; ``first`` and ``last`` are dock numbers.
    """

    model: int
    first: int
    last: int
    first_pose: Pose
    last_pose: Pose
    way_m: Floats
    travel_yaw_rad: float | None

    def reverse(self) -> DockWay:
        """Return the same way the other way round."""
        back = np.ascontiguousarray(self.way_m[::-1])
        return DockWay(
            self.model, self.last, self.first, self.last_pose, self.first_pose, back, self.travel_yaw_rad
        )


#: Says for the points (n,), (n,) of a way where the robot goes slowly: nearer to dominoes than the slow zone.
Slow = Callable[[Leg | DockWay, Floats, Floats], NDArray[np.bool_]]


def turn_centre_m(pose: Pose, centre_m: tuple[float, float]) -> tuple[float, float]:
    """Return where the turn centre of a robot is, from the pose of its frame and the centre in that frame."""
    cosine, sine = math.cos(pose[2]), math.sin(pose[2])
    return (
        pose[0] + cosine * centre_m[0] - sine * centre_m[1],
        pose[1] + sine * centre_m[0] + cosine * centre_m[1],
    )


def on_way_m(pose: Pose, centre_m: tuple[float, float], travel_yaw_rad: float | None) -> tuple[float, float]:
    """Return where a way must begin or end for a robot in a pose.

    That is the turn centre when the yaw follows the way, else the origin of the robot frame once the robot has
    turned on the spot to the yaw of travel.

    Args:
        pose: x, y, yaw of the robot frame.
        centre_m: turn centre in the robot frame.
        travel_yaw_rad: yaw on the way, ``None`` when it follows the way.
    """
    x, y = turn_centre_m(pose, centre_m)
    if travel_yaw_rad is None:
        return (x, y)
    if travel_yaw_rad == pose[2]:
        return (pose[0], pose[1])
    cosine, sine = math.cos(travel_yaw_rad), math.sin(travel_yaw_rad)
    return (x - cosine * centre_m[0] + sine * centre_m[1], y - sine * centre_m[0] - cosine * centre_m[1])
