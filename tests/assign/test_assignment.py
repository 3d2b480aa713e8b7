"""What `assign` promises: the proof, the prices, the tie rule, the same answer every time, clear errors."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from standfall.assign import Assignment, CertificateError, assign
from standfall.assign import assignment as module

Whole = NDArray[np.int64]


def certify(cost: NDArray[Any], capacity: NDArray[Any], answer: Assignment) -> None:
    """Check the proof with whole numbers of any length, item by item (weak duality of the linear program)."""
    n, k = cost.shape
    rows, price = cost.tolist(), answer.price.tolist()
    assert answer.choice.shape == (n,) and answer.choice.dtype == np.int32
    assert answer.price.shape == (k,) and answer.price.dtype == np.int64
    assert min(price) >= 0
    assert answer.count.tolist() == np.bincount(answer.choice, minlength=k).tolist()
    assert all(used <= places for used, places in zip(answer.count.tolist(), capacity.tolist(), strict=True))
    spent = sum(rows[i][j] for i, j in enumerate(answer.choice.tolist()))
    lower = sum(min(c + u for c, u in zip(row, price, strict=True)) for row in rows)
    lower -= sum(u * places for u, places in zip(price, capacity.tolist(), strict=True))
    assert spent == lower == answer.cost_total == answer.dual_total
    assert answer.gap == 0


def tie_rule(cost: NDArray[Any], answer: Assignment, order: Whole) -> NDArray[np.int32]:
    """Apply the tie rule of the docstring the slow way."""
    reduced = cost.astype(np.int64) + answer.price
    tied = [tuple(np.flatnonzero(row == row.min()).tolist()) for row in reduced]
    choice = answer.choice.copy()
    for group in set(tied):
        members = [i for i in order.tolist() if tied[i] == group]
        choice[members] = sorted(choice[members].tolist())
    return choice


def split_counts(cost: NDArray[Any], answer: Assignment) -> dict[tuple[tuple[int, ...], int], int]:
    """Items of each set of tied classes in each class."""
    reduced = cost.astype(np.int64) + answer.price
    counts: dict[tuple[tuple[int, ...], int], int] = {}
    for row, j in zip(reduced, answer.choice.tolist(), strict=True):
        key = (tuple(np.flatnonzero(row == row.min()).tolist()), j)
        counts[key] = counts.get(key, 0) + 1
    return counts


def shared_places(total: int, weights: NDArray[np.float64]) -> Whole:
    """Split `total` places in proportion to the weights, to a unit."""
    edges = np.floor(np.cumsum(weights) / weights.sum() * total + 1e-9).astype(np.int64)
    edges[-1] = total
    return np.diff(edges, prepend=0)


@st.composite
def instances(draw: st.DrawFn) -> tuple[NDArray[np.int32], Whole]:
    """Small instances of every kind: few or many ties, empty classes, no slack, fewer items than classes."""
    n, k = draw(st.integers(1, 40)), draw(st.integers(1, 8))
    top = draw(st.sampled_from([0, 1, 2, 5, 100, 2**31 - 1]))
    seed = draw(st.integers(0, 2**32 - 1))
    slack = draw(st.sampled_from([0, 0, 1, 3, 100]))
    rng = np.random.default_rng(seed)
    cost = rng.integers(0, top, (n, k), endpoint=True, dtype=np.int32)
    if draw(st.booleans()):
        cost = cost[rng.integers(0, min(n, 3), n)]
    weights = rng.random(k) * (rng.random(k) < 0.8) + 1e-9
    return cost, shared_places(n + slack, weights)


@settings(max_examples=300, deadline=None)
@given(instances())
def test_every_answer_proves_itself(instance: tuple[NDArray[np.int32], Whole]) -> None:
    cost, capacity = instance
    certify(cost, capacity, assign(cost, capacity))


@settings(max_examples=60, deadline=None)
@given(instances())
def test_price_is_what_one_more_place_saves(instance: tuple[NDArray[np.int32], Whole]) -> None:
    # The optimum is convex in the capacities and straight between whole numbers, so the least dual
    # price is its slope to the right (linear programming sensitivity, Dantzig 1963, from memory).
    cost, capacity = instance
    answer = assign(cost, capacity)
    for j in range(len(capacity)):
        more = capacity + (np.arange(len(capacity)) == j)
        assert answer.cost_total - assign(cost, more).cost_total == answer.price[j]


def test_worked_example() -> None:
    # Both items want class 0, which has one place. Item 0 loses 5 by going elsewhere, item 1 loses 3:
    # item 1 goes, the total is 1 + 5, and a second place in class 0 would save those 3.
    answer = assign(np.array([[1, 6], [2, 5]], np.int32), np.array([1, 2]))
    assert answer.choice.tolist() == [0, 1]
    assert answer.price.tolist() == [3, 0]
    assert (answer.cost_total, answer.dual_total, answer.gap) == (6, 6, 0)
    assert answer.count.tolist() == [1, 1]


def test_worked_tie_rule() -> None:
    # Four equal items, two places each: the first two in the order get class 0.
    cost, capacity = np.full((4, 2), 9, np.int32), np.array([2, 2])
    assert assign(cost, capacity).choice.tolist() == [0, 0, 1, 1]
    assert assign(cost, capacity, np.array([3, 1, 0, 2])).choice.tolist() == [1, 0, 1, 0]


@pytest.mark.parametrize("k", [2, 5, 64, 65, 130])
def test_tie_rule(k: int) -> None:
    rng = np.random.default_rng(k)
    n = 6 * k + 50
    cost = rng.integers(0, 3, (n, k), dtype=np.int32)
    cost[: n // 2] = cost[rng.integers(0, 4, n // 2)]
    capacity = shared_places(n + n % 7, rng.random(k))
    plain = assign(cost, capacity)
    np.testing.assert_array_equal(plain.choice, tie_rule(cost, plain, np.arange(n)))
    order = rng.permutation(n)
    other = assign(cost, capacity, order)
    np.testing.assert_array_equal(other.choice, tie_rule(cost, other, order))
    # The order moves items inside their groups only.
    np.testing.assert_array_equal(other.price, plain.price)
    assert split_counts(cost, other) == split_counts(cost, plain)
    assert (other.choice != plain.choice).any()
    # Applied to its own outcome, whatever the order before, the rule gives the outcome of the last order.
    np.testing.assert_array_equal(tie_rule(cost, plain, order), other.choice)


def test_items_in_another_sequence_have_the_same_prices() -> None:
    rng = np.random.default_rng(5)
    cost = rng.integers(0, 50, (6000, 7), dtype=np.int32)
    capacity = shared_places(6100, rng.random(7))
    turn = rng.permutation(6000)
    first, second = assign(cost, capacity), assign(cost[turn], capacity)
    np.testing.assert_array_equal(first.price, second.price)
    assert first.cost_total == second.cost_total


def test_same_input_same_bytes() -> None:
    rng = np.random.default_rng(6)
    cost = rng.integers(0, 200, (20_000, 12), dtype=np.int32)
    capacity = shared_places(20_000, rng.random(12))
    first, second = assign(cost, capacity), assign(cost.copy(), capacity.copy())
    assert first.choice.tobytes() == second.choice.tobytes()
    assert first.price.tobytes() == second.price.tobytes()


def test_layout_and_type_of_the_input_do_not_matter() -> None:
    rng = np.random.default_rng(7)
    cost = rng.integers(0, 40, (500, 6), dtype=np.int32)
    capacity = shared_places(520, rng.random(6))
    plain = assign(cost, capacity)
    for other in (np.asfortranarray(cost), cost.astype(np.uint16), cost.astype(np.int64), cost.tolist()):
        again = assign(other, capacity.tolist())  # type: ignore[arg-type]
        np.testing.assert_array_equal(again.choice, plain.choice)


def test_inputs_are_left_alone() -> None:
    rng = np.random.default_rng(8)
    cost = rng.integers(0, 9, (300, 4), dtype=np.int32)
    capacity, order = shared_places(300, rng.random(4)), rng.permutation(300)
    kept = cost.copy(), capacity.copy(), order.copy()
    for array in (cost, capacity, order):
        array.flags.writeable = False
    assign(cost, capacity, order)
    for array, before in zip((cost, capacity, order), kept, strict=True):
        np.testing.assert_array_equal(array, before)


def test_no_items() -> None:
    answer = assign(np.zeros((0, 3), np.int32), np.array([0, 2, 5]))
    assert answer.choice.shape == (0,) and answer.cost_total == answer.dual_total == 0
    assert answer.count.tolist() == answer.price.tolist() == [0, 0, 0]


def test_one_class() -> None:
    answer = assign(np.arange(10, dtype=np.int32)[:, None], np.array([10]))
    assert answer.cost_total == 45 and answer.price.tolist() == [0]


def test_most_classes() -> None:
    rng = np.random.default_rng(9)
    cost = rng.integers(0, 2**31 - 1, (30, 4096), dtype=np.int32)
    answer = assign(cost, np.ones(4096, np.int64))
    certify(cost, np.ones(4096, np.int64), answer)


def test_more_places_than_can_be_counted() -> None:
    cost = np.array([[3, 1], [3, 1]], np.int32)
    capacity = np.array([2**63 - 1, 2**63 - 1])
    answer = assign(cost, capacity)
    certify(cost, capacity, answer)
    assert answer.choice.tolist() == [1, 1]
    huge = assign(cost, np.array([2**64 - 1, 1], np.uint64))  # type: ignore[arg-type]
    assert huge.choice.tolist() == [0, 1]


def test_greatest_costs_do_not_overflow() -> None:
    top = 2**31 - 1
    n = 70_000  # the total, 1.5e14, needs more than 32 bits, and its blocks are summed apart
    cost = np.full((n, 3), top, np.int32)
    cost[:, 2] = 0
    answer = assign(cost, np.array([n, 0, 1]))
    assert answer.cost_total == (n - 1) * top
    assert answer.price.tolist() == [0, 0, top]
    # An empty class beside a dear one: nobody may want it even at twice the greatest cost.
    cost = np.array([[top, 0, 0], [top, 0, top]], np.int32)
    answer = assign(cost, np.array([2, 1, 0]))
    certify(cost, np.array([2, 1, 0]), answer)
    assert answer.price.tolist() == [0, top, top]


def test_progress_ends_at_the_total() -> None:
    rng = np.random.default_rng(10)
    cost = rng.integers(0, 10**6, (30_000, 5), dtype=np.int32)
    calls: list[tuple[int, int, str]] = []
    assign(cost, shared_places(30_000, rng.random(5)), progress=lambda *call: calls.append(call))
    assert [done for done, _, _ in calls] == list(range(1, len(calls) + 1))
    assert len(calls) > 1 and {total for _, total, _ in calls} == {len(calls)}
    assert calls[-1][2] == "assigned a sample of 30000 items"


GOOD = np.zeros((3, 2), np.int32)


@pytest.mark.parametrize(
    ("cost", "capacity", "order", "error", "words"),
    [
        (GOOD.astype(np.float64), [2, 2], None, TypeError, "cost must hold whole numbers, not float64"),
        (np.full((3, 2), np.nan), [2, 2], None, TypeError, "cost must hold whole numbers"),
        (GOOD.astype(bool), [2, 2], None, TypeError, "cost must hold whole numbers, not bool"),
        (GOOD, [2.0, 2.0], None, TypeError, "capacity must hold whole numbers"),
        (GOOD, [2, 2], [0.0, 1.0, 2.0], TypeError, "order must hold whole numbers"),
        (GOOD - 1, [2, 2], None, ValueError, "cost of item 0 in class 0 is -1, outside 0"),
        (GOOD.astype(np.int64) + 2**31, [2, 2], None, ValueError, "is 2147483648, outside 0 to 2147483647"),
        (GOOD.astype(np.uint64) + 2**63, [2, 2], None, ValueError, "is 9223372036854775808, outside"),
        (GOOD, [2, -1], None, ValueError, "capacity of class 1 is -1"),
        (GOOD, [2, 0], None, ValueError, "3 items but only 2 places in 2 classes: 1 too few"),
        (GOOD, [3], None, ValueError, r"capacity must be \(2,\)"),
        (GOOD[0], [3, 3], None, ValueError, "cost must be"),
        (np.zeros((3, 0), np.int32), [], None, ValueError, "1 to 4096 classes"),
        (np.zeros((1, 4097), np.int8), [1] * 4097, None, ValueError, "1 to 4096 classes"),
        (GOOD, [2, 2], [0, 1], ValueError, "order must hold each item number 0 to 2 once"),
        (GOOD, [2, 2], [0, 1, 1], ValueError, "order must hold each item number"),
        (GOOD, [2, 2], [1, 2, 3], ValueError, "order must hold each item number"),
    ],
)
def test_misuse(cost: Any, capacity: Any, order: Any, error: type[Exception], words: str) -> None:
    with pytest.raises(error, match=words):
        assign(cost, capacity, order)


def test_wrong_answer_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    def spoiled(least: Whole, price: Whole) -> Whole:
        return price + 1

    monkeypatch.setattr(module.kernels, "lowest_prices", spoiled)
    with pytest.raises(CertificateError, match="lower limit"):
        assign(np.array([[1, 6], [2, 5]], np.int32), np.array([1, 2]))
