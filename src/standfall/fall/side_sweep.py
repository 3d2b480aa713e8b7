"""Pieces struck off their middle: how far they turn as they fall, and into whom."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from standfall.fall._contact_kernels import turn_and_look
from standfall.fall.contact import Contacts, lay_out, new_bench
from standfall.fall.pieces import Pieces

Floats = NDArray[np.float64]

# Rigid-body runs of our own with MuJoCo (48 x 24 x 7.5 mm, floor friction 0.5), no experiment: rows with a
# sideways step of so many widths; the struck piece ended turned by up to so much.
_STEP_WIDTHS = (0.5, 0.7, 0.9, 0.95)
_MOST_TURN_DEG = (4.0, 42.0, 55.0, 66.0)

# Between two looks 3 degrees apart a corner 60 mm away bulges by 60 mm * (1 - cos(1.5 deg)) = 0.02 mm.
LOOK_RAD = math.radians(3.0)


@dataclass(frozen=True)
class SideSweep:
    """Turned pieces and whom they may meet; by place in the edges asked for, then by neighbour.

    Attributes:
        edge: (k,) int64 edge of the contacts by which a piece is struck off its middle.
        struck: (k,) int32 that domino.
        neighbour: (k,) int32 domino that it may meet, and would not if it fell straight.
        turn_rad: (k,) how far it may turn, counter-clockwise positive.
    """

    edge: NDArray[np.int64]
    struck: NDArray[np.int32]
    neighbour: NDArray[np.int32]
    turn_rad: Floats

    def __len__(self) -> int:
        return len(self.edge)


def most_turn_rad(step: Floats, overlap: Floats) -> Floats:
    """Return the most that a piece turns as it falls, 0 or more.

    The upper bound of rigid-body runs of our own with MuJoCo, no experiment: 4, 42, 55, 66 degrees at a step of
    0.5, 0.7, 0.9, 0.95 widths, in between interpolated, beyond constant. Below half a width it is 0, unless less
    than half of the width is met: then what is missing counts as the step.

    Args:
        step: (n,) sideways step of a row in widths.
        overlap: (n,) as in ``Contacts``.
    """
    step = np.where(overlap < 0.5, np.maximum(step, 1.0 - overlap), step)
    turn_rad = np.radians(np.interp(step, _STEP_WIDTHS, _MOST_TURN_DEG))
    # A step of exactly half a width counts, whatever its last digit.
    return np.where(step < 0.5 - 1e-9, 0.0, turn_rad)


def struck_turns(pieces: Pieces, contacts: Contacts, edges: NDArray[np.int64]) -> Floats:
    """Return how far the struck pieces of these edges may turn, counter-clockwise positive.

    What counts is where the part that is met lies on the struck piece: its middle, in half widths from the
    middle of the piece. Between equal pieces that face one way this is the step in widths. Struck on its
    left half, as it falls, a piece turns clockwise.

    Args:
        pieces: n sizes.
        contacts: of them.
        edges: (k,) edges of the contacts.
    """
    n = max(len(contacts), 1)
    striker, struck = _strikers(contacts, edges) % n, contacts.target[edges] % n
    offset_m, turn_rad = contacts.offset_m[edges], contacts.turn_rad[edges]
    # Half of what the struck piece fills, sideways, in the striker's frame.
    half_m = 0.5 * (
        pieces.thickness_m[struck] * np.abs(np.sin(turn_rad)) + pieces.width_m[struck] * np.cos(turn_rad)
    )
    band_m = 0.5 * pieces.width_m[striker]
    met_m = 0.5 * (np.maximum(offset_m - half_m, -band_m) + np.minimum(offset_m + half_m, band_m))
    left_m = met_m - offset_m
    most_rad = most_turn_rad(np.abs(left_m) / half_m, contacts.overlap[edges])
    return np.where(np.abs(left_m) < 1e-9, 0.0, -np.sign(left_m) * most_rad)


def side_sweeps(
    x_m: Floats,
    y_m: Floats,
    z_m: Floats,
    yaw_rad: Floats,
    pieces: Pieces,
    contacts: Contacts,
    used_edges: NDArray[np.int64],
) -> SideSweep:
    """Find whom pieces may meet that are struck off their middle and turn as they fall.

    The struck piece is turned about its middle by everything between 0 and what ``struck_turns`` says, in steps of
    3 degrees or less, and looks ahead as in ``find_contacts``: by its own height, as wide as itself, nearer pieces
    hiding farther ones. Told is what it sees then and is neither a target of the struck node nor its striker.

    Args:
        x_m, y_m, z_m, yaw_rad, pieces: as for ``find_contacts``.
        contacts: what it returned for them.
        used_edges: (k,) edges by which pieces are struck in the fall.
    """
    floor = lay_out(x_m, y_m, z_m, yaw_rad, pieces)
    edges = np.asarray(used_edges, dtype=np.int64)
    turn_rad = struck_turns(pieces, contacts, edges)
    edges, turn_rad = edges[turn_rad != 0], turn_rad[turn_rad != 0]
    striker = (_strikers(contacts, edges) % max(len(contacts), 1)).astype(np.int32)
    struck = contacts.target[edges]
    reach = np.ascontiguousarray(pieces.height_m, dtype=np.float64)
    bench, found = new_bench(256), np.empty((1 << 14, 2), np.int64)
    parts, done = [found[:0]], 0
    while done < len(edges):
        before = done
        done, rows = turn_and_look(
            floor,
            contacts.first,
            contacts.target,
            striker,
            struck,
            turn_rad,
            reach,
            LOOK_RAD,
            done,
            bench,
            found,
        )
        parts.append(found[:rows].copy())
        if done == before:  # not even one edge fits
            bench, found = new_bench(2 * len(bench.target)), np.empty((2 * len(found), 2), np.int64)
    place, neighbour = np.concatenate(parts).T
    order = np.lexsort((neighbour, place))
    place, neighbour = place[order], neighbour[order].astype(np.int32)
    return SideSweep(edges[place], struck[place] % max(len(contacts), 1), neighbour, turn_rad[place])


def _strikers(contacts: Contacts, edges: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the nodes that these edges start from."""
    return np.searchsorted(contacts.first, edges, side="right") - 1
