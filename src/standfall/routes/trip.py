"""One trip from a dock to one or more set-downs and back, and the columns of all trips."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from standfall.findings import StandfallError
from standfall.routes.leg import DockWay, Leg, Pose, Slow
from standfall.routes.mover import Mover
from standfall.routes.track import PHASES, Phase, SlowAt, Track

__all__ = ["PHASES", "Phase", "Trip", "Trips", "joined", "make_move", "make_trip", "pause"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

# By number of the phase: is the yaw that of the set-down?
_DOWN = np.array([phase in ("approach", "lower", "release", "raise", "leave") for phase in PHASES])


@dataclass(frozen=True)
class Trips:
    """All trips in the order they were planned: t trips, s steps, w waypoints.

    Between two waypoints of a trip the motion is linear in x, y, yaw and time; a waypoint carries the phase and
    the step of the motion that begins there, the last one of a trip those of the motion that ends. The yaw runs on
    without jumps; at set-down poses are exact.

    Attributes:
        robot: (t,) int16 index into ``names``.
        dock: (t,) int16 number in ``site.docks``.
        step_first, step: (t + 1,) and (s,) int32 steps done on each trip, in order; none when it only charges.
        start_s, end_s: (t,) from the beginning of loading to the return.
        driven_m: (t,) length of the way of the turn centre.
        names: of the single robots and people.
        way_first: (t + 1,) waypoints of each trip.
        phase: (w,) int8 number in ``PHASES``.
        way_step: (w,) int32 step it belongs to, -1 for none.
        t_s, x_m, y_m, yaw_rad: (w,) times, and poses of the robot frame.
    """

    robot: NDArray[np.int16]
    dock: NDArray[np.int16]
    step_first: Ints
    step: Ints
    start_s: Floats
    end_s: Floats
    driven_m: Floats
    names: tuple[str, ...]
    way_first: NDArray[np.int64]
    phase: NDArray[np.int8]
    way_step: Ints
    t_s: Floats
    x_m: Floats
    y_m: Floats
    yaw_rad: Floats

    def __len__(self) -> int:
        return len(self.start_s)

    @property
    def laying_s(self) -> float:
        """When the last trip has ended."""
        return float(self.end_s.max(initial=0.0))

    def steps_of(self, trip: int) -> Ints:
        """Return the steps of a trip."""
        return self.step[self.step_first[trip] : self.step_first[trip + 1]]

    def waypoints_of(self, trip: int) -> slice:
        """Return the waypoints of a trip."""
        return slice(int(self.way_first[trip]), int(self.way_first[trip + 1]))

    def phase_s(self, phase: Phase) -> float:
        """Return the time all robots and people together spend in a phase."""
        lasts = np.diff(self.t_s, append=self.t_s[-1:])
        lasts[self.way_first[1:] - 1] = 0.0
        return float(lasts[self.phase == PHASES.index(phase)].sum())


@dataclass(frozen=True)
class Trip:
    """Waypoints from leaving a dock, at time 0, to the return; nowhere on the way is there a wait for others.

    Attributes:
        mover: what moves.
        legs: the steps done, L of them.
        corner_m: how far corners are cut.
        t_s, x_m, y_m, yaw_rad, phase, way_step: (w,) as in ``Trips``.
        leg: (w,) number of the leg whose way the motion belongs to, -1 for none.
        set_down_s: (L,) when each tile begins to be lowered, or a person begins to lay.
        done_s: (L,) when it stands and is let go.
        clear_s: (L,) when it has been left in a straight line.
        driven_m: length of the way of the turn centre.
    """

    mover: Mover
    legs: tuple[Leg, ...]
    t_s: Floats
    x_m: Floats
    y_m: Floats
    yaw_rad: Floats
    phase: NDArray[np.int8]
    way_step: Ints
    leg: Ints
    set_down_s: tuple[float, ...]
    done_s: tuple[float, ...]
    clear_s: tuple[float, ...]
    driven_m: float

    @property
    def lasts_s(self) -> float:
        """How long it is away."""
        return float(self.t_s[-1])

    def turn_centre(self) -> tuple[Floats, Floats]:
        """Return where the turn centre is at each waypoint."""
        cx, cy = self.mover.centre_m
        if cx == 0.0 and cy == 0.0:
            return self.x_m, self.y_m
        cosine, sine = np.cos(self.yaw_rad), np.sin(self.yaw_rad)
        return self.x_m + cosine * cx - sine * cy, self.y_m + sine * cx + cosine * cy


def make_trip(legs: Sequence[Leg], mover: Mover, corner_m: float, slow: Slow | None = None) -> Trip:
    """Make the trip that does some steps: dock, drive, approach, lower, release, raise, leave, return, dock.

    Args:
        legs: of one model and dock, in order; all but the last have ``next_m``.
        mover: what moves.
        corner_m: how far corners may be cut.
        slow: says where it goes slowly; nowhere when left out.

    Raises:
        StandfallError: legs that do not belong together, or ways that do not meet the dock or leave points.
    """
    if not legs or len({(leg.model, leg.dock) for leg in legs}) > 1:
        raise StandfallError("a trip has one model and one dock")
    track = Track(mover, legs[0].dock_pose, corner_m)
    set_down, done, clear = [], [], []
    if legs[0].undock_m is not None:
        track.straight("drive", legs[0].step, 0, legs[0].undock_m)
        track.meet(legs[0].undocked_pose)
    for number, leg in enumerate(legs):
        way = leg.out_m if number == 0 else legs[number - 1].next_m
        if way is None:
            raise StandfallError(f"no way on from step {legs[number - 1].step} to step {leg.step}")
        track.follow("drive", leg.step, number, way, leg.travel_yaw_rad, _asked(slow, leg))
        track.turn(leg.set_down_yaw_rad, leg.step, number, leg.leave_pose)
        track.straight("approach", leg.step, number, leg.set_down_m)
        track.meet(leg.set_down_pose)
        set_down.append(track.time_s)
        if leg.by_hand:
            track.rest("lay", leg.step, number, mover.lay_s * leg.dominoes)
        else:
            track.rest("lower", leg.step, number, mover.lower_s)
            track.rest("release", leg.step, number, mover.release_s)
            track.rest("raise", leg.step, number, mover.raise_s)
        done.append(track.time_s)
        track.straight("leave", leg.step, number, leg.leave_m)
        track.meet(leg.leave_pose)
        clear.append(track.time_s)
    last = len(legs) - 1
    leg = legs[last]
    track.follow("return", leg.step, last, leg.back_m, leg.travel_yaw_rad, _asked(slow, leg))
    track.turn(leg.dock_pose[2], leg.step, last, leg.undocked_pose)
    if leg.undock_m is not None:
        track.straight("return", leg.step, last, leg.dock_pose[:2])
        track.meet(leg.dock_pose)
    return _finished(track, tuple(legs), (tuple(set_down), tuple(done), tuple(clear)))


def make_move(way: DockWay, mover: Mover, corner_m: float, slow: Slow | None = None) -> Trip:
    """Make the drive from one dock to another. Arguments and errors as ``make_trip``."""
    track = Track(mover, way.first_pose, corner_m)
    track.follow("drive", -1, -1, way.way_m, way.travel_yaw_rad, _asked(slow, way))
    track.turn(way.last_pose[2], -1, -1, way.last_pose)
    return _finished(track, (), ((), (), ()))


def pause(mover: Mover, pose: Pose, phase: Phase, lasts_s: float) -> Trip:
    """Make a stay at a dock, to be joined with drives."""
    track = Track(mover, pose, 0.0)
    track.rest(phase, -1, -1, lasts_s)
    return _finished(track, (), ((), (), ()))


def joined(parts: Sequence[Trip]) -> Trip:
    """Join drives, stays and at most one trip with legs, each beginning where the one before ends."""
    begins = np.concatenate([[0.0], np.cumsum([part.lasts_s for part in parts])])
    legs: tuple[Leg, ...] = ()
    times: tuple[tuple[float, ...], ...] = ((), (), ())
    yaws, at_rad = [], float(parts[0].yaw_rad[0])
    for part, begin in zip(parts, begins[:-1], strict=True):
        if part.legs:
            legs = part.legs
            own = (part.set_down_s, part.done_s, part.clear_s)
            times = tuple(tuple(float(begin) + t for t in column) for column in own)
        # Whole turns are taken over from part to part, so that the yaw does not jump.
        turns = round((at_rad - float(part.yaw_rad[0])) / (2.0 * math.pi))
        yaws.append(part.yaw_rad + 2.0 * math.pi * turns)
        at_rad = float(yaws[-1][-1])
    # The last point of a part is the first of the next.
    cut = [slice(0, len(part.t_s) - 1) for part in parts[:-1]] + [slice(0, len(parts[-1].t_s))]
    yaw = np.concatenate([each[c] for each, c in zip(yaws, cut, strict=True)])
    phase = np.concatenate([part.phase[c] for part, c in zip(parts, cut, strict=True)])
    step = np.concatenate([part.way_step[c] for part, c in zip(parts, cut, strict=True)])
    return Trip(
        mover=parts[0].mover,
        legs=legs,
        t_s=np.concatenate([part.t_s[c] + b for part, c, b in zip(parts, cut, begins[:-1], strict=True)]),
        x_m=np.concatenate([part.x_m[c] for part, c in zip(parts, cut, strict=True)]),
        y_m=np.concatenate([part.y_m[c] for part, c in zip(parts, cut, strict=True)]),
        yaw_rad=_exact_yaw(yaw, phase, step, legs),
        phase=phase,
        way_step=step,
        leg=np.concatenate([part.leg[c] for part, c in zip(parts, cut, strict=True)]),
        set_down_s=times[0],
        done_s=times[1],
        clear_s=times[2],
        driven_m=math.fsum(part.driven_m for part in parts),
    )


def _asked(slow: Slow | None, way: Leg | DockWay) -> SlowAt | None:
    return None if slow is None else partial(slow, way)


def _finished(track: Track, legs: tuple[Leg, ...], times: tuple[tuple[float, ...], ...]) -> Trip:
    t_s, x_m, y_m, yaw, phase, step, leg = track.columns()
    return Trip(
        mover=track.mover,
        legs=legs,
        t_s=t_s,
        x_m=x_m,
        y_m=y_m,
        yaw_rad=_exact_yaw(yaw, phase, step, legs),
        phase=phase,
        way_step=step,
        leg=leg,
        set_down_s=times[0],
        done_s=times[1],
        clear_s=times[2],
        driven_m=track.driven_m,
    )


def _exact_yaw(yaw: Floats, phase: NDArray[np.int8], step: Ints, legs: tuple[Leg, ...]) -> Floats:
    """Take whole turns off so that the first set-down has the yaw asked for, to the last digit."""
    if not legs:
        return yaw
    down = _DOWN[phase] & (step == legs[0].step)
    if not down.any():
        return yaw
    turns = round((float(yaw[down][0]) - legs[0].set_down_yaw_rad) / (2.0 * math.pi))
    if turns == 0:
        return yaw
    yaw = yaw - 2.0 * math.pi * turns
    yaw[down] = legs[0].set_down_yaw_rad
    return yaw
