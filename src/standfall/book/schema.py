"""The schema of the build file: its tables, its numbers, and whether a file has them.

``docs/build-file.md`` describes every table and column; a test compares the two.
"""

from __future__ import annotations

import functools
import sqlite3
from contextlib import closing

from standfall.book.fall_schema import FALL_SCHEMA
from standfall.book.route_schema import ROUTE_SCHEMA
from standfall.findings import FileFault

# "STFL" in ASCII, big-endian, at byte 68 of the file (SQLite file format, section 1.3.16): our own choice.
APPLICATION_ID = 0x5354464C
# At byte 60 of the file. Raised when a program that knows only the older number could misread the file.
# 1: the plan. 2: the plan and its predicted fall. 3: the plan with its routes, and its predicted fall.
FORMAT_VERSION = 3
# Fixed, since it is part of the bytes; 4096 is SQLite's own default since 3.12.
PAGE_BYTES = 4096
# STRICT tables came with SQLite 3.37 (2021-11-27).
SQLITE_LEAST = (3, 37, 0)

SCHEMA = """
CREATE TABLE meta (
  key   TEXT PRIMARY KEY,  -- what the value is
  value TEXT NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE plan (
  version       INTEGER PRIMARY KEY CHECK (version >= 1),  -- newest has the greatest number
  input_sha256  TEXT NOT NULL,     -- of brief, pictures and plan_format
  result_sha256 TEXT NOT NULL,     -- of all that was worked out from them
  plan_format   INTEGER NOT NULL,  -- raised when the program would plan the same input differently
  program       TEXT NOT NULL,     -- that made this version
  brief         TEXT NOT NULL,     -- the job file, letter for letter (TOML)
  summary       TEXT NOT NULL      -- figures of this version (JSON)
) STRICT;

CREATE TABLE picture (  -- of all versions, each once
  sha256 TEXT PRIMARY KEY,
  bytes  BLOB NOT NULL   -- the file as handed in
) STRICT;

CREATE TABLE plan_picture (  -- which version uses which picture
  version INTEGER NOT NULL REFERENCES plan (version),
  place   INTEGER NOT NULL,  -- order in which they were read, from 0
  name    TEXT NOT NULL,     -- as the brief calls it
  sha256  TEXT NOT NULL REFERENCES picture (sha256),
  PRIMARY KEY (version, place)
) STRICT, WITHOUT ROWID;

-- From here on: the newest version of the plan only.

CREATE TABLE colour (
  number   INTEGER PRIMARY KEY,   -- place in the brief, from 0
  name     TEXT NOT NULL UNIQUE,
  code     TEXT NOT NULL UNIQUE,  -- letters printed on lay sheets
  srgb_hex TEXT NOT NULL          -- #rrggbb, for screens and paper
) STRICT;

CREATE TABLE stock (
  colour       INTEGER PRIMARY KEY REFERENCES colour (number),
  stock        INTEGER NOT NULL,  -- pieces there are
  wished       INTEGER NOT NULL,  -- pieces if stock had no limit
  used_fields  INTEGER NOT NULL,
  used_lines   INTEGER NOT NULL,
  spares       INTEGER NOT NULL,  -- kept back on top of those used
  pack_size    INTEGER NOT NULL,
  packs_to_buy INTEGER NOT NULL,
  cost         REAL NOT NULL      -- of the packs to buy, in the brief's currency
) STRICT;

CREATE TABLE colour_error (  -- one row
  version       INTEGER PRIMARY KEY REFERENCES plan (version),
  metric        TEXT NOT NULL,     -- measure of colour difference
  mean          REAL NOT NULL,     -- in units of the metric
  p95           REAL NOT NULL,     -- in units of the metric
  total         INTEGER NOT NULL,  -- in thousandths of a unit
  bound         INTEGER NOT NULL,  -- in thousandths of a unit
  specks_removed INTEGER NOT NULL,
  specks_left    INTEGER NOT NULL
) STRICT;

CREATE TABLE finding (
  number    INTEGER PRIMARY KEY,  -- order in which they are told, from 0
  code      TEXT NOT NULL,        -- in the findings catalogue
  grade     TEXT NOT NULL CHECK (grade IN ('blocks', 'warns', 'notes')),
  place     TEXT NOT NULL,        -- key path in the brief, or a place in the mural or hall
  message   TEXT NOT NULL,
  value     ANY,                  -- what was found: text, number or NULL
  bound     ANY,                  -- what it is held against: text, number or NULL
  next_step TEXT NOT NULL
) STRICT;

CREATE TABLE field (
  number             INTEGER PRIMARY KEY,  -- place in the brief, from 0
  name               TEXT NOT NULL UNIQUE,
  picture            TEXT NOT NULL,        -- name of its picture in plan_picture
  columns            INTEGER NOT NULL,
  rows               INTEGER NOT NULL,
  col_pitch_m        REAL NOT NULL,
  row_pitch_m        REAL NOT NULL,
  rows_laid          TEXT NOT NULL,        -- straight or half_offset
  corner_x_m         REAL NOT NULL,        -- corner beside row 0 and column 0
  corner_y_m         REAL NOT NULL,
  fall_direction_rad REAL NOT NULL,
  cut_rows           INTEGER NOT NULL,     -- rows by which the first tray reaches over row 0
  cut_cols           INTEGER NOT NULL      -- columns by which the first tray reaches over column 0
) STRICT;

CREATE TABLE line (
  number INTEGER PRIMARY KEY,  -- place in the brief, from 0
  name   TEXT NOT NULL UNIQUE
) STRICT;

CREATE TABLE tray (  -- one row, none when there is no field
  number      INTEGER PRIMARY KEY CHECK (number = 0),
  columns     INTEGER NOT NULL,
  rows        INTEGER NOT NULL,
  col_pitch_m REAL NOT NULL,
  row_pitch_m REAL NOT NULL,
  rows_laid   TEXT NOT NULL    -- straight or half_offset
) STRICT;

CREATE TABLE tile (
  number    INTEGER PRIMARY KEY CHECK (number >= 1),
  field     INTEGER NOT NULL REFERENCES field (number),
  first_row INTEGER NOT NULL,  -- may be negative: the tray reaches over the field's edge
  first_col INTEGER NOT NULL,
  x_m       REAL NOT NULL,     -- centre of the tray opening
  y_m       REAL NOT NULL,
  yaw_rad   REAL NOT NULL,     -- of the tile's x axis, which runs across the columns
  turn_deg  INTEGER NOT NULL CHECK (turn_deg IN (0, 180)),
  dominoes  INTEGER NOT NULL,  -- in the tray: floor layer only
  kind      TEXT NOT NULL CHECK (kind IN ('full', 'edge', 'holed'))
) STRICT;

CREATE TABLE domino (
  id       INTEGER PRIMARY KEY,                        -- from 0, without gaps
  x_m      REAL NOT NULL,                              -- middle of the footprint in the hall
  y_m      REAL NOT NULL,
  z_m      REAL NOT NULL,                              -- height its foot stands at
  yaw_rad  REAL NOT NULL,                              -- direction of its fall
  colour   INTEGER NOT NULL REFERENCES colour (number),
  field    INTEGER REFERENCES field (number),          -- NULL on a line
  line     INTEGER REFERENCES line (number),           -- NULL in a field
  row      INTEGER NOT NULL,                           -- on a line: place along it
  col      INTEGER NOT NULL,                           -- on a line: 0
  layer    INTEGER NOT NULL,                           -- 0 on the floor, 1 on top of another
  tile     INTEGER REFERENCES tile (number),           -- NULL when laid by hand
  slot_row INTEGER,                                    -- in the tray's own rows; NULL when laid by hand
  slot_col INTEGER,
  CHECK ((field IS NULL) <> (line IS NULL))
) STRICT;

CREATE VIEW domino_named AS
SELECT domino.id, domino.x_m, domino.y_m, domino.z_m, domino.yaw_rad,
       colour.name AS colour, colour.code AS colour_code,
       field.name AS field, line.name AS line,
       domino.row, domino.col, domino.layer, domino.tile, domino.slot_row, domino.slot_col
FROM domino
JOIN colour ON colour.number = domino.colour
LEFT JOIN field ON field.number = domino.field
LEFT JOIN line ON line.number = domino.line;
"""

