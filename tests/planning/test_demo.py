"""The demo's plan, counted and weighed by hand."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from standfall.tiles import KINDS

# Lead-in: 2.2 m, twice a sixth of a circle of 0.5 m, 1.5 m, a quarter of 0.889 m, then 1.777 m up to
# (8.455, 4.566): 7.920 m, 331 gaps of at most 24 mm, 332 dominoes. Each split: 0.12 m and twice a twelfth of a
# circle of 0.8 m: 0.958 m, 40 gaps, and 40 dominoes, since the first place is the lead-in's last.
LINES = 332 + 40 + 40
CELLS = 330 * 300


def test_the_demo_plans_without_a_fault(demo_outcome: Any) -> None:
    assert demo_outcome.plan is not None
    assert not demo_outcome.blocked and not demo_outcome.plan.blocked
    assert {finding.grade for finding in demo_outcome.findings} <= {"notes"}


def test_dominoes(demo_outcome: Any) -> None:
    standing = demo_outcome.plan.standing
    assert len(standing) == CELLS + LINES == 99_412
    assert np.bincount(standing.line[standing.line >= 0]).tolist() == [332, 40, 40]
    assert (standing.field == 0).sum() == CELLS
    assert (standing.layer == 0).all() and (standing.z_m == 0).all()


def test_tiles_are_450_full_trays_of_220(demo_outcome: Any) -> None:
    # 330 columns / 22 slots = 15 trays in a band, 300 rows / 10 slot rows = 30 bands.
    plan = demo_outcome.plan
    assert len(plan.tiling) == 15 * 30
    assert (plan.tiling.dominoes == 22 * 10).all()
    assert (plan.tiling.kind == KINDS.index("full")).all()
    assert np.bincount(plan.standing.tile).tolist() == [LINES, *[220] * 450]


def test_mass_and_size(demo_outcome: Any) -> None:
    plan = demo_outcome.plan
    assert plan.mass_kg == pytest.approx(99_412 * 0.0085) == pytest.approx(845.002)
    # x: from the starter at 3.0 m to the last column's middle, 4 + 330 x 0.027 - 0.0135 m. y: from the straight
    # at 2.4 - 2 x 0.5 (1 - cos 60 deg) = 1.9 m to the last row's middle, 5.5 + 300 x 0.022 - 0.011 m.
    assert plan.size_m == pytest.approx((12.8965 - 3.0, 12.089 - 1.9), abs=1e-9)
    assert plan.summary()["size_m"] == [9.8965, 10.189]
    assert plan.summary()["mass_kg"] == 845.002


def test_the_line_meets_the_middle_of_row_0(demo_outcome: Any) -> None:
    standing = demo_outcome.plan.standing
    last = np.flatnonzero(standing.line == 0)[-1]
    assert (standing.x_m[last], standing.y_m[last]) == pytest.approx((8.455, 4.566))
    assert standing.yaw_rad[last] == pytest.approx(math.pi / 2, abs=1e-4)


def test_colours_are_used_within_stock_and_proved(demo_outcome: Any) -> None:
    plan = demo_outcome.plan
    table = plan.stock
    assert table.used.sum() == 99_412
    np.testing.assert_array_equal(np.bincount(plan.standing.colour, minlength=len(plan.palette)), table.used)
    for used, spares, stock, bought in zip(table.used, table.spares, table.stock, table.to_buy, strict=True):
        assert spares == -(-int(used) * 3 // 100)  # 3 per hundred, rounded up
        assert used + spares <= stock + bought
    assert plan.colour_error.total == plan.colour_error.bound
    names = [colour.name for colour in plan.brief.colours]
    # The lead-in's colours in turn, 166 each; one split is all yellow, the other all ivory.
    assert table.used_lines[names.index("sun yellow")] == 166 + 40
    assert table.used_lines[names.index("ivory")] == 166 + 40
    assert table.used_lines.sum() == LINES


def test_binding_colours_are_the_ones_used_up(demo_outcome: Any) -> None:
    table = demo_outcome.plan.stock
    noted = {int(f.where[7 : f.where.index("]")]) for f in demo_outcome.findings if f.code == "C303"}
    assert noted
    for number in noted:
        used, spares, stock = (int(column[number]) for column in (table.used, table.spares, table.stock))
        assert used + 1 + -(-(used + 1) * 3 // 100) > stock  # not one more would fit
        assert spares == -(-used * 3 // 100)
