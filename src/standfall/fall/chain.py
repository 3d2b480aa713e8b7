"""One chain: pieces in a row, each a given clear gap behind the next."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from standfall.fall.contact import Contacts
from standfall.fall.falling import Strikes, topple
from standfall.fall.ground import Ground
from standfall.fall.pieces import Pieces


@dataclass(frozen=True)
class ChainFall:
    """What becomes of a row of n pieces, the first of which is pushed.

    Attributes:
        t_s: (n,) first touch, 0 for the first piece, NaN when never.
        speed_m_s: (n,) pitch over the time since the one before was struck; NaN for the first.
        omega_rad_s: (n,) angular speed just after, NaN when never.
        margin: (n,) least share of its kinetic energy left on the way to the next; 0 where the fall dies.
        stalled_at: the piece that was struck and stays up, -1 when all fall.
    """

    t_s: NDArray[np.float64]
    speed_m_s: NDArray[np.float64]
    omega_rad_s: NDArray[np.float64]
    margin: NDArray[np.float64]
    stalled_at: int

    @property
    def fallen(self) -> int:
        """Return how many fall."""
        return int(np.isfinite(self.t_s).sum()) - (self.stalled_at >= 0)


def chain_contacts(gap_m: NDArray[np.float64], pieces: Pieces) -> Contacts:
    """Return the contacts of a straight row; gaps (n - 1,) of a piece's height or more are out of reach."""
    count = len(pieces)
    gap_m = np.asarray(gap_m, dtype=np.float64)
    near = gap_m < pieces.height_m[:-1]
    first = np.concatenate([[0], np.cumsum(near), np.full(count + 1, near.sum())])
    edges = int(near.sum())
    pitch_m = gap_m + 0.5 * (pieces.thickness_m[:-1] + pieces.thickness_m[1:])
    return Contacts(
        first=first.astype(np.int64)[: 2 * count + 1],
        target=(np.flatnonzero(near) + 1).astype(np.int32),
        gap_m=gap_m[near],
        offset_m=np.zeros(edges),
        turn_rad=np.zeros(edges),
        overlap=np.ones(edges),
        pitch_m=pitch_m[near],
    )


def chain_fall(gap_m: NDArray[np.float64], pieces: Pieces, ground: Ground, push_rad_s: float) -> ChainFall:
    """Let a straight row fall.

    Args:
        gap_m: (n - 1,) clear gaps, face to face; none negative.
        pieces: n sizes and masses.
        ground: friction and slope; the row falls in the direction of yaw 0.
        push_rad_s: angular speed of the first piece about its leading edge just after it is pushed.

    Raises:
        ValueError: shapes that do not fit, a negative gap or push.
    """
    gap_m = np.asarray(gap_m, dtype=np.float64)
    if gap_m.shape != (len(pieces) - 1,):
        raise ValueError("a row of n pieces has n - 1 gaps")
    if not (np.isfinite(gap_m).all() and (gap_m >= 0).all() and push_rad_s >= 0):
        raise ValueError("gaps and push must be numbers of 0 or more")
    push = Strikes(
        node=np.zeros(1, dtype=np.int32),
        at_s=np.zeros(1),
        omega_rad_s=np.array([float(push_rad_s)]),
        waits_for=np.full(1, -1, dtype=np.int32),
        starter=np.zeros(1, dtype=np.int16),
    )
    fall = topple(chain_contacts(gap_m, pieces), pieces, np.zeros(len(pieces)), ground, push)
    stalled = np.flatnonzero(fall.state == 2)
    return ChainFall(
        t_s=fall.struck_s,
        speed_m_s=fall.speed_m_s,
        omega_rad_s=fall.omega_rad_s,
        margin=fall.margin,
        stalled_at=int(stalled[0]) if len(stalled) else -1,
    )


def least_push_rad_s(gap_m: NDArray[np.float64], pieces: Pieces, ground: Ground) -> float:
    """Return the least push of the first piece that fells the whole row, NaN when none below 100 rad/s does.

    By halving, to one part in 10,000. A harder push never fells fewer.
    """
    if chain_fall(gap_m, pieces, ground, 100.0).fallen < len(pieces):
        return float("nan")
    low, high = 0.0, 100.0
    while high - low > 1e-4 * high:
        middle = 0.5 * (low + high)
        if chain_fall(gap_m, pieces, ground, middle).fallen == len(pieces):
            high = middle
        else:
            low = middle
    return high
