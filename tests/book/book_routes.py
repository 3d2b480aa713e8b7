"""Routes made by hand, without any search: every kind of step, trips of a robot and of a builder, something trapped."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from book_plan import brief_text, make_plan_by_hand

from standfall.planning.plan import Plan
from standfall.routes.access import Access
from standfall.routes.plan import Routes
from standfall.routes.stance import Stances
from standfall.routes.step import Steps, make_steps
from standfall.routes.trip import PHASES, Trips

LAYING = """
[[dock]]
name = "shelf by the gate"
place_m = [-5, -5]
[[dock]]
name = "gate"
kind = "crew"
place_m = [-6, -5]
[[robot]]
name = "bearer – „eins“"
count = 2
drive = "omnidirectional"
speed_mm_s = 600
acceleration_mm_s2 = 300
turn_deg_s = 45
turn_acceleration_deg_s2 = 45
slow_mm_s = 100
lower_s = 4
release_s = 2
raise_s = 4
[[robot.part]]
name = "body"
outline_m = [[-0.75, -0.26], [-0.13, -0.26], [-0.13, 0.26], [-0.75, 0.26]]
bottom_mm = 20
[[robot.part]]
name = "frame"
outline_m = [[-0.07, -0.08], [0.07, -0.08], [0.07, 0.08], [-0.07, 0.08]]
bottom_mm = 70
lowered_bottom_mm = 1
[crew]
builders = 1
"""
NAMES = ("bearer – „eins“ 1", "bearer – „eins“ 2", "builder 1")
# Phases of a robot's trip for one step, and of a builder's.
ROBOT_PHASES = ("dock", "drive", "approach", "lower", "release", "raise", "leave", "return", "dock")
BUILDER_PHASES = ("walk", "lay", "walk", "dock")


def plan_with_routes(text: str | None = None) -> Plan:
    """Return the plan of ``make_plan_by_hand`` with routes: the last two steps cannot be laid."""
    plan = make_plan_by_hand((brief_text() if text is None else text) + LAYING)
    return replace(plan, routes=routes_by_hand(make_steps(plan.brief, plan.standing, plan.tiling), plan))


def routes_by_hand(steps: Steps, plan: Plan) -> Routes:
    """Return routes that lay the tiles backwards, robots in turn, then what is laid by hand."""
    tiles = len(plan.tiling)
    order = np.concatenate([np.arange(tiles)[::-1], np.arange(tiles, len(steps) - 2)]).astype(np.int32)
    stuck = (len(steps) - 2, len(steps) - 1)
    return Routes(
        steps=steps,
        access=Access(
            order=order,
            stance=_stances(steps, plan, order),
            trapped=stuck,
            trapped_by={stuck[0]: (0, 5), stuck[1]: ()},
            layable_most=len(steps) - 1,
            left_out=(stuck[1],),
        ),
        trips=_trips(steps, order),
        front="far first – „weit“",
        lower_bound_m=12.34567890123,
        at_risk=1 / 3,
    )


def _stances(steps: Steps, plan: Plan, order: np.ndarray) -> Stances:
    count, on_tile = len(order), steps.kind[order] == 0
    turn = np.where(on_tile, plan.tiling.turn_deg[np.maximum(steps.tile[order], 1) - 1], 0)
    return Stances(
        step=order.copy(),
        model=np.where(on_tile, 0, -1).astype(np.int16),
        turn_deg=turn.astype(np.int16),
        x_m=steps.x_m[order] + 1 / 7,
        y_m=steps.y_m[order],
        yaw_rad=np.linspace(0.1, 7.0, count),
        leave_x_m=steps.x_m[order] - 1 / 3,
        leave_y_m=steps.y_m[order] + 0.5,
        layer=(np.arange(count) % 3).astype(np.int16),
        conflict_first=np.zeros(count + 1, dtype=np.int64),
        conflict=np.empty(0, dtype=np.int32),
    )


def _trips(steps: Steps, order: np.ndarray) -> Trips:
    """Return trips of two steps each for robots and builder; waypoint k is at k / 8 s."""
    by_robot = int((steps.kind[order] == 0).sum())
    groups = [order[first : first + 2] for first in range(0, by_robot, 2)]
    groups += [order[first : first + 2] for first in range(by_robot, len(order), 2)]
    robot, phases, way_step, lengths = [], [], [], []
    for number, group in enumerate(groups):
        mine = steps.kind[group[0]] == 0
        robot.append(number % 2 if mine else 2)
        words = ROBOT_PHASES if mine else BUILDER_PHASES
        phases += list(words) * len(group)
        way_step += [-1 if word == "dock" else int(step) for step in group for word in words]
        lengths.append(len(words) * len(group))
    way_first = np.concatenate([[0], np.cumsum(lengths)]).astype(np.int64)
    count = len(phases)
    t_s = np.arange(count) / 8
    return Trips(
        robot=np.array(robot, dtype=np.int16),
        dock=np.where(np.array(robot) == 2, -1, 0).astype(np.int16),
        step_first=np.concatenate([[0], np.cumsum([len(group) for group in groups])]).astype(np.int32),
        step=np.concatenate(groups).astype(np.int32),
        start_s=t_s[way_first[:-1]],
        end_s=t_s[way_first[1:] - 1],
        driven_m=np.where(np.array(robot) == 2, 0.0, 1.1 * np.arange(1, len(groups) + 1)),
        names=NAMES,
        way_first=way_first,
        phase=np.array([PHASES.index(word) for word in phases], dtype=np.int8),
        way_step=np.array(way_step, dtype=np.int32),
        t_s=t_s,
        x_m=np.sin(np.arange(1, count + 1)),
        y_m=np.cos(np.arange(1, count + 1)),
        yaw_rad=np.arange(1, count + 1) / 3,
    )
