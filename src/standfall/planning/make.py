"""The wiring: commission in, plan and findings out. Every room below is called here, in order."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import shapely

from standfall.brief import Brief
from standfall.findings import Finding, blocked, in_order, make_finding
from standfall.geometry import rectangle_corners
from standfall.hall import Site, make_site, mural_findings
from standfall.mural.advice import (
    alike_colours,
    camera_of,
    coarse_picture,
    empty_field,
    floor_load,
    sight_faults,
)
from standfall.mural.camera import average_cells_seen
from standfall.mural.cells import Cells, average_cells
from standfall.mural.colouring import Colouring, colour_fields
from standfall.mural.field import FieldPlace, place_field
from standfall.mural.item import FieldCells, field_cells
from standfall.mural.line import LinePlace, place_lines, tight_arcs
from standfall.mural.palette import Palette, make_palette
from standfall.mural.picture import Picture, Placement
from standfall.mural.placing import hall_findings, outside_hall, overlap_findings, shared_floor
from standfall.mural.stand import line_colours, stand_up
from standfall.mural.stock import Counts, StockTable
from standfall.planning.plan import Commission, Plan
from standfall.routes.make import plan_routes
from standfall.tiles import cut_fields, fitting_offsets, gap_mask, partial_tiles, with_tiles

Progress = Callable[[int, int, str], None]


@dataclass(frozen=True)
class Outcome:
    """What came of planning: a plan when there is one to show, the stock as far as known, all findings.

    When ``blocked``, nothing may be built or written; ``plan`` then is the best partial answer or ``None``.
    """

    plan: Plan | None
    palette: Palette | None
    stock: StockTable | None
    findings: tuple[Finding, ...]

    @property
    def blocked(self) -> bool:
        """Tell whether a blocking finding was made."""
        return blocked(self.findings)


def make_plan(commission: Commission, progress: Progress | None = None) -> Outcome:
    """Plan a build: places, cells, colours within stock, the standing set, tiles.

    Args:
        commission: what the build lead handed in.
        progress: callback (done, total, what); a KeyboardInterrupt in it stops the work without harm.
    """
    layout = _Layout.of(commission)
    findings = list(commission.findings) + layout.findings
    brief = commission.brief
    if brief is None or blocked(findings):
        return Outcome(None, None, None, in_order(findings))
    cells = _all_cells(brief, commission, layout, progress)
    for number, (field, picture_cells) in enumerate(zip(brief.fields, cells, strict=True)):
        findings += coarse_picture(commission.pictures[field.picture], field, number)
        findings += empty_field(picture_cells.present, field, number)
    palette = make_palette(brief.colours)
    findings += alike_colours(palette) + floor_load(brief)
    used_lines = _used_lines(layout, palette)
    colouring, stock, more = colour_fields(cells, brief, palette, used_lines, progress)
    findings += more
    if colouring is None:
        return Outcome(None, palette, stock, in_order(findings))
    plan = _tiled(commission, brief, layout, palette, colouring, findings, progress)
    if layout.site is not None and (brief.robots or brief.crew is not None):
        plan = _laid(plan, layout.site, progress)
    return Outcome(plan, palette, stock, plan.findings)


def _laid(plan: Plan, site: Site, progress: Progress | None) -> Plan:
    """Plan how it is laid; trays are turned as they are set down."""
    laid = plan_routes(plan.brief, site, plan.standing, plan.tiling, progress)
    return replace(
        plan,
        standing=laid.standing,
        tiling=laid.tiling,
        routes=laid.routes,
        findings=in_order((*plan.findings, *laid.findings)),
    )


@dataclass(frozen=True)
class _Layout:
    """Where the sound fields and lines of a brief lie, and what is wrong with that."""

    fields: dict[int, FieldPlace]
    lines: dict[int, LinePlace]
    commission: Commission
    findings: list[Finding]
    site: Site | None = None

    @staticmethod
    def of(commission: Commission) -> _Layout:
        reading, brief = commission.reading, commission.brief
        fields = {number: place_field(field) for number, field in reading.fields}
        lines, findings = place_lines(reading.lines)
        findings = hall_findings(reading.hall) + findings
        findings += outside_hall(
            reading.hall,
            [(number, field, fields[number]) for number, field in reading.fields],
            [(number, line, lines[number]) for number, line in reading.lines if number in lines],
            brief.domino if brief else None,
        )
        findings += shared_floor([(number, field, fields[number]) for number, field in reading.fields])
        site = None
        if brief is not None:
            site, more = make_site(brief)
            findings += more + mural_findings(site, _footprints(brief, fields, lines)) if site else more
            findings += tight_arcs(reading.lines, lines, brief.domino.width_m, brief.domino.thickness_m)
            for number, field in reading.fields:
                findings += _fits_tray(brief, number)
                if field.seen_from_camera and brief.camera is not None:
                    findings += sight_faults(brief.camera, field, number, fields[number])
        return _Layout(fields, lines, commission, findings, site)


def _footprints(
    brief: Brief, fields: dict[int, FieldPlace], lines: dict[int, LinePlace]
) -> list[tuple[str, str, shapely.Geometry]]:
    """Return (where, words, floor taken) of each field and line."""
    shapes: list[tuple[str, str, shapely.Geometry]] = [
        (f"field[{number}]", f"field {field.name!r}", shapely.Polygon(fields[number].corners_m()))
        for number, field in enumerate(brief.fields)
    ]
    size = (brief.domino.width_m, brief.domino.thickness_m)
    for number, line in enumerate(brief.lines):
        if number in lines:
            pieces = shapely.polygons(rectangle_corners(*lines[number].poses(), *size))
            shapes.append((f"line[{number}]", f"line {line.name!r}", shapely.union_all(pieces)))
    return shapes


def _fits_tray(brief: Brief, number: int) -> list[Finding]:
    field, tray = brief.fields[number], brief.tray
    if tray is None or fitting_offsets(field.rows_laid == "half_offset", tray, field.rows):
        return []
    return [
        make_finding(
            "T501",
            f"field[{number}].rows_laid",
            "half-offset rows need an even number of slot rows, or a tray that may be set down both ways round",
            value=f"{tray.rows} slot rows, orientations {list(tray.orientations_deg)}",
            limit="even rows, or orientations_deg = [0, 180]",
            next_step="Allow both orientations, or use a tray with an even number of slot rows.",
        )
    ]


def _all_cells(
    brief: Brief, commission: Commission, layout: _Layout, progress: Progress | None
) -> list[FieldCells]:
    cells = []
    for number, field in enumerate(brief.fields):
        picture = commission.pictures[field.picture]
        placement = Placement(field.fit, field.crop_centre, field.picture_up)  # type: ignore[arg-type]
        found = _cells(brief, picture, placement, layout.fields[number], field.seen_from_camera, progress)
        cells.append(field_cells(found.linear, found.cover, field))
    return cells


def _cells(
    brief: Brief,
    picture: Picture,
    placement: Placement,
    place: FieldPlace,
    seen: bool,
    progress: Progress | None,
) -> Cells:
    if seen and brief.camera is not None:
        affine = place.frame.affine()
        camera = camera_of(brief.camera)
        return average_cells_seen(picture, place.grid, placement, affine, camera, progress=progress)
    return average_cells(picture, place.grid, placement, progress)


def _used_lines(layout: _Layout, palette: Palette) -> Counts:
    used = np.zeros(len(palette), dtype=np.int64)
    for number, line in layout.commission.reading.lines:
        used += np.bincount(
            line_colours(line, layout.lines[number].dominoes, palette), minlength=len(palette)
        )
    return used


def _tiled(
    commission: Commission,
    brief: Brief,
    layout: _Layout,
    palette: Palette,
    colouring: Colouring,
    findings: list[Finding],
    progress: Progress | None,
) -> Plan:
    _tell(progress, 0, 3, "standing set")
    places = [layout.fields[number] for number in range(len(brief.fields))]
    lines = [(number, line, layout.lines[number]) for number, line in enumerate(brief.lines)]
    standing = stand_up(colouring.lower, colouring.upper, places, lines, palette, brief.domino.height_m)
    _tell(progress, 1, 3, "overlaps")
    names = [f"field {field.name!r}" for field in brief.fields] + [
        f"line {line.name!r}" for line in brief.lines
    ]
    findings = findings + overlap_findings(standing, places, brief.domino, names)
    _tell(progress, 2, 3, "tiles")
    presents = [
        (lower >= 0) & ~gap_mask(field) for field, lower in zip(brief.fields, colouring.lower, strict=True)
    ]
    tiling, maps = cut_fields(presents, places, brief.tray)
    standing = with_tiles(standing, maps)
    _tell(progress, 3, 3, "tiles")
    return Plan(
        brief=brief,
        text=commission.text,
        files=commission.files,
        palette=palette,
        standing=standing,
        tiling=tiling,
        stock=colouring.stock,
        colour_error=colouring.error,
        findings=in_order(findings + partial_tiles(tiling, brief)),
    )


def _tell(progress: Progress | None, done: int, total: int, what: str) -> None:
    if progress is not None:
        progress(done, total, what)
