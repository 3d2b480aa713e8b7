"""The file that a new one is to replace: what it holds, and whether it may be replaced at all."""

from __future__ import annotations

import os
import sqlite3
import stat
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from standfall.book.opening import open_build
from standfall.book.schema import expected, format_of, objects_of
from standfall.disk import SIDE_FILES, fault
from standfall.findings import FileFault

ANOTHER_NAME = "choose another name, or move it away"


@dataclass(frozen=True)
class Predecessor:
    """An earlier build file of the same name.

    ``version``, ``plan_format`` and the digests are those of its newest plan, ``fall_sha256`` that of the
    fall predicted for it, empty without one; ``mark`` tells whether the file was changed or replaced since it
    was looked at.
    """

    version: int
    plan_format: int
    input_sha256: str
    result_sha256: str
    fall_sha256: str
    mark: tuple[int, int, int]


def look_at(target: Path, next_step: str = ANOTHER_NAME) -> Predecessor | None:
    """Look at what lies where the new file shall go, ``None`` when nothing does.

    Args:
        target: a path without links.
        next_step: what to do when it may not be replaced.

    Raises:
        FileFault: what lies there must not be replaced.
    """
    check_alone(target)
    mark = _mark(target)
    if mark is None:
        return None
    # Moving a file over this one needs no right to write to it, so the wish is honoured here.
    if not target.stat().st_mode & (stat.S_IWUSR | stat.S_IWGRP | stat.S_IWOTH):
        raise fault(target, f"it is marked read-only and was left as it is; {next_step}")
    try:
        with closing(open_build(target)) as connection:
            _check_replaceable(connection, target)
            version, plan_format, inputs, result = connection.execute(
                "SELECT version, plan_format, input_sha256, result_sha256 FROM plan "
                "ORDER BY version DESC LIMIT 1"
            ).fetchone() or (0, 0, "", "")
            fall_sha256 = _fall_digest(connection, version)
    except FileFault as error:
        raise FileFault(f"{error}; it was left as it is: {next_step}") from error
    return Predecessor(version, plan_format, inputs, result, fall_sha256, mark)


def _fall_digest(connection: sqlite3.Connection, version: int) -> str:
    if format_of(connection) < 2:
        return ""
    row = connection.execute("SELECT result_sha256 FROM fall WHERE version = ?", (version,)).fetchone()
    return str(row[0]) if row else ""


def check_alone(target: Path) -> None:
    """Refuse to put a database beside a journal that is not its own.

    SQLite would play such a journal back into the new file (sqlite.org/howtocorrupt.html, section 1.4).

    Raises:
        FileFault: there is one.
    """
    for side in SIDE_FILES[:2]:
        path = Path(f"{target}{side}")
        if path.exists() and path.stat().st_size:
            raise fault(
                target,
                f"another program is writing to it, or stopped before it was done: {path.name} lies there. "
                "Let that program finish, or open the file with it once more",
            )


def check_unchanged(target: Path, found: Predecessor | None) -> None:
    """Make sure that nobody else wrote the target since it was looked at.

    Raises:
        FileFault: somebody did.
    """
    check_alone(target)
    if _mark(target) != (found.mark if found else None):
        raise fault(target, "another program wrote to it meanwhile; it was left as it is. Try once more")


def _mark(target: Path) -> tuple[int, int, int] | None:
    if not os.path.lexists(target):
        return None
    now = target.stat()
    return now.st_ino, now.st_size, now.st_mtime_ns


def _check_replaceable(connection: sqlite3.Connection, target: Path) -> None:
    strange = objects_of(connection) - expected(format_of(connection))[1] - {"journal"}
    if strange:
        names = ", ".join(sorted(strange))
        raise fault(target, f"somebody added {names} to it, which writing it anew would lose")
    tables = connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'journal' AND type = 'table'")
    if tables.fetchone() and connection.execute("SELECT EXISTS (SELECT 1 FROM journal)").fetchone()[0]:
        raise fault(
            target, "it holds the journal of a build that has begun, which writing it anew would lose"
        )


def carry_over(target: Path, connection: sqlite3.Connection) -> None:
    """Copy the history, its pictures included, from the target into a new build file."""
    with closing(open_build(target)) as old:
        # Parents before children, and one picture in memory at a time.
        for table, order in (("plan", "version"), ("picture", "rowid"), ("plan_picture", "version, place")):
            rows = old.execute(f"SELECT * FROM {table} ORDER BY {order}")
            places = ", ".join("?" * len(rows.description))
            for row in rows:
                connection.execute(f"INSERT INTO {table} VALUES ({places})", row)
