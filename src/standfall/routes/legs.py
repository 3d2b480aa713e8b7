"""The ways of all steps, found one after the other while the floor fills up."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from standfall.brief import Dock
from standfall.findings import Finding, make_finding
from standfall.hall.model import Model
from standfall.hall.site import Site
from standfall.routes.access import Access
from standfall.routes.course import Course, LayerFloor
from standfall.routes.free_cells import crew_docks
from standfall.routes.leg import WORKER, Leg, Pose, on_way_m, turn_centre_m
from standfall.routes.stance import serves
from standfall.routes.step import Steps

Floats = NDArray[np.float64]
Progress = Callable[[int, int, str], None]

#: A dock whose way is longer than the shortest by no more than this takes its share of the trips.
DETOUR = 0.1
#: So far a robot may drive straight out of its dock before it turns.
UNDOCK_M = 3.0
_UNDOCK_STEP_M = 0.1
# Places at a door are tried this far apart.
_LATTICE_M = 0.05
_SAME_RAD = 1e-8


@dataclass(frozen=True)
class Legs:
    """The ways of the steps of one laying order.

    Attributes:
        legs: in laying order, of all steps that have a way.
        lost: steps that can be laid but have no way that keeps one yaw: robots would have to turn on the way.
    """

    legs: tuple[Leg, ...]
    lost: tuple[int, ...]

    @property
    def driven_m(self) -> float:
        """Return how far robots drive, corners not yet rounded."""
        before: Sequence[Leg | None] = (None, *self.legs[:-1])
        return math.fsum(
            leg_length_m(leg, begins=last is None or last.next_m is None)
            for last, leg in zip(before, self.legs, strict=False)
            if not leg.by_hand
        )


def leg_length_m(leg: Leg, begins: bool = True) -> float:
    """Return the length of a leg's ways: out, straight in and out, and back or on to the next.

    The way out is only driven where the leg begins a trip.
    """
    straight = math.dist(leg.set_down_m, leg.leave_m)
    way = leg.next_m if leg.next_m is not None else leg.back_m
    return (_length_m(leg.out_m) if begins else 0.0) + 2 * straight + _length_m(way)


def _length_m(way_m: Floats) -> float:
    return float(np.hypot(*np.diff(way_m, axis=0).T).sum()) if len(way_m) > 1 else 0.0


@dataclass(frozen=True)
class _Start:
    """A dock a robot or person comes from: its number, the pose there, and where the way begins."""

    dock: int
    pose: Pose
    place_m: tuple[float, float]
    undock_m: tuple[float, float] | None = None


def make_legs(
    site: Site,
    steps: Steps,
    access: Access,
    floors: Sequence[LayerFloor],
    standing: Sequence[int] = (),
    progress: Progress | None = None,
) -> Legs:
    """Find the shortest ways of all steps of an order, each over the floor as it is at its turn.

    Of several docks whose ways are about as short as the shortest, the one with fewest trips so far is taken.
    Robots that carry several tiles go on to the next one while the next step is theirs and they have tiles left.

    Args:
        site: docks and models.
        steps: all steps.
        access: the order and the stances.
        floors: of each layer, the worker's last.
        standing: steps that stand before any is laid.
        progress: callback (done, total, what).
    """
    course = Course(site, floors)
    for step in standing:
        course.stand(int(step))
    legs: list[Leg] = []
    lost: list[int] = []
    used = np.zeros(max(len(site.docks), 1), np.int64)
    carried = 0
    for row, step in enumerate(access.order.tolist()):
        carries = _carries(site, int(access.stance.model[row]))
        before = legs[-1] if legs and 0 < carried < carries else None
        leg, on_m = _leg(site, steps, access, row, floors, course, before, used)
        if leg is None:
            lost.append(step)
            carried = 0
            continue
        if before is not None and on_m is not None:
            legs[-1] = replace(before, next_m=on_m)
            carried += 1
        else:
            carried = 1
            used[leg.dock] += 1
        legs.append(leg)
        if progress is not None and row % 64 == 0:
            progress(row, len(access.order), "ways")
    return Legs(tuple(legs), tuple(lost))


def _carries(site: Site, model: int) -> int:
    return site.models[model].robot.carries if model >= 0 else 1


def _leg(
    site: Site,
    steps: Steps,
    access: Access,
    row: int,
    floors: Sequence[LayerFloor],
    course: Course,
    before: Leg | None,
    used: NDArray[np.int64],
) -> tuple[Leg | None, Floats | None]:
    """Return the leg of one row of the order and the way from the leg before, and put its step on the floor."""
    stance, step = access.stance, int(access.order[row])
    model, number = int(stance.model[row]), int(stance.layer[row])
    pose = (float(stance.x_m[row]), float(stance.y_m[row]), float(stance.yaw_rad[row]))
    leave = (float(stance.leave_x_m[row]), float(stance.leave_y_m[row]))
    yaw = floors[number].layer.yaw_rad
    goal = leave if model < 0 else on_way_m((*leave, pose[2]), site.models[model].robot.turn_centre_m, yaw)
    on_m = None
    if before is not None and before.model == model and before.travel_yaw_rad == yaw:
        here = (float(before.back_m[0, 0]), float(before.back_m[0, 1]))
        on_m = course.path(number, here, goal, (before.dock,))
    # People go in and out by the same way, over a floor on which their step stands.
    found = [] if model < 0 else _outward(site, model, number, yaw, goal, floors, course)
    course.stand(step)
    if model < 0:
        found = _outward(site, model, number, yaw, goal, floors, course)
    if before is not None and on_m is not None:
        # All tiles of a trip go home to the dock they came from.
        same = [one for one in found if one.start.dock == before.dock]
        chosen = _there_and_back(number, goal, same, used, course)
        on_m = on_m if chosen is not None else None
    else:
        chosen = None
    chosen = chosen or _there_and_back(number, goal, found, used, course)
    if chosen is None:
        return None, None
    way, back_m = chosen
    leg = Leg(
        step=step,
        model=model if model >= 0 else WORKER,
        dock=way.start.dock,
        dock_pose=way.start.pose,
        out_m=way.out_m,
        back_m=back_m,
        travel_yaw_rad=yaw,
        set_down_m=pose[:2],
        set_down_yaw_rad=pose[2],
        leave_m=leave,
        dominoes=int(steps.dominoes[step]),
        by_hand=model < 0,
        conflict=frozenset(int(other) for other in stance.conflicts_of(row)) if model >= 0 else None,
        undock_m=way.start.undock_m,
    )
    return leg, on_m


@dataclass(frozen=True)
class _Way:
    """A way out from a dock."""

    start: _Start
    out_m: Floats

    @property
    def length_m(self) -> float:
        return _length_m(self.out_m)


def _outward(
    site: Site,
    model: int,
    layer: int,
    yaw_rad: float | None,
    goal_m: tuple[float, float],
    floors: Sequence[LayerFloor],
    course: Course,
) -> list[_Way]:
    """Return the shortest way out from each dock that has one."""
    ways = []
    for start in _starts(site, model, yaw_rad, floors, course):
        out_m = course.path(layer, start.place_m, goal_m, (start.dock,))
        if out_m is not None:
            ways.append(_Way(start, out_m))
    return ways


def _there_and_back(
    layer: int, goal_m: tuple[float, float], ways: Sequence[_Way], used: NDArray[np.int64], course: Course
) -> tuple[_Way, Floats] | None:
    """Return the way out to take, and the way back over a floor on which the step itself stands by now.

    A dock that is reached on the way out may be cut off by what has just been laid, so each is tried for both.
    """
    nearest = min((way.length_m for way in ways), default=0.0)
    alike = [way for way in ways if way.length_m <= (1 + DETOUR) * nearest]
    rest = [way for way in ways if way.length_m > (1 + DETOUR) * nearest]
    alike.sort(key=lambda way: (used[way.start.dock], way.length_m))
    rest.sort(key=lambda way: way.length_m)
    for way in (*alike, *rest):
        back_m = course.path(layer, goal_m, way.start.place_m, (way.start.dock,))
        if back_m is not None:
            return way, back_m
    return None


def _starts(
    site: Site, model: int, yaw_rad: float | None, floors: Sequence[LayerFloor], course: Course
) -> list[_Start]:
    """Return where ways of a model begin that keep a yaw, for each dock at which it can turn to that yaw."""
    if model < 0:
        doors = [(dock, _door(site, dock, len(floors) - 1, course)) for dock in crew_docks(site)]
        return [
            _Start(site.docks.index(dock), (*place, dock.heading_rad), place)
            for dock, place in doors
            if place is not None
        ]
    own = site.models[model]
    result = []
    for number, dock in enumerate(site.docks):
        if dock.kind == "loading" and serves(dock.robots, own):
            pose = (*dock.place_m, dock.heading_rad)
            out = _turns_at(pose, own, model, yaw_rad, floors, course)
            if out is not None:
                place = on_way_m((*out, pose[2]), own.robot.turn_centre_m, yaw_rad)
                result.append(_Start(number, pose, place, None if out == pose[:2] else out))
    return result


def _door(site: Site, dock: Dock, layer: int, course: Course) -> tuple[float, float] | None:
    """Return where people stand who have just come in: at the dock, or the nearest place where there is room."""
    x, y = dock.place_m
    width = 2 * site.worker.turn_radius_m if site.worker else 0.0
    if dock.kind == "loading":
        # Beside the robot that stands in it.
        width += max((model.body_radius_m for model in site.models), default=0.0)
    near = np.arange(-width, width + _LATTICE_M, _LATTICE_M)
    dx, dy = (grid.ravel() for grid in np.meshgrid(near, near))
    far = np.hypot(dx, dy)
    for at in np.argsort(far, kind="stable"):
        place = (x, y) if far[at] < _LATTICE_M / 2 else (float(x + dx[at]), float(y + dy[at]))
        if far[at] > width:
            break
        if course.free(layer, place) and site.for_people.covers(shapely.LineString([(x, y), place])):
            return place
    return None


def _turns_at(
    pose: Pose,
    own: Model,
    model: int,
    yaw_rad: float | None,
    floors: Sequence[LayerFloor],
    course: Course,
) -> tuple[float, float] | None:
    """Return where a robot that comes straight out of a dock may turn: in the dock, or the first place beyond it."""
    layers = {
        floor.layer.yaw_rad: number for number, floor in enumerate(floors) if floor.layer.model == model
    }
    if yaw_rad is not None and abs(math.remainder(yaw_rad - pose[2], 2 * math.pi)) < _SAME_RAD:
        return pose[:2]
    turning = layers[None]
    cosine, sine = math.cos(pose[2]), math.sin(pose[2])
    for far in range(int(UNDOCK_M / _UNDOCK_STEP_M) + 1):
        for way in (1.0, -1.0) if far else (1.0,):
            out = (pose[0] + way * far * _UNDOCK_STEP_M * cosine, pose[1] + way * far * _UNDOCK_STEP_M * sine)
            at = turn_centre_m((*out, pose[2]), own.robot.turn_centre_m)
            if course.free(turning, at) and _straight_out(pose, out, layers, course):
                return out
    return None


def _straight_out(
    pose: Pose, out: tuple[float, float], layers: dict[float | None, int], course: Course
) -> bool:
    """Tell whether a robot can drive straight from its dock to a place without turning."""
    if out == pose[:2]:
        return True
    number = next(
        (
            layer
            for yaw, layer in layers.items()
            if yaw is not None and abs(math.remainder(yaw - pose[2], 2 * math.pi)) < _SAME_RAD
        ),
        None,
    )
    # A differential robot has no layer of its heading; its dock was looked at when the hall was read.
    return number is None or course.sees(number, pose[:2], out)


def lost_findings(steps: Steps, access: Access, lost: Sequence[int]) -> list[Finding]:
    """Say which steps have a place in the order but no way that a trip can take.

    Args:
        steps: all steps.
        access: the order and the stances.
        lost: steps of the order without a way.
    """
    by_hand = set(access.order[access.stance.model < 0].tolist())
    findings = []
    driven = [step for step in lost if step not in by_hand]
    walked = [step for step in lost if step in by_hand]
    if driven:
        findings.append(
            make_finding(
                "R914",
                _place(steps, driven[0]),
                f"{len(driven)} tiles can be reached only by turning on the way, which trips do not do; "
                f"the first is tile {steps.tile[driven[0]]}",
                value=len(driven),
                limit="a way on which the robot keeps its heading after it has left its dock",
                next_step="Turn the dock to the heading of set-down, or leave room for a full turn near the dock.",
            )
        )
    if walked:
        findings.append(
            make_finding(
                "R915",
                _place(steps, walked[0]),
                f"{len(walked)} steps by hand can be reached only past robots that stand at their docks",
                value=len(walked),
                limit="a way on foot with robots at all docks",
                next_step="Move the dock of the crew, or those of the robots, so that there is room between them.",
            )
        )
    return findings


def _place(steps: Steps, step: int) -> str:
    return f"x {steps.x_m[step]:.3f} m, y {steps.y_m[step]:.3f} m"
