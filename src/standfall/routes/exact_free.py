"""Free floor as exact polygons: the last word before a step is called trapped.

Used only where the cells find no way. What it finds joined stays joined, as less and less stands, so its answers
are handed to the cells for good.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from standfall.routes._access_kernels import join, rescan
from standfall.routes._cell_kernels import TOUCH_M
from standfall.routes._reach_kernels import State, find, roots_of
from standfall.routes.free_cells import Ground
from standfall.routes.stance import turned

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# A place on the edge of a free part belongs to it; its distance is off by no more than rounding.
_EDGE_M = 1e-6
# When no more than so many obstacles of a layer have come or gone, its free floor is only mended round them.
_CHANGED_MOST = 64
_WINDOW_M = 0.1


@dataclass(frozen=True)
class _Parts:
    """Free parts of several layers: polygons, the layer of each, and the group of joined parts each is in."""

    polygon: list[shapely.Polygon]
    layer: list[int]
    group: list[int]


class ExactFree:
    """Exact free floor of a hall, layer by layer, for any set of steps that stand."""

    def __init__(self, ground: Ground) -> None:
        """Keep the ground; polygons are made when a layer is first asked for."""
        self._ground = ground
        self._obstacles: dict[int, tuple[NDArray[np.object_], Ints]] = {}
        # Of each layer what stood when its free floor was last worked out from nothing, and that floor.
        self._known: dict[int, tuple[Bools, BaseGeometry]] = {}

    def join_stances(self, state: State) -> bool:
        """Join all cells and ways out that are joined in truth; return whether any step became ready by it."""
        ground, ways = self._ground, self._ground.ways
        open_step = state.alive[:-1] & state.removable & ~state.ready & (state.dependents == 0)
        waiting = np.flatnonzero((state.blockers == 0) & open_step[ways.step]).astype(np.int64)
        if not len(waiting):
            return False
        models = {ground.layers[ways.layer[k]].model for k in waiting}
        parts = self._parts(state, [i for i, layer in enumerate(ground.layers) if layer.model in models])
        nodes = self._nodes(state, parts)
        self._link(state, parts, nodes, waiting)
        return self._join(state, nodes)

    def docks_of(self, state: State) -> tuple[list[frozenset[int]], list[frozenset[int]]]:
        """Return which docks (rows of ``ground.ways``) are joined to each stance's way out, and to each dock.

        Args:
            state: what stands; it is left as it is.
        """
        ground, ways = self._ground, self._ground.ways
        parts = self._parts(state, [i for i, layer in enumerate(ground.layers) if layer.model >= 0])
        docks: dict[int, list[int]] = {}
        stances: dict[int, list[int]] = {}
        for layer in sorted(set(parts.layer)):
            rows = np.flatnonzero(ways.dock_layer == layer)
            self._place(parts, layer, rows, ways.dock_x_m[rows], ways.dock_y_m[rows], docks)
            rows = np.flatnonzero(ways.layer == layer)
            self._place(parts, layer, rows, ways.x_m[rows], ways.y_m[rows], stances)
        of_stance: list[set[int]] = [set() for _ in range(len(ways.step))]
        of_dock: list[set[int]] = [set() for _ in range(len(ways.dock_layer))]
        for group, rows_in in docks.items():
            for row in stances.get(group, ()):
                of_stance[row].update(rows_in)
            for row in rows_in:
                of_dock[row].update(rows_in)
        return [frozenset(one) for one in of_stance], [frozenset(one) for one in of_dock]

    def hand_places(self, state: State, steps: Ints) -> list[tuple[int, float, float]]:
        """Return (step, x, y) for those of the steps that people can do, and where they kneel."""
        ground = self._ground
        if not len(steps):
            return []
        parts = self._parts(state, [ground.hand.layer])
        nodes = self._nodes(state, parts)
        doors = ground.doors
        reached = []
        for polygon, group in zip(parts.polygon, parts.group, strict=True):
            mine = nodes.get(group, [])
            at_door = not doors.is_empty and polygon.distance(doors) <= _EDGE_M
            if at_door or any(state.docked[find(state.parent, node)] for node in mine):
                reached.append(polygon)
            if at_door:
                for node in mine:
                    state.docked[find(state.parent, node)] = True
        self._join(state, nodes)
        found = []
        for step in steps:
            place = self._kneeling(int(step), reached)
            if place is not None:
                found.append((int(step), *place))
        return found

    def _kneeling(self, step: int, reached: list[shapely.Polygon]) -> tuple[float, float] | None:
        hand = self._ground.hand
        span = slice(hand.corner_first[step], hand.corner_first[step + 1])
        corners = shapely.points(hand.corner_x_m[span], hand.corner_y_m[span])
        if not len(corners) or not reached:
            return None
        # The discs have 128 sides within the circle: short of the reach by 0.03 % at most.
        region = shapely.intersection_all(shapely.buffer(corners, hand.reach_m, quad_segs=32))
        middle = shapely.Point(hand.middle_x_m[step], hand.middle_y_m[step])
        best: tuple[float, float, float] | None = None
        for polygon in reached:
            place = shapely.intersection(region, polygon)
            if not place.is_empty:
                nearest = shapely.get_coordinates(shapely.shortest_line(place, middle))[0]
                entry = (
                    float(np.hypot(*(nearest - (middle.x, middle.y)))),
                    float(nearest[0]),
                    float(nearest[1]),
                )
                best = entry if best is None else min(best, entry)
        return None if best is None else best[1:]

    def _parts(self, state: State, layers: list[int]) -> _Parts:
        polygons: list[shapely.Polygon] = []
        layer_of: list[int] = []
        for layer in layers:
            free = self._free(state, layer)
            polygons += free
            layer_of += [layer] * len(free)
        return _Parts(polygons, layer_of, self._groups(polygons, layer_of))

    def _free(self, state: State, layer: int) -> list[shapely.Polygon]:
        if layer not in self._obstacles:
            self._obstacles[layer] = self._outlines(layer)
        outlines, step = self._obstacles[layer]
        alive = np.asarray(state.alive[step], np.bool_)
        if layer in self._known:
            known, free = self._known[layer]
            gone, come = known & ~alive, alive & ~known
            if gone.sum() + come.sum() <= _CHANGED_MOST:
                if come.any():
                    free = shapely.difference(free, shapely.union_all(outlines[come]))
                return _pieces(self._opened(outlines, alive, gone, free) if gone.any() else free)
        box = shapely.box(*self._ground.site.outline.bounds)
        free = shapely.difference(box, shapely.union_all(outlines[alive]))
        self._known[layer] = (alive, free)
        return _pieces(free)

    def _opened(
        self, outlines: NDArray[np.object_], alive: Bools, gone: Bools, free: BaseGeometry
    ) -> BaseGeometry:
        """Return the free floor with some obstacles gone: it changes in windows round them only.

        The windows reach beyond them, so that what is found in them laps over what was free.
        """
        bounds = shapely.bounds(outlines[gone]) + np.array([-1.0, -1.0, 1.0, 1.0]) * _WINDOW_M
        box = shapely.box(*self._ground.site.outline.bounds)
        window = shapely.intersection(box, shapely.union_all(shapely.box(*bounds.T)))
        near = alive & shapely.intersects(outlines, window)
        return shapely.union(free, shapely.difference(window, shapely.union_all(outlines[near])))

    def _outlines(self, layer: int) -> tuple[NDArray[np.object_], Ints]:
        """Return a layer's obstacles as polygons a hair smaller, so that touching leaves a way between them."""
        obstacles = self._ground.obstacles
        mine = np.flatnonzero(obstacles.layer == layer)
        sizes = np.diff(obstacles.first)[mine]
        corner = np.repeat(obstacles.first[mine] - np.cumsum(sizes) + sizes, sizes) + np.arange(sizes.sum())
        points = np.stack([obstacles.x_m[corner], obstacles.y_m[corner]], axis=-1)
        rings = shapely.linearrings(points, indices=np.repeat(np.arange(len(mine)), sizes))
        polygons = shapely.polygons(rings) if len(mine) else np.empty(0, object)
        return shapely.buffer(polygons, -TOUCH_M, join_style="mitre"), obstacles.step[mine]

    def _groups(self, polygons: list[shapely.Polygon], layer_of: list[int]) -> list[int]:
        """Return the group of each part: the parts of a model's layers that turning on the spot joins."""
        ground = self._ground
        above = list(range(len(polygons)))

        def top(part: int) -> int:
            while above[part] != part:
                part = above[part]
            return part

        for a, b in zip(ground.ways.join_a, ground.ways.join_b, strict=True):
            yaw = ground.layers[b].yaw_rad
            model = ground.site.models[ground.layers[b].model]
            x, y = turned(model.robot.turn_centre_m, float(yaw) if yaw is not None else 0.0)
            mine = [p for p in range(len(polygons)) if layer_of[p] == b]
            for p in (p for p in range(len(polygons)) if layer_of[p] == a):
                moved = shapely.transform(polygons[p], lambda points, x=x, y=y: points - (x, y))
                for q in mine:
                    if moved.intersects(polygons[q]):
                        above[top(q)] = top(p)
        return [top(part) for part in range(len(polygons))]

    def _nodes(self, state: State, parts: _Parts) -> dict[int, list[int]]:
        """Return for each group the nodes that lie in it: one for each joined set of cells, and the docks."""
        ground = self._ground
        nodes: dict[int, list[int]] = {}
        size = ground.layer_cells
        for layer in sorted(set(parts.layer)):
            free = np.flatnonzero(state.covered[layer * size : (layer + 1) * size] == 0) + layer * size
            chosen = free[np.unique(roots_of(state.parent, free), return_index=True)[1]]
            here = chosen - layer * size
            x = ground.cells.x0_m + (here % ground.cells.nx + 0.5) * ground.cells.cell_m
            y = ground.cells.y0_m + (here // ground.cells.nx + 0.5) * ground.cells.cell_m
            self._place(parts, layer, chosen, x, y, nodes)
            docks = np.flatnonzero(ground.ways.dock_layer == layer)
            dock_nodes = len(state.covered) + docks
            self._place(
                parts, layer, dock_nodes, ground.ways.dock_x_m[docks], ground.ways.dock_y_m[docks], nodes
            )
        return nodes

    def _place(
        self,
        parts: _Parts,
        layer: int,
        node: Ints,
        x_m: NDArray[np.floating],
        y_m: NDArray[np.floating],
        nodes: dict[int, list[int]],
    ) -> None:
        mine = [p for p in range(len(parts.polygon)) if parts.layer[p] == layer]
        if not mine or not len(node):
            return
        tree = shapely.STRtree([parts.polygon[p] for p in mine])
        at, which = tree.query(shapely.points(x_m, y_m), predicate="dwithin", distance=_EDGE_M)
        for number, part in zip(at, which, strict=True):
            nodes.setdefault(parts.group[mine[part]], []).append(int(node[number]))

    def _link(self, state: State, parts: _Parts, nodes: dict[int, list[int]], waiting: Ints) -> None:
        """Give ways out that lie in a part with nodes a link to them; what they join is joined."""
        ways = self._ground.ways
        for k in waiting:
            point = shapely.Point(ways.x_m[k], ways.y_m[k])
            for polygon, layer, group in zip(parts.polygon, parts.layer, parts.group, strict=True):
                if layer == ways.layer[k] and group in nodes and polygon.distance(point) <= _EDGE_M:
                    if state.link[k] < 0:
                        state.link[k] = nodes[group][0]
                    else:
                        nodes[group].append(int(state.link[k]))

    def _join(self, state: State, nodes: dict[int, list[int]]) -> bool:
        ground = self._ground
        pairs = [(group[0], other) for group in nodes.values() for other in group[1:]]
        a, b = (np.array([pair[at] for pair in pairs], np.int64) for at in (0, 1))
        join(state, ground.ways, ground.hand, ground.obstacles, ground.cells, a, b)
        return bool(rescan(state, ground.ways, ground.hand, ground.obstacles, ground.cells) > 0)


def _pieces(free: BaseGeometry) -> list[shapely.Polygon]:
    return [part for part in shapely.get_parts(free) if part.geom_type == "Polygon" and part.area > 0]
