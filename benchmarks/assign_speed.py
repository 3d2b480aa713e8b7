"""Speed of the exact assignment on a photograph, beside OR-tools in the same run, and on hard cases alone.

    python benchmarks/assign_speed.py [--quick]

Picture: `coffee` from the scikit-image wheel (CC0), resized. Costs: whole CIEDE2000 x 1000 to plastic-like
colours of our own. Stock: 1.05 n in all, half of it spread by demand and half at random. The cost matrix is
made beforehand and not timed. Ours is the median of five runs after one that is not counted.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray
from ortools.graph.python import min_cost_flow
from rich.console import Console
from rich.table import Table
from skimage.color import deltaE_ciede2000, rgb2lab
from skimage.data import coffee
from skimage.transform import resize

from standfall.assign import assign

TITLE = "Exact assignment of cells to colours"

Costs = NDArray[np.int32]
Counts = NDArray[np.int64]

PALETTE = np.array(
    [
        *([24, 24, 26], [243, 243, 240], [126, 128, 130], [188, 190, 194], [186, 24, 32], [112, 22, 32]),
        *([232, 112, 24], [248, 204, 34], [128, 188, 54], [24, 96, 58], [112, 178, 222], [24, 62, 148]),
        *([98, 52, 128], [232, 142, 168], [104, 66, 42], [228, 214, 178]),
    ],
    np.uint8,
)


def picture_costs(n: int, k: int) -> Costs:
    """Costs (n, k) of the first n pixels of the resized picture; beyond 16, colours are drawn at random."""
    picture = coffee()
    height = int(np.ceil(np.sqrt(n * picture.shape[0] / picture.shape[1])))
    pixel = resize(picture, (height, -(-n // height)), anti_aliasing=True, preserve_range=True)
    colour, cell = np.unique(np.rint(pixel).astype(np.uint8).reshape(-1, 3)[:n], axis=0, return_inverse=True)
    more = np.random.default_rng(k).integers(0, 256, (max(0, k - 16), 3)).astype(np.uint8)
    palette = rgb2lab(np.vstack([PALETTE, more])[None, :k])[0]
    lab = rgb2lab(colour[None])[0]
    cost = np.empty((len(lab), k), np.int32)
    for j in range(k):
        cost[:, j] = np.rint(1000 * deltaE_ciede2000(lab, palette[j : j + 1]))
    return np.ascontiguousarray(cost[cell.ravel()])


def mixed_stock(cost: Costs, seed: int = 1) -> Counts:
    """Stock of 1.05 n, half by demand and half at random."""
    n, k = cost.shape
    total = n * 21 // 20
    demand = np.bincount(cost.argmin(axis=1), minlength=k) / n
    chance = np.random.default_rng(seed).random(k)
    stock = np.floor(total * (demand + chance / chance.sum()) / 2).astype(np.int64)
    stock[0] += total - stock.sum()
    return stock


def hard_cases(n: int, k: int) -> Iterator[tuple[str, Costs, Counts]]:
    """Cases that ruin careless methods: ties everywhere, no slack, long chains of classes."""
    rng = np.random.default_rng(12)
    item, class_ = np.arange(n)[:, None], np.arange(k)[None]
    tight = np.diff(np.arange(k + 1) * n // k)
    skew = mixed_stock(np.zeros((n, k), np.int32))
    line = np.abs(np.sort(rng.random(n))[:, None] - rng.random(k)) * 1e6
    made: list[tuple[str, Callable[[], NDArray[Any]], Counts]] = [
        ("all costs equal, no slack", lambda: np.full((n, k), 7), tight),
        ("three colours only", lambda: rng.integers(0, 99_999, (3, k))[rng.integers(0, 3, n)], skew),
        ("two values at random, no slack", lambda: rng.integers(0, 2, (n, k)) * 1000, tight),
        ("costs 0 to 3, no slack", lambda: rng.integers(0, 4, (n, k)), tight),
        ("bits of the item number, no slack", lambda: item >> (class_ % 20) & 1, tight),
        ("places on a line, ties on plateaus", lambda: line, skew),
        ("item times class, no slack", lambda: rng.integers(0, 40_000, (n, 1)) * class_, tight),
        ("staircase, no slack", lambda: np.maximum(0, class_ * n // k - item), tight[::-1].copy()),
        (
            "ladder of ties, no slack",
            lambda: np.where(class_ <= item * k // n, 0, 1 + item * 7919 % 100_003),
            tight,
        ),
        ("uniform up to 2^31 - 1, no slack", lambda: rng.integers(0, 2**31 - 1, (n, k)), tight),
    ]
    for name, costs, stock in made:
        yield name, np.ascontiguousarray(costs(), np.int32), stock


def seconds(work: Callable[[], Any]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def flow_seconds(cost: Costs, stock: Counts) -> tuple[float, int]:
    """Time and optimum of OR-tools SimpleMinCostFlow, solving alone: its graph is built before."""
    n, k = cost.shape
    flow = min_cost_flow.SimpleMinCostFlow()
    item, class_ = np.repeat(np.arange(n), k), np.tile(np.arange(n, n + k), n)
    flow.add_arcs_with_capacity_and_unit_cost(item, class_, np.ones(n * k, np.int64), cost.ravel())
    flow.add_arcs_with_capacity_and_unit_cost(
        np.arange(n, n + k), np.full(k, n + k), stock, np.zeros(k, np.int64)
    )
    flow.set_nodes_supplies(np.arange(n + k + 1), np.r_[np.ones(n, np.int64), np.zeros(k, np.int64), -n])
    start = time.perf_counter()
    status = flow.solve()
    taken = time.perf_counter() - start
    if status != flow.OPTIMAL:
        raise RuntimeError("OR-tools found no optimum")
    return taken, int(flow.optimal_cost())


def compile_seconds() -> float:
    """Time of the first call of all where no machine code is kept yet, in a process of its own."""
    script = (
        "import time, numpy as np; from standfall.assign import assign; start = time.perf_counter();"
        "cost = np.random.default_rng(0).integers(0, 9, (20000, 9), np.int32);"
        "assign(cost, np.full(9, 2400)); print(time.perf_counter() - start)"
    )
    with tempfile.TemporaryDirectory() as folder:
        run = subprocess.run(
            [sys.executable, "-c", script],
            env=os.environ | {"NUMBA_CACHE_DIR": folder},
            check=True,
            capture_output=True,
            text=True,
        )
    return float(run.stdout)


def measured(what: str, cost: Costs, stock: Counts, runs: int, beside: bool) -> dict[str, Any]:
    """One line of the table; `beside` also runs OR-tools and insists on the same optimum."""
    answer = assign(cost, stock)
    row: dict[str, Any] = {"what": what, "n": len(cost), "k": cost.shape[1], "gap": answer.gap}
    row["ours_s"] = statistics.median(seconds(lambda: assign(cost, stock)) for _ in range(runs))
    if beside:
        row["ortools_s"], optimum = flow_seconds(cost, stock)
        row["ratio"] = row["ortools_s"] / row["ours_s"]
        if optimum != answer.cost_total:
            raise RuntimeError(f"OR-tools finds {optimum}, ours is {answer.cost_total}")
    return row


def rows(quick: bool) -> list[dict[str, Any]]:
    """All measurements: what, n, k, gap, ours_s, and ortools_s with ratio where both were run."""
    table = [{"what": "first call, compiling", "n": 20_000, "k": 9, "ours_s": compile_seconds()}]
    pictures = [(100_000, 16, True), (100_000, 64, True)]
    if not quick:
        pictures += [(1_000_000, 16, True), (1_000_000, 64, False)]
    for n, k, beside in pictures:
        cost = picture_costs(n, k)
        table.append(measured("photograph", cost, mixed_stock(cost), 5, beside))
    for n in (100_000,) if quick else (100_000, 1_000_000):
        for name, cost, stock in hard_cases(n, 16):
            table.append(measured(name, cost, stock, 3, False))
    return table


def show(quick: bool) -> None:
    """Print the table."""
    table = Table("case", "items", "classes", "ours, s", "OR-tools, s", "ratio", "gap")
    for row in rows(quick):
        both = "ortools_s" in row
        table.add_row(
            row["what"],
            f"{row['n']:,}",
            str(row["k"]),
            f"{row['ours_s']:.3f}",
            f"{row['ortools_s']:.2f}" if both else "",
            f"{row['ratio']:.0f}" if both else "",
            str(row.get("gap", "")),
        )
    Console(width=110).print(table)


if __name__ == "__main__":
    show("--quick" in sys.argv[1:])
