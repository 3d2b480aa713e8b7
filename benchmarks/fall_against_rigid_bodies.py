"""Our train model of a fall beside free rigid boxes in MuJoCo: one table, with the differences.

    python -m benchmarks.fall_against_rigid_bodies [--quick]

Pieces of 48 x 24 x 7.5 mm, 8.5 g, domino friction 0.2 and floor friction 0.5 where nothing is said. Speeds in
sqrt(g h) over the last ten steps of a row, times in ms from the push to the last first touch where nothing is
said. MuJoCo is an engine, not an experiment, and no published table of speeds could be read to compare with. What
stops in one of the two has no number there.
"""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests" / "fall"))

import fall_layouts as lay

from standfall.fall.chain import least_push_rad_s
from standfall.fall.ground import Ground

TITLE = "the fall: train model beside rigid bodies (MuJoCo)"
GRIPPY = Ground(domino_friction=0.2, floor_friction=0.5)


@dataclass(frozen=True)
class Case:
    """One figure of one arrangement, read from the times of first touch."""

    name: str
    layout: lay.Layout
    ground: Ground
    figure: Callable[[np.ndarray], float]
    unit: str = "ms"


def _speed(gap: float) -> Callable[[np.ndarray], float]:
    return lambda struck_s: lay.front_speed(struck_s, gap * lay.HEIGHT_M + lay.THICKNESS_M)


def _between(first: int, last: int) -> Callable[[np.ndarray], float]:
    return lambda struck_s: 1000.0 * float(struck_s[last] - struck_s[first])


def _rows(quick: bool) -> Iterator[Case]:
    count = 40
    for gap in (0.1, 0.3, 0.8) if quick else (0.1, 0.2, 0.3, 0.5, 0.7, 0.8):
        yield Case(f"even row, gap {gap} h", lay.even_row(count, gap), GRIPPY, _speed(gap), "sqrt(gh)")
    for gap in (0.3,) if quick else (0.1, 0.2, 0.3, 0.5, 0.7, 0.8):
        name = f"even row, gap {gap} h, frictions 0.4 and 0.4"
        yield Case(name, lay.even_row(count, gap), Ground(0.4, 0.4), _speed(gap), "sqrt(gh)")
    for floor in () if quick else (0.15, 0.2, 0.3, 1.0):
        for gap in (0.5, 0.8, 0.85, 0.9):
            name = f"even row, gap {gap} h, floor {floor}"
            yield Case(name, lay.even_row(count, gap), Ground(0.2, floor), _speed(gap), "sqrt(gh)")
    for slope_deg in (-4, 4) if quick else (-6, -4, -2, 2, 4, 6):
        downhill = 0.0 if slope_deg > 0 else math.pi
        ground = replace(GRIPPY, slope_rad=math.radians(abs(slope_deg)), downhill_rad=downhill)
        name = f"even row, gap 0.3 h, slope {slope_deg:+d} deg"
        yield Case(name, lay.even_row(count, 0.3), ground, _speed(0.3), "sqrt(gh)")
    for seed in range(1 if quick else 4):
        row = lay.straight_row(np.random.default_rng(seed).uniform(0.15, 0.6, 59))
        yield Case(f"60 pieces, gaps 0.15 to 0.6 h at random ({seed})", row, GRIPPY, _between(0, 59))


