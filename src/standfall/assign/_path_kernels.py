"""Compiled kernels of the exact assignment: shortest augmenting paths on the graph of classes.

Words used below; rows, the blank row, home and split are explained at `Rows`.
    move j -> to: taking items of a row at class j to class `to`; its key is cost[r, to] - cost[r, j].
    heap of (j, to): pairing heap (Fredman, Sedgewick, Sleator and Tarjan 1986, Algorithmica 1) of moves,
        least key on top. A move whose row has left class j may stay inside; the top is always true.
    bound of (j, to): every move that is not in the heap has a key of at least this.
    value of (j, to): key on top of the heap; the bound when the heap is empty, then only a lower limit.

The method is successive shortest paths with potentials (Ahuja, Magnanti and Orlin 1993, section 9.7),
on the classes instead of the items. The slow, readable twin is in tests/assign/test_kernels.py.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from standfall.assign._kernels import FAR, Costs, Ints, Rows, compiled

CLOSED = 1 << 50
"""Price that keeps every row out of a class without stock; above every other price, below FAR."""

KEY, ROW, CHILD, NEXT = 0, 1, 2, 3
"""Columns of the node pool, one line per move: key, row, first child, next sibling or next free node."""

DONE = -1
STUCK = -2


class Heaps(NamedTuple):
    """State of the k * k heaps over a node pool that is passed beside them because it may grow.

    mark (2,): end of the used pool, first free node or -1. root, size, bound, value (k, k): top node or -1,
    nodes, bound and value as explained above. pruned (k, k): whether the bound comes from a full heap.
    """

    mark: Ints
    root: Ints
    size: Ints
    bound: Ints
    value: Ints
    pruned: NDArray[np.bool_]


@compiled
def _amount(rows: Rows, split: Ints, r: int, j: int) -> int:
    """Items of row r at class j."""
    at = rows.home[r]
    amount: int = split[-1 - at, j] if at < 0 else rows.weight[r] if at == j else 0
    return amount


@compiled
def _key(cost: Costs, r: int, j: int, to: int) -> int:
    """Cost of moving one item of row r from class j to class `to`; 0 for the blank row."""
    key: int = cost[r, to] - np.int64(cost[r, j]) if r < cost.shape[0] else 0
    return key


@compiled
def _grown(table: Ints, used: int, more: int) -> Ints:
    """Return `table`, or a copy twice as long when `more` rows would not fit behind `used`."""
    if used + more <= table.shape[0]:
        return table
    longer = np.empty((2 * table.shape[0] + more, table.shape[1]), np.int64)
    for p in range(used):
        for q in range(table.shape[1]):
            longer[p, q] = table[p, q]
    return longer


# --------------------------------------------------------------------------------------------- heaps


@compiled
def _link(node: Ints, a: int, b: int) -> int:
    """Join two heaps given by their tops; returns the new top."""
    if node[b, KEY] < node[a, KEY]:
        a, b = b, a
    node[b, NEXT] = node[a, CHILD]
    node[a, CHILD] = b
    return a


@compiled
def _add(node: Ints, heaps: Heaps, j: int, to: int, p: int) -> None:
    """Add the single node p, whose key and row are set, to the heap of (j, to)."""
    node[p, CHILD] = -1
    top = heaps.root[j, to]
    heaps.root[j, to] = p if top < 0 else _link(node, top, p)
    heaps.size[j, to] += 1


@compiled
def _free(node: Ints, mark: Ints, p: int) -> None:
    """Give node p back to the pool."""
    node[p, NEXT] = mark[1]
    mark[1] = p


@compiled
def _insert(node: Ints, heaps: Heaps, j: int, to: int, key: int, r: int) -> None:
    """Add one move to the heap of (j, to); the pool must have room."""
    p = heaps.mark[1]
    if p >= 0:
        heaps.mark[1] = node[p, NEXT]
    else:
        p = heaps.mark[0]
        heaps.mark[0] += 1
    node[p, KEY] = key
    node[p, ROW] = r
    _add(node, heaps, j, to, p)


@compiled
def _drop_top(node: Ints, top: int) -> int:
    """Join the children of `top` in pairs, then all from the back; returns the new top or -1."""
    pairs = -1
    p = node[top, CHILD]
    while p >= 0:
        q = node[p, NEXT]
        after = -1
        joined = p
        if q >= 0:
            after = node[q, NEXT]
            joined = _link(node, p, q)
        node[joined, NEXT] = pairs
        pairs = joined
        p = after
    if pairs >= 0:
        rest = node[pairs, NEXT]
        while rest >= 0:
            after = node[rest, NEXT]
            pairs = _link(node, pairs, rest)
            rest = after
    return pairs


@compiled
def _empty_heap(node: Ints, heaps: Heaps, j: int, to: int) -> Ints:
    """Take all nodes out of the heap of (j, to), which is not empty, without freeing them; returns their numbers."""
    listed = np.empty(heaps.size[j, to], np.int64)
    listed[0] = heaps.root[j, to]
    tail = 1
    head = 0
    while head < tail:
        p = node[listed[head], CHILD]
        head += 1
        while p >= 0:
            listed[tail] = p
            tail += 1
            p = node[p, NEXT]
    heaps.root[j, to] = -1
    heaps.size[j, to] = 0
    return listed


@compiled
def nth_least(key: Ints, nth: int) -> int:
    """The nth least key, counting from 0 (quickselect, middle of three); reorders `key`."""
    low = 0
    high = key.shape[0] - 1
    while low < high:
        a, b, c = key[low], key[(low + high) >> 1], key[high]
        pivot = max(min(a, b), min(max(a, b), c))
        i, j = low, high
        while i <= j:
            while key[i] < pivot:
                i += 1
            while key[j] > pivot:
                j -= 1
            if i <= j:
                key[i], key[j] = key[j], key[i]
                i += 1
                j -= 1
        if nth <= j:
            high = j
        elif nth >= i:
            low = i
        else:
            break
    least: int = key[nth]
    return least


@compiled
def _prune(rows: Rows, split: Ints, node: Ints, heaps: Heaps, j: int, to: int, keep: int) -> None:
    """Keep the `keep` >= 1 least true moves of a heap and lower its bound to the greatest key kept."""
    listed = _empty_heap(node, heaps, j, to)
    key = np.empty(listed.shape[0], np.int64)
    m = 0
    for q in range(listed.shape[0]):
        p = listed[q]
        if _amount(rows, split, node[p, ROW], j) > 0:
            listed[m] = p
            key[m] = node[p, KEY]
            m += 1
        else:
            _free(node, heaps.mark, p)
    cut = FAR
    equal = 0
    if m > keep:
        cut = nth_least(key[:m], keep - 1)
        heaps.bound[j, to] = cut
        heaps.pruned[j, to] = True
        equal = keep
        for q in range(m):
            equal -= key[q] < cut
    for q in range(m):
        p = listed[q]
        if node[p, KEY] == cut:
            equal -= 1
        if node[p, KEY] < cut or (node[p, KEY] == cut and equal >= 0):
            _add(node, heaps, j, to, p)
        else:
            _free(node, heaps.mark, p)


# --------------------------------------------------------------------------------------------- moves


@compiled
def _offer_moves(
    rows: Rows, split: Ints, limit: int, node: Ints, heaps: Heaps, r: int, j: int, only: int | np.int64
) -> Ints:
    """Add the moves of row r out of class j that lie below the bounds; returns the node pool.

    Only the move to class `only` is offered, all moves if it is negative.
    """
    k = rows.cost.shape[1]
    node = _grown(node, heaps.mark[0], k)
    start = max(0, only)
    stop = k if only < 0 else only + 1
    for to in range(start, stop):
        key = _key(rows.cost, r, j, to)
        if key < heaps.bound[j, to]:
            _insert(node, heaps, j, to, key, r)
            heaps.value[j, to] = min(heaps.value[j, to], key)
            if heaps.size[j, to] >= 2 * limit:
                _prune(rows, split, node, heaps, j, to, limit)
    return node


@compiled
def _clear_heap(node: Ints, heaps: Heaps, price: Ints, reach: int, j: int, to: int) -> None:
    """Empty the heap of (j, to) and set its bound: `reach` beyond staying, at these prices."""
    if heaps.root[j, to] >= 0:
        listed = _empty_heap(node, heaps, j, to)
        for q in range(listed.shape[0]):
            _free(node, heaps.mark, listed[q])
    heaps.bound[j, to] = min(reach + price[j] - price[to], FAR)
    heaps.value[j, to] = heaps.bound[j, to]
    heaps.pruned[j, to] = False
    if j == to or price[to] >= CLOSED:
        heaps.bound[j, to] = -FAR
        heaps.value[j, to] = FAR


@compiled
def _list_near(cost: Costs, home: Ints, bound: Ints, only: int, start: int, stop: int, listed: Ints) -> int:
    """List the rows from `start` to `stop` that may have a move below its bound; returns how many.

    Apart from `fill_heaps` because the plain loop is twice as fast without the heaps in it.
    """
    k = cost.shape[1]
    count = 0
    for r in range(start, stop):
        j = home[r]
        if j < 0:
            listed[count] = r
            count += 1
        elif only < 0 or j == only:
            base = np.int64(cost[r, j])
            near = 0
            for to in range(k):
                near |= cost[r, to] - base < bound[j, to]
            listed[count] = r
            count += near
    return count


@compiled
def _list_arc(
    cost: Costs, home: Ints, bound: int, j: int, to: int, start: int, stop: int, listed: Ints
) -> int:
    """List the rows from `start` to `stop` that may move from class j to `to` below `bound`."""
    count = 0
    for r in range(start, stop):
        if home[r] < 0 or (home[r] == j and np.int64(cost[r, to]) - cost[r, j] < bound):
            listed[count] = r
            count += 1
    return count


@compiled
def fill_heaps(
    rows: Rows, split: Ints, price: Ints, arc: int, reach: int, limit: Ints, node: Ints, heaps: Heaps
) -> Ints:
    """Collect moves: of all classes if `arc` is negative, of class j if it is j * k + j, else of j * k + to.

    Returns the node pool.
    The heap of (j, to) takes moves whose cost + price is within `reach` of staying, and of these not many
    more than the limit[j] least.
    """
    cost, _, home = rows
    n, k = cost.shape
    only = arc // k if arc >= 0 else -1
    onto = arc % k if arc >= 0 and arc % k != only else -1
    for j in range(k) if only < 0 else range(only, only + 1):
        for to in range(k) if onto < 0 else range(onto, onto + 1):
            _clear_heap(node, heaps, price, reach, j, to)
    listed = np.empty(4096, np.int64)
    for start in range(0, n, 4096):
        stop = min(start + 4096, n)
        if onto < 0:
            count = _list_near(cost, home, heaps.bound, only, start, stop, listed)
        else:
            count = _list_arc(cost, home, heaps.bound[only, onto], only, onto, start, stop, listed)
        for q in range(count):
            r = listed[q]
            at = home[r]
            for j in range(k) if at < 0 else range(at, at + 1):
                if (only < 0 or j == only) and (at >= 0 or split[-1 - at, j] > 0):
                    node = _offer_moves(rows, split, limit[j], node, heaps, r, j, onto)
    for j in range(k):
        if (only < 0 or j == only) and split[0, j] > 0:
            node = _offer_moves(rows, split, limit[j], node, heaps, n, j, onto)
    return node


@compiled
def _tidy_tops(rows: Rows, split: Ints, node: Ints, heaps: Heaps, r: int, j: int) -> None:
    """Row r has left class j: take it, and any row below it that is gone too, off the tops of j's heaps."""
    for to in range(heaps.root.shape[0]):
        top = heaps.root[j, to]
        if top < 0 or node[top, ROW] != r:
            continue
        while top >= 0 and _amount(rows, split, node[top, ROW], j) == 0:
            after = _drop_top(node, top)
            _free(node, heaps.mark, top)
            heaps.size[j, to] -= 1
            top = after
        heaps.root[j, to] = top
        heaps.value[j, to] = node[top, KEY] if top >= 0 else heaps.bound[j, to]


