"""Keeping free space up to date while tiles are laid, beside working its distance field out anew for every tile.

    python benchmarks/free_space_update.py [--quick]

Ours: what one tile of the demo puts in the way of one robot layer is added to the roads (obstacles, taut corners) and
to the counts of the cells it covers. Beside it: the Euclidean distance transform of the same grid of cells from
scratch with each tile (SciPy's distance_transform_edt; exact method of Maurer, Qi and Raghavan, IEEE Transactions on
Pattern Analysis and Machine Intelligence 25, 2003). Both take the tiles in the same order; kernels are compiled before.
"""

from __future__ import annotations

import itertools
import sys
import time

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt

from laying_case import DEMO, make_case
from standfall.routes._cell_kernels import cover
from standfall.routes.make import Floor, make_floor

TITLE = "free space: one more tile, beside the whole distance field anew"
TIMES_LEAST = 20


def _cells_of(floor: Floor, layer: int) -> list[NDArray[np.int64]]:
    """Return for each step the numbers of its obstacles in one layer of the grid."""
    obstacles = floor.ground.obstacles
    mine = np.flatnonzero(obstacles.layer == layer)
    ends = np.searchsorted(obstacles.step[mine], np.arange(len(floor.steps) + 1))
    return [mine[a:b] for a, b in itertools.pairwise(ends)]


def ours_s(floor: Floor, layer: int, tiles: int) -> tuple[float, NDArray[np.int16]]:
    """Return the time of all updates, and how often each cell is covered in the end."""
    ground = floor.ground
    size = ground.layer_cells
    roads, numbers = floor.floors[layer].roads.copy(), _cells_of(floor, layer)
    count = ground.walls.copy()
    touched = np.empty(size, np.int64)
    start = time.process_time()
    for step in range(tiles):
        roads.stand(floor.floors[layer].of_step(step))
        for number in numbers[step]:
            cover(ground.obstacles, number, ground.cells, 1, count, touched)
    return time.process_time() - start, count[layer * size : (layer + 1) * size]


def anew_s(floor: Floor, layer: int, tiles: int, every: int) -> tuple[float, NDArray[np.bool_]]:
    """Return the time of the distance field after each tile, looked at every few tiles, and the last covered cells."""
    ground = floor.ground
    size, cells = ground.layer_cells, ground.cells
    numbers, count = _cells_of(floor, layer), ground.walls.copy()
    touched = np.empty(size, np.int64)
    taken, runs = 0.0, 0
    for step in range(tiles):
        for number in numbers[step]:
            cover(ground.obstacles, number, cells, 1, count, touched)
        if step % every == 0:
            free = (count[layer * size : (layer + 1) * size] == 0).reshape(cells.ny, cells.nx)
            start = time.process_time()
            distance_transform_edt(free, sampling=cells.cell_m)
            taken += time.process_time() - start
            runs += 1
    return taken / runs * tiles, count[layer * size : (layer + 1) * size] > 0


def show(quick: bool) -> None:
    """Print both times for all tiles of the demo, and their ratio."""
    case = make_case(*DEMO)
    floor = make_floor(case.brief, case.site, case.standing, case.tiling)
    layer = int(floor.stances.layer[0])
    tiles = len(case.tiling)
    ours_s(floor, layer, 3)  # compiles the kernels
    ours, count = min((ours_s(floor, layer, tiles) for _ in range(3)), key=lambda found: found[0])
    anew, covered = anew_s(floor, layer, tiles, 25 if quick else 5)
    if not np.array_equal(count > 0, covered):
        raise RuntimeError("the two do not end with the same free cells")
    cells = floor.ground.cells
    print(
        f"{tiles} tiles in a grid of {cells.nx} x {cells.ny} cells of {1000 * cells.cell_m:.0f} mm, one layer"
    )
    print(f"ours, roads and cells      {1e3 * ours:9.1f} ms, {1e6 * ours / tiles:9.0f} us a tile")
    print(f"distance field anew        {1e3 * anew:9.1f} ms, {1e6 * anew / tiles:9.0f} us a tile")
    print(f"ratio {anew / ours:.0f} (asked: at least {TIMES_LEAST})")


if __name__ == "__main__":
    show("--quick" in sys.argv[1:])
