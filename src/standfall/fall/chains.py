"""The planned contact graph as chains: stretches in which each piece is struck by one and strikes one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from standfall.fall._trial_kernels import spread_along
from standfall.fall.contact import Contacts

# Steps along a chain within which a piece may still reach over its successors.
WALK = 12


@dataclass(frozen=True)
class Chains:
    """n pieces.

    Attributes:
        succ, pred: (n,) int32 next and previous piece of the chain, -1 none.
        hub: (n,) pieces where fronts split, meet or run backward.
        edges: (e, 2) int32 striker and struck: from each piece to the nearest it strikes, from hubs to all.
        gap_m, offset_m, turn_rad: (e,) of these as planned.
        first, target: all edges, forward and backward, by pieces instead of nodes (CSR).
        walk: steps along a chain that one piece may reach over.
    """

    succ: NDArray[np.int32]
    pred: NDArray[np.int32]
    hub: NDArray[np.bool_]
    edges: NDArray[np.int32]
    gap_m: NDArray[np.float64]
    offset_m: NDArray[np.float64]
    turn_rad: NDArray[np.float64]
    first: NDArray[np.int64]
    target: NDArray[np.int32]
    walk: int = WALK


def find_chains(contacts: Contacts) -> Chains:
    """Take a contact graph apart into chains and hubs.

    An edge that skips pieces of the striker's own chain does not count as a split: what it leads to has been
    struck before.
    """
    count = len(contacts)
    source = np.repeat(np.arange(2 * count, dtype=np.int64), np.diff(contacts.first))
    one, other = source % count, contacts.target.astype(np.int64) % count
    hub = np.zeros(count, dtype=np.bool_)
    backward = (source >= count) | (contacts.target >= count)
    hub[one[backward]] = hub[other[backward]] = True
    nearest = np.full(count, -1, dtype=np.int64)
    edges_of = contacts.first[:count]
    some = np.diff(contacts.first[: count + 1]) > 0
    nearest[some] = other[edges_of[some]]
    # Which edges lead to a piece further down the striker's own chain?
    step, follows = np.full(len(one), -1, dtype=np.int64), np.zeros(len(one), dtype=np.bool_)
    at = nearest[one]
    for number in range(WALK):
        here = (at == other) & ~follows
        follows |= here
        step[here] = number
        at = np.where(at >= 0, nearest[at], -1)
    hub[one[~follows]] = hub[other[~follows]] = True
    strikers = np.bincount(other[step == 0], minlength=count)
    hub |= strikers > 1
    succ = nearest.copy()
    succ[hub | ((nearest >= 0) & hub[nearest])] = -1
    pred = np.full(count, -1, dtype=np.int64)
    pred[succ[succ >= 0]] = np.flatnonzero(succ >= 0)
    kept = (step == 0) | (~follows)
    order = np.argsort(one, kind="stable")
    first = np.zeros(count + 1, dtype=np.int64)
    np.cumsum(np.bincount(one, minlength=count), out=first[1:])
    return Chains(
        succ=succ.astype(np.int32),
        pred=pred.astype(np.int32),
        hub=hub,
        edges=np.column_stack([one[kept], other[kept]]).astype(np.int32),
        gap_m=contacts.gap_m[kept],
        offset_m=contacts.offset_m[kept],
        turn_rad=contacts.turn_rad[kept],
        first=first,
        target=other[order].astype(np.int32),
    )


def follow(
    first: NDArray[np.int64], target: NDArray[np.int32], chosen: NDArray[np.bool_], steps: int
) -> None:
    """Add to ``chosen`` all that can be reached from it within so many edges; below 0 without a bound."""
    room = np.empty(len(chosen), dtype=np.int64)
    spread_along(first, target, chosen, steps, room, room.copy())
