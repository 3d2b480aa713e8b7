"""The floor that a drawing gave a brief: it is not in the brief's text, so the build file keeps it beside it."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import replace
from typing import Any

from standfall.book.schema import format_of
from standfall.brief import Area, Brief


def drawn_rows(brief: Brief, written: Brief) -> list[tuple[Any, ...]]:
    """Return the row of ``drawn_floor``, or none when the hall is not drawn.

    Args:
        brief: of the plan, with the floor of the drawing.
        written: as its text reads.
    """
    if brief.hall.drawing is None:
        return []
    areas = [[area.name, area.kind, area.outline_m] for area in brief.areas[len(written.areas) :]]
    return [(0, json.dumps(brief.hall.outline_m), json.dumps(areas, ensure_ascii=False))]


def with_drawn_floor(connection: sqlite3.Connection, written: Brief) -> Brief:
    """Return a brief with the drawn floor that a build file holds for it.

    Raises:
        ValueError: its hall is drawn and the file lacks the floor.
    """
    if written.hall.drawing is None or format_of(connection) < 3:
        return written
    row = connection.execute("SELECT outline, areas FROM drawn_floor").fetchone()
    if row is None:
        raise ValueError("it lacks the floor of the drawing that its brief names")
    outline, areas = map(json.loads, row)
    return replace(
        written,
        hall=replace(written.hall, outline_m=_points(outline)),
        areas=(
            *written.areas,
            *(Area(name=name, kind=kind, outline_m=_points(points)) for name, kind, points in areas),
        ),
    )


def same_but_drawn(brief: Brief, written: Brief | None) -> bool:
    """Tell whether a brief is what its text reads as, but for the floor of a drawing."""
    if written is None or brief.hall.drawing is None:
        return brief == written
    plain = replace(brief.hall, outline_m=written.hall.outline_m)
    return replace(brief, hall=plain, areas=brief.areas[: len(written.areas)]) == written


def _points(values: list[list[float]]) -> tuple[tuple[float, float], ...]:
    return tuple((float(x_m), float(y_m)) for x_m, y_m in values)
