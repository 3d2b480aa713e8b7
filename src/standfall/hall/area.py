"""Areas of the floor as shapes, and areas that are none, or not on the floor."""

from __future__ import annotations

from collections.abc import Sequence

import shapely
from shapely.geometry.base import BaseGeometry

from standfall.brief import Area
from standfall.findings import Finding, make_finding
from standfall.hall.shape import disc, place_of, read_polygon

#: Nobody and nothing is there.
SOLID = ("pillar", "hole")
#: No robot and no domino is there.
KEPT_CLEAR = ("exit", "escape_route", "fire_point", "no_go", "walkway")
#: Nobody walks there, besides what is solid.
CLOSED_TO_PEOPLE = ("no_go",)
#: Less floor than a square centimetre is no area.
AREA_LEAST_M2 = 1e-4


def area_shape(area: Area) -> shapely.Polygon | None:
    """Return an area as a polygon of the hall, ``None`` where it has no area.

    A circle becomes a polygon drawn round it. Where sides cross it is the hull of the corners, so that nothing
    that was to be kept clear is not.
    """
    if area.outline_m:
        return read_polygon(area.outline_m, AREA_LEAST_M2)[0]
    if area.centre_m is None or area.radius_m is None:
        return None
    return disc(*area.centre_m, area.radius_m)


def area_findings(areas: Sequence[Area], outline: shapely.Polygon) -> list[Finding]:
    """Find areas that are no polygon, and such as lie off the floor altogether."""
    findings = []
    for number, area in enumerate(areas):
        where, words = f"area[{number}]", f"{area.kind} {area.name!r}"
        fault = read_polygon(area.outline_m, AREA_LEAST_M2)[1] if area.outline_m else None
        if fault is not None:
            findings.append(
                make_finding(
                    "H801",
                    f"{where}.outline_m",
                    f"{words} is no area: {fault}",
                    value=fault,
                    limit="three or more different corners, in order, sides not crossing",
                    next_step="List its corners in order round it.",
                )
            )
        shape = area_shape(area)
        if shape is not None and not shape.intersects(outline):
            findings.append(
                make_finding(
                    "H802",
                    where,
                    f"{words} lies outside the hall, so it changes nothing",
                    value=place_of(shape),
                    limit=_extent(outline),
                    next_step="Check its place: the zero is that of hall.outline_m, in metres.",
                )
            )
    return findings


def covered_floor(free: BaseGeometry, areas: Sequence[Area]) -> list[Finding]:
    """Find that areas leave no floor for robots and dominoes."""
    if free.area >= AREA_LEAST_M2:
        return []
    return [
        make_finding(
            "H803",
            "area",
            "the areas leave no floor for dominoes and robots",
            value=f"{len(areas)} areas",
            limit="some floor that is in none of them",
            next_step="Check their corners and radii: metres, and millimetres for radius_mm.",
        )
    ]


def _extent(outline: shapely.Polygon) -> str:
    x_low, y_low, x_high, y_high = outline.bounds
    return f"floor x {x_low:g} to {x_high:g} m, y {y_low:g} to {y_high:g} m"
