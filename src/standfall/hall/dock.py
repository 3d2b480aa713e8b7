"""Docks: on free floor, with room for the robots that use them, and enough of them."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
import shapely
from scipy.sparse import csr_array
from scipy.sparse.csgraph import maximum_bipartite_matching
from shapely.geometry.base import BaseGeometry

from standfall.brief import Area, Dock
from standfall.brief.unit import MM
from standfall.findings import Finding, make_finding
from standfall.geometry import grown
from standfall.geometry.outline import EDGE_M
from standfall.hall.area import CLOSED_TO_PEOPLE, KEPT_CLEAR, SOLID
from standfall.hall.model import Model
from standfall.hall.shape import disc, in_hall, place_of, place_words, posed

if TYPE_CHECKING:
    from standfall.hall.site import Site

# Less floor than this is rounding of corners.
_SLIVER_M2 = 1e-9


def dock_findings(site: Site, doubtful: Collection[int] = ()) -> list[Finding]:
    """Find docks that nobody can use, or not all who are to use them.

    Args:
        site: with its docks and models.
        doubtful: numbers of the robots whose shape is in doubt; theirs is not held against docks.
    """
    findings: list[Finding] = []
    sound = []
    for number in range(len(site.docks)):
        off = _off_floor(site, number)
        findings += off or _room(site, number, doubtful)
        if not off:
            sound.append(number)
    findings += _too_close(site, [n for n in sound if site.docks[n].kind != "crew"], doubtful)
    findings += _too_few(site)
    return findings


def users(dock: Dock, models: Sequence[Model]) -> tuple[int, ...]:
    """Return the numbers of the robots that use a dock."""
    if dock.kind == "crew":
        return ()
    return tuple(
        number for number, model in enumerate(models) if not dock.robots or model.robot.name in dock.robots
    )


def docked(dock: Dock, model: Model) -> BaseGeometry:
    """Return the shape of a robot, all of its parts, standing at a dock."""
    return posed(model.body, *dock.place_m, dock.heading_rad)


def _open_to(site: Site, dock: Dock) -> tuple[BaseGeometry, tuple[str, ...]]:
    """Return the floor that users of a dock may be on, and the kinds of area that they may not."""
    if dock.kind == "crew":
        return site.for_people, SOLID + CLOSED_TO_PEOPLE
    return site.for_robots, SOLID + KEPT_CLEAR


def _off_floor(site: Site, number: int) -> list[Finding]:
    dock = site.docks[number]
    free, closed = _open_to(site, dock)
    point = shapely.Point(dock.place_m)
    if free.distance(point) <= EDGE_M:
        return []
    holders = [area for area, shape in site.areas if area.kind in closed and shape.covers(point)]
    reason = f"in {_names(holders)}" if holders else "outside the hall"
    return [
        make_finding(
            "H804",
            f"dock[{number}].place_m",
            f"dock {dock.name!r} lies {reason}",
            value=place_words(*dock.place_m),
            limit="floor that people may be on" if dock.kind == "crew" else "floor that robots may be on",
            next_step="Move the dock, or correct the area."
            if holders
            else "Check its place, or hall.outline_m.",
        )
    ]


def _room(site: Site, number: int, doubtful: Collection[int]) -> Iterator[Finding]:
    """Yield what keeps a dock's users from standing, or turning, at it."""
    dock = site.docks[number]
    kept_m = site.laying.clearance_m + site.laying.corner_m
    if dock.kind == "crew":
        if site.worker is not None:
            person = posed([grown(piece, kept_m) for piece in site.worker.travel], *dock.place_m, 0.0)
            yield from _no_room(site, number, person, kept_m, "a person")
        return
    for user in users(dock, site.models):
        if user in doubtful:
            continue
        model = site.models[user]
        name = f"robot {model.robot.name!r}"
        # Grown as for the ways there: what fits here is not refused by them.
        shape = posed([grown(piece, kept_m) for piece in model.body], *dock.place_m, dock.heading_rad)
        faults = list(_no_room(site, number, shape, kept_m, name))
        yield from faults or _no_turn(site, model, kept_m, number)


