"""Tables for other programs."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Literal

from standfall.book.column import Table
from standfall.book.csv_file import write_csv
from standfall.book.fall_sound import check_fall
from standfall.book.parquet_file import write_parquet
from standfall.book.robots_file import write_robots
from standfall.book.route_table import route_tables
from standfall.book.sound import check_columns
from standfall.book.stored_fall import StoredFall
from standfall.book.table import domino_table, fall_table, tile_table
from standfall.disk import faults_of, make_folder, real_path, whole_file
from standfall.planning.plan import Plan
from standfall.routes.plan import Routes

Progress = Callable[[int, int, str], None]


def export_tables(
    plan: Plan,
    folder: Path | str,
    kind: Literal["csv", "parquet"],
    progress: Progress | None = None,
    fall: StoredFall | None = None,
) -> tuple[Path, ...]:
    """Write all tables as CSV or Parquet; docs/build-file.md describes the columns.

    These are ``dominoes`` and ``tiles``; with routes ``steps``, ``step_dominoes`` and ``waypoints``, and
    ``robots.json`` beside them; with a fall ``fall``. Each file is written whole or not at all, and replaces an
    earlier one of the same name. When one fails, those before it stand. Without routes or a fall their files are
    not written, and those that lie there are left alone.

    Args:
        plan: what to write.
        folder: where to; made if it is not there.
        kind: also the ending of the names.
        progress: called with rows written, rows of all tables, and what is going on.
        fall: of the same plan (``read_fall``), if there is one.

    Returns:
        The paths of the files: dominoes, tiles, steps, step_dominoes, waypoints, robots.json, fall.

    Raises:
        FileFault: the folder cannot be made, or the disk refuses.
        ValueError: another kind, or a plan or fall that does not hold together.
    """
    write = {"csv": write_csv, "parquet": write_parquet}.get(kind)
    if write is None:
        raise ValueError(f"kind must be csv or parquet, not {kind!r}")
    check_columns(plan)
    if fall is not None:
        check_fall(fall, len(plan.standing), len(plan.tiling))
    tables = _tables(plan, fall)
    folder = Path(folder)
    make_folder(folder)
    total, done = sum(map(len, tables)), 0
    paths = []
    for table in tables:
        path = folder / f"{table.name}.{kind}"
        with faults_of(path, "written"), whole_file(real_path(path)) as temporary:
            write(table, temporary, _counter(progress, done, total, f"writing {path.name}"))
        done += len(table)
        paths.append(path)
        if table.name == "waypoints" and plan.routes is not None:
            paths.append(_write_robots(plan, plan.routes, folder))
    return tuple(paths)


def _tables(plan: Plan, fall: StoredFall | None) -> list[Table]:
    tables = [domino_table(plan), tile_table(plan)]
    if plan.routes is not None:
        tables += route_tables(plan.routes)
    if fall is not None:
        tables.append(fall_table(fall))
    return tables


def _write_robots(plan: Plan, routes: Routes, folder: Path) -> Path:
    path = folder / "robots.json"
    with faults_of(path, "written"), whole_file(real_path(path)) as temporary:
        write_robots(plan.brief, routes, temporary)
    return path


def _counter(progress: Progress | None, before: int, total: int, what: str) -> Callable[[int], None]:
    def told(rows: int) -> None:
        if progress is not None:
            progress(before + rows, total, what)

    return told
