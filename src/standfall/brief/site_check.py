"""The keys of the hall, its areas, docks and crew against each other, and rows left open against their field."""

from __future__ import annotations

from collections.abc import Iterator

from standfall.brief.mismatch import contradiction, missing, no_such, outside, unique_names
from standfall.brief.reader import Draft
from standfall.findings import Finding, make_finding


def hall_outline(hall: object) -> Iterator[Finding]:
    """Yield what is wrong when a hall has neither an outline nor a drawing, or both."""
    if not isinstance(hall, Draft):
        return
    faulty = hall.faulty & {"outline_m", "drawing"}
    drawn = bool(hall.drawing and hall.drawing.strip())
    if not hall.outline_m and not drawn and not faulty:
        yield missing(
            "hall.outline_m",
            "hall.outline_m is missing: corners of the floor in order, at least three",
            "outline_m, or drawing with the name of a file",
            "Add hall.outline_m, or name a drawing of the floor in hall.drawing.",
        )
    if hall.outline_m and drawn:
        yield contradiction(
            "hall.drawing",
            "the floor is given twice: as outline_m and as a drawing",
            "outline_m and drawing",
            "one of the two",
            "Remove hall.outline_m if the drawing is right, or hall.drawing.",
        )


def area_findings(areas: list[Draft]) -> Iterator[Finding]:
    """Yield what is wrong between the keys of the areas, in the order they are written."""
    yield from unique_names(areas, "area")
    for number, area in enumerate(areas):
        where = f"area[{number}]"
        round_keys = {"centre_m": area.centre_m, "radius_mm": area.radius_m}
        given = [name for name, value in round_keys.items() if value is not None]
        if area.faulty & {"outline_m", "centre_m", "radius_m"}:
            continue  # what it was meant to be cannot be told
        if area.outline_m and given:
            yield contradiction(
                where,
                "an area is a polygon or a circle, not both",
                " and ".join(["outline_m", *given]),
                "outline_m, or centre_m and radius_mm",
                "Remove outline_m, or centre_m and radius_mm.",
            )
        elif not area.outline_m and len(given) != 2:
            yield contradiction(
                where,
                "an area needs outline_m, or centre_m and radius_mm",
                given[0] if given else "none of them",
                "outline_m, or centre_m and radius_mm",
                "Add outline_m with its corners, or middle and radius of a circle.",
            )


def dock_findings(docks: list[Draft], robots: list[Draft] | None, crew: object) -> Iterator[Finding]:
    """Yield what is wrong between the keys of the docks, and with the names of robots in them.

    Args:
        docks: as read.
        robots: as read; ``None`` when they could not be.
        crew: as read; ``None`` when there is none.
    """
    yield from unique_names(docks, "dock")
    names = [robot.name for robot in robots or ()]
    # A name that could not be read may be the one meant, and that has been told already.
    known = robots is not None and None not in names
    for number, dock in enumerate(docks):
        where = f"dock[{number}]"
        if dock.kind == "crew" and dock.robots:
            yield contradiction(
                f"{where}.robots",
                "people come in at a crew's dock; no robot uses it",
                ", ".join(dock.robots),
                'no robots beside kind = "crew"',
                "Remove robots, or change kind.",
            )
        for name in dock.robots or ():
            if known and name not in names:
                yield no_such(f"{where}.robots", "robot", name, names)
        if dock.kind == "crew" and crew is None:
            yield missing(
                "crew",
                f"crew is missing: {where} is where a crew comes in",
                "a section [crew]",
                "Add [crew]; all of its keys have defaults. Or remove the dock.",
            )


def crew_findings(crew: object, docks: list[Draft] | None, robots: list[Draft] | None) -> Iterator[Finding]:
    """Yield what is wrong between the crew, the docks and the robots. ``None``: could not be read."""
    if not isinstance(crew, Draft):
        return
    if docks is not None and not any(dock.kind in ("crew", None) for dock in docks):
        yield missing(
            "dock",
            "there is no dock where the crew comes in",
            'a [[dock]] with kind = "crew"',
            'Add a [[dock]] with kind = "crew" and place_m at the door that people use.',
        )
    if crew.tiles_by_hand and robots:
        yield contradiction(
            "crew.tiles_by_hand",
            "the crew sets down the trays itself, and there are robots to do it",
            f"tiles_by_hand and {len(robots)} of [[robot]]",
            "one of the two",
            "Remove tiles_by_hand, or the [[robot]] sections.",
        )


def gap_rows(field: Draft, where: str) -> Iterator[Finding]:
    """Yield a B106 for each range of rows left open that is no part of the field, or taken twice."""
    if field.gap_rows is None:
        return
    stacked = sorted(field.stacked_rows or ())
    for number, (first, last) in enumerate(field.gap_rows):
        before = field.gap_rows[number - 1][1] if number else -1
        limit = f"rows 0 to {field.rows - 1}" if field.rows is not None else "rows of the field"
        shown = f"[{first}, {last}]"
        if field.rows is not None and last >= field.rows:
            yield _rows(
                where,
                f"rows {first} to {last} lie beyond the field's last row",
                shown,
                f"{limit}, counted from 0",
            )
        if first <= before:
            yield _rows(
                where,
                f"rows {first} to {last} do not come after the range before them, which ends at row {before}",
                shown,
                "ranges in order, each row once",
            )
        twice = [pair for pair in stacked if pair[0] <= last and pair[1] >= first]
        if twice:
            yield _rows(
                where,
                f"rows {first} to {last} are left open and stacked at once: rows {twice[0][0]} to {twice[0][1]} "
                "of stacked_rows",
                shown,
                "rows that are not in stacked_rows",
            )
    if field.rows is not None and field.sound and _covers(field.gap_rows, field.rows):
        yield outside(
            f"{where}.gap_rows",
            "every row of the field is left open, so no tray is ever set down",
            field.rows,
            f"fewer than {field.rows} rows",
            "Leave open only the rows that are to stop the fall while laying goes on.",
        )


def _covers(ranges: tuple[tuple[int, int], ...], rows: int) -> bool:
    """Tell whether ranges hold every one of so many rows."""
    reached = 0
    for first, last in sorted(ranges):
        if first > reached:
            return False
        reached = max(reached, last + 1)
    return reached >= rows


def _rows(where: str, message: str, value: str, limit: str) -> Finding:
    return make_finding(
        "B106",
        f"{where}.gap_rows",
        message,
        value=value,
        limit=limit,
        next_step="Rows count from 0; give ranges in order that do not overlap.",
    )
