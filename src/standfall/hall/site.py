"""The site: the floor, who may be where on it, the docks, and the robots and people made ready."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import shapely
from shapely.geometry.base import BaseGeometry

from standfall.brief import Area, Brief, Dock, Hall, Laying
from standfall.findings import Finding, make_finding
from standfall.geometry import floor_faults
from standfall.hall.area import CLOSED_TO_PEOPLE, KEPT_CLEAR, SOLID, area_findings, area_shape, covered_floor
from standfall.hall.dock import dock_findings
from standfall.hall.model import Model, Worker, crew_model, make_model
from standfall.hall.robot import robot_findings


@dataclass(frozen=True)
class Site:
    """The hall as a place to lay dominoes in. Shapes are in the hall's frame, metres.

    Attributes:
        outline: of the floor.
        floor: the outline without pillars and holes.
        for_robots: the floor without what is kept clear and where people walk.
        for_people: the floor without no-go areas.
        for_dominoes: the floor without what is kept clear and where people walk.
        docks: as in the brief.
        models: of the robots, in the order of the brief.
        worker: of the crew, ``None`` without one.
        areas: those that have a shape, with it; circles are polygons drawn round them.
        laying: clearances.
    """

    outline: shapely.Polygon
    floor: BaseGeometry
    for_robots: BaseGeometry
    for_people: BaseGeometry
    for_dominoes: BaseGeometry
    docks: tuple[Dock, ...]
    models: tuple[Model, ...]
    worker: Worker | None
    areas: tuple[tuple[Area, shapely.Polygon], ...]
    laying: Laying


def make_site(brief: Brief) -> tuple[Site | None, list[Finding]]:
    """Make the site of a brief ready, with all that is wrong with areas, robots and docks.

    Robots pass over dominoes where their parts are ``laying.over_m`` higher than a domino. What stands two high is in
    the way of every part; the laying order sees to that.

    Args:
        brief: whose keys are sound; they may still contradict each other.

    Returns:
        The site, and the findings. The site is ``None`` only when the floor itself is no polygon.
    """
    if floor_faults(brief.hall.outline_m) is not None:
        return None, floor_findings(brief.hall)
    outline = shapely.Polygon(brief.hall.outline_m)
    site = _site(brief, outline)
    findings = area_findings(brief.areas, outline) + covered_floor(site.for_robots, brief.areas)
    more, doubtful = robot_findings(site.models, brief.tray, brief.domino, brief.laying)
    findings += more
    findings += dock_findings(site, doubtful)
    return site, findings


def floor_findings(hall: Hall) -> list[Finding]:
    """Find an outline that is no floor; that there is none at all is told by the brief's own checks."""
    fault = floor_faults(hall.outline_m) if hall.outline_m else None
    if fault is None:
        return []
    return [
        make_finding(
            "S407",
            "hall.outline_m",
            f"the hall's outline is no floor: {fault}",
            value=fault,
            limit="three or more different corners, in order, sides not crossing",
            next_step="List the corners in order round the hall.",
        )
    ]


def _site(brief: Brief, outline: shapely.Polygon) -> Site:
    areas = [(area, shape) for area in brief.areas if (shape := area_shape(area)) is not None]
    floor = _without(outline, areas, SOLID)
    free = _without(floor, areas, KEPT_CLEAR)
    return Site(
        outline=outline,
        floor=floor,
        for_robots=free,
        for_people=_without(floor, areas, CLOSED_TO_PEOPLE),
        for_dominoes=free,
        docks=brief.docks,
        models=tuple(make_model(robot, brief.domino.height_m, brief.laying.over_m) for robot in brief.robots),
        worker=None if brief.crew is None else crew_model(brief.crew),
        areas=tuple(areas),
        laying=brief.laying,
    )


def _without(
    floor: BaseGeometry, areas: Sequence[tuple[Area, shapely.Polygon]], kinds: Collection[str]
) -> BaseGeometry:
    return floor.difference(shapely.union_all([shape for area, shape in areas if area.kind in kinds]))
