"""The picture in the README: the demo mural fallen, as its gallery camera sees it."""

from __future__ import annotations

from pathlib import Path

from PIL import Image

from standfall.papers.camera_view import draw_camera_view
from standfall.planning import Plan

WIDTH_PX = 1280
# Few enough colours for a small file, enough for the shades of 14 colours.
COLOURS = 96


def write_picture(plan: Plan, path: Path) -> None:
    """Draw the demo's camera view as a PNG of few colours."""
    picture = Image.fromarray(draw_camera_view(plan, "fallen", width_px=WIDTH_PX))
    path.parent.mkdir(exist_ok=True)
    picture.quantize(COLOURS, dither=Image.Dither.NONE).save(path, optimize=True)
