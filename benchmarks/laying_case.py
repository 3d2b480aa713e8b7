"""The demo's laying, as it is and ten times as large: hall, robots, standing set and tiles, without any picture.

What grows is the field; the hall keeps its margins round it, so docks, doors and pillars lie where they did seen
from the field's nearest corner.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from standfall.brief import Brief, read_text
from standfall.demo import brief_text
from standfall.findings import blocked
from standfall.hall import Site, make_site
from standfall.mural.field import place_field
from standfall.mural.line import place_lines
from standfall.mural.palette import make_palette
from standfall.mural.stand import stand_up
from standfall.mural.standing import Standing
from standfall.tiles import Tiling, cut_fields, with_tiles

#: Columns and rows of the demo, and of ten times as many tiles of the same tray.
DEMO, TENFOLD = (330, 300), (1100, 900)
Point = tuple[float, float]


@dataclass(frozen=True)
class Case:
    """What planning the laying begins with."""

    brief: Brief
    site: Site
    standing: Standing
    tiling: Tiling


def make_case(columns: int, rows: int) -> Case:
    """Return the demo with a field of so many columns and rows, every cell with a domino; no hall is smaller."""
    brief = _larger(columns, rows)
    site, findings = make_site(brief)
    if site is None or blocked(findings):
        raise SystemExit(f"the benchmark's hall is blocked: {findings}")
    places = [place_field(field) for field in brief.fields]
    full = [np.zeros((field.rows, field.columns), np.int32) for field in brief.fields]
    nothing = [colours - 1 for colours in full]
    line_places, _ = place_lines(list(enumerate(brief.lines)))
    lines = [(number, line, line_places[number]) for number, line in enumerate(brief.lines)]
    palette = make_palette(brief.colours)
    standing = stand_up(full, nothing, places, lines, palette, brief.domino.height_m)
    tiling, maps = cut_fields([colours >= 0 for colours in full], places, brief.tray)
    return Case(brief, site, with_tiles(standing, maps), tiling)


def _larger(columns: int, rows: int) -> Brief:
    brief = read_text(brief_text().encode()).brief
    assert brief is not None
    field = brief.fields[0]
    wider_m = max(columns - field.columns, 0) * field.col_pitch_m
    deeper_m = max(rows - field.rows, 0) * field.row_pitch_m
    middle_x = field.corner_m[0] + field.columns * field.col_pitch_m / 2
    middle_y = field.corner_m[1] + field.rows * field.row_pitch_m / 2

    def moved(place: Point) -> Point:
        x, y = place
        # The farther half of the hall goes along with the field's far corner.
        return x + (wider_m if x > middle_x else 0.0), y + (deeper_m if y > middle_y else 0.0)

    def all_moved(places: Iterable[Point]) -> tuple[Point, ...]:
        return tuple(moved(place) for place in places)

    return replace(
        brief,
        hall=replace(brief.hall, outline_m=all_moved(brief.hall.outline_m)),
        fields=(replace(field, columns=columns, rows=rows),),
        docks=tuple(replace(dock, place_m=moved(dock.place_m)) for dock in brief.docks),
        areas=tuple(
            replace(
                area,
                outline_m=all_moved(area.outline_m),
                centre_m=None if area.centre_m is None else moved(area.centre_m),
            )
            for area in brief.areas
        ),
    )
