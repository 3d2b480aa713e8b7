"""An invented depot with docks and areas, and a laying order and trips made by hand: for tests of floor plans.

Nothing here is planned: the order runs row by row from the far side, and a trip is a straight way there and back.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace

import numpy as np
from paper_plan import Wish, make_test_plan

from standfall.brief import Area, Crew, Dock, Hall, PathPart, Robot, RobotPart
from standfall.brief import Line as BriefLine
from standfall.hall.site import Site, make_site
from standfall.papers.floor_plan import FloorPlanDrawing, floor_plan_drawing
from standfall.routes.access import Access
from standfall.routes.stance import Stances
from standfall.routes.step import KINDS, Steps, make_steps
from standfall.routes.track import PHASES
from standfall.routes.trip import Trips

DEPOT_M = ((0.0, 0.0), (18.0, 0.0), (18.0, 10.0), (15.0, 10.0), (15.0, 14.0), (0.0, 14.0))

AREAS = (
    Area(name="pillar 1", kind="pillar", outline_m=((3.0, 9.0), (3.4, 9.0), (3.4, 9.4), (3.0, 9.4))),
    Area(name="pillar 2", kind="pillar", outline_m=((3.0, 4.0), (3.4, 4.0), (3.4, 4.4), (3.0, 4.4))),
    Area(name="pit", kind="hole", outline_m=((1.6, 6.0), (2.8, 6.0), (2.8, 7.6), (1.6, 7.6))),
    Area(name="exit east", kind="exit", outline_m=((16.6, 4.0), (18.0, 4.0), (18.0, 6.0), (16.6, 6.0))),
    Area(
        name="way to the yard",
        kind="escape_route",
        outline_m=((0.0, 0.0), (13.0, 0.0), (13.0, 1.2), (0.0, 1.2)),
    ),
    Area(name="hose reel", kind="fire_point", centre_m=(0.6, 12.0), radius_m=0.6),
    Area(name="switch room", kind="no_go", outline_m=((15.2, 7.6), (18.0, 7.6), (18.0, 10.0), (15.2, 10.0))),
    Area(name="visitors", kind="walkway", outline_m=((0.0, 2.6), (0.9, 2.6), (0.9, 10.0), (0.0, 10.0))),
)

CART = Robot(
    name="cart",
    count=2,
    drive="omnidirectional",
    speed_m_s=0.8,
    acceleration_m_s2=0.5,
    turn_rad_s=1.0,
    turn_acceleration_rad_s2=1.0,
    slow_m_s=0.15,
    lower_s=3.0,
    release_s=2.0,
    raise_s=3.0,
    leave_rad=(math.pi,),
    parts=(
        RobotPart(name="base", outline_m=((-0.75, -0.3), (-0.2, -0.3), (-0.2, 0.3), (-0.75, 0.3)), bottom_m=0.02),
        RobotPart(name="tray", outline_m=((-0.2, -0.32), (0.2, -0.32), (0.2, 0.32), (-0.2, 0.32)), bottom_m=0.1,
                  lowered_bottom_m=0.0),
    ),
)  # fmt: skip

DOCKS = (
    Dock(name="bay A", place_m=(16.2, 1.4), heading_rad=0.0, kind="loading"),
    Dock(name="bay B", place_m=(16.2, 2.8), heading_rad=0.0, kind="loading"),
    Dock(name="socket", place_m=(14.0, 12.9), heading_rad=math.pi / 2, kind="charging"),
    Dock(name="side door", place_m=(1.2, 2.0), heading_rad=0.0, kind="crew"),
)


@dataclass(frozen=True)
class Case:
    """What a floor plan is made of."""

    brief: object
    site: Site
    plan: object
    steps: Steps
    access: Access
    trips: Trips

    def drawing(self, *, routes: bool = True) -> FloorPlanDrawing:
        order = (self.access, self.trips) if routes else ()
        plan = self.plan
        return floor_plan_drawing(
            self.brief, self.site, plan.standing, plan.tiling, self.steps, *order, plan="8f3a61c0"
        )


def make_case(
    columns: int = 330,
    rows: int = 300,
    corner_m=(4.0, 5.5),
    hall_m=DEPOT_M,
    areas=AREAS,
    docks=DOCKS,
    trapped: int = 0,
    fall_deg: float = 90.0,
    page: str = "a4",
    tray=(22, 10),
) -> Case:
    """Make a case; ``trapped`` tiles, the last ones, are not laid."""
    line = BriefLine(
        name="lead-in",
        colours=("sun yellow", "ivory"),
        pitch_m=0.024,
        start_m=(5.0, 2.2),
        start_direction_rad=0.0,
        path=(
            PathPart(straight_m=2.6),
            PathPart(arc_radius_m=0.85, turn_rad=math.pi / 2),
            PathPart(to_m=(8.455, 5.3)),
        ),
    )
    plan = make_test_plan(Wish(columns=columns, rows=rows, lines=(line,), holes=False, fall_deg=fall_deg, page=page,
                               tray=tray, noise=0.0))  # fmt: skip
    field = replace(plan.brief.fields[0], corner_m=corner_m)
    brief = replace(
        plan.brief,
        hall=Hall(outline_m=hall_m),
        fields=(field,),
        areas=areas,
        docks=docks,
        robots=(CART,),
        crew=Crew(builders=2),
    )
    plan = _moved(plan, brief)
    site, _ = make_site(brief)
    assert site is not None
    steps = make_steps(brief, plan.standing, plan.tiling)
    access = _access(steps, plan, trapped)
    return Case(brief, site, plan, steps, access, _trips(access, steps, site))


def _moved(plan, brief):
    """The same dominoes and tiles at the field's own corner: the test plan stands at (1, 1)."""
    shift = np.array(brief.fields[0].corner_m) - (1.0, 1.0)
    in_field = plan.standing.field >= 0
    standing = replace(
        plan.standing,
        x_m=plan.standing.x_m + shift[0] * in_field,
        y_m=plan.standing.y_m + shift[1] * in_field,
    )
    tiling = replace(plan.tiling, x_m=plan.tiling.x_m + shift[0], y_m=plan.tiling.y_m + shift[1])
    return replace(plan, brief=brief, standing=standing, tiling=tiling)


