"""The floor as cells: for each layer how many standing obstacles cover each, and which parts are joined.

A cell counts as free only when it lies wholly outside every obstacle, so what the cells join is joined in truth;
what they miss (lanes narrower than a cell or two) is left to ``exact_free``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from standfall.brief import Crew, Dock
from standfall.geometry.convex import Convex
from standfall.hall.model import crew_model
from standfall.hall.site import Site
from standfall.routes._access_kernels import begin
from standfall.routes._cell_kernels import Cells, Obstacles, cover_all, fill_squares
from standfall.routes._reach_kernels import PARTS_MOST, Hand, State, Ways
from standfall.routes.layer import Layer, layer_obstacles, static_obstacles
from standfall.routes.stance import Stances, serves, stack_shapes, turned
from standfall.routes.step import KINDS, Steps

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Side of a cell, as long as the floor makes no more than ``CELLS_MOST`` of them in a layer.
CELL_M = 0.05
CELLS_MOST = 1_000_000
# Side of the squares in which obstacles are looked up.
_SQUARE_M = 0.5


@dataclass(frozen=True)
class Ground:
    """All of the search that does not change while steps are taken away.

    Attributes:
        site, steps, stances, layers: as given.
        cells, obstacles, ways, hand: for the kernels.
        walls: cells covered by walls, (layers * cells,) int16.
        doors: floor where people who come in may stand.
    """

    site: Site
    steps: Steps
    stances: Stances
    layers: tuple[Layer, ...]
    cells: Cells
    obstacles: Obstacles
    ways: Ways
    hand: Hand
    walls: NDArray[np.int16]
    doors: shapely.Geometry

    @property
    def layer_cells(self) -> int:
        """Return how many cells a layer has."""
        return self.cells.nx * self.cells.ny


def make_ground(
    site: Site, steps: Steps, stances: Stances, layers: Sequence[Layer], cell_m: float | None = None
) -> Ground:
    """Lay the grid over the hall and find what covers it.

    Args:
        site: floor, docks and models.
        steps: n steps.
        stances: k stances, by rising step.
        layers: the last is the worker's.
        cell_m: side of a cell; ``CELL_M``, or more in a very large hall, when left out.

    Raises:
        ValueError: the stances are not in order of step.
    """
    if np.any(np.diff(stances.step) < 0):
        raise ValueError("stances must be in order of step")
    cells = _grid(site, cell_m)
    obstacles = _obstacles(site, steps, layers, cells)
    ways = _ways(site, steps, stances, layers, cells)
    walls = np.zeros(len(layers) * cells.nx * cells.ny, np.int16)
    only_walls = np.zeros(len(steps) + 1, np.bool_)
    only_walls[-1] = True
    cover_all(obstacles, cells, only_walls, walls)
    doors = _doors(site, layers, cells)
    hand = _hand(site, steps, layers, cells, doors)
    return Ground(site, steps, stances, tuple(layers), cells, obstacles, ways, hand, walls, doors)


def _grid(site: Site, cell_m: float | None) -> Cells:
    low_x, low_y, high_x, high_y = site.outline.bounds
    cell = cell_m or max(CELL_M, math.sqrt((high_x - low_x) * (high_y - low_y) / CELLS_MOST))
    nx, ny = math.ceil((high_x - low_x) / cell) + 2, math.ceil((high_y - low_y) / cell) + 2
    return Cells(low_x - cell, low_y - cell, cell, nx, ny)


def _obstacles(site: Site, steps: Steps, layers: Sequence[Layer], cells: Cells) -> Obstacles:
    parts: list[Convex] = []
    layer_of: list[Ints] = []
    step_of: list[NDArray[np.integer]] = []
    stacked, stack_of = stack_shapes(steps)
    for number, layer in enumerate(layers):
        standing, owner = layer_obstacles(layer, steps.shapes)
        # Pieces two high are in the way of high parts too.
        higher, higher_owner = layer_obstacles(replace(layer, shape=layer.body), stacked)
        walls = static_obstacles(layer, site.for_people if layer.model < 0 else site.for_robots)
        parts += [standing, higher, walls]
        layer_of.append(np.full(sum(map(len, parts[-3:])), number, np.int64))
        step_of += [steps.shape_of[owner], stack_of[higher_owner], np.full(len(walls), len(steps))]
    everything = Convex.join(parts)
    step = np.concatenate(step_of).astype(np.int64)
    order = np.argsort(step, kind="stable")
    sizes = np.diff(everything.first)[order]
    first = np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)
    source = np.arange(first[-1]) + np.repeat(everything.first[:-1][order] - first[:-1], sizes)
    x_m, y_m = everything.x_m[source], everything.y_m[source]
    in_layer = np.concatenate(layer_of)[order]
    bx = math.ceil(cells.nx * cells.cell_m / _SQUARE_M)
    by = math.ceil(cells.ny * cells.cell_m / _SQUARE_M)
    square_first, square_item = fill_squares(
        first, x_m, y_m, in_layer, len(layers), cells.x0_m, cells.y0_m, _SQUARE_M, bx, by
    )
    of_step = np.searchsorted(step[order], np.arange(len(steps) + 2))
    return Obstacles(
        first, x_m, y_m, in_layer, step[order], of_step, _SQUARE_M, bx, by, square_first, square_item
    )


def _ways(site: Site, steps: Steps, stances: Stances, layers: Sequence[Layer], cells: Cells) -> Ways:
    layer = stances.layer.astype(np.int64)
    x_m, y_m = stances.leave_x_m.copy(), stances.leave_y_m.copy()
    for number, one in enumerate(layers):
        mine = layer == number
        if one.model >= 0 and one.yaw_rad is None and mine.any():
            # In the turning layer the place is that of the turn centre.
            centre = site.models[one.model].robot.turn_centre_m
            cosine, sine = np.cos(stances.yaw_rad[mine]), np.sin(stances.yaw_rad[mine])
            x_m[mine] += centre[0] * cosine - centre[1] * sine
            y_m[mine] += centre[0] * sine + centre[1] * cosine
    blocker = stances.conflict.astype(np.int64)
    blocked = np.repeat(np.arange(len(stances)), np.diff(stances.conflict_first))
    order = np.argsort(blocker, kind="stable")
    docks = [place for number, one in enumerate(layers) for place in _dock_places(site, number, one)]
    joins = _joins(site, layers, cells)
    return Ways(
        step=stances.step.astype(np.int64),
        of_step=np.searchsorted(stances.step, np.arange(len(steps) + 1)),
        layer=layer,
        x_m=x_m,
        y_m=y_m,
        blocks_first=np.searchsorted(blocker[order], np.arange(len(steps) + 1)),
        blocks=blocked[order],
        dock_layer=np.array([dock[0] for dock in docks], np.int64),
        dock_x_m=np.array([dock[1] for dock in docks], np.float64),
        dock_y_m=np.array([dock[2] for dock in docks], np.float64),
        join_a=joins[:, 0].copy(),
        join_b=joins[:, 1].copy(),
        join_di=joins[:, 2].copy(),
        join_dj=joins[:, 3].copy(),
    )


def _dock_places(site: Site, number: int, layer: Layer) -> list[tuple[int, float, float]]:
    """Where a layer meets its loading docks: the tray opening at the dock's heading, or the turn centre."""
    if layer.model < 0:
        return []
    model = site.models[layer.model]
    places = []
    for dock in site.docks:
        if dock.kind == "loading" and serves(dock.robots, model):
            x, y = dock.place_m
            if layer.yaw_rad is None:
                centre = turned(model.robot.turn_centre_m, dock.heading_rad)
                places.append((number, x + centre[0], y + centre[1]))
            elif abs(math.remainder(layer.yaw_rad - dock.heading_rad, 2 * math.pi)) < 1e-8:
                places.append((number, x, y))
    return places


