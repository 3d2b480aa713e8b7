"""The keys of the robots against each other, against the docks they use, and the names all of them go by."""

from __future__ import annotations

import math
from collections.abc import Iterator

from standfall.brief.mismatch import contradiction, missing, outside, unique_names
from standfall.brief.reader import Draft
from standfall.brief.unit import DEG, MM_S
from standfall.findings import Finding, make_finding

TRAY_TURNS_DEG = (0.0, 90.0, 180.0, 270.0)
# Angles closer than this are the same: a brief gives them to a hundredth of a degree at best.
SAME_ANGLE_RAD = 1e-6


def robot_findings(robots: list[Draft], docks: list[Draft] | None, crew: object) -> Iterator[Finding]:
    """Yield what is wrong between the keys of the robots, in the order they are written.

    Args:
        robots: as read.
        docks: as read; ``None`` when they could not be.
        crew: as read; its builders have names too.
    """
    yield from unique_names(robots, "robot")
    yield from _single_names(robots, crew)
    for number, robot in enumerate(robots):
        where = f"robot[{number}]"
        yield from unique_names(robot.parts or (), f"{where}.part")
        yield from _speeds(robot, where)
        yield from _angles(robot, where)
        yield from _battery(robot, where)
        if docks is not None and robot.name is not None:
            yield from _docks(robot, docks, where)


def _single_names(robots: list[Draft], crew: object) -> Iterator[Finding]:
    """Yield a B109 where numbering gives two robots, or a robot and a builder, one name."""
    # Name -> where it is from and what was numbered. Two sections of one name are told once already.
    owner: dict[str, tuple[str, str]] = {}
    if isinstance(crew, Draft) and crew.builders is not None:
        owner = {f"builder {number}": ("crew", "") for number in range(1, crew.builders + 1)}
    for number, robot in enumerate(robots):
        if robot.name is None or robot.count is None:
            continue
        where, name = f"robot[{number}]", robot.name.strip().casefold()
        singles = [name] if robot.count == 1 else [f"{name} {single}" for single in range(1, robot.count + 1)]
        taken = [single for single in singles if owner.get(single, ("", name))[1] != name]
        if taken:
            yield make_finding(
                "B109",
                f"{where}.name",
                f"once they are numbered, {owner[taken[0]][0]} has a {taken[0]!r} as well",
                value=robot.name,
                limit="each robot and builder a name of its own",
                next_step="Give the robot another name.",
            )
        owner |= {single: (where, name) for single in singles if single not in owner}


def _speeds(robot: Draft, where: str) -> Iterator[Finding]:
    if None not in (robot.slow_m_s, robot.speed_m_s) and robot.slow_m_s > robot.speed_m_s:
        yield outside(
            f"{where}.slow_mm_s",
            "it is faster beside dominoes than its greatest speed",
            MM_S.from_si(robot.slow_m_s),
            f"at most {MM_S.from_si(robot.speed_m_s):g} mm/s, as speed_mm_s",
            "Lower slow_mm_s, or raise speed_mm_s.",
        )


def _angles(robot: Draft, where: str) -> Iterator[Finding]:
    if robot.tray_turns_rad is not None:
        turns = [DEG.from_si(turn) for turn in robot.tray_turns_rad]
        if not turns or len(set(turns)) != len(turns) or not set(turns) <= set(TRAY_TURNS_DEG):
            yield make_finding(
                "B107",
                f"{where}.tray_turns_deg",
                "a tray sits on the robot straight or turned by quarters, each turn named once",
                value=str(turns)[:60],
                limit="one or more of 0, 90, 180, 270",
                next_step="Write tray_turns_deg = [0], or the turns your robot can hold the tray in.",
            )
    if robot.leave_rad is None:
        return
    if not robot.leave_rad:
        yield make_finding(
            "B107",
            f"{where}.leave_deg",
            "a robot that can leave in no direction cannot leave any tile",
            value="[]",
            limit="one direction or more",
            next_step="Write leave_deg = [180] if it backs out of a laid tile.",
        )
    elif robot.drive == "differential":
        sideways = [turn for turn in robot.leave_rad if abs(math.sin(turn)) > SAME_ANGLE_RAD]
        if sideways:
            yield contradiction(
                f"{where}.leave_deg",
                "a differential drive goes forward and backward only",
                f"{DEG.from_si(sideways[0]):g} degrees",
                "0 and 180 degrees",
                'Write leave_deg = [180], or change drive to "omnidirectional".',
            )


def _battery(robot: Draft, where: str) -> Iterator[Finding]:
    pair = {"battery_min": "battery_s", "charge_min": "charge_s"}
    absent = [name for name, attribute in pair.items() if robot.left_out(attribute)]
    if len(absent) == 1:
        (given,) = set(pair) - set(absent)
        yield missing(
            f"{where}.{absent[0]}",
            f"{given} says nothing without {absent[0]}",
            f"{absent[0]} beside {given}",
            f"Add {where}.{absent[0]}, or remove {given}.",
        )


def _docks(robot: Draft, docks: list[Draft], where: str) -> Iterator[Finding]:
    """Yield a B104 for a robot that cannot be loaded, or charged though it has to be."""
    wanted = ["loading"]
    if not robot.left_out("battery_s"):
        wanted.append("charging")
    for kind in wanted:
        # A dock of which kind or robots could not be read may be the one meant.
        if any(
            dock.kind in (kind, None) and (not dock.robots or robot.name in dock.robots) for dock in docks
        ):
            continue
        yield missing(
            "dock",
            f"{where}, {robot.name!r}, has no {kind} dock",
            f'a [[dock]] with kind = "{kind}" that it may use',
            f'Add a [[dock]] with kind = "{kind}", or add {robot.name!r} to the robots of one.',
        )
