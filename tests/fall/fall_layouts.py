"""Arrangements of dominoes for checks: poses, and both our fall and MuJoCo's of one and the same arrangement."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from rigid import Outcome, let_fall

from standfall.fall.contact import find_contacts
from standfall.fall.falling import Fall, Strikes, topple
from standfall.fall.ground import GRAVITY_M_S2, Ground
from standfall.fall.pieces import Pieces

HEIGHT_M, WIDTH_M, THICKNESS_M, MASS_KG = 0.048, 0.024, 0.0075, 0.0085
SPEED_M_S = math.sqrt(GRAVITY_M_S2 * HEIGHT_M)  # unit of speed, sqrt(g h)
TURNING_RAD_S = math.sqrt(GRAVITY_M_S2 / HEIGHT_M)  # unit of angular speed, sqrt(g / h)


@dataclass(frozen=True)
class Layout:
    """Poses of n pieces (middles of the feet, fall directions) and which of them are pushed at time 0."""

    x_m: NDArray[np.float64]
    y_m: NDArray[np.float64]
    yaw_rad: NDArray[np.float64]
    pieces: Pieces
    pushed: tuple[int, ...] = (0,)
    z_m: NDArray[np.float64] = field(default_factory=lambda: np.zeros(0))

    def __len__(self) -> int:
        return len(self.x_m)

    @property
    def feet_m(self) -> NDArray[np.float64]:
        return self.z_m if len(self.z_m) else np.zeros(len(self))


def alike(count: int) -> Pieces:
    """Return pieces of the common size."""
    return Pieces.alike(count, height_m=HEIGHT_M, width_m=WIDTH_M, thickness_m=THICKNESS_M, mass_kg=MASS_KG)


def straight_row(gap_heights: Sequence[float] | NDArray[np.float64]) -> Layout:
    """Return a row along x with these clear gaps, in heights."""
    gap_m = HEIGHT_M * np.asarray(gap_heights, dtype=np.float64)
    x = np.concatenate([[0.0], np.cumsum(gap_m + THICKNESS_M)])
    return Layout(x, np.zeros(len(x)), np.zeros(len(x)), alike(len(x)))


def even_row(count: int, gap_heights: float) -> Layout:
    return straight_row(np.full(count - 1, gap_heights))


def stepped_row(count: int, gap_heights: float, at: int, step_widths: float) -> Layout:
    """Return a row whose pieces from ``at`` on stand aside by so many widths."""
    row = even_row(count, gap_heights)
    return replace(row, y_m=np.where(np.arange(count) >= at, step_widths * WIDTH_M, 0.0))


def without(layout: Layout, piece: int) -> Layout:
    """Take one piece away."""
    kept = np.delete(np.arange(len(layout)), piece)
    return replace(
        layout,
        x_m=layout.x_m[kept],
        y_m=layout.y_m[kept],
        yaw_rad=layout.yaw_rad[kept],
        pieces=layout.pieces.take(kept),
    )


def widened_row(count: int, gap_heights: float, at: int, times: float) -> Layout:
    """Return a row whose pieces from ``at`` on are so many times as wide, and as heavy."""
    row = even_row(count, gap_heights)
    factor = np.where(np.arange(count) >= at, times, 1.0)
    pieces = replace(row.pieces, width_m=WIDTH_M * factor, mass_kg=MASS_KG * factor)
    return replace(row, pieces=pieces)


def split_row(stem: int, branch: int, gap_heights: float, aside_widths: Sequence[float]) -> Layout:
    """Return a row of ``stem`` pieces that goes on in several columns, each so many widths aside."""
    pitch = gap_heights * HEIGHT_M + THICKNESS_M
    x, y = [np.arange(stem) * pitch], [np.zeros(stem)]
    for aside in aside_widths:
        x.append((stem + np.arange(branch)) * pitch)
        y.append(np.full(branch, aside * WIDTH_M))
    count = stem + branch * len(aside_widths)
    return Layout(np.concatenate(x), np.concatenate(y), np.zeros(count), alike(count))


def brick_field(columns: int, rows: int, gap_heights: float, column_pitch_m: float) -> Layout:
    """Return rows set off by half a column in turn, all of the first row pushed at once (a flat front).

    Odd rows have one piece more, so that no piece of an even row meets only one.
    """
    pitch = gap_heights * HEIGHT_M + THICKNESS_M
    x, y = [], []
    for row in range(rows):
        count = columns + row % 2
        x.append(np.full(count, row * pitch))
        y.append((np.arange(count) - 0.5 * (count - 1)) * column_pitch_m)
    count = sum(map(len, x))
    return Layout(
        np.concatenate(x), np.concatenate(y), np.zeros(count), alike(count), pushed=tuple(range(columns))
    )


def curve(count: int, gap_heights: float, turn_rad: float) -> Layout:
    """Return an arc: middles at even chords, each piece turned on from the one before by ``turn_rad``.

    The chord is as long as the pitch of a straight row with that gap.
    """
    pitch = gap_heights * HEIGHT_M + THICKNESS_M
    yaw = turn_rad * np.arange(count)
    chord = yaw[:-1] + 0.5 * turn_rad
    x = np.concatenate([[0.0], np.cumsum(pitch * np.cos(chord))])
    y = np.concatenate([[0.0], np.cumsum(pitch * np.sin(chord))])
    return Layout(x, y, yaw, alike(count))


def our_fall(layout: Layout, ground: Ground, push: float = 1.0) -> Fall:
    """Return our fall; ``push`` in units of sqrt(g / h)."""
    contacts = find_contacts(layout.x_m, layout.y_m, layout.feet_m, layout.yaw_rad, layout.pieces)
    count = len(layout.pushed)
    strikes = Strikes(
        node=np.array(layout.pushed, dtype=np.int32),
        at_s=np.zeros(count),
        omega_rad_s=np.full(count, push * TURNING_RAD_S),
        waits_for=np.full(count, -1, dtype=np.int32),
        starter=np.zeros(count, dtype=np.int16),
    )
    return topple(contacts, layout.pieces, layout.yaw_rad, ground, strikes)


def rigid_fall(
    layout: Layout, ground: Ground, push: float = 1.0, *, to_rest: bool = False, step_s: float = 0.0005
) -> Outcome:
    """Return MuJoCo's fall of the same; ``push`` in units of sqrt(g / h)."""
    return let_fall(
        layout.x_m,
        layout.y_m,
        layout.yaw_rad,
        layout.pieces,
        ground,
        push_rad_s=dict.fromkeys(layout.pushed, push * TURNING_RAD_S),
        z_m=layout.feet_m,
        to_rest=to_rest,
        step_s=step_s,
    )


def front_speed(struck_s: NDArray[np.float64], pitch_m: float, last: int = 10) -> float:
    """Return the mean speed over the last steps of an even row, in sqrt(g h)."""
    return float(last * pitch_m / (struck_s[-1] - struck_s[-1 - last]) / SPEED_M_S)
