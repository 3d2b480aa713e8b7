"""What is wrong with a robot by itself: parts that are none, nothing near the floor, no way off its own tile."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from standfall.brief import Domino, Laying, Robot, Tray
from standfall.brief.unit import DEG, MM
from standfall.findings import Finding, make_finding
from standfall.geometry import minkowski_difference
from standfall.hall.model import PART_LEAST_M2, Model
from standfall.hall.shape import read_polygon

Floats = NDArray[np.float64]

# Parts that touch the tile's own dominoes by less than this are beside them: rounding of corners.
_TOUCHING_M = 1e-7


def robot_findings(
    models: Sequence[Model], tray: Tray | None, domino: Domino, laying: Laying
) -> tuple[list[Finding], set[int]]:
    """Find robots that cannot be what they are said to be.

    Args:
        models: of the brief's robots, in order.
        tray: as in the brief; without one there is no tile to leave.
        domino: the piece.
        laying: clearances.

    Returns:
        The findings, and the numbers of robots whose shape is in doubt.
    """
    findings: list[Finding] = []
    doubtful = set()
    for number, model in enumerate(models):
        where = f"robot[{number}]"
        faults = _part_faults(model.robot, where)
        findings += faults
        if faults:
            doubtful.add(number)
        elif not model.travel:
            findings.append(_nothing_low(model.robot, where, domino.height_m + laying.over_m))
        elif tray is not None and model.robot.leave_rad:
            findings += _own_tile(model, tray, domino, laying.clearance_m, where)
    return findings, doubtful


def _part_faults(robot: Robot, where: str) -> list[Finding]:
    findings = []
    for number, part in enumerate(robot.parts):
        fault = read_polygon(part.outline_m, PART_LEAST_M2)[1]
        if fault is not None:
            findings.append(
                make_finding(
                    "H808",
                    f"{where}.part[{number}].outline_m",
                    f"part {part.name!r} of robot {robot.name!r} is no outline: {fault}",
                    value=fault,
                    limit="three or more different corners, in order, sides not crossing",
                    next_step="List its corners in order, in metres in the robot's frame.",
                )
            )
    return findings


def _nothing_low(robot: Robot, where: str, touching_m: float) -> Finding:
    lowest = min(robot.parts, key=lambda part: part.bottom_m)
    return make_finding(
        "H809",
        f"{where}.part",
        f"robot {robot.name!r} would pass over every domino: what it stands on is no part of it",
        value=f"{MM.from_si(lowest.bottom_m):g} mm, {lowest.name}",
        limit=f"a part lower than {MM.from_si(touching_m):g} mm, domino.height_mm + laying.over_mm",
        next_step="Add its wheels, legs or skirts as parts with their bottom_mm.",
    )


def _own_tile(model: Model, tray: Tray, domino: Domino, clearance_m: float, where: str) -> list[Finding]:
    """Find that with no turn of the tray there is a way off a full tile just laid."""
    turns = model.robot.tray_turns_rad
    tiles = [tile_corners(tray, domino, turn) for turn in turns]
    standing_clear = [tile for tile in tiles if not _overlaps(model.lowered, tile)]
    if any(
        leaving_m(model.travel, tile, turn, clearance_m) is not None
        for tile in standing_clear
        for turn in model.robot.leave_rad
    ):
        return []
    if not turns:
        return []
    if standing_clear:
        angles = ", ".join(f"{DEG.from_si(turn):g}" for turn in model.robot.leave_rad)
        message = (
            f"robot {model.robot.name!r} drives through the tile it has just laid, whichever way it leaves"
        )
        value = f"leave_deg = [{angles}]"[:60]
    else:
        message = f"robot {model.robot.name!r} touches its own tile while its tray is lowered"
        value = "parts over the tile's dominoes"
    return [
        make_finding(
            "H810",
            where,
            message,
            value=value,
            limit="a way off its own full tile along one of leave_deg",
            next_step="Check parts, tray_turns_deg and leave_deg: zero is the middle of the tray opening, x ahead.",
        )
    ]


def tile_corners(tray: Tray, domino: Domino, turn_rad: float) -> Floats:
    """Return the (4, 2) corners round all dominoes of a full tray, in the robot's frame.

    Args:
        tray: its slots.
        domino: the piece.
        turn_rad: from the robot's x axis to the way the slot rows count up.
    """
    shift_m = tray.col_pitch_m / 2 if tray.rows_laid == "half_offset" and tray.rows > 1 else 0.0
    half_along_m = ((tray.rows - 1) * tray.row_pitch_m + domino.thickness_m) / 2
    half_across_m = ((tray.columns - 1) * tray.col_pitch_m + shift_m + domino.width_m) / 2
    along = np.array([1, 1, -1, -1]) * half_along_m
    left = np.array([-1, 1, 1, -1]) * half_across_m
    cosine, sine = math.cos(turn_rad), math.sin(turn_rad)
    return np.column_stack([along * cosine - left * sine, along * sine + left * cosine])


def leaving_m(
    pieces: Sequence[Floats], tile: Floats, direction_rad: float, clearance_m: float
) -> float | None:
    """Return how far a robot drives straight on until it is clear of its own tile, ``None`` where it drives into it.

    The displacements at which a piece overlaps the tile are their Minkowski difference. Both are convex, so along
    a straight way that is one stretch for each piece.

    Args:
        pieces: convex, of the raised robot, in its own frame.
        tile: its convex outline in the same frame.
        direction_rad: of the way, in the same frame.
        clearance_m: to be kept once it has left.
    """
    sums = [_displacements(piece, tile) for piece in pieces]
    reach_m = max((float(np.hypot(*shapely.get_coordinates(each).T).max()) for each in sums), default=0.0)
    far_m = reach_m + clearance_m + 1.0
    way = shapely.LineString([(0, 0), (far_m * math.cos(direction_rad), far_m * math.sin(direction_rad))])
    near = sorted(stretch for each in sums if (stretch := _stretch(each.buffer(clearance_m), way)))
    left_m = 0.0
    for first_m, last_m in near:
        if first_m <= left_m:
            left_m = max(left_m, last_m)
    hits = (_stretch(each.buffer(-_TOUCHING_M), way) for each in sums)
    return None if any(hit and hit[0] < left_m for hit in hits) else left_m


def _displacements(piece: Floats, tile: Floats) -> shapely.Polygon:
    return shapely.Polygon(minkowski_difference(tile, piece))


def _stretch(shape: shapely.Polygon, way: shapely.LineString) -> tuple[float, float] | None:
    """Return from where to where, in metres along a way from the zero, a convex shape covers it."""
    common = shapely.get_coordinates(shape.intersection(way))
    if not len(common):
        return None
    along = np.hypot(common[:, 0], common[:, 1])
    return float(along.min()), float(along.max())


def _overlaps(pieces: Sequence[Floats], tile: Floats) -> bool:
    return any(
        _displacements(piece, tile).buffer(-_TOUCHING_M).contains(shapely.Point(0, 0)) for piece in pieces
    )
