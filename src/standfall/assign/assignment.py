"""Exact assignment of many items to few classes with capacities, with a proof of every answer."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from standfall.assign import _kernels as kernels
from standfall.assign import _path_kernels as paths
from standfall.assign._kernels import FAR, Costs, Ints, Rows

MOST_CLASSES = 4096
GREATEST_COST = 2**31 - 1

# The figures below change the speed, never the answer; they were set by measurement on 2 cores.
BLOCK_ITEMS = 1 << 16
"""Items summed in 64 bits before Python's integers take over: 2**16 terms below 2**33 stay below 2**49."""
PROBE_ROWS = 4096
"""Rows looked at to guess how many different rows there are."""
LEAF_ROWS = 2048
"""The sampling goes down to about this many rows, or 16 for each class."""
SHORT_MOVES = 32
"""A start takes moves into the heaps up to a reach that about this many moves per item too many have."""
FEW_MOVES, SOME_MOVES = 1 << 15, 1 << 18
"""Up to this many rows times classes a start takes all moves, and does not limit the heaps."""
HEAP_MOVES = 1 << 18
"""Moves kept in all heaps together at first, shared between k * k heaps."""
LEAST_LIMIT, GREATEST_LIMIT = 32, 1024
"""Moves kept in one heap at first, no more than there are items too many; a heap that proves too short is
filled again with four times as many."""

TURNS = 3
"""Every third time that a heap of a class is filled again, all heaps of the class are, in one pass."""

Progress = Callable[[int, int, str], None]


class CertificateError(RuntimeError):
    """The answer failed its own proof: a fault of this package, never of the input. Please report it."""


@dataclass(frozen=True)
class Assignment:
    """An assignment of n items to k classes, and the prices that prove it.

    choice (n,): class of each item.
    price (k,): what one more place in the class would save, in units of cost, >= 0; of all prices that
        prove the answer these are the least.
    cost_total: sum of the chosen costs.
    dual_total: sum_i min_j (cost[i, j] + price[j]) - sum_j price[j] * capacity[j], below which the cost
        of no assignment can fall (weak duality of the transportation problem).
    count (k,): items in each class.
    """

    choice: NDArray[np.int32]
    price: NDArray[np.int64]
    cost_total: int
    dual_total: int
    count: NDArray[np.int64]

    @property
    def gap(self) -> int:
        """Cost above the lower limit; 0 proves that no assignment costs less."""
        return self.cost_total - self.dual_total


def assign(
    cost: NDArray[np.int32],
    capacity: NDArray[np.int64],
    order: NDArray[np.int64] | None = None,
    progress: Progress | None = None,
) -> Assignment:
    """Give each of n items one of k classes at the least total cost, no class above its capacity.

    Args:
        cost: (n, k) whole numbers from 0 to 2**31 - 1, cost of item i in class j; n may be 0, k is 1 to
            4096. Fastest as C-contiguous int32.
        capacity: (k,) whole numbers >= 0, places in each class; together at least n.
        order: (n,) permutation of the items, used in the tie rule only; item order by default.
        progress: called with (done, total, what) after each sample is solved.

    Returns:
        The assignment, proved: its gap is 0.

    Raises:
        TypeError: an array holds anything but whole numbers.
        ValueError: a shape, a value or the permutation is wrong, or there are fewer places than items.
        CertificateError: the proof failed, which is a fault of this package.

    Tie rule. An item is tied between the classes where cost + price is least for it. Items with the
    same set of tied classes are interchangeable: within each such group the number of items in each
    class is kept, and the group's items, in the sequence given by `order`, take the classes in
    index order: the first go to the lowest class, and so on. The prices do not depend on `order` nor on
    the sequence of the items. The same arguments always give the same answer.

    Method. Successive shortest paths with prices (Ahuja, Magnanti and Orlin, Network Flows, 1993,
    section 9.7), on the graph whose nodes are the classes and whose arc j -> l is the cheapest move of
    an item from j to l; it starts from the exact prices of a sample of an eighth, found in the same
    way. Proof: linear programming duality, checked on the full input after the fact.

    Time and memory. About 0.04 s for 100,000 items and 0.25 s for a million, 16 classes, in a picture, and
    1 s for a million items of nothing but ties (benchmarks/assign_speed.py, 2 cores); made for up to 64
    classes. Beyond, the answer is as exact but may take minutes, and memory grows with 40 bytes times k**2.
    """
    cost, capacity, order = _checked(cost, capacity, order)
    n, k = cost.shape
    if n == 0:
        return Assignment(np.zeros(0, np.int32), np.zeros(k, np.int64), 0, 0, np.zeros(k, np.int64))
    places = np.minimum(capacity, n).astype(np.int64)  # more places than items change nothing
    rows, group = _distinct_rows(cost, int(places.sum()) - n)
    price, split = _solve(rows, places, progress)
    price = kernels.lowest_prices(kernels.least_moves(rows, split), price)
    choice = _choice(rows, group, split)
    least, tied = kernels.least_sums(cost, price, BLOCK_ITEMS)
    _settle_ties(cost, price, np.flatnonzero(tied) if order is None else order[tied[order]], choice)
    spent, count = kernels.cost_sums(cost, choice, BLOCK_ITEMS)
    bought = sum(u * c for u, c in zip(price.tolist(), capacity.tolist(), strict=True))
    answer = Assignment(choice, price, sum(spent.tolist()), sum(least.tolist()) - bought, count)
    _prove(answer, capacity)
    return answer


