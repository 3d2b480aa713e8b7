"""Writing the predicted fall into a build file that holds its plan."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from standfall.book.columns import FALL_COLUMNS
from standfall.book.digest import input_digest, result_digest
from standfall.book.fall_digest import fall_digest
from standfall.book.fall_sound import check_fall
from standfall.book.fault import faults_of
from standfall.book.predecessor import Predecessor, carry_over, check_unchanged, look_at
from standfall.book.row import insert, insert_columns
from standfall.book.schema import check_sqlite
from standfall.book.sound import check_plan
from standfall.book.stored_fall import (
    StoredFall,
    ground_row,
    seam_rows,
    starter_rows,
    stored_fall,
    summary_text,
    trial_row,
)
from standfall.book.writer import Progress, fill, finding_rows, program
from standfall.disk import fault, real_path, whole_file
from standfall.fall.falling import STATES
from standfall.planning.plan import Plan

if TYPE_CHECKING:
    from standfall.fall.prediction import Prediction

_NEXT = "plan into a file of another name, and predict the fall of that"


def write_fall(
    prediction: Prediction, plan: Plan, path: Path | str, progress: Progress | None = None
) -> Path:
    """Write the predicted fall of a plan into the build file that holds it, whole or not at all.

    The file is written anew, plan, history and fall, beside the old one, and then takes its name in one step,
    so that there is never half a fall nor a plan without its history. It replaces a fall predicted earlier
    for the same plan, trials included. A file of format 1 becomes one of the present format. The same
    history, plan and prediction give the same bytes. The file is left untouched, byte for byte, when it holds
    the same fall already.

    Args:
        prediction: of ``plan``. One that says not all will fall is written too.
        plan: the newest version in the file.
        path: the build file. A link is followed.
        progress: called with rows written, rows in all (dominoes and their falls), and what is going on.

    Returns:
        ``path``.

    Raises:
        FileFault: there is no such file, its newest plan is not ``plan``, it may not be replaced (as in
            ``write_build``), or the disk refuses. Nothing has changed then.
        ValueError: the prediction is of another plan or does not hold together (a mistake in the program).
    """
    path = Path(path)
    stored = stored_fall(prediction)
    check_plan(plan)
    check_fall(stored, len(plan.standing), len(plan.tiling))
    digest = fall_digest(stored)
    with faults_of(path, "written"):
        check_sqlite()
        target = real_path(path)
        old = _look_at(path, target, plan)
        if old.fall_sha256 == digest:
            return path
        with whole_file(target, lambda: check_unchanged(target, old)) as temporary:
            told = _Teller(progress, len(plan.standing))

            def rest(connection: sqlite3.Connection) -> None:
                _write_rows(connection, stored, digest, old.version)
                _write_dominoes(connection, stored, told.second)

            history = _history(target)
            fill(temporary, plan, old.version, history, told.first, rest)
    return path


def _look_at(path: Path, target: Path, plan: Plan) -> Predecessor:
    old = look_at(target, _NEXT)
    if old is None:
        raise fault(path, "there is no such build file to write the fall into: write its plan first")
    if (old.input_sha256, old.result_sha256) != (input_digest(plan, old.plan_format), result_digest(plan)):
        raise fault(
            path,
            "it holds another plan than the one this fall was predicted for; it was left as it is. "
            "Predict the fall of the plan it holds",
        )
    return old


def _history(target: Path) -> Callable[[sqlite3.Connection], None]:
    return lambda connection: carry_over(target, connection)


class _Teller:
    """Tells of dominoes first, then of their falls."""

    def __init__(self, progress: Progress | None, count: int) -> None:
        self._progress, self._count = progress, count

    def first(self, done: int) -> None:
        if self._progress is not None:
            self._progress(done, 2 * self._count, "writing dominoes")

    def second(self, done: int) -> None:
        if self._progress is not None:
            self._progress(self._count + done, 2 * self._count, "writing the fall")


def _write_rows(connection: sqlite3.Connection, stored: StoredFall, digest: str, version: int) -> None:
    fall, trials = stored.fall, stored.trials
    figures = (fall.fallen, fall.standing, fall.total_s, fall.mean_speed_m_s, fall.min_margin)
    words = summary_text(stored.summary)
    insert(connection, "fall", [(version, digest, program(), *figures, *ground_row(stored.ground), words)])
    insert(connection, "fall_starter", starter_rows(stored))
    insert(connection, "fall_finding", finding_rows(stored.findings))
    if trials is not None:
        insert(connection, "fall_trial", [trial_row(trials)])
        insert(connection, "fall_trial_outcome", enumerate(trials.standing.tolist()))
        insert(connection, "fall_seam", seam_rows(trials))


def _write_dominoes(connection: sqlite3.Connection, stored: StoredFall, told: Callable[[int], None]) -> None:
    """Insert what becomes of each domino; NaN and the numbers for "none" become NULL."""
    fall, trials = stored.fall, stored.trials
    columns = [getattr(fall, name) for name in FALL_COLUMNS]
    names = list(FALL_COLUMNS)
    columns[names.index("striker")] = np.maximum(fall.striker, -1)
    columns[names.index("backward")] = fall.backward.astype(np.int8)
    columns[names.index("state")] = np.array(STATES, dtype=object)[fall.state]
    columns.append(np.full(len(fall), -1, dtype=np.int32) if trials is None else trials.stood)
    names.append("stood")
    places = ", ".join("NULLIF(?, -1)" if name in ("striker", "starter", "stood") else "?" for name in names)
    statement = f"INSERT INTO fall_domino (id, {', '.join(names)}) VALUES (?, {places})"
    insert_columns(connection, statement, columns, told)
