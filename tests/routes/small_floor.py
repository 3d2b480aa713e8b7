"""A hall of 6 m by 5 m with a small field, planned from a brief but without any picture: every cell has a domino.

The tray has 11 x 5 slots at 27 and 22 mm, so a tile is 297 mm wide and 110 mm deep; the field of 44 x 30 cells is
4 tiles wide and 6 deep. It falls up the hall, and row 0, column 0 is its lower left corner.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from standfall.brief import Brief, read_text
from standfall.findings import blocked
from standfall.hall import Site, make_site
from standfall.mural.field import place_field
from standfall.mural.palette import make_palette
from standfall.mural.stand import stand_up
from standfall.mural.standing import Standing
from standfall.routes.make import Floor, Laid, make_floor, plan_routes
from standfall.tiles import Tiling, cut_fields, with_tiles

ROOM = [[0, 0], [6, 0], [6, 5], [0, 5]]
TILE_M = (11 * 0.027, 5 * 0.022)
CORNER_M = (1.0, 1.5)
BODY = {
    "name": "body",
    "outline_m": [[-0.5, -0.12], [-0.08, -0.12], [-0.08, 0.12], [-0.5, 0.12]],
    "bottom_mm": 20,
}
#: A low body behind the tray; it turns on a point in the body, 300 mm behind the middle of the tray.
CART: dict[str, Any] = {
    "name": "cart",
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
    "leave_deg": [180],
    "part": [BODY],
}
TURN_CENTRE_M = 0.3


def dock(name: str, x_m: float, y_m: float, heading_deg: float = 90, **changes: Any) -> dict[str, Any]:
    return {"name": name, "place_m": [x_m, y_m], "heading_deg": heading_deg, **changes}


def cart(**changes: Any) -> dict[str, Any]:
    return CART | changes


@dataclass(frozen=True)
class SmallFloor:
    """A brief, and what planning the laying begins with."""

    brief: Brief
    site: Site
    standing: Standing
    tiling: Tiling

    def floor(self) -> Floor:
        return make_floor(self.brief, self.site, self.standing, self.tiling)

    def laid(self) -> Laid:
        return plan_routes(self.brief, self.site, self.standing, self.tiling)


def small_floor(
    small: dict[str, Any],
    to_toml: Any,
    robots: list[dict[str, Any]],
    docks: list[dict[str, Any]],
    *,
    outline: list[list[float]] = ROOM,
    columns: int = 44,
    rows: int = 30,
    corner_m: tuple[float, float] = CORNER_M,
    turns: tuple[int, ...] = (0,),
    **sections: Any,
) -> SmallFloor:
    """Return a floor made of the small brief: its colours, tray and piece, one field and neither lines nor fall."""
    data = {name: small[name] for name in ("job", "domino", "colour", "tray")}
    data["tray"] = small["tray"] | {"orientations_deg": list(turns)}
    field = small["field"][0] | {"columns": columns, "rows": rows, "corner_m": list(corner_m)}
    field["stacked_rows"] = []
    data |= {"hall": {"outline_m": outline}, "field": [field], "robot": robots, "dock": docks, **sections}
    reading = read_text(to_toml(data))
    assert reading.brief is not None, reading.findings
    brief = reading.brief
    site, findings = make_site(brief)
    assert site is not None
    assert not blocked(findings), findings
    place = place_field(brief.fields[0])
    full = np.zeros((rows, columns), np.int32)
    standing = stand_up([full], [full - 1], [place], [], make_palette(brief.colours), brief.domino.height_m)
    tiling, maps = cut_fields([full >= 0], [place], brief.tray)
    return SmallFloor(brief, site, with_tiles(standing, maps), tiling)


def tile_middle_m(band: int, column: int, corner_m: tuple[float, float] = CORNER_M) -> tuple[float, float]:
    """Middle of a tile counted from the lower left corner of the field."""
    return corner_m[0] + (column + 0.5) * TILE_M[0], corner_m[1] + (band + 0.5) * TILE_M[1]


def length_m(way_m: Any) -> float:
    return sum(math.dist(a, b) for a, b in itertools.pairwise(way_m))
