"""Small builds for the tests of trials: lines and fields of dominoes 48 x 24 x 7.5 mm, on tiles or laid by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from standfall.fall.contact import find_contacts
from standfall.fall.falling import Strikes
from standfall.fall.ground import Ground
from standfall.fall.pieces import Pieces
from standfall.fall.placement import HANDS, Laying, PlacementError
from standfall.fall.trial_setup import set_up

HEIGHT_M, WIDTH_M, THICKNESS_M, MASS_KG = 0.048, 0.024, 0.0075, 0.0085

# The errors a brief has when it says nothing.
USUAL = PlacementError(
    tile_m=0.0005,
    tile_turn_rad=math.radians(0.05),
    piece_m=0.0003,
    piece_turn_rad=math.radians(0.5),
    hand_m=0.001,
    hand_turn_rad=math.radians(1.5),
    domino_friction_spread=0.02,
    floor_friction_spread=0.05,
    mass_spread=0.01,
)


def scaled(factor, **more):
    """The usual errors of place and turn, times a factor."""
    names = ("tile_m", "tile_turn_rad", "piece_m", "piece_turn_rad", "hand_m", "hand_turn_rad")
    return replace(USUAL, **{name: factor * getattr(USUAL, name) for name in names}, **more)


def pieces(count):
    return Pieces.alike(count, height_m=HEIGHT_M, width_m=WIDTH_M, thickness_m=THICKNESS_M, mass_kg=MASS_KG)


def line(x, y, yaw, count, *, pitch=0.024, bend=0.0):
    """By hand, curvature ``bend`` in 1/m."""
    rows = []
    for _ in range(count):
        rows.append((x, y, yaw, HANDS))
        middle = yaw + 0.5 * bend * pitch
        x, y, yaw = x + pitch * math.cos(middle), y + pitch * math.sin(middle), yaw + bend * pitch
    return np.array(rows)


def field(
    x, y, rows, columns, *, row_pitch=0.022, col_pitch=0.027, tile_rows=5, tile_columns=6, first=0, half=False
):
    """Falls along y; tiles numbered from ``first``."""
    row, column = np.divmod(np.arange(rows * columns), columns)
    tile = first + row // tile_rows * -(-columns // tile_columns) + column // tile_columns
    shift = 0.5 * col_pitch * (row % 2) if half else 0.0
    return np.column_stack(
        [x + column * col_pitch + shift, y + row * row_pitch, np.full(len(row), math.pi / 2), tile]
    )


def laying(*parts):
    x, y, yaw, tile = np.concatenate(parts).T
    tile = tile.astype(np.int32)
    tiles = range(int(tile.max()) + 1)
    centre = np.array([[x[tile == k].mean(), y[tile == k].mean()] for k in tiles]).reshape(-1, 2)
    on_floor = np.full(len(x), -1, dtype=np.int32)
    return Laying(x, y, np.zeros(len(x)), yaw, tile, centre[:, 0], centre[:, 1], on_floor)


def strikes(nodes, omega_rad_s=8.0):
    count = len(nodes)
    return Strikes(
        np.asarray(nodes, dtype=np.int32),
        np.zeros(count),
        np.full(count, omega_rad_s),
        np.full(count, -1, dtype=np.int32),
        np.zeros(count, dtype=np.int16),
    )


def setup(build, struck, error, *, seed=3, ground=None):
    made = pieces(len(build))
    push = strikes(struck)
    contacts = find_contacts(build.x_m, build.y_m, build.z_m, build.yaw_rad, made, push.node)
    return set_up(build, error, contacts, made, ground or Ground(), push, seed)


def builds():
    """Builds by name, and the pieces struck."""
    lead_in = line(0.135, -0.6, math.pi / 2, 25)
    return {
        "straight field": (laying(field(0, 0, 25, 12)), range(12)),
        "two fields": (laying(field(0, 0, 10, 8), field(0, 0.225, 10, 8, first=4, row_pitch=0.03)), range(8)),
        "wide gaps": (laying(field(0, 0, 16, 8, row_pitch=0.045)), range(8)),
        "narrow gaps": (laying(field(0, 0, 60, 4, row_pitch=0.0125)), range(4)),
        "gaps too wide": (laying(field(0, 0, 12, 8, row_pitch=0.053)), range(8)),
        "half-offset rows": (laying(field(0, 0, 10, 8, half=True)), range(8)),
        "curve": (laying(line(0, 0, 0, 60, bend=2.5)), [0]),
        "split": (
            laying(
                line(0, 0, 0, 15), line(0.36, 0.013, 0, 30, bend=1.2), line(0.36, -0.013, 0, 30, bend=-1.2)
            ),
            [0],
        ),
        "merge": (
            laying(line(0, 0.013, 0, 25), line(0, -0.013, 0, 21), line(0.6, 0, 0, 30)),
            [0, 25],
        ),
        "facing": (laying(line(0, 0, 0, 25), line(0.024 * 49, 0, math.pi, 25)), [0, 25]),
        "line into a field": (laying(lead_in, field(0, 0, 15, 11)), [0]),
        "crossing": (
            laying(line(0, 0, 0, 40), line(0.48, -0.488, math.pi / 2, 18), line(0.48, 0.03, math.pi / 2, 20)),
            [0, 40],
        ),
    }


# Four tiles wide and four deep, straight rows.
BUILD_OF_TILES = (laying(field(0, 0, 12, 20, tile_rows=3, tile_columns=5)), range(20))
