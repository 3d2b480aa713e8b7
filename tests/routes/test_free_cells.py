"""The floor of cells against slow twins, shapely and the labels of scipy."""

import math

import numpy as np
import pytest
import shapely
from access_case import FRONT, UP, Case, patch
from board import box, make_robot, part, random_board
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage

from standfall.brief import Area, Dock
from standfall.routes._access_kernels import remove
from standfall.routes._cell_kernels import TOUCH_M, Cells, Obstacles, cover, crosses, linked_cell
from standfall.routes._reach_kernels import roots_of
from standfall.routes.free_cells import begin_state

CELLS = Cells(-0.1, -0.2, 0.05, 48, 44)
corner = st.tuples(st.floats(0.0, 2.0), st.floats(0.0, 1.8))
shapes = st.lists(corner, min_size=3, max_size=8).map(lambda found: shapely.MultiPoint(found).convex_hull)
polygons = shapes.filter(lambda shape: shape.geom_type == "Polygon" and shape.area > 0.01)


def ring(shape):
    return shapely.get_coordinates(shapely.orient_polygons(shape))[:-1]


def obstacles(*polygons):
    """Obstacles of one layer, each of its own step, all in one square."""
    rings = [ring(shape) for shape in polygons]
    first = np.cumsum([0, *map(len, rings)])
    corners = np.concatenate(rings)
    n = len(rings)
    return Obstacles(
        first, corners[:, 0].copy(), corners[:, 1].copy(), np.zeros(n, np.int64), np.arange(n), np.arange(n + 2),
        100.0, 1, 1, np.array([0, n]), np.arange(n),
    )  # fmt: skip


def covered_twin(shape, cells):
    """Cells whose middle is within every side of a polygon, the sides moved out by half a cell's diagonal."""
    half = cells.cell_m * math.sqrt(0.5) - TOUCH_M
    found = np.zeros((cells.ny, cells.nx), int)
    corners = ring(shape)
    low_x, low_y, high_x, high_y = shape.bounds
    for j in range(cells.ny):
        for i in range(cells.nx):
            x, y = cells.x0_m + (i + 0.5) * cells.cell_m, cells.y0_m + (j + 0.5) * cells.cell_m
            within = low_x - half <= x <= high_x + half and low_y - half < y < high_y + half
            for (ax, ay), (bx, by) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
                length = math.hypot(bx - ax, by - ay)
                within = within and ((by - ay) * (x - bx) - (bx - ax) * (y - by)) / length <= half
            found[j, i] = within
    return found.ravel()


@settings(max_examples=40, deadline=None)
@given(polygons)
def test_covered_cells_are_the_twins_and_the_rest_is_outside(shape):
    # Sides too short to have a direction are left out by the kernel.
    shape = shapely.simplify(shape, 1e-6)
    count = np.zeros(CELLS.nx * CELLS.ny, np.int16)
    touched = np.empty(len(count), np.int64)
    cover(obstacles(shape), 0, CELLS, 1, count, touched)
    assert count.tolist() == covered_twin(shape, CELLS).tolist()
    # A free cell lies wholly outside (shapely).
    j, i = np.divmod(np.flatnonzero(count == 0), CELLS.nx)
    x, y = CELLS.x0_m + i * CELLS.cell_m, CELLS.y0_m + j * CELLS.cell_m
    boxes = shapely.box(x, y, x + CELLS.cell_m, y + CELLS.cell_m)
    assert shapely.area(shapely.intersection(boxes, shape)).max(initial=0.0) < 1e-7
    # And taking it away leaves nothing behind.
    freed = cover(obstacles(shape), 0, CELLS, -1, count, touched)
    assert not count.any() and freed == len(set(touched[:freed].tolist()))


@settings(max_examples=200, deadline=None)
@given(polygons, corner, corner)
def test_crosses_is_what_shapely_says(shape, a, b):
    corners = ring(shape)
    line = shapely.LineString([a, b])
    deep, hardly = shapely.buffer(shape, -1e-5), shapely.buffer(shape, 1e-5)
    found = crosses(corners[:, 0].copy(), corners[:, 1].copy(), *a, *b)
    if line.intersects(deep):
        assert found
    if not line.intersects(hardly):
        assert not found


