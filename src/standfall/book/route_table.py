"""The exported tables of the routes: steps, what they put down by hand, and waypoints."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from standfall.book.column import FALL_DECIMALS, Column, Table, metres, radians
from standfall.book.stored_routes import place_of_steps, robots_of_steps
from standfall.planning.plan import Plan
from standfall.routes.plan import Routes
from standfall.routes.step import KINDS
from standfall.routes.trip import PHASES, Trips


def tile_columns(plan: Plan) -> tuple[Column, Column]:
    """Return the columns of ``tiles`` that tell when and by whom each is laid."""
    count, routes = len(plan.tiling), plan.routes
    order, robot = np.zeros(count, np.int32), np.full(count, -1, np.int16)
    names: tuple[str, ...] = ()
    if routes is not None:
        order = _order(routes)[:count]
        robot, names = robots_of_steps(routes)[:count].astype(np.int16), routes.trips.names
    return (
        Column("order", order, "", "place in the laying order, from 1; 0 when there is none"),
        Column("robot", robot, "", "name of the robot or builder that lays it", names=names),
    )


def route_tables(routes: Routes) -> list[Table]:
    """Return ``steps``, ``step_dominoes`` and ``waypoints``."""
    return [_steps(routes), _step_dominoes(routes), _waypoints(routes)]


def _steps(routes: Routes) -> Table:
    steps = routes.steps
    start_s, end_s = working_times(routes)
    number = np.arange(len(steps), dtype=np.int32)
    robot = robots_of_steps(routes).astype(np.int16)
    columns = (
        Column("step", number, "", "number of the step, from 0; tiles first"),
        Column("order", _order(routes), "", "place in the laying order, from 1; 0 when it is not laid"),
        Column("kind", steps.kind, "", "tile, or laid by hand: gap, stack or line", names=KINDS),
        Column("tile", steps.tile, "", "number of its tile, of a stack the one below; 0 for none"),
        Column("robot", robot, "", "name of the robot or builder", names=routes.trips.names),
        Column("dominoes", steps.dominoes, "", "how many it puts down"),
        metres("x_m", steps.x_m, "middle of its dominoes in the hall"),
        metres("y_m", steps.y_m, "middle of its dominoes in the hall"),
        _seconds("start_s", start_s, "when the work on it begins", gaps=True),
        _seconds("end_s", end_s, "from when on its dominoes stand", gaps=True),
    )
    return Table("steps", columns)


def _step_dominoes(routes: Routes) -> Table:
    steps = routes.steps
    owner = np.repeat(np.arange(len(steps), dtype=np.int32), np.diff(steps.member_first))
    by_hand = steps.kind[owner] != KINDS.index("tile")
    columns = (
        Column("step", owner[by_hand], "", "number of the step; only those laid by hand"),
        Column("domino", steps.member[by_hand].astype(np.int32), "", "number of a domino it puts down"),
    )
    return Table("step_dominoes", columns)


def _waypoints(routes: Routes) -> Table:
    trips = routes.trips
    trip = np.repeat(np.arange(len(trips.robot), dtype=np.int32), np.diff(trips.way_first))
    tile = np.where(trips.way_step >= 0, routes.steps.tile[trips.way_step], 0).astype(np.int32)
    columns = (
        Column("trip", trip, "", "number of the trip, from 0"),
        Column("tile", tile, "", "number of the tile it is about, 0 for none"),
        Column("robot", trips.robot[trip], "", "name of the robot or builder", names=trips.names),
        Column("phase", trips.phase, "", "what is done from here to the next waypoint", names=PHASES),
        _seconds("t_s", trips.t_s, "since the laying began"),
        metres("x_m", trips.x_m, "middle of the tray opening, or of the person"),
        metres("y_m", trips.y_m, "middle of the tray opening, or of the person"),
        radians(
            "yaw_rad", trips.yaw_rad, "of the robot's x axis, counter-clockwise from the hall's; not wrapped"
        ),
    )
    return Table("waypoints", columns)


def working_times(routes: Routes) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return for each step when the work on it begins and from when on its dominoes stand; NaN when not done.

    A tray is worked on from when it is lowered, and its tile stands from when it lets go; what is laid by hand
    stands when the person is done. A phase that takes no time has no waypoint: the next one counts then.
    """
    trips, steps = routes.trips, len(routes.steps)
    start_s = _first_s(trips, steps, ("lower", "release", "raise", "leave", "lay"))
    end_s = _first_s(trips, steps, ("release", "raise", "leave"))
    laid = np.flatnonzero((trips.phase == PHASES.index("lay")) & (trips.way_step >= 0))
    end_s[trips.way_step[laid]] = trips.t_s[np.minimum(laid + 1, len(trips.t_s) - 1)]
    # Somebody who lays in no time only comes by: the first waypoint where they kneel counts.
    for row in np.flatnonzero(np.isnan(end_s[routes.access.order])).tolist():
        step, stance = routes.access.order[row], routes.access.stance
        at = np.flatnonzero(
            (trips.way_step == step) & (trips.x_m == stance.x_m[row]) & (trips.y_m == stance.y_m[row])
        )
        if len(at):
            start_s[step] = end_s[step] = trips.t_s[at[0]]
    return start_s, end_s


def _first_s(trips: Trips, steps: int, phases: tuple[str, ...]) -> NDArray[np.float64]:
    """Return for each step the time of its first waypoint in one of some phases, NaN without any."""
    wanted = np.isin(trips.phase, [PHASES.index(phase) for phase in phases])
    at = np.flatnonzero(wanted & (trips.way_step >= 0))
    step, first = np.unique(trips.way_step[at], return_index=True)
    times = np.full(steps, np.nan)
    times[step] = trips.t_s[at[first]]
    return times


def _order(routes: Routes) -> NDArray[np.int32]:
    return (place_of_steps(routes.access, len(routes.steps)) + 1).astype(np.int32)


def _seconds(name: str, values: NDArray[Any], about: str, *, gaps: bool = False) -> Column:
    return Column(name, values, "s", about, FALL_DECIMALS, gaps=gaps)
