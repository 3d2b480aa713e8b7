"""``[[area]]``: a part of the floor that is not free, and who may be on it all the same."""

from __future__ import annotations

from dataclasses import dataclass

from standfall.brief.key import key
from standfall.brief.unit import MM, M

Point = tuple[float, float]

AREA_KINDS = ("pillar", "hole", "exit", "escape_route", "fire_point", "no_go", "walkway")


@dataclass(frozen=True, kw_only=True)
class Area:
    """``[[area]]``: a pillar, an exit, a way that stays open: as a polygon or as a circle."""

    name: str = key("name", "text", "Name of the area.", length=40)
    kind: str = key("kind", "choice", "What is there; it decides who may be on it.", choices=AREA_KINDS)
    outline_m: tuple[Point, ...] = key(
        "outline_m",
        "points",
        "Its corners in order, at least three. Either this, or centre_m and radius_mm.",
        unit=M,
        least=-1000,
        most=1000,
        default=(),
    )
    centre_m: Point | None = key(
        "centre_m",
        "numbers",
        "Middle of a round area.",
        unit=M,
        length=2,
        least=-1000,
        most=1000,
        default=None,
    )
    radius_m: float | None = key(
        "radius_mm",
        "number",
        "Radius of a round area.",
        unit=MM,
        above=0,
        most=1_000_000,
        default=None,
    )
