"""``robots.json``: the shapes that move on the floor, so that others can replay the laying."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

from standfall.brief import Brief, Crew, Robot
from standfall.routes.plan import Routes

# Phases of a trip in which the tray is down.
LOWERED_PHASES = ("lower", "release", "raise")
# A person's circle is told as a polygon of so many corners round it.
_CORNERS = 16
_ABOUT = (
    "Who moves on the floor while the build is laid. Lengths in m; outlines in the frame of the robot: zero in the "
    "middle of the tray opening, x ahead, y to the left. A part touches a domino under it when its bottom is lower "
    "than touches_below_m above the domino's foot; lowered_bottom_m counts in the phases of lowered_phases. Parts "
    "touch walls at any height."
)
_ORDER_RULE = (
    "While a step is done, all steps with a lower order stand already, and of steps with a higher order those whose "
    "end_s is past. The tile that is laid stands from the phase release on."
)


def write_robots(brief: Brief, routes: Routes, path: Path) -> None:
    """Write everyone who makes trips, with their parts."""
    movers: dict[str, Any] = {name: _robot(robot, name) for robot in brief.robots for name in robot.names}
    movers |= {name: _builder(brief.hands, name) for name in brief.hands.names}
    domino = brief.domino
    content = {
        "about": _ABOUT,
        "order_rule": _ORDER_RULE,
        "lowered_phases": list(LOWERED_PHASES),
        "touches_below_m": domino.height_m + brief.laying.over_m,
        "domino": {
            "height_m": domino.height_m,
            "width_m": domino.width_m,
            "thickness_m": domino.thickness_m,
        },
        "robots": [movers[name] for name in routes.trips.names],
    }
    text = json.dumps(content, ensure_ascii=False, allow_nan=False, indent=1)
    path.write_text(text + "\n", encoding="utf-8", newline="\n")


def _robot(robot: Robot, name: str) -> dict[str, Any]:
    return {
        "name": name,
        "model": robot.name,
        "drive": robot.drive,
        "turn_centre_m": list(robot.turn_centre_m),
        "parts": [
            {
                "name": part.name,
                "outline_m": [list(corner) for corner in part.outline_m],
                "bottom_m": part.bottom_m,
                "lowered_bottom_m": part.lowest_m,
            }
            for part in robot.parts
        ],
    }


def _builder(crew: Crew, name: str) -> dict[str, Any]:
    # Sides touch the circle, corners lie outside it.
    reach_m = crew.room_m / 2 / math.cos(math.pi / _CORNERS)
    angles = [2 * math.pi * number / _CORNERS for number in range(_CORNERS)]
    return {
        "name": name,
        "model": "builder",
        "drive": "on_foot",
        "turn_centre_m": [0.0, 0.0],
        "parts": [
            {
                "name": "person",
                "outline_m": [[reach_m * math.cos(angle), reach_m * math.sin(angle)] for angle in angles],
                "bottom_m": 0.0,
                "lowered_bottom_m": 0.0,
            }
        ],
    }
