"""``[[robot]]``: a kind of robot that carries trays: its shape, how it moves, what it can do."""

from __future__ import annotations

from dataclasses import dataclass

from standfall.brief.key import key
from standfall.brief.unit import DEG, DEG_S, DEG_S2, MIN, MM, MM_S, MM_S2, M, S

Point = tuple[float, float]

DRIVES = ("omnidirectional", "differential")


@dataclass(frozen=True, kw_only=True)
class RobotPart:
    """``[[robot.part]]``: a part of the robot seen from above, and how close to the floor it comes."""

    name: str = key("name", "text", "Name of the part.", length=40)
    outline_m: tuple[Point, ...] = key(
        "outline_m",
        "points",
        "Its corners in order, at least three, in the robot's frame.",
        unit=M,
        least=-20,
        most=20,
    )
    bottom_m: float = key(
        "bottom_mm",
        "number",
        "Its lowest point above the floor while driving.",
        unit=MM,
        least=0,
        most=10_000,
    )
    lowered_bottom_m: float | None = key(
        "lowered_bottom_mm",
        "number",
        "Its lowest point while the tray is lowered; as bottom_mm when left out.",
        unit=MM,
        least=0,
        most=10_000,
        default=None,
    )

    @property
    def lowest_m(self) -> float:
        """Its lowest point above the floor while the tray is lowered, in metres."""
        return self.bottom_m if self.lowered_bottom_m is None else self.lowered_bottom_m


@dataclass(frozen=True, kw_only=True)
class Robot:
    """``[[robot]]``: one kind of robot, and how many there are of it.

    The robot's frame: zero at the middle of the tray opening, x forward, y to the left.
    """

    name: str = key("name", "text", "Name of the robot; with count above 1 they are numbered.", length=40)
    count: int = key("count", "whole", "How many there are of it.", least=1, most=20, default=1)
    drive: str = key(
        "drive",
        "choice",
        "Drives in any direction without turning, or forward and backward and turns on the spot.",
        choices=DRIVES,
    )
    turn_centre_m: Point = key(
        "turn_centre_m",
        "numbers",
        "Point it turns on in its own frame; for differential the middle of the axle.",
        unit=M,
        length=2,
        least=-20,
        most=20,
        default=(0.0, 0.0),
    )
    speed_m_s: float = key("speed_mm_s", "number", "Greatest speed.", unit=MM_S, above=0, most=5000)
    acceleration_m_s2: float = key(
        "acceleration_mm_s2",
        "number",
        "Acceleration and braking with a laden tray.",
        unit=MM_S2,
        above=0,
        most=20_000,
    )
    turn_rad_s: float = key("turn_deg_s", "number", "Greatest rate of turn.", unit=DEG_S, above=0, most=720)
    turn_acceleration_rad_s2: float = key(
        "turn_acceleration_deg_s2",
        "number",
        "How fast the rate of turn changes.",
        unit=DEG_S2,
        above=0,
        most=7200,
    )
    slow_m_s: float = key(
        "slow_mm_s",
        "number",
        "Greatest speed while setting down, while leaving, and beside dominoes.",
        unit=MM_S,
        above=0,
        most=5000,
    )
    lower_s: float = key("lower_s", "number", "Time to lower the tray.", unit=S, least=0, most=3600)
    release_s: float = key("release_s", "number", "Time to let go of the tile.", unit=S, least=0, most=3600)
    raise_s: float = key("raise_s", "number", "Time to raise the tray.", unit=S, least=0, most=3600)
    carries: int = key("carries", "whole", "Tiles it carries on one trip.", least=1, most=100, default=1)
    tray_turns_rad: tuple[float, ...] = key(
        "tray_turns_deg",
        "numbers",
        "Angles from the robot's x axis to the way the tray's rows count up: any of 0, 90, 180 and 270.",
        unit=DEG,
        least=0,
        most=270,
        default=(0.0,),
    )
    leave_rad: tuple[float, ...] = key(
        "leave_deg",
        "numbers",
        "Directions in the robot's frame in which it can leave a laid tile in a straight line.",
        unit=DEG,
        least=-360,
        most=360,
        default=(DEG.to_si(180.0),),
    )
    battery_s: float | None = key(
        "battery_min",
        "number",
        "Minutes of driving on one charge; needs charge_min. Left out: it need not be charged.",
        unit=MIN,
        above=0,
        most=100_000,
        default=None,
    )
    charge_s: float | None = key(
        "charge_min",
        "number",
        "Minutes to charge it; needs battery_min.",
        unit=MIN,
        above=0,
        most=100_000,
        default=None,
    )
    parts: tuple[RobotPart, ...] = key(
        "part", "tables", "Its parts, seen from above.", section=RobotPart, least=1, most=100
    )

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the single robots: its own, numbered from 1 when there are several."""
        if self.count == 1:
            return (self.name,)
        return tuple(f"{self.name} {number}" for number in range(1, self.count + 1))
