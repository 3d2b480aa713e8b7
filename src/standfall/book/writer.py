"""Writing the build file: all rows into a temporary file, which then takes the name in one step."""

from __future__ import annotations

import importlib.metadata
import json
import sqlite3
from collections.abc import Callable, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

from standfall.book.columns import NOTHING, STANDING_COLUMNS, STOCK_COLUMNS, TILING_COLUMNS
from standfall.book.digest import PLAN_FORMAT, input_digest, result_digest
from standfall.book.drawn_floor import drawn_rows
from standfall.book.fault import faults_of
from standfall.book.predecessor import carry_over, check_unchanged, look_at
from standfall.book.route_writer import write_routes
from standfall.book.row import insert, insert_columns
from standfall.book.schema import PAGE_BYTES, check_sqlite, create_indexes, create_schema
from standfall.book.sound import check_plan
from standfall.brief import read_text
from standfall.disk import real_path, whole_file
from standfall.findings import Finding
from standfall.planning.plan import Plan
from standfall.tiles import KINDS

Progress = Callable[[int, int, str], None]

# No journal and no flush while the file has no name yet: if anything fails it is thrown away, and it is
# flushed as a whole before it gets its name. The journal mode does not stay with the file.
_TUNING = (
    f"PRAGMA page_size = {PAGE_BYTES}",
    "PRAGMA encoding = 'UTF-8'",
    "PRAGMA auto_vacuum = NONE",
    "PRAGMA journal_mode = OFF",
    "PRAGMA synchronous = OFF",
    "PRAGMA locking_mode = EXCLUSIVE",
    "PRAGMA temp_store = MEMORY",
    "PRAGMA cache_size = -65536",
    "PRAGMA foreign_keys = ON",
)


def write_build(plan: Plan, path: Path | str, progress: Progress | None = None) -> Path:
    """Write a plan as a build file, whole or not at all; docs/build-file.md describes what is in it.

    An existing build file is replaced by one that holds this plan as its next version and the history
    of the earlier ones; the fall predicted for an earlier one goes with its dominoes. It is left untouched,
    byte for byte, its predicted fall included, when its newest version has the same input and the same
    result. The same plan gives the same bytes, wherever and whenever it is written.

    Args:
        plan: a blocked one is written too; whether that makes sense is the caller's business.
        path: the file to be; its folder must exist. A link is followed.
        progress: called with dominoes written, dominoes in all, and what is going on.

    Returns:
        ``path``.

    Raises:
        FileFault: what lies at ``path`` may not be replaced (another kind of file, a newer or damaged one,
            one with a build's journal or with tables of somebody else), or the disk refuses. Nothing has
            changed then.
        ValueError: the plan does not hold together (a mistake in the program, not in a brief).
    """
    path = Path(path)
    check_plan(plan)
    inputs, result = input_digest(plan), result_digest(plan)
    with faults_of(path, "written"):
        check_sqlite()
        target = real_path(path)
        old = look_at(target)
        if old is not None and (old.input_sha256, old.result_sha256) == (inputs, result):
            return path
        with whole_file(target, lambda: check_unchanged(target, old)) as temporary:
            version = 1 if old is None else old.version + 1

            def history(connection: sqlite3.Connection) -> None:
                if old is not None:
                    carry_over(target, connection)
                _write_version(connection, plan, (inputs, result), version)

            fill(temporary, plan, version, history, _teller(progress, len(plan.standing)))
    return path


def fill(
    temporary: Path,
    plan: Plan,
    version: int,
    history: Callable[[sqlite3.Connection], None],
    told: Callable[[int], None],
    rest: Callable[[sqlite3.Connection], None] | None = None,
) -> None:
    """Fill an empty file as a build file, in one transaction.

    Args:
        temporary: an empty file without a name yet.
        plan: the newest version.
        version: its number.
        history: writes the tables that hold all versions, ``version`` included.
        told: called with the number of dominoes written so far.
        rest: writes what belongs to the newest version beyond its plan.
    """
    with closing(sqlite3.connect(temporary, isolation_level=None)) as connection:
        for setting in _TUNING:
            connection.execute(setting)
        connection.execute("BEGIN")
        create_schema(connection)
        insert(connection, "meta", sorted(_meta(plan).items()))
        history(connection)
        _write_findings(connection, plan, version)
        _write_brief_parts(connection, plan)
        _write_tiles(connection, plan)
        _write_dominoes(connection, plan, told)
        write_routes(connection, plan, version, lambda _: told(len(plan.standing)))
        if rest is not None:
            rest(connection)
        create_indexes(connection)
        connection.execute("COMMIT")


