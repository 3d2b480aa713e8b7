"""Stock arithmetic, worked by hand and by brute force."""

from __future__ import annotations

import math
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from standfall.mural.stock import StockTable, exact_share, spares_of, usable


@pytest.mark.parametrize(
    ("stock", "share", "wanted"),
    [
        (103, 0.03, 100),  # 100 and 3 spares are just there
        (102, 0.03, 99),  # 99 and ceil(2.97) = 3 spares; 100 would need 103
        (1, 0.03, 0),  # one piece needs a spare of its own
        (2, 0.03, 1),
        (0, 0.03, 0),
        (7, 0.0, 7),
        (7, 1.0, 3),  # as many spares as pieces
        (8, 1.0, 4),
        (110, 0.1, 100),  # 0.1 is no binary fraction: 1.1 x 100 must not count as more than 110
        (1_250, 0.03, 1_213),  # 1213 x 1.03 = 1249.39, 1214 x 1.03 = 1250.42
        (100_000_000, 0.03, 97_087_378),
    ],
)
def test_usable_by_hand(stock: int, share: float, wanted: int) -> None:
    assert usable(np.array([stock]), share).tolist() == [wanted]


@pytest.mark.parametrize(
    ("used", "share", "wanted"), [(100, 0.03, 3), (101, 0.03, 4), (0, 0.03, 0), (1, 0.001, 1), (10, 0.1, 1)]
)
def test_spares_by_hand(used: int, share: float, wanted: int) -> None:
    assert spares_of(np.array([used]), share).tolist() == [wanted]


@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.integers(0, 3000), st.integers(0, 10_000))
def test_usable_is_the_most_that_fits_with_its_spares(stock: int, hundredths: int) -> None:
    percent = Decimal(hundredths) / 100
    share = float(percent / 100)
    fits = [u for u in range(stock + 1) if u + math.ceil(u * percent / 100) <= stock]
    assert usable(np.array([stock]), share).tolist() == [fits[-1]]
    (kept,) = spares_of(np.array([fits[-1]]), share).tolist()
    assert fits[-1] + kept <= stock


def test_a_share_is_the_fraction_the_brief_meant() -> None:
    for percent in ("3", "0.1", "33.3", "12.5", "100", "0"):
        assert exact_share(float(percent) / 100) == Decimal(percent) / 100


def test_the_balance() -> None:
    def whole(*counts: int) -> np.ndarray:
        return np.array(counts, dtype=np.int64)

    table = StockTable(
        stock=whole(100, 20),
        wished=whole(90, 60),
        used_fields=whole(80, 50),
        used_lines=whole(5, 2),
        spares=whole(3, 2),
        pack_size=whole(50, 25),
        packs_to_buy=whole(0, 2),
        cost=np.array([0.0, 30.0]),
    )
    assert table.used.tolist() == [85, 52]
    assert table.to_buy.tolist() == [0, 50]
    assert table.left.tolist() == [15, 18]


def test_the_balance_as_plain_data() -> None:
    one, two = np.array([1, 2], dtype=np.int64), np.array([20, 30], dtype=np.int64)
    table = StockTable(
        stock=two,
        wished=two,
        used_fields=one,
        used_lines=one,
        spares=one,
        pack_size=two,
        packs_to_buy=one,
        cost=np.array([0.1 + 0.2, 7.125]),
    )
    rows = table.rows(("night blue", "ivory"), ("NB", "JV"))
    assert rows[1] == {
        "name": "ivory",
        "code": "JV",
        "used": 4,
        "spares": 2,
        "stock": 30,
        "wished": 30,
        "to_buy": 60,
        "packs_to_buy": 2,
        "cost": 7.12,
    }
    assert rows[0]["cost"] == 0.3
    assert all(type(value) in (str, int, float) for row in rows for value in row.values())
