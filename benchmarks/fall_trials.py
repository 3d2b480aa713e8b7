"""Trials of a fall with placement errors, counted in whole falls of the same build.

    python benchmarks/fall_trials.py [--quick]

Build: 200 rows of 500 dominoes 48 x 24 x 7.5 mm, row pitch 22 mm, column pitch 27 mm, on tiles of 22 x 10, all
columns struck at once; errors as a brief has them that says nothing. A single fall is ``topple`` with its contacts
known, median of three. The trials run on the workers asked for, start of the processes included; getting them
ready is told apart. Half-offset rows have no short way: each of their trials costs a whole fall and its contacts.
"""

from __future__ import annotations

import argparse
import math
import statistics
import time
from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
from rich.console import Console
from rich.table import Table

from standfall.fall.contact import Contacts, find_contacts
from standfall.fall.falling import Strikes, topple
from standfall.fall.ground import Ground
from standfall.fall.pieces import Pieces
from standfall.fall.placement import Laying, PlacementError
from standfall.fall.trial_run import merge, run_trials
from standfall.fall.trial_setup import set_up
from standfall.workers import spread

TITLE = "Trials of a fall with placement errors"

ERROR = PlacementError(
    tile_m=0.0005,
    tile_turn_rad=math.radians(0.05),
    piece_m=0.0003,
    piece_turn_rad=math.radians(0.5),
    domino_friction_spread=0.02,
    floor_friction_spread=0.05,
    mass_spread=0.01,
)
WORKERS = 2
BATCH = 25


def field(rows: int, columns: int, half_offset: bool) -> tuple[Laying, Pieces, Strikes]:
    """Return a field that falls along y, and strikes on its first row."""
    row, column = np.divmod(np.arange(rows * columns), columns)
    x_m = 0.027 * (column + 0.5 * half_offset * (row % 2))
    y_m = 0.022 * row
    tile = (row // 10 * -(-columns // 22) + column // 22).astype(np.int32)
    size = np.bincount(tile)
    count = len(row)
    laying = Laying(
        x_m=x_m,
        y_m=y_m,
        z_m=np.zeros(count),
        yaw_rad=np.full(count, math.pi / 2),
        tile=tile,
        centre_x_m=np.bincount(tile, x_m) / size,
        centre_y_m=np.bincount(tile, y_m) / size,
        support=np.full(count, -1, dtype=np.int32),
    )
    pieces = Pieces.alike(count, height_m=0.048, width_m=0.024, thickness_m=0.0075, mass_kg=0.0085)
    strikes = Strikes(
        np.arange(columns, dtype=np.int32),
        np.zeros(columns),
        np.full(columns, 8.0),
        np.full(columns, -1, dtype=np.int32),
        np.zeros(columns, dtype=np.int16),
    )
    return laying, pieces, strikes


def timed(work: Callable[[], Any]) -> tuple[Any, float]:
    """Return what ``work`` returns and how long it took."""
    begun = time.perf_counter()
    result = work()
    return result, time.perf_counter() - begun


def measure(rows: int, columns: int, half_offset: bool, trials: int) -> tuple[str, ...]:
    """Return one row of the table."""
    laying, pieces, strikes = field(rows, columns, half_offset)
    contacts: Contacts = find_contacts(laying.x_m, laying.y_m, laying.z_m, laying.yaw_rad, pieces)
    fall = partial(topple, contacts, pieces, laying.yaw_rad, Ground(), strikes)
    fall()
    single_s = statistics.median(timed(fall)[1] for _ in range(3))
    setup, ready_s = timed(lambda: set_up(laying, ERROR, contacts, pieces, Ground(), strikes, 1))
    batches = [(first, min(BATCH, trials - first)) for first in range(0, trials, BATCH)]
    done, wall_s = timed(lambda: list(spread(partial(run_trials, setup), batches, workers=WORKERS)))
    result = merge(setup, done)
    share = sum(batch.let_fall for batch in done) / (trials * len(laying))
    return (
        f"{len(laying):,}" + (" half-offset" if half_offset else " straight"),
        f"{trials:,}",
        f"{single_s:.2f}",
        f"{ready_s:.1f}",
        f"{wall_s:.1f}",
        f"{wall_s / single_s:.0f}",
        f"{1000 * wall_s / single_s / trials:.0f}",
        f"{100 * share:.1f} %",
        f"{result.chance_all_fall.value:.3f}",
    )


def show(quick: bool) -> None:
    """Print the table."""
    table = Table(title=f"{WORKERS} workers")
    for heading in (
        "dominoes",
        "trials",
        "one fall, s",
        "made ready, s",
        "trials, s",
        "in falls",
        "falls per 1,000",
        "let fall",
        "chance all fall",
    ):
        table.add_column(heading, justify="right")
    rows, columns, trials = (100, 200, 100) if quick else (200, 500, 1000)
    table.add_row(*measure(rows, columns, False, trials))
    table.add_row(*measure(rows, columns, True, max(trials // 50, 2)))
    Console().print(table)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=TITLE)
    parser.add_argument("--quick", action="store_true", help="smaller sizes, for a look")
    show(parser.parse_args().quick)
