"""The compiled kernels of `assign` against slow, readable twins."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest
from numpy.typing import NDArray

from standfall.assign import _kernels as kernels
from standfall.assign import _path_kernels as paths

Whole = NDArray[np.int64]
Costs = NDArray[np.int32]


def random_costs(rng: np.random.Generator, n: int, k: int, top: int) -> Costs:
    """Costs from 0 to `top`, read-only as `assign` hands them to the kernels."""
    return frozen(rng.integers(0, top, (n, k), endpoint=True, dtype=np.int32))


def frozen(cost: Costs) -> Costs:
    cost.flags.writeable = False
    return cost


def random_rows(seed: int, n: int, k: int, top: int) -> tuple[kernels.Rows, Whole, Whole]:
    """Weighted rows, some of them split, a blank row, and the split table; returns also amounts (n + 1, k)."""
    rng = np.random.default_rng(seed)
    cost = random_costs(rng, n, k, top)
    weight = rng.integers(1, 5, n + 1)
    amounts = np.zeros((n + 1, k), np.int64)
    home = np.empty(n + 1, np.int64)
    split = np.zeros((n + 1, k), np.int64)
    used = 1
    for r in range(n + 1):
        if r == n or rng.random() < 0.3:
            slot = 0 if r == n else used
            used += r < n
            amounts[r] = split[slot] = rng.multinomial(weight[r], np.ones(k) / k)
            home[r] = -1 - slot
        else:
            home[r] = rng.integers(k)
            amounts[r, home[r]] = weight[r]
    return kernels.Rows(cost, weight, home), split, amounts


def with_blank(cost: Costs) -> Whole:
    return np.vstack([cost, np.zeros((1, cost.shape[1]), np.int32)]).astype(np.int64)


def slow_least_moves(cost: Costs, amounts: Whole) -> Whole:
    full = with_blank(cost)
    k = cost.shape[1]
    least = np.full((k, k), kernels.FAR)
    for r, j in np.argwhere(amounts > 0):
        for to in range(k):
            least[j, to] = min(least[j, to], full[r, to] - full[r, j])
    return least


@pytest.mark.parametrize("seed", range(5))
def test_group_rows(seed: int) -> None:
    rng = np.random.default_rng(seed)
    cost = random_costs(rng, 300, 4, 2) + rng.integers(0, 1000, (300, 1), dtype=np.int32)
    cost = frozen(cost)
    factor = rng.integers(0, 2**62, 4).astype(np.uint64) * np.uint64(2) + np.uint64(1)
    group, first, count, m = kernels.group_rows(cost, factor)
    seen: dict[tuple[int, ...], int] = {}
    for i, row in enumerate(cost - cost[:, :1]):
        assert group[i] == seen.setdefault(tuple(row.tolist()), len(seen))
    assert m == len(seen)
    assert first[:m].tolist() == [group.tolist().index(g) for g in range(m)]
    assert count[:m].tolist() == [Counter(group.tolist())[g] for g in range(m)]
    assert (count[m:] == 0).all()


def test_group_rows_survives_a_useless_hash() -> None:
    cost = random_costs(np.random.default_rng(1), 200, 3, 8)
    plain = kernels.group_rows(cost, np.array([1, 3, 5], np.uint64))
    useless = kernels.group_rows(cost, np.zeros(3, np.uint64))  # all rows collide
    np.testing.assert_array_equal(plain[0], useless[0])


def test_thin_rows() -> None:
    rng = np.random.default_rng(2)
    weight = np.append(rng.integers(1, 40, 20_000), 3)
    kept, thin, m = kernels.thin_rows(weight)
    kept, thin = kept[:m], thin[:m]
    assert (np.diff(kept) > 0).all() and kept[-1] == 20_000
    assert (thin[:-1] > 0).all()
    assert ((thin == weight[kept] // 8) | (thin == weight[kept] // 8 + 1)).all()
    lost = np.setdiff1d(np.arange(20_001), kept)
    assert (weight[lost] < 8).all()
    # An eighth of the weight: the fair draws have a standard deviation below sqrt(20000) / 2 = 71.
    assert abs(int(thin.sum()) - weight.sum() / 8) < 300
    # A stripe of period 8 must not be seen as one colour (a stride of 8 would).
    kept, _, m = kernels.thin_rows(np.ones(80_001, np.int64))
    stripes = np.bincount(kept[:m] % 8, minlength=8)
    assert stripes.min() > 0.9 * stripes.mean()


@pytest.mark.parametrize("top", [1, 5, 1000])
def test_place_and_spread(top: int) -> None:
    rng = np.random.default_rng(top)
    n, k = 400, 5
    cost = random_costs(rng, n, k, top)
    price = rng.integers(0, top, k, endpoint=True)
    weight = rng.integers(1, 4, n + 1)
    capacity = rng.multinomial(weight.sum(), np.ones(k) / k)
    home = np.full(n + 1, -7, np.int64)
    load = kernels.place_rows(cost, price, weight, home)
    reduced = cost + price
    ties = (reduced == reduced.min(axis=1, keepdims=True)).sum(axis=1)
    assert home[:n].tolist() == np.where(ties == 1, reduced.argmin(axis=1), -1).tolist()
    assert load.tolist() == [int(weight[:n][home[:n] == j].sum()) for j in range(k)]
    tied = np.flatnonzero(home[:n] < 0)
    if len(tied) == 0:
        return
    want_home, want_load = slow_spread(reduced, weight, capacity, home, load, tied)
    kernels.spread_ties(cost, price, weight, capacity, home, load, tied)
    np.testing.assert_array_equal(home, want_home)
    np.testing.assert_array_equal(load, want_load)


def slow_spread(
    reduced: Whole, weight: Whole, capacity: Whole, home: Whole, load: Whole, tied: Whole
) -> tuple[Whole, Whole]:
    """Each tied row to the class furthest behind an even growth from the load now to the capacity."""
    home, start, load = home.copy(), load.copy(), load.copy()
    total, done = int(weight[tied].sum()), 0
    blocks = -(-len(tied) // 16)
    stride = max(1, int(0.6180339887498949 * blocks))
    while np.gcd(stride, blocks) > 1:
        stride -= 1
    for block in (np.arange(blocks) * stride % blocks).tolist():
        for r in tied[16 * block : 16 * block + 16].tolist():
            done += int(weight[r])
            plan = (capacity - start) * done - (load - start) * total
            choices = np.flatnonzero(reduced[r] == reduced[r].min())
            home[r] = choices[plan[choices].argmax()]
            load[home[r]] += weight[r]
    return home, load


def test_nth_least() -> None:
    rng = np.random.default_rng(3)
    for size in (1, 2, 3, 10, 257):
        for top in (1, 3, 10**9):
            key = rng.integers(-top, top, size)
            for nth in range(0, size, max(1, size // 20)):
                assert paths.nth_least(key.copy(), nth) == np.sort(key)[nth]
    down = np.arange(1000)[::-1].copy()
    assert paths.nth_least(down, 400) == 400


@pytest.mark.parametrize("seed", range(8))
def test_least_moves_and_lowest_prices(seed: int) -> None:
    rows, split, amounts = random_rows(seed, 60, 5, 20)
    least = kernels.least_moves(rows, split)
    np.testing.assert_array_equal(least, slow_least_moves(rows.cost, amounts))
    # Prices exist where no cycle of moves pays; make the arcs so by adding a potential to random lengths.
    rng = np.random.default_rng(seed)
    price = rng.integers(0, 50, 5)
    arcs = price[:, None] - price[None, :] + rng.integers(0, 30, (5, 5))
    lowest = kernels.lowest_prices(arcs, price)
    want = np.zeros(5, np.int64)
    for _ in range(5):  # Bellman and Ford: raise a price only where an arc forces it
        want = np.maximum(want, (want[:, None] - arcs).max(axis=0))
    np.testing.assert_array_equal(lowest, want)


def heaps_for(k: int) -> tuple[Whole, paths.Heaps]:
    table = np.zeros((3, k, k), np.int64)
    return np.empty((1, 4), np.int64), paths.Heaps(
        np.array([0, -1]),
        np.full((k, k), -1, np.int64),
        table[0],
        table[1],
        table[2],
        np.zeros((k, k), np.bool_),
    )


def check_heaps(rows: kernels.Rows, amounts: Whole, node: Whole, heaps: paths.Heaps) -> None:
    """Every heap is a heap, its top is true and least, and every move left out has a key of the bound or more."""
    full = with_blank(rows.cost)
    k = full.shape[1]
    for j in range(k):
        for to in range(k):
            if j == to:
                assert heaps.root[j, to] < 0 and heaps.value[j, to] == kernels.FAR
                continue
            inside: Counter[int] = Counter()
            queue = [(int(heaps.root[j, to]), -kernels.FAR)] if heaps.root[j, to] >= 0 else []
            for p, above in queue:
                key, r, child, _ = node[p].tolist()
                assert key == full[r, to] - full[r, j] and key >= above
                inside[r] += 1
                while child >= 0:
                    queue.append((child, key))
                    child = int(node[child, paths.NEXT])
            assert heaps.size[j, to] == sum(inside.values())
            moves = {r: int(full[r, to] - full[r, j]) for r in np.flatnonzero(amounts[:, j]).tolist()}
            assert all(key >= heaps.bound[j, to] for r, key in moves.items() if r not in inside)
            if heaps.root[j, to] >= 0:
                assert int(node[heaps.root[j, to], paths.ROW]) in moves
                assert heaps.value[j, to] == min(moves.values())
            else:
                assert heaps.value[j, to] == heaps.bound[j, to]


@pytest.mark.parametrize("limit", [1, 3, 1000])
@pytest.mark.parametrize("reach", [1, 12, kernels.FAR])
def test_fill_heaps(limit: int, reach: int) -> None:
    rows, split, amounts = random_rows(limit, 120, 4, 20)
    price = np.array([0, 3, 9, 1])
    node, heaps = heaps_for(4)
    limits = np.full(4, limit)
    node = paths.fill_heaps(rows, split, price, -1, reach, limits, node, heaps)
    check_heaps(rows, amounts, node, heaps)
    assert heaps.size.max() < 2 * limit
    assert (heaps.size[heaps.pruned] >= limit).all()
    far = np.minimum(reach + price[:, None] - price[None, :], kernels.FAR)
    untouched = ~heaps.pruned & ~np.eye(4, dtype=bool)
    np.testing.assert_array_equal(heaps.bound[untouched], far[untouched])
    before = heaps.size.copy()
    limits[2] = 1000
    node = paths.fill_heaps(rows, split, price, 2 * 4 + 1, kernels.FAR, limits, node, heaps)
    check_heaps(rows, amounts, node, heaps)
    before[2, 1] = np.count_nonzero(amounts[:, 2])
    np.testing.assert_array_equal(heaps.size, before)


def slow_repair(cost: Costs, amounts: Whole, capacity: Whole) -> int:
    """Least cost after moving single items along cheapest paths, found by Bellman and Ford, until loads fit."""
    full, amounts = with_blank(cost), amounts.copy()
    k = len(capacity)
    while (amounts.sum(axis=0) > capacity).any():
        load = amounts.sum(axis=0)
        arc, via = slow_least_moves(cost, amounts), np.full(k, -1)
        far = np.where(load > capacity, 0, kernels.FAR)
        for _ in range(k):
            for j in range(k):
                for to in range(k):
                    if arc[j, to] < kernels.FAR and far[j] + arc[j, to] < far[to]:
                        far[to], via[to] = far[j] + arc[j, to], j
        to = int(np.where(load < capacity, far, kernels.FAR).argmin())
        while via[to] >= 0:
            j = int(via[to])
            movable = np.flatnonzero(amounts[:, j])
            r = movable[(full[movable, to] - full[movable, j]).argmin()]
            amounts[r, j] -= 1
            amounts[r, to] += 1
            to = j
    return int((amounts * full).sum())


@pytest.mark.parametrize("limit", [1, 4, 1000])
@pytest.mark.parametrize("top", [1, 6, 500])
def test_repair_loads(limit: int, top: int) -> None:
    rng = np.random.default_rng(limit + top)
    n, k = 60, 5
    cost = random_costs(rng, n, k, top)
    weight = rng.integers(1, 4, n + 1)
    capacity = rng.multinomial(weight.sum(), [0.4, 0.3, 0.1, 0.1, 0.1])
    home = np.append(cost.argmin(axis=1), -1).astype(np.int64)
    split = np.zeros((1, k), np.int64)
    split[0, 0] = weight[n]
    rows = kernels.Rows(cost, weight, home)
    amounts = amounts_of(rows, split)
    want = slow_repair(cost, amounts, capacity)
    load, price, slots = amounts.sum(axis=0), np.zeros(k, np.int64), np.ones(1, np.int64)
    node, heaps = heaps_for(k)
    limits = np.full(k, limit)
    node = paths.fill_heaps(rows, split, price, -1, 2, limits, node, heaps)
    for turn in range(3, 200):
        arc, split, node = paths.repair_loads(rows, split, slots, capacity, load, price, limits, node, heaps)
        amounts = amounts_of(rows, split)
        check_heaps(rows, amounts, node, heaps)
        np.testing.assert_array_equal(load, amounts.sum(axis=0))
        reduced = slow_least_moves(cost, amounts) - price[:, None] + price[None, :]
        assert (reduced >= 0).all()  # every item stays where cost + price is least
        if arc < 0:
            break
        j, to = divmod(arc, k)
        assert heaps.root[j, to] < 0
        limits[j] += 1
        node = paths.fill_heaps(rows, split, price, arc, turn * turn, limits, node, heaps)
    assert arc == paths.DONE
    np.testing.assert_array_equal(load, capacity)
    assert int((amounts * with_blank(cost)).sum()) == want


def amounts_of(rows: kernels.Rows, split: Whole) -> Whole:
    amounts = np.zeros((len(rows.home), rows.cost.shape[1]), np.int64)
    for r, at in enumerate(rows.home.tolist()):
        if at < 0:
            amounts[r] = split[-1 - at]
        else:
            amounts[r, at] = rows.weight[r]
    np.testing.assert_array_equal(amounts.sum(axis=1), rows.weight)
    return amounts


def test_repair_is_stuck_without_room() -> None:
    rows = kernels.Rows(frozen(np.zeros((2, 2), np.int32)), np.array([1, 1, 0]), np.array([0, 0, -1]))
    node, heaps = heaps_for(2)
    split, price = np.zeros((1, 2), np.int64), np.zeros(2, np.int64)
    node = paths.fill_heaps(rows, split, price, -1, kernels.FAR, np.full(2, 9), node, heaps)
    status, _, _ = paths.repair_loads(
        rows,
        split,
        np.ones(1, np.int64),
        np.array([1, 0]),
        np.array([2, 0]),
        price,
        np.full(2, 9),
        node,
        heaps,
    )
    assert status == paths.STUCK


def test_deal_groups() -> None:
    # Row 0 lies at class 1 as a whole; row 1 has 2 items at class 0 and 1 at class 2.
    group = np.array([1, 0, 1, 0, 1])
    home = np.array([1, -2, -1])
    split = np.array([[5, 0, 0], [2, 0, 1]])
    assert kernels.deal_groups(group, home, split).tolist() == [0, 1, 0, 1, 2]


@pytest.mark.parametrize("k", [3, 64, 65, 200])
def test_sums_and_ties(k: int) -> None:
    rng = np.random.default_rng(k)
    cost = random_costs(rng, 300, k, 1)
    cost = frozen(np.vstack([cost[rng.integers(0, 5, 100)], cost[100:]]))
    price = rng.integers(0, 2, k)
    choice = rng.integers(0, k, 300).astype(np.int32)
    reduced = cost + price
    best = reduced == reduced.min(axis=1, keepdims=True)
    least, tied = kernels.least_sums(cost, price, 64)
    assert least.tolist() == [int(reduced[at : at + 64].min(axis=1).sum()) for at in range(0, 300, 64)]
    np.testing.assert_array_equal(tied, best.sum(axis=1) > 1)
    spent, count = kernels.cost_sums(cost, choice, 64)
    chosen = cost[np.arange(300), choice]
    assert spent.tolist() == [int(chosen[at : at + 64].sum()) for at in range(0, 300, 64)]
    np.testing.assert_array_equal(count, np.bincount(choice, minlength=k))
    item = rng.permutation(np.flatnonzero(tied))
    group, groups = kernels.group_ties(cost, price, item)
    seen: dict[bytes, int] = {}
    assert group.tolist() == [seen.setdefault(best[i].tobytes(), len(seen)) for i in item]
    assert groups == len(seen)
    want = choice.copy()
    for g in range(groups):
        want[item[group == g]] = np.sort(want[item[group == g]])
    kernels.deal_ties(choice, item, group, groups, k)
    np.testing.assert_array_equal(choice, want)
