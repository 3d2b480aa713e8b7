"""The floor plan as plain shapes in the hall: what is drawn, before anyone decides on paper or file."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from numpy.typing import NDArray

from standfall.brief import Brief, Tray
from standfall.hall.site import Site
from standfall.mural.field import FieldPlace, place_field
from standfall.mural.standing import Standing
from standfall.papers.floor_plan_dimension import Dimension, field_dimensions, hall_dimensions
from standfall.papers.floor_plan_lane import Lane, thin_lanes
from standfall.papers.glyph import printable
from standfall.routes.plan import on_foot
from standfall.routes.step import KINDS, Steps
from standfall.tiles import Tiling

if TYPE_CHECKING:
    from standfall.routes.access import Access
    from standfall.routes.trip import Trips

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class AreaMark:
    """An area of the floor: kind, name, (p, 2) corners."""

    kind: str
    name: str
    corners_m: Floats


@dataclass(frozen=True)
class DockMark:
    """A dock: name, kind, place, heading, and (p, 2) outlines of the parts of a robot that is docked there."""

    name: str
    kind: str
    place_m: tuple[float, float]
    heading_rad: float
    body_m: tuple[Floats, ...]


@dataclass(frozen=True)
class FieldMark:
    """A field: name, (4, 2) corners (back left, back right, front right, front left), direction of the fall."""

    name: str
    corners_m: Floats
    fall_rad: float


@dataclass(frozen=True)
class TileMarks:
    """All m tiles.

    Attributes:
        corners_m: (m, 4, 2) what each covers of its field.
        number: (m,) their own numbers.
        order: (m,) place in the laying order from 1, 0 when it is not laid; without an order the own numbers.
        heading_rad: (m,) direction of the robot's x axis at set-down, NaN when it is not known or laid by hand.
        field, row: (m,) field and first row, by which tiles stand side by side.
    """

    corners_m: Floats
    number: Ints
    order: Ints
    heading_rad: Floats
    field: Ints
    row: Ints

    def __len__(self) -> int:
        return len(self.number)


@dataclass(frozen=True)
class HandMark:
    """A step laid by hand: kind ``line`` with the (p, 2) path of its dominoes, or ``gap`` with an outline.

    ``order`` is its place in the laying order, 0 when there is none.
    """

    kind: str
    path_m: Floats
    order: int


@dataclass(frozen=True)
class FloorPlanDrawing:
    """All that a floor plan shows, in the hall's frame, metres.

    Attributes:
        name, place: of the build.
        plan: words that tell one plan from another, may be empty.
        outline_m: (p, 2) the floor.
        areas, docks, fields, tiles, hands, lanes, dimensions: what lies on it.
        line_width_m: width of a line of dominoes.
        ordered: whether ``order`` is a laying order.
        facts: (words, figure) to print beside the plan.
        notes: sentences to print beside the plan.
    """

    name: str
    place: str
    plan: str
    outline_m: Floats
    areas: tuple[AreaMark, ...]
    docks: tuple[DockMark, ...]
    fields: tuple[FieldMark, ...]
    tiles: TileMarks
    hands: tuple[HandMark, ...]
    lanes: tuple[Lane, ...]
    dimensions: tuple[Dimension, ...]
    line_width_m: float
    ordered: bool
    facts: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]


def floor_plan_drawing(
    brief: Brief,
    site: Site,
    standing: Standing,
    tiling: Tiling,
    steps: Steps,
    access: Access | None = None,
    trips: Trips | None = None,
    plan: str = "",
) -> FloorPlanDrawing:
    """Collect what a floor plan shows.

    Args:
        brief: of the build.
        site: its hall.
        standing: all dominoes.
        tiling: the tiles.
        steps: the steps of laying.
        access: the laying order; without it tiles carry their own numbers.
        trips: ways of robots and people; without them no lane is drawn.
        plan: words that tell one plan from another.
    """
    order = _order(steps, access)
    outline = shapely.get_coordinates(shapely.orient_polygons(site.outline).exterior)[:-1]
    places = [place_field(field) for field in brief.fields]
    fields = tuple(
        FieldMark(printable(field.name), place.corners_m(), field.fall_direction_rad)
        for field, place in zip(brief.fields, places, strict=True)
    )
    size_m = float(np.ptp(outline, axis=0).max())
    return FloorPlanDrawing(
        name=printable(brief.job.name),
        place=printable(brief.job.place),
        plan=plan,
        outline_m=outline,
        areas=tuple(
            AreaMark(area.kind, printable(area.name), shapely.get_coordinates(shape.exterior)[:-1])
            for area, shape in site.areas
        ),
        docks=_docks(site),
        fields=fields,
        tiles=_tiles(brief, places, tiling, order, access),
        hands=_hands(standing, steps, order),
        lanes=thin_lanes(trips, size_m) if trips is not None else (),
        dimensions=hall_dimensions(outline) + tuple(d for f in fields for d in field_dimensions(f.corners_m)),
        line_width_m=brief.domino.width_m,
        ordered=access is not None,
        facts=_facts(brief, standing, tiling, steps, access, trips),
        notes=_notes(steps, order, access),
    )


def _order(steps: Steps, access: Access | None) -> Ints:
    """Return each step's place in the laying order, from 1; 0 without one."""
    place = np.zeros(len(steps), np.int64)
    if access is not None:
        place[access.order] = np.arange(1, len(access.order) + 1)
    return place


