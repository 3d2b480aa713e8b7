"""``[fall]``: what decides how the dominoes fall, apart from where they stand."""

from __future__ import annotations

from dataclasses import dataclass

from standfall.brief.key import key
from standfall.brief.unit import DEG, HZ, M_S, MM, MM_PER_M, MM_S, PER_MILLION, PERCENT

FLATNESSES = (
    "unknown",
    "din_18202_row_1",
    "din_18202_row_2",
    "din_18202_row_3",
    "din_18202_row_4",
    "tr34_fm1",
    "tr34_fm2",
    "tr34_fm3",
    "tr34_fm4",
)


@dataclass(frozen=True, kw_only=True)
class FallConditions:
    """``[fall]``: friction, floor, and how exactly the pieces stand. Spreads and errors are one sigma."""

    domino_friction: float = key(
        "domino_friction",
        "number",
        "Friction of domino on domino while sliding; measure it on a tilted board.",
        above=0,
        most=1.5,
        default=0.2,
    )
    domino_friction_spread: float = key(
        "domino_friction_spread",
        "number",
        "How far that is off, one standard deviation.",
        least=0,
        most=0.5,
        default=0.02,
    )
    floor_friction: float = key(
        "floor_friction", "number", "Friction of domino on floor.", above=0, most=2, default=0.4
    )
    floor_friction_spread: float = key(
        "floor_friction_spread",
        "number",
        "How far that is off, one standard deviation.",
        least=0,
        most=0.5,
        default=0.05,
    )
    floor_slope: float = key(
        "floor_slope_mm_per_m",
        "number",
        "Steepest slope of the whole floor.",
        unit=MM_PER_M,
        least=0,
        most=200,
        default=0.0,
    )
    downhill_rad: float = key(
        "downhill_deg",
        "number",
        "Direction in the hall in which the floor falls, counter-clockwise from the x axis.",
        unit=DEG,
        least=-360,
        most=360,
        default=0.0,
    )
    mass_spread: float = key(
        "mass_spread_percent",
        "number",
        "How far the masses of single pieces differ, one standard deviation.",
        unit=PERCENT,
        least=0,
        most=50,
        default=0.01,
    )
    tile_error_m: float = key(
        "tile_error_mm",
        "number",
        "How far off a tile is set down, along and across each, one standard deviation.",
        unit=MM,
        least=0,
        most=100,
        default=0.0005,
    )
    tile_turn_error_rad: float = key(
        "tile_turn_error_deg",
        "number",
        "How far a tile is set down turned, one standard deviation.",
        unit=DEG,
        least=0,
        most=45,
        default=DEG.to_si(0.05),
    )
    piece_error_m: float = key(
        "piece_error_mm",
        "number",
        "How far off a piece stands in its slot, along and across each, one standard deviation.",
        unit=MM,
        least=0,
        most=100,
        default=0.0003,
    )
    piece_turn_error_rad: float = key(
        "piece_turn_error_deg",
        "number",
        "How far a piece stands turned in its slot, one standard deviation.",
        unit=DEG,
        least=0,
        most=45,
        default=DEG.to_si(0.5),
    )
    hand_error_m: float = key(
        "hand_error_mm",
        "number",
        "How far off a piece is laid by hand, along and across each, one standard deviation.",
        unit=MM,
        least=0,
        most=100,
        default=0.001,
    )
    hand_turn_error_rad: float = key(
        "hand_turn_error_deg",
        "number",
        "How far a piece is laid turned by hand, one standard deviation.",
        unit=DEG,
        least=0,
        most=45,
        default=DEG.to_si(1.5),
    )
    missing: float = key(
        "missing_per_million",
        "number",
        "Pieces that lie or lack when the fall starts, and nobody has seen it.",
        unit=PER_MILLION,
        least=0,
        most=100_000,
        default=0.0,
    )
    flatness: str = key(
        "flatness",
        "choice",
        "Flatness class the floor was built to: a row of DIN 18202 table 3, or an FM class of TR34.",
        choices=FLATNESSES,
        default="unknown",
    )
    vibration_m_s: float | None = key(
        "vibration_mm_s",
        "number",
        "Peak velocity of the floor when people walk or a tram passes; needs vibration_hz.",
        unit=MM_S,
        least=0,
        most=1000,
        default=None,
    )
    vibration_hz: float | None = key(
        "vibration_hz",
        "number",
        "Frequency of that vibration; needs vibration_mm_s.",
        unit=HZ,
        above=0,
        most=1000,
        default=None,
    )
    draught_m_s: float | None = key(
        "draught_m_s",
        "number",
        "Greatest speed of the air over the floor.",
        unit=M_S,
        least=0,
        most=100,
        default=None,
    )
