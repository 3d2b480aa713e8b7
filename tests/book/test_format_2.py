"""Files of format 2, from before routes were planned: they are read, and become format 3 when written."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from book_fall import make_prediction_by_hand
from book_format_2 import write_build_2
from book_plan import make_plan_by_hand
from book_routes import plan_with_routes
from comparison import assert_same_fall, assert_same_plan, contents

from standfall.book import export_tables, read_build, read_fall, write_build, write_fall
from standfall.book.stored_fall import stored_fall
from standfall.findings import FileFault

PLAN = make_plan_by_hand()
FALL = make_prediction_by_hand(PLAN)


def rows(path: Path, query: str) -> list[Any]:
    with closing(sqlite3.connect(path)) as connection, connection:
        return connection.execute(query).fetchall()


def format_of(path: Path) -> int:
    # SQLite file format, section 1.3: user version at byte 60, big-endian.
    return int.from_bytes(path.read_bytes()[60:64], "big")


@pytest.fixture
def old(tmp_path: Path) -> Path:
    return write_build_2(PLAN, FALL, tmp_path / "a.build")


def test_it_is_one(old: Path) -> None:
    assert format_of(old) == 2
    names = {name for (name,) in rows(old, "SELECT name FROM sqlite_master")}
    assert names & {"route", "step", "trip", "waypoint", "robot", "step_named", "drawn_floor"} == set()
    assert {"fall", "fall_domino", "fall_named", "domino_named"} <= names
    assert rows(old, "PRAGMA integrity_check") == [("ok",)]


def test_it_is_read_and_stays_as_it_is(old: Path) -> None:
    before = contents(old.parent)
    assert_same_plan(read_build(old), PLAN)
    assert read_build(old).routes is None
    assert_same_fall(read_fall(old), stored_fall(FALL))
    assert contents(old.parent) == before
    export_tables(read_build(old), old.parent / "tables", "csv", fall=read_fall(old))
    assert sorted(contents(old.parent / "tables")) == ["dominoes.csv", "fall.csv", "tiles.csv"]


def test_same_fall_leaves_it_alone(old: Path) -> None:
    before = contents(old.parent)
    write_fall(FALL, PLAN, old)
    assert contents(old.parent) == before


def test_another_fall_makes_it_format_3(old: Path) -> None:
    other = make_prediction_by_hand(PLAN, trials=False)
    write_fall(other, PLAN, old)
    assert format_of(old) == 3
    assert rows(old, "SELECT version, plan_format FROM plan") == [(1, 1)]
    assert_same_plan(read_build(old), PLAN)
    assert_same_fall(read_fall(old), stored_fall(other))


def test_a_plan_with_routes_makes_it_format_3(old: Path) -> None:
    plan = plan_with_routes()
    write_build(plan, old)
    assert format_of(old) == 3
    assert rows(old, "SELECT version, plan_format FROM plan ORDER BY version") == [(1, 1), (2, 2)]
    assert_same_plan(read_build(old), plan)
    assert read_fall(old) is None


def test_format_2_that_says_it_is_format_3_is_damaged(old: Path) -> None:
    rows(old, "PRAGMA user_version = 3")
    with pytest.raises(FileFault, match=r"table \w+ is missing"):
        read_build(old)


def test_a_table_that_somebody_added_stays_even_under_our_new_names(old: Path) -> None:
    rows(old, "CREATE TABLE waypoint (text TEXT)")
    before = contents(old.parent)
    with pytest.raises(FileFault, match="somebody added waypoint to it"):
        write_build(plan_with_routes(), old)
    assert contents(old.parent) == before
    assert_same_plan(read_build(old), PLAN)
