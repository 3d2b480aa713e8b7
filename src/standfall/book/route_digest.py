"""The part of a plan's digest that its routes make."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from standfall.book.columns import STANCE_COLUMNS, STEP_COLUMNS, TRIP_COLUMNS, WAYPOINT_COLUMNS
from standfall.book.stored_routes import model_rows, robot_rows, route_row
from standfall.planning.plan import Plan
from standfall.routes.plan import Routes


def route_words(plan: Plan, routes: Routes) -> dict[str, Any]:
    """Return the words of the routes that count (docs/build-file.md, "Digests")."""
    return {
        "models": [list(row) for row in model_rows(plan.brief)],
        "robots": [list(row) for row in robot_rows(plan, routes.trips.names)],
        "route": list(route_row(routes)),
    }


def route_columns(routes: Routes) -> Iterator[tuple[str, NDArray[Any]]]:
    """Yield the columns of numbers that count, each with its name, in their order."""
    steps, access, trips = routes.steps, routes.access, routes.trips
    for name in STEP_COLUMNS:
        yield f"step.{name}", getattr(steps, name)
    yield "order.step", access.order
    for name in STANCE_COLUMNS:
        yield f"order.{name}", getattr(access.stance, name)
    for name in TRIP_COLUMNS:
        yield f"trip.{name}", getattr(trips, name)
    yield "trip_step.trip", _owners(trips.step_first)
    yield "trip_step.step", trips.step
    yield "waypoint.trip", _owners(trips.way_first)
    for name in WAYPOINT_COLUMNS:
        yield f"waypoint.{name.removeprefix('way_')}", getattr(trips, name)


def _owners(first: NDArray[Any]) -> NDArray[np.int32]:
    return np.repeat(np.arange(len(first) - 1, dtype=np.int32), np.diff(first))
