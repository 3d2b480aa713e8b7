"""An independent replay of an exported build: does anything ever touch what it must not touch?

Reads only the exported files (``dominoes``, ``tiles``, ``steps``, ``step_dominoes`` and ``waypoints`` as CSV, and
``robots.json``), as docs/build-file.md describes them, and the floor as polygons. It imports nothing of the
program: NumPy, Shapely and the standard library are all it uses.

Every part of every robot is swept along the straight motion between its waypoints. A motion without a turn is swept
exactly (the hull of a convex part and its translate); a turning one in pieces of at most half a degree, each the
hull of the part at both ends. A corner at radius r then bulges out by r (1 - cos 0.25 deg), 10 micrometres at 1 m,
which is less than the slack below. Robots are held against each other at moments at most 5 mm and half a degree apart.
"""

from __future__ import annotations

import csv
import json
import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

Array = NDArray[Any]

# Positions in the files are rounded to 1 micrometre and angles to a nanoradian; parts may lie flush against each
# other. What overlaps by less than this touches nothing.
SLACK_M = 2e-5
TURN_RAD = math.radians(0.5)
TRAVEL_M = 0.005
ROUNDING_S = 2e-6
AT_DOCK = ("dock", "wait", "charge")


@dataclass(frozen=True)
class Touch:
    """Something that must not be: ``kind`` is domino, floor, robot, order, place or time."""

    kind: str
    t_s: float
    trip: int
    robot: str
    words: str


@dataclass(frozen=True)
class Part:
    """A convex piece of a robot's part: (p, 2) corners in the robot frame, lowest points driving and lowered."""

    name: str
    corners_m: Array
    bottom_m: float
    lowered_bottom_m: float


@dataclass(frozen=True)
class Mover:
    """A robot or a person: where it may be, and its parts."""

    name: str
    person: bool
    parts: tuple[Part, ...]


@dataclass(frozen=True)
class Way:
    """One trip: waypoints, and the rows of ``steps`` it does with the times from which they stand."""

    number: int
    mover: Mover
    phase: list[str]
    tile: Array
    t_s: Array
    pose: Array  # (w, 3): x_m, y_m, yaw_rad
    steps: Array
    stands_s: Array


class Build:
    """What the exported files say."""

    def __init__(self, folder: Path) -> None:
        about = json.loads((folder / "robots.json").read_text(encoding="utf-8"))
        self.touches_below_m = float(about["touches_below_m"])
        self.lowered = set(about["lowered_phases"])
        self.movers = {entry["name"]: _mover(entry) for entry in about["robots"]}
        steps = _table(folder / "steps.csv")
        self.step = _ints(steps["step"])
        self.order = _ints(steps["order"])
        self.kind = np.array(steps["kind"], dtype=object)
        self.step_tile = _ints(steps["tile"])
        self.stands_s = _floats(steps["end_s"])
        self.by = np.array(steps["robot"], dtype=object)
        self._read_dominoes(folder, about["domino"])
        tiles = _table(folder / "tiles.csv")
        self.tile_order = dict(
            zip(_ints(tiles["tile"]).tolist(), _ints(tiles["order"]).tolist(), strict=True)
        )
        self.tile_m = np.stack([_floats(tiles["x_m"]), _floats(tiles["y_m"])], axis=-1)
        self.paths = list(self._paths(_table(folder / "waypoints.csv")))

    def _read_dominoes(self, folder: Path, piece: dict[str, float]) -> None:
        table = _table(folder / "dominoes.csv")
        x_m, y_m, yaw = (_floats(table[name]) for name in ("x_m", "y_m", "yaw_rad"))
        self.z_m = _floats(table["z_m"])
        self.footprint = _rectangles(x_m, y_m, yaw, piece["thickness_m"], piece["width_m"])
        tile, layer = _ints(table["tile"]), _ints(table["layer"])
        row_of_tile = {int(self.step_tile[k]): k for k in np.flatnonzero(self.kind == "tile")}
        self.row_of = np.array(
            [
                row_of_tile.get(int(number), -1) if height == 0 else -1
                for number, height in zip(tile, layer, strict=True)
            ],
            dtype=np.int64,
        )
        by_hand = _table(folder / "step_dominoes.csv")
        row_of_step = {int(number): k for k, number in enumerate(self.step)}
        self.row_of[_ints(by_hand["domino"])] = [row_of_step[int(number)] for number in by_hand["step"]]
        # The outline of what a step puts down, and its dominoes one behind the other.
        self.members = np.argsort(self.row_of, kind="stable")
        self.first = np.searchsorted(self.row_of[self.members], np.arange(len(self.step) + 1))
        corners = shapely.get_coordinates(self.footprint).reshape(-1, 5, 2)
        self.outline = np.array(
            [
                shapely.convex_hull(shapely.multipoints(corners[self.members[a:b]].reshape(-1, 2)))
                for a, b in zip(self.first[:-1], self.first[1:], strict=True)
            ],
            dtype=object,
        )

    def _paths(self, table: dict[str, list[str]]) -> Iterator[Way]:
        trip, tile = _ints(table["trip"]), _ints(table["tile"])
        t_s = _floats(table["t_s"])
        pose = np.stack([_floats(table[name]) for name in ("x_m", "y_m", "yaw_rad")], axis=-1)
        bounds = np.append(np.flatnonzero(np.diff(trip, prepend=trip[:1] - 1)), len(trip))
        for a, b in pairwise(bounds):
            name = table["robot"][a]
            during = (self.stands_s >= t_s[a] - ROUNDING_S) & (self.stands_s <= t_s[b - 1] + ROUNDING_S)
            mine = np.flatnonzero((self.by == name) & during)
            mine = mine[np.argsort(self.order[mine])]
            yield Way(
                number=int(trip[a]),
                mover=self.movers[name],
                phase=table["phase"][a:b],
                tile=tile[a:b],
                t_s=t_s[a:b],
                pose=pose[a:b],
                steps=mine,
                stands_s=self.stands_s[mine],
            )


