"""What keeps trips from being made: batteries that are too small, docks that no robot gets to."""

from __future__ import annotations

from collections.abc import Iterable

from standfall.findings import Finding, make_finding
from standfall.hall.site import Site
from standfall.routes.fleet import Member, Ways
from standfall.routes.trip import Trip


def long_trip(name: str, trip: Trip, need_s: float, battery_s: float) -> Finding:
    """Tell of a trip that a full battery does not last for."""
    leg = trip.legs[0]
    return make_finding(
        "R920",
        f"step {leg.step + 1} at ({leg.set_down_m[0]:.2f}, {leg.set_down_m[1]:.2f}) m",
        f"a full battery of robot {name!r} does not last for this trip",
        value=f"{need_s / 60:.1f} minutes away from its dock and to the charger",
        limit=f"{battery_s / 60:.1f} minutes, robot.battery_min",
        next_step="Put a dock nearer, use a greater battery, or let it carry fewer tiles on one trip.",
    )


def no_robot(site: Site, used: Iterable[tuple[int, int]], fleet: list[Member], ways: Ways) -> list[Finding]:
    """Find docks that trips begin at and that no robot of the model can serve or get to."""
    findings = []
    for model, dock in sorted(set(used)):
        able = [
            member
            for member in fleet
            if member.model == model
            and dock in member.own + member.shared
            and all(
                (model, member.home, other) in ways
                for other in member.own + member.shared
                if other != member.home
            )
        ]
        if not able:
            name = site.models[model].robot.name
            findings.append(
                make_finding(
                    "R923",
                    f"dock {site.docks[dock].name!r}",
                    f"no robot {name!r} can serve dock {site.docks[dock].name!r}",
                    value="taken by another robot, or no way there from where the robot stands",
                    limit="a dock of its own, or a way from its other docks when everything stands",
                    next_step="Name the robots of each dock in dock.robots so that each has its own, or keep a way "
                    "free between the docks.",
                )
            )
    return findings
