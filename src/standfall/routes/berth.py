"""Robots that stand at a dock: are they out of the way of those that drive?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from standfall.brief import Dock
from standfall.findings import Finding, make_finding
from standfall.routes import _traffic_kernels as kernels
from standfall.routes.fleet import Member
from standfall.routes.mover import Mover
from standfall.routes.trip import Trip

Floats = NDArray[np.float64]

# Two looks at a robot that passes another are this far apart in time: 15 mm at 0.3 m/s.
_LOOK_S = 0.05
# Docks exactly as far apart as they must be; rounding must not find them too close.
_FLUSH_M = 1e-6


@dataclass(frozen=True)
class _Berth:
    members: frozenset[int]
    dock: int
    first: NDArray[np.int64]
    x_m: Floats
    y_m: Floats


class Berths:
    """The shapes of robots at all docks where one may stand while others drive."""

    def __init__(
        self,
        docks: tuple[Dock, ...],
        movers: Mapping[int, Mover],
        members: list[Member],
        chargers: Iterable[tuple[int, int]],
        clearance_m: float,
    ) -> None:
        """Work out the shapes.

        Args:
            docks: of the site.
            movers: by number of the model.
            members: robots that take part.
            chargers: (member, dock) where it may charge.
            clearance_m: kept between robots.
        """
        self._docks, self._movers, self._members = docks, movers, members
        self._clearance_m = clearance_m
        stays: dict[tuple[int, int], set[int]] = {}
        for number, member in enumerate(members):
            for dock in {member.home, *member.own}:
                stays.setdefault((dock, member.model), set()).add(number)
        for number, dock in chargers:
            stays.setdefault((dock, members[number].model), set()).add(number)
        self._berths = []
        self._own = {model: _flat(mover.shapes) for model, mover in movers.items()}
        for (dock, model), numbers in sorted(stays.items()):
            first, x, y = self._own[model]
            c, s = np.cos(docks[dock].heading_rad), np.sin(docks[dock].heading_rad)
            place = docks[dock].place_m
            self._berths.append(
                _Berth(frozenset(numbers), dock, first, place[0] + c * x - s * y, place[1] + s * x + c * y)
            )
        self._told: set[tuple[int, int]] = set()

    def in_the_way(self, trip: Trip, driver: int, visits: tuple[int, ...]) -> list[Finding]:
        """Find robots at docks, other than those the trip visits, that it would come too near to; each pair once.

        Args:
            trip: of one member.
            driver: number of the member.
            visits: docks that the trip begins, ends or loads at.
        """
        findings = []
        mover = trip.mover
        for number, berth in enumerate(self._berths):
            others = berth.members - {driver}
            pair = (number, self._members[driver].model)
            if not others or berth.dock in visits or pair in self._told:
                continue
            met_s = kernels.meets_body(
                trip.t_s,
                trip.x_m,
                trip.y_m,
                trip.yaw_rad,
                *mover.centre_m,
                mover.radius_m,
                *self._own[self._members[driver].model],
                berth.first,
                berth.x_m,
                berth.y_m,
                self._clearance_m - _FLUSH_M,
                _LOOK_S,
            )
            if met_s >= 0.0:
                self._told.add(pair)
                findings.append(self._finding(trip, driver, min(others), berth.dock, met_s))
        return findings

    def _finding(self, trip: Trip, driver: int, other: int, dock: int, met_s: float) -> Finding:
        x, y = np.interp(met_s, trip.t_s, trip.x_m), np.interp(met_s, trip.t_s, trip.y_m)
        name, stands = self._members[driver].name, self._members[other].name
        return make_finding(
            "R921",
            f"dock {self._docks[dock].name!r}",
            f"robot {stands!r} standing at dock {self._docks[dock].name!r} is in the way of robot {name!r} "
            f"at ({x:.2f}, {y:.2f}) m",
            value=f"less than {1000 * self._clearance_m:g} mm apart",
            limit="laying.clearance_mm from every robot at a dock",
            next_step="Move the dock away from the ways of the others, or use fewer robots.",
        )


def _flat(shapes: tuple[Floats, ...]) -> tuple[NDArray[np.int64], Floats, Floats]:
    first = np.concatenate([[0], np.cumsum([len(shape) for shape in shapes])]).astype(np.int64)
    corners = np.concatenate([np.empty((0, 2)), *shapes])
    return first, np.ascontiguousarray(corners[:, 0]), np.ascontiguousarray(corners[:, 1])