def replay(folder: Path, robot_floor: Any, people_floor: Any) -> list[Touch]:
    """Replay an exported build and return everything that touches; empty when all is well.

    Args:
        folder: with the exported files.
        robot_floor: Shapely geometry that robots must stay in, all of their parts.
        people_floor: likewise for people.
    """
    build = Build(Path(folder))
    touches = _bookkeeping(build)
    for person, floor in ((False, robot_floor), (True, people_floor)):
        paths = [path for path in build.paths if path.mover.person == person]
        touches += _floor_touches(paths, floor)
    touches += _domino_touches(build)
    touches += _robot_touches(build)
    return sorted(touches, key=lambda touch: (touch.t_s, touch.trip))


def _bookkeeping(build: Build) -> list[Touch]:
    """Check the order, the clock, and that each tile is let go where it lies."""
    touches = []
    if (build.row_of < 0).any():
        touches.append(
            Touch("order", 0.0, -1, "", f"domino {int(np.argmin(build.row_of))} belongs to no step")
        )
    laid = np.flatnonzero(build.order > 0)
    laid = laid[np.argsort(build.order[laid])]
    for before, after in pairwise(laid):
        if not build.stands_s[before] <= build.stands_s[after] + ROUNDING_S:
            words = f"order {build.order[after]} stands before order {build.order[before]}"
            touches.append(Touch("order", float(build.stands_s[after]), -1, build.by[after], words))
    touches += [
        Touch("order", 0.0, -1, "", f"tile {build.step_tile[k]} has two places in the order")
        for k in np.flatnonzero(build.kind == "tile")
        if build.tile_order[int(build.step_tile[k])] != build.order[k]
    ]
    done = np.concatenate([path.steps for path in build.paths] or [np.empty(0, np.int64)])
    touches += [
        Touch("order", 0.0, -1, build.by[k], f"step {build.step[k]} is laid on no trip")
        for k in laid[~np.isin(laid, done)]
    ]
    last: dict[str, Way] = {}
    for path in sorted(build.paths, key=lambda path: float(path.t_s[0])):
        begin, before = float(path.t_s[0]), last.get(path.mover.name, path)
        if before is not path and begin < before.t_s[-1] - ROUNDING_S:
            touches.append(Touch("time", begin, path.number, path.mover.name, "on two trips at once"))
        elsewhere = np.abs(path.pose[0, :2] - before.pose[-1, :2]).max() > 2e-6
        if before is not path and elsewhere and not path.mover.person:
            touches.append(Touch("time", begin, path.number, path.mover.name, "begins where it is not"))
        last[path.mover.name] = path
        steady = np.diff(path.t_s)
        # A person is round and may turn in no time.
        moved = np.abs(np.diff(path.pose[:, : 2 if path.mover.person else 3], axis=0)).max(axis=1)
        jump = (steady <= 0) & (moved > 2e-6)
        if (steady < 0).any() or jump.any():
            touches.append(
                Touch("time", begin, path.number, path.mover.name, "time stands still or runs back")
            )
        touches += _let_go(build, path)
    return touches


