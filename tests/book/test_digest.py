"""The digests against a second way to take them: from SQL rows, as docs/build-file.md tells outsiders to."""

from __future__ import annotations

import hashlib
import json
import sqlite3
import struct
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from book_fall import make_prediction_by_hand
from book_plan import make_plan_by_hand
from book_routes import plan_with_routes

from standfall.book import write_build, write_fall
from standfall.book.digest import input_digest, result_digest
from standfall.planning.plan import Plan

# As listed in the page; letters of Python's struct module.
LETTERS = {"f8": "d", "i1": "b", "i2": "h", "i4": "i", "i8": "q"}


def listed_columns(heading: str = "columns and types") -> list[tuple[str, str, str]]:
    """Return the (table, column, type) of a list in the page, in its order."""
    page = (Path(__file__).parents[2] / "docs" / "build-file.md").read_text(encoding="utf-8")
    section = page[page.index(f"| table | {heading} |") :]
    rows = [line.split("|")[1:3] for line in section.split("\n\n", 1)[0].splitlines()[2:]]
    return [
        (table.strip(" `"), *column.split())  # type: ignore[misc]
        for table, columns in rows
        for column in columns.split(",")
    ]


def compact(value: object) -> bytes:
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()


KINDS = {"tile": ["full", "edge", "holed"], "step": ["tile", "gap", "stack", "line"]}
# In the order of the page.
PHASES = [
    *("dock", "drive", "turn", "approach", "lower", "release", "raise", "leave", "return", "wait", "charge"),
    *("walk", "lay"),
]
# Where the columns of the page's "order" are in the table ``step``.
ORDER = {"step": "number", "x_m": "stand_x_m", "y_m": "stand_y_m", "yaw_rad": "stand_yaw_rad"}


def number_of(table: str, column: str, value: object) -> object:
    if column in ("kind", "phase"):
        return (PHASES if column == "phase" else KINDS[table]).index(str(value))
    return (0 if column == "tile" else -1) if value is None else value


@pytest.mark.parametrize("plan", [make_plan_by_hand(), plan_with_routes()])
def test_result_digest_can_be_taken_from_the_rows(tmp_path: Path, plan: Plan) -> None:
    path = write_build(plan, tmp_path / "a.build")
    with closing(sqlite3.connect(path)) as connection:
        error = connection.execute("SELECT * FROM colour_error")
        names = [column[0] for column in error.description]
        words = {
            "colour_error": dict(list(zip(names, error.fetchone(), strict=True))[1:]),
            "colours": connection.execute(
                "SELECT name, code, srgb_hex FROM colour ORDER BY number"
            ).fetchall(),
            "cut_cols": [row[0] for row in connection.execute("SELECT cut_cols FROM field ORDER BY number")],
            "cut_rows": [row[0] for row in connection.execute("SELECT cut_rows FROM field ORDER BY number")],
            "findings": connection.execute(
                "SELECT code, grade, place, message, value, bound, next_step FROM finding ORDER BY number"
            ).fetchall(),
        }
        columns = listed_columns()
        if plan.routes is not None:
            route = connection.execute("SELECT * FROM route").fetchone()
            tables = {
                f"{name}s": connection.execute(f"SELECT * FROM {name} ORDER BY number").fetchall()
                for name in ("model", "robot")
            }
            words["routes"] = tables | {"route": route[1:]}
            columns += listed_columns("columns and types of routes")
        digest = hashlib.sha256(compact(words) + b"\n")
        for table, column, kind in columns:
            rows = connection.execute(query_of(table, column)).fetchall()
            numbers = [number_of(table, column, value) for (value,) in rows]
            digest.update(f"{table}.{column} {kind} {len(numbers)}\n".encode("ascii"))
            digest.update(struct.pack(f"<{len(numbers)}{LETTERS[kind]}", *numbers))
        stored = connection.execute("SELECT result_sha256 FROM plan").fetchone()[0]
    assert digest.hexdigest() == stored


