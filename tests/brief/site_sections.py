"""The sections about the site as plain data, to be added to the small brief: every key of them given."""

from __future__ import annotations

import copy
from typing import Any

SITE: dict[str, Any] = {
    "area": [
        {"name": "post", "kind": "pillar", "centre_m": [4.0, 4.5], "radius_mm": 150},
        {"name": "door", "kind": "exit", "outline_m": [[5.0, 4.8], [6.0, 4.8], [6.0, 5.0], [5.0, 5.0]]},
    ],
    "dock": [
        {"name": "table", "kind": "loading", "place_m": [5.0, 1.0], "heading_deg": 180, "load_s": 25},
        {"name": "socket", "kind": "charging", "place_m": [5.0, 2.5], "heading_deg": 180, "robots": ["cart"]},
        {"name": "gate", "kind": "crew", "place_m": [5.0, 4.0], "load_s": 5},
    ],
    "robot": [
        {
            "name": "cart",
            "count": 2,
            "drive": "omnidirectional",
            "turn_centre_m": [-0.3, 0.0],
            "speed_mm_s": 600,
            "acceleration_mm_s2": 300,
            "turn_deg_s": 45,
            "turn_acceleration_deg_s2": 90,
            "slow_mm_s": 100,
            "lower_s": 4,
            "release_s": 2,
            "raise_s": 3,
            "carries": 2,
            "tray_turns_deg": [0, 180],
            "leave_deg": [180],
            "battery_min": 90,
            "charge_min": 30,
            "part": [
                {
                    "name": "body",
                    "outline_m": [[-0.5, -0.12], [-0.08, -0.12], [-0.08, 0.12], [-0.5, 0.12]],
                    "bottom_mm": 20,
                },
                {
                    "name": "arm",
                    "outline_m": [[-0.2, -0.1], [0.06, -0.1], [0.06, 0.1], [-0.2, 0.1]],
                    "bottom_mm": 140,
                    "lowered_bottom_mm": 70,
                },
            ],
        }
    ],
    "crew": {
        "builders": 2,
        "reach_mm": 550,
        "room_mm": 500,
        "walk_mm_s": 900,
        "lay_s": 4,
        "tiles_by_hand": False,
    },
    "laying": {
        "clearance_mm": 25,
        "set_down_clearance_mm": 1.5,
        "over_mm": 12,
        "slow_zone_mm": 200,
        "corner_mm": 15,
    },
}


def with_site(small: dict[str, Any]) -> dict[str, Any]:
    """Return the small brief with the site added, and three rows of its field left open."""
    small["field"][0]["gap_rows"] = [[10, 11], [20, 20]]
    return {**small, **copy.deepcopy(SITE)}