def _let_go(build: Build, path: Way) -> Iterator[Touch]:
    if path.mover.person:
        return
    for k, stands_s in zip(path.steps, path.stands_s, strict=True):
        tile = int(build.step_tile[k])
        at = np.flatnonzero((path.tile == tile) & (np.abs(path.t_s - stands_s) <= ROUNDING_S))
        if not len(at):
            yield Touch("place", float(stands_s), path.number, path.mover.name, f"tile {tile} is not let go")
        elif np.abs(path.pose[at[0], :2] - build.tile_m[tile - 1]).max() > 1e-5:
            yield Touch(
                "place", float(stands_s), path.number, path.mover.name, f"tile {tile} is let go elsewhere"
            )


def _floor_touches(paths: list[Way], floor: Any) -> list[Touch]:
    if not paths:
        return []
    roomy = shapely.buffer(floor, SLACK_M)
    shapely.prepare(roomy)
    touches = []
    for path in paths:
        inside = shapely.covers(roomy, _coarse(path, path.mover.parts))
        for w in np.flatnonzero(~inside):
            touches += [
                _touch("floor", path, w, f"{part.name} leaves the floor")
                for part in path.mover.parts
                if not shapely.covers(roomy, _swept(path, w, part)).all()
            ]
    return touches


def _domino_touches(build: Build) -> list[Touch]:
    tree = shapely.STRtree(build.outline)
    height_m = build.touches_below_m + float(build.z_m.max(initial=0.0))
    touches = []
    for path in build.paths:
        low = [part for part in path.mover.parts if min(part.bottom_m, part.lowered_bottom_m) < height_m]
        if not low or len(path.t_s) < 2:
            continue
        at, row = tree.query(_coarse(path, low), predicate="intersects")
        stands = _stands(build, path, at, row)
        for w in np.unique(at[stands]):
            rows = row[stands & (at == w)]
            touches += _touched(build, path, int(w), rows, low)
    return touches


def _stands(build: Build, path: Way, at: Array, row: Array) -> Array:
    """Tell for pairs of a motion and a step whether its dominoes stand during the motion.

    Stands: what is before the trip's present step in the laying order, what was put down before the motion
    ended, whoever did it; and of the trip itself what it has put down when the motion begins.
    """
    begin, end = path.t_s[:-1], path.t_s[1:]
    if len(path.steps):
        present = np.minimum(np.searchsorted(path.stands_s, begin + ROUNDING_S), len(path.steps) - 1)
        limit = build.order[path.steps[present]]
    else:
        limit = np.zeros(len(begin), np.int64)
    laid = build.order[row] > 0
    by_order = build.order[row] < limit[at]
    by_time = build.stands_s[row] < end[at] - ROUNDING_S
    own = np.isin(row, path.steps)
    return laid & np.where(own, build.stands_s[row] <= begin[at] + ROUNDING_S, by_order | by_time)


def _touched(build: Build, path: Way, w: int, rows: Array, parts: list[Part]) -> Iterator[Touch]:
    ids = np.concatenate([build.members[build.first[k] : build.first[k + 1]] for k in rows])
    lowered = path.phase[w] in build.lowered
    for part in parts:
        bottom_m = part.lowered_bottom_m if lowered else part.bottom_m
        in_reach = ids[bottom_m < build.touches_below_m + build.z_m[ids]]
        if not len(in_reach):
            continue
        swept = _swept(path, w, part)
        _, hit = shapely.STRtree(build.footprint[in_reach]).query(swept, predicate="intersects")
        if len(hit):
            words = f"{part.name} touches {len(np.unique(hit))} dominoes, one of them {in_reach[hit[0]]}"
            yield _touch("domino", path, w, words)


