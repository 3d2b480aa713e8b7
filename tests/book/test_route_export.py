"""The exported tables of the routes, read again by programs that are not ours."""

from __future__ import annotations

import csv
import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet
import pytest
import shapely
from book_fall import make_prediction_by_hand
from book_routes import NAMES, plan_with_routes
from comparison import contents

from standfall.book import export_tables
from standfall.book.stored_fall import stored_fall
from standfall.planning.plan import Plan
from standfall.routes.trip import PHASES

PLAN = plan_with_routes()
HEADINGS = {
    "tiles": "tile,x_m,y_m,yaw_rad,order,robot,field,turn_deg,first_row,first_col,dominoes,kind",
    "steps": "step,order,kind,tile,robot,dominoes,x_m,y_m,start_s,end_s",
    "step_dominoes": "step,domino",
    "waypoints": "trip,tile,robot,phase,t_s,x_m,y_m,yaw_rad",
}
FILES = ["dominoes.csv", "tiles.csv", "steps.csv", "step_dominoes.csv", "waypoints.csv", "robots.json"]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("tables")
    assert [path.name for path in export_tables(PLAN, folder, "csv")] == FILES
    return folder


def columns(folder: Path, name: str) -> dict[str, list[str]]:
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        headings, *rows = csv.reader(file, strict=True)
    return dict(zip(headings, map(list, zip(*rows, strict=True)), strict=True))


@pytest.mark.parametrize("name", HEADINGS)
def test_headings(folder: Path, name: str) -> None:
    assert (folder / f"{name}.csv").read_bytes().startswith(HEADINGS[name].encode() + b"\r\n")


