"""Whether the routes of a plan hold together, so that they read back exactly as they were written."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from standfall.book.column_check import check_range, check_types
from standfall.book.columns import STANCE_COLUMNS, STEP_COLUMNS, TRIP_COLUMNS, WAYPOINT_COLUMNS
from standfall.book.stored_routes import model_numbers
from standfall.planning.plan import Plan
from standfall.routes.plan import Routes
from standfall.routes.step import KINDS
from standfall.routes.trip import PHASES


def check_routes(plan: Plan) -> None:
    """Check everything the build file and the tables rely on; a plan without routes is sound.

    Raises:
        ValueError: a mistake in the program that planned them (or, on reading, a damaged file).
    """
    routes = plan.routes
    if routes is None:
        return
    for name in ("lower_bound_m", "at_risk"):
        if not math.isfinite(getattr(routes, name)):
            raise ValueError(f"routes.{name} is not a finite number")
    _check_steps(plan, routes)
    _check_access(plan, routes)
    _check_trips(plan, routes)


def _check_steps(plan: Plan, routes: Routes) -> None:
    steps = routes.steps
    check_types("steps", steps, STEP_COLUMNS, len(steps))
    check_range("steps", steps, ("kind",), 0, len(KINDS))
    check_range("steps", steps, ("tile",), 0, len(plan.tiling) + 1)
    check_range("steps", steps, ("after",), -1, len(steps))
    if (steps.after >= np.arange(len(steps))).any():
        raise ValueError("a step of steps waits for a later one")
    if not np.array_equal(np.sort(steps.member), np.arange(len(plan.standing))):
        raise ValueError("steps.member does not hold each domino once")


def _check_access(plan: Plan, routes: Routes) -> None:
    access, count = routes.access, len(routes.steps)
    check_types("access", access, {"order": np.int32}, len(access.order))
    check_range("access", access, ("order",), 0, count)
    if len(np.unique(access.order)) != len(access.order):
        raise ValueError("access.order holds a step twice")
    stance = access.stance
    check_types("stance", stance, {"step": np.int32, **STANCE_COLUMNS}, len(access.order))
    if not np.array_equal(stance.step, access.order):
        raise ValueError("stance.step is not access.order")
    check_range("stance", stance, ("model",), -1, len(plan.brief.robots))
    if not np.isin(stance.turn_deg, (0, 180)).all():
        raise ValueError("stance.turn_deg holds another turn than 0 and 180")
    by_robot = np.flatnonzero((stance.model >= 0) & (routes.steps.kind[access.order] == KINDS.index("tile")))
    tile = routes.steps.tile[access.order[by_robot]]
    if (plan.tiling.turn_deg[tile - 1] != stance.turn_deg[by_robot]).any():
        raise ValueError("a tile lies turned another way than its tray in stance")
    for name, numbers in (("trapped", access.trapped), ("left_out", access.left_out)):
        if not all(0 <= step < count for step in numbers):
            raise ValueError(f"access.{name} holds a number that nothing carries")
    if not set(access.trapped_by) <= set(access.trapped):
        raise ValueError("access.trapped_by holds a step that is not trapped")


def _check_trips(plan: Plan, routes: Routes) -> None:
    trips, count = routes.trips, len(routes.trips.robot)
    check_types("trips", trips, TRIP_COLUMNS, count)
    check_types("trips", trips, WAYPOINT_COLUMNS, len(trips.t_s))
    check_types("trips", trips, {"step": np.int32}, len(trips.step))
    check_types("trips", trips, {"step_first": np.int32, "way_first": np.int64}, count + 1)
    _check_parts("step_first", trips.step_first, count, len(trips.step))
    _check_parts("way_first", trips.way_first, count, len(trips.t_s))
    check_range("trips", trips, ("robot",), 0, len(trips.names))
    check_range("trips", trips, ("dock",), -1, len(plan.brief.docks))
    check_range("trips", trips, ("step",), 0, len(routes.steps))
    check_range("trips", trips, ("way_step",), -1, len(routes.steps))
    check_range("trips", trips, ("phase",), 0, len(PHASES))
    if len(np.unique(trips.step)) != len(trips.step):
        raise ValueError("trips.step holds a step twice")
    strange = set(trips.names) - set(model_numbers(plan.brief))
    if strange or len(set(trips.names)) != len(trips.names):
        raise ValueError(f"trips.names holds a name twice or one that nobody has: {sorted(strange)}")


def _check_parts(name: str, first: NDArray[Any], count: int, total: int) -> None:
    if first[0] != 0 or first[-1] != total or (np.diff(first) < 0).any():
        raise ValueError(f"trips.{name} does not run from 0 to {total} in {count} parts")
