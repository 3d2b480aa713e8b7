"""What is printed on the sheets of a hand-laid line, as plain data for the template."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from standfall.brief import Line
from standfall.geometry import Arc, Path, Straight
from standfall.mural.field import place_field
from standfall.mural.line import LinePlace, place_lines
from standfall.papers.glyph import printable, shortened
from standfall.papers.page import HEADER_MM, MONO_WIDTH, PT_PER_MM, RUNS_HEADING_MM, Page, RunStyle
from standfall.papers.run import Run, break_lines, repeated, runs_of
from standfall.planning.plan import Plan

Floats = NDArray[np.float64]

RUNS = RunStyle(11.0, 1.36)
JOINT_LINE_MM = 5.2
TABLE_MM = 160.0
# Facts above the table, the drawing beside it, and what is left free below the colours.
FACTS_MM, DRAWING_MM, _FOOT_MM = 14.0, 82.0, 18.0
# Pieces an arc is drawn in, and most points of a drawing; more would not show.
_ARC_PIECES, _DRAWN_MOST = 16, 2000

# A label, the runs of the line, and whether it is striped.
RunLine = tuple[str, list[Run], bool]


def line_sheets(plan: Plan, page: Page) -> list[dict[str, Any]]:
    """Return the sheets of all lines in order: each begins a sheet and goes on as far as it needs."""
    places, _ = place_lines(enumerate(plan.brief.lines))
    sheets = []
    for number, line in enumerate(plan.brief.lines):
        sheets += _sheets(plan, page, number, line, places.get(number))
    return sheets


def _sheets(plan: Plan, page: Page, number: int, line: Line, place: LinePlace | None) -> list[dict[str, Any]]:
    mine = np.flatnonzero(plan.standing.line == number)
    if not len(mine):
        return []
    colours = plan.standing.colour[mine]
    joints = _joints(place) if place is not None else _ends(plan, mine)
    pages = _paginate(joints, _colour_lines(colours, plan, page), page)
    shared = {
        "kind": "line",
        "title": f"Line {number + 1}",
        "of": f"of {len(plan.brief.lines)}",
        "name": shortened(printable(line.name), 28),
        "dominoes": len(mine),
        "pitch_mm": f"{(place.pitch_m if place is not None else _pitch_m(plan, mine)) * 1000:.2f}",
        "length_mm": f"{(place.path.length_m if place is not None else 0.0) * 1000:,.0f}",
        "branch": shortened(printable(line.branch_of), 40) if line.branch_of is not None else "",
        "starts_after": f"{place.first_m * 1000:.2f}" if place is not None and place.first_m > 0 else "",
        "run_pt": RUNS.size_pt,
        "run_line_mm": RUNS.line_mm,
    }
    pages[0]["drawing"] = _drawing(plan, number, place, joints)
    return [
        {
            **shared,
            "part": f"part {part} of {len(pages)}" if len(pages) > 1 else "",
            "first": part == 1,
            **content,
        }
        for part, content in enumerate(pages, start=1)
    ]


def _pitch_m(plan: Plan, mine: NDArray[np.intp]) -> float:
    if len(mine) < 2:
        return 0.0
    x_m, y_m = plan.standing.x_m[mine], plan.standing.y_m[mine]
    # Along a straight neighbours stand a whole pitch apart, in a bend a little less: take the widest gap.
    return float(np.hypot(np.diff(x_m), np.diff(y_m)).max())


def _joints(place: LinePlace) -> list[dict[str, Any]]:
    """One row for each part of the path, where it begins and what comes then; and one for the end."""
    rows, begun = [], 0.0
    stands_m = place.first_m + place.pitch_m * np.arange(place.dominoes)
    for number, part in enumerate(place.path.parts):
        end = begun + part.length_m
        last = number == len(place.path.parts) - 1
        first = 0 if number == 0 else int(np.searchsorted(stands_m, begun + 1e-9, side="right"))
        stop = place.dominoes if last else int(np.searchsorted(stands_m, end + 1e-9, side="right"))
        x_m, y_m, yaw = _pose(place.path, begun)
        if isinstance(part, Straight) and part.heading_rad is not None:
            yaw = part.heading_rad
        if number == 0 and not (isinstance(part, Straight) and part.heading_rad is not None):
            yaw = place.path.start_heading_rad
        rows.append(_joint(str(number), x_m, y_m, yaw, _part_text(part), _pieces(first, stop)))
        begun = end
    x_m, y_m, yaw = _pose(place.path, begun)
    rows.append(_joint("end", x_m, y_m, yaw, "", ""))
    return rows


def _ends(plan: Plan, mine: NDArray[np.intp]) -> list[dict[str, Any]]:
    """Rows for the first and last piece alone, when the path itself is not known."""
    standing = plan.standing
    return [
        _joint(
            name,
            float(standing.x_m[piece]),
            float(standing.y_m[piece]),
            float(standing.yaw_rad[piece]),
            "",
            str(standing.row[piece]),
        )
        for name, piece in (("first piece", mine[0]), ("last piece", mine[-1]))
    ]


def _pose(path: Path, distance_m: float) -> tuple[float, float, float]:
    x_m, y_m, yaw_rad = path.poses(np.array([distance_m]))
    return float(x_m[0]), float(y_m[0]), float(yaw_rad[0])


def _joint(name: str, x_m: float, y_m: float, yaw_rad: float, then: str, pieces: str) -> dict[str, Any]:
    degrees = math.degrees(yaw_rad) % 360.0
    return {
        "name": name,
        "xy_m": [x_m, y_m],
        "x": f"{x_m * 1000:,.1f}",
        "y": f"{y_m * 1000:,.1f}",
        "direction": f"{0.0 if degrees > 359.995 else degrees:.2f}°",
        "then": then,
        "pieces": pieces,
    }


def _part_text(part: Straight | Arc) -> str:
    if isinstance(part, Straight):
        return f"straight, {_mm(part.length_m)} mm"
    side = "left" if part.turn_rad > 0 else "right"
    turn = math.degrees(abs(part.turn_rad))
    return f"arc {side}, radius {_mm(part.radius_m)} mm, {_plain(turn, 2)}°"


def _mm(length_m: float) -> str:
    return _plain(length_m * 1000, 1)


def _plain(value: float, places: int) -> str:
    """Write a number with at most so many decimals, none when they would be zeros."""
    text = f"{value:,.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _pieces(first: int, stop: int) -> str:
    if stop <= first:
        return "none"
    return f"{first}" if stop == first + 1 else f"{first} to {stop - 1}"


def _colour_lines(colours: NDArray[np.int16], plan: Plan, page: Page) -> list[RunLine]:
    """The sequence of colours in lines, a label before the first of each stretch."""
    letters = int((page.inner_width_mm - 40.0) * PT_PER_MM / (MONO_WIDTH * RUNS.size_pt))
    cycle, times = repeated(colours)
    stretches = [(f"{times} times", colours[:cycle])] if times > 1 else [("in order", colours)]
    if times > 1 and len(colours) > cycle * times:
        stretches.append(("then", colours[cycle * times :]))
    lines: list[RunLine] = []
    for label, some in stretches:
        for number, runs in enumerate(break_lines(runs_of(some), plan.palette.codes, letters)):
            lines.append((label if number == 0 else "", runs, len(lines) % 2 == 0))
    return lines


def _paginate(joints: list[dict[str, Any]], lines: list[RunLine], page: Page) -> list[dict[str, Any]]:
    """Fill pages with the table of joints, then with the lines of colours."""
    pages: list[dict[str, Any]] = []
    while joints or lines or not pages:
        room = page.inner_height_mm - HEADER_MM - _FOOT_MM - (0.0 if pages else FACTS_MM)
        taken = max(0, min(len(joints), int((room - RUNS_HEADING_MM) / JOINT_LINE_MM) - 1))
        table_mm = (taken + 1) * JOINT_LINE_MM + RUNS_HEADING_MM if taken else 0.0
        room -= max(table_mm, 0.0 if pages else DRAWING_MM)
        high = RUNS.line_mm
        fitting = (
            max(0, min(len(lines), int((room - 2 * RUNS_HEADING_MM) / high))) if taken == len(joints) else 0
        )
        top_mm = (0.0 if pages else FACTS_MM) + max(table_mm, 0.0 if pages else DRAWING_MM)
        pages.append({"joints": joints[:taken], "runs": lines[:fitting], "runs_top_mm": top_mm})
        joints, lines = joints[taken:], lines[fitting:]
    return pages


def _drawing(
    plan: Plan, number: int, place: LinePlace | None, joints: list[dict[str, Any]]
) -> dict[str, Any]:
    """Hall, fields and this line as points in metres, x right and y up."""
    mine = plan.standing.line == number
    if place is not None:
        x_m, y_m, _ = place.path.poses(_drawn_at(place.path))
    else:
        x_m, y_m = plan.standing.x_m[mine], plan.standing.y_m[mine]
    step = -(-len(x_m) // _DRAWN_MOST)
    return {
        "hall": [list(corner) for corner in plan.brief.hall.outline_m],
        "fields": [place_field(field).corners_m().round(4).tolist() for field in plan.brief.fields],
        "path": np.column_stack([x_m, y_m])[::step].round(4).tolist(),
        "joints": [joint["xy_m"] for joint in joints],
    }


def _drawn_at(path: Path) -> Floats:
    """Distances along a path that are joined by straights on the drawing."""
    at_m, begun = [0.0], 0.0
    for part in path.parts:
        pieces = _ARC_PIECES if isinstance(part, Arc) else 1
        at_m += [begun + part.length_m * n / pieces for n in range(1, pieces + 1)]
        begun += part.length_m
    return np.array(at_m)
