"""The pictures in the pages: the demo mural fallen, as its gallery camera sees it, and its fall in time."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from standfall.fall import Fall
from standfall.papers.camera_view import draw_camera_view
from standfall.papers.fall_map import draw_fall_times
from standfall.planning import Plan

WIDTH_PX = 1280
# Few enough colours for a small file, enough for the shades of 14 colours.
COLOURS = 96


def write_pictures(plan: Plan, fall: Fall, folder: Path) -> None:
    """Draw the demo's camera view and the map of its fall as PNGs of few colours."""
    folder.mkdir(exist_ok=True)
    _write(draw_camera_view(plan, "fallen", width_px=WIDTH_PX), folder / "kingfisher_camera.png")
    _write(draw_fall_times(plan, fall, width_px=WIDTH_PX), folder / "kingfisher_fall_times.png")


def _write(pixels: NDArray[np.uint8], path: Path) -> None:
    picture = Image.fromarray(pixels)
    picture.quantize(COLOURS, dither=Image.Dither.NONE).save(path, optimize=True)
