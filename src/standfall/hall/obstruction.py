"""What the mural is in the way of: areas, docks, and people's ways out."""

from __future__ import annotations

from collections.abc import Sequence

import shapely
from shapely.geometry.base import BaseGeometry

from standfall.brief import Area, Crew
from standfall.findings import Finding, make_finding
from standfall.geometry.outline import EDGE_M
from standfall.hall.area import KEPT_CLEAR, SOLID
from standfall.hall.dock import docked, users
from standfall.hall.shape import place_of
from standfall.hall.site import Site

Shapes = Sequence[tuple[str, str, BaseGeometry]]

# Less floor than this in common is rounding of corners that touch.
_SHARED_M2 = 1e-6
WAYS_OUT = ("exit", "escape_route")


def mural_findings(site: Site, shapes: Shapes) -> list[Finding]:
    """Find fields and lines on floor that is not theirs, and ways out that they cut off.

    What reaches beyond the hall is S403 and S404, told where fields and lines are placed.

    Args:
        site: the hall.
        shapes: key path, name in words (``field 'mural'``) and footprint in the hall of each field and line.
    """
    findings: list[Finding] = []
    for where, words, footprint in shapes:
        findings += _on_areas(site, where, words, footprint)
        findings += _on_docks(site, where, words, footprint)
    return findings + _ways_out(site, [footprint for _, _, footprint in shapes])


def _on_areas(site: Site, where: str, words: str, footprint: BaseGeometry) -> list[Finding]:
    findings = []
    for area, shape in site.areas:
        common = footprint.intersection(shape)
        if area.kind in SOLID + KEPT_CLEAR and common.area > _SHARED_M2:
            findings.append(
                make_finding(
                    "H813",
                    where,
                    f"{words} stands on {area.kind} {area.name!r}",
                    value=f"{common.area:.3g} square metres at {place_of(common)}",
                    limit="no domino there",
                    next_step="Move the dominoes; keep exits, escape routes and fire points clear in any case.",
                )
            )
    return findings


def _on_docks(site: Site, where: str, words: str, footprint: BaseGeometry) -> list[Finding]:
    findings = []
    for number, dock in enumerate(site.docks):
        for user in users(dock, site.models):
            common = docked(dock, site.models[user]).buffer(site.laying.clearance_m).intersection(footprint)
            if common.area > _SHARED_M2:
                name = site.models[user].robot.name
                findings.append(
                    make_finding(
                        "H813",
                        where,
                        f"{words} stands where robot {name!r} does at dock[{number}] {dock.name!r}",
                        value=f"{common.area:.3g} square metres at {place_of(common)}",
                        limit="no domino there, nor nearer than laying.clearance_mm",
                        next_step="Move the dock or the dominoes.",
                    )
                )
    return findings


def _ways_out(site: Site, footprints: Sequence[BaseGeometry]) -> list[Finding]:
    """Find exits and escape routes that people who stand at the crew's dock cannot reach.

    A person is a circle of ``crew.room_mm``. Without a crew's dock they are taken to be on the largest floor.
    """
    ways = [(area, shape) for area, shape in site.areas if area.kind in WAYS_OUT]
    if not ways:
        return []
    radius_m = (site.worker.crew if site.worker is not None else Crew()).room_m / 2
    empty = site.for_people.buffer(-radius_m)
    full = empty.difference(shapely.union_all([footprint.buffer(radius_m) for footprint in footprints]))
    findings = []
    for area, shape in ways:
        if not _reached(site, full, shape, radius_m):
            findings.append(_cut_off(area, shape, before=not _reached(site, empty, shape, radius_m)))
    return findings


def _reached(site: Site, free: BaseGeometry, goal: shapely.Polygon, radius_m: float) -> bool:
    islands = [part for part in shapely.get_parts(free) if not part.is_empty]
    doors = [shapely.Point(dock.place_m) for dock in site.docks if dock.kind == "crew"]
    if doors:
        starts = [part for part in islands if any(part.distance(door) <= radius_m for door in doors)]
    else:
        starts = sorted(islands, key=lambda part: part.area)[-1:]
    return any(part.distance(goal) <= radius_m + EDGE_M for part in starts)


def _cut_off(area: Area, shape: shapely.Polygon, *, before: bool) -> Finding:
    why = "even in the empty hall" if before else "once all dominoes stand"
    return make_finding(
        "H814",
        "area",
        f"people cannot reach {area.kind} {area.name!r} {why}",
        value=place_of(shape),
        limit="a way as wide as crew.room_mm",
        next_step="Leave a way as wide as your local fire rules ask; they decide, not this check.",
    )
