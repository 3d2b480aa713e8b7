"""A slow, readable twin of the leaning train: angles instead of sines, scipy's integrator instead of ours.

Written from J.M.J. van Leeuwen, "The domino effect", Am. J. Phys. 78 (2010) 721 (arXiv physics/0401018): lean, speed
ratio, torque arms, weights that remove the contact forces, inelastic hit. The two cuts (flush, lost contact)
are those of docs/fall.md.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp

from standfall.fall.ground import GRAVITY_M_S2


@dataclass(frozen=True)
class Row:
    """Sizes, masses and gaps of a row, friction, and slope in the direction of the fall, positive downhill."""

    height_m: list[float]
    thickness_m: list[float]
    mass_kg: list[float]
    gap_m: list[float]
    friction: float
    slope_rad: float = 0.0


def inertia(row: Row, k: int) -> float:
    return row.mass_kg[k] * (row.height_m[k] ** 2 + row.thickness_m[k] ** 2) / 3


def weight_torque(row: Row, k: int, angle: float) -> float:
    lean = angle + row.slope_rad
    arm = row.height_m[k] * math.sin(lean) - row.thickness_m[k] * math.cos(lean)
    return 0.5 * row.mass_kg[k] * GRAVITY_M_S2 * arm


def members(row: Row, front: int, angle: float) -> list[tuple[int, float, float, float]]:
    """(piece, angle, speed over the front's, weight r) from the front back, as far as they drive it."""
    found = [(front, angle, 1.0, 1.0)]
    for k in range(front - 1, -1, -1):
        _, next_angle, next_speed, next_weight = found[-1]
        h, d = row.height_m[k], row.thickness_m[k + 1]
        c = row.gap_m[k] + d
        sine = (c * math.cos(next_angle) - d) / h
        if sine <= 0:
            break  # flush
        lean = math.asin(sine)
        ratio = 1 - c * math.sin(next_angle) / (h * math.cos(lean))
        pushed = h * math.cos(lean) - c * math.sin(next_angle) - row.friction * d
        pusher = h * math.cos(lean) + row.friction * h * math.sin(lean)
        if ratio <= 0 or pushed <= 0:
            break  # slid off, or jams
        found.append((k, next_angle + lean, next_speed * ratio, next_weight * pushed / pusher))
    return found


def sums(row: Row, front: int, angle: float) -> tuple[float, float, float]:
    """J, A, B of J y' = 2 (A - B y); the speeds' change with the front's angle by central difference."""
    step = 1e-6
    here, more, less = (members(row, front, angle + shift) for shift in (0.0, step, -step))
    j = sum(r * w * inertia(row, k) for k, _, w, r in here)
    a = sum(r * weight_torque(row, k, angle_k) for k, angle_k, _, r in here)
    b = 0.0
    for one, two, three in zip(here, more, less, strict=False):
        b += one[3] * inertia(row, one[0]) * (two[2] - three[2]) / (2 * step)
    return j, a, b


def fall_times(row: Row, push_rad_s: float) -> list[float]:
    """Time of first touch of each piece, as far as the fall goes."""
    times, square = [0.0], push_rad_s**2
    for front in range(len(row.height_m) - 1):
        end = math.asin(min(row.gap_m[front] / row.height_m[front], 1.0))

        def motion(angle: float, state: np.ndarray, front: int = front) -> list[float]:
            j, a, b = sums(row, front, angle)
            y = max(state[0], 1e-12)
            return [2 * (a - b * y) / j, 1 / math.sqrt(y)]

        def stalls(_angle: float, state: np.ndarray) -> float:
            return float(state[0] - 1e-9)

        stalls.terminal = True  # type: ignore[attr-defined]
        done = solve_ivp(
            motion, (0.0, end), [square, 0.0], rtol=1e-9, atol=1e-12, events=stalls, max_step=end / 20
        )
        if done.status == 1:
            break
        times.append(times[-1] + float(done.y[1, -1]))
        j, _, _ = sums(row, front + 1, 0.0)
        square = done.y[0, -1] * ((j - inertia(row, front + 1)) / j) ** 2
    return times
