"""The contacts a fall went over: which edge of the graph struck which domino first."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from standfall.fall.contact import Contacts
from standfall.fall.falling import Fall


@dataclass(frozen=True)
class UsedEdges:
    """The k contacts by which dominoes were struck first.

    Attributes:
        edge: (k,) int64 row in ``Contacts``.
        striker, struck: (k,) dominoes.
    """

    edge: NDArray[np.int64]
    striker: NDArray[np.int64]
    struck: NDArray[np.int64]


def edge_sources(contacts: Contacts) -> NDArray[np.int64]:
    """Return for each edge the node that strikes."""
    return np.repeat(np.arange(len(contacts.first) - 1, dtype=np.int64), np.diff(contacts.first))


def used_edges(contacts: Contacts, fall: Fall) -> UsedEdges:
    """Find the edges over which dominoes were struck first."""
    count = len(fall)
    source = edge_sources(contacts)
    striker, struck = source % count, contacts.target.astype(np.int64) % count
    used = (
        (fall.striker[struck] == striker)
        & (fall.backward[struck] == (contacts.target >= count))
        & (fall.backward[striker] == (source >= count))
    )
    edge = np.flatnonzero(used)
    return UsedEdges(edge, striker[edge], struck[edge])
