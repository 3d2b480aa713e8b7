"""The floor reserved in space and time, and the first moment at which another trip finds it free."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from standfall.geometry.convex import Convex
from standfall.routes import _traffic_kernels as kernels
from standfall.routes.leg import Leg
from standfall.routes.track import PHASES
from standfall.routes.trip import Trip

Floats = NDArray[np.float64]

#: Trips leave their docks on whole ticks, and motions are compared from each to the next.
TICK_S = 0.25
#: People who work on the floor at once keep this far apart, room to room (common practice, no source).
PEOPLE_APART_M = 1.0
# A waypoint path is within 5 mm of where a robot truly is, on either side.
_TRUE_M = 0.01
# The next tile is set down later than the one before it by at least this.
_LATER_S = 0.001

# By number of the phase: is it driven in the layer of its leg?
_ON_WAY = np.array([phase in ("drive", "return", "turn", "walk", "lay") for phase in PHASES])

#: The obstacles that a step puts in the way of what drives a leg, in the layer of the leg.
InWay = Callable[[Leg, int], Convex]


@dataclass(frozen=True)
class Passage:
    """A trip that does not wait on its way, and its places at every tick from its departure.

    Attributes:
        trip: with times from its departure.
        x_m, y_m: (k,) middle of the turning circle at each tick.
        bend_m: (k,) how far off a straight motion from each tick to the next it is at most.
    """

    trip: Trip
    x_m: Floats
    y_m: Floats
    bend_m: Floats

    @staticmethod
    def of(trip: Trip) -> Passage:
        """Sample a trip."""
        x_m, y_m = trip.turn_centre()
        return Passage(trip, *kernels.sample_way(trip.t_s, x_m, y_m, TICK_S))


@dataclass
class _Booking:
    """A passage with its departure; the way on each leg is worked out when it is asked for."""

    passage: Passage
    tick: int
    _use: dict[int, NDArray[np.bool_]] = field(default_factory=dict)
    _way: tuple[Floats, Floats, Floats] | None = None

    @property
    def end_s(self) -> float:
        return self.tick * TICK_S + self.passage.trip.lasts_s

    def last_inside(self, leg: int, obstacles: Convex, since_s: float) -> float:
        """Return when it is last inside of obstacles on the way of a leg, if that is after a moment."""
        trip = self.passage.trip
        if self._way is None:
            x_m, y_m = trip.turn_centre() if trip.mover.follows else (trip.x_m, trip.y_m)
            self._way = (trip.t_s + self.tick * TICK_S, x_m, y_m)
        if leg not in self._use:
            self._use[leg] = (trip.leg == leg) & _ON_WAY[trip.phase]
        found: float = kernels.last_inside(
            *self._way, self._use[leg], since_s, obstacles.first, obstacles.x_m, obstacles.y_m
        )
        return found


class Reservations:
    """Who is where and when, for trips that are entered in order of their right of way."""

    def __init__(
        self, clearance_m: float, in_way: InWay, after: Sequence[int] | NDArray[np.integer] | None
    ) -> None:
        """Begin with an empty floor.

        Args:
            clearance_m: kept between the turning circles of robots.
            in_way: obstacles of later steps.
            after: (n,) step that must be done before each step, -1 for none.
        """
        self._clearance_m, self._in_way, self._after = clearance_m, in_way, after
        self._active: list[_Booking] = []
        self._out_s = {False: 0.0, True: 0.0}  # until when a robot, and until when a person, is on the floor
        self._forgotten_s = 0.0
        self._set_down_s = -math.inf
        self._done_s: dict[int, float] = {}

    def earliest(self, passage: Passage, from_s: float) -> float:
        """Return the first departure from a moment on that respects everything entered before."""
        trip = passage.trip
        start_s = max(from_s, self._out_s[not trip.mover.by_hand], self._forgotten_s)
        if trip.legs:
            start_s = max(start_s, self._in_order(trip))
            start_s = self._behind_others(trip, start_s)
        return self._free_floor(passage, math.ceil(start_s / TICK_S - 1e-9)) * TICK_S

    def _in_order(self, trip: Trip) -> float:
        """Steps are set down in laying order, and what must be done before is done."""
        start_s = self._set_down_s + _LATER_S - trip.set_down_s[0]
        if self._after is not None:
            for leg, at_s in zip(trip.legs, trip.set_down_s, strict=True):
                before = int(self._after[leg.step])
                if before >= 0:
                    start_s = max(start_s, self._done_s.get(before, -math.inf) - at_s)
        return start_s

    def _behind_others(self, trip: Trip, start_s: float) -> float:
        """A step stands from the moment it is lowered; whoever set out without it must be past it by then."""
        for booking in self._active:
            for leg, at_s in zip(trip.legs, trip.set_down_s, strict=True):
                if booking.end_s > start_s + at_s:
                    start_s = max(start_s, self._past(booking, leg.step, start_s + at_s) - at_s)
        return start_s

    def _past(self, booking: _Booking, step: int, since_s: float) -> float:
        trip = booking.passage.trip
        last_s = -math.inf
        for number, leg in enumerate(trip.legs):
            clear_s = booking.tick * TICK_S + trip.clear_s[number]
            if not leg.by_hand and clear_s > since_s and (leg.conflict is None or step in leg.conflict):
                last_s = max(last_s, clear_s)
            last_s = max(last_s, booking.last_inside(number, self._in_way(leg, step), since_s))
        return last_s

    def _free_floor(self, passage: Passage, tick: int) -> int:
        """Return the first departure at which nobody comes near: when all others are home, every trip is free."""
        while True:
            begun = tick
            for booking in self._active:
                other = booking.passage
                tick = kernels.first_free(
                    tick,
                    passage.x_m,
                    passage.y_m,
                    passage.bend_m,
                    booking.tick,
                    other.x_m,
                    other.y_m,
                    other.bend_m,
                    self._apart_m(passage, other),
                )
            if tick == begun:
                return tick

    def _apart_m(self, passage: Passage, other: Passage) -> float:
        radii_m = passage.trip.mover.radius_m + other.trip.mover.radius_m
        if passage.trip.mover.by_hand:
            return radii_m + PEOPLE_APART_M
        return radii_m + self._clearance_m + _TRUE_M

    def book(self, passage: Passage, start_s: float, forget_s: float) -> None:
        """Enter a passage at the departure that ``earliest`` gave.

        What ended before ``forget_s`` is forgotten, and nothing entered later leaves before that.
        """
        trip = passage.trip
        booking = _Booking(passage, round(start_s / TICK_S))
        self._forgotten_s = max(self._forgotten_s, forget_s)
        self._active = [each for each in self._active if each.end_s > forget_s] + [booking]
        self._out_s[trip.mover.by_hand] = max(self._out_s[trip.mover.by_hand], booking.end_s)
        for leg, set_down_s, done_s in zip(trip.legs, trip.set_down_s, trip.done_s, strict=True):
            self._set_down_s = start_s + set_down_s
            self._done_s[leg.step] = start_s + done_s

    @property
    def set_down_s(self) -> float:
        """When the step entered last begins to be set down; nothing later in order is set down before."""
        return self._set_down_s
