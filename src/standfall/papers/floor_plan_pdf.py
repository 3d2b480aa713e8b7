"""The floor plan as a PDF to scale, one page for each sheet."""

from __future__ import annotations

from standfall.papers.floor_plan import FloorPlanDrawing
from standfall.papers.floor_plan_sheet import lay_out_sheets
from standfall.papers.floor_plan_svg import floor_plan_svg
from standfall.papers.typeset import typeset


def floor_plan_pdf(drawing: FloorPlanDrawing, paper: str) -> bytes:
    """Return all sheets of a floor plan as a PDF; printed at actual size they are to scale.

    Args:
        drawing: what is drawn.
        paper: ``a4`` or ``letter``, the family of sizes.

    Raises:
        FileFault: there is no room for temporary files.
    """
    views = lay_out_sheets(drawing, paper)
    pictures = {
        f"sheet_{number}.svg": floor_plan_svg(drawing, view, number, len(views))
        for number, view in enumerate(views, start=1)
    }
    sheets = [
        {
            "file": file,
            "width": view.width_mm,
            "height": view.height_mm,
            "alt": f"{view.title} of {drawing.name}, scale 1:{view.scale}",
        }
        for file, view in zip(pictures, views, strict=True)
    ]
    return typeset("floor_plan", {"title": f"{drawing.name}: floor plan", "sheets": sheets}, pictures)