def _events(quick: bool) -> Iterator[Case]:
    for gap in (0.4,) if quick else (0.15, 0.25, 0.4, 0.6):
        row = lay.split_row(15, 8, gap, (-0.55, 0.55))
        for step in (14, 15, 16, 17, 18):
            yield Case(
                f"one row becomes two, gap {gap} h: step {step - 13}", row, GRIPPY, _between(step, step + 1)
            )
    for aside in (-0.25, -0.35):
        row = lay.split_row(15, 10, 0.3, (aside, aside + 1.1))
        yield Case(
            f"unequal split, {1 + aside:.0%} of one branch met: that one", row, GRIPPY, _between(0, 24)
        )
        yield Case(f"unequal split, {-0.1 - aside:.0%} of the other met", row, GRIPPY, _between(0, 34))
    for times in (4.0,) if quick else (2.0, 3.0, 4.0, 5.0, 6.0, 8.0):
        row = lay.widened_row(28, 0.3, 15, times)
        yield Case(f"one piece drives blocks {times:g} times as wide", row, GRIPPY, _between(2, 27))
    for gap in (0.4,) if quick else (0.25, 0.4, 0.6):
        for step in (0.5, 0.7, 0.9):
            row = lay.stepped_row(30, gap, 15, step)
            yield Case(
                f"step aside {step} widths, gap {gap} h: 15 pieces after", row, GRIPPY, _between(14, 29)
            )
    for gap in (0.3,) if quick else (0.2, 0.25, 0.3, 0.35, 0.4):
        row = lay.without(lay.even_row(30, gap), 15)
        yield Case(f"one missing, gap {gap} h: crossing", row, GRIPPY, _between(14, 15))
        yield Case(f"one missing, gap {gap} h: all", row, GRIPPY, _between(0, 28))
        yield Case(f"one missing, gap {gap} h, floor 1: all", row, Ground(0.2, 1.0), _between(0, 28))
    for gap in (0.3,) if quick else (0.25, 0.3, 0.4):
        for turn_deg in (5, 10) if quick else (3, 5, 7, 10, 20):
            bend = lay.curve(16 if turn_deg > 10 else 30, gap, math.radians(turn_deg))
            yield Case(f"curve of {turn_deg} deg a piece, gap {gap} h", bend, GRIPPY, _speed(gap), "sqrt(gh)")
        row = lay.brick_field(5, 12, gap, 0.027)  # the last row has six; the figure is of its fourth
        yield Case(f"half-offset rows from a flat front, gap {gap} h", row, GRIPPY, _between(0, len(row) - 3))


def _line(name: str, unit: str, judged: float, ours: float) -> str:
    difference = f"{ours / judged - 1:+8.2%}" if math.isfinite(judged) and math.isfinite(ours) else "       -"
    digits = 3 if unit.startswith("sqrt") else 1
    figures = [f"{value:9.{digits}f}" if math.isfinite(value) else "    stops" for value in (judged, ours)]
    return f"{name:58s} {figures[0]} {figures[1]} {difference}  {unit}"


def _least_push(gap: float) -> tuple[float, float]:
    """Return the least push that fells 25 pieces, MuJoCo's by halving to 1 % of ours."""
    row = lay.even_row(25, gap)
    ours = least_push_rad_s(np.full(24, gap * lay.HEIGHT_M), row.pieces, GRIPPY) / lay.TURNING_RAD_S
    low, high = 0.8 * ours, 1.6 * ours
    while high - low > 0.01 * ours:
        middle = 0.5 * (low + high)
        if np.isfinite(lay.rigid_fall(row, GRIPPY, middle).struck_s).all():
            high = middle
        else:
            low = middle
    return high, ours


def show(quick: bool) -> None:
    """Print the table."""
    lay.our_fall(lay.even_row(3, 0.3), GRIPPY)  # compiles
    print(f"{'':58s}    MuJoCo      ours  ours less MuJoCo")
    falls: dict[tuple[int, Ground], tuple[lay.Layout, np.ndarray, np.ndarray]] = {}
    spent = [0.0, 0.0]
    for case in (*_rows(quick), *_events(quick)):
        key = id(case.layout), case.ground
        if key not in falls:  # the layout is kept with it, so that no other gets its id
            begun = time.perf_counter()
            judged = lay.rigid_fall(case.layout, case.ground).struck_s
            spent[0] += time.perf_counter() - begun
            begun = time.perf_counter()
            ours = lay.our_fall(case.layout, case.ground).struck_s
            spent[1] += time.perf_counter() - begun
            falls[key] = case.layout, judged, ours
        _, judged, ours = falls[key]
        print(_line(case.name, case.unit, case.figure(judged), case.figure(ours)), flush=True)
    for gap in (0.1,) if quick else (0.05, 0.08, 0.1, 0.2, 0.3):
        print(_line(f"least push that fells 25, gap {gap} h", "sqrt(g/h)", *_least_push(gap)), flush=True)
    print(f"in all, without the least pushes: MuJoCo {spent[0]:.1f} s, ours {spent[1]:.3f} s")


if __name__ == "__main__":
    show(quick="--quick" in sys.argv[1:])
