"""The laying planned: steps, stances, an order with short ways, trips with times."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from standfall.brief import Brief
from standfall.findings import Finding, StandfallError, blocked
from standfall.geometry.convex import Convex
from standfall.hall.model import crew_model
from standfall.hall.site import Site, make_site
from standfall.mural.standing import Standing
from standfall.routes.access import Access, find_access
from standfall.routes.access_findings import access_findings
from standfall.routes.at_risk import at_risk
from standfall.routes.bound import lower_bound_m
from standfall.routes.course import LayerFloor, make_layer_floor
from standfall.routes.dock_way import make_dock_ways
from standfall.routes.free_cells import Ground, make_ground
from standfall.routes.layer import Layer, static_obstacles
from standfall.routes.leg import DockWay, Leg
from standfall.routes.legs import Legs, lost_findings, make_legs
from standfall.routes.plan import Routes
from standfall.routes.preference import preferences
from standfall.routes.roads import Roads
from standfall.routes.slow import SlowZones
from standfall.routes.stance import Stances, make_stances
from standfall.routes.step import Steps, make_steps
from standfall.routes.traffic import plan_traffic
from standfall.tiles import Tiling, turned

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Progress = Callable[[int, int, str], None]

#: An order whose driving is within this of the lower bound is taken without trying another.
GOOD_ENOUGH = 0.02
#: Of orders whose driving is within this of the shortest, the one that risks least is taken.
ALIKE = 0.01
# A point robot, so small that no hall has room for less.
_POINT_M = 1e-6


@dataclass(frozen=True)
class Laid:
    """What planning the laying gives: routes, and tiles and dominoes with their trays turned as they are set down.

    ``routes`` is ``None`` when nothing can be laid or trips cannot be made; the findings say why.
    """

    routes: Routes | None
    tiling: Tiling
    standing: Standing
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class Floor:
    """All that does not depend on the order: made once, used for every order and every re-planning."""

    brief: Brief
    site: Site
    tiling: Tiling
    steps: Steps
    stances: Stances
    layers: tuple[Layer, ...]
    floors: tuple[LayerFloor, ...]
    ground: Ground
    point_roads: Roads
    dock_m: Floats


@dataclass(frozen=True)
class _Try:
    """One order that was tried."""

    front: str
    access: Access
    legs: Legs
    risk: float


def plan_routes(
    brief: Brief, site: Site, standing: Standing, tiling: Tiling, progress: Progress | None = None
) -> Laid:
    """Plan how a build is laid.

    Orders are tried that advance in different ways (``preferences``); every one of them lays all that can be laid.
    The one with the shortest driving is taken, and of those within 1 % of it the one that puts least at risk.

    Args:
        brief: all keys.
        site: the hall.
        standing: all dominoes, with their tiles.
        tiling: the tiles.
        progress: callback (done, total, what); a KeyboardInterrupt in it stops the work without harm.
    """
    floor = make_floor(brief, site, standing, tiling, progress)
    nothing = np.zeros(len(floor.steps), np.bool_)
    best, findings = _best_order(floor, nothing, ~nothing, progress)
    if best is None:
        return Laid(None, tiling, standing, tuple(findings))
    routes, more = routes_of(floor, best.access, best.legs, best.front, best.risk, nothing, progress)
    findings += more
    if brief.tray is not None and len(tiling):
        turn = tiling.turn_deg.copy()
        by_robot = best.access.stance.model >= 0
        turn[best.access.order[by_robot]] = best.access.stance.turn_deg[by_robot]
        tiling, standing = turned(tiling, standing, turn, brief.tray)
    return Laid(routes, tiling, standing, tuple(findings))


def make_floor(
    brief: Brief, site: Site, standing: Standing, tiling: Tiling, progress: Progress | None = None
) -> Floor:
    """Work out all that does not depend on the order of laying."""
    _tell(progress, 0, 4, "ways to set down")
    if site.worker is None:
        # Hand work needs somebody, whether or not the brief says who.
        site = replace(site, worker=crew_model(brief.hands))
    steps = make_steps(brief, standing, tiling)
    stances, layers = make_stances(brief, site, steps, tiling)
    _tell(progress, 1, 4, "free floor")
    ground = make_ground(site, steps, stances, layers)
    box_m = site.outline.bounds
    floors = tuple(
        make_layer_floor(layer, Roads(static_obstacles(layer, _ground_of(site, layer)), box_m), steps)
        for layer in layers
    )
    _tell(progress, 2, 4, "ways through the empty hall")
    corner = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]) * _POINT_M
    point = Layer(-1, None, (corner,), (corner,))
    point_roads = Roads(static_obstacles(point, site.for_robots), box_m)
    dock_m = _dock_distance_m(site, steps)
    _tell(progress, 4, 4, "ways through the empty hall")
    return Floor(brief, site, tiling, steps, stances, layers, floors, ground, point_roads, dock_m)


def _ground_of(site: Site, layer: Layer) -> shapely.Geometry:
    return site.for_people if layer.model < 0 else site.for_robots


def _dock_distance_m(site: Site, steps: Steps) -> Floats:
    """Return how far each step is from the nearest place where trips begin, in a straight line."""
    kinds = ("loading", "crew") if site.models else ("crew", "loading")
    for kind in kinds:
        places = [dock.place_m for dock in site.docks if dock.kind == kind]
        if places:
            return np.asarray(np.min([np.hypot(steps.x_m - x, steps.y_m - y) for x, y in places], axis=0))
    low_x, low_y, _, _ = site.outline.bounds
    return np.asarray(np.hypot(steps.x_m - low_x, steps.y_m - low_y))


def _best_order(
    floor: Floor, standing: Bools, wanted: Bools, progress: Progress | None
) -> tuple[_Try | None, list[Finding]]:
    """Try orders until one is good enough, and choose."""
    site, steps = floor.site, floor.steps
    movers = sum(len(model.names) for model in site.models) or (len(site.worker.names) if site.worker else 1)
    tries: list[_Try] = []
    hand_allowed = np.full(len(steps), floor.brief.crew is not None)
    here = np.flatnonzero(standing).tolist()
    for front, preference in preferences(floor.brief, steps, floor.tiling, floor.dock_m, movers):
        access = find_access(
            site,
            steps,
            floor.stances,
            floor.layers,
            preference=preference,
            standing=standing,
            wanted=wanted,
            hand_allowed=hand_allowed,
            ground=floor.ground,
        )
        legs = make_legs(site, steps, access, floor.floors, here, progress)
        risk = at_risk(floor.brief, steps, floor.tiling, access.order)
        tries.append(_Try(front, access, legs, risk))
        bound = lower_bound_m(site, floor.stances, legs.legs, floor.point_roads)
        near = not legs.lost and legs.driven_m <= (1 + GOOD_ENOUGH) * bound
        if access.trapped or not len(floor.tiling) or near:
            break
    findings = access_findings(floor.ground, tries[0].access)
    # A try that loses steps drives less for it.
    fewest = min(len(attempt.legs.lost) for attempt in tries)
    tries = [attempt for attempt in tries if len(attempt.legs.lost) == fewest]
    shortest = min(attempt.legs.driven_m for attempt in tries)
    alike = [attempt for attempt in tries if attempt.legs.driven_m <= (1 + ALIKE) * shortest + 1e-9]
    best = min(alike, key=lambda attempt: attempt.risk)
    findings += lost_findings(steps, best.access, best.legs.lost)
    if not len(best.access.order) or best.legs.lost:
        return None, findings
    return best, findings


def routes_of(
    floor: Floor,
    access: Access,
    legs: Legs,
    front: str,
    risk: float,
    standing: Bools,
    progress: Progress | None,
) -> tuple[Routes | None, list[Finding]]:
    """Make the trips of an order."""
    steps, site, laying = floor.steps, floor.site, floor.brief.laying
    place = np.full(len(steps), np.iinfo(np.int32).max, np.int64)
    place[access.order] = np.arange(len(access.order))
    place[standing] = -1
    zones = SlowZones(floor.layers, steps, place, laying.slow_zone_m, site.outline.bounds)
    layer_of = dict(zip(access.order.tolist(), access.stance.layer.tolist(), strict=True))
    ways = make_dock_ways(site, floor.floors, _everything(steps, access, standing))

    def slow(way: Leg | DockWay, x_m: Floats, y_m: Floats) -> Bools:
        if isinstance(way, DockWay):
            return np.zeros(len(x_m), np.bool_)
        return zones.slow(layer_of[way.step], int(place[way.step]), x_m, y_m)

    def in_way(leg: Leg, step: int) -> Convex:
        return floor.floors[layer_of[leg.step]].of_step(step)

    trips, findings = plan_traffic(
        site, legs.legs, in_way, slow=slow, ways=ways, after=steps.after, progress=progress
    )
    if trips is None or blocked(findings):
        return None, findings
    bound = lower_bound_m(site, floor.stances, legs.legs, floor.point_roads)
    return Routes(steps, access, trips, front, bound, risk), findings


def _everything(steps: Steps, access: Access, standing: Bools) -> list[int]:
    return sorted({*access.order.tolist(), *np.flatnonzero(standing).tolist()})


def plan_rest(
    floor: Floor,
    laid: Iterable[int],
    *,
    forbidden: Iterable[int] = (),
    front: Floats | None = None,
    progress: Progress | None = None,
) -> tuple[Access, Legs, tuple[Finding, ...]]:
    """Plan what is still to be laid, whatever has been laid, has fallen or must not be laid.

    Args:
        floor: ``make_floor`` of the build.
        laid: steps that stand. What has fallen is not among them: it is cleared away and laid again.
        forbidden: steps that are not to be laid.
        front: (n,) preference; the order in which the whole was planned keeps the rest as close to it as it can be.
            Far first when left out.
        progress: callback (done, total, what).

    Returns:
        Order and stances of the rest, its ways, and findings: what only people can lay now, and what nobody can.
    """
    steps, site = floor.steps, floor.site
    standing, wanted = np.zeros(len(steps), np.bool_), np.ones(len(steps), np.bool_)
    standing[list(laid)] = True
    wanted[list(forbidden)] = False
    wanted &= ~standing
    preference = front
    if preference is None:
        preference = next(iter(preferences(floor.brief, steps, floor.tiling, floor.dock_m, 1)))[1]
    access = find_access(
        site,
        steps,
        floor.stances,
        floor.layers,
        preference=preference,
        standing=standing,
        wanted=wanted,
        hand_allowed=np.ones(len(steps), np.bool_),
        ground=floor.ground,
        thorough=False,
    )
    legs = make_legs(site, steps, access, floor.floors, np.flatnonzero(standing).tolist(), progress)
    findings = [
        *access_findings(floor.ground, access, robots=False),
        *lost_findings(steps, access, legs.lost),
    ]
    return access, legs, tuple(findings)


def plan_build_rest(
    brief: Brief,
    standing: Standing,
    tiling: Tiling,
    order: NDArray[np.integer],
    laid: Bools,
    forbidden: Bools,
    progress: Progress | None = None,
) -> tuple[Floor, Access, tuple[Finding, ...]]:
    """Plan the rest of a build as close to its planned order as can be.

    Args:
        brief, standing, tiling: of the plan.
        order: its steps in laying order.
        laid: (n,) steps that stand.
        forbidden: (n,) steps that are not to be laid.
        progress: callback (done, total, what).

    Raises:
        StandfallError: the hall of the brief is no floor.
    """
    site, _ = make_site(brief)
    if site is None:
        raise StandfallError("the hall of this build is no floor")
    floor = make_floor(brief, site, standing, tiling, progress)
    front = np.zeros(len(floor.steps))
    # What was to be laid last is taken away first.
    front[order] = -np.arange(len(order))
    access, _, findings = plan_rest(
        floor, np.flatnonzero(laid), forbidden=np.flatnonzero(forbidden), front=front, progress=progress
    )
    return floor, access, findings


def _tell(progress: Progress | None, done: int, total: int, what: str) -> None:
    if progress is not None:
        progress(done, total, what)
