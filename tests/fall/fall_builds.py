"""Builds for the tests of a prediction: lines and fields of dominoes, with a brief around them."""

from __future__ import annotations

import copy
import math
from collections.abc import Callable
from typing import Any

import numpy as np

from standfall.brief import Brief, read_text
from standfall.fall import predict_fall
from standfall.fall.prediction import Prediction
from standfall.findings import Finding
from standfall.mural.standing import STANDING_TYPES, Standing, join_standing

HEIGHT_M, WIDTH_M, THICKNESS_M = 0.048, 0.024, 0.0075
PITCH_M = 0.3 * HEIGHT_M + THICKNESS_M  # of rows with the gap 0.3 h: 21.9 mm
LINES = ("lead-in", "second", "third")
FIELDS = ("mural", "sign")
FINGER = {"kind": "finger", "line": "lead-in", "speed_mm_s": 500, "strike_height_mm": 36}  # 13.9 rad/s
BATTEN = {"kind": "pusher", "field": "mural", "speed_mm_s": 500, "strike_height_mm": 36}

ToToml = Callable[[dict[str, Any]], bytes]
Predict = Callable[..., Prediction]


def brief_of(small: dict[str, Any], to_toml: ToToml, *starters: dict[str, Any], **sections: Any) -> Brief:
    """Return the small brief with these starters, three lines and two fields, and sections replaced or added to."""
    data = copy.deepcopy(small)
    data["fall"] = sections.pop("fall", {})
    data["field"] = [data["field"][0] | {"name": name} for name in FIELDS]
    data["line"] = [data["line"][0] | {"name": name} for name in LINES]
    data["starter"] = [{"name": f"push {number}"} | starter for number, starter in enumerate(starters)]
    for name, changes in sections.items():
        data[name] |= changes
    reading = read_text(to_toml(data))
    assert reading.brief is not None, reading.findings
    return reading.brief


def predicted(
    small: dict[str, Any], to_toml: ToToml, standing: Standing, *starters: dict[str, Any], **sections: Any
) -> Prediction:
    return predict_fall(brief_of(small, to_toml, *starters, **sections), standing)


def group(x_m: Any, y_m: Any, yaw_rad: Any, **columns: Any) -> Standing:
    """Return dominoes at these places, in line 0 unless ``columns`` say otherwise."""
    count = len(np.atleast_1d(x_m))
    values = {name: np.zeros(count) for name in STANDING_TYPES}
    values |= {"x_m": x_m, "y_m": y_m, "yaw_rad": yaw_rad, "field": -1, "row": np.arange(count)}
    values |= {"slot_row": -1, "slot_col": -1} | columns
    return Standing(
        **{name: (np.zeros(count) + values[name]).astype(kind) for name, kind in STANDING_TYPES.items()}
    )


def row(gap_heights: Any, x_m: float = 1.0, y_m: float = 1.0, deg: float = 0.0, line: int = 0) -> Standing:
    """Return a straight line of dominoes with these clear gaps, in heights."""
    along = np.concatenate([[0.0], np.cumsum(np.asarray(gap_heights) * HEIGHT_M + THICKNESS_M)])
    yaw = math.radians(deg)
    return group(x_m + along * math.cos(yaw), y_m + along * math.sin(yaw), yaw, line=line)


def even(count: int, gap_heights: float = 0.3, **place: Any) -> Standing:
    return row(np.full(count - 1, gap_heights), **place)


def mural(
    rows: int, columns: int, *, half: bool = False, upper: tuple[int, ...] = (), pitch_m: float = PITCH_M
) -> Standing:
    """Return field 0: rows of columns 27 mm apart that fall along y, some rows with a second layer."""
    r, c = np.divmod(np.arange(rows * columns), columns)
    x, y = 1.0 + 0.027 * (c + 0.5 * half * (r % 2)), 1.5 + pitch_m * r
    own = {"line": -1, "field": 0}
    low = group(x, y, math.pi / 2, row=r, col=c, **own)
    on = np.isin(r, upper)
    high = group(x[on], y[on], math.pi / 2, row=r[on], col=c[on], z_m=HEIGHT_M, layer=1, **own)
    return join_standing([low, high])


def join(*parts: Standing) -> Standing:
    return join_standing(list(parts))


def told(prediction: Prediction, code: str) -> list[Finding]:
    return [finding for finding in prediction.findings if finding.code == code]


def codes(prediction: Prediction) -> set[str]:
    """Return the codes of all findings but F720, which is always there."""
    return {finding.code for finding in prediction.findings} - {"F720"}
