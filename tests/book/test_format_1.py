"""Files of format 1, from before falls were predicted: they are read, and become format 3 when written."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from book_fall import make_prediction_by_hand
from book_format_1 import write_build_1
from book_plan import make_plan_by_hand
from comparison import assert_same_plan, contents

from standfall.book import export_tables, read_build, read_fall, write_build, write_fall
from standfall.findings import FileFault

PLAN = make_plan_by_hand()
NEXT = make_plan_by_hand(picture=b"another")


def rows(path: Path, query: str) -> list[Any]:
    with closing(sqlite3.connect(path)) as connection, connection:
        return connection.execute(query).fetchall()


def format_of(path: Path) -> int:
    # SQLite file format, section 1.3: user version at byte 60, big-endian.
    return int.from_bytes(path.read_bytes()[60:64], "big")


@pytest.fixture
def old(tmp_path: Path) -> Path:
    return write_build_1(PLAN, tmp_path / "a.build")


def test_it_is_one(old: Path) -> None:
    assert format_of(old) == 1
    assert rows(old, "SELECT name FROM sqlite_master WHERE name LIKE '%fall%'") == []
    assert rows(old, "PRAGMA integrity_check") == [("ok",)]
    assert rows(old, "SELECT COUNT(*) FROM domino") == [(211,)]


def test_it_is_read_and_stays_as_it_is(old: Path) -> None:
    before = contents(old.parent)
    assert_same_plan(read_build(old), PLAN)
    assert read_fall(old) is None
    assert contents(old.parent) == before
    export_tables(read_build(old), old.parent / "tables", "csv", fall=read_fall(old))
    assert sorted(contents(old.parent / "tables")) == ["dominoes.csv", "tiles.csv"]


def test_same_plan_is_a_new_version(old: Path) -> None:
    # It was planned by plan_format 1, before there were routes; the dominoes are the same.
    write_build(make_plan_by_hand(), old)
    assert format_of(old) == 3
    versions = rows(old, "SELECT version, plan_format, result_sha256 FROM plan ORDER BY version")
    assert [version[:2] for version in versions] == [(1, 1), (2, 2)]
    assert versions[0][2] == versions[1][2]
    assert_same_plan(read_build(old), PLAN)


def test_another_plan_makes_it_format_3(old: Path, tmp_path: Path) -> None:
    write_build_1(NEXT, old)
    assert format_of(old) == 1
    write_build(PLAN, old)
    assert format_of(old) == 3
    assert rows(old, "SELECT version FROM plan") == [(1,), (2,), (3,)]
    assert_same_plan(read_build(old), PLAN)
    # But for the history the rows are those of a file that was format 3 all along.
    new = tmp_path / "new.build"
    for plan in (PLAN, NEXT, PLAN):
        write_build(plan, new)
    for table in ("domino", "tile", "stock", "finding"):
        assert rows(old, f"SELECT * FROM {table}") == rows(new, f"SELECT * FROM {table}")
    assert rows(old, "SELECT * FROM plan")[2] == rows(new, "SELECT * FROM plan")[2]


def test_a_fall_makes_it_format_3(old: Path, tmp_path: Path) -> None:
    write_fall(make_prediction_by_hand(PLAN), PLAN, old)
    assert format_of(old) == 3
    assert_same_plan(read_build(old), PLAN)
    # It keeps its version: the plan is the one that was there.
    assert rows(old, "SELECT version, plan_format FROM plan") == [(1, 1)]
    new = write_build(PLAN, tmp_path / "new.build")
    write_fall(make_prediction_by_hand(PLAN), PLAN, new)
    for table in ("fall", "fall_domino", "domino"):
        assert rows(old, f"SELECT * FROM {table}") == rows(new, f"SELECT * FROM {table}")


def test_fall_of_another_plan_is_refused(old: Path) -> None:
    before = contents(old.parent)
    with pytest.raises(FileFault, match="it holds another plan"):
        write_fall(make_prediction_by_hand(NEXT), NEXT, old)
    assert contents(old.parent) == before


@pytest.mark.parametrize("name", ["fall", "fall_domino", "notes"])
def test_a_table_that_somebody_added_stays_even_under_our_new_names(old: Path, name: str) -> None:
    rows(old, f"CREATE TABLE {name} (text TEXT)")
    before = contents(old.parent)
    for write in (
        lambda: write_build(NEXT, old),
        lambda: write_fall(make_prediction_by_hand(PLAN), PLAN, old),
    ):
        with pytest.raises(FileFault, match=f"somebody added {name} to it"):
            write()
    assert contents(old.parent) == before
    assert_same_plan(read_build(old), PLAN)
    assert read_fall(old) is None


def test_damaged_one_is_refused(old: Path) -> None:
    rows(old, "DROP TABLE stock")
    for action in (lambda: read_build(old), lambda: read_fall(old), lambda: write_build(NEXT, old)):
        with pytest.raises(FileFault, match="table stock is missing"):
            action()


def test_format_1_that_says_it_is_format_2_is_damaged(old: Path) -> None:
    rows(old, "PRAGMA user_version = 2")
    with pytest.raises(FileFault, match=r"table fall\w* is missing"):
        read_build(old)
