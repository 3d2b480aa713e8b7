"""Build files of format 1, as the program wrote them before it could predict a fall."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from standfall.book import write_build
from standfall.book.digest import input_digest
from standfall.planning.plan import Plan

# The whole schema of format 1 as it was: never to be changed, whatever becomes of the present one.
SCHEMA_1 = """
CREATE TABLE meta (
  key   TEXT PRIMARY KEY,
  value TEXT NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE plan (
  version       INTEGER PRIMARY KEY CHECK (version >= 1),
  input_sha256  TEXT NOT NULL,
  result_sha256 TEXT NOT NULL,
  plan_format   INTEGER NOT NULL,
  program       TEXT NOT NULL,
  brief         TEXT NOT NULL,
  summary       TEXT NOT NULL
) STRICT;

CREATE TABLE picture (
  sha256 TEXT PRIMARY KEY,
  bytes  BLOB NOT NULL
) STRICT;

CREATE TABLE plan_picture (
  version INTEGER NOT NULL REFERENCES plan (version),
  place   INTEGER NOT NULL,
  name    TEXT NOT NULL,
  sha256  TEXT NOT NULL REFERENCES picture (sha256),
  PRIMARY KEY (version, place)
) STRICT, WITHOUT ROWID;

CREATE TABLE colour (
  number   INTEGER PRIMARY KEY,
  name     TEXT NOT NULL UNIQUE,
  code     TEXT NOT NULL UNIQUE,
  srgb_hex TEXT NOT NULL
) STRICT;

CREATE TABLE stock (
  colour       INTEGER PRIMARY KEY REFERENCES colour (number),
  stock        INTEGER NOT NULL,
  wished       INTEGER NOT NULL,
  used_fields  INTEGER NOT NULL,
  used_lines   INTEGER NOT NULL,
  spares       INTEGER NOT NULL,
  pack_size    INTEGER NOT NULL,
  packs_to_buy INTEGER NOT NULL,
  cost         REAL NOT NULL
) STRICT;

CREATE TABLE colour_error (
  version       INTEGER PRIMARY KEY REFERENCES plan (version),
  metric        TEXT NOT NULL,
  mean          REAL NOT NULL,
  p95           REAL NOT NULL,
  total         INTEGER NOT NULL,
  bound         INTEGER NOT NULL,
  specks_removed INTEGER NOT NULL,
  specks_left    INTEGER NOT NULL
) STRICT;

CREATE TABLE finding (
  number    INTEGER PRIMARY KEY,
  code      TEXT NOT NULL,
  grade     TEXT NOT NULL CHECK (grade IN ('blocks', 'warns', 'notes')),
  place     TEXT NOT NULL,
  message   TEXT NOT NULL,
  value     ANY,
  bound     ANY,
  next_step TEXT NOT NULL
) STRICT;

CREATE TABLE field (
  number             INTEGER PRIMARY KEY,
  name               TEXT NOT NULL UNIQUE,
  picture            TEXT NOT NULL,
  columns            INTEGER NOT NULL,
  rows               INTEGER NOT NULL,
  col_pitch_m        REAL NOT NULL,
  row_pitch_m        REAL NOT NULL,
  rows_laid          TEXT NOT NULL,
  corner_x_m         REAL NOT NULL,
  corner_y_m         REAL NOT NULL,
  fall_direction_rad REAL NOT NULL,
  cut_rows           INTEGER NOT NULL,
  cut_cols           INTEGER NOT NULL
) STRICT;

CREATE TABLE line (
  number INTEGER PRIMARY KEY,
  name   TEXT NOT NULL UNIQUE
) STRICT;

CREATE TABLE tray (
  number      INTEGER PRIMARY KEY CHECK (number = 0),
  columns     INTEGER NOT NULL,
  rows        INTEGER NOT NULL,
  col_pitch_m REAL NOT NULL,
  row_pitch_m REAL NOT NULL,
  rows_laid   TEXT NOT NULL
) STRICT;

CREATE TABLE tile (
  number    INTEGER PRIMARY KEY CHECK (number >= 1),
  field     INTEGER NOT NULL REFERENCES field (number),
  first_row INTEGER NOT NULL,
  first_col INTEGER NOT NULL,
  x_m       REAL NOT NULL,
  y_m       REAL NOT NULL,
  yaw_rad   REAL NOT NULL,
  turn_deg  INTEGER NOT NULL CHECK (turn_deg IN (0, 180)),
  dominoes  INTEGER NOT NULL,
  kind      TEXT NOT NULL CHECK (kind IN ('full', 'edge', 'holed'))
) STRICT;

CREATE TABLE domino (
  id       INTEGER PRIMARY KEY,
  x_m      REAL NOT NULL,
  y_m      REAL NOT NULL,
  z_m      REAL NOT NULL,
  yaw_rad  REAL NOT NULL,
  colour   INTEGER NOT NULL REFERENCES colour (number),
  field    INTEGER REFERENCES field (number),
  line     INTEGER REFERENCES line (number),
  row      INTEGER NOT NULL,
  col      INTEGER NOT NULL,
  layer    INTEGER NOT NULL,
  tile     INTEGER REFERENCES tile (number),
  slot_row INTEGER,
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
CREATE INDEX domino_of_tile ON domino (tile) WHERE tile IS NOT NULL;
"""
# Parents before children.
TABLES_1 = (
    *("meta", "plan", "picture", "plan_picture", "colour", "stock", "colour_error", "finding"),
    *("field", "line", "tray", "tile", "domino"),
)


def write_build_1(plan: Plan, path: Path) -> Path:
    """Write a plan as a file of format 1; an earlier one at that path is kept as history.

    Those who wrote such files planned by ``plan_format`` 1, before there were routes.
    """
    modern = path.with_suffix(".modern")
    if path.exists():
        path.rename(modern)
    write_build(plan, modern)
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("PRAGMA page_size = 4096")
        connection.executescript(SCHEMA_1)
        connection.execute("ATTACH ? AS modern", (str(modern),))
        connection.execute("BEGIN")
        for table in TABLES_1:
            connection.execute(f"INSERT INTO main.{table} SELECT * FROM modern.{table}")
        connection.execute(
            "UPDATE plan SET plan_format = 1, input_sha256 = ? WHERE version = (SELECT MAX(version) FROM plan)",
            (input_digest(plan, 1),),
        )
        connection.execute("COMMIT")
        connection.execute("PRAGMA main.application_id = 1398031948")
        connection.execute("PRAGMA main.user_version = 1")
    modern.unlink()
    return path
