"""The sheet of a floor plan: how large the paper, to what scale, and which part of the hall is on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from standfall.papers.floor_plan import FloorPlanDrawing
from standfall.papers.page import MONO_WIDTH

Floats = NDArray[np.float64]

# Sheets from small to large, long side first, in mm: ISO 216, and the ANSI/ASME Y14.1 sizes B, C and D.
_PAPERS: dict[str, tuple[tuple[str, float, float], ...]] = {
    "a4": (("A3", 420.0, 297.0), ("A2", 594.0, 420.0), ("A1", 841.0, 594.0)),
    "letter": (("ANSI B", 431.8, 279.4), ("ANSI C", 558.8, 431.8), ("ANSI D", 863.6, 558.8)),
}
# Scales that a ruler or a pocket calculator takes without thinking; ISO 5455 has those with 1, 2 and 5.
_SCALES = (
    5, 10, 20, 25, 40, 50, 75, 100, 125, 150, 200, 250, 400, 500, 750, 1000, 1250, 1500, 2000, 2500, 4000, 5000,
    10_000, 20_000, 50_000, 100_000, 200_000, 500_000, 1_000_000,
)  # fmt: skip

MARGIN_MM = 9.0
SIDE_MM = 76.0
SIDE_GAP_MM = 5.0
RULER_MM = 9.0
# Room round the hall for dimensions and names.
ROOM_MM = 15.0
#: Digits lower than this are not printed: they could not be read from the floor.
LEAST_DIGIT_MM = 1.6
_MOST_DIGIT_MM = 3.6
# Height of a digit of DejaVu Sans Mono in parts of the size of the font (1493 / 2048, from the font itself).
DIGIT_HEIGHT = 0.729
# How much of a tile its number may take, along and across.
_SHARE_LONG, _SHARE_SHORT = 0.88, 0.62


@dataclass(frozen=True)
class SheetView:
    """One sheet and the part of the hall on it.

    Attributes:
        paper: its name.
        width_mm, height_mm: its size.
        scale: 1 to this.
        centre_m: place in the hall in the middle of the plan.
        title: what it shows.
        field: number of the field that is shown nearer, -1 for the whole hall.
        digit_mm: height of the digits of the laying order, 0 when they are left out.
    """

    paper: str
    width_mm: float
    height_mm: float
    scale: int
    centre_m: tuple[float, float]
    title: str
    field: int
    digit_mm: float

    @property
    def plan_mm(self) -> tuple[float, float, float, float]:
        """Left, top, width and height of the plan on the paper."""
        left = MARGIN_MM + RULER_MM
        wide = self.width_mm - left - MARGIN_MM - SIDE_MM - SIDE_GAP_MM
        return left, MARGIN_MM, wide, self.height_mm - 2 * MARGIN_MM - RULER_MM

    @property
    def mm_per_m(self) -> float:
        """Millimetres of paper for a metre of the hall."""
        return 1000.0 / self.scale

    def to_paper(self, places_m: Floats) -> Floats:
        """Return (..., 2) places on the paper in mm, x right and y down from its top left corner."""
        left, top, wide, high = self.plan_mm
        offset = np.asarray(places_m, dtype=np.float64) - self.centre_m
        return np.stack(
            [
                left + wide / 2 + offset[..., 0] * self.mm_per_m,
                top + high / 2 - offset[..., 1] * self.mm_per_m,
            ],
            axis=-1,
        )


def lay_out_sheets(drawing: FloorPlanDrawing, paper: str) -> tuple[SheetView, ...]:
    """Return the sheets of a floor plan: the hall on the smallest paper on which the numbers can be read.

    Where they cannot be read even on the largest, the hall is drawn on the largest without them, and each field
    follows on a sheet of its own.

    Args:
        drawing: what is drawn.
        paper: ``a4`` or ``letter``, the family of sizes.
    """
    low, high = _extent(drawing)
    hall = [_fitted(size, low, high, "Floor plan", -1, drawing) for size in _PAPERS[paper]]
    readable = [view for view in hall if view.digit_mm > 0 or not len(drawing.tiles)]
    if readable:
        return (readable[0],)
    sheets = [hall[-1]]
    for number, field in enumerate(drawing.fields):
        if not (drawing.tiles.field == number).any():
            continue
        low, high = field.corners_m.min(axis=0), field.corners_m.max(axis=0)
        views = [_fitted(size, low, high, f"Field {field.name}", number, drawing) for size in _PAPERS[paper]]
        sheets.append(next((view for view in views if view.digit_mm > 0), views[-1]))
    return tuple(sheets)


def _extent(drawing: FloorPlanDrawing) -> tuple[Floats, Floats]:
    """Return the corners of the box round the floor and all that stands."""
    shapes = [drawing.outline_m, drawing.tiles.corners_m.reshape(-1, 2), *(h.path_m for h in drawing.hands)]
    points = np.concatenate(shapes)
    return points.min(axis=0), points.max(axis=0)


def _fitted(
    size: tuple[str, float, float],
    low: Floats,
    high: Floats,
    title: str,
    field: int,
    drawing: FloorPlanDrawing,
) -> SheetView:
    """Return the view with the largest scale on a paper laid across or upright."""
    name, long_mm, short_mm = size
    centre = (float(low[0] + high[0]) / 2, float(low[1] + high[1]) / 2)
    wide_m, high_m = np.maximum(high - low, 1e-3)
    views = []
    for width_mm, height_mm in ((long_mm, short_mm), (short_mm, long_mm)):
        view = SheetView(name, width_mm, height_mm, 1, centre, title, field, 0.0)
        _, _, room_wide, room_high = view.plan_mm
        least = max(wide_m / (room_wide - 2 * ROOM_MM), high_m / (room_high - 2 * ROOM_MM)) * 1000.0
        scale = next((scale for scale in _SCALES if scale >= least - 1e-9), _SCALES[-1])
        views.append(SheetView(name, width_mm, height_mm, scale, centre, title, field, 0.0))
    best = min(views, key=lambda view: view.scale)
    digit_mm = _digit_mm(drawing, best.mm_per_m, field)
    return SheetView(
        best.paper, best.width_mm, best.height_mm, best.scale, centre, title, field,
        digit_mm if digit_mm >= LEAST_DIGIT_MM else 0.0,
    )  # fmt: skip


def tile_sides_m(corners_m: Floats) -> tuple[Floats, Floats]:
    """Return the (m,) lengths of tiles across and along the fall."""
    across = np.hypot(*(corners_m[:, 1] - corners_m[:, 0]).T)
    along = np.hypot(*(corners_m[:, 2] - corners_m[:, 1]).T)
    return across, along


def _digit_mm(drawing: FloorPlanDrawing, mm_per_m: float, field: int) -> float:
    """Return the greatest height of digits with which most numbers stay inside their tiles."""
    tiles = drawing.tiles
    mine = np.ones(len(tiles), np.bool_) if field < 0 else tiles.field == field
    if not mine.any():
        return _MOST_DIGIT_MM
    across, along = tile_sides_m(tiles.corners_m[mine])
    # Tiles cut short at the edge of a field do not count: nine of ten are at least this large.
    long_mm = float(np.percentile(np.maximum(across, along), 10)) * mm_per_m
    short_mm = float(np.percentile(np.minimum(across, along), 10)) * mm_per_m
    letters = len(str(int(tiles.order[mine].max(initial=1))))
    by_length = _SHARE_LONG * long_mm / (MONO_WIDTH * letters) * DIGIT_HEIGHT
    return min(_MOST_DIGIT_MM, by_length, _SHARE_SHORT * short_mm)
