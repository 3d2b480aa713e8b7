"""What a build lead reads when steps cannot be reached, and about robots and docks that serve nothing."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from standfall.findings import Finding, make_finding
from standfall.hall.model import Model
from standfall.hall.shape import place_words
from standfall.hall.site import Site
from standfall.routes.access import Access
from standfall.routes.exact_free import ExactFree
from standfall.routes.free_cells import Ground, begin_state
from standfall.routes.stance import serves
from standfall.routes.step import KINDS, Steps

Floats = NDArray[np.float64]

TILE = KINDS.index("tile")
# Numbers listed in one sentence.
_NAMED_MOST = 8
# A lane is measured to this.
_LANE_M = 0.001


def access_findings(ground: Ground, access: Access, robots: bool = True) -> list[Finding]:
    """Say what cannot be laid and why, what only people can lay, and which robots and docks are of no use.

    Args:
        ground: the hall and all ways.
        access: what was found on it.
        robots: look for robots and docks of no use, too, which does not depend on what stands.
    """
    findings = (
        _trapped_tiles(ground, access) + _trapped_hand_work(ground, access) + _only_by_hand(ground, access)
    )
    if (
        robots
        and ground.site.models
        and not _tiles_by_hand(ground.site)
        and (ground.steps.kind == TILE).any()
    ):
        findings += _useless(ground)
    return findings


def _tiles_by_hand(site: Site) -> bool:
    return site.worker is not None and site.worker.crew.tiles_by_hand


def _named(steps: Steps, numbers: Iterable[int]) -> str:
    """Name steps: tiles by number, hand work by kind and place."""
    words = []
    tiles = [str(int(steps.tile[step])) for step in numbers if steps.kind[step] == TILE]
    others = [step for step in numbers if steps.kind[step] != TILE]
    if tiles:
        shown = ", ".join(tiles[:_NAMED_MOST])
        more = f" and {len(tiles) - _NAMED_MOST} more" if len(tiles) > _NAMED_MOST else ""
        words.append(f"tile{'s' if len(tiles) > 1 else ''} {shown}{more}")
    words += [_hand_words(steps, step) for step in others[:2]]
    if len(others) > 2:
        words.append(f"{len(others) - 2} more pieces of hand work")
    return " and ".join(words)


def _hand_words(steps: Steps, step: int) -> str:
    kind = KINDS[int(steps.kind[step])]
    words = {"gap": "rows left open", "stack": "stacked rows", "line": "a line"}[kind]
    return f"{words} at {place_words(float(steps.x_m[step]), float(steps.y_m[step]))}"


def _trapped_tiles(ground: Ground, access: Access) -> list[Finding]:
    steps = ground.steps
    tiles = [step for step in access.trapped if steps.kind[step] == TILE]
    if not tiles:
        return []
    findings = []
    listed = np.zeros(len(steps), np.bool_)
    listed[ground.stances.step] = True
    at_wall = [] if _tiles_by_hand(ground.site) else [step for step in tiles if not listed[step]]
    if at_wall:
        findings.append(
            make_finding(
                "R902",
                _named(steps, at_wall[:1]),
                f"no robot can set down and leave {_named(steps, at_wall)}: a wall, an area or its own tile is in "
                "the way",
                value=len(at_wall),
                limit="room for the robot at the tile and behind it",
                next_step="Move the field away from the edge, add a direction to leave_deg or tray_turns_deg, or "
                "add a [crew] that lays these tiles.",
            )
        )
    others = [step for step in tiles if listed[step] or step not in at_wall]
    if others:
        findings.append(_trapped(ground, access, others))
    return findings


def _trapped(ground: Ground, access: Access, tiles: Sequence[int]) -> Finding:
    steps = ground.steps
    # The one with the fewest in its way explains best.
    first = min(
        tiles, key=lambda step: (not access.trapped_by.get(step), len(access.trapped_by.get(step, ())), step)
    )
    by = access.trapped_by.get(first, ())
    why = f"{_named(steps, by)} in its way" if by else "no way to it even on an empty floor"
    left_out = [step for step in access.left_out if steps.kind[step] == TILE]
    proof = "no order lays more" if access.proven else f"no order lays more than {access.layable_most}"
    rest = (
        f"Without {_named(steps, left_out or tiles)} the other {len(access.order)} steps can be laid; {proof}"
        if len(access.order)
        else f"There was nothing to lay but {_named(steps, left_out or tiles)}"
    )
    place = place_words(float(steps.x_m[first]), float(steps.y_m[first]))
    return make_finding(
        "R901",
        _named(steps, [first]),
        f"{len(tiles)} tiles cannot all be laid: {_named(steps, [first])} has {why} ({place}). {rest}",
        value=len(tiles),
        limit=access.layable_most,
        next_step="Leave rows open for the robot with gap_rows, let a [crew] lay these tiles, take a robot that "
        "leaves in another direction or has nothing low beside its tray, or leave these tiles out.",
    )


def _trapped_hand_work(ground: Ground, access: Access) -> list[Finding]:
    steps = ground.steps
    findings = []
    for step in access.trapped:
        if steps.kind[step] == TILE:
            continue
        by = access.trapped_by.get(step, ())
        why = (
            f"{_named(steps, by)} in the way"
            if by
            else "not even on an empty floor is there a place to kneel that people get to"
        )
        findings.append(
            make_finding(
                "R903",
                _hand_words(steps, step),
                f"{_hand_words(steps, step)} cannot be laid by hand: {why}",
                value=int(steps.dominoes[step]),
                limit=f"within {1000 * (ground.hand.reach_m):.0f} mm of the middle of a kneeling person",
                next_step="Leave room to kneel beside it, lay it in another order of lines, or give crew a longer "
                "reach_mm or a smaller room_mm if that is true.",
            )
        )
    return findings


def _only_by_hand(ground: Ground, access: Access) -> list[Finding]:
    if _tiles_by_hand(ground.site) or not ground.site.models:
        return []
    steps = ground.steps
    mine = access.stance.step[(access.stance.model < 0) & (steps.kind[access.stance.step] == TILE)]
    tiles = sorted(int(step) for step in mine)
    if not tiles:
        return []
    return [
        make_finding(
            "R904",
            _named(steps, tiles[:1]),
            f"only people can lay {_named(steps, tiles)}: no robot gets there while the rest stands",
            value=len(tiles),
            limit=0,
            next_step="Plan the crew's time for them, or change what is in the robot's way.",
        )
    ]


def _useless(ground: Ground) -> list[Finding]:
    """Find robots that lay nothing, docks that lead nowhere, and lanes too narrow, all on the empty floor."""
    site = ground.site
    nothing = np.zeros(len(ground.steps), np.bool_)
    of_stance, _ = ExactFree(ground).docks_of(begin_state(ground, nothing, nothing))
    findings: list[Finding] = []
    for number, model in enumerate(site.models):
        rows = np.flatnonzero(ground.stances.model == number)
        reached = [row for row in rows if of_stance[row]]
        if not reached:
            findings.append(_idle_robot(number, model, len(rows)))
        layers = [k for k, layer in enumerate(ground.layers) if layer.model == number]
        for at, dock in enumerate(site.docks):
            if dock.kind != "loading" or not serves(dock.robots, model) or not len(rows):
                continue
            mine = {d for d in _dock_rows(ground, at, number) if ground.ways.dock_layer[d] in layers}
            if not any(of_stance[row] & mine for row in rows):
                findings.append(_cut_off(ground, model, at))
                findings += _narrow_lane(ground, model, at, rows)
    return findings


def _dock_rows(ground: Ground, dock: int, model: int) -> list[int]:
    """Return the dock places of the kernels that belong to a dock and a model: the layers list them in order."""
    site = ground.site
    rows, row = [], 0
    for layer in ground.layers:
        if layer.model < 0:
            continue
        for at, one in enumerate(site.docks):
            if one.kind != "loading" or not serves(one.robots, site.models[layer.model]):
                continue
            turned_off = (
                layer.yaw_rad is not None
                and abs(math.remainder(layer.yaw_rad - one.heading_rad, 2 * math.pi)) >= 1e-8
            )
            if turned_off:
                continue
            if at == dock and layer.model == model:
                rows.append(row)
            row += 1
    return rows


def _idle_robot(number: int, model: Model, stances: int) -> Finding:
    why = (
        "no tile can be set down and left by it, not even in an empty hall"
        if stances == 0
        else "no tile can be reached from its docks, not even in an empty hall"
    )
    return make_finding(
        "R905",
        f"robot[{number}]",
        f"{model.robot.name!r} can lay no tile: {why}",
        value=0,
        limit="at least one tile",
        next_step="Check its parts (metres, zero at the middle of the tray opening), tray_turns_deg and leave_deg, "
        "and its docks.",
    )


def _cut_off(ground: Ground, model: Model, dock: int) -> Finding:
    one = ground.site.docks[dock]
    return make_finding(
        "R906",
        f"dock[{dock}]",
        f"{model.robot.name!r} has no way from dock {one.name!r} to any tile, not even in an empty hall",
        value=place_words(*one.place_m),
        limit="a way with the clearances of [laying]",
        next_step="Move the dock, widen what is between, or name the robots that use it in its robots.",
    )


def _narrow_lane(ground: Ground, model: Model, dock: int, rows: NDArray[np.int64]) -> list[Finding]:
    """Find that the widest way from a dock to the tiles has a lane narrower than the robot."""
    site = ground.site
    targets = shapely.multipoints(np.stack([ground.stances.x_m[rows], ground.stances.y_m[rows]], axis=-1))
    width = lane_width_m(site.for_robots, site.docks[dock].place_m, targets, model.body_radius_m)
    room = 2 * (site.laying.clearance_m + site.laying.corner_m)
    needs = _least_width_m(model) + room
    if width >= needs:
        return []
    return [
        make_finding(
            "R907",
            f"dock[{dock}]",
            f"on the widest way from dock {site.docks[dock].name!r} to the tiles the narrowest lane is "
            f"{1000 * width:.0f} mm wide; {model.robot.name!r} needs {1000 * needs:.0f} mm",
            value=round(1000 * width),
            limit=round(1000 * needs),
            next_step="Widen the lane, use a dock on the other side of it, or a narrower robot.",
        )
    ]


def _least_width_m(model: Model) -> float:
    """Return the least distance of two parallel lines that hold the robot; where it must turn, its turning circle."""
    if model.robot.drive != "omnidirectional":
        return 2 * model.body_radius_m
    corners = np.concatenate([*model.body, np.empty((0, 2))])
    hull = shapely.get_coordinates(shapely.convex_hull(shapely.multipoints(corners)))
    edges = np.diff(hull, axis=0)
    normals = np.stack([-edges[:, 1], edges[:, 0]], axis=-1) / np.hypot(edges[:, 0], edges[:, 1])[:, None]
    # The least width of a convex polygon is met with a line along one of its sides.
    across = hull @ normals.T
    return float((across.max(axis=0) - across.min(axis=0)).min())


def lane_width_m(
    floor: shapely.Geometry, start_m: tuple[float, float], targets: shapely.Geometry, reach_m: float
) -> float:
    """Return the width of the narrowest place on the widest way from a start to any target, to a millimetre.

    A disc of that diameter can go from near the start to near a target. By bisection over floors eroded by half the
    width.

    Args:
        floor: free floor.
        start_m: where the way begins.
        targets: points.
        reach_m: how near to start and targets counts.
    """
    start = shapely.Point(start_m)
    low_x, low_y, high_x, high_y = floor.bounds
    low, high = 0.0, math.hypot(high_x - low_x, high_y - low_y)
    while high - low > _LANE_M / 2:
        width = (low + high) / 2
        parts = shapely.get_parts(shapely.buffer(floor, -width / 2))
        joined = (shapely.distance(parts, start) <= reach_m) & (shapely.distance(parts, targets) <= reach_m)
        low, high = (width, high) if joined.any() else (low, width)
    return low
