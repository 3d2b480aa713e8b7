"""What to buy when stock is short: whole packs, cheapest or kindest to the picture, proved.

The colour error V(z) that the exact assignment reaches with z_j usable pieces of colour j is convex
in z, and the assignment's prices u are a subgradient: V(z) >= V(z') - sum_j u_j (z_j - z'_j). So the
best packs x come from a small integer programme (solved by HiGHS) in which V is replaced by all such
cuts found so far, tightened until its bound meets the best purchase seen: the method of Benders (1962)
and Kelley (1960). Most cuts are found first with packs that may be broken, which solves in milliseconds
(McDaniel and Devine 1977, from memory); only then are the packs whole.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp

from standfall.assign import Assignment
from standfall.mural.stock import Counts, exact_share, usable

# Bound and best purchase closer than this share of the total colour error count as equal.
GAP = 5e-4
BROKEN_ROUNDS_MOST = 150
WHOLE_ROUNDS_MOST = 12
# Branchings of one integer programme. Its bound holds however early it stops.
NODES_MOST = 5_000
LAST_NODES_MOST = 50_000

Evaluate = Callable[[Counts], Assignment]


@dataclass(frozen=True)
class Purchase:
    """Packs to buy per colour, their cost, and how far from the best possible they may be.

    ``packs`` (k,) int64; ``cost`` in the brief's currency; ``gap`` the proved share by which the
    colour error of any other purchase of no higher cost could be lower.
    """

    packs: Counts
    cost: float
    gap: float


@dataclass(frozen=True)
class Shop:
    """What can be bought: (k,) pieces in stock, pieces a pack, price a pack (NaN: not for sale).

    ``reserved`` (k,) pieces per colour that the lines need before the fields get any.
    """

    stock: Counts
    pack_size: Counts
    pack_price: NDArray[np.float64]
    reserved: Counts
    spares_share: float

    def usable_with(self, packs: Counts) -> Counts:
        """Return the pieces per colour left for the fields once these packs are bought (may be below 0)."""
        return usable(self.stock + packs * self.pack_size, self.spares_share) - self.reserved


class _Programme:
    """The integer programme over packs x (k), usable pieces z (k) and the error bound theta (1)."""

    def __init__(self, shop: Shop, needed: int) -> None:
        k = len(shop.stock)
        self.k = k
        share = float(1 + exact_share(shop.spares_share))
        for_sale = ~np.isnan(shop.pack_price)
        most = np.where(for_sale, np.ceil((needed + shop.reserved + 1) * share / shop.pack_size) + 1, 0.0)
        self.price = np.concatenate([np.where(for_sale, shop.pack_price, 0.0), np.zeros(k + 1)])
        self.bounds = Bounds(np.zeros(2 * k + 1), np.concatenate([most, np.full(k, float(needed)), [np.inf]]))
        self.integrality = np.concatenate([np.ones(2 * k), [0]])
        # (1 + s)(z_j + reserved_j) <= stock_j + pack_j x_j, and enough for every cell.
        rows = np.zeros((k + 1, 2 * k + 1))
        rows[np.arange(k), np.arange(k)] = -shop.pack_size
        rows[np.arange(k), k + np.arange(k)] = share
        rows[k, k : 2 * k] = -1.0
        limit = np.concatenate([shop.stock - share * shop.reserved, [-needed]])
        self.constraints = [LinearConstraint(rows, -np.inf, limit)]

    def add_cut(self, z: Counts, value: float, slope: NDArray[np.float64]) -> None:
        """Add theta >= value - slope . (z_new - z)."""
        row = np.concatenate([np.zeros(self.k), -slope, [-1.0]])
        self.constraints.append(LinearConstraint(row, -np.inf, -value - float(slope @ z)))

    def add_budget(self, budget: float) -> None:
        self.constraints.append(LinearConstraint(self.price, -np.inf, budget))

    def cheapest(self) -> Counts | None:
        """Return the packs of least price."""
        found = self._solved(self.price, self.integrality, 0.0)
        return None if found is None else self._packs(found[0])

    def solve_whole(self, gap: float, nodes: int) -> tuple[Counts, float] | None:
        """Return packs whose error, as the cuts tell it, is near the least, and what none can go below.

        Near is within ``gap`` (a share) of the least, or as near as so many branchings, ``nodes``, come.
        """
        found = self._solved(self._error(), self.integrality, gap, nodes)
        return None if found is None else (self._packs(found[0]), found[1])

    def solve_broken(self) -> tuple[Counts, float] | None:
        """Return usable pieces, rounded up, of the best purchase with packs that may be broken, and its bound."""
        found = self._solved(self._error(), np.zeros(2 * self.k + 1), 0.0)
        if found is None:
            return None
        return np.ceil(found[0][self.k : 2 * self.k] - 1e-6).astype(np.int64), found[1]

    def _error(self) -> NDArray[np.float64]:
        return np.concatenate([np.zeros(2 * self.k), [1.0]])

    def _packs(self, x: NDArray[np.float64]) -> Counts:
        return np.rint(x[: self.k]).astype(np.int64)

    def _solved(
        self,
        objective: NDArray[np.float64],
        integrality: NDArray[np.float64],
        gap: float,
        nodes: int | None = None,
    ) -> tuple[NDArray[np.float64], float] | None:
        found = milp(
            objective,
            integrality=integrality,
            bounds=self.bounds,
            constraints=self.constraints,
            options={"mip_rel_gap": gap} | ({} if nodes is None else {"node_limit": nodes}),
        )
        if found.x is None:
            return None
        # The dual bound holds whatever the gap; a programme without whole numbers has only its value.
        return found.x, float(found.fun if found.mip_dual_bound is None else found.mip_dual_bound)


def cheapest_cost(shop: Shop, needed: int) -> float | None:
    """Return the least money that buys enough packs for ``needed`` cells, ``None`` if nothing does."""
    programme = _Programme(shop, needed)
    packs = programme.cheapest()
    return None if packs is None else _cost(shop, packs)


def best_purchase(
    shop: Shop,
    needed: int,
    budget: float,
    evaluate: Evaluate,
    progress: Callable[[int, int, str], None] | None = None,
) -> Purchase | None:
    """Return the packs within ``budget`` whose colours give the least total error, ``None`` if none is enough.

    Args:
        shop: stock and prices.
        needed: cells of the fields.
        budget: most money, in the brief's currency.
        evaluate: exact assignment for (k,) usable pieces; its cost and prices make the cuts.
        progress: callback (done, total, what).
    """
    # Errors are scaled to a cell, which keeps the numbers within the solver's tolerances. There may be no cell
    # when only the lines need packs.
    cells = max(needed, 1)
    # No purchase does better than plenty of every colour; where the money reaches for it, that is all.
    plenty = evaluate(np.full(len(shop.stock), cells, dtype=np.int64))
    wish = _packs_for(shop, plenty.count)
    for_sale = ~np.isnan(shop.pack_price)
    if not wish[~for_sale].any() and _cost(shop, wish) <= budget + _slack(budget):
        return Purchase(wish, _cost(shop, wish), 0.0)
    programme = _Programme(shop, needed)
    programme.add_budget(budget + _slack(budget))
    _cut_broken(programme, cells, evaluate, progress)
    return _search(programme, shop, cells, plenty.cost_total / cells, evaluate, progress)


def _slack(budget: float) -> float:
    # A cent or less, since the sum of prices is rounded in floating point.
    return 1e-6 * max(1.0, budget)


def _cut_broken(
    programme: _Programme, cells: int, evaluate: Evaluate, progress: Callable[[int, int, str], None] | None
) -> None:
    """Add the cuts of purchases with packs that may be broken, until they tell the error rightly."""
    for turn in range(BROKEN_ROUNDS_MOST):
        if progress is not None:
            progress(turn, BROKEN_ROUNDS_MOST, "weighing what to buy")
        found = programme.solve_broken()
        if found is None:
            return
        z, bound = found
        answer = evaluate(z)
        value = answer.cost_total / cells
        if value - bound <= GAP / 10 * max(value, 1e-9):
            return
        programme.add_cut(z, value, answer.price / cells)


def _search(
    programme: _Programme,
    shop: Shop,
    cells: int,
    floor: float,
    evaluate: Evaluate,
    progress: Callable[[int, int, str], None] | None,
) -> Purchase | None:
    """Try the purchases that the cuts point to, each with whole packs, until the best meets the bound.

    ``floor`` bounds the error too. It is no cut: a flat programme would point anywhere.
    """
    # The cheapest purchase stands in should the branching end before it meets one within the budget.
    packs = programme.cheapest()
    if packs is None:
        return None
    answer = evaluate(shop.usable_with(packs))
    best = (answer.cost_total / cells, packs, answer)
    bound = floor
    tried: set[bytes] = set()
    nodes = NODES_MOST
    for turn in range(WHOLE_ROUNDS_MOST):
        if progress is not None:
            progress(turn, WHOLE_ROUNDS_MOST, "choosing packs to buy")
        found = programme.solve_whole(GAP / 10, nodes)
        if found is None:
            break
        packs = found[0]
        bound = max(bound, found[1])
        if packs.tobytes() in tried:  # its cut is known: what is left of the gap is the branching's
            if nodes > NODES_MOST:
                break
            nodes = LAST_NODES_MOST
            continue
        tried.add(packs.tobytes())
        z = shop.usable_with(packs)
        answer = evaluate(z)
        value = answer.cost_total / cells
        if value < best[0]:
            best = (value, packs, answer)
        if best[0] - bound <= GAP * max(best[0], 1e-9):
            break
        programme.add_cut(z, value, answer.price / cells)
    # Packs of which no piece is used stay in the shop.
    packs = np.minimum(best[1], _packs_for(shop, best[2].count))
    gap = max(0.0, best[0] - bound) / max(best[0], 1e-9)
    return Purchase(packs, _cost(shop, packs), gap)


def _packs_for(shop: Shop, count: Counts) -> Counts:
    """Return the fewest packs with which ``count`` pieces per colour can stand in the fields."""
    share = 1 + exact_share(shop.spares_share)
    needed = [
        max(0, math.ceil((math.ceil((int(c) + int(r)) * share) - int(s)) / int(p)))
        for c, r, s, p in zip(count, shop.reserved, shop.stock, shop.pack_size, strict=True)
    ]
    return np.array(needed, dtype=np.int64)


def _cost(shop: Shop, packs: Counts) -> float:
    return float(np.where(packs > 0, packs * np.nan_to_num(shop.pack_price), 0.0).sum())
