"""``[crew]``: the people who lay by hand."""

from __future__ import annotations

from dataclasses import dataclass

from standfall.brief.key import key
from standfall.brief.unit import MM, MM_S, S


@dataclass(frozen=True, kw_only=True)
class Crew:
    """``[crew]``: how many builders there are, how far they reach and how fast they are."""

    builders: int = key("builders", "whole", "People who lay at the same time.", least=1, most=100, default=1)
    reach_m: float = key(
        "reach_mm",
        "number",
        "From the edge of the floor somebody kneels on to the farthest domino they lay.",
        unit=MM,
        above=0,
        most=3000,
        default=0.6,
    )
    room_m: float = key(
        "room_mm",
        "number",
        "Diameter of the floor that a kneeling or walking person needs.",
        unit=MM,
        above=0,
        most=3000,
        default=0.6,
    )
    walk_m_s: float = key(
        "walk_mm_s", "number", "Speed of walking among dominoes.", unit=MM_S, above=0, most=5000, default=1.0
    )
    lay_s: float = key(
        "lay_s", "number", "Time to lay one domino by hand.", unit=S, least=0, most=3600, default=3.0
    )
    tiles_by_hand: bool = key(
        "tiles_by_hand",
        "flag",
        "The crew sets down the trays itself; there is no robot.",
        default=False,
    )

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the builders, numbered from 1."""
        return tuple(f"builder {number}" for number in range(1, self.builders + 1))
