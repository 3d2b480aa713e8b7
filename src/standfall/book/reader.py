"""Reading the newest plan of a build file back."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import numpy as np

from standfall.book.columns import NOTHING, STANDING_COLUMNS, STOCK_COLUMNS, TILING_COLUMNS
from standfall.book.digest import input_digest, result_digest
from standfall.book.drawn_floor import with_drawn_floor
from standfall.book.fault import faults_of
from standfall.book.opening import open_build
from standfall.book.route_reader import read_routes
from standfall.book.sound import check_plan
from standfall.brief import Brief, read_text
from standfall.disk import fault
from standfall.findings import Finding
from standfall.mural.colouring import ColourError
from standfall.mural.palette import Palette, make_palette
from standfall.mural.standing import Standing
from standfall.mural.stock import StockTable
from standfall.planning.plan import PictureFile, Plan
from standfall.tiles import KINDS, Tiling

_STEP = 20_000


def read_build(path: Path | str) -> Plan:
    """Read the newest plan of a build file, exactly as it was written, and check that it is.

    Arrays come back with the same bits, except that the sign of a negative zero is lost. The file is
    opened read-only.

    Raises:
        FileFault: the file is missing, no build file, from a newer version of the program, or damaged;
            or its brief means something else to this version of the program.
    """
    path = Path(path)
    with faults_of(path, "read"), closing(open_build(path)) as connection:
        try:
            return _newest(connection, path)
        except (ValueError, TypeError, OverflowError) as error:
            raise fault(path, f"the file is damaged: {error}") from error


def _newest(connection: sqlite3.Connection, path: Path) -> Plan:
    newest = connection.execute(
        "SELECT version, input_sha256, result_sha256, plan_format, brief FROM plan ORDER BY version DESC LIMIT 1"
    ).fetchone()
    if newest is None:
        raise ValueError("it holds no plan")
    version, input_sha256, result_sha256, plan_format, text = newest
    brief, palette = _brief_and_palette(connection, path, text.encode())
    standing, tiling = _standing(connection), _tiling(connection)
    plan = Plan(
        brief=brief,
        text=text.encode(),
        files=_files(connection, version),
        palette=palette,
        standing=standing,
        tiling=tiling,
        stock=_stock(connection),
        colour_error=_colour_error(connection, version),
        findings=read_findings(connection, "finding"),
        routes=read_routes(connection, path, brief, standing, tiling),
    )
    check_plan(plan)
    if (input_digest(plan, plan_format), result_digest(plan)) != (input_sha256, result_sha256):
        raise ValueError("what it holds does not have the digest it was written with")
    return plan


def _brief_and_palette(connection: sqlite3.Connection, path: Path, text: bytes) -> tuple[Brief, Palette]:
    """Read the brief again; an older or newer program may have meant something else by it."""
    reading = read_text(text)
    if reading.brief is None:
        raise fault(
            path,
            f"its brief cannot be read by this version of the program: {reading.findings[0].message}. "
            "Mend the brief and plan again",
        )
    palette = make_palette(reading.brief.colours)
    written = connection.execute("SELECT name, code, srgb_hex FROM colour ORDER BY number").fetchall()
    if written != list(zip(palette.names, palette.codes, palette.hexes, strict=True)):
        raise fault(
            path,
            "its colours have other names, letter codes or screen colours than this version of the program "
            "gives them. Plan again, and print all papers anew",
        )
    return with_drawn_floor(connection, reading.brief), palette


def _files(connection: sqlite3.Connection, version: int) -> tuple[PictureFile, ...]:
    rows = connection.execute(
        "SELECT name, sha256, bytes FROM plan_picture JOIN picture USING (sha256) "
        "WHERE version = ? ORDER BY place",
        (version,),
    )
    return tuple(PictureFile(*row) for row in rows)


def _standing(connection: sqlite3.Connection) -> Standing:
    """Read the dominoes step by step into arrays; NULL becomes the arrays' number for "none"."""
    wanted = ", ".join(
        f"COALESCE({name}, {NOTHING[name]})" if name in NOTHING else name for name in STANDING_COLUMNS
    )
    (total,) = connection.execute("SELECT COUNT(*) FROM domino").fetchone()
    ids = np.empty(total, dtype=np.int64)
    columns = {name: np.empty(total, dtype=kind) for name, kind in STANDING_COLUMNS.items()}
    rows = connection.execute(f"SELECT id, {wanted} FROM domino ORDER BY id")
    first = 0
    while step := rows.fetchmany(_STEP):
        stop = first + len(step)
        for array, values in zip((ids, *columns.values()), zip(*step, strict=True), strict=True):
            array[first:stop] = values
        first = stop
    if not np.array_equal(ids, np.arange(total)):
        raise ValueError("the numbers of the dominoes have gaps")
    return Standing(**columns)


def _tiling(connection: sqlite3.Connection) -> Tiling:
    wanted = ", ".join(TILING_COLUMNS)
    rows = connection.execute(f"SELECT {wanted}, number FROM tile ORDER BY number").fetchall()
    if [row[-1] for row in rows] != list(range(1, len(rows) + 1)):
        raise ValueError("the numbers of the tiles have gaps")
    values = {name: [row[place] for row in rows] for place, name in enumerate(TILING_COLUMNS)}
    if not set(values["kind"]) <= set(KINDS):
        raise ValueError("a tile is of a kind that does not exist")
    values["kind"] = [KINDS.index(kind) for kind in values["kind"]]
    cuts = connection.execute("SELECT cut_rows, cut_cols FROM field ORDER BY number").fetchall()
    return Tiling(
        **{name: np.array(values[name], dtype=kind) for name, kind in TILING_COLUMNS.items()},
        cut_rows=tuple(rows for rows, _ in cuts),
        cut_cols=tuple(cols for _, cols in cuts),
    )


def _stock(connection: sqlite3.Connection) -> StockTable:
    rows = connection.execute(f"SELECT {', '.join(STOCK_COLUMNS)} FROM stock ORDER BY colour").fetchall()
    columns = zip(*rows, strict=True)
    return StockTable(
        **{
            name: np.array(column, dtype=kind)
            for (name, kind), column in zip(STOCK_COLUMNS.items(), columns, strict=True)
        }
    )


def _colour_error(connection: sqlite3.Connection, version: int) -> ColourError:
    row = connection.execute(
        "SELECT metric, mean, p95, total, bound, specks_removed, specks_left FROM colour_error "
        "WHERE version = ?",
        (version,),
    ).fetchone()
    if row is None:
        raise ValueError("it lacks the colour error")
    return ColourError(*row)


def read_findings(connection: sqlite3.Connection, table: str) -> tuple[Finding, ...]:
    """Read the findings of ``finding`` or ``fall_finding``, in order."""
    rows = connection.execute(
        f"SELECT code, grade, place, message, value, bound, next_step FROM {table} ORDER BY number"
    )
    return tuple(Finding(*row) for row in rows)