def _joins(site: Site, layers: Sequence[Layer], cells: Cells) -> Ints:
    """Return rows (turning layer, yaw layer, columns, rows): which cell of the second belongs to one of the first.

    Where the turn centre may stand, the robot may have any yaw; its tray opening then lies off by the turned
    turn centre. The cell that holds it must be free as well, so rounding to whole cells is on the safe side.
    """
    turning = {layer.model: number for number, layer in enumerate(layers) if layer.yaw_rad is None}
    rows = []
    for number, layer in enumerate(layers):
        if layer.model >= 0 and layer.yaw_rad is not None:
            offset = turned(site.models[layer.model].robot.turn_centre_m, layer.yaw_rad)
            shift = [math.floor(0.5 - part / cells.cell_m) for part in offset]
            rows.append((turning[layer.model], number, *shift))
    return np.array(rows, np.int64).reshape(-1, 4)


def crew_docks(site: Site) -> list[Dock]:
    """Return where people come in: docks of kind crew, else loading docks, else none."""
    for kind in ("crew", "loading"):
        docks = [dock for dock in site.docks if dock.kind == kind]
        if docks:
            return docks
    return []


def _doors(site: Site, layers: Sequence[Layer], cells: Cells) -> shapely.Geometry:
    """Return the floor on which a person who has just come in may stand.

    At a door there is seldom room for a whole person: any place as near as a person is wide will do, if nothing
    of the hall is between. Without any dock people come in anywhere along the outer wall.
    """
    worker = layers[-1]
    width = max(float(np.hypot(part[:, 0], part[:, 1]).max()) for part in worker.shape) + 2 * cells.cell_m
    docks = crew_docks(site)
    if not docks:
        shell = shapely.union_all([shapely.LinearRing(p.exterior) for p in _polygons_of(site.for_people)])
        return shapely.intersection(shapely.buffer(shell, width), site.for_people)
    zones = []
    for dock in docks:
        place = shapely.Point(dock.place_m)
        near = shapely.intersection(shapely.buffer(place, width), site.for_people)
        parts = shapely.get_parts(near)
        zones.append(parts[np.argmin(shapely.distance(parts, place))] if len(parts) else near)
    return shapely.union_all(zones)


