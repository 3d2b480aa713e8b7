"""Every domino as a box in the hall, standing or fallen.

A box is a corner line and three edges: ``foot`` is the middle of the edge it topples over (the lower
front one), and ``up``, ``back``, ``side`` run from there along its height, its thickness and half its
width. Standing, height points to hall z and thickness against the fall.

Fallen, each domino has turned over that edge until it lies on the next. In an even row the fallen ones
are parallel, a pitch p apart along the floor and a thickness t apart at right angles, so the angle a
they keep to the floor has sin a = t / p (elementary geometry). A domino with none ahead lies flat. One
stacked on another goes over with it as if glued: common practice, no source; real ones roll a little
further.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from standfall.brief import Brief
from standfall.mural.standing import Standing

Floats = NDArray[np.float64]
State = Literal["standing", "fallen"]


@dataclass(frozen=True)
class Boxes:
    """n boxes in the hall: ``foot``, ``up``, ``back`` and ``side``, each (n, 3) metres."""

    foot: Floats
    up: Floats
    back: Floats
    side: Floats

    def __len__(self) -> int:
        return len(self.foot)

    def part(self, rows: slice | NDArray[np.intp]) -> Boxes:
        """Return some of the boxes."""
        return Boxes(self.foot[rows], self.up[rows], self.back[rows], self.side[rows])


def pose_boxes(standing: Standing, brief: Brief, state: State, flat: bool = False) -> Boxes:
    """Return the box of each domino.

    Args:
        standing: n dominoes.
        brief: for the piece and the pitches.
        state: standing or fallen.
        flat: fallen ones lie flat on the floor, their whole length to be seen from above.
    """
    piece = brief.domino
    cosine, sine = np.cos(standing.yaw_rad), np.sin(standing.yaw_rad)
    ahead = np.column_stack([cosine, sine, np.zeros(len(standing))])
    left = np.column_stack([-sine, cosine, np.zeros(len(standing))])
    above = np.broadcast_to([0.0, 0.0, 1.0], ahead.shape)
    middle = np.column_stack([standing.x_m, standing.y_m, standing.z_m])
    foot = middle + ahead * (piece.thickness_m / 2)
    if state == "standing":
        lean = np.full((len(standing), 1), np.pi / 2)
    elif flat:
        lean = np.zeros((len(standing), 1))
    else:
        lean = lean_rad(standing, brief)[:, None]
    along = ahead * np.cos(lean) + above * np.sin(lean)
    back = above * np.cos(lean) - ahead * np.sin(lean)
    if state == "fallen":
        # The foot of a stacked domino is carried round the same edge as the one below it.
        raised = (foot[:, 2] / piece.height_m)[:, None]
        foot = foot * [1.0, 1.0, 0.0] + along * (raised * piece.height_m)
    return Boxes(foot, along * piece.height_m, back * piece.thickness_m, left * (piece.width_m / 2))


def lean_rad(standing: Standing, brief: Brief) -> Floats:
    """Return (n,) the angle each fallen domino keeps to the floor, 0 when none stands ahead of it."""
    lean = np.zeros(len(standing))
    for number, field in enumerate(brief.fields):
        mine = np.flatnonzero(standing.field == number)
        row, col = standing.row[mine], standing.col[mine]
        there = np.zeros((field.rows + 1, field.columns), dtype=np.bool_)
        there[row, col] = True
        lean[mine] = np.where(there[row + 1, col], _lean(brief.domino.thickness_m, field.row_pitch_m), 0.0)
    on_line = np.flatnonzero(standing.line >= 0)
    follows = np.diff(standing.line[on_line]) == 0
    first, second = on_line[:-1][follows], on_line[1:][follows]
    pitch_m = np.hypot(standing.x_m[second] - standing.x_m[first], standing.y_m[second] - standing.y_m[first])
    lean[first] = _lean(brief.domino.thickness_m, pitch_m)
    return lean


def _lean(thickness_m: float, pitch_m: Floats | float) -> Floats:
    # Pieces closer than they are thick are a finding; they are drawn upright rather than not at all.
    return np.asarray(np.arcsin(np.minimum(1.0, thickness_m / np.maximum(pitch_m, 1e-9))))


def order_of_fall(standing: Standing) -> Floats:
    """Return (n,) numbers that grow from what lies on top after the fall to what lies at the bottom.

    A domino falls onto the ones ahead of it: so row 0 lies on top of row 1, and a stacked one on top of
    the one that carried it. Lines come before fields, since a feeder's last piece falls onto its field.
    """
    place = 2.0 * standing.row + (1.0 - standing.layer)
    on_line = standing.line >= 0
    lowest_line = float(place[on_line].max()) + 1.0 if on_line.any() else 0.0
    return np.asarray(np.where(on_line, place, place + lowest_line))
