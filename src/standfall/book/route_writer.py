"""Writing the routes of a plan into the build file."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from standfall.book.columns import STANCE_COLUMNS, STEP_COLUMNS, TRIP_COLUMNS, WAYPOINT_COLUMNS
from standfall.book.row import insert, insert_columns
from standfall.book.stored_routes import model_rows, place_of_steps, robot_rows, route_row
from standfall.planning.plan import Plan
from standfall.routes.plan import Routes
from standfall.routes.step import KINDS
from standfall.routes.trip import PHASES


def write_routes(
    connection: sqlite3.Connection, plan: Plan, version: int, told: Callable[[int], None]
) -> None:
    """Insert the routes of a plan; nothing when it has none.

    Args:
        connection: of a build file that holds the rest of the plan already.
        plan: the newest version.
        version: its number.
        told: called with the number of waypoints written so far.
    """
    routes = plan.routes
    if routes is None:
        return
    insert(connection, "route", [(version, *route_row(routes))])
    insert(connection, "model", model_rows(plan.brief))
    insert(connection, "robot", robot_rows(plan, routes.trips.names))
    _write_steps(connection, routes)
    _write_trips(connection, routes)
    _write_waypoints(connection, routes, told)


def _write_steps(connection: sqlite3.Connection, routes: Routes) -> None:
    """Insert the steps, each with the stance it is laid from; a step comes after the one it waits for."""
    steps, stance = routes.steps, routes.access.stance
    step_lists = [getattr(steps, name).tolist() for name in STEP_COLUMNS]
    stance_lists = [getattr(stance, name).tolist() for name in STANCE_COLUMNS]
    step_rows = list(zip(*step_lists, strict=True))
    stance_rows = list(zip(*stance_lists, strict=True))
    rows = []
    for number, place in enumerate(place_of_steps(routes.access, len(steps)).tolist()):
        kind, tile, after, *rest = step_rows[number]
        shown: list[Any] = [None] * (1 + len(stance_lists))
        if place >= 0:
            model, *pose = stance_rows[place]
            shown = [place + 1, _or_null(model), *pose]
        rows.append((number, KINDS[kind], tile or None, _or_null(after), *rest, *shown))
    insert(connection, "step", rows)


def _write_trips(connection: sqlite3.Connection, routes: Routes) -> None:
    trips = routes.trips
    robot, dock, *rest = (getattr(trips, name).tolist() for name in TRIP_COLUMNS)
    docks = [_or_null(number) for number in dock]
    insert(connection, "trip", zip(range(len(robot)), robot, docks, *rest, strict=True))
    trip = np.repeat(np.arange(len(robot)), np.diff(trips.step_first))
    place = np.arange(len(trips.step)) - trips.step_first[trip]
    insert(connection, "trip_step", zip(trip.tolist(), place.tolist(), trips.step.tolist(), strict=True))


def _write_waypoints(connection: sqlite3.Connection, routes: Routes, told: Callable[[int], None]) -> None:
    trips = routes.trips
    columns: list[NDArray[Any]] = [np.repeat(np.arange(len(trips.robot)), np.diff(trips.way_first))]
    columns += [getattr(trips, name) for name in WAYPOINT_COLUMNS]
    columns[1] = np.array(PHASES, dtype=object)[trips.phase]
    statement = "INSERT INTO waypoint VALUES (?, ?, ?, NULLIF(?, -1), ?, ?, ?, ?)"
    insert_columns(connection, statement, columns, told)


def _or_null(number: int) -> int | None:
    return None if number < 0 else number
