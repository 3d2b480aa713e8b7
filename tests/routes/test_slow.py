"""Where robots go slowly against distances measured by shapely, to half a cell of 50 mm."""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely import affinity

from standfall.geometry.convex import Convex
from standfall.routes.layer import Layer
from standfall.routes.slow import SlowZones
from standfall.routes.step import Steps

BOX_M = (-1.0, 0.5, 4.0, 4.0)
ZONE_M = 0.15
# A point is answered for by the middle of its cell of 50 mm, at most half a diagonal away.
HALF_CELL_M = 0.05 * math.sqrt(0.5) + 1e-9
# Grown corners are cut so that they reach at most this much too far (geometry.convex.grown).
CORNER = 1.05
NEVER = np.iinfo(np.int32).max

TRIANGLE = np.array([[-0.3, -0.1], [0.2, -0.1], [0.0, 0.4]])
BAR = np.array([[-0.6, -0.05], [-0.2, -0.05], [-0.2, 0.05], [-0.6, 0.05]])
TURNED = shapely.get_coordinates(affinity.rotate(shapely.box(1.9, 2.4, 2.5, 2.7), 33, origin="center"))[:-1]
TILES = [
    np.array([[0.0, 1.0], [0.6, 1.0], [0.6, 1.3], [0.0, 1.3]]),
    np.array([[2.8, 1.0], [3.4, 1.0], [3.4, 1.3], [2.8, 1.3]]),
    TURNED,
]


def steps() -> Steps:
    n = len(TILES)
    middle = np.array([tile.mean(axis=0) for tile in TILES])
    return Steps(
        kind=np.zeros(n, np.int8),
        tile=np.arange(1, n + 1, dtype=np.int32),
        x_m=middle[:, 0],
        y_m=middle[:, 1],
        dominoes=np.full(n, 10, np.int32),
        after=np.full(n, -1, np.int32),
        member_first=np.zeros(n + 1, np.int64),
        member=np.zeros(0, np.int64),
        shapes=Convex.from_list(TILES),
        shape_of=np.arange(n, dtype=np.int32),
    )


def layers() -> tuple[Layer, ...]:
    return (Layer(0, 0.0, (TRIANGLE,), (TRIANGLE,)), Layer(0, 1.0, (TRIANGLE, BAR), (TRIANGLE, BAR)))


def nearest_m(layer: Layer, tiles: list[int], x: float, y: float) -> float:
    """Distance of what moves, its origin at a point, from some tiles."""
    moved = affinity.translate(shapely.union_all([shapely.Polygon(part) for part in layer.shape]), x, y)
    return min((moved.distance(shapely.Polygon(TILES[tile])) for tile in tiles), default=math.inf)


def test_slow_means_nearer_than_the_zone_to_what_stands_by_then() -> None:
    place = np.array([4, -1, 7])
    zones = SlowZones(layers(), steps(), place, ZONE_M, BOX_M)
    rng = np.random.default_rng(5)
    x, y = rng.uniform(BOX_M[0], BOX_M[2], 700), rng.uniform(BOX_M[1], BOX_M[3], 700)
    for number, layer in enumerate(layers()):
        for moment in (0, 4, 5, 8):
            stands = [tile for tile in range(3) if place[tile] < moment]
            slow = zones.slow(number, moment, x, y)
            far = np.array([nearest_m(layer, stands, *at) for at in zip(x, y, strict=True)])
            assert slow[far <= ZONE_M - HALF_CELL_M].all()
            assert not slow[far > CORNER * ZONE_M + HALF_CELL_M].any()
            # Both happen, or nothing was tested.
            assert slow.any()
            assert not slow.all()


def test_what_is_never_laid_slows_nobody() -> None:
    zones = SlowZones(layers(), steps(), np.array([0, NEVER, NEVER]), ZONE_M, BOX_M)
    middle = TILES[1].mean(axis=0)
    assert not zones.slow(0, 1000, middle[:1], middle[1:]).any()
    own = TILES[0].mean(axis=0)
    assert zones.slow(0, 1, own[:1], own[1:]).all()
    # Its own tile does not count while it is being brought.
    assert not zones.slow(0, 0, own[:1], own[1:]).any()


def test_a_layer_without_low_parts_is_never_slow() -> None:
    zones = SlowZones((Layer(0, 0.0, (), (BAR,)),), steps(), np.zeros(3, np.int64), ZONE_M, BOX_M)
    assert not zones.slow(0, 9, *np.array(TILES).reshape(-1, 2).T).any()
