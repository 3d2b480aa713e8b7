"""Routes are written and read with their plan: every attribute, every bit; and what is wrong is refused."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from book_fall import make_prediction_by_hand
from book_plan import brief_text, make_plan_by_hand
from book_routes import LAYING, NAMES, plan_with_routes
from comparison import assert_same_plan, contents
from hypothesis import given, settings
from hypothesis import strategies as st

from standfall.book import read_build, write_build, write_fall
from standfall.book.columns import STANCE_COLUMNS, STEP_COLUMNS, TRIP_COLUMNS, WAYPOINT_COLUMNS
from standfall.book.digest import result_digest
from standfall.brief import Area
from standfall.findings import FileFault
from standfall.planning.plan import Plan
from standfall.routes.access import Access
from standfall.routes.plan import Routes
from standfall.routes.stance import Stances
from standfall.routes.step import Steps
from standfall.routes.trip import Trips

PLAN = plan_with_routes()


def rows(path: Path, query: str) -> list[Any]:
    with closing(sqlite3.connect(path)) as connection, connection:
        return connection.execute(query).fetchall()


@pytest.fixture
def build(tmp_path: Path) -> Path:
    return write_build(PLAN, tmp_path / "a.build")


def test_routes_come_back(build: Path) -> None:
    assert_same_plan(read_build(build), PLAN)


def test_every_attribute_is_stored_or_follows() -> None:
    # Whoever adds an attribute to one of these must add its column, or routes would come back without it.
    def names(kind: type) -> set[str]:
        return {field.name for field in fields(kind)}

    assert names(Routes) == {"steps", "access", "trips", "front", "lower_bound_m", "at_risk"}
    assert names(Access) == {"order", "stance", "trapped", "trapped_by", "layable_most", "left_out"}
    searched = {"conflict_first", "conflict"}  # served the search, and are empty in a plan
    assert names(Stances) == {"step", *STANCE_COLUMNS} | searched
    follow = {"member_first", "member", "shapes", "shape_of"}
    assert names(Steps) == set(STEP_COLUMNS) | follow
    parts = {"names", "step_first", "step", "way_first"}
    assert names(Trips) == {*TRIP_COLUMNS, *WAYPOINT_COLUMNS} | parts


def test_what_the_rows_say(build: Path) -> None:
    """Written out from ``routes_by_hand``: 18 tiles, then 6 stacks and a line; the last two are not laid."""
    assert rows(build, "SELECT number, name, model FROM robot") == [
        (0, NAMES[0], 0),
        (1, NAMES[1], 0),
        (2, "builder 1", None),
    ]
    # 18 tiles backwards: tile 18 is laid first, tile 1 last; then four of the stacks.
    order = rows(build, "SELECT number, tile, kind FROM step WHERE place IS NOT NULL ORDER BY place")
    assert order[:18] == [(number, number + 1, "tile") for number in range(17, -1, -1)]
    assert [row[0] for row in order[18:]] == [18, 19, 20, 21, 22]
    assert {row[2] for row in order[18:]} == {"stack"}
    # Row 0 has its stacked cells in tiles 1 to 6 (22 columns, 4 to a tile), so each stack waits for its tile.
    stacks = rows(build, "SELECT tile, after FROM step WHERE kind = 'stack' ORDER BY number")
    assert stacks == [(tile, tile - 1) for tile in range(1, 7)]
    assert rows(build, "SELECT kind, place, model, stand_x_m, layer FROM step WHERE number = 24") == [
        ("line", None, None, None, None)
    ]
    # Two steps a trip: nine by robots in turn, three by the builder, who drives nothing and has no dock.
    trips = rows(build, "SELECT robot, dock, driven_m > 0 FROM trip ORDER BY number")
    assert trips == [(number % 2, 0, 1) for number in range(9)] + [(2, None, 0)] * 3
    assert rows(build, "SELECT step FROM trip_step WHERE trip = 1 ORDER BY place") == [(15,), (14,)]
    first = rows(build, "SELECT phase, step, t_s FROM waypoint WHERE trip = 0 ORDER BY number LIMIT 4")
    assert first == [("dock", None, 0.0), ("drive", 17, 0.125), ("approach", 17, 0.25), ("lower", 17, 0.375)]
    assert rows(build, "SELECT front, trapped, left_out, layable_most FROM route") == [
        ("far first – „weit“", "[[23, [0, 5]], [24, []]]", "[24]", 24)
    ]
    parts = json.loads(rows(build, "SELECT description FROM model")[0][0])["parts"]
    assert [(part["name"], part["bottom_m"], part["lowered_bottom_m"]) for part in parts] == [
        ("body", 0.02, None),
        ("frame", 0.07, 0.001),
    ]


def test_view_with_names(build: Path) -> None:
    named = rows(build, "SELECT place, tile, robot, trip FROM step_named WHERE kind = 'tile' ORDER BY place")
    assert named == [(k + 1, 18 - k, NAMES[k // 2 % 2], k // 2) for k in range(18)]
    assert rows(build, "SELECT robot, trip FROM step_named WHERE number = 24") == [(None, None)]


def test_references_hold_and_tables_are_strict(build: Path) -> None:
    assert rows(build, "PRAGMA integrity_check") == [("ok",)]
    assert rows(build, "PRAGMA foreign_key_check") == []
    loose = "SELECT name FROM pragma_table_list WHERE schema = 'main' AND type = 'table' AND NOT strict"
    assert [name for (name,) in rows(build, loose) if not name.startswith("sqlite_")] == []


def test_same_routes_leave_the_file_alone_and_give_the_same_bytes(build: Path, tmp_path: Path) -> None:
    before = contents(build.parent)
    write_build(plan_with_routes(), build)
    assert contents(build.parent) == before
    again = write_build(plan_with_routes(), tmp_path / "b.build")
    assert again.read_bytes() == build.read_bytes()


def test_other_routes_are_a_new_version(build: Path) -> None:
    routes = PLAN.routes
    assert routes is not None
    other = replace(PLAN, routes=replace(routes, front="along the fall"))
    write_build(other, build)
    assert rows(build, "SELECT version FROM plan") == [(1,), (2,)]
    assert_same_plan(read_build(build), other)
    assert rows(build, "SELECT COUNT(*) FROM route") == [(1,)]


def test_plan_without_routes_drops_them(build: Path) -> None:
    plain = make_plan_by_hand()
    write_build(plain, build)
    tables = ("route", "model", "robot", "step", "trip", "trip_step", "waypoint")
    assert [rows(build, f"SELECT COUNT(*) FROM {table}") for table in tables] == [[(0,)]] * len(tables)
    assert read_build(build).routes is None


def test_a_fall_keeps_the_routes(build: Path) -> None:
    write_fall(make_prediction_by_hand(PLAN), PLAN, build)
    assert_same_plan(read_build(build), PLAN)


def altered(holder: str, name: str, place: int, value: float) -> Plan:
    """Return the plan with one number of its routes changed."""
    routes = PLAN.routes
    assert routes is not None
    inner = routes.access.stance if holder == "stance" else getattr(routes, holder)
    values = getattr(inner, name).copy()
    values[place] = value
    changed: Any = replace(inner, **{name: values})
    if holder == "stance":
        changed = replace(routes.access, stance=changed)
        holder = "access"
    return replace(PLAN, routes=replace(routes, **{holder: changed}))


@pytest.mark.parametrize(
    ("holder", "name", "place"),
    [
        *(("stance", name, 3) for name in ("x_m", "y_m", "yaw_rad", "leave_x_m", "leave_y_m")),
        *(("trips", name, 5) for name in ("start_s", "end_s", "driven_m", "t_s", "x_m", "y_m", "yaw_rad")),
        *(("steps", name, 2) for name in ("x_m", "y_m")),
    ],
)
def test_each_number_counts(holder: str, name: str, place: int) -> None:
    assert result_digest(altered(holder, name, place, 0.123)) != result_digest(PLAN)


@pytest.mark.parametrize(
    ("plan", "words"),
    [
        (altered("stance", "x_m", 0, np.nan), "stance.x_m holds a number that is not finite"),
        (altered("stance", "model", 0, 1), "stance.model holds a number that nothing carries"),
        (altered("stance", "turn_deg", 0, 90), "another turn than 0 and 180"),
        (altered("stance", "step", 0, 3), "stance.step is not access.order"),
        (altered("stance", "turn_deg", 1, 180), "lies turned another way"),
        (altered("access", "order", 0, 3), "access.order holds a step twice"),
        (altered("trips", "robot", 0, 3), "trips.robot holds a number that nothing carries"),
        (altered("trips", "phase", 0, 13), "trips.phase holds a number that nothing carries"),
        (altered("trips", "way_first", 1, 10_000), "way_first does not run"),
        (altered("trips", "step", 0, 16), "trips.step holds a step twice"),
        (altered("steps", "after", 0, 0), "waits for a later one"),
        (altered("steps", "member", 0, 1), "does not hold each domino once"),
    ],
)
def test_routes_that_do_not_hold_together(tmp_path: Path, plan: Plan, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        write_build(plan, tmp_path / "a.build")
    assert contents(tmp_path) == {}


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        ("UPDATE waypoint SET x_m = x_m + 1e-12 WHERE number = 7", "does not have the digest"),
        ("UPDATE waypoint SET phase = 'hop' WHERE number = 7", "waypoints has a phase that does not exist"),
        ("UPDATE waypoint SET trip = 5 WHERE number = 7", "waypoints of the trips are mixed up"),
        ("DELETE FROM waypoint WHERE number = 7", "numbers of the waypoints have gaps"),
        ("DELETE FROM trip WHERE number = 7", "numbers of the trips have gaps"),
        ("DELETE FROM trip_step WHERE trip = 2 AND place = 0", "steps of a trip have gaps"),
        ("UPDATE step SET leave_x_m = 1 WHERE number = 7", "does not have the digest"),
        ("UPDATE step SET place = 99 WHERE number = 7", "places in the laying order have gaps"),
        ("UPDATE step SET kind = 'gap' WHERE number = 7", "cut into other steps .* Plan again"),
        ("UPDATE step SET after = NULL WHERE number = 18", "cut into other steps"),
        ("UPDATE robot SET name = 'somebody' WHERE number = 1", "one that nobody has"),
        ("UPDATE robot SET number = 9 WHERE number = 2", "numbers of the robots have gaps"),
        ("UPDATE route SET at_risk = 1", "does not have the digest"),
        ("UPDATE route SET trapped = 'x'", "damaged"),
        ("DELETE FROM route", "does not have the digest"),
        ("DROP TABLE waypoint", "table waypoint is missing"),
    ],
)
def test_altered_by_hand(build: Path, statement: str, words: str) -> None:
    rows(build, statement)
    with pytest.raises(FileFault, match=words):
        read_build(build)


NUMBERS = st.floats(-1e9, 1e9).map(lambda number: number + 0.0)


@settings(max_examples=20, deadline=None)
@given(st.data())
def test_any_numbers_come_back(tmp_path_factory: pytest.TempPathFactory, data: st.DataObject) -> None:
    routes = PLAN.routes
    assert routes is not None
    dice = np.random.default_rng(data.draw(st.integers(0, 2**32)))
    chosen = np.array(data.draw(st.lists(NUMBERS, min_size=1, max_size=9)))

    def drawn(holder: Any, names: tuple[str, ...]) -> Any:
        return replace(holder, **{name: dice.choice(chosen, len(getattr(holder, name))) for name in names})

    stance = drawn(routes.access.stance, ("x_m", "y_m", "yaw_rad", "leave_x_m", "leave_y_m"))
    trips = drawn(routes.trips, ("start_s", "end_s", "driven_m", "t_s", "x_m", "y_m", "yaw_rad"))
    plan = replace(
        PLAN,
        routes=replace(
            routes,
            access=replace(routes.access, stance=stance),
            trips=trips,
            lower_bound_m=data.draw(st.floats(1e-3, 1e9)),
            at_risk=data.draw(NUMBERS),
        ),
    )
    path = tmp_path_factory.mktemp("any") / "a.build"
    assert_same_plan(read_build(write_build(plan, path)), plan)


def drawn_plan() -> Plan:
    """Return a plan whose hall is drawn in a file, with an area of the brief and one of the drawing."""
    text = (brief_text() + LAYING).replace(
        "outline_m = [[-100, -100], [100, -100], [100, 100], [-100, 100]]", 'drawing = "depot.dxf"'
    )
    text += '[[area]]\nname = "door"\nkind = "exit"\ncentre_m = [9, 9]\nradius_mm = 900\n'
    plan = make_plan_by_hand(text)
    brief = plan.brief
    corners = ((-100.1, -100.0), (100.0, -1 / 3), (100.0, 100.0))
    pillar = Area(name="pillar „1“", kind="pillar", outline_m=((1.0, 2.0), (3.0, 2.0), (3.0, 4.1)))
    drawn = replace(brief, hall=replace(brief.hall, outline_m=corners), areas=(*brief.areas, pillar))
    return replace(plan, brief=drawn)


def test_floor_of_a_drawing_comes_back(tmp_path: Path) -> None:
    plan = drawn_plan()
    path = write_build(plan, tmp_path / "a.build")
    assert_same_plan(read_build(path), plan)
    assert rows(path, "SELECT outline FROM drawn_floor") == [
        ("[[-100.1, -100.0], [100.0, -0.3333333333333333], [100.0, 100.0]]",)
    ]


def test_floor_of_a_drawing_counts(tmp_path: Path) -> None:
    path = write_build(drawn_plan(), tmp_path / "a.build")
    rows(path, "UPDATE drawn_floor SET outline = '[[0, 0], [1, 0], [1, 1]]'")
    with pytest.raises(FileFault, match="does not have the digest"):
        read_build(path)
    rows(path, "DELETE FROM drawn_floor")
    with pytest.raises(FileFault, match="lacks the floor of the drawing"):
        read_build(path)
