"""Straight and half-offset rows of the same picture: the standing set is the one a plan of that brief gives."""

from __future__ import annotations

import copy
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from standfall.brief import read_text
from standfall.fall import predict_fall
from standfall.fall.other_rows import other_way, with_other_rows
from standfall.mural.field import place_field


@pytest.mark.parametrize("turn_deg", [0, 90, 33])
def test_the_rows_stand_where_the_grid_of_the_other_way_has_them(
    small: dict[str, Any], to_toml: Callable[[dict[str, Any]], bytes], turn_deg: float
) -> None:
    data = copy.deepcopy(small)
    data["field"][0] |= {"fall_direction_deg": turn_deg, "stacked_rows": []}
    brief = read_text(to_toml(data)).brief
    assert brief is not None
    standing = _standing_of(brief)
    turned_brief, turned = with_other_rows(brief, standing)
    wanted_x, wanted_y = place_field(turned_brief.fields[0]).centres(standing.row, standing.col)
    assert turned_brief.fields[0].rows_laid == "half_offset"
    assert turned.x_m == pytest.approx(wanted_x, abs=1e-12)
    assert turned.y_m == pytest.approx(wanted_y, abs=1e-12)
    back_brief, back = with_other_rows(turned_brief, turned)
    assert back_brief == brief
    assert back.x_m == pytest.approx(standing.x_m, abs=1e-12)


def _standing_of(brief: Any) -> Any:
    from standfall.mural.standing import STANDING_TYPES, Standing

    field = brief.fields[0]
    row, col = np.divmod(np.arange(field.rows * field.columns), field.columns)
    x_m, y_m = place_field(field).centres(row, col)
    columns: dict[str, NDArray[Any]] = {
        name: np.zeros(len(row), dtype=kind) for name, kind in STANDING_TYPES.items()
    }
    columns |= {"x_m": x_m, "y_m": y_m, "row": row.astype(np.int32), "col": col.astype(np.int32)}
    columns["yaw_rad"] = np.full(len(row), field.fall_direction_rad)
    columns["line"] = np.full(len(row), -1, dtype=np.int16)
    return Standing(**columns)


def test_a_field_falls_whole_either_way(
    small: dict[str, Any], to_toml: Callable[[dict[str, Any]], bytes]
) -> None:
    data = copy.deepcopy(small)
    data["field"][0]["stacked_rows"] = []
    data["line"] = []
    data["starter"] = [{"name": "bar", "kind": "pusher", "field": "mural", "speed_mm_s": 400}]
    brief = read_text(to_toml(data)).brief
    assert brief is not None
    straight = predict_fall(brief, _standing_of(brief))
    other = predict_fall(*with_other_rows(brief, _standing_of(brief)))
    assert straight.fall.standing == other.fall.standing == 0
    # A flat front drives each piece by one train either way, so the two take the same time (docs/fall.md).
    last = straight.fall.struck_s.max()
    assert other.fall.struck_s.max() == pytest.approx(last, rel=1e-3)


def test_there_are_two_ways() -> None:
    assert other_way("straight") == "half_offset"
    assert other_way("half_offset") == "straight"
