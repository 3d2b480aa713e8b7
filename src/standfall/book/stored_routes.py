"""The routes as the build file keeps them: their rows in the tables, and back."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import numpy as np

from standfall.brief import Brief
from standfall.planning.plan import Plan

if TYPE_CHECKING:
    from standfall.routes.access import Access
    from standfall.routes.plan import Routes

Row = tuple[Any, ...]


def route_row(routes: Routes) -> Row:
    """Return the row of ``route``, less its version."""
    access = routes.access
    trapped = [
        [step, list(access.trapped_by[step]) if step in access.trapped_by else None]
        for step in access.trapped
    ]
    return (
        routes.front,
        routes.lower_bound_m + 0.0,
        routes.driven_m + 0.0,
        routes.laying_s + 0.0,
        routes.at_risk + 0.0,
        access.layable_most,
        json.dumps(trapped),
        json.dumps(list(access.left_out)),
    )


def trapped_of(text: str) -> tuple[tuple[int, ...], dict[int, tuple[int, ...]]]:
    """Return ``trapped`` and ``trapped_by`` of an ``Access`` from their text."""
    pairs = json.loads(text)
    by = {int(step): tuple(map(int, others)) for step, others in pairs if others is not None}
    return tuple(int(step) for step, _ in pairs), by


def model_rows(brief: Brief) -> list[Row]:
    """Return the rows of ``model``: each ``[[robot]]`` of the brief as JSON, in SI units."""
    return [
        (number, robot.name, json.dumps(asdict(robot), ensure_ascii=False, allow_nan=False))
        for number, robot in enumerate(brief.robots)
    ]


def robot_rows(plan: Plan, names: Iterable[str]) -> list[Row]:
    """Return the rows of ``robot``: who makes the trips, each with the number of its model."""
    known = model_numbers(plan.brief)
    return [(number, name, known[name]) for number, name in enumerate(names)]


def model_numbers(brief: Brief) -> dict[str, int | None]:
    """Return the number of the model for each robot by name, ``None`` for a builder."""
    known: dict[str, int | None] = {
        name: number for number, robot in enumerate(brief.robots) for name in robot.names
    }
    return known | dict.fromkeys(brief.hands.names)


def robots_of_steps(routes: Routes) -> np.ndarray[Any, np.dtype[np.int64]]:
    """Return for each step the number of who does it, -1 when nobody does."""
    trips = routes.trips
    doer = np.full(len(routes.steps), -1, dtype=np.int64)
    doer[trips.step] = np.repeat(trips.robot.astype(np.int64), np.diff(trips.step_first))
    return doer


def place_of_steps(access: Access, steps: int) -> np.ndarray[Any, np.dtype[np.int64]]:
    """Return for each step its row in ``access.order``, -1 when it is not laid."""
    place = np.full(steps, -1, dtype=np.int64)
    place[access.order] = np.arange(len(access.order))
    return place
