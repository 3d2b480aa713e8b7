"""Places on the floor: fields and lines within the hall, and nothing standing in anything else."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import combinations

import numpy as np
import shapely
from numpy.typing import NDArray

from standfall.brief import Domino, Field, Hall, Line
from standfall.findings import Finding, make_finding
from standfall.geometry import floor_faults, inside, overlapping_pairs, rectangle_corners
from standfall.hall.site import floor_findings
from standfall.mural.field import FieldPlace
from standfall.mural.line import LinePlace
from standfall.mural.standing import Standing

Floats = NDArray[np.float64]

# Less floor than this in common is rounding of corners that touch.
SHARED_M2 = 1e-6
# Stands in for the piece while the brief's own is still faulty: only middles are then checked.
_POINT_M = 1e-4


def hall_findings(hall: Hall | None) -> list[Finding]:
    """Find outlines that are no floor."""
    return [] if hall is None else floor_findings(hall)


def outside_hall(
    hall: Hall | None,
    fields: Iterable[tuple[int, Field, FieldPlace]],
    lines: Iterable[tuple[int, Line, LinePlace]],
    domino: Domino | None,
) -> list[Finding]:
    """Find fields and lines that reach beyond the floor, each with the place of the first piece outside."""
    if hall is None or floor_faults(hall.outline_m) is not None:
        return []
    findings = []
    for number, field, place in fields:
        corners_m = place.corners_m()
        if not inside(hall.outline_m, corners_m[None])[0]:
            findings.append(_field_outside(f"field[{number}]", field, hall, corners_m))
    size = (domino.width_m, domino.thickness_m) if domino else (_POINT_M, _POINT_M)
    for number, line, line_place in lines:
        x_m, y_m, yaw_rad = line_place.poses()
        within = inside(hall.outline_m, rectangle_corners(x_m, y_m, yaw_rad, *size))
        if not within.all():
            first = int(np.argmin(within))
            findings.append(
                make_finding(
                    "S404",
                    f"line[{number}]",
                    f"{int((~within).sum())} dominoes of line {line.name!r} stand outside the hall, "
                    f"the first is number {first}",
                    value=_place(x_m[first], y_m[first]),
                    limit=_extent(hall),
                    next_step="Shorten or move the line, or correct hall.outline_m.",
                )
            )
    return findings


def shared_floor(fields: Sequence[tuple[int, Field, FieldPlace]]) -> list[Finding]:
    """Find pairs of fields whose outlines overlap: where one stands, no tray of the other can be set down."""
    shapes = shapely.polygons([place.corners_m() for _, _, place in fields]) if fields else []
    findings = []
    for first, second in combinations(range(len(fields)), 2):
        common = shapely.intersection(shapes[first], shapes[second])
        if common.area > SHARED_M2:
            middle = common.centroid
            findings.append(
                make_finding(
                    "S410",
                    f"field[{fields[first][0]}] and field[{fields[second][0]}]",
                    f"fields {fields[first][1].name!r} and {fields[second][1].name!r} share {common.area:.3g} "
                    f"square metres of floor, around {_place(middle.x, middle.y)}",
                    value=round(float(common.area), 6),
                    limit=0,
                    next_step="Move one of the two, unless its cells there are empty and are laid by hand.",
                )
            )
    return findings


def _field_outside(where: str, field: Field, hall: Hall, corners_m: Floats) -> Finding:
    (x_low, y_low), (x_high, y_high) = corners_m.min(axis=0), corners_m.max(axis=0)
    return make_finding(
        "S403",
        where,
        f"field {field.name!r} reaches beyond the hall",
        value=f"x {x_low:.3f} to {x_high:.3f} m, y {y_low:.3f} to {y_high:.3f} m",
        limit=_extent(hall),
        next_step="Move corner_m, turn fall_direction_deg, or make the field smaller.",
    )


def _extent(hall: Hall) -> str:
    xs, ys = zip(*hall.outline_m, strict=True)
    return f"floor x {min(xs):g} to {max(xs):g} m, y {min(ys):g} to {max(ys):g} m"


def _place(x_m: float, y_m: float) -> str:
    return f"x {x_m:.3f} m, y {y_m:.3f} m"


def overlap_findings(
    standing: Standing, places: Sequence[FieldPlace], domino: Domino, names: Sequence[str]
) -> list[Finding]:
    """Find pieces that would stand in one another: one finding per pair of fields or lines.

    Pieces of one field cannot overlap once its pitches exceed the piece, so only pieces near another
    field or line are looked at.

    Args:
        standing: the set; only the floor layer counts.
        places: of the fields, by number.
        domino: the piece.
        names: of the fields, then of the lines.
    """
    floor = np.flatnonzero(standing.layer == 0)
    near = floor[_near_others(standing, floor, places, domino)]
    x_m, y_m, yaw_rad = standing.x_m[near], standing.y_m[near], standing.yaw_rad[near]
    pairs = near[overlapping_pairs(x_m, y_m, yaw_rad, domino.width_m, domino.thickness_m)]
    source = np.where(standing.field >= 0, standing.field, standing.line.astype(np.int32) + len(places))
    findings = []
    keys = np.sort(source[pairs], axis=1)
    for first, second in np.unique(keys, axis=0):
        mine = pairs[(keys == (first, second)).all(axis=1)]
        a, b = mine[0]
        findings.append(
            make_finding(
                "S402",
                f"{names[first]} and {names[second]}" if first != second else names[first],
                f"{len(mine)} pairs of dominoes would stand in one another, the first at "
                f"{_piece(standing, int(a))} and {_piece(standing, int(b))}",
                value=_place(standing.x_m[a], standing.y_m[a]),
                limit="no overlap of footprints",
                next_step="Move one of the two, or shorten the line.",
            )
        )
    return findings


def _piece(standing: Standing, number: int) -> str:
    if standing.line[number] >= 0:
        return f"number {standing.row[number]} along the line"
    return f"row {standing.row[number]} column {standing.col[number]}"


def _near_others(
    standing: Standing, floor: NDArray[np.int64], places: Sequence[FieldPlace], domino: Domino
) -> NDArray[np.bool_]:
    """Mark the floor pieces that stand within reach of a piece of another field or line."""
    reach_m = float(np.hypot(domino.width_m, domino.thickness_m))
    line_piece = standing.line[floor] >= 0
    near = line_piece.copy()
    for number, place in enumerate(places):
        own = standing.field[floor] == number
        others = floor[~own]
        across, along = place.frame.from_hall(standing.x_m[others], standing.y_m[others])
        close = (
            (across > -reach_m)
            & (across < place.grid.width_m + reach_m)
            & (along > -reach_m)
            & (along < place.grid.length_m + reach_m)
        )
        if not close.any():
            continue
        near[np.flatnonzero(~own)[close]] = True
        cells = _cells_near(place, across[close], along[close], reach_m)
        mine = floor[own]
        near[np.flatnonzero(own)[cells[standing.row[mine], standing.col[mine]]]] = True
    return near


def _cells_near(place: FieldPlace, across_m: Floats, along_m: Floats, reach_m: float) -> NDArray[np.bool_]:
    """Mark the cells (rows, columns) whose middle lies within a square of +- reach of a point.

    A two-dimensional difference array: +1 at the corners of each point's window, summed up twice.
    """
    grid = place.grid
    slack_m = 0.5 * grid.col_pitch_m if grid.half_offset else 0.0
    low_row = np.clip(np.floor((along_m - reach_m) / grid.row_pitch_m), 0, grid.rows).astype(int)
    high_row = np.clip(np.ceil((along_m + reach_m) / grid.row_pitch_m), 0, grid.rows).astype(int)
    low_col = np.clip(np.floor((across_m - reach_m - slack_m) / grid.col_pitch_m), 0, grid.columns).astype(
        int
    )
    high_col = np.clip(np.ceil((across_m + reach_m) / grid.col_pitch_m), 0, grid.columns).astype(int)
    change = np.zeros((grid.rows + 1, grid.columns + 1), dtype=np.int64)
    for rows, cols, step in (
        (low_row, low_col, 1),
        (low_row, high_col, -1),
        (high_row, low_col, -1),
        (high_row, high_col, 1),
    ):
        np.add.at(change, (rows, cols), step)
    return np.asarray(change.cumsum(axis=0).cumsum(axis=1)[:-1, :-1] > 0)
