"""The laying of a build: its steps in order, how each is reached and left, and every trip."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from standfall.routes.access import Access
    from standfall.routes.step import Steps
    from standfall.routes.trip import Trips


def on_foot(steps: Steps, access: Access, trips: Trips) -> NDArray[np.bool_]:
    """Mark the trips of people: those whose first step is laid by hand. Drives between docks have no step."""
    model = np.zeros(len(steps), np.int16)
    model[access.order] = access.stance.model
    begin, end = trips.step_first[:-1], trips.step_first[1:]
    result = np.zeros(len(begin), np.bool_)
    some = end > begin
    result[some] = model[trips.step[begin[some]]] < 0
    return result


@dataclass(frozen=True)
class Routes:
    """What is laid when, by whom and on which way.

    Attributes:
        steps: everything that is laid, tiles first.
        access: the steps in laying order, each with the way it is reached and left, and what is trapped.
        trips: of robots and people, with times and waypoints.
        front: how the laying advances, in words (``far first``, ``along the fall``, ...).
        lower_bound_m: no plan for these robots and docks drives less: the sum of the shortest ways from a dock
            to each set-down and back through the empty hall, shared by the tiles of one trip.
        at_risk: mean number of dominoes on the floor that would go if a piece of the tile just laid fell, half
            the times forward and half backward, by unbroken columns.
    """

    steps: Steps
    access: Access
    trips: Trips
    front: str
    lower_bound_m: float
    at_risk: float

    @property
    def driven_m(self) -> float:
        """Return how far robots drive in all; ways of people on foot are not counted."""
        return float(self.trips.driven_m[~on_foot(self.steps, self.access, self.trips)].sum())

    @property
    def walked_m(self) -> float:
        """Return how far people walk in all to what they lay, and back."""
        return float(self.trips.driven_m[on_foot(self.steps, self.access, self.trips)].sum())

    @property
    def laying_s(self) -> float:
        """Return when the last trip has ended."""
        return float(self.trips.end_s.max(initial=0.0))

    @property
    def unreachable(self) -> tuple[int, ...]:
        """Return the numbers of the tiles that cannot be laid."""
        laid = np.zeros(len(self.steps), np.bool_)
        laid[self.access.order] = True
        return tuple(int(tile) for tile in self.steps.tile[(self.steps.kind == 0) & ~laid])

    def order_of_tiles(self) -> NDArray[np.int32]:
        """Return for each step its place in the laying order, from 1; 0 for what is not laid."""
        place = np.zeros(len(self.steps), np.int32)
        place[self.access.order] = np.arange(1, len(self.access.order) + 1)
        return place

    def summary(self) -> dict[str, Any]:
        """Return the figures as plain data (the key ``routes`` of ``plan --json``)."""
        bound = self.lower_bound_m
        return {
            "trips": len(self.trips.start_s),
            "driven_m": round(self.driven_m, 3),
            "lower_bound_m": round(bound, 3),
            "above_bound_percent": round(100 * (self.driven_m / bound - 1), 2) if bound > 0 else None,
            "walked_m": round(self.walked_m, 3),
            "laying_s": round(self.laying_s, 1),
            "front": self.front,
            "at_risk_mean": round(self.at_risk, 1),
            "steps": len(self.access.order),
            "unreachable": list(self.unreachable),
        }
