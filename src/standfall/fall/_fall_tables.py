"""The tables a fall is worked out in: one row per edge of the contact graph, one per piece."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from standfall.fall._train_kernels import LEAST_TURN_COS, Reals
from standfall.fall.ground import GRAVITY_M_S2

Rows = NDArray[Any]

STANDS, FRONT, PAST = 0, 1, 2  # phase of a piece
UNTOUCHED, FALLEN, STALLED = 0, 1, 2  # state of a piece

# One row per edge of the contact graph.
EDGE = np.dtype(
    [
        ("source", np.int32),
        ("target", np.int32),
        ("gap_m", np.float64),
        ("pitch_m", np.float64),
        ("contact", np.float64),  # sine of the striker's angle at first touch
        ("lever", np.float64),  # (gap + target's thickness) over the striker's height
        ("face", np.float64),  # target's thickness over the striker's height
        ("turn", np.float64),  # one over the cosine of the turn
        ("leans", np.bool_),  # striker drives target
    ],
    align=True,
)

# One row per piece: what it is, and what is known of it while all falls. Rows and not columns, since Numba
# counts references of each array it passes on, which would cost more than the mechanics.
PIECE = np.dtype(
    [
        # What a train needs, together in one line of the processor's cache.
        ("inertia", np.float64),  # kg m2, about the edge it turns on
        ("pull_sin", np.float64),  # N m, torque of its weight per sine and cosine of its angle
        ("pull_cos", np.float64),
        ("lever", np.float64),  # of the edge it was struck by
        ("face", np.float64),
        ("turn", np.float64),
        ("help", np.float64),  # how many trains like that of its first striker drive it
        ("behind", np.int32),  # piece that struck it, -1 none
        ("backward", np.bool_),
        ("open", np.bool_),  # whether it may yet reach another piece
        # The rest.
        ("height_m", np.float64),
        ("back_sin", np.float64),  # pulls when it falls backwards, since the slope then turns its sign
        ("back_cos", np.float64),
        ("struck_s", np.float64),
        ("omega", np.float64),
        ("speed", np.float64),
        ("margin", np.float64),
        ("down_s", np.float64),
        ("flow", np.float64),  # trains that run through it: 1 in a row, a half in each branch of a split
        ("angle", np.float64),  # of a front, at ``since``
        ("square", np.float64),  # of its angular speed then
        ("since", np.float64),
        ("start_square", np.float64),
        ("next_angle", np.float64),  # when it reaches what it is foreseen to reach
        ("next_square", np.float64),
        ("next_s", np.float64),
        ("next_weight", np.float64),  # inertia it then hits with, as it counts at the striker
        ("next_rate", np.float64),  # speed of the member that does, over the front's
        ("late_mass", np.float64),  # inertia of strikers that come after it when it moves already
        ("late_momentum", np.float64),  # that times their speeds
        ("late_flow", np.float64),  # and their flow
        ("mass", np.float64),  # of its group: inertia that strikers hit it with before it sets off
        ("momentum", np.float64),  # that times their speeds
        ("drive", np.float64),  # flow of all its strikers
        ("next_edge", np.int64),
        ("parent", np.int64),  # edge it was struck by first, -1 a starter
        ("parent_beside", np.int64),  # edge by which it leans on a piece from beside, -1 none
        ("waiting", np.int64),  # next of its edges that has not come to a contact
        ("striker", np.int32),
        ("children", np.int32),  # pieces it drives
        ("beside", np.int32),  # first of the pieces that lean on it without having struck it first, -1 none
        ("next_beside", np.int32),  # the next of those that lean on the same piece
        ("group", np.int32),  # piece that stands for its group: pieces struck together by the same strikers
        ("group_next", np.int32),
        ("group_tail", np.int32),
        ("members", np.int32),
        ("used", np.int32),  # members of its train at the end of its swing
        ("version", np.int32),
        ("starter", np.int16),
        ("state", np.int8),
        ("phase", np.int8),
        ("set_off", np.bool_),  # whether it has begun to swing
    ],
    align=True,
)


# One row per push of a starter.
PUSHES = np.dtype(
    [
        ("at_s", np.float64),
        ("omega", np.float64),
        ("node", np.int32),
        ("waits_for", np.int32),
        ("starter", np.int16),
    ],
    align=True,
)


def edge_table(
    target: NDArray[np.int32],
    source: NDArray[np.int32],
    gap_m: Reals,
    turn_cos: Reals,
    pitch_m: Reals,
    height_m: Reals,
    thickness_m: Reals,
) -> Rows:
    """Return the contact graph's edges as rows of ``EDGE``; arguments as in ``fall_down``."""
    count = len(height_m)
    edges = np.zeros(len(target), dtype=EDGE)
    height, thickness, gap = height_m[source % count], thickness_m[target % count], np.maximum(gap_m, 0.0)
    edges["source"], edges["target"] = source, target
    edges["gap_m"], edges["pitch_m"] = gap_m, pitch_m
    edges["contact"] = np.minimum(gap / height, 1.0)
    edges["lever"], edges["face"] = (gap + thickness) / height, thickness / height
    edges["turn"] = 1.0 / np.maximum(turn_cos, LEAST_TURN_COS)
    return edges


def piece_table(height_m: Reals, thickness_m: Reals, mass_kg: Reals, slope_rad: Reals) -> Rows:
    """Return n standing pieces as rows of ``PIECE``."""
    pieces = np.zeros(len(height_m), dtype=PIECE)
    half_weight = 0.5 * mass_kg * GRAVITY_M_S2
    sine, cosine = np.sin(slope_rad), np.cos(slope_rad)
    pieces["height_m"] = height_m
    pieces["inertia"] = mass_kg * (height_m**2 + thickness_m**2) / 3.0
    # Torque of weight at angle t: m g / 2 (h sin(t + slope) - d cos(t + slope)), split by sin t and cos t.
    pieces["pull_sin"] = half_weight * (height_m * cosine + thickness_m * sine)
    pieces["pull_cos"] = half_weight * (height_m * sine - thickness_m * cosine)
    pieces["back_sin"] = half_weight * (height_m * cosine - thickness_m * sine)
    pieces["back_cos"] = half_weight * (-height_m * sine - thickness_m * cosine)
    for name in ("struck_s", "omega", "speed", "margin", "down_s"):
        pieces[name] = np.nan
    pieces["striker"] = -2
    for name in (
        "starter",
        "parent",
        "waiting",
        "next_edge",
        "behind",
        "beside",
        "next_beside",
        "parent_beside",
    ):
        pieces[name] = -1
    return pieces