# Made after the dominoes are in, which is faster. Without it the dominoes of one tile cost a look at all.
INDEXES = """
CREATE INDEX domino_of_tile ON domino (tile) WHERE tile IS NOT NULL;
"""

Shape = dict[str, tuple[tuple[str, str], ...]]


def check_sqlite() -> None:
    """Refuse to go on with an SQLite library that lacks what the schema needs.

    Raises:
        FileFault: the library is too old.
    """
    if sqlite3.sqlite_version_info < SQLITE_LEAST:
        needed = ".".join(map(str, SQLITE_LEAST))
        raise FileFault(
            f"this Python comes with SQLite {sqlite3.sqlite_version}; build files need {needed} or newer"
        )


def create_schema(connection: sqlite3.Connection, version: int = FORMAT_VERSION) -> None:
    """Create all tables and views of a format, and write the two numbers a build file is known by."""
    for text in (SCHEMA, FALL_SCHEMA, ROUTE_SCHEMA)[:version]:
        for statement in _statements(text):
            connection.execute(statement)
    connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    connection.execute(f"PRAGMA user_version = {version}")


def create_indexes(connection: sqlite3.Connection) -> None:
    """Create the indexes, once all rows are in."""
    for statement in _statements(INDEXES):
        connection.execute(statement)


def _statements(text: str) -> list[str]:
    return [statement.strip() for statement in text.split("\n\n") if "CREATE" in statement]


def shape_of(connection: sqlite3.Connection) -> Shape:
    """Return for each ordinary table of a file its columns as (name, type), in order."""
    names = connection.execute("SELECT name FROM pragma_table_list WHERE schema = 'main' AND type = 'table'")
    return {
        name: tuple(connection.execute("SELECT name, type FROM pragma_table_xinfo(?)", (name,)))
        for (name,) in names.fetchall()
        if not name.startswith("sqlite_")
    }


def objects_of(connection: sqlite3.Connection) -> set[str]:
    """Return the names of all tables, views, indexes and triggers that are not SQLite's own."""
    names = connection.execute("SELECT name FROM sqlite_master").fetchall()
    return {name for (name,) in names if not name.startswith("sqlite_")}


def format_of(connection: sqlite3.Connection) -> int:
    """Return the format version of a file."""
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    return int(version)


@functools.cache
def expected(version: int = FORMAT_VERSION) -> tuple[Shape, frozenset[str]]:
    """Return the shape and the object names that a build file of a format has."""
    with closing(sqlite3.connect(":memory:")) as connection:
        create_schema(connection, version)
        create_indexes(connection)
        return shape_of(connection), frozenset(objects_of(connection))
