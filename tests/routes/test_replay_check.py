"""The replay itself: files written by hand, in which something touches, or just does not.

Three tiles of 2 x 2 dominoes, 44 mm long along x and 54 mm wide. Tiles 1 and 2 lie in the lane y = 0, tile 2 behind
tile 1; tile 3 lies 60 mm to the left of the lane, at x = 1 m. Its nearest domino faces are at
y = 0.060 - 0.0135 - 0.012 = 0.0345 m. The robot comes and goes along the lane from a dock at zero; its body is 40 mm
wide and 350 mm long, behind the tray.
"""

from __future__ import annotations

import ast
import csv
import json
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
import replay_check
import shapely
from replay_check import replay

TILES = {1: (2.0, 0.0), 2: (1.956, 0.0), 3: (1.0, 0.06)}
FLOOR = shapely.box(-1, -1, 3, 1)
BODY = [[-0.4, -0.02], [-0.05, -0.02], [-0.05, 0.02], [-0.4, 0.02]]
# 1 mm sheet between 0.0255 m (own dominoes) and 0.0285 m (those of a neighbour).
SHEET = [[-0.022, 0.0262], [0.022, 0.0262], [0.022, 0.0272], [-0.022, 0.0272]]
PARTS = (("body", BODY, 0.02, 0.02), ("frame", SHEET, 0.07, 0.001))
Point = tuple[float, float, float, float, str]


def trip_to(tile: int, begin_s: float) -> list[Point]:
    """Return t, x, y, yaw and phase of a trip that sets down a tile and comes back, 20 s long."""
    x, y = TILES[tile]
    rows = [
        (0, 0, 0, "dock"),
        (1, 0, y, "drive"),
        (4, 1, y, "drive"),
        (8, x, y, "lower"),
        (9, x, y, "release"),
    ]
    rows += [(10, x, y, "raise"), (11, x, y, "leave"), (13, x - 0.2, y, "return"), (18, 0, y, "return")]
    rows += [(20, 0, 0, "return")]
    return [(begin_s + t, px, py, 0.0, phase) for t, px, py, phase in rows]


