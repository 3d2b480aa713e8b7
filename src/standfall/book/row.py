"""Rows into the tables of a build file."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable, Sequence
from typing import Any

from numpy.typing import NDArray

# Rows per step: a step takes some 50 ms, often enough for a progress bar and for Ctrl-C.
_STEP = 20_000


def insert(connection: sqlite3.Connection, table: str, rows: Iterable[tuple[Any, ...]]) -> None:
    """Insert whole rows; a NaN becomes NULL, as SQLite has it (sqlite.org/c3ref/bind_blob.html)."""
    rows = list(rows)
    if rows:
        connection.executemany(f"INSERT INTO {table} VALUES ({', '.join('?' * len(rows[0]))})", rows)


def insert_columns(
    connection: sqlite3.Connection,
    statement: str,
    columns: Sequence[NDArray[Any]],
    told: Callable[[int], None],
) -> None:
    """Insert the rows of arrays step by step, a number from 0 before each."""
    total = len(columns[0])
    for first in range(0, total, _STEP):
        told(first)
        stop = min(first + _STEP, total)
        values = [column[first:stop].tolist() for column in columns]
        connection.executemany(statement, zip(range(first, stop), *values, strict=True))
    told(total)
