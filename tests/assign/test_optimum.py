"""The optimum of `assign` against general-purpose solvers and published transportation problems."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from ortools.graph.python import min_cost_flow
from scipy.optimize import linear_sum_assignment, linprog
from scipy.sparse import eye as identity
from scipy.sparse import kron, vstack
from skimage.color import deltaE_ciede2000, rgb2lab
from skimage.data import coffee
from skimage.transform import resize

from standfall.assign import assign
from standfall.assign import assignment as module

DATA = Path(__file__).parents[1] / "data"

# sRGB of 16 plastic-like colours of our own.
PALETTE = np.array(
    [
        *([24, 24, 26], [243, 243, 240], [126, 128, 130], [188, 190, 194], [186, 24, 32], [112, 22, 32]),
        *([232, 112, 24], [248, 204, 34], [128, 188, 54], [24, 96, 58], [112, 178, 222], [24, 62, 148]),
        *([98, 52, 128], [232, 142, 168], [104, 66, 42], [228, 214, 178]),
    ],
    np.uint8,
)


def flow_optimum(cost: NDArray[np.int32], capacity: NDArray[np.int64]) -> int:
    """Optimum by OR-tools SimpleMinCostFlow: items, classes and one sink."""
    n, k = cost.shape
    flow = min_cost_flow.SimpleMinCostFlow()
    item, class_ = np.repeat(np.arange(n), k), np.tile(np.arange(n, n + k), n)
    flow.add_arcs_with_capacity_and_unit_cost(item, class_, np.ones(n * k, np.int64), cost.ravel())
    flow.add_arcs_with_capacity_and_unit_cost(
        np.arange(n, n + k), np.full(k, n + k), capacity, np.zeros(k, np.int64)
    )
    flow.set_nodes_supplies(np.arange(n + k + 1), np.r_[np.ones(n, np.int64), np.zeros(k, np.int64), -n])
    assert flow.solve() == flow.OPTIMAL
    return int(flow.optimal_cost())


def linear_optimum(cost: NDArray[np.int32], capacity: NDArray[np.int64]) -> float:
    """Optimum by HiGHS on the linear program; its vertices are whole (transportation problem)."""
    n, k = cost.shape
    each_item = kron(identity(n), np.ones((1, k)))
    each_class = vstack([kron(np.ones((1, n)), identity(k))])
    answer = linprog(
        cost.ravel().astype(float),
        A_ub=each_class,
        b_ub=capacity,
        A_eq=each_item,
        b_eq=np.ones(n),
        method="highs",
    )
    assert answer.status == 0
    return float(answer.fun)


def slot_optimum(cost: NDArray[np.int32], capacity: NDArray[np.int64]) -> int:
    """Optimum by scipy linear_sum_assignment, each class repeated once for every place it can use."""
    slots = np.repeat(cost, np.minimum(capacity, len(cost)), axis=1)
    rows, columns = linear_sum_assignment(slots)
    return int(slots[rows, columns].astype(np.int64).sum())


def places(rng: np.random.Generator, total: int, k: int, empty: float = 0.0) -> NDArray[np.int64]:
    """Random capacities that add up to `total`; a class is empty with the chance `empty`."""
    weights = rng.random(k) ** 2 * (rng.random(k) >= empty)
    weights[rng.integers(k)] += 0.1
    return rng.multinomial(total, weights / weights.sum()).astype(np.int64)


def random_instance(seed: int) -> tuple[NDArray[np.int32], NDArray[np.int64]]:
    """Instances that go round the kinds: top cost (ties to none), slack, empty classes, few items."""
    rng = np.random.default_rng(seed)
    k = int(rng.integers(1, 10))
    n = int(rng.integers(1, k + 1)) if seed % 5 == 0 else int(rng.integers(1, 70))
    top = (1, 2, 7, 1000, 2**31 - 1)[seed % 5 if seed % 2 else seed // 5 % 5]
    cost = rng.integers(0, top, (n, k), endpoint=True, dtype=np.int32)
    slack = (0, 0, 1, n // 10, 3 * n)[seed // 2 % 5]
    return cost, places(rng, n + slack, k, (0.0, 0.4)[seed // 3 % 2])


@pytest.mark.parametrize("part", range(4))
def test_random_instances_against_slots(part: int) -> None:
    for seed in range(part * 250, part * 250 + 250):
        cost, capacity = random_instance(seed)
        assert assign(cost, capacity).cost_total == slot_optimum(cost, capacity), seed


def test_random_instances_against_flow() -> None:
    for seed in range(2000, 2150):
        cost, capacity = random_instance(seed)
        cost = np.minimum(cost, 10**9).astype(np.int32)  # OR-tools scales costs by the node count in 64 bits
        assert assign(cost, capacity).cost_total == flow_optimum(cost, capacity), seed


def test_random_instances_against_highs() -> None:
    for seed in range(3000, 3060):
        cost, capacity = random_instance(seed)
        cost = np.minimum(cost, 10**6).astype(np.int32)  # floating point: keep the sums exact
        assert assign(cost, capacity).cost_total == pytest.approx(linear_optimum(cost, capacity), abs=0.01)


@pytest.mark.parametrize(("kept", "probe"), [(1, 64), (1, 4096), (3, 64)])
def test_every_branch_on_small_instances(kept: int, probe: int, monkeypatch: pytest.MonkeyPatch) -> None:
    # Samples down to a few rows, heaps of a few moves, and guesses that are too short: on small
    # instances this takes the paths that only a million items take otherwise.
    figures = {"PROBE_ROWS": probe, "LEAST_LIMIT": kept, "LEAF_ROWS": 2, "FEW_MOVES": 0, "SOME_MOVES": 0}
    figures |= {"HEAP_MOVES": 0, "SHORT_MOVES": 1}
    for name, value in figures.items():
        monkeypatch.setattr(module, name, value)
    for seed in range(150):
        rng = np.random.default_rng(seed)
        n, k = int(rng.integers(100, 400)), int(rng.integers(2, 14))
        cost = rng.integers(0, (1, 3, 30, 2**31 - 1)[seed % 4], (n, k), endpoint=True, dtype=np.int32)
        capacity = places(rng, n + (0, 5, n // 5)[seed % 3], k, 0.2)
        assert assign(cost, capacity).cost_total == slot_optimum(cost, capacity), seed


@pytest.mark.parametrize("k", [70, 200])
def test_many_classes(k: int) -> None:
    rng = np.random.default_rng(k)
    cost = rng.integers(0, 30, (1500, k), dtype=np.int32)
    capacity = places(rng, 1510, k)
    assert assign(cost, capacity).cost_total == slot_optimum(cost, capacity)


def spread(n: int, k: int) -> NDArray[np.int64]:
    return np.diff(np.arange(k + 1) * n // k)


def hard_cases(n: int, k: int) -> dict[str, tuple[NDArray[np.int32], NDArray[np.int64]]]:
    """Cases that ruin careless methods: ties everywhere, one row, long chains, a class nobody wants."""
    rng = np.random.default_rng(12)
    item, class_ = np.arange(n)[:, None], np.arange(k)[None]
    tight, skew = spread(n, k), places(rng, n + n // 20, k)
    unwanted = np.where(
        class_ == k - 1, 2**31 - 1 - rng.integers(0, 999, (n, k)), rng.integers(0, 999, (n, k))
    )
    cases = {
        "all equal": (np.full((n, k), 7), tight),
        "one row": (np.tile(rng.integers(0, 9999, k), (n, 1)), tight),
        "three colours": (rng.integers(0, 9999, (3, k))[rng.integers(0, 3, n)], skew),
        "two values": (rng.integers(0, 2, (n, k)) * 1000, tight),
        "two values, skew": ((rng.random((n, k)) < rng.random(k)) * 1000, skew),
        "bits of the number": (item >> (class_ % 12) & 1, tight),
        "places on a line": (np.abs(np.sort(rng.random(n))[:, None] - rng.random(k)) * 1e6, skew),
        "product": (rng.integers(0, 40_000, (n, 1)) * class_, tight),
        "same order, one bit": (class_ * 10_000 + rng.integers(0, 2, (n, k)), tight),
        "staircase": (np.maximum(0, class_ * n // k - item), tight[::-1]),
        "ladder of ties": (np.where(class_ <= item * k // n, 0, 1 + item * 7919 % 100_003), tight),
        "unwanted class": (unwanted, np.where(np.arange(k) == k - 1, n - n // 10, n // 10 // (k - 1) + 1)),
    }
    return {name: (np.ascontiguousarray(c, np.int32), p.astype(np.int64)) for name, (c, p) in cases.items()}


@pytest.mark.parametrize("name", hard_cases(20, 3))
def test_hard_cases(name: str) -> None:
    cost, capacity = hard_cases(6000, 8)[name]
    limit = 10**6 if name == "unwanted class" else 2**31  # keeps OR-tools' scaled costs within 64 bits
    cost = np.minimum(cost, limit - 1).astype(np.int32)
    assert assign(cost, capacity).cost_total == flow_optimum(cost, capacity)


def table(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


def test_fixed_instance() -> None:
    # 4383221 and 3246176: agreed by four independent solvers, named in the file.
    cost = np.array([list(row.values())[1:] for row in table("assignment_small.csv")], np.int32)
    capacity = np.array([row["stock"] for row in table("assignment_small_stock.csv")], np.int64)
    assert cost.shape == (320, 16) and capacity.sum() == 336
    assert assign(cost, capacity).cost_total == 4383221 == slot_optimum(cost, capacity)
    assert assign(cost, np.full(16, 320)).cost_total == 3246176 == cost.min(axis=1).sum()


@pytest.mark.parametrize("case", ["hillier", "dantzig"])
def test_published_transport(case: str) -> None:
    # Hillier and Lieberman (P&T Company) and Dantzig 1963, from memory; sources in the file. Every unit of
    # demand becomes an item, the plants are the classes; the same the other way round where sums agree.
    rows = [row for row in table("transport_published.csv") if row["case"] == case]
    cost = np.array([row["values"].split() for row in rows if row["field"] == "cost"], np.int32)
    supply, demand, optimum = (
        np.array(row["values"].split(), np.int64) for row in rows if row["field"] != "cost"
    )
    answer = assign(np.repeat(cost.T, demand, axis=0), supply)
    assert answer.cost_total == optimum[0]
    if supply.sum() == demand.sum():
        assert assign(np.repeat(cost, supply, axis=0), demand).cost_total == optimum[0]


def test_photograph() -> None:
    # A real photograph (coffee, in the scikit-image wheel, CC0): 20,000 cells, integer CIEDE2000 x 1000,
    # stock 1.05 n, half of it by demand and half at random, so many cells miss their nearest colour.
    pixel = resize(coffee(), (115, 174), anti_aliasing=True).reshape(-1, 3)
    lab, colours = rgb2lab(pixel[None])[0], rgb2lab(PALETTE[None])[0]
    cost = np.stack([np.rint(1000 * deltaE_ciede2000(lab, colour[None])) for colour in colours], axis=1)
    cost = np.ascontiguousarray(cost, np.int32)
    n = len(cost)
    wanted = np.bincount(cost.argmin(axis=1), minlength=16)
    capacity = wanted * 21 // 40 + places(np.random.default_rng(3), n * 21 // 40 + 16, 16)
    answer = assign(cost, capacity)
    assert answer.cost_total == flow_optimum(cost, capacity)
    assert answer.cost_total > cost.min(axis=1).sum()  # the stock does bind
