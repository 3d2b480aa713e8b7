"""``[hall]``: the floor everything stands on."""

from __future__ import annotations

from dataclasses import dataclass

from standfall.brief.key import key
from standfall.brief.unit import KPA, M

Point = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class Hall:
    """``[hall]``: the floor. x runs right and y up on the drawing, from a corner of your choice."""

    outline_m: tuple[Point, ...] = key(
        "outline_m",
        "points",
        "Corners of the floor in order, at least three; left out when there is a drawing.",
        unit=M,
        least=-1000,
        most=1000,
        default=(),
    )
    drawing: str | None = key(
        "drawing",
        "text",
        "Drawing of the floor instead of outline_m: a DXF file, or the YAML file of a map that a robot made; in the "
        "brief's folder unless the path is absolute.",
        length=1000,
        default=None,
    )
    drawing_layer: str = key(
        "drawing_layer",
        "text",
        "Layer of a DXF drawing that the outline of the floor lies on.",
        length=255,
        default="floor",
    )
    floor_load_pa: float | None = key(
        "floor_load_kpa",
        "number",
        "Greatest even load the floor may carry; a warning is given above it.",
        unit=KPA,
        above=0,
        most=1000,
        default=None,
    )