def test_order_and_robot_of_tiles(folder: Path) -> None:
    # Tile 18 is laid first, tile 1 last; two tiles a trip, robots in turn.
    tiles = columns(folder, "tiles")
    assert tiles["order"] == [str(19 - tile) for tile in range(1, 19)]
    assert tiles["robot"] == [NAMES[(18 - tile) // 2 % 2] for tile in range(1, 19)]


def test_steps(folder: Path) -> None:
    steps = columns(folder, "steps")
    assert steps["step"] == [str(number) for number in range(25)]
    assert steps["order"][:18] == columns(folder, "tiles")["order"]
    assert steps["order"][18:] == ["19", "20", "21", "22", "23", "0", "0"]
    assert steps["kind"] == ["tile"] * 18 + ["stack"] * 6 + ["line"]
    assert steps["tile"][18:] == ["1", "2", "3", "4", "5", "6", "0"]
    assert steps["robot"][18:] == ["builder 1"] * 5 + ["", ""]
    # A robot's step takes nine waypoints an eighth of a second apart: the fourth lowers, the fifth lets go. Tile 18
    # begins at 0 s, tile 1 is the eighteenth.
    assert (steps["start_s"][17], steps["end_s"][17]) == ("0.375000", "0.500000")
    assert (steps["start_s"][0], steps["end_s"][0]) == ("19.500000", "19.625000")
    # Then a builder's takes four: the second lays, and is done at the third.
    assert (steps["start_s"][18], steps["end_s"][18]) == ("20.375000", "20.500000")
    assert steps["start_s"][23:] == steps["end_s"][23:] == ["", ""]


def test_dominoes_of_each_step(folder: Path) -> None:
    dominoes, by_hand = columns(folder, "dominoes"), columns(folder, "step_dominoes")
    on_tiles = [
        number
        for number, tile, layer in zip(*(dominoes[key] for key in ("id", "tile", "layer")), strict=True)
        if tile != "0" and layer == "0"
    ]
    assert sorted(map(int, on_tiles + by_hand["domino"])) == list(range(211))
    for step, count in zip(
        columns(folder, "steps")["step"][18:], columns(folder, "steps")["dominoes"][18:], strict=True
    ):
        assert by_hand["step"].count(step) == int(count)
    # The line is dominoes 206 to 210 (tests of the plan made by hand).
    line = [int(domino) for step, domino in zip(*by_hand.values(), strict=True) if step == "24"]
    assert line == [206, 207, 208, 209, 210]


def test_waypoints(folder: Path) -> None:
    routes = PLAN.routes
    assert routes is not None
    ways, trips = columns(folder, "waypoints"), routes.trips
    assert [PHASES.index(phase) for phase in ways["phase"]] == trips.phase.tolist()
    for name, decimals in (("t_s", 6), ("x_m", 6), ("y_m", 6), ("yaw_rad", 9)):
        assert ways[name] == [f"{number:.{decimals}f}" for number in getattr(trips, name)]
    assert ways["trip"][:18] == ["0"] * 18
    assert ways["trip"][-1] == "11"
    assert ways["tile"][:19] == ["0", *["18"] * 7, "0", "0", *["17"] * 7, "0", "0"]
    assert set(ways["robot"]) == set(NAMES)
    robots = [NAMES[trips.robot[int(trip)]] for trip in ways["trip"]]
    assert ways["robot"] == robots


def test_phases_without_time_have_no_waypoint(tmp_path: Path) -> None:
    # Neither lowering nor letting go takes time: the tile stands when the tray begins to rise.
    routes = PLAN.routes
    assert routes is not None
    phase = routes.trips.phase.copy()
    phase[phase == PHASES.index("lower")] = PHASES.index("approach")
    phase[phase == PHASES.index("release")] = PHASES.index("approach")
    phase[phase == PHASES.index("lay")] = PHASES.index("walk")
    x_m, y_m = routes.trips.x_m.copy(), routes.trips.y_m.copy()
    # The builder of step 18 kneels at its second waypoint.
    at, stance = np.flatnonzero(routes.trips.way_step == 18)[1], routes.access.stance
    x_m[at], y_m[at] = stance.x_m[18], stance.y_m[18]
    trips = replace(routes.trips, phase=phase, x_m=x_m, y_m=y_m)
    export_tables(replace(PLAN, routes=replace(routes, trips=trips)), tmp_path, "csv")
    steps = columns(tmp_path, "steps")
    assert (steps["start_s"][17], steps["end_s"][17]) == ("0.625000", "0.625000")
    assert (steps["start_s"][18], steps["end_s"][18]) == ("20.375000", "20.375000")


def test_robots(folder: Path) -> None:
    content = json.loads((folder / "robots.json").read_text(encoding="utf-8"))
    # 48 mm of domino and 10 mm, the default of over_mm.
    assert math.isclose(content["touches_below_m"], 0.058)
    assert content["lowered_phases"] == ["lower", "release", "raise"]
    assert content["domino"] == {"height_m": 0.048, "width_m": 0.024, "thickness_m": 0.0075}
    assert [robot["name"] for robot in content["robots"]] == list(NAMES)
    first, _, builder = content["robots"]
    assert (first["model"], first["drive"]) == ("bearer – „eins“", "omnidirectional")
    body, frame = first["parts"]
    assert body == {
        "name": "body",
        "outline_m": [[-0.75, -0.26], [-0.13, -0.26], [-0.13, 0.26], [-0.75, 0.26]],
        "bottom_m": 0.02,
        "lowered_bottom_m": 0.02,
    }
    assert (frame["bottom_m"], frame["lowered_bottom_m"]) == (0.07, 0.001)
    # A person: a polygon round the circle of 600 mm, at most 2 % larger.
    assert builder["drive"] == "on_foot"
    outline = shapely.Polygon(builder["parts"][0]["outline_m"])
    assert outline.covers(shapely.Point(0, 0).buffer(0.3 - 1e-9, quad_segs=64))
    assert math.isclose(outline.area, 16 * 0.3**2 * math.tan(math.pi / 16))


def test_parquet(tmp_path: Path) -> None:
    routes = PLAN.routes
    assert routes is not None
    paths = export_tables(PLAN, tmp_path, "parquet")
    assert [path.suffix for path in paths] == [".parquet"] * 5 + [".json"]
    ways = pyarrow.parquet.read_table(tmp_path / "waypoints.parquet")
    assert ",".join(ways.column_names) == HEADINGS["waypoints"]
    for name in ("t_s", "x_m", "y_m", "yaw_rad"):
        assert ways[name].to_numpy().tobytes() == getattr(routes.trips, name).tobytes()
    steps = pyarrow.parquet.read_table(tmp_path / "steps.parquet")
    assert ",".join(steps.column_names) == HEADINGS["steps"]
    assert steps["end_s"].null_count == 2
    assert steps["robot"].null_count == 2
    assert steps["end_s"].to_pylist()[17] == 0.5
    for path in paths[:5]:
        for field in pyarrow.parquet.read_schema(path):
            assert field.metadata[b"about"]
            may_be_missing = pa.types.is_dictionary(field.type) or field.name in ("start_s", "end_s")
            assert field.nullable == may_be_missing


def test_routes_and_a_fall(tmp_path: Path) -> None:
    fall = stored_fall(make_prediction_by_hand(PLAN))
    calls: list[tuple[int, int, str]] = []
    paths = export_tables(PLAN, tmp_path, "csv", lambda *call: calls.append(call), fall=fall)
    assert [path.name for path in paths] == [*FILES, "fall.csv"]
    assert calls[-1][0] == calls[-1][1]
    assert [done for done, _, _ in calls] == sorted(done for done, _, _ in calls)


def test_same_plan_same_bytes(folder: Path, tmp_path: Path) -> None:
    export_tables(plan_with_routes(), tmp_path, "csv")
    assert contents(tmp_path) == contents(folder)


def test_older_routes_stay_when_none_are_exported(tmp_path: Path) -> None:
    export_tables(PLAN, tmp_path, "csv")
    before = contents(tmp_path)
    plain: Plan = replace(PLAN, routes=None)
    assert [path.name for path in export_tables(plain, tmp_path, "csv")] == FILES[:2]
    after = contents(tmp_path)
    assert {name for name in FILES if after[name] != before[name]} == {"tiles.csv"}