def query_of(table: str, column: str) -> str:
    if table == "order":
        return f"SELECT {ORDER.get(column, column)} FROM step WHERE place IS NOT NULL ORDER BY place"
    if table == "trip_step":
        return f"SELECT {column} FROM trip_step ORDER BY trip, place"
    return f"SELECT {column} FROM {table} ORDER BY 1 * rowid"


def test_input_digest_can_be_taken_from_the_rows(tmp_path: Path) -> None:
    path = write_build(make_plan_by_hand(), tmp_path / "a.build")
    with closing(sqlite3.connect(path)) as connection:
        brief, plan_format, stored = connection.execute(
            "SELECT brief, plan_format, input_sha256 FROM plan"
        ).fetchone()
        pictures = connection.execute("SELECT name, sha256 FROM plan_picture").fetchall()
        kept = connection.execute("SELECT sha256, bytes FROM picture").fetchall()
    inputs = {
        "brief": hashlib.sha256(brief.encode()).hexdigest(),
        "pictures": sorted(pictures),
        "plan_format": plan_format,
    }
    assert hashlib.sha256(compact(inputs)).hexdigest() == stored
    assert all(hashlib.sha256(data).hexdigest() == sha256 for sha256, data in kept)


# The one NaN of the page, as Python makes it from its bits.
NAN = struct.unpack(">d", bytes.fromhex("7ff8000000000000"))[0]


def falling_number(column: str, value: object, struck_s: object) -> object:
    if column == "state":
        return ["untouched", "fallen", "stalled"].index(str(value))
    if value is not None:
        return value
    if column in ("striker", "starter", "stood"):
        return -2 if column == "striker" and struck_s is None else -1
    return NAN


@pytest.mark.parametrize("trials", [True, False])
def test_digest_of_a_fall_can_be_taken_from_the_rows(tmp_path: Path, trials: bool) -> None:
    plan = make_plan_by_hand()
    path = write_build(plan, tmp_path / "a.build")
    write_fall(make_prediction_by_hand(plan, trials), plan, path)
    with closing(sqlite3.connect(path)) as connection:

        def rows(query: str) -> list[tuple[object, ...]]:
            return connection.execute(query).fetchall()

        words = {
            "findings": rows(
                "SELECT code, grade, place, message, value, bound, next_step FROM fall_finding ORDER BY number"
            ),
            "ground": rows("SELECT domino_friction, floor_friction, slope_rad, downhill_rad FROM fall")[0],
            "seams": rows("SELECT * FROM fall_seam ORDER BY place"),
            "starters": rows("SELECT * FROM fall_starter ORDER BY number"),
            "summary": rows("SELECT summary FROM fall")[0][0],
            "trial": rows("SELECT * FROM fall_trial")[0] if trials else None,
        }
        digest = hashlib.sha256(compact(words) + b"\n")
        for table, column, kind in listed_columns("columns and types of a fall"):
            if not trials and column in ("stood", "standing"):
                continue
            if table == "fall_domino":
                pairs = rows(f"SELECT {column}, struck_s FROM fall_domino ORDER BY id")
                numbers = [falling_number(column, *pair) for pair in pairs]
            else:
                numbers = [number for (number,) in rows(f"SELECT {column} FROM {table} ORDER BY trial")]
            digest.update(f"{table}.{column} {kind} {len(numbers)}\n".encode("ascii"))
            digest.update(struct.pack(f"<{len(numbers)}{LETTERS[kind]}", *numbers))
        stored = rows("SELECT result_sha256 FROM fall")[0][0]
    assert digest.hexdigest() == stored


def test_each_domino_counts() -> None:
    plan = make_plan_by_hand()
    x_m = plan.standing.x_m.copy()
    x_m[-1] = np.nextafter(x_m[-1], np.inf)
    moved = replace(plan, standing=replace(plan.standing, x_m=x_m))
    assert result_digest(moved) != result_digest(plan)
    assert input_digest(moved) == input_digest(plan)