def _no_room(site: Site, number: int, shape: BaseGeometry, kept_m: float, who: str) -> Iterator[Finding]:
    free, closed = _open_to(site, site.docks[number])
    over = shape.difference(free.buffer(EDGE_M))
    if over.area < _SLIVER_M2:
        return
    near = [area for area, its in site.areas if area.kind in closed and its.intersects(over)]
    what = [_names(near)] if near else []
    if not near or over.difference(site.outline).area > _SLIVER_M2:
        what.append("the edge of the hall")
    yield make_finding(
        "H805",
        f"dock[{number}]",
        f"{who} does not fit at dock {site.docks[number].name!r}: {' and '.join(what)} in the way",
        value=place_of(over),
        limit=f"{MM.from_si(kept_m):g} mm free all round, laying.clearance_mm + corner_mm",
        next_step="Move or turn the dock, or check the outline of the robot's parts.",
    )


def _no_turn(site: Site, model: Model, kept_m: float, number: int) -> Iterator[Finding]:
    dock, robot = site.docks[number], model.robot
    x_m, y_m = in_hall(np.array([robot.turn_centre_m]), *dock.place_m, dock.heading_rad)[0]
    over = disc(x_m, y_m, model.body_radius_m + kept_m).difference(site.for_robots.buffer(EDGE_M))
    if over.area < _SLIVER_M2:
        return
    must = robot.drive == "differential"
    yield make_finding(
        "H806" if must else "H807",
        f"dock[{number}]",
        f"robot {robot.name!r} cannot turn at dock {dock.name!r}",
        value=place_of(over),
        limit=f"a free circle of radius {MM.from_si(model.body_radius_m + kept_m):g} mm round "
        f"{place_words(x_m, y_m)}",
        next_step="Move the dock away from walls and areas so that it can turn before it drives on."
        if must
        else "None needed if it can drive off without turning; otherwise move the dock.",
    )


def _too_close(site: Site, docks: Sequence[int], doubtful: Collection[int]) -> Iterator[Finding]:
    """Yield a finding for each pair of docks at which two robots would stand in each other."""
    shapes = {
        (number, user): docked(site.docks[number], site.models[user])
        for number in docks
        for user in users(site.docks[number], site.models)
        if user not in doubtful
    }
    for first, second in combinations(docks, 2):
        gaps = [
            (one.distance(other), one, other)
            for (its, user), one in shapes.items()
            if its == first
            for (others, another), other in shapes.items()
            if others == second and (user != another or site.models[user].robot.count > 1)
        ]
        gap_m, one, other = min(gaps, key=lambda gap: gap[0], default=(np.inf, None, None))
        if one is None or gap_m >= site.laying.clearance_m - EDGE_M:
            continue
        spot = shapely.shortest_line(one, other).centroid
        yield make_finding(
            "H811",
            f"dock[{first}] and dock[{second}]",
            f"two robots at docks {site.docks[first].name!r} and {site.docks[second].name!r} stand in each other's way "
            f"at {place_words(spot.x, spot.y)}",
            value=f"{MM.from_si(gap_m):.3g} mm apart",
            limit=f"{MM.from_si(site.laying.clearance_m):g} mm, laying.clearance_mm",
            next_step="Move the docks apart, or let only one of the robots use them.",
        )


def _too_few(site: Site) -> list[Finding]:
    """Find that not every robot has a dock of its own to stand at while the others drive: it is of no use then.

    Robots and the docks they may use are a bipartite graph; its greatest matching says how many find a place.
    """
    choices = [
        [number for number, dock in enumerate(site.docks) if user in users(dock, site.models)]
        for user, model in enumerate(site.models)
        for _ in range(model.robot.count)
    ]
    choices = [docks for docks in choices if docks]  # one without any dock is told by the brief's own checks
    if not choices:
        return []
    robot = np.repeat(np.arange(len(choices)), [len(docks) for docks in choices])
    dock = np.concatenate([np.array(docks) for docks in choices])
    graph = csr_array((np.ones(len(dock), np.int8), (robot, dock)), shape=(len(choices), len(site.docks)))
    placed = int((maximum_bipartite_matching(graph, perm_type="column") >= 0).sum())
    if placed == len(choices):
        return []
    return [
        make_finding(
            "H812",
            "dock",
            f"{len(choices)} robots have docks for {placed} of them: each needs one to stand at while others drive",
            value=placed,
            limit=f"{len(choices)} docks, one for each robot",
            next_step='Add a [[dock]] with kind = "parking" for each robot that has none.',
        )
    ]


def _names(areas: Sequence[Area]) -> str:
    return " and ".join(f"{area.kind} {area.name!r}" for area in areas[:3])
