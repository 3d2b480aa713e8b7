"""Hand-laid lines: the path of each and the poses of its dominoes."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from standfall.brief import Line, PathPart
from standfall.brief.unit import MM
from standfall.findings import Finding, make_finding
from standfall.geometry import Arc, Path, Straight

Floats = NDArray[np.float64]

# A million pieces are beyond what anybody lays by hand; a slip of units makes more.
LINE_DOMINOES_MOST = 1_000_000
# A point this near is where the line already is, and gives it no direction.
HERE_M = 1e-6


@dataclass(frozen=True)
class LinePlace:
    """A line on the floor: its path and how many dominoes stand along it, how far apart.

    The first domino stands ``first_m`` along the path: 0, or one pitch for a branch, whose path
    begins on the line it leaves.
    """

    path: Path
    dominoes: int
    pitch_m: float
    first_m: float

    def poses(self) -> tuple[Floats, Floats, Floats]:
        """Return ``x_m``, ``y_m``, ``yaw_rad`` of the dominoes in order."""
        return self.path.poses(self.first_m + self.pitch_m * np.arange(self.dominoes, dtype=np.float64))


def place_lines(lines: Iterable[tuple[int, Line]]) -> tuple[dict[int, LinePlace], list[Finding]]:
    """Lay out lines in order; a branch needs the line it leaves to come before it.

    Args:
        lines: pairs of the line's number in the brief and the line.

    Returns:
        The places by number (lines with a finding are left out) and the findings.
    """
    places: dict[int, LinePlace] = {}
    by_name: dict[str, LinePlace] = {}
    findings: list[Finding] = []
    for number, line in lines:
        where = f"line[{number}]"
        start = _start(line, by_name)
        if start is None or not all(map(_complete, line.path)):
            continue  # a missing start, branch or part is a finding of the brief already
        findings += _beyond(line, by_name, where)
        path = Path(start[:2], start[2], tuple(_parts(line.path, start)))
        place = _spaced(path, line)
        faults = _faults(line, path, place, where)
        findings += faults
        if not any(finding.grade == "blocks" for finding in faults):
            places[number] = by_name[line.name] = place
    return places, findings + _too_many(places)


def _too_many(places: dict[int, LinePlace]) -> list[Finding]:
    total = sum(place.dominoes for place in places.values())
    if total <= LINE_DOMINOES_MOST:
        return []
    return [
        make_finding(
            "B112",
            "line",
            "the lines together hold more dominoes than can be laid by hand",
            value=total,
            limit=LINE_DOMINOES_MOST,
            next_step="Check the units of their paths: mm, not m.",
        )
    ]


def _complete(part: PathPart) -> bool:
    """Tell whether a part says where to go (the brief's check has a finding when it does not)."""
    arc = part.arc_radius_m is not None and bool(part.turn_rad)
    return part.to_m is not None or part.straight_m is not None or arc


def _start(line: Line, by_name: dict[str, LinePlace]) -> tuple[float, float, float] | None:
    if line.branch_of is not None:
        trunk = by_name.get(line.branch_of)
        if trunk is None:
            return None
        along_m = trunk.path.length_m if line.branch_at_m is None else line.branch_at_m
        x, y, yaw = (float(part[0]) for part in trunk.path.poses(np.array([along_m])))
        aside = line.branch_aside_m
        return x - aside * math.sin(yaw), y + aside * math.cos(yaw), yaw + line.branch_turn_rad
    if line.start_m is None:
        return None
    return (*line.start_m, line.start_direction_rad or 0.0)


def _beyond(line: Line, by_name: dict[str, LinePlace], where: str) -> list[Finding]:
    trunk = by_name.get(line.branch_of or "")
    if trunk is None or line.branch_at_m is None or line.branch_at_m <= trunk.path.length_m + 1e-9:
        return []
    return [
        make_finding(
            "B106",
            f"{where}.branch_at_mm",
            f"the branch leaves {line.branch_of!r} beyond its end",
            value=MM.from_si(line.branch_at_m),
            limit=f"at most {MM.from_si(trunk.path.length_m):.4f} mm, its length",
            next_step="Lower branch_at_mm, or leave it out to branch off the end.",
        )
    ]


def _parts(parts: Sequence[PathPart], start: tuple[float, float, float]) -> Iterable[Straight | Arc]:
    x, y, heading = start
    for part in parts:
        if part.to_m is not None:
            length_m = math.dist((x, y), part.to_m)
            if length_m > HERE_M:
                heading = math.atan2(part.to_m[1] - y, part.to_m[0] - x)
            made: Straight | Arc = Straight(length_m, heading)
        elif part.straight_m is not None:
            made = Straight(part.straight_m)
        else:
            made = Arc(part.arc_radius_m or 0.0, part.turn_rad or 0.0)
        end = Path((x, y), heading, (made,)).poses(np.array([made.length_m]))
        x, y, heading = (float(value[0]) for value in end)
        yield made


def _spaced(path: Path, line: Line) -> LinePlace:
    # The pitch is evened down so that the last domino stands exactly at the end of the path.
    gaps = max(1, math.ceil(path.length_m / line.pitch_m - 1e-9))
    branch = line.branch_of is not None
    pitch_m = path.length_m / gaps
    return LinePlace(path, gaps if branch else gaps + 1, pitch_m, pitch_m if branch else 0.0)


def _faults(line: Line, path: Path, place: LinePlace, where: str) -> list[Finding]:
    findings = []
    if place.dominoes > LINE_DOMINOES_MOST:
        findings.append(
            make_finding(
                "B112",
                where,
                "the line holds more dominoes than can be laid by hand",
                value=place.dominoes,
                limit=LINE_DOMINOES_MOST,
                next_step="Check the units of its path: mm, not m.",
            )
        )
    if path.length_m < line.pitch_m:
        findings.append(
            make_finding(
                "S405",
                where,
                "the line is shorter than one pitch",
                value=f"{MM.from_si(path.length_m):.4g} mm",
                limit=f"{MM.from_si(line.pitch_m):g} mm",
                next_step="Lengthen its path or lower pitch_mm.",
            )
        )
    return findings


def tight_arcs(
    lines: Iterable[tuple[int, Line]], places: dict[int, LinePlace], width_m: float, thickness_m: float
) -> list[Finding]:
    """Find arcs so tight that neighbouring pieces bite each other on the inside of the bend.

    Two pieces a pitch p apart on a circle of radius R stand at an angle p/R to each other; their inner
    edges, at radius R - w/2 and half a thickness towards one another, stay clear while
    (R - w/2) tan(p / 2R) >= t / 2 (elementary geometry of two equal rectangles mirrored in the
    bisecting ray).
    """
    findings = []
    for number, line in lines:
        place = places.get(number)
        if place is None:
            continue
        for part_number, part in enumerate(place.path.parts):
            if not isinstance(part, Arc):
                continue
            inner_m = part.radius_m - width_m / 2
            clear_m = 2 * inner_m * math.tan(min(place.pitch_m / (2 * part.radius_m), 1.5))
            if inner_m <= 0 or clear_m < thickness_m:
                findings.append(
                    make_finding(
                        "S406",
                        f"line[{number}].path[{part_number}]",
                        f"the arc of {line.name!r} is so tight that its pieces stand in one another",
                        value=f"inside pitch {MM.from_si(max(clear_m, 0)):.3g} mm",
                        limit=f"inside pitch {MM.from_si(thickness_m):g} mm or more",
                        next_step="Widen the radius or raise pitch_mm.",
                    )
                )
    return findings
