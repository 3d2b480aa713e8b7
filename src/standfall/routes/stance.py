"""Stances: every way in which a robot can set a tile down and leave it, and what must not stand for it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from standfall.brief import Brief, Crew
from standfall.geometry.convex import Convex
from standfall.hall.model import Model, crew_model
from standfall.hall.site import Site
from standfall.routes._cell_kernels import TOUCH_M
from standfall.routes._stance_kernels import (
    Groups,
    Polygons,
    Poses,
    conflicts,
    exits,
    fill_buckets,
    sweep,
)
from standfall.routes.layer import Layer, robot_layer, worker_layer
from standfall.routes.step import KINDS, Steps
from standfall.tiles import Tiling, turns_of

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: A differential robot may back out by its least length or by these much more before it turns.
MORE_M = (0.0, 0.25, 0.5, 1.0, 2.0)
# The way out ends this far beyond the last touch of what keeps clearance, so that it is free beyond rounding.
_SPARE_M = 1e-6
# At so many lengths a straight way out may be clear of its own tile: a robot may reach round it.
_EXITS = 3


@dataclass(frozen=True)
class Stances:
    """k ways to do a step.

    Attributes:
        step: (k,) int32, rising.
        model: (k,) int16 number of the robot model in the site, -1 for the worker.
        turn_deg: (k,) int16, 0 or 180: turn of the tray against the fall.
        x_m, y_m, yaw_rad: (k,) pose of the robot frame at set-down. Of a worker: where the person kneels, the yaw
            towards the middle of the step.
        leave_x_m, leave_y_m: (k,) robot origin after the straight departure.
        layer: (k,) int16 layer in which the way goes on from there.
        conflict_first, conflict: (k + 1,) int64 and (c,) int32 steps that must not stand.
    """

    step: NDArray[np.int32]
    model: NDArray[np.int16]
    turn_deg: NDArray[np.int16]
    x_m: Floats
    y_m: Floats
    yaw_rad: Floats
    leave_x_m: Floats
    leave_y_m: Floats
    layer: NDArray[np.int16]
    conflict_first: Ints
    conflict: NDArray[np.int32]

    def __len__(self) -> int:
        return len(self.step)

    def conflicts_of(self, stance: int) -> NDArray[np.int32]:
        """Return the steps that must not stand for a stance."""
        return self.conflict[self.conflict_first[stance] : self.conflict_first[stance + 1]]

    def part(self, rows: Ints) -> Stances:
        """Return the stances of the given rows, in their order."""
        columns = ("step", "model", "turn_deg", "x_m", "y_m", "yaw_rad", "leave_x_m", "leave_y_m", "layer")
        counts = np.diff(self.conflict_first)[rows]
        first = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
        # Each list is moved as a whole from where it began to where it begins now.
        source = np.arange(first[-1]) + np.repeat(self.conflict_first[rows] - first[:-1], counts)
        return Stances(
            **{name: getattr(self, name)[rows] for name in columns},
            conflict_first=first,
            conflict=self.conflict[source],
        )


@dataclass(frozen=True)
class _Draft:
    """Set-downs of one model before their lengths are known; ``group`` numbers (yaw, way out)."""

    step: Ints
    turn_deg: Ints
    group: Ints
    layer: Ints
    x_m: Floats
    y_m: Floats
    group_yaw_rad: list[float]
    group_way_rad: list[float]
    group_layer: list[int]


def make_stances(brief: Brief, site: Site, steps: Steps, tiling: Tiling) -> tuple[Stances, tuple[Layer, ...]]:
    """List the stances of all robots for all tiles, and the layers in which they move.

    Layers, in this order: for each omnidirectional model one for each yaw in which it sets down or docks, then
    the one in which it may turn; for a differential model only the one in which it may turn; last the worker's.
    Stances of people are not listed: the search finds a place to kneel when it needs one.

    Args:
        brief: for the tray, the clearances and which turns a tile allows.
        site: floor and models.
        steps: n steps; the first are the tiles.
        tiling: the tiles.
    """
    layers: list[Layer] = []
    parts: list[Stances] = []
    by_hand = brief.crew is not None and brief.crew.tiles_by_hand
    for number, model in enumerate(site.models):
        if by_hand:
            break
        draft = _draft(brief, site, number, tiling, layers)
        parts.append(_listed(brief, site, model, number, steps, draft, layers))
    worker = site.worker if site.worker is not None else crew_model(Crew())
    layers.append(worker_layer(worker, brief.laying))
    stances = _joined(parts)
    # One step's stances side by side; the sort keeps models, turns and lengths in their order.
    return stances.part(np.argsort(stances.step, kind="stable")), tuple(layers)


def _draft(brief: Brief, site: Site, number: int, tiling: Tiling, layers: list[Layer]) -> _Draft:
    """Put a model over every tile in every turn of robot and tray, and add its layers to the list."""
    model = site.models[number]
    robot = model.robot
    allowed = turns_of(tiling, brief)
    ways = _turns(robot.tray_turns_rad)
    yaws: dict[float, int] = {}
    groups: dict[tuple[float, float], int] = {}
    rows: list[tuple[int, int, int, float]] = []
    for flip, offset_rad in ways:
        for tile in range(len(tiling)):
            turn = int(tiling.turn_deg[tile]) if not flip else 180 - int(tiling.turn_deg[tile])
            if turn in allowed[tile]:
                yaw = _plain_angle(float(tiling.yaw_rad[tile]) + offset_rad)
                for leave in robot.leave_rad:
                    key = (yaw, _plain_angle(yaw + leave))
                    rows.append((tile, turn, groups.setdefault(key, len(groups)), yaw))
    yaw_layer = _add_layers(site, number, [row[3] for row in rows], layers, brief, yaws)
    omnidirectional = robot.drive == "omnidirectional"
    turning = len(layers) - 1
    group_layer = [yaw_layer[yaw] if omnidirectional else turning for yaw, _ in groups]
    step = np.array([row[0] for row in rows], np.int64)
    group = np.array([row[2] for row in rows], np.int64)
    return _Draft(
        step=step,
        turn_deg=np.array([row[1] for row in rows], np.int64),
        group=group,
        layer=np.array(group_layer, np.int64)[group] if len(group) else group,
        x_m=tiling.x_m[step],
        y_m=tiling.y_m[step],
        group_yaw_rad=[key[0] for key in groups],
        group_way_rad=[key[1] for key in groups],
        group_layer=group_layer,
    )


def _turns(tray_turns_rad: Sequence[float]) -> list[tuple[bool, float]]:
    """Return (is the tray turned the other way round, robot's yaw against the tile's) without repeats.

    The robot's yaw is that of the tray's row direction, a quarter turn left of the tile's x axis, less the turn
    of the tray on the robot. A robot in one pose with the tray either way round is one stance: the tiling's turn.
    """
    found: dict[float, tuple[bool, float]] = {}
    for flip in (False, True):
        for tray_turn in tray_turns_rad:
            offset = math.pi / 2 - tray_turn + (math.pi if flip else 0.0)
            found.setdefault(_plain_angle(offset), (flip, offset))
    return list(found.values())


def _plain_angle(angle_rad: float) -> float:
    """Return an angle in (-pi, pi], rounded so that equal directions are equal numbers; quarter turns stay exact."""
    wrapped = math.remainder(angle_rad, 2 * math.pi)
    quarters = round(wrapped / (math.pi / 2))
    if abs(wrapped - quarters * math.pi / 2) < 1e-9:
        return math.pi if quarters == -2 else quarters * math.pi / 2
    return round(wrapped, 9)


def _add_layers(
    site: Site, number: int, used_yaws: list[float], layers: list[Layer], brief: Brief, yaws: dict[float, int]
) -> dict[float, int]:
    model = site.models[number]
    if model.robot.drive == "omnidirectional":
        headings = [_plain_angle(dock.heading_rad) for dock in site.docks if serves(dock.robots, model)]
        for yaw in [*used_yaws, *headings]:
            if yaw not in yaws:
                yaws[yaw] = len(layers)
                layers.append(robot_layer(model, number, yaw, brief.laying))
    layers.append(robot_layer(model, number, None, brief.laying))
    return yaws


def serves(robots: Sequence[str], model: Model) -> bool:
    """Tell whether a dock that lists these robots is there for a model."""
    return not robots or model.robot.name in robots


def _listed(
    brief: Brief, site: Site, model: Model, number: int, steps: Steps, draft: _Draft, layers: list[Layer]
) -> Stances:
    """Give each set-down its lengths of the way out and drop those that hit a wall or their own tile."""
    if not len(draft.step):
        return _joined([])
    way = np.stack([np.cos(draft.group_way_rad), np.sin(draft.group_way_rad)], axis=-1)[draft.group]
    row, length = _lengths(model, steps, draft, layers, way)
    poses = Poses(
        step=draft.step[row],
        group=draft.group[row],
        x_m=draft.x_m[row],
        y_m=draft.y_m[row],
        dx_m=way[row, 0] * length,
        dy_m=way[row, 1] * length,
    )
    room_m = brief.laying.set_down_clearance_m
    # Nothing passes over walls and pillars, however high it is.
    body = _groups((), model.body, draft.group_yaw_rad)
    inside = _in_floor(site, poses, body, room_m)
    poses = Poses(*(column[inside] for column in poses))
    row = row[inside]
    lowered = [
        part for part in model.lowered if not any(np.array_equal(part, other) for other in model.travel)
    ]
    groups = _groups(lowered, model.travel, draft.group_yaw_rad)
    spares, first, found = _conflicts(steps.shapes, steps.shape_of, len(steps), poses, groups, room_m)
    stacked, stack_of = stack_shapes(steps)
    if len(stack_of):
        more = _conflicts(stacked, stack_of, len(steps), poses, body, room_m)
        first, found = _merged(first, found, more[1], more[2])
    yaw = np.array(draft.group_yaw_rad)[poses.group]
    listed = Stances(
        step=poses.step.astype(np.int32),
        model=np.full(len(row), number, np.int16),
        turn_deg=draft.turn_deg[row].astype(np.int16),
        x_m=poses.x_m,
        y_m=poses.y_m,
        yaw_rad=yaw,
        leave_x_m=poses.x_m + poses.dx_m,
        leave_y_m=poses.y_m + poses.dy_m,
        layer=draft.layer[row].astype(np.int16),
        conflict_first=first,
        conflict=found.astype(np.int32),
    )
    return listed.part(np.flatnonzero(spares))


def _lengths(
    model: Model, steps: Steps, draft: _Draft, layers: list[Layer], way: Floats
) -> tuple[Ints, Floats]:
    """Return (row of the draft, length of the way out), least first for each row."""
    omnidirectional = model.robot.drive == "omnidirectional"
    movers = [list(layers[layer].shape) for layer in draft.group_layer]
    group_first = np.cumsum([0, *map(len, movers)]).astype(np.int64)
    x_m, y_m = draft.x_m.copy(), draft.y_m.copy()
    if not omnidirectional:
        # In the turning layer it is the turn centre that moves.
        centre = np.array([turned(model.robot.turn_centre_m, yaw) for yaw in draft.group_yaw_rad])
        x_m, y_m = x_m + centre[draft.group, 0], y_m + centre[draft.group, 1]
    found = exits(
        _polygons(steps.shapes),
        np.searchsorted(steps.shape_of, np.arange(len(steps) + 1)),
        draft.step,
        x_m,
        y_m,
        np.ascontiguousarray(way[:, 0]),
        np.ascontiguousarray(way[:, 1]),
        draft.group,
        group_first,
        _polygons(Convex.from_list([shape for shapes in movers for shape in shapes])),
        _EXITS if omnidirectional else 1,
    )
    if not omnidirectional:
        found = found[:, :1] + np.array(MORE_M)
    row, at = np.nonzero(~np.isnan(found))
    return row.astype(np.int64), found[row, at] + _SPARE_M


def turned(point_m: tuple[float, float], yaw_rad: float) -> tuple[float, float]:
    """Return a point of the robot frame turned by a yaw."""
    cosine, sine = math.cos(yaw_rad), math.sin(yaw_rad)
    return point_m[0] * cosine - point_m[1] * sine, point_m[0] * sine + point_m[1] * cosine


def stack_shapes(steps: Steps) -> tuple[Convex, NDArray[np.int32]]:
    """Return the outlines of what stands in a second layer, and the step of each.

    They are those of the floor layer below. Pieces two high are in the way of any part of a robot, low or high.
    """
    shape = np.searchsorted(steps.shape_of, np.arange(len(steps) + 1))
    polygons: list[Floats] = []
    owner: list[int] = []
    for step in np.flatnonzero(steps.kind == KINDS.index("stack")):
        base = steps.after[step]
        for number in range(shape[base], shape[base + 1]) if base >= 0 else ():
            polygons.append(steps.shapes.polygon(number))
            owner.append(int(step))
    return Convex.from_list(polygons), np.array(owner, np.int32)


def _merged(first_a: Ints, a: Ints, first_b: Ints, b: Ints) -> tuple[Ints, Ints]:
    """Return the lists of two CSR tables put together row by row."""
    row = np.concatenate([np.repeat(np.arange(len(f) - 1), np.diff(f)) for f in (first_a, first_b)])
    order = np.argsort(row, kind="stable")
    return first_a + first_b, np.concatenate([a, b])[order]


def _groups(lowered: Sequence[Floats], travel: Sequence[Floats], yaws_rad: list[float]) -> Groups:
    polygons: list[Floats] = []
    pose_first, travel_first = [0], []
    for yaw in yaws_rad:
        cosine, sine = math.cos(yaw), math.sin(yaw)
        turn = np.array([[cosine, sine], [-sine, cosine]])
        polygons += [part @ turn for part in lowered]
        travel_first.append(len(polygons))
        polygons += [part @ turn for part in travel]
        pose_first.append(len(polygons))
    return Groups(
        np.array(pose_first, np.int64),
        np.array(travel_first, np.int64),
        _polygons(Convex.from_list(polygons)),
    )


def _polygons(convex: Convex) -> Polygons:
    return Polygons(
        np.asarray(convex.first, np.int64), np.asarray(convex.x_m, float), np.asarray(convex.y_m, float)
    )


def _conflicts(
    outlines: Convex, shape_of: NDArray[np.int32], steps: int, poses: Poses, groups: Groups, room_m: float
) -> tuple[NDArray[np.bool_], Ints, Ints]:
    """Return which stances spare their own tile, and the conflicts of each as (first, step)."""
    shapes = _polygons(outlines)
    if not len(poses.step) or len(shapes.first) < 2 or len(groups.shapes.first) < 2:
        count = len(poses.step)
        return np.ones(count, np.bool_), np.zeros(count + 1, np.int64), np.empty(0, np.int64)
    starts = shapes.first[:-1]
    low_x, high_x = np.minimum.reduceat(shapes.x_m, starts), np.maximum.reduceat(shapes.x_m, starts)
    low_y, high_y = np.minimum.reduceat(shapes.y_m, starts), np.maximum.reduceat(shapes.y_m, starts)
    # Squares about as large as a tile: each shape lies in a few, each holds a few.
    side = max(0.25, float(np.median(np.maximum(high_x - low_x, high_y - low_y))))
    x0, y0 = float(low_x.min()), float(low_y.min())
    nx, ny = int((high_x.max() - x0) // side) + 1, int((high_y.max() - y0) // side) + 1
    buckets = fill_buckets(low_x, low_y, high_x, high_y, x0, y0, side, nx, ny)
    found: tuple[NDArray[np.bool_], Ints, Ints]
    found = conflicts(poses, groups, shapes, shape_of, buckets, room_m, steps)
    return found


def _in_floor(site: Site, poses: Poses, groups: Groups, room_m: float) -> NDArray[np.bool_]:
    """Tell for each stance whether it keeps to the floor for robots, ``room_m`` from its edge, all the way out."""
    floor = site.for_robots
    result = np.ones(len(poses.step), np.bool_)
    if not len(result) or len(groups.shapes.first) < 2:
        return result
    reach = np.sqrt(groups.shapes.x_m**2 + groups.shapes.y_m**2).max()
    length = np.hypot(poses.dx_m, poses.dy_m)
    points = shapely.points(poses.x_m, poses.y_m)
    shapely.prepare(floor)
    edge = floor.boundary
    shapely.prepare(edge)
    # Well inside the floor no polygon need be looked at.
    near = np.flatnonzero(
        ~shapely.covers(floor, points) | shapely.dwithin(edge, points, reach + length + room_m)
    )
    owner, polygons = _swept(poses, groups, near)
    if not len(owner):
        return result
    # Touching is allowed: a hair smaller all round. The clearance itself is checked by distance.
    faults = shapely.dwithin(edge, polygons, max(room_m - TOUCH_M, 0.0)) if room_m > TOUCH_M else None
    if faults is None:
        faults = ~shapely.covers(floor.buffer(TOUCH_M, join_style="mitre"), polygons)
    else:
        faults |= ~shapely.covers(floor, polygons)
    result[owner[np.asarray(faults)]] = False
    return result


def _swept(poses: Poses, groups: Groups, rows: Ints) -> tuple[Ints, NDArray[np.object_]]:
    """Return (owner, polygon) of all that the given stances cover: at the pose, and on the way out."""
    owner: list[int] = []
    rings: list[Floats] = []
    shapes = groups.shapes
    most = int(np.diff(shapes.first).max()) + 2
    out_x, out_y = np.empty(most), np.empty(most)
    for k in rows:
        g = poses.group[k]
        for p in range(groups.pose_first[g], groups.pose_first[g + 1]):
            span = slice(shapes.first[p], shapes.first[p + 1])
            x, y = shapes.x_m[span] + poses.x_m[k], shapes.y_m[span] + poses.y_m[k]
            if p >= groups.travel_first[g]:
                size = sweep(x, y, poses.dx_m[k], poses.dy_m[k], out_x, out_y)
                x, y = out_x[:size].copy(), out_y[:size].copy()
            owner.append(int(k))
            rings.append(np.stack([x, y], axis=-1))
    if not rings:
        return np.empty(0, np.int64), np.empty(0, object)
    sizes = [len(ring) for ring in rings]
    lines = shapely.linearrings(np.concatenate(rings), indices=np.repeat(np.arange(len(rings)), sizes))
    return np.array(owner, np.int64), np.asarray(shapely.polygons(lines))


def _joined(parts: list[Stances]) -> Stances:
    """Put lists of stances one behind the other; conflicts move along."""
    types = {
        "step": np.int32,
        "model": np.int16,
        "turn_deg": np.int16,
        "x_m": np.float64,
        "y_m": np.float64,
        "yaw_rad": np.float64,
        "leave_x_m": np.float64,
        "leave_y_m": np.float64,
        "layer": np.int16,
        "conflict": np.int32,
    }
    columns = {
        name: np.concatenate([*(getattr(part, name) for part in parts), np.empty(0, kind)]).astype(kind)
        for name, kind in types.items()
    }
    counts = np.concatenate([*(np.diff(part.conflict_first) for part in parts), np.empty(0, np.int64)])
    return Stances(**columns, conflict_first=np.concatenate([[0], np.cumsum(counts)]).astype(np.int64))
