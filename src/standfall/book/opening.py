"""Opening an existing build file, read-only, and telling what is wrong with one that is not."""

from __future__ import annotations

import sqlite3
import stat
from pathlib import Path

from standfall.book.schema import APPLICATION_ID, FORMAT_VERSION, check_sqlite, expected, format_of, shape_of
from standfall.disk import fault

# SQLite file format, section 1.3.1.
_MAGIC = b"SQLite format 3\0"


def open_build(path: Path) -> sqlite3.Connection:
    """Open a build file for reading and make sure that it is one, whole, and of a known version.

    Nothing is written, neither to the file nor beside it, so a read-only folder will do.

    Raises:
        FileFault: it is missing, no build file, from a newer version, or damaged.
        OSError, sqlite3.Error: the system or SQLite refuses (see ``faults_of``).
    """
    check_sqlite()
    _check_file(path)
    connection = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, isolation_level=None)
    try:
        connection.execute("PRAGMA query_only = ON")
        connection.execute("PRAGMA trusted_schema = OFF")
        # One snapshot for all that follows, should another program write in between.
        connection.execute("BEGIN")
        _check_identity(connection, path)
        _check_whole(connection, path)
    except (ValueError, TypeError) as error:  # a name or a verdict that is no text
        connection.close()
        raise fault(path, "the file is damaged: its schema cannot be read") from error
    except BaseException:
        connection.close()
        raise
    return connection


def _check_file(path: Path) -> None:
    mode = path.stat().st_mode
    if stat.S_ISDIR(mode):
        raise fault(path, "it is a folder, not a build file (K601)")
    if not stat.S_ISREG(mode):
        raise fault(path, "it is a device or pipe, not a build file (K601)")
    with path.open("rb") as file:
        start = file.read(len(_MAGIC))
    if not start:
        raise fault(path, "not a build file: it is empty (K601)")
    if start != _MAGIC:
        raise fault(path, "not a build file: it is no SQLite database (K601)")


def _check_identity(connection: sqlite3.Connection, path: Path) -> None:
    (application,) = connection.execute("PRAGMA application_id").fetchone()
    version = format_of(connection)
    if application != APPLICATION_ID:
        raise fault(path, "not a build file: it is an SQLite database of another kind (K601)")
    if version > FORMAT_VERSION:
        raise fault(
            path,
            f"this build file is of format {version}, this program knows formats up to {FORMAT_VERSION}: "
            "use a newer version of the program (K601)",
        )
    if version < 1:
        raise fault(path, f"the file is damaged: format {version} never existed")


def _check_whole(connection: sqlite3.Connection, path: Path) -> None:
    """Check page structure, types and the tables' shape; the content is checked by its digest."""
    (page_bytes,) = connection.execute("PRAGMA page_size").fetchone()
    if path.stat().st_size % page_bytes:
        raise fault(path, "the file is damaged: its end is missing")
    # The full check compares the index with its table too; on a million dominoes it takes 0.3 s more.
    (verdict,) = connection.execute("PRAGMA integrity_check(1)").fetchone()
    if verdict != "ok":
        raise fault(path, f"the file is damaged: {verdict.splitlines()[-1]}")
    shapes = shape_of(connection)
    for name, columns in expected(format_of(connection))[0].items():
        if shapes.get(name) != columns:
            raise fault(path, f"the file is damaged: table {name} is missing or has other columns")