@settings(max_examples=60, deadline=None)
@given(st.lists(polygons, min_size=1, max_size=4), corner)
def test_link_is_a_free_way_to_a_free_cell(found, point):
    things = obstacles(*found)
    count = np.zeros(CELLS.nx * CELLS.ny, np.int16)
    touched = np.empty(len(count), np.int64)
    for o in range(len(found)):
        cover(things, o, CELLS, 1, count, touched)
    node = linked_cell(things, CELLS, np.ones(len(found) + 1, bool), count, 0, *point)
    taken = shapely.union_all(found)
    if node < 0:
        # No free cell has its middle near enough, unless something is between.
        j, i = np.divmod(np.flatnonzero(count == 0), CELLS.nx)
        x, y = CELLS.x0_m + (i + 0.5) * CELLS.cell_m, CELLS.y0_m + (j + 0.5) * CELLS.cell_m
        lines = shapely.linestrings([[(a, b), point] for a, b in zip(x, y, strict=True)])
        near = shapely.length(lines) < CELLS.cell_m
        assert shapely.intersects(lines[near], taken).all()
    else:
        assert count[node] == 0
        to = (
            CELLS.x0_m + (node % CELLS.nx + 0.5) * CELLS.cell_m,
            CELLS.y0_m + (node // CELLS.nx + 0.5) * CELLS.cell_m,
        )
        # Not deeper in than shapely's rounding; a point in a free cell is linked to that one.
        assert (
            shapely.LineString([point, to]).intersection(taken.buffer(-1e-5)).length < 1e-4
            or taken.distance(shapely.Point(point)) < 1e-4
        )


@pytest.mark.parametrize("seed", range(25))
def test_taking_away_leaves_the_floor_as_if_it_had_never_stood(seed):
    case = Case(random_board(seed))
    ground, n = case.ground, len(case.steps)
    rng = np.random.default_rng(seed)
    gone = rng.permutation(n)[: n // 2 + 1]
    everything = np.ones(n, bool)
    state = begin_state(ground, everything, everything)
    touched = np.empty(len(state.covered), np.int64)
    for step in gone:
        remove(
            state, ground.ways, ground.hand, case.steps.after, ground.obstacles, ground.cells, step, touched
        )
    left = everything.copy()
    left[gone] = False
    fresh = begin_state(ground, left, left)
    assert np.array_equal(state.covered, fresh.covered)
    assert np.array_equal(state.blockers, fresh.blockers)
    assert np.array_equal(state.ready[left], fresh.ready[left])
    nodes = np.arange(len(state.parent))
    mine, theirs = roots_of(state.parent, nodes), roots_of(fresh.parent, nodes)
    free = np.append(state.covered == 0, np.ones(len(ground.ways.dock_layer), bool))
    # Docks and stances may be linked to other cells of the same part; the parts of the cells are the same.
    pairs = set(zip(mine[free].tolist(), theirs[free].tolist(), strict=True))
    assert len(pairs) == len({a for a, _ in pairs}) == len({b for _, b in pairs})
    assert np.array_equal(state.docked[mine[free]], fresh.docked[theirs[free]])


def test_parts_are_those_that_scipy_labels():
    # One layer of a differential robot, and the worker's: cells joined to all eight neighbours.
    robot = make_robot((part("body", box(-0.56, -0.2, -0.16, 0.2)),), "differential", (-0.36, 0.0))
    areas = (
        Area(name="a", kind="pillar", outline_m=((2.0, 1.5), (7.0, 2.2), (6.8, 2.3))),
        Area(name="b", kind="walkway", outline_m=box(1.0, 0.0, 1.2, 8.0)),
    )
    case = Case(patch(4, 4, (robot,), areas=areas))
    ground = case.ground
    everything = np.ones(len(case.steps), bool)
    state = begin_state(ground, everything, everything)
    assert [layer.model for layer in case.layers] == [0, -1]
    for layer in range(2):
        size = ground.layer_cells
        free = (state.covered[layer * size : (layer + 1) * size] == 0).reshape(
            ground.cells.ny, ground.cells.nx
        )
        label, count = ndimage.label(free, structure=np.ones((3, 3)))
        assert count > (1 if layer == 0 else 0)
        roots = roots_of(state.parent, np.arange(size) + layer * size).reshape(free.shape)
        pairs = set(zip(label[free].tolist(), roots[free].tolist(), strict=True))
        assert len(pairs) == count == len({root for _, root in pairs})


def test_turning_joins_the_yaws_of_one_robot_where_its_circle_is_free():
    # Off-centre turning: the tray opening at yaw 90 lies 0.3 m ahead of the turn centre along y. Cell by cell.
    robot = make_robot(
        (part("body", box(-0.56, -0.2, -0.16, 0.2)),), turn_centre=(-0.3, 0.0), tray_turns=(0.0, UP)
    )
    case = Case(patch(1, 1, (robot,), docks=(Dock(name="dock", place_m=(4.5, 1.0), heading_rad=UP),)))
    ways, cells = case.ground.ways, case.ground.cells
    turning = [k for k, layer in enumerate(case.layers) if layer.model == 0 and layer.yaw_rad is None]
    assert ways.join_a.tolist() == turning * len(ways.join_b)
    for b, di, dj in zip(ways.join_b, ways.join_di, ways.join_dj, strict=True):
        yaw = case.layers[b].yaw_rad
        # The middle of cell (0, 0) of the turning layer, and the opening's place seen from it.
        x, y = 0.5 * cells.cell_m + 0.3 * math.cos(yaw), 0.5 * cells.cell_m + 0.3 * math.sin(yaw)
        assert di * cells.cell_m - 1e-9 <= x <= (di + 1) * cells.cell_m + 1e-9
        assert dj * cells.cell_m - 1e-9 <= y <= (dj + 1) * cells.cell_m + 1e-9


def test_large_halls_get_larger_cells():
    board = patch(1, 1, (FRONT,), hall=(90.0, 60.0))
    cells = Case(board).ground.cells
    assert cells.nx * cells.ny < 1_020_000
    assert cells.cell_m == pytest.approx(math.sqrt(90.0 * 60.0 / 1e6))
