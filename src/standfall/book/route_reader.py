"""Reading the routes of a build file back."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from standfall.book.columns import STANCE_COLUMNS, STEP_COLUMNS, TRIP_COLUMNS, WAYPOINT_COLUMNS
from standfall.book.schema import format_of
from standfall.book.stored_routes import trapped_of
from standfall.brief import Brief
from standfall.disk import fault
from standfall.mural.standing import Standing
from standfall.routes.access import Access
from standfall.routes.plan import Routes
from standfall.routes.stance import Stances
from standfall.routes.step import KINDS, Steps, make_steps
from standfall.routes.trip import PHASES, Trips
from standfall.tiles import Tiling

_STEP = 20_000
_PHASES: dict[str, int] = {name: number for number, name in enumerate(PHASES)}
_KINDS: dict[str, int] = {name: number for number, name in enumerate(KINDS)}
_STEP_QUERY = (
    "SELECT number, kind, COALESCE(tile, 0), COALESCE(after, -1), x_m, y_m, dominoes "
    "FROM step ORDER BY number"
)
_STANCE_QUERY = (
    "SELECT place, number, COALESCE(model, -1), turn_deg, stand_x_m, stand_y_m, stand_yaw_rad, "
    "leave_x_m, leave_y_m, layer FROM step WHERE place IS NOT NULL ORDER BY place"
)
_TRIP_QUERY = "SELECT number, robot, COALESCE(dock, -1), start_s, end_s, driven_m FROM trip ORDER BY number"
_WAYPOINT_QUERY = (
    "SELECT number, trip, phase, COALESCE(step, -1), t_s, x_m, y_m, yaw_rad FROM waypoint ORDER BY number"
)


def read_routes(
    connection: sqlite3.Connection, path: Path, brief: Brief, standing: Standing, tiling: Tiling
) -> Routes | None:
    """Read the routes of the newest plan; ``None`` when it has none, or the file is older than routes.

    The dominoes of each step and the outlines round them are not in the file: they follow from the standing set.

    Raises:
        FileFault: this version of the program cuts the build into other steps.
        ValueError: the rows do not hold together.
    """
    if format_of(connection) < 3:
        return None
    row = connection.execute(
        "SELECT front, lower_bound_m, at_risk, layable_most, trapped, left_out FROM route"
    ).fetchone()
    if row is None:
        return None
    front, lower_bound_m, at_risk, layable_most, trapped, left_out = row
    steps = make_steps(brief, standing, tiling)
    _check_steps(connection, path, steps)
    order, stance = _stance(connection)
    stuck, stuck_by = trapped_of(trapped)
    access = Access(
        order=order,
        stance=stance,
        trapped=stuck,
        trapped_by=stuck_by,
        layable_most=layable_most,
        left_out=tuple(map(int, json.loads(left_out))),
    )
    return Routes(
        steps=steps,
        access=access,
        trips=_trips(connection),
        front=front,
        lower_bound_m=lower_bound_m,
        at_risk=at_risk,
    )


def _check_steps(connection: sqlite3.Connection, path: Path, steps: Steps) -> None:
    written = _columns(connection.execute(_STEP_QUERY), STEP_COLUMNS, "steps", {"kind": _KINDS})
    same = all(
        written[name].shape == getattr(steps, name).shape and (written[name] == getattr(steps, name)).all()
        for name in STEP_COLUMNS
    )
    if not same:
        raise fault(
            path,
            "it is cut into other steps than this version of the program makes of it. Plan again, and print all "
            "papers anew",
        )


def _stance(connection: sqlite3.Connection) -> tuple[NDArray[np.int32], Stances]:
    """Read order and stances; what must not stand for a stance served the search only and is not kept."""
    types = {"step": np.int32, **STANCE_COLUMNS}
    columns = _columns(connection.execute(_STANCE_QUERY), types, "places in the laying order", first=1)
    count = len(columns["step"])
    stance = Stances(
        **columns,
        conflict_first=np.zeros(count + 1, dtype=np.int64),
        conflict=np.empty(0, dtype=np.int32),
    )
    return columns["step"].copy(), stance


def _trips(connection: sqlite3.Connection) -> Trips:
    columns = _columns(connection.execute(_TRIP_QUERY), TRIP_COLUMNS, "trips")
    count = len(columns["robot"])
    done = connection.execute("SELECT trip, place, step FROM trip_step ORDER BY trip, place").fetchall()
    trip, place, step = np.array(done, dtype=np.int64).reshape(-1, 3).T
    step_first = _firsts(trip, count)
    if not np.array_equal(place, np.arange(len(trip)) - step_first[trip]):
        raise ValueError("the steps of a trip have gaps")
    types = {"trip": np.int64, **WAYPOINT_COLUMNS}
    ways = _columns(connection.execute(_WAYPOINT_QUERY), types, "waypoints", {"phase": _PHASES})
    names = connection.execute("SELECT number, name FROM robot ORDER BY number").fetchall()
    if [number for number, _ in names] != list(range(len(names))):
        raise ValueError("the numbers of the robots have gaps")
    owner = ways.pop("trip")
    if (np.diff(owner) < 0).any():
        raise ValueError("the waypoints of the trips are mixed up")
    return Trips(
        names=tuple(name for _, name in names),
        step_first=step_first.astype(np.int32),
        step=step.astype(np.int32),
        way_first=_firsts(owner, count),
        **columns,
        **ways,
    )


def _firsts(owner: NDArray[np.int64], count: int) -> NDArray[np.int64]:
    return np.searchsorted(owner, np.arange(count + 1)).astype(np.int64)


def _columns(
    rows: sqlite3.Cursor,
    types: dict[str, type],
    what: str,
    words: dict[str, dict[str, int]] | None = None,
    first: int = 0,
) -> dict[str, NDArray[Any]]:
    """Read rows that begin with a running number into arrays, words as their numbers."""
    parts: dict[str, list[NDArray[Any]]] = {name: [] for name in ("", *types)}
    kinds: dict[str, type] = {"": np.int64, **types}
    while step := rows.fetchmany(_STEP):
        for (name, kept), values in zip(parts.items(), zip(*step, strict=True), strict=True):
            known = (words or {}).get(name)
            if known and not set(values) <= set(known):
                raise ValueError(f"one of the {what} has a {name} that does not exist")
            kept.append(np.array([known[v] for v in values] if known else values, dtype=kinds[name]))
    columns = {
        name: np.concatenate(kept) if kept else np.empty(0, dtype=kinds[name]) for name, kept in parts.items()
    }
    numbers = columns.pop("")
    if not np.array_equal(numbers, np.arange(first, first + len(numbers))):
        raise ValueError(f"the numbers of the {what} have gaps")
    return columns