def _meta(plan: Plan) -> dict[str, str]:
    brief = plan.brief
    return {
        "about": "Standfall build file. Lengths in m, angles in rad, counter-clockwise from the hall's x. "
        "Dominoes, rows, columns and slots count from 0, tiles and versions from 1.",
        "currency": brief.job.currency,
        "domino_height_m": repr(brief.domino.height_m),
        "domino_mass_kg": repr(brief.domino.mass_kg),
        "domino_thickness_m": repr(brief.domino.thickness_m),
        "domino_width_m": repr(brief.domino.width_m),
        "name": brief.job.name,
        "place": brief.job.place,
    }


def program() -> str:
    """Return the name and version of this program."""
    try:
        return f"standfall {importlib.metadata.version('standfall')}"
    except importlib.metadata.PackageNotFoundError:  # run from a source folder
        return "standfall, version unknown"


def _write_version(
    connection: sqlite3.Connection, plan: Plan, digests: tuple[str, str], version: int
) -> None:
    summary = json.dumps(plan.summary(), ensure_ascii=False, allow_nan=False)
    insert(connection, "plan", [(version, *digests, PLAN_FORMAT, program(), plan.text.decode(), summary)])
    for place, file in enumerate(plan.files):
        connection.execute("INSERT OR IGNORE INTO picture VALUES (?, ?)", (file.sha256, file.data))
        insert(connection, "plan_picture", [(version, place, file.name, file.sha256)])


def _write_findings(connection: sqlite3.Connection, plan: Plan, version: int) -> None:
    error = plan.colour_error
    measured = (error.metric, error.mean, error.p95, error.total, error.bound)
    insert(connection, "colour_error", [(version, *measured, error.specks_removed, error.specks_left)])
    insert(connection, "finding", finding_rows(plan.findings))


def finding_rows(findings: Sequence[Finding]) -> list[tuple[Any, ...]]:
    """Return findings as rows of ``finding`` or ``fall_finding``."""
    return [(number, *finding.as_dict().values()) for number, finding in enumerate(findings)]


def _write_brief_parts(connection: sqlite3.Connection, plan: Plan) -> None:
    brief, palette, tiling = plan.brief, plan.palette, plan.tiling
    colours = zip(palette.names, palette.codes, palette.hexes, strict=True)
    insert(connection, "colour", ((number, *colour) for number, colour in enumerate(colours)))
    stock = zip(*(getattr(plan.stock, name).tolist() for name in STOCK_COLUMNS), strict=True)
    insert(connection, "stock", ((number, *counts) for number, counts in enumerate(stock)))
    for number, field in enumerate(brief.fields):
        size = (field.columns, field.rows, field.col_pitch_m, field.row_pitch_m, field.rows_laid)
        cut = (tiling.cut_rows[number], tiling.cut_cols[number])
        row = (number, field.name, field.picture, *size, *field.corner_m, field.fall_direction_rad, *cut)
        insert(connection, "field", [row])
    written = read_text(plan.text).brief
    if written is not None:
        insert(connection, "drawn_floor", drawn_rows(brief, written))
    insert(connection, "line", ((number, line.name) for number, line in enumerate(brief.lines)))
    tray = brief.tray
    if tray is not None:
        shape = (tray.columns, tray.rows, tray.col_pitch_m, tray.row_pitch_m, tray.rows_laid)
        insert(connection, "tray", [(0, *shape)])


def _write_tiles(connection: sqlite3.Connection, plan: Plan) -> None:
    columns = [getattr(plan.tiling, name).tolist() for name in TILING_COLUMNS if name != "kind"]
    kinds = [KINDS[kind] for kind in plan.tiling.kind.tolist()]
    insert(connection, "tile", zip(plan.tiling.number.tolist(), *columns, kinds, strict=True))


def _write_dominoes(connection: sqlite3.Connection, plan: Plan, told: Callable[[int], None]) -> None:
    """Insert the standing set; what is -1 or 0 in its arrays for "none" becomes NULL."""
    places = ", ".join(f"NULLIF(?, {NOTHING[name]})" if name in NOTHING else "?" for name in STANDING_COLUMNS)
    statement = f"INSERT INTO domino (id, {', '.join(STANDING_COLUMNS)}) VALUES (?, {places})"
    columns = [getattr(plan.standing, name) for name in STANDING_COLUMNS]
    insert_columns(connection, statement, columns, told)


def _teller(progress: Progress | None, total: int) -> Callable[[int], None]:
    def told(done: int) -> None:
        if progress is not None:
            progress(done, total, "writing dominoes")

    return told
