"""``[laying]``: how much room is kept from dominoes and walls while the build is laid."""

from __future__ import annotations

from dataclasses import dataclass

from standfall.brief.key import key
from standfall.brief.unit import MM


@dataclass(frozen=True, kw_only=True)
class Laying:
    """``[laying]``: clearances, and where robots go slowly."""

    clearance_m: float = key(
        "clearance_mm",
        "number",
        "Kept from dominoes and walls while driving and walking.",
        unit=MM,
        least=0,
        most=1000,
        default=0.03,
    )
    set_down_clearance_m: float = key(
        "set_down_clearance_mm",
        "number",
        "Kept from dominoes while setting down a tile and leaving it in a straight line.",
        unit=MM,
        least=0,
        most=1000,
        default=0.001,
    )
    over_m: float = key(
        "over_mm",
        "number",
        "A part of a robot passes over dominoes only when it is higher than they are by this much.",
        unit=MM,
        least=0,
        most=1000,
        default=0.01,
    )
    slow_zone_m: float = key(
        "slow_zone_mm",
        "number",
        "Nearer to dominoes than this a robot goes slowly.",
        unit=MM,
        least=0,
        most=10_000,
        default=0.15,
    )
    corner_m: float = key(
        "corner_mm",
        "number",
        "How far the rounding of a way may cut a corner; it is kept free beside the clearance.",
        unit=MM,
        least=0,
        most=1000,
        default=0.02,
    )
