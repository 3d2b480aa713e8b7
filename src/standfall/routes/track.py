"""The waypoints of one robot or person as they are strung together, piece by piece."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from functools import lru_cache
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from standfall.findings import StandfallError
from standfall.routes import _way_kernels as kernels
from standfall.routes.leg import Pose, turn_centre_m
from standfall.routes.mover import Mover
from standfall.routes.rounding import CHORD_M, Rounded, round_corners

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
#: Says for points (n,), (n,) where it is to go slowly.
SlowAt = Callable[[Floats, Floats], Bools]

Phase = Literal[
    "dock",
    "drive",
    "turn",
    "approach",
    "lower",
    "release",
    "raise",
    "leave",
    "return",
    "wait",
    "charge",
    "walk",
    "lay",
]
PHASES: tuple[Phase, ...] = get_args(Phase)
#: Straight motion between waypoints is never farther than this from where an evenly speeding robot is on its way.
RAMP_M = 0.003
#: Where it is slow is asked at points this far apart (common practice, no source).
SLOW_STEP_M = 0.05
# A way must begin and end where the robot is, up to rounding.
_MEET_M = 1e-6
_SAME_M = 1e-9
_SAME_RAD = 1e-12


class Track:
    """Waypoints under way: the motion from each to the next is straight in x, y, yaw and time.

    A waypoint carries the phase, step and leg of the motion that begins there. A leg here is the number of the way
    in the trip: legs from 0, ``-1`` where there is none.
    """

    def __init__(self, mover: Mover, pose: Pose, corner_m: float) -> None:
        """Begin at rest in a pose at time 0."""
        self.mover, self.corner_m = mover, corner_m
        self.pose, self.time_s, self.driven_m = pose, 0.0, 0.0
        self._rows: list[tuple[Floats, Floats, Floats, Floats]] = []
        self._marks: list[tuple[int, int, int, int]] = []

    def _add(
        self, phase: Phase, step: int, leg: int, t_s: Floats, x_m: Floats, y_m: Floats, yaw_rad: Floats
    ) -> None:
        # The last point is where the next piece begins; people turn there at once, so it is kept.
        kept = len(t_s) if self.mover.by_hand else len(t_s) - 1
        self._rows.append((t_s[:kept] + self.time_s, x_m[:kept], y_m[:kept], yaw_rad[:kept]))
        self._marks.append((kept, PHASES.index(phase), step, leg))
        self.time_s += float(t_s[-1])
        self.pose = (float(x_m[-1]), float(y_m[-1]), float(yaw_rad[-1]))

    def rest(self, phase: Phase, step: int, leg: int, lasts_s: float) -> None:
        """Stay for a while."""
        if lasts_s > 0.0:
            x, y, yaw = (np.array([value]) for value in self.pose)
            self._rows.append((np.array([self.time_s]), x, y, yaw))
            self._marks.append((1, PHASES.index(phase), step, leg))
            self.time_s += lasts_s

    def turn(self, yaw_rad: float, step: int, leg: int, pose: Pose | None = None) -> None:
        """Turn on the spot to a yaw the shorter way; ``pose`` is where that must lead to, set exactly."""
        mover = self.mover
        angle = math.remainder(yaw_rad - self.pose[2], 2.0 * math.pi)
        # Half a turn goes left, whichever way rounding falls.
        if angle < 1e-9 - math.pi:
            angle += 2.0 * math.pi
        if abs(angle) > _SAME_RAD and not mover.by_hand:
            slack = RAMP_M / max(mover.radius_m, mover.offset_m, RAMP_M)
            widest = 2.0 * math.acos(max(1.0 - CHORD_M / mover.offset_m, 0.0)) if mover.offset_m else math.pi
            t_s, yaw = kernels.turn_points(
                self.pose[2], angle, mover.turn_rad_s, mover.turn_acceleration_rad_s2, slack, widest
            )
            x, y = turn_centre_m(self.pose, mover.centre_m)
            x_m, y_m = self._origin(np.full(len(yaw), x), np.full(len(yaw), y), yaw)
            self._add("turn", step, leg, t_s, x_m, y_m, yaw)
        if pose is not None:
            self.meet(pose)

    def meet(self, pose: Pose) -> None:
        """Take a pose exactly that has been reached up to rounding.

        Raises:
            StandfallError: the robot is elsewhere.
        """
        off = math.hypot(pose[0] - self.pose[0], pose[1] - self.pose[1])
        if off > _MEET_M:
            raise StandfallError(f"a way does not meet its dock or leave point: {off:.6g} m off")
        # The yaw goes on without a jump; only its rounding is put right.
        turns = round((self.pose[2] - pose[2]) / (2.0 * math.pi))
        self.pose = (pose[0], pose[1], pose[2] + 2.0 * math.pi * turns)

    def straight(self, phase: Phase, step: int, leg: int, to_m: tuple[float, float]) -> None:
        """Go straight at slow speed without turning."""
        length = math.hypot(to_m[0] - self.pose[0], to_m[1] - self.pose[1])
        if length <= _SAME_M:
            return
        if self.mover.by_hand:
            self._walk(step, leg, np.array([self.pose[:2], to_m]))
            return
        t_s, share = _straight_shares(round(length, 9), self.mover.slow_m_s, self.mover.acceleration_m_s2)
        x_m = self.pose[0] + share * (to_m[0] - self.pose[0])
        y_m = self.pose[1] + share * (to_m[1] - self.pose[1])
        self._add(phase, step, leg, t_s, x_m, y_m, np.full(len(t_s), self.pose[2]))
        self.pose = (to_m[0], to_m[1], self.pose[2])
        self.driven_m += length

    def follow(
        self,
        phase: Phase,
        step: int,
        leg: int,
        way_m: Floats,
        travel_yaw_rad: float | None,
        slow: SlowAt | None = None,
    ) -> None:
        """Drive along a taut way, turning first to the yaw of travel."""
        way = np.ascontiguousarray(way_m, dtype=np.float64)
        mover = self.mover
        if mover.by_hand:
            self._walk(step, leg, way)
            return
        if (travel_yaw_rad is None) != mover.follows:
            raise StandfallError("a yaw of travel is given for robots that keep it, and only for those")
        rounded = round_corners(way, self.corner_m, mover.offset_m if mover.follows else 0.0)
        if travel_yaw_rad is not None:
            self.turn(travel_yaw_rad, step, leg)
            self._begins(self.pose[:2], way[0])
            yaw_then = self.pose[2]
            for piece in rounded.between_stops():
                if piece.way_m > 0.0:
                    t_s, x_m, y_m, _ = self._timed(piece, slow, mover.speed_m_s)
                    self._add(phase, step, leg, t_s, x_m, y_m, np.full(len(t_s), yaw_then))
                    self.driven_m += piece.way_m
            return
        self._begins(turn_centre_m(self.pose, mover.centre_m), way[0])
        for piece in rounded.between_stops():
            if piece.way_m > 0.0:
                self.turn(float(piece.heading_rad[0]), step, leg)
                t_s, x_m, y_m, heading = self._timed(piece, slow, mover.speed_m_s)
                yaw = heading + (self.pose[2] - heading[0])
                self._add(phase, step, leg, t_s, *self._origin(x_m, y_m, yaw), yaw)
                self.driven_m += piece.way_m

    def _origin(self, x_m: Floats, y_m: Floats, yaw_rad: Floats) -> tuple[Floats, Floats]:
        """Return the origin of the robot frame for places of the turn centre and yaws."""
        if self.mover.centre_m == (0.0, 0.0):
            return x_m, y_m
        found: tuple[Floats, Floats] = kernels.origins(x_m, y_m, yaw_rad, *self.mover.centre_m)
        return found

    def _begins(self, here_m: tuple[float, float], start_m: Floats) -> None:
        off = math.hypot(here_m[0] - start_m[0], here_m[1] - start_m[1])
        if off > _MEET_M:
            raise StandfallError(f"a way begins {off:.6g} m from where the robot is")

    def _timed(
        self, rounded: Rounded, slow: SlowAt | None, speed_m_s: float
    ) -> tuple[Floats, Floats, Floats, Floats]:
        mover = self.mover
        x_m, y_m, length, radius = rounded.x_m, rounded.y_m, rounded.length_m, rounded.radius_m
        limit = rounded.speed_limit(
            speed_m_s, mover.acceleration_m_s2, mover.turn_rad_s if mover.follows else math.inf
        )
        slack = np.full(len(length), RAMP_M)
        if mover.follows and mover.offset_m > 0.0:
            # On an arc the frame's origin runs ahead or behind by (r + offset) / r of what the turn centre does.
            slack /= 1.0 + mover.offset_m / radius
        if slow is None:
            part = np.arange(-1, len(length))
            slowly = np.zeros(len(length) + 1, np.bool_)
        else:
            fine_x, fine_y, part = kernels.refine(x_m, y_m, length, SLOW_STEP_M)
            slowly = np.ascontiguousarray(slow(fine_x, fine_y), dtype=np.bool_)
        found: tuple[Floats, Floats, Floats, Floats] = kernels.way_points(
            x_m,
            y_m,
            rounded.heading_rad,
            length,
            limit,
            slack,
            slowly,
            part,
            mover.slow_m_s,
            mover.acceleration_m_s2,
        )
        return found

    def _walk(self, step: int, leg: int, way_m: Floats) -> None:
        """A person walks at even speed from corner to corner and turns without delay."""
        self._begins(self.pose[:2], way_m[0])
        for a, b in itertools.pairwise(way_m):
            length = math.hypot(b[0] - a[0], b[1] - a[1])
            if length > 0.0:
                yaw = math.atan2(b[1] - a[1], b[0] - a[0])
                times = np.array([0.0, length / self.mover.speed_m_s])
                self._add(
                    "walk", step, leg, times, np.array([a[0], b[0]]), np.array([a[1], b[1]]), np.full(2, yaw)
                )
                self.driven_m += length

    def columns(
        self,
    ) -> tuple[Floats, Floats, Floats, Floats, NDArray[np.int8], NDArray[np.int32], NDArray[np.int32]]:
        """Return t, x, y, yaw, phase, step and leg of all waypoints, the last one where it ends."""
        rows = [*self._rows, (np.array([self.time_s]), *(np.array([value]) for value in self.pose))]
        last = self._marks[-1] if self._marks else (0, PHASES.index("wait"), -1, -1)
        marks = np.array([*self._marks, (1, *last[1:])])
        named = np.repeat(marks[:, 1:], marks[:, 0], axis=0)
        t_s, x_m, y_m, yaw = (np.concatenate([row[k] for row in rows]) for k in range(4))
        phase, step, leg = (
            named[:, 0].astype(np.int8),
            named[:, 1].astype(np.int32),
            named[:, 2].astype(np.int32),
        )
        return t_s, x_m, y_m, yaw, phase, step, leg


@lru_cache(maxsize=4096)
def _straight_shares(length_m: float, speed_m_s: float, acceleration_m_s2: float) -> tuple[Floats, Floats]:
    """Return times and shares of a straight way: the same again and again where tiles are left alike."""
    t_s, place_m = kernels.straight_points(length_m, speed_m_s, acceleration_m_s2, RAMP_M)
    return t_s, place_m / place_m[-1]
