"""Which robot serves which dock, and where each one is when it is at home."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from standfall.brief import Dock
from standfall.findings import Finding, make_finding
from standfall.routes.leg import DockWay
from standfall.routes.mover import Mover

Ways = Mapping[tuple[int, int, int], DockWay]


@dataclass(frozen=True)
class Member:
    """One robot that takes part.

    Attributes:
        name: of the robot.
        model: number in ``site.models``.
        home: dock it is at when nothing is to do, in the beginning too.
        own: docks that nobody else uses; it may stay at any of them.
        shared: loading docks it only visits, coming from home.
    """

    name: str
    model: int
    home: int
    own: tuple[int, ...]
    shared: tuple[int, ...]


def dock_ways(ways: Iterable[DockWay]) -> Ways:
    """Return the ways between docks by model, first and last dock, in both directions."""
    both: dict[tuple[int, int, int], DockWay] = {}
    for way in ways:
        both.setdefault((way.model, way.first, way.last), way)
        both.setdefault((way.model, way.last, way.first), way.reverse())
    return both


def make_fleet(
    docks: tuple[Dock, ...], movers: Mapping[int, Mover], used: Iterable[tuple[int, int]], ways: Ways
) -> tuple[list[Member], list[Finding]]:
    """Deal docks to robots.

    The robots of a model are dealt to the docks its trips begin at, in turn. A dock that one robot serves is its
    home. Robots that share a dock each need a parking or charging dock of their own, with a way to the shared one,
    for a robot that stands at the dock would keep the others from coming back; where that is missing, the first of
    them serves the dock alone and the others stay idle.

    Args:
        docks: of the site.
        movers: by number of the model.
        used: (model, dock) of all trips of robots.
        ways: between docks.
    """
    by_model: dict[int, list[int]] = {}
    for model, dock in sorted(set(used)):
        by_model.setdefault(model, []).append(dock)
    serves: dict[tuple[int, int], list[int]] = {}
    for model, its in by_model.items():
        count = len(movers[model].names)
        for turn in range(max(count, len(its))):
            serves.setdefault((model, turn % count), []).append(its[turn % len(its)])
    visitors: dict[int, list[tuple[int, int]]] = {}
    for robot, its in serves.items():
        for dock in its:
            visitors.setdefault(dock, []).append(robot)
    parked, findings = _parked(docks, movers, visitors, ways)
    members = []
    for robot, its in serves.items():
        own = tuple(dock for dock in its if visitors[dock] == [robot])
        shared = tuple(dock for dock in its if robot in visitors[dock] and len(visitors[dock]) > 1)
        if own or robot in parked:
            home = parked.get(robot, own[0] if own else -1)
            members.append(Member(movers[robot[0]].names[robot[1]], robot[0], home, own, shared))
    return members, findings


def _parked(
    docks: tuple[Dock, ...],
    movers: Mapping[int, Mover],
    visitors: dict[int, list[tuple[int, int]]],
    ways: Ways,
) -> tuple[dict[tuple[int, int], int], list[Finding]]:
    """Find a place for everyone who shares a dock; strike those who find none off ``visitors``."""
    parked: dict[tuple[int, int], int] = {}
    findings = []
    for dock, robots in sorted(visitors.items()):
        if len(robots) < 2:
            continue
        found: dict[tuple[int, int], int] = {}
        for robot in robots:
            taken = {*parked.values(), *found.values(), *visitors}
            place = parked.get(robot, _place(docks, robot[0], dock, taken, ways))
            if place is not None:
                found[robot] = place
        kept = list(found) if len(found) > 1 else robots[:1]
        if len(found) > 1:
            parked |= found
        findings += [
            _idle(movers[m].names[n], docks[dock], len(robots)) for m, n in robots if (m, n) not in kept
        ]
        visitors[dock] = kept
    return parked, findings


def _place(docks: tuple[Dock, ...], model: int, dock: int, taken: set[int], ways: Ways) -> int | None:
    for number, place in enumerate(docks):
        if place.kind in ("parking", "charging") and number not in taken and (model, number, dock) in ways:
            return number
    return None


def _idle(name: str, dock: Dock, sharers: int) -> Finding:
    return make_finding(
        "R922",
        f"dock {dock.name!r}",
        f"robot {name!r} is not used: it shares dock {dock.name!r} and has no place to wait for it",
        value=f"{sharers} robots for one loading dock",
        limit="a loading dock for each robot, or a parking dock for each that shares one",
        next_step="Add a loading dock for it; or parking docks, one for each robot that uses the shared dock, "
        "from which robots get to it when everything stands.",
    )