def _checked(cost: Any, capacity: Any, order: Any) -> tuple[Costs, NDArray[Any], Ints | None]:
    """Check the arguments of `assign`; returns cost as contiguous int32, capacity, and order as int64."""
    cost, capacity = _whole_numbers(cost, "cost"), _whole_numbers(capacity, "capacity")
    if cost.ndim != 2 or not 1 <= cost.shape[1] <= MOST_CLASSES:
        raise ValueError(f"cost must be (items, classes) with 1 to {MOST_CLASSES} classes, not {cost.shape}")
    n, k = cost.shape
    if capacity.shape != (k,):
        raise ValueError(f"capacity must be ({k},), one number for each class of cost, not {capacity.shape}")
    if capacity.min() < 0:
        j = int(capacity.argmin())
        raise ValueError(f"capacity of class {j} is {capacity[j]}; it must be 0 or more")
    if n > 0:
        for at in (cost.argmin(), cost.argmax()) if cost.dtype != np.int32 or cost.min() < 0 else ():
            i, j = divmod(int(at), k)
            if not 0 <= cost[i, j] <= GREATEST_COST:
                raise ValueError(
                    f"cost of item {i} in class {j} is {cost[i, j]}, outside 0 to {GREATEST_COST}"
                )
    places = sum(capacity.tolist())
    if places < n:
        raise ValueError(
            f"{n} items but only {places} places in {k} classes: {n - places} too few; add capacity"
        )
    if order is not None:
        order = _whole_numbers(order, "order")
        if order.shape != (n,) or not np.array_equal(np.sort(order), np.arange(n)):
            raise ValueError(f"order must hold each item number 0 to {n - 1} once")
        order = np.ascontiguousarray(order, np.int64)
    return _frozen(np.ascontiguousarray(cost, np.int32)), capacity, order


def _frozen(cost: Costs) -> Costs:
    """Return a read-only view: one type for every kernel call, whether or not the caller's array may be written."""
    view = cost.view()
    view.flags.writeable = False
    return view


def _whole_numbers(values: Any, name: str) -> NDArray[Any]:
    """Return the values as an array; TypeError unless they are integers (an empty list will do)."""
    array = np.asarray(values)
    if array.size == 0 and array.dtype == np.float64:
        array = array.astype(np.int64)
    if array.dtype.kind not in "iu":
        raise TypeError(f"{name} must hold whole numbers, not {array.dtype}; round and scale it first")
    return array


