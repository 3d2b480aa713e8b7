"""Planning again: the history that stays, the dominoes that go, and what must not be replaced."""

from __future__ import annotations

import json
import os
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from book_plan import brief_text, make_plan_by_hand
from comparison import assert_same_plan, contents

from standfall.book import read_build, write_build
from standfall.findings import FileFault

FIRST = make_plan_by_hand()
SECOND = make_plan_by_hand(brief_text(columns=10, rows=4))
THIRD = make_plan_by_hand(picture=b"another picture")


def rows(path: Path, query: str) -> list[Any]:
    with closing(sqlite3.connect(path)) as connection:
        return connection.execute(query).fetchall()


def change(path: Path, *statements: str) -> None:
    with closing(sqlite3.connect(path)) as connection, connection:
        for statement in statements:
            connection.execute(statement)


@pytest.fixture
def build(tmp_path: Path) -> Path:
    return write_build(FIRST, tmp_path / "a.build")


def test_history_stays_and_newest_dominoes(build: Path) -> None:
    for plan in (SECOND, THIRD):
        write_build(plan, build)
    texts = [plan.text.decode() for plan in (FIRST, SECOND, THIRD)]
    assert rows(build, "SELECT version, brief FROM plan ORDER BY version") == list(enumerate(texts, 1))
    summaries = [json.loads(text) for (text,) in rows(build, "SELECT summary FROM plan ORDER BY version")]
    assert summaries == [plan.summary() for plan in (FIRST, SECOND, THIRD)]
    assert rows(build, "SELECT COUNT(*) FROM domino") == [(len(THIRD.standing),)]
    assert rows(build, "SELECT version FROM colour_error") == [(3,)]
    # Two versions share a picture, which is kept once.
    assert rows(build, "SELECT COUNT(*) FROM picture") == [(2,)]
    used = rows(build, "SELECT version, bytes FROM plan_picture JOIN picture USING (sha256) ORDER BY version")
    assert used == [(1, b"picture"), (2, b"picture"), (3, b"another picture")]
    assert_same_plan(read_build(build), THIRD)


def test_back_to_an_earlier_brief_is_a_new_version(build: Path) -> None:
    for plan in (SECOND, FIRST):
        write_build(plan, build)
    digests = rows(build, "SELECT version, input_sha256, result_sha256 FROM plan ORDER BY version")
    assert [digest[0] for digest in digests] == [1, 2, 3]
    assert digests[0][1:] == digests[2][1:] != digests[1][1:]
    assert_same_plan(read_build(build), FIRST)


def test_same_plan_leaves_the_file_alone(build: Path) -> None:
    os.utime(build, ns=(10**18, 10**18))
    before = (build.read_bytes(), build.stat().st_ino, build.stat().st_mtime_ns)
    assert write_build(make_plan_by_hand(), build) == build
    assert (build.read_bytes(), build.stat().st_ino, build.stat().st_mtime_ns) == before


def test_same_input_with_another_result_is_a_new_version(build: Path) -> None:
    # A program that was mended without a new plan format must not leave the old dominoes in the file.
    mended = replace(FIRST, colour_error=replace(FIRST.colour_error, mean=1.0))
    write_build(mended, build)
    digests = rows(build, "SELECT input_sha256, result_sha256 FROM plan ORDER BY version")
    assert digests[0][0] == digests[1][0]
    assert digests[0][1] != digests[1][1]
    assert_same_plan(read_build(build), mended)


def test_journal_of_a_build_that_has_begun_stays(build: Path) -> None:
    change(build, "CREATE TABLE journal (event TEXT)", "INSERT INTO journal VALUES ('begun')")
    before = contents(build.parent)
    with pytest.raises(FileFault, match="journal of a build that has begun") as caught:
        write_build(SECOND, build)
    assert "choose another name" in str(caught.value)
    assert contents(build.parent) == before
    # The plan can be read all the same, and planning the same again changes nothing.
    assert_same_plan(read_build(build), FIRST)


def test_empty_journal_is_nothing_to_lose(build: Path) -> None:
    change(build, "CREATE TABLE journal (event TEXT)")
    write_build(SECOND, build)
    assert_same_plan(read_build(build), SECOND)


@pytest.mark.parametrize(
    "statement", ["CREATE TABLE notes (text TEXT)", "CREATE VIEW rust AS SELECT * FROM domino_named"]
)
def test_what_somebody_added_stays(build: Path, statement: str) -> None:
    change(build, statement)
    before = contents(build.parent)
    with pytest.raises(FileFault, match=r"somebody added (notes|rust)"):
        write_build(SECOND, build)
    assert contents(build.parent) == before
    assert_same_plan(read_build(build), FIRST)


def test_statistics_of_sqlite_are_no_addition(build: Path) -> None:
    change(build, "ANALYZE")
    write_build(SECOND, build)
    assert_same_plan(read_build(build), SECOND)


@pytest.mark.parametrize("side", ["-journal", "-wal"])
@pytest.mark.parametrize("there", [True, False])
def test_never_beside_a_journal_of_another(tmp_path: Path, side: str, there: bool) -> None:
    # SQLite would play it back into the new file (sqlite.org/howtocorrupt.html, section 1.4).
    path = tmp_path / "a.build"
    if there:
        write_build(FIRST, path)
    (tmp_path / f"a.build{side}").write_bytes(b"left behind")
    before = contents(tmp_path)
    with pytest.raises(FileFault, match=f"a.build{side} lies there"):
        write_build(SECOND, path)
    assert contents(tmp_path) == before


def test_read_only_file_stays(build: Path) -> None:
    build.chmod(0o444)
    before = contents(build.parent)
    with pytest.raises(FileFault, match="marked read-only"):
        write_build(SECOND, build)
    assert contents(build.parent) == before
    build.chmod(0o644)
