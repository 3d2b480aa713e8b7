"""``standfall rest`` as a person would use it: a wall of tiles, some down, some up."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

# Behind its tray, no wider than it, leaves backwards: tiles 297 x 110 mm of 11 x 5 slots.
ROBOT = {
    "name": "carrier",
    "drive": "omnidirectional",
    "turn_centre_m": [-0.3, 0.0],
    "speed_mm_s": 500,
    "acceleration_mm_s2": 300,
    "turn_deg_s": 45,
    "turn_acceleration_deg_s2": 45,
    "slow_mm_s": 100,
    "lower_s": 3,
    "release_s": 1,
    "raise_s": 3,
    "part": [
        {
            "name": "body",
            "outline_m": [[-0.5, -0.12], [-0.07, -0.12], [-0.07, 0.12], [-0.5, 0.12]],
            "bottom_mm": 20,
        }
    ],
}


@pytest.fixture
def laid_build(
    small: dict[str, Any], write_brief: Callable[[dict[str, Any]], Path], run: Callable[..., Any]
) -> Path:
    """Four columns and six bands of tiles, one robot, two builders with short arms."""
    small["field"][0]["stacked_rows"] = []
    small["robot"] = [ROBOT]
    small["dock"] = [
        {"name": "arm", "place_m": [4.5, 4.2], "heading_deg": 180},
        {"name": "door", "kind": "crew", "place_m": [5.0, 0.6]},
    ]
    small["crew"] = {"builders": 2, "reach_mm": 300, "room_mm": 500}
    path = write_brief(small)
    build = path.with_name("mural.build")
    told = run("plan", path, "--out", build, "--json")
    assert told.code == 0, told.out
    return build


def _rest(run: Callable[..., Any], build: Path, rows: list[str], *words: Any) -> tuple[int, dict[str, Any]]:
    states = build.with_name("standing.csv")
    states.write_text("tile,state\n" + "".join(f"{row}\n" for row in rows), encoding="utf-8")
    told = run("rest", build, states, "--json", *words)
    return told.code, json.loads(told.out)


def test_half_laid_the_rest_keeps_its_order(laid_build: Path, run: Callable[..., Any]) -> None:
    code, whole = _rest(run, laid_build, [])
    assert code == 0
    assert sorted(whole["tiles"]) == list(range(1, 25))
    first = whole["tiles"][:12]
    code, rest = _rest(run, laid_build, [f"{tile},laid" for tile in first])
    assert code == 0
    assert rest["tiles"] == whole["tiles"][12:]
    assert rest["by_hand"] == rest["unreachable"] == []


def test_a_fallen_tile_amid_the_field_is_named(laid_build: Path, run: Callable[..., Any]) -> None:
    # Tile 10 lies in band 2, column 1 of 4 columns: by hand 297 mm from the left edge at least, 220 mm from the
    # back edge to its near side and 330 mm to its far side, so a reach of 300 mm does not get to all of it.
    rows = [f"{tile},{'fallen' if tile == 10 else 'laid'}" for tile in range(1, 25)]
    code, rest = _rest(run, laid_build, rows)
    assert code == 2
    assert 10 in rest["unreachable"]
    assert rest["findings"][0]["grade"] == "blocks"


def test_a_fallen_tile_at_the_edge_is_laid_again(laid_build: Path, run: Callable[..., Any]) -> None:
    # Tile 22 lies in the last band: in front of it there is free floor for the robot.
    rows = [f"{tile},{'fallen' if tile == 22 else 'laid'}" for tile in range(1, 25)]
    target = laid_build.with_name("rest.csv")
    code, rest = _rest(run, laid_build, rows, "--to", target)
    assert code == 0
    assert rest["tiles"] == [22] and rest["by_hand"] == []
    with target.open(encoding="utf-8") as file:
        lines = list(csv.DictReader(file))
    assert [(line["order"], line["tile"], line["by_hand"]) for line in lines if line["tile"]] == [
        ("1", "22", "no")
    ]


def test_forbidden_tiles_are_left_out(laid_build: Path, run: Callable[..., Any]) -> None:
    code, rest = _rest(run, laid_build, ["1,forbidden", "2,forbidden"])
    assert code == 0
    assert sorted(rest["tiles"]) == list(range(3, 25))


def test_a_build_without_a_laying_order_is_refused(build: Path, run: Callable[..., Any]) -> None:
    states = build.with_name("standing.csv")
    states.write_text("tile,state\n", encoding="utf-8")
    told = run("rest", build, states)
    assert told.code == 3  # wrong use
    assert "[[robot]]" in told.err and "Traceback" not in told.err


def test_faulty_lists_are_findings(laid_build: Path, run: Callable[..., Any]) -> None:
    code, told = _rest(run, laid_build, ["99,laid", "1,up"])
    assert code == 2
    assert [finding["code"] for finding in told["findings"]] == ["R930", "R930"]
