"""The whole fall: from the starters over the contact graph to the last domino down."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from standfall.fall._fall_kernels import fall_down
from standfall.fall._fall_tables import PUSHES, edge_table, piece_table
from standfall.fall.contact import Contacts
from standfall.fall.ground import Ground
from standfall.fall.pieces import Pieces

UNTOUCHED, FALLEN, STALLED = 0, 1, 2
STATES = ("untouched", "fallen", "stalled")
NO_STRIKER = -2
_COLUMNS = ("struck_s", "omega", "speed", "striker", "starter", "backward", "margin", "down_s", "state")
BY_STARTER = -1


@dataclass(frozen=True)
class Strikes:
    """k pushes that starters give to single pieces.

    Attributes:
        node: (k,) int32 which piece, and which way it is pushed: k as in ``Contacts``.
        at_s: (k,) when it is struck: after the first starter let go, or after ``waits_for`` was struck.
        omega_rad_s: (k,) angular speed the piece has just after.
        waits_for: (k,) int32 domino whose strike sets this off, -1 for none.
        starter: (k,) int16 number of the starter.
    """

    node: NDArray[np.int32]
    at_s: NDArray[np.float64]
    omega_rad_s: NDArray[np.float64]
    waits_for: NDArray[np.int32]
    starter: NDArray[np.int16]

    def __len__(self) -> int:
        return len(self.node)


@dataclass(frozen=True)
class Fall:
    """What becomes of each of n dominoes. Times are seconds since the first starter let go.

    Attributes:
        struck_s: (n,) first touch by a striker, NaN when never.
        omega_rad_s: (n,) angular speed just after, NaN when never.
        speed_m_s: (n,) of the front where it arrives: clear gap and thickness, along the striker's fall, over the
            time since the striker was itself struck; NaN at starters.
        striker: (n,) int32 domino that struck it first, -1 a starter, -2 none.
        starter: (n,) int16 starter that struck it, -1 none.
        backward: (n,) falls against its own fall direction.
        margin: (n,) least share of its kinetic energy that was left before it struck the next, NaN when never
            struck; 0 where the fall died.
        down_s: (n,) when it has come to rest, NaN when it stays up.
        state: (n,) int8 index into ``STATES``.
    """

    struck_s: NDArray[np.float64]
    omega_rad_s: NDArray[np.float64]
    speed_m_s: NDArray[np.float64]
    striker: NDArray[np.int32]
    starter: NDArray[np.int16]
    backward: NDArray[np.bool_]
    margin: NDArray[np.float64]
    down_s: NDArray[np.float64]
    state: NDArray[np.int8]

    def __len__(self) -> int:
        return len(self.struck_s)

    @property
    def fallen(self) -> int:
        """Return how many fall."""
        return int((self.state == FALLEN).sum())

    @property
    def standing(self) -> int:
        """Return how many stay up, struck or not."""
        return len(self) - self.fallen

    @property
    def total_s(self) -> float:
        """Return when the last one has come to rest; 0 when none falls."""
        return float(np.nanmax(self.down_s)) if self.fallen else 0.0

    @property
    def mean_speed_m_s(self) -> float:
        """Return the mean speed of the fronts over all pieces struck by another; 0 without any."""
        speeds = self.speed_m_s[np.isfinite(self.speed_m_s)]
        return float(speeds.mean()) if len(speeds) else 0.0

    @property
    def min_margin(self) -> float:
        """Return the least margin of all pieces struck; 0 without any."""
        margins = self.margin[np.isfinite(self.margin)]
        return float(margins.min()) if len(margins) else 0.0


def topple(
    contacts: Contacts,
    pieces: Pieces,
    yaw_rad: NDArray[np.float64],
    ground: Ground,
    strikes: Strikes,
    *,
    until_s: float = math.inf,
) -> Fall:
    """Let it fall.

    Strikes happen in order of time; of two at the same moment the one that was known first goes first.

    Args:
        contacts: which domino reaches which; n dominoes.
        pieces: n sizes and masses.
        yaw_rad: (n,) fall directions, for the slope.
        ground: friction and slope.
        strikes: what the starters do.
        until_s: strikes after this moment are left out.
    """
    count = len(pieces)
    if len(contacts) != count or len(yaw_rad) != count:
        raise ValueError("contacts, pieces and yaw_rad must speak of the same dominoes")
    contacts = _ahead(contacts, pieces)
    source = np.repeat(np.arange(2 * count, dtype=np.int32), np.diff(contacts.first))
    thick_m = np.tile(pieces.thickness_m, 2)  # by node
    edges = edge_table(
        contacts.target,
        source,
        contacts.gap_m,
        np.cos(contacts.turn_rad),
        np.maximum(contacts.gap_m, 0.0) + 0.5 * (thick_m[source] + thick_m[contacts.target]),
        pieces.height_m,
        pieces.thickness_m,
    )
    table = piece_table(pieces.height_m, pieces.thickness_m, pieces.mass_kg, ground.slope_along(yaw_rad))
    pushes = np.zeros(len(strikes), dtype=PUSHES)
    pushes["at_s"], pushes["omega"], pushes["node"] = strikes.at_s, strikes.omega_rad_s, strikes.node
    pushes["waits_for"], pushes["starter"] = strikes.waits_for, strikes.starter
    fall_down(contacts.first, edges, table, ground.domino_friction, pushes, until_s)
    return Fall(*(np.ascontiguousarray(table[name]) for name in _COLUMNS))


def same_fall(one: Fall, other: Fall) -> bool:
    """Tell whether two falls agree in every number."""
    return all(
        np.array_equal(
            getattr(one, name), getattr(other, name), equal_nan=getattr(one, name).dtype.kind == "f"
        )
        for name in Fall.__dataclass_fields__
    )


def _ahead(contacts: Contacts, pieces: Pieces) -> Contacts:
    """Leave out what stands beside its striker and not ahead of it: footprints that overlap by half a thickness."""
    source = np.repeat(np.arange(2 * len(contacts)), np.diff(contacts.first))
    ahead = contacts.gap_m > -0.5 * pieces.thickness_m[source % max(len(contacts), 1)]
    if ahead.all():
        return contacts
    first = np.concatenate([[0], np.cumsum(ahead)])[contacts.first]
    names = ("target", "gap_m", "offset_m", "turn_rad", "overlap", "pitch_m")
    return Contacts(first, *(getattr(contacts, name)[ahead] for name in names))
