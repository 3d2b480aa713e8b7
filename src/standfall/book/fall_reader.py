"""Reading the predicted fall of a build file back."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from standfall.book.columns import FALL_COLUMNS
from standfall.book.fall_digest import fall_digest
from standfall.book.fall_sound import check_fall
from standfall.book.fault import faults_of
from standfall.book.opening import open_build
from standfall.book.reader import read_findings
from standfall.book.schema import format_of
from standfall.book.stored_fall import StoredFall, starter_of, trials_of
from standfall.disk import fault
from standfall.fall.falling import BY_STARTER, NO_STRIKER, STATES, Fall
from standfall.fall.ground import Ground
from standfall.fall.trial import Trials

_STEP = 20_000
_STATES = {name: number for number, name in enumerate(STATES)}


def read_fall(path: Path | str) -> StoredFall | None:
    """Read the predicted fall of the newest plan, exactly as it was written, and check that it is.

    Arrays come back with the same bits, except that the sign of a negative zero is lost and that NaN has one
    pattern of bits. The file is opened read-only.

    Returns:
        ``None`` when no fall of the newest plan was predicted.

    Raises:
        FileFault: the file is missing, no build file, from a newer version of the program, or damaged.
    """
    path = Path(path)
    with faults_of(path, "read"), closing(open_build(path)) as connection:
        if format_of(connection) < 2:
            return None
        try:
            return _newest(connection)
        except (ValueError, TypeError, KeyError, OverflowError) as error:
            raise fault(path, f"the file is damaged: {error}") from error


def _newest(connection: sqlite3.Connection) -> StoredFall | None:
    row = connection.execute(
        "SELECT version = (SELECT MAX(version) FROM plan), result_sha256, summary, "
        "domino_friction, floor_friction, slope_rad, downhill_rad FROM fall ORDER BY version DESC LIMIT 1"
    ).fetchone()
    if row is None:
        return None
    belongs, sha256, summary, *ground = row
    if not belongs:
        raise ValueError("the fall it holds is of an older plan")
    fall, stood = _dominoes(connection)
    starters = connection.execute("SELECT * FROM fall_starter ORDER BY number").fetchall()
    stored = StoredFall(
        fall=fall,
        ground=Ground(*ground),
        starters=tuple(starter_of(starter) for starter in starters),
        starter_numbers=tuple(starter[0] for starter in starters),
        findings=read_findings(connection, "fall_finding"),
        trials=_trials(connection, stood),
        summary=json.loads(summary),
    )
    dominoes, tiles = (_count(connection, table) for table in ("domino", "tile"))
    check_fall(stored, dominoes, tiles)
    if fall_digest(stored) != sha256:
        raise ValueError("the fall it holds does not have the digest it was written with")
    return stored


def _count(connection: sqlite3.Connection, table: str) -> int:
    (count,) = connection.execute(f"SELECT COUNT(*) FROM {table}").fetchone()
    return int(count)


def _dominoes(connection: sqlite3.Connection) -> tuple[Fall, NDArray[np.int32]]:
    """Read what becomes of each domino; NULL becomes NaN, or the arrays' number for "none"."""
    total = _count(connection, "fall_domino")
    wanted = {name: name for name in FALL_COLUMNS} | {
        "striker": f"COALESCE(striker, CASE WHEN struck_s IS NULL THEN {NO_STRIKER} ELSE {BY_STARTER} END)",
        "starter": "COALESCE(starter, -1)",
        "stood": "COALESCE(stood, -1)",
    }
    types: dict[str, Any] = {"id": np.int64, **FALL_COLUMNS, "stood": np.int32}
    columns = {name: np.empty(total, dtype=kind) for name, kind in types.items()}
    rows = connection.execute(f"SELECT id, {', '.join(wanted.values())} FROM fall_domino ORDER BY id")
    first = 0
    while step := rows.fetchmany(_STEP):
        stop = first + len(step)
        for (name, column), values in zip(columns.items(), zip(*step, strict=True), strict=True):
            column[first:stop] = [_STATES[value] for value in values] if name == "state" else values
        first = stop
    if not np.array_equal(columns.pop("id"), np.arange(total)):
        raise ValueError("the numbers of the falling dominoes have gaps")
    stood = columns.pop("stood")
    return Fall(**columns), stood


def _trials(connection: sqlite3.Connection, stood: NDArray[np.int32]) -> Trials | None:
    row = connection.execute("SELECT * FROM fall_trial").fetchone()
    if row is None:
        return None
    outcomes = connection.execute("SELECT trial, standing FROM fall_trial_outcome ORDER BY trial").fetchall()
    if [trial for trial, _ in outcomes] != list(range(len(outcomes))):
        raise ValueError("the numbers of the trials have gaps")
    seams = connection.execute("SELECT * FROM fall_seam ORDER BY place").fetchall()
    return trials_of(row, (standing for _, standing in outcomes), stood, seams)
