"""Preferences against what their names say, on a field of 4 x 6 trays whose places are written down here."""

from __future__ import annotations

import math

import numpy as np
import pytest

from standfall.brief import Brief, Colour, Domino, Field, Hall, Job, Tray
from standfall.geometry.convex import Convex
from standfall.routes.preference import preferences
from standfall.routes.step import KINDS, Steps
from standfall.tiles import Tiling

COLUMNS, BANDS = 4, 6
WIDE_M, DEEP_M = 0.5, 0.2


def field(direction_rad: float) -> tuple[Brief, Tiling, np.ndarray]:
    """Brief and tiling of a field that falls in a direction, and the hall places of its tiles.

    Along the fall and to the right of it are unit vectors (cos, sin) and (sin, -cos).
    """
    band, column = (a.ravel() for a in np.meshgrid(np.arange(BANDS), np.arange(COLUMNS), indexing="ij"))
    along = np.array([math.cos(direction_rad), math.sin(direction_rad)])
    right = np.array([math.sin(direction_rad), -math.cos(direction_rad)])
    place = (band[:, None] + 0.5) * DEEP_M * along + (column[:, None] + 0.5) * WIDE_M * right
    n = COLUMNS * BANDS
    tiling = Tiling(
        field=np.zeros(n, np.int16),
        first_row=(10 * band).astype(np.int32),
        first_col=(20 * column).astype(np.int32),
        x_m=place[:, 0],
        y_m=place[:, 1],
        yaw_rad=np.full(n, direction_rad - math.pi / 2),
        turn_deg=np.zeros(n, np.int16),
        dominoes=np.full(n, 200, np.int32),
        kind=np.zeros(n, np.int8),
        cut_rows=(0,),
        cut_cols=(0,),
    )
    brief = Brief(
        job=Job(name="bands"),
        hall=Hall(outline_m=((-9.0, -9.0), (9.0, -9.0), (9.0, 9.0), (-9.0, 9.0))),
        domino=Domino(height_m=0.048, width_m=0.024, thickness_m=0.0075, mass_kg=0.0085),
        colours=(Colour(name="ivory", stock=10_000),),
        tray=Tray(columns=20, rows=10, col_pitch_m=0.025, row_pitch_m=0.02),
        fields=(
            Field(
                name="bands",
                picture="none.png",
                columns=80,
                rows=60,
                col_pitch_m=0.025,
                row_pitch_m=0.02,
                corner_m=(0.0, 0.0),
                fall_direction_rad=direction_rad,
            ),
        ),
    )
    return brief, tiling, place


def steps_of(tiling: Tiling, hand: tuple[str, ...] = ()) -> Steps:
    """The tiles, then pieces of hand work amid them."""
    n, h = len(tiling), len(hand)
    return Steps(
        kind=np.array([0] * n + [KINDS.index(kind) for kind in hand], np.int8),
        tile=np.array([*range(1, n + 1), *[0] * h], np.int32),
        x_m=np.append(tiling.x_m, np.full(h, 1.0)),
        y_m=np.append(tiling.y_m, np.full(h, 0.6)),
        dominoes=np.full(n + h, 200, np.int32),
        after=np.full(n + h, -1, np.int32),
        member_first=np.zeros(n + h + 1, np.int64),
        member=np.zeros(0, np.int64),
        shapes=Convex.from_list([]),
        shape_of=np.zeros(0, np.int32),
    )


def laid(preference: np.ndarray) -> np.ndarray:
    """Steps in laying order where nothing is in the way: the lowest preference is laid last."""
    return np.argsort(-preference, kind="stable")


@pytest.mark.parametrize("direction_deg", [90, 0, 217])
def test_bands_are_laid_in_the_order_the_name_says(direction_deg: int) -> None:
    direction = math.radians(direction_deg)
    brief, tiling, place = field(direction)
    along = place @ (math.cos(direction), math.sin(direction))
    right = place @ (math.sin(direction), -math.cos(direction))
    dock = np.array([0.3, -2.0])
    far = np.hypot(*(place - dock).T)
    found = dict(preferences(brief, steps_of(tiling), tiling, far, 1))
    assert list(found) == ["far first", "along the fall", "against the fall", "to the right", "to the left"]
    assert (np.diff(far[laid(found["far first"])]) <= 0).all()
    for name, rising, size in (
        ("along the fall", along, DEEP_M),
        ("against the fall", -along, DEEP_M),
        ("to the right", right, WIDE_M),
        ("to the left", -right, WIDE_M),
    ):
        order = laid(found[name])
        band = np.round(rising[order] / size - 0.5)
        assert (np.diff(band) >= 0).all(), name
        # Within a band the end that is farther from the dock comes first.
        for one in np.unique(band):
            assert (np.diff(far[order][band == one]) <= 0).all(), name


@pytest.mark.parametrize("movers", [2, 3])
def test_zones_side_by_side_are_dealt_out_evenly(movers: int) -> None:
    brief, tiling, place = field(math.pi / 2)
    far = np.hypot(place[:, 0], place[:, 1] + 2.0)
    for name, preference in preferences(brief, steps_of(tiling), tiling, far, movers):
        order = laid(preference)
        # Falling up the hall, the zones lie side by side in x. Columns of 6 tiles are not cut, so 3 movers have
        # zones of 12 and 6 tiles: dealt out evenly, the shares done differ by one tile of the smallest at most.
        x = place[order, 0]
        edges = np.quantile(place[:, 0], np.arange(1, movers) / movers)
        zone = np.searchsorted(edges, x, side="right")
        sizes = np.bincount(zone, minlength=movers)
        assert (sizes > 0).all(), name
        done = np.cumsum(zone[:, None] == np.arange(movers), axis=0)
        share = done / sizes
        assert (share.max(axis=1) - share.min(axis=1) <= 1.0 / sizes.min() + 1e-9).all(), name


def test_hand_work_comes_last_in_the_order_of_the_brief() -> None:
    brief, tiling, _ = field(math.pi / 2)
    steps = steps_of(tiling, ("gap", "stack", "line", "line"))
    far = np.hypot(steps.x_m, steps.y_m)
    for name, preference in preferences(brief, steps, tiling, far, 2):
        n = len(tiling)
        assert laid(preference)[-4:].tolist() == [n, n + 1, n + 2, n + 3], name


def test_without_tiles_there_is_one_order() -> None:
    brief, tiling, _ = field(0.0)
    none = Tiling(**{name: value[:0] for name, value in vars(tiling).items()})
    steps = steps_of(none, ("line", "line", "line"))
    found = list(preferences(brief, steps, none, np.array([1.0, 5.0, 3.0]), 2))
    assert [name for name, _ in found] == ["far first"]
    assert laid(found[0][1]).tolist() == [0, 1, 2]