def _access(steps: Steps, plan, trapped: int) -> Access:
    tiles = np.flatnonzero(steps.kind == KINDS.index("tile"))
    tiles = tiles[: len(tiles) - trapped] if trapped else tiles
    order = np.concatenate([
        tiles[np.lexsort((plan.tiling.first_col[tiles], -plan.tiling.first_row[tiles]))],
        np.flatnonzero(steps.kind != KINDS.index("tile")),
    ]).astype(np.int32)  # fmt: skip
    k = len(order)
    is_tile = steps.kind[order] == 0
    yaw = np.zeros(k)
    yaw[is_tile] = plan.tiling.yaw_rad[order[is_tile]] + np.pi / 2
    stance = Stances(
        step=order,
        model=np.where(is_tile, 0, -1).astype(np.int16),
        turn_deg=np.zeros(k, np.int16),
        x_m=steps.x_m[order],
        y_m=steps.y_m[order],
        yaw_rad=yaw,
        leave_x_m=steps.x_m[order],
        leave_y_m=steps.y_m[order] - 0.6,
        layer=np.zeros(k, np.int16),
        conflict_first=np.zeros(k + 1, np.int64),
        conflict=np.empty(0, np.int32),
    )
    given_up = tuple(range(len(plan.tiling) - trapped, len(plan.tiling)))
    return Access(order, stance, given_up, {}, k, given_up)


def _trips(access: Access, steps: Steps, site: Site) -> Trips:
    """One trip a tile: from its dock along the south of the field, up to the tile, and back."""
    dock, drive, back, leave, walk = (PHASES.index(p) for p in ("dock", "drive", "return", "leave", "walk"))
    phase, way_step, xs, ys, first, robots, docks, done = [], [], [], [], [0], [], [], []
    for trip, step in enumerate(access.order):
        x, y = float(steps.x_m[step]), float(steps.y_m[step])
        tile = steps.kind[step] == 0
        number = trip % 2 if tile else len(site.docks) - 1
        at = site.docks[number].place_m
        corner = (x, 4.9) if tile else ((at[0] + x) / 2, at[1])
        points = [at, at, corner, (x, y - 0.6), (x, y), (x, y - 0.6), corner, at]
        phases = [dock, drive, drive, leave, leave, back, back, back] if tile else [dock, *[walk] * 7]
        xs += [p[0] for p in points]
        ys += [p[1] for p in points]
        phase += phases
        way_step += [int(step)] * len(points)
        first.append(len(xs))
        robots.append(trip % 2)
        docks.append(number)
        done.append(int(step))
    t, w = len(robots), len(xs)
    time = np.arange(w, dtype=np.float64)
    first_ = np.array(first, np.int64)
    way = np.column_stack([xs, ys])
    driven = [float(np.hypot(*np.diff(way[a:b], axis=0).T).sum()) for a, b in itertools.pairwise(first)]
    return Trips(
        robot=np.array(robots, np.int16),
        dock=np.array(docks, np.int16),
        step_first=np.arange(t + 1, dtype=np.int64),
        step=np.array(done, np.int32),
        start_s=time[first_[:-1]],
        end_s=time[first_[1:] - 1],
        driven_m=np.array(driven),
        names=("cart 1", "cart 2", "builder 1", "builder 2"),
        way_first=first_,
        phase=np.array(phase, np.int8),
        way_step=np.array(way_step, np.int32),
        t_s=time,
        x_m=way[:, 0].copy(),
        y_m=way[:, 1].copy(),
        yaw_rad=np.zeros(w),
    )