def _touch(kind: str, path: Way, w: int, words: str) -> Touch:
    return Touch(kind, float(path.t_s[w]), path.number, path.mover.name, f"{path.phase[w]}: {words}")


def _coarse(path: Way, parts: Any) -> Array:
    """Return for each motion of a trip one shape that holds all that the parts sweep."""
    if len(path.pose) < 2:
        return np.empty(0, dtype=object)
    around = shapely.convex_hull(shapely.multipoints(np.concatenate([part.corners_m for part in parts])))
    corners = shapely.get_coordinates(around)[:-1]
    placed = _placed(corners, path.pose)
    both = np.concatenate([placed[:-1], placed[1:]], axis=1)
    shapes = shapely.convex_hull(shapely.multipoints(both))
    turning = np.flatnonzero(np.abs(np.diff(path.pose[:, 2])) > 0)
    if len(turning):
        ends = np.stack([path.pose[turning, :2], path.pose[turning + 1, :2]], axis=1)
        reach_m = float(np.hypot(*corners.T).max())
        # A buffer's sides run inside its circle by a share of 1 - cos(pi / 32) at 8 pieces a quarter.
        shapes[turning] = shapely.buffer(shapely.linestrings(ends), 1.01 * reach_m, quad_segs=8)
    return np.asarray(shapes)


def _swept(path: Way, w: int, part: Part) -> Array:
    """Return the pieces of what a part sweeps between waypoints w and w + 1."""
    turn = path.pose[w + 1, 2] - path.pose[w, 2]
    pieces = max(1, math.ceil(abs(turn) / TURN_RAD))
    share = np.linspace(0.0, 1.0, pieces + 1)[:, None]
    poses = path.pose[w] + share * (path.pose[w + 1] - path.pose[w])
    placed = _placed(part.corners_m, poses)
    return np.asarray(
        shapely.convex_hull(shapely.multipoints(np.concatenate([placed[:-1], placed[1:]], axis=1)))
    )


def _placed(corners_m: Array, pose: Array) -> Array:
    """Return (m, p, 2) corners in the hall at m poses."""
    cosine, sine = np.cos(pose[:, 2])[:, None], np.sin(pose[:, 2])[:, None]
    x, y = corners_m.T
    return np.stack([pose[:, :1] + cosine * x - sine * y, pose[:, 1:2] + sine * x + cosine * y], axis=-1)


def _robot_touches(build: Build) -> list[Touch]:
    """Hold every two movers against each other at the same time.

    A robot stands where its first trip begins, where its last one ends, and there in between. A person is off the
    floor between trips and while at a dock. People mind each other.
    """
    names = sorted({path.mover.name for path in build.paths})
    if len(names) < 2:
        return []
    span_s = (min(path.t_s[0] for path in build.paths), max(path.t_s[-1] for path in build.paths))
    stories = {
        name: _story([path for path in build.paths if path.mover.name == name], span_s) for name in names
    }
    coarse = {name: _coarse(story, story.mover.parts) for name, story in stories.items()}
    touches = []
    for number, one in enumerate(names):
        for other in names[number + 1 :]:
            if stories[one].mover.person and stories[other].mover.person:
                continue
            touches += _pair(stories[one], stories[other], coarse[one], coarse[other])
    return touches


def _story(paths: list[Way], span_s: tuple[float, float]) -> Way:
    """Put the trips of one mover one behind the other."""
    paths = sorted(paths, key=lambda path: float(path.t_s[0]))
    idle = "away" if paths[0].mover.person else "parked"
    t_s, pose, phase = [np.array(span_s[:1])], [paths[0].pose[:1]], [idle]
    for path in paths:
        t_s.append(path.t_s)
        pose.append(path.pose)
        phase += [idle if word in AT_DOCK else word for word in path.phase[:-1]] + [idle]
    t_s.append(np.array(span_s[1:]))
    pose.append(paths[-1].pose[-1:])
    phase.append(idle)
    first = paths[0]
    return Way(
        number=first.number,
        mover=first.mover,
        phase=phase,
        tile=np.empty(0),
        t_s=np.concatenate(t_s),
        pose=np.concatenate(pose),
        steps=first.steps,
        stands_s=first.stands_s,
    )