def _docks(site: Site) -> tuple[DockMark, ...]:
    marks = []
    for dock in site.docks:
        users = [model for model in site.models if not dock.robots or model.robot.name in dock.robots]
        body = users[0].body if users and dock.kind != "crew" else ()
        cosine, sine = np.cos(dock.heading_rad), np.sin(dock.heading_rad)
        turned = tuple(part @ np.array([[cosine, sine], [-sine, cosine]]) + dock.place_m for part in body)
        marks.append(DockMark(printable(dock.name), dock.kind, dock.place_m, dock.heading_rad, turned))
    return tuple(marks)


def _tiles(
    brief: Brief, places: list[FieldPlace], tiling: Tiling, order: Ints, access: Access | None
) -> TileMarks:
    number = tiling.number.astype(np.int64)
    corners = np.empty((len(tiling), 4, 2))
    for at, place in enumerate(places):
        mine = np.flatnonzero(tiling.field == at)
        if len(mine) and brief.tray is not None:
            corners[mine] = _covered(place, brief.tray, tiling.first_row[mine], tiling.first_col[mine])
    heading = np.full(len(tiling), np.nan)
    if access is not None:
        tiles = np.flatnonzero((access.order < len(tiling)) & (access.stance.model >= 0))
        heading[access.order[tiles]] = access.stance.yaw_rad[tiles]
    return TileMarks(
        corners_m=corners,
        number=number,
        order=order[: len(tiling)] if access is not None else number,
        heading_rad=heading,
        field=tiling.field.astype(np.int64),
        row=tiling.first_row.astype(np.int64),
    )


def _covered(
    place: FieldPlace, tray: Tray, first_row: NDArray[np.int32], first_col: NDArray[np.int32]
) -> Floats:
    """Return (k, 4, 2) what trays cover of a field, from the edge of a cell to the edge of a cell.

    Half-offset rows are drawn straight, a quarter of a pitch to the right.
    """
    grid = place.grid
    shift = 0.25 if grid.half_offset else 0.0
    left = (np.clip(first_col, 0, grid.columns) + shift) * grid.col_pitch_m
    right = (np.clip(first_col + tray.columns, 0, grid.columns) + shift) * grid.col_pitch_m
    back = np.clip(first_row, 0, grid.rows) * grid.row_pitch_m
    front = np.clip(first_row + tray.rows, 0, grid.rows) * grid.row_pitch_m
    across = np.stack([left, right, right, left], axis=-1)
    along = np.stack([back, back, front, front], axis=-1)
    return np.stack(place.frame.to_hall(across, along), axis=-1)


def _hands(standing: Standing, steps: Steps, order: Ints) -> tuple[HandMark, ...]:
    """Lines as paths through their dominoes, on to the first one of the next stretch, and gaps as outlines."""
    marks = []
    line_steps = np.flatnonzero(steps.kind == KINDS.index("line"))
    for step in line_steps:
        members = steps.members(int(step))
        last = int(members[-1])
        if last + 1 < len(standing) and standing.line[last + 1] == standing.line[last]:
            members = np.append(members, last + 1)
        path = np.column_stack([standing.x_m[members], standing.y_m[members]])
        marks.append(HandMark("line", path, int(order[step])))
    gap = KINDS.index("gap")
    for shape, step in enumerate(steps.shape_of):
        if steps.kind[step] == gap:
            marks.append(HandMark("gap", steps.shapes.polygon(shape), int(order[step])))
    return tuple(marks)


def _facts(
    brief: Brief,
    standing: Standing,
    tiling: Tiling,
    steps: Steps,
    access: Access | None,
    trips: Trips | None,
) -> tuple[tuple[str, str], ...]:
    facts = [("dominoes", f"{len(standing):,}"), ("tiles", f"{len(tiling):,}")]
    if brief.tray is not None and len(tiling):
        tray = brief.tray
        wide, deep = tray.columns * tray.col_pitch_m * 1000, tray.rows * tray.row_pitch_m * 1000
        facts.append(("a tile", f"{wide:,.0f} x {deep:,.0f} mm"))
    by_hand = int((steps.kind != KINDS.index("tile")).sum())
    if by_hand:
        facts.append(("steps by hand", f"{by_hand:,}"))
    if access is not None:
        facts.append(("steps in order", f"{len(access.order):,}"))
    if trips is not None:
        facts.append(("trips", f"{len(trips):,}"))
        if access is not None:
            driven = trips.driven_m[~on_foot(steps, access, trips)]
            facts.append(("driven", f"{float(driven.sum()):,.0f} m"))
    return tuple(facts)


def _notes(steps: Steps, order: Ints, access: Access | None) -> tuple[str, ...]:
    if access is None:
        return ("No laying order: the numbers are the tiles' own.",)
    notes = []
    lost = int((order[steps.kind == KINDS.index("tile")] == 0).sum())
    if lost:
        notes.append(f"{lost:,} tile{'' if lost == 1 else 's'} cannot be laid: crossed out.")
    stacks = order[steps.kind == KINDS.index("stack")]
    if len(stacks):
        notes.append(
            f"Second layers are {len(stacks):,} steps of their own, {stacks.min()} to {stacks.max()}; they are on the "
            "lay sheets."
        )
    return tuple(notes)
