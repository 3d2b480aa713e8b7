"""Findings about one chain, as ``standfall fall --chain`` tells them: codes, places, values and limits."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from fall_layouts import HEIGHT_M, alike

from standfall.fall.chain import chain_fall
from standfall.fall.chain_caution import chain_cautions
from standfall.fall.ground import Ground
from standfall.fall.pieces import Pieces
from standfall.findings import Finding, blocked


def said(
    gap_heights: list[float],
    floor_friction: float = 0.4,
    push_rad_s: float = 10.0,
    pieces: Pieces | None = None,
) -> dict[str, Finding]:
    """Return the findings by code, each of which may be there once."""
    pieces = pieces or alike(len(gap_heights) + 1)
    gap_m = np.asarray(gap_heights) * HEIGHT_M
    ground = Ground(floor_friction=floor_friction)
    found = chain_cautions(gap_m, pieces, ground, chain_fall(gap_m, pieces, ground, push_rad_s))
    by_code = {finding.code: finding for finding in found}
    assert len(by_code) == len(found)
    assert list(by_code.values()) == sorted(found, key=lambda finding: finding.grade != "blocks")
    return by_code


def test_a_good_row() -> None:
    assert said([0.3] * 20) == {}
    assert said([]) == {}  # one piece


def test_each_range_and_its_edge() -> None:
    # In the order of gaps: 0.81 h = 38.9 mm at gap 3; 0.09 h = 4.3 mm at gaps 1 and 4.
    found = said([0.3, 0.09, 0.3, 0.81, 0.05, 0.3])
    assert set(found) == {"F706", "F710"}
    assert (found["F706"].where, found["F706"].value) == ("gap 3", "38.9 mm")
    assert (found["F710"].where, found["F710"].value) == ("gap 1", "2.4 mm")
    assert found["F710"].message.endswith(": 1, 4")
    assert said([0.8, 0.1, 0.8, 0.1] * 4) == {}


@pytest.mark.parametrize(
    ("friction", "gap_heights", "slips"),
    [(0.15, 0.7, True), (0.15, 0.69, False), (0.25, 0.74, False), (0.25, 0.75, True), (0.3, 0.8, False)],
)
def test_slippery_floors(friction: float, gap_heights: float, slips: bool) -> None:
    found = said([0.3, gap_heights, 0.3], friction)
    assert set(found) == ({"F709"} if slips else set())


def test_a_push_that_dies() -> None:
    found = said([0.05] * 30, push_rad_s=5.0)
    stalled = chain_fall(np.full(30, 0.05 * HEIGHT_M), alike(31), Ground(floor_friction=0.4), 5.0).stalled_at
    assert stalled > 0
    dies = found["F705"]
    assert (dies.where, dies.value, dies.limit) == (f"piece {stalled}", 31 - stalled, 0)
    assert blocked(found.values())


def test_a_gap_beyond_reach_blocks_and_may_be_crossed() -> None:
    """A row that a gap cuts in two does not fall whole, whatever else is said of that gap."""
    found = said([0.3] * 4 + [1.2] + [0.3] * 5)
    assert set(found) == {"F705", "F717"}
    # Pieces 0 to 4 fall, 5 to 10 stand.
    assert (found["F705"].where, found["F705"].value) == ("gap 4", 6)
    assert (found["F717"].where, found["F717"].value) == ("gap 4", "57.6 mm")
    assert found["F717"].limit == "under 48.0 mm to carry, 72 mm to stop for sure"  # 1.5 heights
    assert blocked(found.values())
    assert set(said([0.3, 0.98, 0.3])) == {"F706"}
    assert set(said([0.3, 1.0, 0.3])) == {"F705", "F717"}


@pytest.mark.parametrize(("friction", "safe_heights"), [(0.5, 1.5), (0.3, 1.5), (0.225, 1.85), (0.15, 2.2)])
def test_a_firebreak(friction: float, safe_heights: float) -> None:
    # On a line between 1.5 at 0.3 and 2.2 at 0.15: docs/fall.md.
    assert set(said([0.3, safe_heights - 0.01, 0.3], friction)) == {"F705", "F717"}
    assert set(said([0.3, safe_heights + 0.01, 0.3], friction)) == {"F705"}


def test_of_several_gaps_beyond_reach_those_that_may_be_crossed_are_told() -> None:
    found = said([0.3, 3.0, 0.3, 1.4, 1.1, 0.3])
    assert (found["F705"].where, found["F705"].value) == ("gap 1", 5)
    assert (found["F717"].where, found["F717"].value) == ("gap 3", "52.8 mm")  # 1.1 x 48, at gap 4
    assert found["F717"].message.endswith(": 3, 4")


def test_pieces_of_different_height_have_limits_of_their_own() -> None:
    """Gap 1 is 1.2 heights of piece 1, which is half as high; gap 3 is 1.2 heights of the others."""
    heights = HEIGHT_M * np.array([1, 0.5, 1, 1, 1])
    pieces = replace(alike(5), height_m=heights)
    found = said([0.3, 0.6, 0.3, 1.6], pieces=pieces)
    assert (found["F717"].where, found["F717"].value) == (
        "gap 1",
        "28.8 mm",
    )  # 1.6 is a firebreak, 0.6 is not
    assert found["F717"].limit == "under 24.0 mm to carry, 36 mm to stop for sure"
    assert set(said([0.3, 0.45, 0.3, 0.3], pieces=pieces)) == {"F706"}  # 0.9 of its own height


def test_a_row_that_dies_before_the_gap_is_told_once() -> None:
    found = said([0.05] * 30 + [1.2, 0.3], push_rad_s=5.0)
    assert found["F705"].where.startswith("piece")
    assert found["F717"].where == "gap 30"


def test_many_places_are_cut_short() -> None:
    # Gaps 0 to 11.
    assert said([0.85] * 12)["F706"].message.endswith(": 0, 1, 2, 3, 4 and 7 more")
