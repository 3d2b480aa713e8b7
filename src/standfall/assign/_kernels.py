"""Compiled kernels around the exact assignment: rows in, prices, ties and proof out.

The search itself is in `_path_kernels.py`, which also defines the words row, blank row, home and split.
The slow, readable twins of these kernels are in tests/assign/test_kernels.py.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple, TypeVar, cast

import numpy as np
from numba import njit
from numpy.typing import NDArray

FAR = 1 << 60
"""Longer than any path: a class with items is never 2**31 dearer than another, so 4096 steps stay below 2**44."""

# Numba's disk cache looks at the file of a kernel only: after a change to FAR, touch `_path_kernels.py` too.

F = TypeVar("F", bound=Callable[..., Any])
Ints = NDArray[np.int64]
Costs = NDArray[np.int32]


def compiled(function: F) -> F:
    """Compile `function` with Numba, keep the machine code on disk, and keep the Python type."""
    return cast("F", njit(cache=True, nogil=True)(function))


class Rows(NamedTuple):
    """What is assigned: m rows, each an item or a set of items whose costs differ by a constant only.

    cost (m, k): int32, read-only. weight (m + 1,): items in each row; the last is the blank row, cost 0 everywhere,
    whose weight is the stock left over, so that weights and capacities have the same sum.
    home (m + 1,): class of the whole row if >= 0; -1 - s says that row s of a split table, (slots, k),
    holds how many of its items sit at each class. The blank row is always at slot 0.
    """

    cost: Costs
    weight: Ints
    home: Ints


@compiled
def group_rows(cost: Costs, factor: NDArray[np.uint64]) -> tuple[Ints, Ints, Ints, int]:
    """Group items whose cost rows differ by a constant only.

    `factor` (k,) are odd multipliers of the hash; they change the speed, never the result.
    Returns the group of each item (n,), and for the m groups, in the first m places of two arrays (n,),
    the first item and the item count; last m itself. Groups are numbered as they turn up.
    """
    n, k = cost.shape
    width = 16
    while width < 2 * n:
        width *= 2
    table = np.full(width, -1, np.int64)
    group = np.empty(n, np.int64)
    first = np.empty(n, np.int64)
    count = np.zeros(n, np.int64)
    m = 0
    for i in range(n):
        base = np.int64(cost[i, 0])
        h = np.uint64(0)
        for j in range(k):
            h += np.uint64(np.int64(cost[i, j]) - base) * factor[j]
        slot = np.int64((h ^ (h >> np.uint64(29))) >> np.uint64(7)) & (width - 1)
        while table[slot] >= 0:
            f = first[table[slot]]
            shift = np.int64(cost[f, 0]) - base
            same = True
            for j in range(k):
                if np.int64(cost[f, j]) - np.int64(cost[i, j]) != shift:
                    same = False
                    break
            if same:
                break
            slot = (slot + 1) & (width - 1)
        if table[slot] < 0:
            table[slot] = m
            first[m] = i
            m += 1
        group[i] = table[slot]
        count[table[slot]] += 1
    return group, first, count, m


@compiled
def thin_rows(weight: Ints) -> tuple[Ints, Ints, int]:
    """Keep an eighth of the weight, spread pseudo-randomly; the blank row always stays, as the last.

    Returns the kept rows, their new weights and how many they are. A row of weight w keeps w // 8,
    plus one with the chance (w % 8) / 8, drawn from a hash of its number (multiply and shift, the
    constants of SplitMix64, from memory) so that pictures with a period do no harm.
    """
    total = weight.shape[0]
    kept = np.empty(total, np.int64)
    thin = np.empty(total, np.int64)
    m = 0
    for r in range(total):
        h = (np.uint64(r) + np.uint64(1)) * np.uint64(0x9E3779B97F4A7C15)
        h = (h ^ (h >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
        draw = np.int64((h ^ (h >> np.uint64(27))) >> np.uint64(61))
        w = weight[r] >> 3
        if draw < (weight[r] & 7):
            w += 1
        if w > 0 or r == total - 1:
            kept[m] = r
            thin[m] = w
            m += 1
    return kept, thin, m


@compiled
def place_rows(cost: Costs, price: Ints, weight: Ints, home: Ints) -> Ints:
    """Put every row with a single least cost + price there, in `home` (m + 1,), and leave the others at -1.

    Returns the load of each class (k,).
    """
    n, k = cost.shape
    load = np.zeros(k, np.int64)
    for r in range(n):
        least = cost[r, 0] + price[0]
        for j in range(1, k):
            least = min(least, cost[r, j] + price[j])
        pick = 0
        equal = 0
        for j in range(k):
            here = cost[r, j] + price[j] == least
            pick += j * here
            equal += here
        if equal == 1:
            home[r] = pick
            load[pick] += weight[r]
        else:
            home[r] = -1
    return load


@compiled
def _divisor(a: int, b: int) -> int:
    """Greatest common divisor."""
    while b > 0:
        a, b = b, a % b
    return a


@compiled
def spread_ties(
    cost: Costs, price: Ints, weight: Ints, capacity: Ints, home: Ints, load: Ints, tied: Ints
) -> None:
    """Put each of the tied rows in the one of its classes that is furthest behind its plan.

    The plan lets the load of each class grow evenly from the single rows' load to its capacity while
    the tied rows are placed. They are taken in blocks of 16, block after block by golden section steps,
    so that the mix of rows met early is the mix of all: with that the loads end close to capacity, and
    few tied rows are left to the search. In row order a fifth of a million tied rows ended wrong.
    """
    t = tied.shape[0]
    k = cost.shape[1]
    total = np.int64(0)
    for q in range(t):
        total += weight[tied[q]]
    blocks = (t + 15) // 16
    stride = max(1, int(0.6180339887498949 * blocks))
    while _divisor(stride, blocks) > 1:
        stride -= 1
    room = capacity - load
    added = np.zeros(k, np.int64)
    done = np.int64(0)
    at = 0
    for _ in range(blocks):
        for q in range(16 * at, min(16 * at + 16, t)):
            r = tied[q]
            least = cost[r, 0] + price[0]
            for j in range(1, k):
                least = min(least, cost[r, j] + price[j])
            done += weight[r]
            pick = -1
            behind = np.int64(0)
            for j in range(k):
                if cost[r, j] + price[j] == least:
                    lag = room[j] * done - added[j] * total  # below 2**62 for fewer than 2**31 items
                    if pick < 0 or lag > behind:
                        pick = j
                        behind = lag
            home[r] = pick
            load[pick] += weight[r]
            added[pick] += weight[r]
        at = (at + stride) % blocks


@compiled
def least_moves(rows: Rows, split: Ints) -> Ints:
    """Least cost[r, to] - cost[r, j] of the items at class j, (k, k); FAR where class j is empty."""
    cost, _, home = rows
    n, k = cost.shape
    least = np.full((k, k), FAR, np.int64)
    for r in range(n):
        at = home[r]
        for j in range(k) if at < 0 else range(at, at + 1):
            if at >= 0 or split[-1 - at, j] > 0:
                base = np.int64(cost[r, j])
                for to in range(k):
                    least[j, to] = min(least[j, to], np.int64(cost[r, to]) - base)
    for j in range(k):
        if split[0, j] > 0:
            for to in range(k):
                least[j, to] = min(least[j, to], np.int64(0))
    return least


@compiled
def lowest_prices(least: Ints, price: Ints) -> Ints:
    """Return the least prices >= 0 that keep every item where it is, from any prices that do (k,).

    They must satisfy price[j] - price[to] <= least[j, to], which makes them longest paths; with the
    given prices as potentials every arc is >= 0, so one run of Dijkstra's algorithm finds them.
    """
    k = price.shape[0]
    far = price.copy()
    seen = np.zeros(k, np.int64)
    for _ in range(k):
        j = -1
        for at in range(k):
            if seen[at] == 0 and (j < 0 or far[at] < far[j]):
                j = at
        seen[j] = 1
        base = far[j] - price[j]
        for to in range(k):
            if least[j, to] < FAR:
                far[to] = min(far[to], base + least[j, to] + price[to])
    return price - far


@compiled
def deal_groups(group: Ints, home: Ints, split: Ints) -> Costs:
    """Class of each item (n,) when the items of a group take the group's classes in item order."""
    n = group.shape[0]
    k = split.shape[1]
    choice = np.empty(n, np.int32)
    left = split.copy()
    at = np.zeros(split.shape[0], np.int64)
    for i in range(n):
        j = home[group[i]]
        if j < 0:
            s = -1 - j
            while at[s] < k and left[s, at[s]] == 0:
                at[s] += 1
            j = at[s]
            left[s, j] -= 1
        choice[i] = j
    return choice


