"""``[[line]]``: dominoes laid by hand one behind the other, and the parts of their path."""

from __future__ import annotations

from dataclasses import dataclass

from standfall.brief.key import key
from standfall.brief.unit import DEG, MM, M

Point = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class PathPart:
    """``path`` of a line, one part: exactly one of a straight, an arc or a point to go to."""

    straight_m: float | None = key(
        "straight_mm", "number", "Straight ahead, this far.", unit=MM, above=0, most=1_000_000, default=None
    )
    arc_radius_m: float | None = key(
        "arc_radius_mm",
        "number",
        "Along an arc of this radius; needs turn_deg.",
        unit=MM,
        above=0,
        most=1_000_000,
        default=None,
    )
    turn_rad: float | None = key(
        "turn_deg",
        "number",
        "Angle of the arc, left positive.",
        unit=DEG,
        least=-36_000,
        most=36_000,
        default=None,
    )
    to_m: Point | None = key(
        "to_m",
        "numbers",
        "Straight to this place in the hall.",
        unit=M,
        length=2,
        least=-1000,
        most=1000,
        default=None,
    )


@dataclass(frozen=True, kw_only=True)
class Line:
    """``[[line]]``: dominoes laid by hand one behind the other: feeders, curves, splits."""

    name: str = key("name", "text", "Name of the line.", length=40)
    colours: tuple[str, ...] = key(
        "colours", "texts", "Names of colours, used in turn from the first domino on.", length=1000
    )
    pitch_m: float = key(
        "pitch_mm",
        "number",
        "Greatest distance between middles along the path; it is evened so that the last domino stands at the end.",
        unit=MM,
        above=0,
        most=1000,
    )
    start_m: Point | None = key(
        "start_m",
        "numbers",
        "Place of the first domino.",
        unit=M,
        length=2,
        least=-1000,
        most=1000,
        default=None,
    )
    start_direction_rad: float | None = key(
        "start_direction_deg",
        "number",
        "Direction of the first domino's fall, counter-clockwise from the hall's x axis.",
        unit=DEG,
        least=-360,
        most=360,
        default=None,
    )
    branch_of: str | None = key(
        "branch_of",
        "text",
        "Start from this line instead of start_m (a split): its name, earlier in the brief.",
        length=40,
        default=None,
    )
    branch_at_m: float | None = key(
        "branch_at_mm",
        "number",
        "How far along that line the branch leaves; its end when left out.",
        unit=MM,
        least=0,
        most=1_000_000,
        default=None,
    )
    branch_aside_m: float = key(
        "branch_aside_mm",
        "number",
        "Start shifted sideways from that line by this much, left positive.",
        unit=MM,
        least=-1000,
        most=1000,
        default=0.0,
    )
    branch_turn_rad: float = key(
        "branch_turn_deg",
        "number",
        "Direction of the branch against that line's, left positive.",
        unit=DEG,
        least=-180,
        most=180,
        default=0.0,
    )
    path: tuple[PathPart, ...] = key(
        "path", "tables", "Parts of the path in order.", section=PathPart, least=1, most=10_000
    )
