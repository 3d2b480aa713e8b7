"""Faults of SQLite, beside those of the disk, in words a build lead can act on."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from standfall import disk
from standfall.disk import fault

# Names of SQLite's result codes (sqlite.org/rescode.html); the first that begins the code's name counts.
_SQLITE = (
    ("SQLITE_FULL", "the disk is full"),
    ("SQLITE_IOERR", "the disk is full or reported an error"),
    (
        "SQLITE_READONLY_ROLLBACK",
        "a program that wrote to it stopped half-way, open it once with that program",
    ),
    (
        "SQLITE_READONLY_RECOVERY",
        "a program that wrote to it stopped half-way, open it once with that program",
    ),
    ("SQLITE_READONLY", "it is read-only"),
    ("SQLITE_CANTOPEN", "it cannot be opened"),
    ("SQLITE_BUSY", "another program is writing to it"),
    ("SQLITE_LOCKED", "another program is writing to it"),
    ("SQLITE_CORRUPT", "the file is damaged"),
    ("SQLITE_NOTADB", "the file is damaged"),
    ("SQLITE_TOOBIG", "a picture is larger than SQLite can hold"),
)


@contextmanager
def faults_of(path: str | os.PathLike[str], doing: str) -> Iterator[None]:
    """Turn errors of the system and of SQLite inside the block into a ``FileFault`` that names the path.

    Args:
        path: as the user wrote it.
        doing: ``read`` or ``written``.
    """
    try:
        with disk.faults_of(path, doing):
            yield
    except sqlite3.Error as error:
        raise fault(path, f"cannot be {doing}: {_sqlite_words(error, doing)}") from error


def _sqlite_words(error: sqlite3.Error, doing: str) -> str:
    name = getattr(error, "sqlite_errorname", "")
    words = next((words for prefix, words in _SQLITE if name.startswith(prefix)), "")
    if not words and doing == "read":  # a text that is not UTF-8, a schema that makes no sense
        words = "the file is damaged"
    return f"{words} ({error})" if words else str(error)
