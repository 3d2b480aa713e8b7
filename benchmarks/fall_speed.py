"""What a predicted fall costs per domino: beside MuJoCo in the same run, and as a build grows.

    python -m benchmarks.fall_speed [--quick]

A straight field of 48 x 24 x 7.5 mm pieces (gap 14.5 mm), the same with half-offset rows, and uneven gaps; all
columns struck at once. "fall" is ``topple`` with contacts known, CPU time of one core, the faster of two; contacts
are told apart. MuJoCo lets a row of 40 fall freely with a step of 1 ms, stopping at the last touch.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests" / "fall"))

import fall_layouts as lay

from standfall.fall.contact import find_contacts
from standfall.fall.falling import Strikes, topple
from standfall.fall.ground import Ground
from standfall.fall.pieces import Pieces

TITLE = "the fall: cost per domino"
ROW_PITCH_M, COL_PITCH_M = 0.022, 0.027
ROWS = 300


def field(count: int, half_offset: bool, uneven: bool) -> tuple[np.ndarray, np.ndarray, int]:
    """Return where the middles of a field of about ``count`` pieces are, and its columns."""
    columns = count // ROWS
    step = np.full(ROWS, ROW_PITCH_M)
    if uneven:
        step = np.random.default_rng(1).uniform(0.25, 0.55, ROWS) * 0.048 + 0.0075
    row, column = np.divmod(np.arange(ROWS * columns), columns)
    return np.cumsum(step)[row], COL_PITCH_M * (column + 0.5 * half_offset * (row % 2)), columns


def cpu_s(work: Callable[[], Any]) -> tuple[Any, float]:
    """Return the result and the faster of two runs' CPU time."""
    times = []
    for _ in range(2):
        begun = time.process_time()
        result = work()
        times.append(time.process_time() - begun)
    return result, min(times)


def measure(count: int, half_offset: bool, uneven: bool) -> tuple[int, float, float]:
    """Return pieces, and microseconds a piece for contacts and for the fall."""
    x_m, y_m, columns = field(count, half_offset, uneven)
    size = len(x_m)
    pieces = Pieces.alike(size, height_m=0.048, width_m=0.024, thickness_m=0.0075, mass_kg=0.0085)
    level = np.zeros(size)
    strikes = Strikes(
        np.arange(columns, dtype=np.int32),
        np.zeros(columns),
        np.full(columns, 8.0),
        np.full(columns, -1, dtype=np.int32),
        np.zeros(columns, dtype=np.int16),
    )
    contacts, contacts_s = cpu_s(lambda: find_contacts(x_m, y_m, level, level, pieces))
    fall, fall_s = cpu_s(lambda: topple(contacts, pieces, level, Ground(), strikes))
    assert fall.standing == 0
    return size, 1e6 * contacts_s / size, 1e6 * fall_s / size


def rigid_us() -> float:
    """Return MuJoCo's microseconds a piece for a row of 40 at a step of 1 ms."""
    row = lay.even_row(40, 0.3)
    _, spent_s = cpu_s(lambda: lay.rigid_fall(row, Ground(floor_friction=0.5), step_s=0.001))
    return 1e6 * spent_s / 40


def show(quick: bool) -> None:
    """Print the table."""
    measure(3000, True, False)  # compiles
    rigid = rigid_us()
    print(f"MuJoCo, 40 pieces, step 1 ms: {rigid:,.0f} us a piece")
    print(f"{'pieces':>10}  {'rows':<12} {'contacts':>9} {'fall':>7}  us a piece; MuJoCo / fall")
    sizes = (100_000, 300_000) if quick else (100_000, 300_000, 1_000_000)
    straight = []
    for name, half_offset, uneven in (
        ("straight", False, False),
        ("uneven", False, True),
        ("half-offset", True, False),
    ):
        for count in sizes if name == "straight" else sizes[:1]:
            size, contacts_us, fall_us = measure(count, half_offset, uneven)
            print(f"{size:>10,}  {name:<12} {contacts_us:>9.2f} {fall_us:>7.2f}  {rigid / fall_us:>12,.0f}")
            if name == "straight":
                straight.append((size, fall_us))
    (few, few_us), (many, many_us) = straight[0], straight[-1]
    allowed = np.log(many) / np.log(few)
    print(
        f"growth {few:,} to {many:,}: cost a piece x {many_us / few_us:.2f}; n log n allows x {allowed:.2f}"
    )


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=TITLE)
    parser.add_argument("--quick", action="store_true", help="smaller sizes, for a look")
    show(parser.parse_args().quick)
