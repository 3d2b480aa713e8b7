"""``[[dock]]``: where robots are loaded, charged and parked, and where the crew comes in."""

from __future__ import annotations

from dataclasses import dataclass

from standfall.brief.key import key
from standfall.brief.unit import DEG, M, S

Point = tuple[float, float]

DOCK_KINDS = ("loading", "charging", "parking", "crew")


@dataclass(frozen=True, kw_only=True)
class Dock:
    """``[[dock]]``: a place for one robot at a time, or the door that people use."""

    name: str = key("name", "text", "Name of the dock.", length=40)
    kind: str = key("kind", "choice", "What it is for.", choices=DOCK_KINDS, default="loading")
    place_m: Point = key(
        "place_m",
        "numbers",
        "Where the middle of the robot's tray opening is when it is docked; for a crew, where people come in.",
        unit=M,
        length=2,
        least=-1000,
        most=1000,
    )
    heading_rad: float = key(
        "heading_deg",
        "number",
        "Direction of the robot's x axis when it is docked, counter-clockwise from the hall's x axis.",
        unit=DEG,
        least=-360,
        most=360,
        default=0.0,
    )
    load_s: float = key(
        "load_s",
        "number",
        "Time to load one tile (loading and crew).",
        unit=S,
        least=0,
        most=86_400,
        default=20.0,
    )
    robots: tuple[str, ...] = key(
        "robots",
        "texts",
        "Names of the [[robot]] sections that use it; all of them when left out.",
        length=40,
        default=(),
    )