@compiled
def _shift(rows: Rows, split: Ints, slots: Ints, r: int, j: int, to: int, part: int) -> Ints:
    """Move `part` items of row r from class j to class `to`; returns the split table.

    slots (1,) counts the used lines of the split table.
    """
    at = rows.home[r]
    if at >= 0 and part == rows.weight[r]:
        rows.home[r] = to
        return split
    if at >= 0:
        split = _grown(split, slots[0], split.shape[1])
        for q in range(split.shape[1]):
            split[slots[0], q] = 0
        split[slots[0], j] = rows.weight[r]
        at = -1 - slots[0]
        rows.home[r] = at
        slots[0] += 1
    split[-1 - at, j] -= part
    split[-1 - at, to] += part
    return split


@compiled
def _search(capacity: Ints, load: Ints, price: Ints, value: Ints, far: Ints, via: Ints, seen: Ints) -> int:
    """Dijkstra's algorithm from all overfull classes to the nearest class with room.

    `far`, `via`, `seen` (k,) receive distances, classes before, and settled marks. Returns the class
    reached, DONE when no class is overfull, STUCK when none has room in reach.
    """
    k = capacity.shape[0]
    sources = 0
    for j in range(k):
        seen[j] = 0
        via[j] = -1
        far[j] = FAR
        if load[j] > capacity[j]:
            far[j] = 0
            sources += 1
    while sources > 0:
        j = -1
        least = np.int64(FAR // 2)
        for at in range(k):
            if seen[at] == 0 and (far[at] < least or (far[at] == least and load[at] < capacity[at])):
                least = far[at]
                j = at
        if j < 0:
            return STUCK
        if load[j] < capacity[j]:
            return j
        seen[j] = 1
        base = least - price[j]
        for to in range(k):
            length = base + value[j, to] + price[to]
            if length < far[to]:
                far[to] = length
                via[to] = j
    return DONE


@compiled
def _push(
    rows: Rows,
    split: Ints,
    slots: Ints,
    part: int,
    limit: Ints,
    node: Ints,
    heaps: Heaps,
    via: Ints,
    end: int,
) -> tuple[int, Ints, Ints]:
    """Move up to `part` items along the path `via` that ends at `end`; returns how many, split, node."""
    root = heaps.root
    to = end
    while via[to] >= 0:
        part = min(part, _amount(rows, split, node[root[via[to], to], ROW], via[to]))
        to = via[to]
    # Backwards, so that no row that arrives at a class can replace the row about to leave it.
    to = end
    while via[to] >= 0:
        j = via[to]
        r = node[root[j, to], ROW]
        new = _amount(rows, split, r, to) == 0
        split = _shift(rows, split, slots, r, j, to, part)
        if new:
            node = _offer_moves(rows, split, limit[to], node, heaps, r, to, np.int64(-1))
        if _amount(rows, split, r, j) == 0:
            _tidy_tops(rows, split, node, heaps, r, j)
        to = j
    return part, split, node


@compiled
def repair_loads(
    rows: Rows,
    split: Ints,
    slots: Ints,
    capacity: Ints,
    load: Ints,
    price: Ints,
    limit: Ints,
    node: Ints,
    heaps: Heaps,
) -> tuple[int, Ints, Ints]:
    """Move items along shortest augmenting paths until no class is overfull.

    Changes rows.home, slots, load, price and heaps in place. Returns (status, split, node); status is
    DONE, STUCK (never when weights and capacities agree), or the arc j * k + to: its heap is empty on
    what may be the shortest path and must be filled again, with more reach or a higher limit.
    """
    k = capacity.shape[0]
    far = np.empty(k, np.int64)
    via = np.empty(k, np.int64)
    seen = np.empty(k, np.int64)
    while True:
        end = _search(capacity, load, price, heaps.value, far, via, seen)
        if end < 0:
            return end, split, node
        start = end
        while via[start] >= 0:
            if heaps.root[via[start], start] < 0:
                return via[start] * k + start, split, node
            start = via[start]
        for j in range(k):
            if seen[j] == 1:
                price[j] += far[end] - far[j]
        tight = True
        while tight:
            part = min(load[start] - capacity[start], capacity[end] - load[end])
            part, split, node = _push(rows, split, slots, part, limit, node, heaps, via, end)
            load[start] -= part
            load[end] += part
            # The same path again while it stays shortest: many ties move without a new search.
            tight = load[start] > capacity[start] and load[end] < capacity[end]
            to = end
            while tight and to != start:
                j = via[to]
                tight = heaps.root[j, to] >= 0 and heaps.value[j, to] + price[to] == price[j]
                to = j