def write(
    folder: Path,
    laid: Sequence[int] = (3, 1, 2),
    trips: list[tuple[int, str, list[Point]]] | None = None,
    parts: Sequence[tuple[str, Any, float, float]] = PARTS,
    stacked: bool = False,
) -> Path:
    """Write the files of a build in which ``laid`` tiles are laid one after the other by robot A."""
    if trips is None:
        trips = [(tile, "A", trip_to(tile, 25.0 * k)) for k, tile in enumerate(laid)]
    names = sorted({name for _, name, _ in trips})
    robot = {"model": "m", "drive": "omnidirectional", "turn_centre_m": [0, 0]}
    shapes = [
        dict(zip(("name", "outline_m", "bottom_m", "lowered_bottom_m"), part, strict=True)) for part in parts
    ]
    content = {
        "touches_below_m": 0.058,
        "lowered_phases": ["lower", "release", "raise"],
        "domino": {"height_m": 0.048, "width_m": 0.024, "thickness_m": 0.0075},
        "robots": [robot | {"name": name, "parts": shapes} for name in names],
    }
    (folder / "robots.json").write_text(json.dumps(content))
    dominoes = [
        (4 * (tile - 1) + k, x + (-0.011, 0.011)[k % 2], y + (-0.0135, 0.0135)[k // 2], 0, tile, 0, 0)
        for tile, (x, y) in TILES.items()
        for k in range(4)
    ]
    if stacked:
        dominoes.append((12, *dominoes[8][1:3], 0, 3, 1, 0.048))
    table(folder, "dominoes", "id,x_m,y_m,yaw_rad,tile,layer,z_m", dominoes)
    order = {tile: place for place, tile in enumerate(laid, 1)}
    let_go = {tile: points[4][0] for tile, _, points in trips if tile}
    tiles = [(tile, *TILES[tile], -math.pi / 2, order[tile], "A") for tile in TILES]
    table(folder, "tiles", "tile,x_m,y_m,yaw_rad,order,robot", tiles)
    steps = [(t - 1, order[t], "tile", t, "A", let_go[t] - 1, let_go[t]) for t in TILES]
    if stacked:  # put up by nobody, between the first trip and the second
        steps.append((3, 0, "stack", 3, "", "", ""))
    table(folder, "steps", "step,order,kind,tile,robot,start_s,end_s", steps)
    table(folder, "step_dominoes", "step,domino", [(3, 12)] if stacked else [])
    rows = [
        (number, tile, name, phase, *(f"{value:.9f}" for value in (t, x, y, yaw)))
        for number, (tile, name, points) in enumerate(trips)
        for t, x, y, yaw, phase in points
    ]
    table(folder, "waypoints", "trip,tile,robot,phase,t_s,x_m,y_m,yaw_rad", rows)
    return folder


def table(folder: Path, name: str, headings: str, rows: Sequence[Sequence[Any]]) -> None:
    with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([headings.split(","), *rows])


def change(folder: Path, name: str, row: int, **values: object) -> None:
    """Change cells of a written table."""
    path = folder / f"{name}.csv"
    headings, *rows = csv.reader(path.read_text(encoding="utf-8").splitlines())
    for column, value in values.items():
        rows[row][headings.index(column)] = str(value)
    table(folder, name, ",".join(headings), rows)


def found(folder: Path, floor: Any = FLOOR) -> list[tuple[str, int]]:
    return sorted({(touch.kind, touch.trip) for touch in replay(folder, floor, floor)})


def test_it_shares_nothing_with_the_program() -> None:
    tree = ast.parse(Path(replay_check.__file__).read_text(encoding="utf-8"))
    modules = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    modules |= {str(node.module) for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    allowed = {
        "__future__",
        "collections",
        "csv",
        "dataclasses",
        "itertools",
        "json",
        "math",
        "numpy",
        "pathlib",
    }
    assert {name.split(".")[0] for name in modules} <= allowed | {"shapely", "typing"}


def test_nothing_touches(tmp_path: Path) -> None:
    assert replay(write(tmp_path), FLOOR, FLOOR) == []


def test_shifted_waypoint(tmp_path: Path) -> None:
    # In the lane 14.5 mm are left between body and tile 3. The way leads from y at x = 1 m to 0 at 2 m, and the
    # body's front, 50 mm behind the robot, passes the tile's near corner (1 m - 0.011 m - 0.00375 m) when the robot is
    # at 1.03525 m. There 0.96475 y are left: 14.47 mm of 15.0 mm, 14.57 mm of 15.1 mm.
    write(tmp_path)
    row = 10 + 2  # the second trip's waypoint at x = 1 m
    change(tmp_path, "waypoints", row, y_m=0.0150)
    assert found(tmp_path) == []
    change(tmp_path, "waypoints", row, y_m=0.0151)
    assert found(tmp_path) == [("domino", 1)]


def test_other_way_round(tmp_path: Path) -> None:
    # Tile 2 first: whoever sets down tile 1 then stands, and drives, on it.
    folder = write(tmp_path, laid=(3, 2, 1))
    assert found(folder) == [("domino", 2)]
    # The body's front is at 1.95 m then, over the nearer two of tile 2, at 1.945 m.
    assert any("body touches 2 dominoes" in touch.words for touch in replay(folder, FLOOR, FLOOR))


def test_order_against_the_clock(tmp_path: Path) -> None:
    write(tmp_path)
    for name, column in (("tiles", "order"), ("steps", "order")):
        change(tmp_path, name, 0, **{column: 3})
        change(tmp_path, name, 1, **{column: 2})
    kinds = {kind for kind, _ in found(tmp_path)}
    assert kinds == {"order", "domino"}  # tile 2 counts as standing when tile 1 is set down
    change(tmp_path, "tiles", 0, order=2)
    assert any("two places" in touch.words for touch in replay(tmp_path, FLOOR, FLOOR))


@pytest.mark.parametrize(("half_m", "touches"), [(0.034, False), (0.035, True)])
def test_too_wide(tmp_path: Path, half_m: float, touches: bool) -> None:
    wide = [[x, math.copysign(half_m, y)] for x, y in BODY]
    write(tmp_path, parts=(("body", wide, 0.02, 0.02),))
    assert found(tmp_path) == ([("domino", 1), ("domino", 2)] if touches else [])


def test_frame_that_is_not_raised_enough(tmp_path: Path) -> None:
    # A strip across behind the dominoes, 48 + 10 mm high at most: it sweeps its own tile when it goes back.
    strip = [[0.016, -0.027], [0.02, -0.027], [0.02, 0.027], [0.016, 0.027]]
    assert found(write(tmp_path, parts=(("strip", strip, 0.058, 0.001),))) == []
    low = write(tmp_path, parts=(("strip", strip, 0.0579, 0.001),))
    assert {trip for _, trip in found(low)} == {0, 1, 2}


def test_frame_that_is_lowered_onto_a_neighbour(tmp_path: Path) -> None:
    # 33 mm behind the middle of tile 2 nothing stands, 33 mm ahead there is tile 1: faces from 1.98525 m on.
    ahead = [[0.028, -0.02], [0.033, -0.02], [0.033, 0.02], [0.028, 0.02]]
    touches = replay(write(tmp_path, parts=(("rim", ahead, 0.07, 0.001),)), FLOOR, FLOOR)
    assert {(touch.kind, touch.trip) for touch in touches} == {("domino", 2)}
    assert {touch.words.split(":")[0] for touch in touches} == {"lower", "release", "raise"}


def test_stacked_dominoes_are_higher(tmp_path: Path) -> None:
    # An arm 70 mm up and 100 mm wide passes over tile 3, but not over a second domino on it.
    arm = [[-0.3, -0.05], [0, -0.05], [0, 0.05], [-0.3, 0.05]]
    assert found(write(tmp_path, parts=(("arm", arm, 0.07, 0.07),), stacked=True)) == []
    change(tmp_path, "steps", 3, order=1, start_s=21, end_s=22)
    assert {("domino", 1), ("domino", 2)} <= set(found(tmp_path))


def test_turn_between_two_free_poses(tmp_path: Path) -> None:
    # From yaw 0 to yaw pi the body swings through -y; at (1.45, 0.3) tile 3 is 0.51 m away, out of its reach of 0.4 m.
    trips = [(tile, "A", trip_to(tile, 25.0 * k)) for k, tile in enumerate((3, 1, 2))]
    there = [(80, 1.45, 0.3, 0.0, "turn"), (90, 1.45, 0.3, math.pi, "wait"), (91, 1.45, 0.3, math.pi, "wait")]
    assert found(write(tmp_path, trips=[*trips, (0, "B", there)], parts=PARTS[:1])) == []
    # The same turn at (1.0, 0.3): it clears tile 3 at both ends, and at yaw pi / 2 it reaches down to y = -0.1.
    over = [(t, 1.0, y, yaw, phase) for t, _, y, yaw, phase in there]
    assert found(write(tmp_path, trips=[*trips, (0, "B", over)], parts=PARTS[:1])) == [("domino", 3)]
    # The other way round it swings through +y.
    other = [(t, x, y, -yaw, phase) for t, x, y, yaw, phase in over]
    assert found(write(tmp_path, trips=[*trips, (0, "B", other)], parts=PARTS[:1])) == []


def test_drive_over_what_another_has_put_down_meanwhile(tmp_path: Path) -> None:
    # B crosses where tile 3 lies: before it is let go at 9 s, or after.
    trips = [(tile, "A", trip_to(tile, 30.0 * k)) for k, tile in enumerate((3, 1, 2))]
    for begin_s, expected in ((1.0, []), (21.0, [("domino", 3)])):
        cross = [(begin_s, 1.2, 0.3, 0.0, "drive"), (begin_s + 2, 1.2, -0.3, 0.0, "drive")]
        folder = write(tmp_path, trips=[*trips, (0, "B", cross)], parts=PARTS[:1])
        assert found(folder) == expected


def test_walls(tmp_path: Path) -> None:
    # Parts reach from x = -0.4 at the dock to 2.022 m at tile 1, and to y = 0.06 + 0.0272 m beside tile 3.
    write(tmp_path)
    assert found(tmp_path, shapely.box(-0.4, -0.02, 2.022, 0.0872)) == []
    assert found(tmp_path, shapely.box(-0.4, -0.02, 2.021, 0.0872)) == [("floor", 1)]
    assert found(tmp_path, shapely.box(-0.4, -0.02, 2.022, 0.0871)) == [("floor", 0)]
    pillar = FLOOR.difference(shapely.box(0.5, 0.0625, 0.51, 0.07))
    assert found(tmp_path, pillar) == [("floor", 0)]


def test_two_robots(tmp_path: Path) -> None:
    # B crosses the lane at x = 0.5 m behind A's body, or through it. A drives from 0 to 1 m between 26 s and 29 s.
    trips = [(tile, "A", trip_to(tile, 25.0 * k)) for k, tile in enumerate((3, 1, 2))]
    for begin_s, expected in ((23.0, []), (27.0, [("robot", 0)])):
        cross = [(begin_s, 0.6, 0.4, 0.0, "drive"), (begin_s + 1, 0.6, -0.4, 0.0, "drive")]
        assert found(write(tmp_path, trips=[*trips, (0, "B", cross)], parts=PARTS[:1])) == expected
    # A stays at its dock between 20 s and 25 s, and after 70 s.
    for begin_s in (21.0, 75.0):
        cross = [(begin_s, -0.2, 0.4, 0.0, "drive"), (begin_s + 1, -0.2, -0.4, 0.0, "drive")]
        assert found(write(tmp_path, trips=[*trips, (0, "B", cross)], parts=PARTS[:1])) == [("robot", 0)]


def test_bookkeeping(tmp_path: Path) -> None:
    write(tmp_path)
    # The lower, release and raise waypoints of the last trip 1 mm off: not where tile 2 lies.
    for row in (23, 24, 25):
        change(tmp_path, "waypoints", row, x_m=1.955)
    assert found(tmp_path) == [("place", 2)]
    write(tmp_path)
    change(tmp_path, "waypoints", 15, t_s=20)
    assert ("time", 1) in found(tmp_path)
    change(tmp_path, "waypoints", 19, x_m=0.1)  # trip 1 ends elsewhere than trip 2 begins
    assert ("time", 2) in found(tmp_path)
    trips = [(tile, "A", trip_to(tile, 19.0 * k)) for k, tile in enumerate((3, 1, 2))]
    assert found(write(tmp_path, trips=trips)) == [("time", 1), ("time", 2)]