def _scattered(count: int, n: int) -> Ints:
    """Return `count` row numbers below n, spread without a pattern and the same every time."""
    h = np.arange(1, count + 1, dtype=np.uint64) * np.uint64(0x9E3779B97F4A7C15)
    h = (h ^ (h >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    return ((h ^ (h >> np.uint64(27))) % np.uint64(n)).astype(np.int64)


def _distinct_rows(cost: Costs, spare: int) -> tuple[Rows, Ints | None]:
    """Join items with equal rows where that pays; returns rows and the row of each item, None if its own."""
    n, k = cost.shape
    factor = _scattered(k, 2**62).astype(np.uint64) * np.uint64(2) + np.uint64(1)
    group, weight = None, np.ones(n, np.int64)
    if n <= PROBE_ROWS or _guess_distinct(cost, factor) < n / 64:
        group, first, count, m = kernels.group_rows(cost, factor)
        cost, weight = _frozen(cost[first[:m]]), count[:m]
    weight = np.append(weight, spare)
    return Rows(cost, weight, np.empty(len(weight), np.int64)), group


def _guess_distinct(cost: Costs, factor: NDArray[np.uint64]) -> float:
    """Guess the number of different rows from a probe (Chao 1984, lower limit from singles and doubles)."""
    _, _, count, m = kernels.group_rows(_frozen(cost[_scattered(PROBE_ROWS, len(cost))]), factor)
    once, twice = int(np.count_nonzero(count == 1)), int(np.count_nonzero(count == 2))
    return m + once * once / (2 * max(twice, 1))


def _solve(rows: Rows, places: Ints, progress: Progress | None) -> tuple[Ints, Ints]:
    """Solve ever larger samples, each from the prices of the one before; fills rows.home.

    Returns the prices (k,) and the split table of `rows`.
    """
    k = len(places)
    closed = places == 0
    levels = [(rows, places)]
    while len(levels[-1][0].cost) > max(LEAF_ROWS, 16 * k):
        levels.append(_thinned(*levels[-1]))
    price = np.where(closed, paths.CLOSED, 0).astype(np.int64)
    split = np.zeros((1, k), np.int64)
    for step, (some, share) in enumerate(reversed(levels)):
        split = _balance(some, share, price)
        if progress is not None:
            progress(step + 1, len(levels), f"assigned a sample of {int(some.weight[:-1].sum())} items")
    return price, split


def _thinned(rows: Rows, places: Ints) -> tuple[Rows, Ints]:
    """Take an eighth of the items, and the same share of the places to a unit, so that sums agree."""
    kept, weight, m = kernels.thin_rows(rows.weight)
    before, after = int(rows.weight.sum()), int(weight[:m].sum())
    edges = [int(c) * after // before for c in np.cumsum(places)]
    share: Ints = np.diff(np.array(edges, np.int64), prepend=0).astype(np.int64)
    return Rows(_frozen(rows.cost[kept[: m - 1]]), weight[:m].copy(), np.empty(m, np.int64)), share


def _balance(rows: Rows, places: Ints, price: Ints) -> Ints:
    """Assign all rows from the given prices, raising them in place; fills rows.home, returns the split table."""
    n, k = rows.cost.shape
    load = kernels.place_rows(rows.cost, price, rows.weight, rows.home)
    tied = np.flatnonzero(rows.home[:-1] < 0)
    if len(tied) > 0:
        kernels.spread_ties(rows.cost, price, rows.weight, places, rows.home, load, tied)
    split = _place_blank(rows, price, places, load)
    surplus = int(np.maximum(load - places, 0).sum())
    if surplus == 0:
        return split
    reach = _first_reach(rows, price, surplus)
    share = max(LEAST_LIMIT, min(GREATEST_LIMIT, HEAP_MOVES // k**2, surplus))
    kept = share if n * k > SOME_MOVES else n + 1
    limit = np.full(k, kept, np.int64)
    refills = _Refills(reach, kept, n + 1)
    root, (size, bound, value) = np.full((k, k), -1, np.int64), np.zeros((3, k, k), np.int64)
    heaps = paths.Heaps(np.array([0, -1]), root, size, bound, value, np.zeros((k, k), np.bool_))
    node = np.empty((4096, 4), np.int64)
    slots = np.ones(1, np.int64)
    node = paths.fill_heaps(rows, split, price, -1, reach, limit, node, heaps)
    while True:
        arc, split, node = paths.repair_loads(rows, split, slots, places, load, price, limit, node, heaps)
        if arc < 0:
            break
        arc, reach = refills.plan(arc, k, bool(heaps.pruned.ravel()[arc]), limit)
        node = paths.fill_heaps(rows, split, price, arc, reach, limit, node, heaps)
    if arc != paths.DONE:
        raise CertificateError(f"no path from a full class to one with room, loads {load.tolist()}")
    return split


class _Refills:
    """How far and how deep each heap has been filled, and how to fill it when it proves too short."""

    def __init__(self, reach: int, kept: int, most: int) -> None:
        self.first = (reach, 2, kept)
        self.most = most
        self.tries: dict[int, tuple[int, int, int]] = {}
        self.turns: dict[int, int] = {}

    def plan(self, arc: int, k: int, pruned: bool, limit: Ints) -> tuple[int, int]:
        """Plan the next filling for arc j * k + to; returns what to fill and the reach, raises limit[j].

        The heap was too short because it kept too few moves (`pruned`) or because its reach was too
        small, which then grows 2, 4, 8 ... times: a few steps lead from any guess to any cost.
        """
        j = arc // k
        reach, growth, kept = self.tries.get(arc, self.first)
        if pruned:
            kept = min(4 * kept, self.most)
            limit[j] = max(limit[j], kept)
        else:
            reach, growth = min(growth * reach, FAR), 2 * growth
        self.turns[j] = self.turns.get(j, 0) + 1
        self.tries[arc] = reach, growth, kept
        if self.turns[j] % TURNS == 0:
            arcs = range(j * k, j * k + k)
            reach = max(self.tries[a][0] for a in arcs if a in self.tries)
            self.tries |= dict.fromkeys(arcs, (reach, growth, kept))
            return j * k + j, reach
        return arc, reach


def _place_blank(rows: Rows, price: Ints, places: Ints, load: Ints) -> Ints:
    """Put the blank row where the price is least, filling rooms in class order; returns a split table."""
    split = np.zeros((8, len(price)), np.int64)
    rows.home[-1] = -1
    cheapest = np.flatnonzero(price == price.min())
    room = np.maximum(places - load, 0)[cheapest]
    part = np.diff(np.minimum(np.cumsum(room), rows.weight[-1]), prepend=0)
    part[0] += rows.weight[-1] - part.sum()
    split[0, cheapest] = part
    load[cheapest] += part
    return split


def _first_reach(rows: Rows, price: Ints, surplus: int) -> int:
    """Guess how far prices will move apart: so far that SHORT_MOVES * surplus moves lie within."""
    n, k = rows.cost.shape
    if n * k <= FEW_MOVES:
        return FAR
    some = rows.cost[_scattered(1024, n)] + price
    some = (some - some.min(axis=1, keepdims=True)).ravel()
    some = some[(some > 0) & (some < paths.CLOSED // 2)]  # ties are within any reach
    nth = 1024 * SHORT_MOVES * surplus // int(rows.weight[:-1].sum())
    return int(np.partition(some, nth)[nth]) + 1 if nth < some.size else FAR


def _choice(rows: Rows, group: Ints | None, split: Ints) -> NDArray[np.int32]:
    """Class of each item (n,) from the classes of the rows."""
    if group is None:
        return rows.home[:-1].astype(np.int32)
    return kernels.deal_groups(group, rows.home, split)


def _settle_ties(cost: Costs, price: Ints, item: Ints, choice: NDArray[np.int32]) -> None:
    """Apply the tie rule in place to the tied items, listed in the order of the rule."""
    group, groups = kernels.group_ties(cost, price, item)
    kernels.deal_ties(choice, item, group, groups, cost.shape[1])


def _prove(answer: Assignment, capacity: NDArray[Any]) -> None:
    """Check the certificate: prices >= 0, no class above capacity, cost equal to the lower limit."""
    if answer.gap != 0 or (answer.price < 0).any() or (answer.count > capacity).any():
        raise CertificateError(
            f"cost {answer.cost_total}, lower limit {answer.dual_total}, least price {answer.price.min()}, "
            f"counts {answer.count.tolist()}, capacities {capacity.tolist()}"
        )
