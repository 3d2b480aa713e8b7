"""Which contacts a fall went over, and what places are called."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
from fall_builds import BATTEN, FINGER, PITCH_M, Predict, brief_of, even, group, join, mural

from standfall.fall.place import home_name, place_name, some_places
from standfall.fall.prediction import Prediction
from standfall.fall.used import edge_sources, used_edges

ToToml = Callable[[dict[str, Any]], bytes]


def pairs(prediction: Prediction) -> list[tuple[int, int]]:
    used = used_edges(prediction.contacts, prediction.fall)
    return sorted(zip(used.striker.tolist(), used.struck.tolist(), strict=True))


def test_a_row_goes_from_each_to_the_next(predict: Predict) -> None:
    prediction = predict(even(8), FINGER)
    assert pairs(prediction) == [(k, k + 1) for k in range(7)]
    # The one after the next would be in reach too (36.3 mm of 48), but is hidden.
    assert prediction.contacts.edges == 7
    used = used_edges(prediction.contacts, prediction.fall)
    np.testing.assert_allclose(prediction.contacts.gap_m[used.edge], PITCH_M - 0.0075)
    np.testing.assert_array_equal(edge_sources(prediction.contacts)[used.edge], used.striker)


def test_a_row_that_falls_backward(predict: Predict) -> None:
    push = {
        "kind": "finger",
        "place_m": [1 + 7 * PITCH_M + 0.02, 1.0],
        "direction_deg": 180,
        "speed_mm_s": 500,
    }
    prediction = predict(even(8), push)
    assert pairs(prediction) == [(k, k - 1) for k in range(1, 8)]
    used = used_edges(prediction.contacts, prediction.fall)
    assert (edge_sources(prediction.contacts)[used.edge] >= 8).all()
    assert (prediction.contacts.target[used.edge] >= 8).all()


def test_struck_from_the_front(predict: Predict) -> None:
    turned = group(1 + PITCH_M * np.arange(4), np.ones(4), np.where(np.arange(4) < 2, 0.0, math.pi))
    prediction = predict(turned, FINGER)
    assert pairs(prediction) == [(0, 1), (1, 2), (2, 3)]
    assert prediction.fall.backward.tolist() == [False, False, True, True]


def test_each_struck_piece_has_one_used_edge_or_a_starter(predict: Predict) -> None:
    prediction = predict(mural(8, 5, half=True), BATTEN)
    struck = [after for _, after in pairs(prediction)]
    assert sorted(struck) == list(range(5, 40))
    for before, after in pairs(prediction):
        assert prediction.fall.striker[after] == before


def test_nothing_falls(predict: Predict) -> None:
    prediction = predict(even(5))
    assert pairs(prediction) == []


def test_an_upper_piece_comes_down_over_no_contact(predict: Predict) -> None:
    prediction = predict(mural(4, 2, upper=(1,)), BATTEN)
    assert prediction.fall.striker[8:].tolist() == [2, 3]
    assert all(after < 8 for _, after in pairs(prediction))


def test_places_have_the_names_a_crew_uses(small: dict[str, Any], to_toml: ToToml) -> None:
    brief = brief_of(small, to_toml, FINGER)
    standing = join(mural(3, 2, upper=(1,)), even(4, line=1))
    names = [place_name(brief, standing, number) for number in (0, 5, 6, 8, 11)]
    assert names == [
        "mural row 0 column 0",
        "mural row 2 column 1",
        "mural row 1 column 0, upper layer",
        "second place 0",
        "second place 3",
    ]
    assert [home_name(brief, standing, number) for number in (0, 6, 8)] == [
        "field mural",
        "field mural",
        "line second",
    ]
    assert some_places(brief, standing, []) == ""
    assert some_places(brief, standing, [0, 8]) == "mural row 0 column 0; second place 0"
    five = "; ".join(f"mural row {r} column {c}" for r, c in ((0, 0), (0, 1), (1, 0), (1, 1), (2, 0)))
    assert some_places(brief, standing, range(5)) == five
    assert some_places(brief, standing, range(7)) == five + "; and 2 more"
