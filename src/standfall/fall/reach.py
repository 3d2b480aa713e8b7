"""How far a fall reaches beyond its contacts: wide gaps, stacked pieces, walls."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from standfall.fall._contact_kernels import TOUCH_M, support_below
from standfall.fall.contact import Contacts, lay_out, sweep
from standfall.fall.pieces import Pieces
from standfall.geometry.outline import inside

Floats = NDArray[np.float64]

#: A gap of less than this many heights counts as carried.
CARRIED_HEIGHTS = 0.8
#: Below this floor friction no run was made: how far a fall reaches there is not known.
REACH_KNOWN_FROM = 0.15

# Rigid-body runs of our own with MuJoCo (48 x 24 x 7.5 mm, domino friction 0.2), no experiment: debris lay up to
# 2.1, 1.7 and 1.27 heights ahead at floor friction 0.15, 0.2 and from 0.3; gaps were crossed up to 1.75, 1.3
# and 1.1 heights.
_DEBRIS_FRICTION = (0.15, 0.2, 0.3)
_DEBRIS_HEIGHTS = (2.1, 1.7, 1.27)
# What we advise on the strength of them: a straight line between the slippery floor and the grippy one.
_SAFE_FRICTION = (0.15, 0.3)
_SAFE_HEIGHTS = (2.2, 1.5)


@dataclass(frozen=True)
class FarReach:
    """Pairs whose gap neither carries a fall for sure nor stops it for sure, by striker, then gap.

    Attributes:
        striker: (k,) int32 domino that falls.
        backward: (k,) it falls against its own fall direction.
        target: (k,) int32 domino ahead.
        gap_m: (k,) as in ``Contacts``; its own height or more.
    """

    striker: NDArray[np.int32]
    backward: NDArray[np.bool_]
    target: NDArray[np.int32]
    gap_m: Floats

    def __len__(self) -> int:
        return len(self.striker)


def debris_reach_m(height_m: Floats, floor_friction: float) -> Floats:
    """Return how far ahead of its place a fallen piece of this height was seen to slide or be pushed.

    Source: rigid-body runs of our own with MuJoCo, no experiment. Between the frictions tried it is
    interpolated, above them constant. Below ``REACH_KNOWN_FROM`` it is not known: what is returned is the
    last value known, and the truth may be more.

    Args:
        height_m: (n,) heights.
        floor_friction: of a foot on the floor.
    """
    return np.asarray(height_m * np.interp(floor_friction, _DEBRIS_FRICTION, _DEBRIS_HEIGHTS))


def safe_gap_m(height_m: Floats, floor_friction: float) -> Floats:
    """Return the clear gap that stops a fall: 1.5 heights on a floor of friction 0.3 and more, 2.2 at 0.15.

    Source, interpolation and limits as in ``debris_reach_m``; it is that reach and a margin.
    """
    return np.asarray(height_m * np.interp(floor_friction, _SAFE_FRICTION, _SAFE_HEIGHTS))


def far_reach(
    x_m: Floats,
    y_m: Floats,
    z_m: Floats,
    yaw_rad: Floats,
    pieces: Pieces,
    contacts: Contacts,
    floor_friction: float,
) -> FarReach:
    """Find the gaps of at least the striker's height and less than the safe gap, where nothing nearer carries on.

    Looked at are all pieces falling forward, and backward those that can be struck so, unless they have a contact
    at a gap of less than 0.8 heights. What counts as ahead and as hidden is as in ``find_contacts``.

    Args:
        x_m, y_m, z_m, yaw_rad, pieces: as for ``find_contacts``.
        contacts: what it returned for them.
        floor_friction: of a foot on the floor.
    """
    floor = lay_out(x_m, y_m, z_m, yaw_rad, pieces)
    n = len(pieces)
    looking = _falling_nodes(contacts)
    with_edges = np.flatnonzero(np.diff(contacts.first))
    nearest_m = contacts.gap_m[contacts.first[with_edges]]
    looking[with_edges[nearest_m < CARRIED_HEIGHTS * pieces.height_m[with_edges % n]]] = False
    nodes = np.flatnonzero(looking).astype(np.int32)
    seen = sweep(
        floor,
        yaw_rad,
        safe_gap_m(pieces.height_m, floor_friction),
        nodes,
        len(nodes),
        np.ones(2 * n, np.bool_),
    )
    owner = np.repeat(np.arange(2 * n), np.diff(seen.first))
    far = seen.gap_m >= pieces.height_m[owner % n] - TOUCH_M
    owner, target = owner[far], seen.target[far]
    return FarReach(
        striker=(owner % n).astype(np.int32), backward=owner >= n, target=target % n, gap_m=seen.gap_m[far]
    )


def _falling_nodes(contacts: Contacts) -> NDArray[np.bool_]:
    """Say of each node whether it can fall: forward any, backward when something strikes it so."""
    falling = np.zeros(2 * len(contacts), np.bool_)
    falling[: len(contacts)] = True
    falling[contacts.target] = True
    return falling


def stacked_on(x_m: Floats, y_m: Floats, z_m: Floats, pieces: Pieces) -> NDArray[np.int32]:
    """Return for each piece the one it stands on, -1 where it stands on none.

    It stands on a piece whose top is at its foot (within 1 mm) and whose middle is no farther from its own than
    half that piece's diagonal, so that it may stand on it whichever way they face. Of several the one
    with the nearest middle, of equally near ones the lowest number.

    Args:
        x_m, y_m, z_m: (n,) middles of the footprints and heights of the feet.
        pieces: n sizes.
    """
    return support_below(lay_out(x_m, y_m, z_m, np.zeros(len(pieces)), pieces), pieces.height_m)


def wall_hits(
    x_m: Floats,
    y_m: Floats,
    yaw_rad: Floats,
    pieces: Pieces,
    contacts: Contacts,
    outline_m: Sequence[tuple[float, float]],
) -> NDArray[np.int64]:
    """Find the pieces that would fall out of the floor's outline, forward or as they can be struck.

    A piece lies down on the rectangle from its leading face forward by its height; it may touch the outline, as
    standing pieces may. Pieces that lean on others and never lie down are told too: they reach as far, nearly.

    Args:
        x_m, y_m, yaw_rad, pieces: as for ``find_contacts``.
        contacts: what it returned for them; says which can fall backward.
        outline_m: corners of the floor.

    Returns:
        The dominoes, rising.
    """
    n = len(pieces)
    # Well inside nothing can leave. The hundredth makes up for the round corners, which shapely cuts short.
    far_m = 1.01 * float((pieces.height_m + pieces.thickness_m + pieces.width_m).max(initial=0.0))
    core = shapely.Polygon(outline_m).buffer(-far_m)
    shapely.prepare(core)
    near = ~shapely.contains_xy(core, x_m, y_m)
    nodes = np.flatnonzero(_falling_nodes(contacts) & np.tile(near, 2))
    leaving = ~inside(outline_m, _lying_corners(x_m, y_m, yaw_rad, pieces, nodes))
    return np.asarray(np.unique(nodes[leaving] % max(n, 1)), dtype=np.int64)


def _lying_corners(
    x_m: Floats, y_m: Floats, yaw_rad: Floats, pieces: Pieces, nodes: NDArray[np.intp]
) -> Floats:
    """Return the (k, 4, 2) corners of the rectangles that these nodes fall on."""
    k = nodes % max(len(pieces), 1)
    sign = np.where(nodes < len(pieces), 1.0, -1.0)
    ahead_x, ahead_y = sign * np.cos(yaw_rad[k]), sign * np.sin(yaw_rad[k])
    near = pieces.thickness_m[k] / 2
    far, half = near + pieces.height_m[k], pieces.width_m[k] / 2
    along, across = np.stack([near, far, far, near]), np.stack([half, half, -half, -half])
    corner_x = x_m[k] + along * ahead_x - across * ahead_y
    corner_y = y_m[k] + along * ahead_y + across * ahead_x
    return np.stack([corner_x.T, corner_y.T], axis=-1)