def _pair(one: Way, other: Way, coarse_one: Array, coarse_other: Array) -> Iterator[Touch]:
    moments = np.unique(np.concatenate([one.t_s, other.t_s]))
    begin = moments[:-1]
    i = np.searchsorted(one.t_s, begin, side="right") - 1
    j = np.searchsorted(other.t_s, begin, side="right") - 1
    known = (i >= 0) & (j >= 0) & (i < len(one.t_s) - 1) & (j < len(other.t_s) - 1)
    away = np.array([one.phase[a] == "away" or other.phase[b] == "away" for a, b in zip(i, j, strict=True)])
    k = np.flatnonzero(known & ~away)
    k = k[shapely.intersects(coarse_one[i[k]], coarse_other[j[k]])]
    for a in k:
        if _touch_between(one, other, moments[a], moments[a + 1]):
            yield Touch("robot", float(moments[a]), one.number, one.mover.name, f"touches {other.mover.name}")


def _touch_between(one: Way, other: Way, begin_s: float, end_s: float) -> bool:
    poses = [
        np.stack([_pose(story, begin_s, end_s, 0.0), _pose(story, begin_s, end_s, 1.0)])
        for story in (one, other)
    ]
    far = max(float(np.hypot(*np.diff(pose[:, :2], axis=0)[0])) / TRAVEL_M for pose in poses)
    turn = max(abs(float(pose[1, 2] - pose[0, 2])) / TURN_RAD for pose in poses)
    share = np.linspace(0.0, 1.0, max(2, math.ceil(max(far, turn)) + 1))[:, None]
    shapes = []
    for story, pose in zip((one, other), poses, strict=True):
        at = pose[0] + share * (pose[1] - pose[0])
        shapes.append([shapely.polygons(_placed(part.corners_m, at)) for part in story.mover.parts])
    return any(bool(shapely.intersects(left, right).any()) for left in shapes[0] for right in shapes[1])


def _pose(story: Way, begin_s: float, end_s: float, share: float) -> Array:
    """Return the pose at one end of a time in which a mover goes straight, free of waypoints at the same time."""
    middle = 0.5 * (begin_s + end_s)
    w = int(np.searchsorted(story.t_s, middle, side="right")) - 1
    t_s = begin_s + share * (end_s - begin_s)
    span_s = story.t_s[w + 1] - story.t_s[w]
    done = (t_s - story.t_s[w]) / span_s if span_s > 0 else 0.0
    return np.asarray(story.pose[w] + done * (story.pose[w + 1] - story.pose[w]))


def _mover(entry: dict[str, Any]) -> Mover:
    parts: list[Part] = []
    for part in entry["parts"]:
        bottom_m, lowered_m = float(part["bottom_m"]), float(part["lowered_bottom_m"])
        pieces = _convex_pieces(np.array(part["outline_m"], dtype=float))
        parts += [Part(part["name"], corners, bottom_m, lowered_m) for corners in pieces]
    return Mover(entry["name"], entry["drive"] == "on_foot", tuple(parts))


def _convex_pieces(outline_m: Array) -> list[Array]:
    polygon = shapely.Polygon(outline_m)
    if polygon.convex_hull.area <= polygon.area * (1 + 1e-12):
        return [outline_m]
    pieces = shapely.get_parts(shapely.constrained_delaunay_triangles(polygon))
    return [shapely.get_coordinates(piece)[:-1] for piece in pieces]


def _rectangles(x_m: Array, y_m: Array, yaw_rad: Array, along_m: float, across_m: float) -> Array:
    """Return the footprints, smaller by the slack all round: ``along_m`` along the yaw, ``across_m`` across."""
    half = np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]]) * (np.array([along_m, across_m]) / 2 - SLACK_M)
    return np.asarray(shapely.polygons(_placed(half, np.stack([x_m, y_m, yaw_rad], axis=-1))))


def _table(path: Path) -> dict[str, list[str]]:
    with path.open(encoding="utf-8", newline="") as file:
        headings, *rows = csv.reader(file, strict=True)
    columns = list(map(list, zip(*rows, strict=True))) or [[] for _ in headings]
    return dict(zip(headings, columns, strict=True))


def _ints(values: list[str]) -> Array:
    return np.array([int(value) for value in values], dtype=np.int64)


def _floats(values: list[str]) -> Array:
    return np.array([float(value) if value else math.nan for value in values], dtype=float)
