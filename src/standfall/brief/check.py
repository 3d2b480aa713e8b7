"""Key against key: what each key alone cannot tell.

Every check looks only at keys that were read (not ``None``), so one faulty key never hides
another fault.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

from standfall.brief.mismatch import SAME_LENGTH_M, contradiction, no_such, unique_names
from standfall.brief.reader import Draft
from standfall.brief.robot_check import robot_findings
from standfall.brief.site_check import area_findings, crew_findings, dock_findings, gap_rows, hall_outline
from standfall.brief.starter_check import starter_findings, vibration
from standfall.brief.unit import MM
from standfall.findings import Finding, make_finding

# What the page can draw in one texture of 2048 x 2048 (the least WebGL2 promises) and more than
# anybody has stood in one field.
DOMINOES_MOST = 4_000_000


def cross_check(draft: Draft) -> list[Finding]:
    """Return the findings that need more than one key. Order: as in the brief page."""
    findings: list[Finding] = [*hall_outline(draft.hall)]
    fields, lines, colours = _list(draft.fields), _list(draft.lines), _list(draft.colours)
    if draft.fields is not None and draft.lines is not None and not fields and not lines:
        findings.append(
            make_finding(
                "B104",
                "field",
                "there is neither a field nor a line",
                value="missing",
                limit="one or more of [[field]] or [[line]]",
                next_step="Add a [[field]] section.",
            )
        )
    for items, where in ((colours, "colour"), (fields, "field"), (lines, "line")):
        findings += unique_names(items, where)
    for number, colour in enumerate(colours):
        findings += _colour(colour, f"colour[{number}]")
    findings += _colouring(draft.colouring)
    for number, field in enumerate(fields):
        findings += _field(field, draft, f"field[{number}]")
    names = [colour.name for colour in colours if colour.name is not None]
    for number, line in enumerate(lines):
        findings += _line(line, draft.domino, names, lines[:number], f"line[{number}]")
    findings += _tray(draft.tray, bool(fields))
    findings += vibration(draft.fall)
    findings += starter_findings(draft)
    findings += area_findings(_list(draft.areas))
    findings += dock_findings(_list(draft.docks), _maybe(draft.robots), draft.crew)
    findings += robot_findings(_list(draft.robots), _maybe(draft.docks), draft.crew)
    findings += crew_findings(draft.crew, _maybe(draft.docks), _maybe(draft.robots))
    findings += _camera(draft.camera)
    findings += _size(fields)
    return findings


def _list(items: object) -> list[Draft]:
    return items if isinstance(items, list) else []


def _maybe(items: object) -> list[Draft] | None:
    """Return what was read of a repeated section, ``None`` when it was there and could not be read."""
    return None if items is None else _list(items)


def _colour(colour: Draft, where: str) -> Iterator[Finding]:
    given = [name for name in ("srgb", "lab") if getattr(colour, name) is not None]
    if len(given) != 1 and colour.sound:
        yield contradiction(
            where,
            "a colour needs srgb or lab, one of the two",
            " and ".join(given) or "neither",
            "exactly one of srgb, lab",
            "Keep the measured lab if you have it, otherwise srgb.",
        )
    if colour.srgb is not None and not re.fullmatch("#[0-9a-fA-F]{6}", colour.srgb):
        yield make_finding(
            "B105",
            f"{where}.srgb",
            "srgb must be # and six hex digits",
            value=colour.srgb,
            limit="#rrggbb",
            next_step='Write it like "#1f4e79".',
        )
    if colour.lab is not None and not 0 <= colour.lab[0] <= 100:
        yield make_finding(
            "B106",
            f"{where}.lab",
            "the first number of lab, L*, must lie between 0 and 100",
            value=colour.lab[0],
            limit="0 to 100",
            next_step="Check the order: L*, a*, b*.",
        )


def _colouring(colouring: Draft) -> Iterator[Finding]:
    sound = isinstance(colouring, Draft) and colouring.sound
    if sound and colouring.purchase == "least_error" and colouring.budget is None:
        yield contradiction(
            "colouring.budget",
            'purchase = "least_error" needs a budget',
            "missing",
            "a sum of money",
            'Add colouring.budget, or choose purchase = "cheapest".',
        )


def _too_close(
    where: str, what: str, pitch_m: float | None, size_m: float | None, of: str
) -> Iterator[Finding]:
    if pitch_m is None or size_m is None or pitch_m > size_m - SAME_LENGTH_M:
        return
    yield make_finding(
        "S401",
        where,
        f"{what} is less than the {of} of a domino",
        value=MM.from_si(pitch_m),
        limit=f"{MM.from_si(size_m):g} mm or more",
        next_step=f"Raise the pitch to at least {MM.from_si(size_m):g} mm.",
    )


def _field(field: Draft, draft: Draft, where: str) -> Iterator[Finding]:
    if draft.domino is not None:
        yield from _too_close(
            f"{where}.col_pitch_mm", "the column pitch", field.col_pitch_m, draft.domino.width_m, "width"
        )
        yield from _too_close(
            f"{where}.row_pitch_mm", "the row pitch", field.row_pitch_m, draft.domino.thickness_m, "thickness"
        )
    yield from _stacked(field, where)
    yield from gap_rows(field, where)
    if draft.tray is not None:
        yield from _tray_fits(field, draft.tray, where)


def _stacked(field: Draft, where: str) -> Iterator[Finding]:
    if field.stacked_rows is None or field.rows is None:
        return
    last_used = -1
    for first, last in sorted(field.stacked_rows):
        if last >= field.rows or first <= last_used:
            yield make_finding(
                "B106",
                f"{where}.stacked_rows",
                f"rows {first} to {last} overlap another range or lie beyond the last row",
                value=f"[{first}, {last}]",
                limit=f"rows 0 to {field.rows - 1}, each once",
                next_step="Rows count from 0; give ranges that do not overlap.",
            )
        last_used = max(last, last_used)


def _tray_fits(field: Draft, tray: Draft, where: str) -> Iterator[Finding]:
    for attribute, name in (("col_pitch_m", "col_pitch_mm"), ("row_pitch_m", "row_pitch_mm")):
        mine, its = getattr(field, attribute), getattr(tray, attribute)
        if mine is not None and its is not None and abs(mine - its) > SAME_LENGTH_M:
            yield make_finding(
                "T501",
                f"{where}.{name}",
                f"the tray's {name} is not the field's",
                value=MM.from_si(mine),
                limit=f"{MM.from_si(its):g} mm, as tray.{name}",
                next_step=f"Make {where}.{name} and tray.{name} the same.",
            )
    shaped = tray.rows is not None and tray.rows > 1
    if shaped and None not in (field.rows_laid, tray.rows_laid) and field.rows_laid != tray.rows_laid:
        yield make_finding(
            "T501",
            f"{where}.rows_laid",
            "the tray's rows are not laid as the field's",
            value=field.rows_laid,
            limit=f"{tray.rows_laid}, as tray.rows_laid",
            next_step=f"Make {where}.rows_laid and tray.rows_laid the same.",
        )


def _line(
    line: Draft, domino: Draft | None, colours: list[str], earlier: list[Draft], where: str
) -> Iterator[Finding]:
    if domino is not None:
        yield from _too_close(f"{where}.pitch_mm", "the pitch", line.pitch_m, domino.thickness_m, "thickness")
    for name in line.colours or ():
        if name not in colours:
            yield no_such(f"{where}.colours", "colour", name, colours)
    if line.branch_of is not None:
        names = [other.name for other in earlier if other.name is not None]
        if line.branch_of not in names:
            yield no_such(f"{where}.branch_of", "line", line.branch_of, names, before=True)
        if line.start_m is not None:
            yield contradiction(
                where,
                "a line starts at start_m or branches off another line, not both",
                "start_m and branch_of",
                "one of the two",
                "Remove start_m or branch_of.",
            )
        if line.start_direction_rad is not None:
            yield contradiction(
                f"{where}.start_direction_deg",
                "a branch takes its direction from the line it leaves",
                "start_direction_deg and branch_of",
                "one of the two",
                "Remove start_direction_deg; branch_turn_deg turns the branch.",
            )
    else:
        yield from _branch_keys(line, where)
    if line.branch_of is None and line.sound and line.start_m is None:
        yield contradiction(
            where,
            "the line has no start",
            "neither",
            "start_m or branch_of",
            "Add start_m and start_direction_deg.",
        )
    elif (
        line.branch_of is None
        and line.sound
        and line.start_direction_rad is None
        and line.path
        and line.path[0].to_m is None
    ):
        yield contradiction(
            f"{where}.start_direction_deg",
            "the line has no direction to start in",
            "missing",
            "start_direction_deg, or a first part with to_m",
            "Add start_direction_deg.",
        )
    for number, part in enumerate(line.path or ()):
        yield from _path_part(part, f"{where}.path[{number}]")


def _branch_keys(line: Draft, where: str) -> Iterator[Finding]:
    given = [
        name
        for name, value in (
            ("branch_at_mm", line.branch_at_m),
            ("branch_aside_mm", line.branch_aside_m),
            ("branch_turn_deg", line.branch_turn_rad),
        )
        if value
    ]
    if given and line.sound:
        yield contradiction(
            where,
            "the line has keys of a branch, but branches off no line",
            ", ".join(given),
            "branch_of beside them",
            "Add branch_of with the name of a line before this one, or remove them.",
        )


def _path_part(part: Draft, where: str) -> Iterator[Finding]:
    given = [
        name
        for name, value in (
            ("straight_mm", part.straight_m),
            ("arc_radius_mm", part.arc_radius_m),
            ("to_m", part.to_m),
        )
        if value is not None
    ]
    arc_complete = (part.arc_radius_m is None) == (part.turn_rad is None) and part.turn_rad != 0.0
    if part.sound and (len(given) != 1 or not arc_complete):
        yield contradiction(
            where,
            "a part of a path is one of straight_mm, arc_radius_mm with turn_deg (not 0), or to_m",
            " and ".join(given) or "none of them",
            "exactly one",
            "Split it into several parts, or complete it.",
        )


def _tray(tray: Draft | None, needed: bool) -> Iterator[Finding]:
    if tray is None:
        if needed:
            yield make_finding(
                "B104",
                "tray",
                "tray is missing: a field is laid in tiles, so the tray is needed",
                value="missing",
                limit="a section [tray]",
                next_step="Add [tray] with columns, rows, col_pitch_mm and row_pitch_mm.",
            )
        return
    turns = tray.orientations_deg
    if turns is not None and (not turns or len(set(turns)) != len(turns) or not set(turns) <= {0.0, 180.0}):
        yield make_finding(
            "B107",
            "tray.orientations_deg",
            "a tray may be set down along the fall or turned right round: the pieces must face the fall",
            value=str(list(turns)),
            limit="[0], [180] or [0, 180]",
            next_step="Write orientations_deg = [0, 180], or the one your robot can do.",
        )


def _camera(camera: Draft | None) -> Iterator[Finding]:
    if camera is None:
        return
    if camera.position_m is not None and camera.position_m[2] <= 0:
        yield make_finding(
            "B106",
            "camera.position_m",
            "the camera must be above the floor",
            value=camera.position_m[2],
            limit="height above 0 m",
            next_step="Give position_m as x, y and height of the lens.",
        )
    if None not in (camera.position_m, camera.aim_m) and math.dist(camera.position_m, camera.aim_m) < 1e-3:
        yield contradiction(
            "camera.aim_m",
            "the camera aims at itself",
            str(list(camera.aim_m)),
            "another point than position_m",
            "Aim at the middle of the field.",
        )


def _size(fields: list[Draft]) -> Iterator[Finding]:
    total = sum(f.columns * f.rows for f in fields if f.columns is not None and f.rows is not None)
    if total > DOMINOES_MOST:
        yield make_finding(
            "B112",
            "field",
            "the fields hold more dominoes than a build file is meant for",
            value=total,
            limit=DOMINOES_MOST,
            next_step="Split the mural into several builds.",
        )