@compiled
def least_sums(cost: Costs, price: Ints, block: int) -> tuple[Ints, NDArray[np.bool_]]:
    """Sums of min_j (cost + price) over blocks of `block` items, and which items have several such j."""
    n, k = cost.shape
    total = np.zeros((n + block - 1) // block, np.int64)
    tied = np.empty(n, np.bool_)
    for i in range(n):
        least = cost[i, 0] + price[0]
        for j in range(1, k):
            least = min(least, cost[i, j] + price[j])
        equal = 0
        for j in range(k):
            equal += cost[i, j] + price[j] == least
        tied[i] = equal > 1
        total[i // block] += least
    return total, tied


@compiled
def cost_sums(cost: Costs, choice: Costs, block: int) -> tuple[Ints, Ints]:
    """Sums of the chosen costs over blocks of `block` items, and the items of each class (k,)."""
    n, k = cost.shape
    total = np.zeros((n + block - 1) // block, np.int64)
    count = np.zeros(k, np.int64)
    for i in range(n):
        total[i // block] += cost[i, choice[i]]
        count[choice[i]] += 1
    return total, count


@compiled
def group_ties(cost: Costs, price: Ints, item: Ints) -> tuple[Ints, int]:
    """Number the different sets of tied classes among the listed items; returns (numbers, how many)."""
    t = item.shape[0]
    k = cost.shape[1]
    words = (k + 63) // 64
    width = 16
    while width < 2 * t:
        width *= 2
    table = np.full(width, -1, np.int64)
    sets = np.empty((t, words), np.uint64)
    group = np.empty(t, np.int64)
    m = 0
    for q in range(t):
        i = item[q]
        least = cost[i, 0] + price[0]
        for j in range(1, k):
            least = min(least, cost[i, j] + price[j])
        for w in range(words):
            sets[m, w] = np.uint64(0)
        for j in range(k):
            if cost[i, j] + price[j] == least:
                sets[m, j >> 6] |= np.uint64(1) << np.uint64(j & 63)
        h = np.uint64(0)
        for w in range(words):
            h = (h ^ sets[m, w]) * np.uint64(0x9E3779B97F4A7C15)
            h ^= h >> np.uint64(29)
        slot = np.int64(h & np.uint64(width - 1))
        while table[slot] >= 0:
            same = True
            for w in range(words):
                same = same and sets[table[slot], w] == sets[m, w]
            if same:
                break
            slot = (slot + 1) & (width - 1)
        if table[slot] < 0:
            table[slot] = m
            m += 1
        group[q] = table[slot]
    return group, m


@compiled
def deal_ties(choice: Costs, item: Ints, group: Ints, groups: int, k: int) -> None:
    """Within each group give the group's own classes, lowest first, to its items as listed."""
    t = item.shape[0]
    start = np.zeros(groups + 1, np.int64)
    for q in range(t):
        start[group[q] + 1] += 1
    for g in range(groups):
        start[g + 1] += start[g]
    at = start.copy()
    listed = np.empty(t, np.int64)
    for q in range(t):
        listed[at[group[q]]] = item[q]
        at[group[q]] += 1
    count = np.zeros(k, np.int64)
    for g in range(groups):
        low = k
        high = -1
        for p in range(start[g], start[g + 1]):
            j = choice[listed[p]]
            count[j] += 1
            low = min(low, j)
            high = max(high, j)
        p = start[g]
        for j in range(low, high + 1):
            for _ in range(count[j]):
                choice[listed[p]] = j
                p += 1
            count[j] = 0
