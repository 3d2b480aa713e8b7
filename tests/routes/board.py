"""Small boards of a few tiles, and every laying order of them tried out with shapely alone.

``Referee`` is a second, slow reading of what docs/routes.md calls the motion class. It shares no code with the
package but the brief's own dataclasses: configuration space by hulls of sums of corners, growth by shapely's round
buffers, free parts by difference, joined by intersection.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from functools import cache

import numpy as np
import shapely
from shapely import affinity

from standfall.brief import (
    Area,
    Brief,
    Colour,
    Dock,
    Domino,
    Field,
    Hall,
    Job,
    Laying,
    Robot,
    RobotPart,
    Tray,
)
from standfall.geometry.convex import Convex
from standfall.routes.step import Steps
from standfall.tiles import Tiling

TILE_M = (0.5, 0.3)
INSET_M = 0.01
LOW_M, HIGH_M = 0.005, 0.07
MORE_M = (0.0, 0.25, 0.5, 1.0, 2.0)


@dataclass(frozen=True)
class Board:
    """A brief, and its tiles: place and yaw of the tile frame."""

    brief: Brief
    tiles: tuple[tuple[float, float, float], ...]

    def steps(self) -> Steps:
        n = len(self.tiles)
        x, y = (np.array([tile[k] for tile in self.tiles]) for k in range(2))
        boxes = [tile_box(tile) for tile in self.tiles]
        return Steps(
            kind=np.zeros(n, np.int8),
            tile=np.arange(1, n + 1, dtype=np.int32),
            x_m=x,
            y_m=y,
            dominoes=np.full(n, 50, np.int32),
            after=np.full(n, -1, np.int32),
            member_first=np.arange(n + 1, dtype=np.int64),
            member=np.arange(n, dtype=np.int64),
            shapes=Convex.from_list(boxes),
            shape_of=np.arange(n, dtype=np.int32),
        )

    def tiling(self) -> Tiling:
        n = len(self.tiles)
        x, y, yaw = (np.array([tile[k] for tile in self.tiles]) for k in range(3))
        turn = int(self.brief.tray.orientations_deg[0])
        return Tiling(
            field=np.zeros(n, np.int16),
            first_row=np.zeros(n, np.int32),
            first_col=np.zeros(n, np.int32),
            x_m=x,
            y_m=y,
            yaw_rad=yaw + math.radians(turn),
            turn_deg=np.full(n, turn, np.int16),
            dominoes=np.full(n, 50, np.int32),
            kind=np.zeros(n, np.int8),
            cut_rows=(0,),
            cut_cols=(0,),
        )


def tile_box(tile):
    """Corners of the dominoes of a tile, counter-clockwise."""
    x, y, yaw = tile
    half = np.array([TILE_M[0] / 2 - INSET_M, TILE_M[1] / 2 - INSET_M])
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half
    turn = np.array([[math.cos(yaw), math.sin(yaw)], [-math.sin(yaw), math.cos(yaw)]])
    return corners @ turn + (x, y)


def box(x0, y0, x1, y1):
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def make_brief(hall, areas, docks, robots, crew=None, orientations=(0, 180), laying=None):
    """Return a brief whose tray is half a metre across and 0.3 m along."""
    return Brief(
        job=Job(name="board"),
        hall=Hall(outline_m=hall),
        domino=Domino(height_m=0.048, width_m=0.04, thickness_m=0.01, mass_kg=0.01),
        colours=(Colour(name="ivory", stock=1000),),
        tray=Tray(columns=10, rows=5, col_pitch_m=0.05, row_pitch_m=0.06, orientations_deg=orientations),
        fields=(
            Field(
                name="patch",
                picture="patch.png",
                columns=10,
                rows=5,
                col_pitch_m=0.05,
                row_pitch_m=0.06,
                corner_m=(0.0, 0.0),
            ),
        ),
        areas=areas,
        docks=docks,
        robots=robots,
        crew=crew,
        laying=laying or Laying(clearance_m=0.02, set_down_clearance_m=0.004, corner_m=0.01),
    )


def make_robot(
    parts,
    drive="omnidirectional",
    turn_centre=(0.0, 0.0),
    leave=(math.pi,),
    tray_turns=(0.0,),
    name="carrier",
):
    return Robot(
        name=name,
        drive=drive,
        turn_centre_m=turn_centre,
        speed_m_s=1.0,
        acceleration_m_s2=1.0,
        turn_rad_s=1.0,
        turn_acceleration_rad_s2=1.0,
        slow_m_s=0.1,
        lower_s=1.0,
        release_s=1.0,
        raise_s=1.0,
        leave_rad=leave,
        tray_turns_rad=tray_turns,
        parts=parts,
    )


def part(name, outline, low=True, lowered=None):
    return RobotPart(
        name=name,
        outline_m=outline,
        bottom_m=LOW_M if low else HIGH_M,
        lowered_bottom_m=None if lowered is None else (LOW_M if lowered else HIGH_M),
    )


def random_robot(rng, name="carrier"):
    """A tray in front, an arm at one side, skirts at both, or a ring that comes down round the tile."""
    kind = rng.choice(["front", "corner", "skirts", "frame", "slim"])
    ahead, side = TILE_M[1] / 2, TILE_M[0] / 2
    depth, half = rng.uniform(0.2, 0.5), rng.uniform(0.1, 0.32)
    gap = rng.uniform(0.0, 0.03)
    parts = [part("body", box(-ahead - gap - depth, -half, -ahead - gap, half))]
    if kind == "corner":
        parts.append(
            part(
                "arm",
                box(-ahead - gap - depth, side + gap, ahead * rng.uniform(-0.5, 1.2), side + gap + 0.08),
            )
        )
    if kind == "skirts":
        for sign in (-1, 1):
            low, high = sorted((sign * (side + 0.001), sign * (side + rng.uniform(0.02, 0.08))))
            parts.append(part("skirt", box(-ahead - gap - 0.1, low, ahead, high)))
    if kind == "frame":
        parts.append(part("frame", box(-ahead, -side - 0.002, ahead, -side + 0.006), low=False, lowered=True))
        parts.append(part("frame 2", box(-ahead, side - 0.006, ahead, side + 0.002), low=False, lowered=True))
    if kind != "slim":
        parts.append(part("plate", box(-ahead - 0.05, -side, ahead, side), low=False))
    leave = [(math.pi,), (math.pi, math.pi / 2), (-math.pi / 2,), (math.pi, 0.0), (math.radians(150.0),)]
    turns = [(0.0,), (0.0, math.pi), (math.pi / 2,), (0.0, math.pi / 2, math.pi, 3 * math.pi / 2)]
    drive = "omnidirectional" if rng.random() < 0.65 else "differential"
    centre = (0.0, 0.0) if rng.random() < 0.4 else (-ahead - gap - depth / 2, 0.0)
    return make_robot(
        tuple(parts),
        drive,
        centre,
        leave[0] if drive == "differential" else leave[rng.choice(5, p=(0.5, 0.2, 0.1, 0.1, 0.1))],
        turns[rng.choice(4, p=(0.6, 0.2, 0.1, 0.1))],
        name,
    )


def random_board(seed):
    """A hall of a few metres with a patch of two to seven tiles, some against the walls or behind pillars."""
    rng = np.random.default_rng(seed)
    wide, deep = rng.uniform(2.6, 4.2), rng.uniform(2.6, 4.2)
    yaw = math.radians(rng.choice([0.0, 90.0, 30.0, -20.0]))
    count = int(rng.choice([2, 3, 4, 5, 6, 7], p=(0.15, 0.25, 0.3, 0.15, 0.1, 0.05)))
    columns = int(rng.integers(1, 4))
    rows = math.ceil(count / columns) + int(rng.integers(0, 2))
    places = [(i, j) for i in range(columns) for j in range(rows)]
    chosen = sorted(rng.permutation(len(places))[:count])
    apart = rng.choice([1.0, 1.0, 1.15])
    corner_x, corner_y = rng.uniform(0.4, wide - 1.0), rng.uniform(0.4, deep - 1.0)
    tiles = []
    for number in chosen:
        i, j = places[number]
        across, along = (i + 0.5) * TILE_M[0] * apart, (j + 0.5) * TILE_M[1] * apart
        x = corner_x + across * math.cos(yaw) - along * math.sin(yaw)
        y = corner_y + across * math.sin(yaw) + along * math.cos(yaw)
        tiles.append((x, y, yaw))
    hall = shapely.box(0.02, 0.02, wide - 0.02, deep - 0.02)
    tiles = [tile for tile in tiles if hall.covers(shapely.Polygon(tile_box(tile)))]
    ground = shapely.union_all([shapely.Polygon(tile_box(tile)) for tile in tiles])
    areas = []
    for number in range(int(rng.integers(0, 3))):
        x, y, w, d = rng.uniform(0, wide), rng.uniform(0, deep), rng.uniform(0.1, 0.8), rng.uniform(0.1, 0.8)
        if shapely.box(x, y, x + w, y + d).distance(ground) > 0.02:
            kind = str(rng.choice(["pillar", "no_go", "walkway"]))
            areas.append(Area(name=f"area {number}", kind=kind, outline_m=box(x, y, x + w, y + d)))
    docks = tuple(
        Dock(
            name=f"dock {number}",
            place_m=(rng.uniform(0.5, wide - 0.5), rng.uniform(0.5, deep - 0.5)),
            heading_rad=yaw + math.pi / 2 if rng.random() < 0.6 else rng.uniform(-3.0, 3.0),
        )
        for number in range(int(rng.integers(1, 3)))
    )
    robots = tuple(random_robot(rng, f"carrier {k}") for k in range(1 if rng.random() < 0.8 else 2))
    orientations = [(0, 180), (0,), (180,)][rng.choice(3, p=(0.6, 0.2, 0.2))]
    return Board(
        make_brief(box(0, 0, wide, deep), tuple(areas), docks, robots, None, orientations), tuple(tiles)
    )


def place(points, yaw, x=0.0, y=0.0):
    return affinity.translate(affinity.rotate(shapely.Polygon(points), yaw, (0, 0), use_radians=True), x, y)


def corner_sum(fixed, moving):
    """Minkowski sum of a convex polygon and another one turned by half a turn, by the hull of all differences."""
    a, b = shapely.get_coordinates(fixed), shapely.get_coordinates(moving)
    return shapely.MultiPoint((a[:, None, :] - b[None, :, :]).reshape(-1, 2)).convex_hull


def corridor(shape, dx, dy):
    return shapely.union(shape, affinity.translate(shape, dx, dy)).convex_hull


class Referee:
    """Tells which tile can be laid last on a set of others, by shapely alone."""

    def __init__(self, board, more_m=0.0):
        """``more_m`` is added to every clearance; with more the turning circle is drawn 0.6 % larger too."""
        self.board, brief = board, board.brief
        self.room = brief.laying.clearance_m + brief.laying.corner_m + more_m
        self.near = brief.laying.set_down_clearance_m + more_m
        self.circle = 1.006 if more_m > 0 else 1.0
        self.tiles = [shapely.Polygon(tile_box(tile)) for tile in board.tiles]
        floor = shapely.Polygon(brief.hall.outline_m)
        self.for_robots = floor.difference(
            shapely.union_all([shapely.Polygon(a.outline_m) for a in brief.areas])
        )
        self.frame = floor.buffer(0.2, join_style="mitre")
        outside = floor.buffer(1.5, join_style="mitre").difference(self.for_robots)
        self.outside = list(shapely.constrained_delaunay_triangles(outside).geoms)
        touching = brief.domino.height_m + brief.laying.over_m
        self.robots = [
            (
                robot,
                [p.outline_m for p in robot.parts if p.bottom_m < touching],
                [p.outline_m for p in robot.parts if min(p.bottom_m, p.lowest_m) < touching],
                [p.outline_m for p in robot.parts],
            )
            for robot in brief.robots
        ]
        self.walls = cache(self._walls)
        self.stances = [self._stances(tile) for tile in range(len(self.tiles))]
        self.reached = cache(self._reached)

    def yaws(self, robot):
        """All yaws of set-down, one tile like the other, and of the docks."""
        if robot.drive != "omnidirectional":
            return []
        found = [yaw for _, yaw in self._turns(robot)]
        found += [dock.heading_rad for dock in self.board.brief.docks]
        kept = []
        for yaw in found:
            if all(abs(math.remainder(yaw - other, 2 * math.pi)) > 1e-6 for other in kept):
                kept.append(yaw)
        return kept

    def _turns(self, robot):
        tile_yaw = self.board.tiles[0][2]
        for turn, tray_turn in itertools.product(
            self.board.brief.tray.orientations_deg, robot.tray_turns_rad
        ):
            yield turn, tile_yaw + math.radians(turn) + math.pi / 2 - tray_turn

    def blocked(self, number, yaw, shapes, parts):
        """Where a robot's origin (its turn centre with no yaw) may not be because of some shapes."""
        robot = self.robots[number][0]
        found = []
        if yaw is None:
            corners = np.concatenate([np.array(p) for p in parts]) if parts else np.zeros((0, 2))
            if len(corners):
                radius = self.circle * np.hypot(*(corners - robot.turn_centre_m).T).max()
                found = [shape.buffer(radius + self.room, quad_segs=64) for shape in shapes]
        else:
            found = [corner_sum(s, place(p, yaw)).buffer(self.room) for s in shapes for p in parts]
        return shapely.union_all(found)

    def _walls(self, number, yaw):
        return self.blocked(number, yaw, self.outside, self.robots[number][3])

    def _reached(self, standing):
        """Return for each (robot, yaw) the free parts that hold or are joined to a dock."""
        shapes = [self.tiles[tile] for tile in standing]
        result = {}
        for number, (robot, travel, _, _) in enumerate(self.robots):
            layers = [None, *self.yaws(robot)]
            parts = []
            for yaw in layers:
                taken = shapely.union(self.walls(number, yaw), self.blocked(number, yaw, shapes, travel))
                free = self.frame.difference(taken)
                parts += [(yaw, one) for one in shapely.get_parts(free) if one.area > 0]
            good = [self._holds_dock(robot, yaw, one) for yaw, one in parts]
            turn_x, turn_y = robot.turn_centre_m
            changed = True
            while changed:
                changed = False
                for (a, (yaw_a, part_a)), (b, (yaw_b, part_b)) in itertools.permutations(enumerate(parts), 2):
                    if yaw_a is None and yaw_b is not None and good[a] != good[b]:
                        x = turn_x * math.cos(yaw_b) - turn_y * math.sin(yaw_b)
                        y = turn_x * math.sin(yaw_b) + turn_y * math.cos(yaw_b)
                        if affinity.translate(part_a, -x, -y).intersects(part_b):
                            good[a] = good[b] = changed = True
            for (yaw, one), fine in zip(parts, good, strict=True):
                if fine:
                    result.setdefault((number, yaw), []).append(one)
        return result

    def _holds_dock(self, robot, yaw, one):
        for dock in self.board.brief.docks:
            x, y = dock.place_m
            if yaw is None:
                turn_x, turn_y = robot.turn_centre_m
                x += turn_x * math.cos(dock.heading_rad) - turn_y * math.sin(dock.heading_rad)
                y += turn_x * math.sin(dock.heading_rad) + turn_y * math.cos(dock.heading_rad)
            elif abs(math.remainder(yaw - dock.heading_rad, 2 * math.pi)) > 1e-6:
                continue
            if one.covers(shapely.Point(x, y)):
                return True
        return False

    def _stances(self, tile):
        """List (robot, layer yaw, point, shape to keep clear) of all ways to lay a tile in the empty hall."""
        x, y, _ = self.board.tiles[tile]
        own = self.tiles[tile]
        found = []
        for number, (robot, travel, lowered, body) in enumerate(self.robots):
            for _, yaw in self._turns(robot):
                for leave in robot.leave_rad:
                    way = (math.cos(yaw + leave), math.sin(yaw + leave))
                    for layer, point, length in self._outs(number, tile, yaw, way):
                        dx, dy = way[0] * length, way[1] * length
                        low = [place(p, yaw, x, y) for p in [*lowered, *travel]]
                        moved = [corridor(place(p, yaw, x, y), dx, dy) for p in travel]
                        high = [corridor(place(p, yaw, x, y), dx, dy) for p in body]
                        shape = shapely.union_all(low + moved)
                        floor = shapely.union_all(high).buffer(self.near)
                        if shape.intersection(own).area < 1e-9 and self.for_robots.covers(floor):
                            found.append((number, layer, point, shape))
        return found

    def _outs(self, number, tile, yaw, way):
        robot, travel, _, _ = self.robots[number]
        x, y, _ = self.board.tiles[tile]
        layer = self._same_yaw(robot, yaw)
        if robot.drive != "omnidirectional":
            turn_x, turn_y = robot.turn_centre_m
            x += turn_x * math.cos(yaw) - turn_y * math.sin(yaw)
            y += turn_x * math.sin(yaw) + turn_y * math.cos(yaw)
            layer = None
        taken = self.blocked(number, layer, [self.tiles[tile]], travel)
        ray = shapely.LineString([(x, y), (x + 5 * way[0], y + 5 * way[1])])
        outs = shapely.get_parts(ray.difference(taken))
        lengths = [shapely.Point(x, y).distance(piece) for piece in outs if not piece.is_empty]
        if robot.drive != "omnidirectional":
            lengths = [min(lengths) + more for more in MORE_M]
        for length in lengths:
            yield layer, shapely.Point(x + length * way[0], y + length * way[1]), length

    def _same_yaw(self, robot, yaw):
        return next(
            (one for one in self.yaws(robot) if abs(math.remainder(one - yaw, 2 * math.pi)) < 1e-6), None
        )

    def can_be_last(self, tile, others):
        """Tell whether a tile can be laid and left when others stand."""
        reached = None
        for number, layer, point, shape in self.stances[tile]:
            if all(shape.distance(self.tiles[other]) >= self.near for other in others):
                reached = reached or self.reached(frozenset([*others, tile]))
                if any(one.distance(point) < 1e-6 for one in reached.get((number, layer), ())):
                    return True
        return False

    def laid_most(self):
        """Return how many tiles the best of all orders lays: every set that any order can lay is visited."""
        everything = range(len(self.tiles))
        sets = {frozenset()}
        most = 0
        while sets:
            onward = set()
            for laid in sets:
                for tile in everything:
                    if tile not in laid and laid | {tile} not in onward and self.can_be_last(tile, laid):
                        onward.add(laid | {tile})
            most += bool(onward)
            sets = onward
        return most
