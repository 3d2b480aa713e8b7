"""Specks: hand-made fields, a slow twin, and stock that must not be exceeded."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.ndimage import generic_filter
from skimage import data as pictures

from standfall.mural.conversion import srgb8_to_linear
from standfall.mural.difference import difference_table
from standfall.mural.speck import Cleaned, clean_specks


def field(*rows: str) -> np.ndarray:
    """Letters a, b, c, ... are classes 0, 1, 2, ...; a dot is no domino."""
    return np.array(
        [[-1 if letter == "." else ord(letter) - ord("a") for letter in row] for row in rows], np.int32
    )


def clean(choice: np.ndarray, stock: list[int], cost: list[list[int]] | None = None, **more: bool) -> Cleaned:
    table = np.zeros((1, len(stock)), np.int32) if cost is None else np.array(cost, np.int32)
    return clean_specks(choice, np.array(stock), table, np.zeros(choice.shape, np.int64), **more)


def neighbours(choice: np.ndarray, row: int, col: int, half_offset: bool) -> list[int]:
    """Colours around a cell, by where the dominoes stand: within one row and one pitch (or less) across."""
    shift = 0.5 if half_offset else 0.0
    found = []
    for r in range(max(0, row - 1), min(choice.shape[0], row + 2)):
        for c in range(choice.shape[1]):
            across = abs((c + shift * (r % 2)) - (col + shift * (row % 2)))
            if (r, c) != (row, col) and across <= 1 and choice[r, c] >= 0:
                found.append(int(choice[r, c]))
    return found


def twin(choice: np.ndarray, stock: np.ndarray, cost: np.ndarray, cost_row: np.ndarray, half_offset: bool):
    choice, stock, removed = choice.copy(), stock.copy(), 0
    while True:
        left, changed = 0, False
        for (row, col), own in np.ndenumerate(choice):
            around = neighbours(choice, row, col, half_offset)
            if own < 0 or not around or own in around:
                continue
            votes = Counter(colour for colour in around if stock[colour] > 0)
            if not votes:
                left += 1
                continue
            best = min(votes, key=lambda j: (-votes[j], cost[cost_row[row, col], j], j))
            stock[own] += 1
            stock[best] -= 1
            choice[row, col] = best
            removed, changed = removed + 1, True
        if not changed:
            return choice, stock, removed, left


def test_a_speck_takes_the_colour_around_it():
    got = clean(field("aaa", "aba", "aaa"), [1, 0])
    assert (got.choice == 0).all()
    assert (got.removed, got.left) == (1, 0)
    assert got.stock_left.tolist() == [0, 1]


def test_not_without_stock():
    got = clean(field("aaa", "aba", "aaa"), [0, 5])
    assert got.choice[1, 1] == 1
    assert (got.removed, got.left) == (0, 1)


def test_the_next_most_frequent_when_the_first_is_out_of_stock():
    got = clean(field("aaa", "abc", "acc"), [0, 0, 1])
    assert got.choice[1, 1] == 2


def test_two_of_a_colour_touching_at_a_corner_are_no_specks():
    choice = field("aaaa", "abaa", "aaba", "aaaa")
    assert (clean(choice, [9, 9]).choice == choice).all()
    # In a half-offset field (1, 1) has (2, 1) and (2, 2) behind it, so they touch as well; but (1, 2) and
    # (2, 1) do not.
    assert clean(choice, [9, 9], half_offset=True).removed == 0
    apart = field("aaaa", "aaba", "abaa", "aaaa")
    assert clean(apart, [9, 9]).removed == 0
    assert clean(apart, [9, 9], half_offset=True).removed == 2


def test_ties_least_cost_then_lowest_index():
    choice = field("bbc", ".ac", ".dd")  # around a: two each of b, c, d
    stock = [0, 5, 5, 5]
    assert clean(choice, stock, [[0, 7, 6, 9]]).choice[1, 1] == 2
    assert clean(choice, stock, [[0, 7, 7, 6]]).choice[1, 1] == 3
    assert clean(choice, stock, [[0, 7, 7, 7]]).choice[1, 1] == 1


def test_each_cell_goes_by_its_own_costs():
    choice = field("bbacc", ".....", "bbacc")
    cost = np.array([[0, 1, 2], [0, 2, 1]], np.int32)
    cost_row = np.repeat([[0], [9], [1]], 5, axis=1)  # 9: no domino there, so not looked at
    got = clean_specks(choice, np.array([0, 9, 9]), cost, cost_row)
    assert got.choice.tolist() == field("bbbcc", ".....", "bbccc").tolist()


def test_a_freed_domino_serves_a_later_speck():
    # No a in stock at first; the first speck is an a amid b and gives it up for the second, a b amid a.
    got = clean(field("bbb.aaa", "bab.aba", "bbb.aaa"), [0, 1])
    assert got.choice.tolist() == field("bbb.aaa", "bbb.aaa", "bbb.aaa").tolist()
    assert (got.removed, got.left) == (2, 0)
    # The other way about the second must wait for the next pass over the field.
    later = clean(field("aaa.bbb", "aba.bab", "aaa.bbb"), [0, 1])
    assert later.choice.tolist() == field("aaa.bbb", "aaa.bbb", "aaa.bbb").tolist()
    assert later.left == 0


def test_a_domino_without_neighbours_is_no_speck():
    choice = field("a.b", "...", "c.a")
    got = clean(choice, [9, 9, 9])
    assert (got.choice == choice).all()
    assert (got.removed, got.left) == (0, 0)


fields = st.tuples(
    st.integers(1, 9), st.integers(1, 9), st.integers(1, 5), st.integers(0, 10_000), st.booleans()
)


@settings(max_examples=150, deadline=None)
@given(fields)
def test_against_the_twin_and_within_stock(case):
    rows, columns, classes, seed, half_offset = case
    rng = np.random.default_rng(seed)
    choice = rng.integers(-1, classes, (rows, columns)).astype(np.int32)
    stock_left = rng.integers(0, 4, classes)
    cost = rng.integers(0, 3, (6, classes)).astype(np.int32)
    cost_row = rng.integers(0, 6, (rows, columns))
    before = choice.copy()
    got = clean_specks(choice, stock_left, cost, cost_row, half_offset)
    new, stock, removed, left = twin(choice, stock_left, cost, cost_row, half_offset)
    assert (got.choice == new).all()
    assert (got.stock_left == stock).all()
    assert (got.removed, got.left) == (removed, left)
    # The input is left alone, nothing appears or vanishes, and stock is used up to zero at most.
    assert (choice == before).all()
    assert ((got.choice < 0) == (before < 0)).all()
    owned = np.bincount(before[before >= 0], minlength=classes) + stock_left
    used = np.bincount(got.choice[got.choice >= 0], minlength=classes)
    assert (used <= owned).all()
    assert (got.stock_left == owned - used).all()
    # What changed was a speck and is none now; what is left is counted.
    lone = [
        own >= 0 and bool(around := neighbours(got.choice, r, c, half_offset)) and own not in around
        for (r, c), own in np.ndenumerate(got.choice)
    ]
    assert sum(lone) == got.left
    assert (np.array(lone).reshape(choice.shape) & (got.choice != before)).sum() == 0


def test_a_noisy_photograph_is_clean_afterwards():
    # scikit-image's coffee, CC0, in four colours with one cell in fifty replaced; SciPy counts the specks.
    rng = np.random.default_rng(9)
    linear = srgb8_to_linear(pictures.coffee()[::4, ::4])
    palette = srgb8_to_linear(
        np.array([[20, 15, 10], [110, 60, 30], [190, 150, 110], [240, 235, 225]], np.uint8)
    )
    cost = difference_table(linear.reshape(-1, 3), palette, "ciede2000")
    choice = cost.argmin(axis=1).reshape(100, 150).astype(np.int32)
    noisy = rng.random(choice.shape) < 0.02
    choice[noisy] = rng.integers(0, 4, noisy.sum())

    def specks(array: np.ndarray) -> int:
        lone = generic_filter(
            array, lambda w: (np.delete(w, 4) != w[4]).all(), size=3, mode="constant", cval=-1
        )
        return int(lone.sum())

    got = clean_specks(choice, np.full(4, 10_000), cost, np.arange(choice.size).reshape(choice.shape))
    assert specks(choice) == got.removed > 100
    assert specks(got.choice) == got.left == 0


def test_misuse_is_named():
    choice, table = field("ab"), np.zeros((1, 2), np.int32)
    with pytest.raises(ValueError, match="cost_row"):
        clean_specks(choice, np.zeros(2, np.int64), table, np.zeros((2, 2), np.int64))
    with pytest.raises(ValueError, match="stock_left"):
        clean_specks(choice, np.zeros(3, np.int64), table, np.zeros((1, 2), np.int64))
    with pytest.raises(ValueError, match="class 2"):
        clean_specks(field("ac"), np.zeros(2, np.int64), table, np.zeros((1, 2), np.int64))
    with pytest.raises(ValueError, match="outside the 1 rows"):
        clean_specks(choice, np.zeros(2, np.int64), table, np.ones((1, 2), np.int64))
    with pytest.raises(ValueError, match="negative"):
        clean_specks(choice, np.array([-1, 2]), table, np.zeros((1, 2), np.int64))
