"""``[[starter]]``: what strikes the first piece, where and when."""

from __future__ import annotations

from dataclasses import dataclass

from standfall.brief.key import key
from standfall.brief.unit import DEG, MM, MM_S, G, M, S

STARTER_KINDS = ("finger", "pendulum", "ball", "cylinder", "lever", "pusher")


@dataclass(frozen=True, kw_only=True)
class Starter:
    """``[[starter]]``: a finger, a weight or a machine that fells the first piece, or a whole row."""

    name: str = key("name", "text", "Name of the starter.", length=40)
    kind: str = key("kind", "choice", "What strikes.", choices=STARTER_KINDS)
    line: str | None = key(
        "line", "text", "Strikes the first domino of the line of this name.", length=40, default=None
    )
    field: str | None = key(
        "field", "text", "Strikes row 0 of the field of this name.", length=40, default=None
    )
    first_col: int | None = key(
        "first_col",
        "whole",
        "First column of the field that is struck; column 0 when left out.",
        least=0,
        most=20_000,
        default=None,
    )
    last_col: int | None = key(
        "last_col",
        "whole",
        "Last column of the field that is struck; the field's last when left out.",
        least=0,
        most=20_000,
        default=None,
    )
    place_m: tuple[float, float] | None = key(
        "place_m",
        "numbers",
        "Middle of the striking edge in the hall, instead of a line or field.",
        unit=M,
        length=2,
        least=-1000,
        most=1000,
        default=None,
    )
    direction_rad: float | None = key(
        "direction_deg",
        "number",
        "Direction in which it strikes, counter-clockwise from the hall's x axis. Needed with place_m.",
        unit=DEG,
        least=-360,
        most=360,
        default=None,
    )
    width_m: float | None = key(
        "width_mm",
        "number",
        "Width of the striking edge, with place_m; a domino's width when left out.",
        unit=MM,
        above=0,
        most=100_000,
        default=None,
    )
    stroke_m: float = key(
        "stroke_mm",
        "number",
        "How far the striking edge travels ahead.",
        unit=MM,
        above=0,
        most=10_000,
        default=0.03,
    )
    delay_s: float = key(
        "delay_s",
        "number",
        "Time until it lets go: from the start of the fall, or from the moment waits_for is done.",
        unit=S,
        least=0,
        most=86_400,
        default=0.0,
    )
    waits_for: str | None = key(
        "waits_for",
        "text",
        "Name of a line: lets go when its last domino is struck.",
        length=40,
        default=None,
    )
    strike_height_m: float | None = key(
        "strike_height_mm",
        "number",
        "Height above the floor at which it strikes; three quarters of a domino when left out.",
        unit=MM,
        above=0,
        most=500,
        default=None,
    )
    speed_m_s: float | None = key(
        "speed_mm_s",
        "number",
        "Speed at the strike (finger, pusher), or of the driven end (lever).",
        unit=MM_S,
        above=0,
        most=20_000,
        default=None,
    )
    arm_ratio: float = key(
        "arm_ratio",
        "number",
        "Striking arm over driven arm (lever).",
        above=0,
        most=100,
        default=1.0,
    )
    mass_kg: float | None = key(
        "mass_g",
        "number",
        "Mass of the bob, ball or cylinder (pendulum, ball, cylinder).",
        unit=G,
        above=0,
        most=100_000,
        default=None,
    )
    length_m: float | None = key(
        "length_mm",
        "number",
        "From the pivot to the middle of the bob (pendulum).",
        unit=MM,
        above=0,
        most=20_000,
        default=None,
    )
    release_rad: float | None = key(
        "release_deg",
        "number",
        "How far it is drawn back from hanging (pendulum).",
        unit=DEG,
        above=0,
        most=170,
        default=None,
    )
    ramp_height_m: float | None = key(
        "ramp_height_mm",
        "number",
        "How far it rolls down (ball, cylinder).",
        unit=MM,
        above=0,
        most=20_000,
        default=None,
    )
    ramp_length_m: float | None = key(
        "ramp_length_mm",
        "number",
        "Length of the ramp along its slope (ball, cylinder).",
        unit=MM,
        above=0,
        most=100_000,
        default=None,
    )
    runout_m: float = key(
        "runout_mm",
        "number",
        "Level run from the foot of the ramp to the strike (ball, cylinder).",
        unit=MM,
        least=0,
        most=100_000,
        default=0.0,
    )
    diameter_m: float | None = key(
        "diameter_mm",
        "number",
        "Diameter (ball, cylinder).",
        unit=MM,
        above=0,
        most=2000,
        default=None,
    )
    hollow: bool = key(
        "hollow", "flag", "A thin shell or tube instead of a solid body (ball, cylinder).", default=False
    )
    rail_gap_m: float = key(
        "rail_gap_mm",
        "number",
        "Gap between the two rails it rolls on, edge to edge; 0 on a flat ramp (ball).",
        unit=MM,
        least=0,
        most=2000,
        default=0.0,
    )
    restitution: float = key(
        "restitution",
        "number",
        "How much of the speed is given back at the strike: 0 none, 1 all.",
        least=0,
        most=1,
        default=0.0,
    )