def _polygons_of(geometry: shapely.Geometry) -> list[shapely.Polygon]:
    return [part for part in shapely.get_parts(geometry) if part.geom_type == "Polygon"]


def _hand(site: Site, steps: Steps, layers: Sequence[Layer], cells: Cells, doors: shapely.Geometry) -> Hand:
    worker = site.worker if site.worker is not None else crew_model(Crew())
    by_hand = steps.kind != KINDS.index("tile")
    if worker.crew.tiles_by_hand:
        by_hand = np.ones(len(steps), np.bool_)
    first, x_m, y_m = _corners(steps)
    x = cells.x0_m + (np.arange(cells.nx) + 0.5) * cells.cell_m
    y = cells.y0_m + (np.arange(cells.ny) + 0.5) * cells.cell_m
    entry = np.zeros((cells.ny, cells.nx), np.bool_)
    if not doors.is_empty:
        low_x, low_y, high_x, high_y = doors.bounds
        i, j = np.flatnonzero((x >= low_x) & (x <= high_x)), np.flatnonzero((y >= low_y) & (y <= high_y))
        shapely.prepare(doors)
        entry[np.ix_(j, i)] = shapely.intersects_xy(doors, *np.meshgrid(x[i], y[j]))
    return Hand(
        by_hand=by_hand,
        corner_first=first,
        corner_x_m=x_m,
        corner_y_m=y_m,
        middle_x_m=steps.x_m.astype(np.float64),
        middle_y_m=steps.y_m.astype(np.float64),
        reach_m=worker.crew.reach_m + worker.crew.room_m / 2,
        layer=len(layers) - 1,
        entry=entry.ravel(),
    )


def _corners(steps: Steps) -> tuple[Ints, Floats, Floats]:
    """Return for each step the corners that must all be in reach; a stack has those of what it stands on."""
    shape = np.searchsorted(steps.shape_of, np.arange(len(steps) + 1))
    first, xs, ys = [0], [], []
    for step in range(len(steps)):
        source = step
        while shape[source] == shape[source + 1] and steps.after[source] >= 0:
            source = int(steps.after[source])
        span = slice(steps.shapes.first[shape[source]], steps.shapes.first[shape[source + 1]])
        x, y = steps.shapes.x_m[span], steps.shapes.y_m[span]
        if len(x) > 8:
            hull = shapely.get_coordinates(
                shapely.convex_hull(shapely.multipoints(np.stack([x, y], axis=-1)))
            )
            x, y = hull[:-1, 0], hull[:-1, 1]
        first.append(first[-1] + len(x))
        xs.append(x)
        ys.append(y)
    return np.array(first, np.int64), np.concatenate([*xs, np.empty(0)]), np.concatenate([*ys, np.empty(0)])


def begin_state(ground: Ground, present: Bools, removable: Bools) -> State:
    """Return the floor with some steps on it.

    Args:
        ground: the hall and all ways.
        present: (n,) steps that stand.
        removable: (n,) those of them that may be taken away.
    """
    steps, ways = ground.steps, ground.ways
    n, k = len(steps), len(ways.step)
    nodes = len(ground.walls) + len(ways.dock_layer)
    squares = len(ground.obstacles.square_first) - 1
    alive = np.append(present, True)
    blocking = alive[ground.stances.conflict] if k else np.empty(0, np.bool_)
    owner = np.repeat(np.arange(k), np.diff(ground.stances.conflict_first))
    upper = np.flatnonzero(present & (steps.after >= 0))
    entries = k + PARTS_MOST * n
    state = State(
        covered=ground.walls.copy(),
        parent=np.full(nodes, -1, np.int32),
        docked=np.zeros(nodes, np.bool_),
        head=np.full(nodes, -1, np.int32),
        tail=np.full(nodes, -1, np.int32),
        following=np.full(entries, -1, np.int32),
        entry_node=np.full(PARTS_MOST * n, -1, np.int32),
        used=np.zeros(n, np.int8),
        blockers=np.bincount(owner[blocking], minlength=k).astype(np.int32),
        dependents=np.bincount(steps.after[upper], minlength=n).astype(np.int32),
        alive=alive,
        removable=removable.copy(),
        ready=np.zeros(n, np.bool_),
        link=np.full(k, -1, np.int32),
        listed=np.zeros(k, np.bool_),
        square_head=np.full(squares, -1, np.int32),
        square_next=np.full(k + n, -1, np.int32),
        in_square=np.zeros(k + n, np.bool_),
        dock_linked=np.zeros(len(ways.dock_layer), np.bool_),
    )
    begin(state, ways, ground.hand, ground.obstacles, ground.cells)
    return state


def copied(state: State) -> State:
    """Return a floor that can be changed on its own."""
    return State(*(column.copy() for column in state))
