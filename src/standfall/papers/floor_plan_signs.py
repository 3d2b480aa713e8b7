"""The signs of a floor plan: hatchings and words of areas, tints of the laying order, letters of docks.

Green stands for ways out and red for fire equipment, as on safety signs (ISO 3864-1; from memory). Every sign has
words too, so nothing hangs on colour.
"""

from __future__ import annotations

from dataclasses import dataclass

from standfall.papers.floor_plan_mark import INK, QUIET


@dataclass(frozen=True)
class Hatching:
    """Lines of a colour at an angle (clockwise from upright), crossed or not, on a ground."""

    colour: str
    ground: str
    angle_deg: float
    pitch_mm: float
    width_mm: float = 0.22
    crossed: bool = False


#: By kind of area. A pillar is solid and has none.
HATCHINGS: dict[str, Hatching] = {
    "hole": Hatching(QUIET, "#ffffff", 45.0, 1.6, crossed=True),
    "exit": Hatching("#1d7a46", "#e4f2e9", 45.0, 1.5),
    "escape_route": Hatching("#1d7a46", "#f3faf5", -45.0, 2.6),
    "fire_point": Hatching("#b3261e", "#fbe8e6", 45.0, 1.5),
    "no_go": Hatching("#a86200", "#fdf2df", 45.0, 2.2, crossed=True),
    "walkway": Hatching("#3d6a99", "#ebf1f8", 0.0, 1.8),
    "gap": Hatching("#7a5c9e", "#f3eef8", 90.0, 1.1, width_mm=0.15),
}
PILLAR = "#4a4743"

AREA_WORDS = {
    "pillar": "pillar",
    "hole": "hole",
    "exit": "exit",
    "escape_route": "escape route",
    "fire_point": "fire point",
    "no_go": "no-go",
    "walkway": "walkway",
}
AREA_MEANING = {
    "pillar": "pillar",
    "hole": "hole in the floor",
    "exit": "exit, kept clear",
    "escape_route": "escape route, kept clear",
    "fire_point": "fire point, kept clear",
    "no_go": "no-go, nobody enters",
    "walkway": "walkway for people, no robots",
}


def area_fill(kind: str) -> str:
    """Return the fill of an area of a kind."""
    return f"hatch:{kind}" if kind in HATCHINGS else PILLAR


def area_ink(kind: str) -> str:
    """Return the colour of the edge and the words of an area of a kind."""
    return HATCHINGS[kind].colour if kind in HATCHINGS and kind != "hole" else INK


#: Tints of tiles from the first laid to the last, light enough for black digits.
TINTS = ("#fbf3dd", "#f6e4c3", "#e9dfc9", "#d5dccf", "#bdd6d6", "#a3cbd8")
TRAPPED = "#f3d4d0"
LANE = "#2f7f86"
WALK = "#3d6a99"
HAND = "#7a5c9e"

DOCK_LETTERS = {"loading": "L", "charging": "C", "parking": "P", "crew": "W"}
DOCK_WORDS = {
    "loading": "loading dock, arrow: front of the robot",
    "charging": "charging dock",
    "parking": "parking place",
    "crew": "where the crew comes in",
}

# Usual advice for such a floor; common practice, no source. What the law and the site ask comes first.
CAUTIONS = (
    "Local codes, the fire authority and the practice of licensed trades come before this plan.",
    "Exits, escape routes and fire points are drawn as the brief has them: walk the hall and check. Keep them "
    "clear at all times, while laying too.",
    "This plan is no safeguard. Robots keep away from dominoes, not from people: stay out of their area while "
    "they can move, and rely only on stops and barriers that the site has approved.",
    "Measure the walls near the mural before the first tile is laid.",
)
