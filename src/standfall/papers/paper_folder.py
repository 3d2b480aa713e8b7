"""The folder of papers: all that is printed or looked at for one plan."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable
from functools import cache
from pathlib import Path

from standfall.disk import faults_of, make_folder, remove_file, write_whole
from standfall.hall.site import make_site
from standfall.papers.camera_view import draw_camera_view
from standfall.papers.finder import png_bytes
from standfall.papers.floor_plan import FloorPlanDrawing, floor_plan_drawing
from standfall.papers.floor_plan_dxf import floor_plan_dxf
from standfall.papers.floor_plan_pdf import floor_plan_pdf
from standfall.papers.floor_plan_sheet import lay_out_sheets
from standfall.papers.floor_plan_svg import floor_plan_svg
from standfall.papers.lay_sheets import make_lay_book
from standfall.papers.preview import draw_preview
from standfall.papers.shopping_list import make_shopping_list
from standfall.planning.plan import Plan

Progress = Callable[[int, int, str], None]

# Names this room gives; files of an earlier plan under such names are removed, so that no crew lays from them.
_OURS = re.compile(
    r"(preview|camera)_(standing|fallen)\.png|shopping_list\.pdf|lay_sheets(_[1-9]\d*)?\.pdf|floor_plan\.(pdf|svg|dxf)"
)
_PLAN_DIGITS = 8


def write_papers(plan: Plan, folder: Path, progress: Progress | None = None) -> tuple[Path, ...]:
    """Write previews, shopping list, floor plan and lay sheets of a plan into a folder.

    ``preview_standing.png`` and ``preview_fallen.png``, with a camera in the brief also
    ``camera_standing.png`` and ``camera_fallen.png``; where the laying is planned ``floor_plan.pdf``,
    ``floor_plan.svg`` and ``floor_plan.dxf``; ``shopping_list.pdf``; ``lay_sheets.pdf``, or
    ``lay_sheets_1.pdf``, ``lay_sheets_2.pdf``, ... of at most 500 pages each. Each file appears whole or
    not at all; a file of these names left from an earlier plan is replaced or removed. The same plan
    gives the same bytes.

    Args:
        plan: the plan.
        folder: where to; made if it is not there.
        progress: callback (files done, files in all, what comes next).

    Returns:
        The files written, in the order of writing.

    Raises:
        FileFault: a file cannot be written. Those before it are whole.
    """
    folder = Path(folder)
    make_folder(folder)
    tell = progress or (lambda done, total, what: None)
    pictures = _pictures(plan) + _floor_plans(plan)
    total = len(pictures) + 2
    written: list[Path] = []

    def write(name: str, make: Callable[[], bytes], what: str) -> None:
        tell(len(written), total, what)
        path = folder / name
        write_whole(path, make())
        written.append(path)

    for name, make, what in pictures:
        write(name, make, what)
    write("shopping_list.pdf", lambda: make_shopping_list(plan), "shopping list")
    tell(len(written), total, "lay sheets")
    book = make_lay_book(plan)
    volumes = len(book.volumes)
    total = len(pictures) + 1 + volumes
    for volume in range(1, volumes + 1):
        name = "lay_sheets.pdf" if volumes == 1 else f"lay_sheets_{volume}.pdf"
        write(name, lambda volume=volume: book.typeset(volume), f"lay sheets, volume {volume} of {volumes}")  # type: ignore[misc]
    _remove_others(folder, {path.name for path in written})
    tell(total, total, "papers written")
    return tuple(written)


def _pictures(plan: Plan) -> list[tuple[str, Callable[[], bytes], str]]:
    pictures: list[tuple[str, Callable[[], bytes], str]] = [
        ("preview_standing.png", lambda: png_bytes(draw_preview(plan, "standing")), "preview, standing"),
        ("preview_fallen.png", lambda: png_bytes(draw_preview(plan, "fallen")), "preview, fallen"),
    ]
    if plan.brief.camera is not None:
        pictures += [
            (
                "camera_standing.png",
                lambda: png_bytes(draw_camera_view(plan, "standing")),
                "camera view, standing",
            ),
            ("camera_fallen.png", lambda: png_bytes(draw_camera_view(plan, "fallen")), "camera view, fallen"),
        ]
    return pictures


def _floor_plans(plan: Plan) -> list[tuple[str, Callable[[], bytes], str]]:
    """Return what writes the floor plan, where the laying is planned and the hall is a floor."""
    routes = plan.routes
    site = make_site(plan.brief)[0] if routes is not None else None
    if routes is None or site is None:
        return []

    @cache
    def drawing() -> FloorPlanDrawing:
        digest = hashlib.sha256(plan.text).hexdigest()[:_PLAN_DIGITS]
        parts = (plan.brief, site, plan.standing, plan.tiling, routes.steps, routes.access, routes.trips)
        return floor_plan_drawing(*parts, plan=digest)

    paper = plan.brief.papers.page

    def svg() -> bytes:
        views = lay_out_sheets(drawing(), paper)
        return floor_plan_svg(drawing(), views[0], 1, len(views))

    return [
        ("floor_plan.pdf", lambda: floor_plan_pdf(drawing(), paper), "floor plan"),
        ("floor_plan.svg", svg, "floor plan as a drawing"),
        ("floor_plan.dxf", lambda: floor_plan_dxf(drawing()), "floor plan for surveyors"),
    ]


def _remove_others(folder: Path, written: set[str]) -> None:
    with faults_of(folder, "read"):
        found = sorted(path for path in folder.iterdir() if _OURS.fullmatch(path.name))
    for path in found:
        if path.name not in written:
            remove_file(path)
