"""Who makes which trip when: robots, docks, chargers and people, without anybody in another's way.

The right of way follows the laying order: each trip leaves its dock at the first moment at which it disturbs nothing
that was planned before it, and waits only at docks. With all others at home every trip is free, so this always ends.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from standfall.findings import Finding, StandfallError, blocked
from standfall.hall.site import Site
from standfall.routes.berth import Berths
from standfall.routes.fleet import Member, Ways, dock_ways, make_fleet
from standfall.routes.leg import WORKER, DockWay, Leg, Pose, Slow
from standfall.routes.mover import Mover, person_mover, robot_mover
from standfall.routes.reservation import InWay, Passage, Reservations
from standfall.routes.traffic_finding import long_trip, no_robot
from standfall.routes.trip import Trip, Trips, joined, make_move, make_trip, pause
from standfall.routes.trip_rows import TripRows

Progress = Callable[[int, int, str], None]

# How often progress is told.
_TELL_EVERY = 64


def plan_traffic(
    site: Site,
    legs: Sequence[Leg],
    in_way: InWay,
    *,
    slow: Slow | None = None,
    ways: Iterable[DockWay] = (),
    after: Sequence[int] | NDArray[np.integer] | None = None,
    progress: Progress | None = None,
) -> tuple[Trips | None, list[Finding]]:
    """Plan all trips.

    A robot is loaded at the dock of its trip (``load_s`` a tile), waits there until the floor is free for all of its
    way and back, and then drives without another stop for others. Robots keep the sum of their turning circles and
    the clearance apart; one that stands at a dock counts with its shape. Steps are set down in laying order, and not
    before whoever set out without them is past. While people are on the floor no robot leaves its dock, and nobody
    enters while a robot is out. A robot that could not finish a trip on its battery charges before it: at a charging
    dock it has a way to, else where it stands.

    Args:
        site: floor, docks, models and crew.
        legs: one for each step, in laying order. Those with ``next_m`` make one trip with the next.
        in_way: gives the obstacles that a later step puts in the way of a leg, in the layer of that leg.
        slow: says where robots go slowly; nowhere when left out.
        ways: between docks, for robots that charge, share a dock or serve several.
        after: (n,) step that must be done before each step, -1 for none.
        progress: callback (done, total, what).

    Returns:
        The trips, ``None`` when some cannot be made, and findings R920 to R923.

    Raises:
        StandfallError: legs that do not fit each other, their docks or models.
    """
    movers = {number: robot_mover(model) for number, model in enumerate(site.models)}
    if site.worker is not None:
        movers[WORKER] = person_mover(site.worker)
    trips = _grouped(legs, movers)
    used = [(group[0].model, group[0].dock) for group in trips if not group[0].by_hand]
    fleet, findings = make_fleet(site.docks, movers, used, dock_ways(ways))
    findings += no_robot(site, used, fleet, dock_ways(ways))
    if blocked(findings):
        return None, findings
    traffic = _Traffic(
        site, movers, fleet, dock_ways(ways), Reservations(site.laying.clearance_m, in_way, after), slow
    )
    made = [make_trip(group, movers[group[0].model], site.laying.corner_m, slow) for group in trips]
    traffic.lead_s = traffic.longest_lead_s(made)
    for number, trip in enumerate(made):
        if progress is not None and number % _TELL_EVERY == 0:
            progress(number, len(made), "traffic")
        traffic.add(trip)
    if progress is not None:
        progress(len(made), len(made), "traffic")
    return traffic.rows.finished(), findings + traffic.findings


def _grouped(legs: Sequence[Leg], movers: Mapping[int, Mover]) -> list[list[Leg]]:
    groups: list[list[Leg]] = []
    goes_on = False
    for leg in legs:
        if leg.model not in movers or leg.by_hand != (leg.model == WORKER):
            raise StandfallError(f"step {leg.step} has a model the site does not have: {leg.model}")
        if goes_on:
            groups[-1].append(leg)
        else:
            groups.append([leg])
        goes_on = leg.next_m is not None
    if goes_on:
        raise StandfallError("the last leg has a way on to a next one")
    return groups


@dataclass
class _State:
    """One robot as the plan goes on."""

    member: Member
    row: int  # its number among all names
    place: int
    free_s: float = 0.0
    used_s: float = 0.0


class _Traffic:
    """The plan under way."""

    def __init__(
        self,
        site: Site,
        movers: Mapping[int, Mover],
        fleet: list[Member],
        ways: Ways,
        floor: Reservations,
        slow: Slow | None,
    ) -> None:
        self._docks, self._corner_m = site.docks, site.laying.corner_m
        self._movers, self._ways, self._floor, self._slow = movers, ways, floor, slow
        names = [name for number in range(len(site.models)) for name in movers[number].names]
        self._states = [_State(member, names.index(member.name), member.home) for member in fleet]
        people = movers[WORKER].names if WORKER in movers else ()
        self._people_s = [0.0] * len(people)
        self._first_person = len(names)
        self.rows = TripRows((*names, *people))
        self._chargers = [self._chargers_of(state.member) for state in self._states]
        self._charger_free_s: dict[int, float] = {}
        pairs = [(number, dock) for number, docks in enumerate(self._chargers) for dock in docks]
        self._berths = Berths(site.docks, movers, fleet, pairs, site.laying.clearance_m)
        self._moves: dict[tuple[int, int, int], Trip] = {}
        self.findings: list[Finding] = []
        self._too_long: set[str] = set()
        self.lead_s = 0.0  # no trip leaves earlier than this before its first set-down

    def longest_lead_s(self, trips: Sequence[Trip]) -> float:
        """Return a time that no trip leaves earlier before its first set-down."""
        move_s = max((self._move(*key).lasts_s for key in sorted(self._ways)), default=0.0)
        load_s = max((dock.load_s for dock in self._docks), default=0.0)
        return move_s + max((load_s * len(trip.legs) + trip.set_down_s[0] for trip in trips), default=0.0)

    def add(self, trip: Trip) -> None:
        """Plan the next trip in order."""
        if trip.mover.by_hand:
            self._add_person(trip)
        else:
            self._add_robot(trip)

    def _add_person(self, trip: Trip) -> None:
        number = min(range(len(self._people_s)), key=lambda k: self._people_s[k])
        dock, begin_s = trip.legs[0].dock, self._people_s[number]
        load_s = self._docks[dock].load_s * len(trip.legs)
        passage = Passage.of(trip)
        start_s = self._floor.earliest(passage, begin_s + load_s)
        # People load and wait outside: they are on the floor, and in the way of robots, from here on only.
        self._book(passage, start_s)
        self.rows.add(self._first_person + number, dock, trip, start_s, start_s, start_s)
        self._people_s[number] = start_s + trip.lasts_s

    def _add_robot(self, trip: Trip) -> None:
        leg = trip.legs[0]
        able = [
            number
            for number, state in enumerate(self._states)
            if state.member.model == leg.model and leg.dock in state.member.own + state.member.shared
        ]
        number = min(able, key=lambda k: self._ready_s(self._states[k], leg.dock))
        state = self._states[number]
        self._charge_first(number, trip)
        load_s = self._docks[leg.dock].load_s * len(trip.legs)
        if leg.dock in state.member.shared:
            self._visit(number, trip, load_s)
            return
        if state.place != leg.dock:
            self._relocate(number, leg.dock)
        self._look(number, trip, (leg.dock,))
        begin_s = state.free_s
        self._depart(number, Passage.of(trip), leg.dock, begin_s, load_s)

    def _ready_s(self, state: _State, dock: int) -> float:
        if state.place == dock:
            return state.free_s
        return state.free_s + self._move(state.member.model, state.place, dock).lasts_s

    def _visit(self, number: int, trip: Trip, load_s: float) -> None:
        """Come from home to a shared dock, load, do the trip and go home again, all without a wait."""
        state, dock = self._states[number], trip.legs[0].dock
        model = state.member.model
        if state.place != state.member.home:
            self._relocate(number, state.member.home)
        parts = [
            self._move(model, state.place, dock),
            pause(trip.mover, trip.legs[0].dock_pose, "dock", load_s),
            trip,
            self._move(model, dock, state.place),
        ]
        whole = joined(parts)
        self._look(number, whole, (dock, state.place))
        self._depart(number, Passage.of(whole), dock, state.free_s, 0.0)

    def _relocate(self, number: int, dock: int) -> None:
        state = self._states[number]
        move = self._move(state.member.model, state.place, dock)
        self._look(number, move, (state.place, dock))
        self._depart(number, Passage.of(move), dock, state.free_s, 0.0)
        state.place = dock

    def _depart(self, number: int, passage: Passage, dock: int, begin_s: float, load_s: float) -> None:
        state = self._states[number]
        start_s = self._floor.earliest(passage, begin_s + load_s)
        self._book(passage, start_s)
        self.rows.add(state.row, dock, passage.trip, begin_s, begin_s + load_s, start_s)
        state.free_s = start_s + passage.trip.lasts_s
        state.used_s += passage.trip.lasts_s

    def _book(self, passage: Passage, start_s: float) -> None:
        # Later trips set down later than everything so far, so none leaves before this moment.
        forget_s = self._floor.set_down_s - self.lead_s
        self._floor.book(passage, start_s, forget_s)

    # Batteries

    def _chargers_of(self, member: Member) -> list[int]:
        """Return the charging docks that a robot has a way to and that are nobody else's home."""
        if self._movers[member.model].battery_s is None:
            return []
        homes = {state.member.home for state in self._states} - {member.home}
        found = []
        for number, dock in enumerate(self._docks):
            there = number == member.home or (member.model, member.home, number) in self._ways
            if dock.kind == "charging" and there and number not in homes:
                found.append(number)
        return found

    def _charge_first(self, number: int, trip: Trip) -> None:
        """Charge when what is left does not last for the trip and the way to the charger."""
        state, mover = self._states[number], trip.mover
        if mover.battery_s is None or mover.charge_s is None:
            return
        dock, model, home = trip.legs[0].dock, state.member.model, state.member.home
        need_s = trip.lasts_s
        if dock in state.member.shared:
            need_s += self._move(model, home, dock).lasts_s + self._move(model, dock, home).lasts_s
        elif state.place != dock:
            need_s += self._move(model, state.place, dock).lasts_s
        stays = home if dock in state.member.shared else dock
        there = [self._to_charger_s(model, stays, charger) for charger in self._chargers[number]]
        reserve_s = min((lasts_s for lasts_s in there if lasts_s < float("inf")), default=0.0)
        if need_s + 2.0 * reserve_s > mover.battery_s and state.member.name not in self._too_long:
            self._too_long.add(state.member.name)
            self.findings.append(
                long_trip(state.member.name, trip, need_s + 2.0 * reserve_s, mover.battery_s)
            )
        if state.used_s > 0.0 and state.used_s + need_s + reserve_s > mover.battery_s:
            self._charge(number, mover.charge_s)

    def _to_charger_s(self, model: int, place: int, charger: int) -> float:
        if place == charger:
            return 0.0
        key = (model, place, charger)
        return self._move(*key).lasts_s if key in self._ways else float("inf")

    def _charge(self, number: int, charge_s: float) -> None:
        """Go to the charger that is free first, charge, and come back."""
        state = self._states[number]
        model, place = state.member.model, state.place
        can = [c for c in self._chargers[number] if c == place or (model, place, c) in self._ways]
        charger = min(can, key=lambda c: (self._charger_ready_s(state, c), c), default=place)
        if charger != place:
            go = self._move(model, place, charger)
            self._look(number, go, (place, charger))
            begin_s = max(state.free_s, self._charger_free_s.get(charger, 0.0))
            self._depart(number, Passage.of(go), charger, begin_s, 0.0)
        done_s = state.free_s + charge_s
        stay = pause(self._movers[model], self._pose(charger), "charge", charge_s)
        self.rows.add(state.row, charger, stay, state.free_s, state.free_s, state.free_s)
        state.free_s, state.used_s = done_s, 0.0
        if charger != place:
            come = self._move(model, charger, place)
            self._look(number, come, (charger, place))
            self._depart(number, Passage.of(come), place, done_s, 0.0)
            self._charger_free_s[charger] = state.free_s

    def _charger_ready_s(self, state: _State, charger: int) -> float:
        ready_s = max(state.free_s, self._charger_free_s.get(charger, 0.0))
        return ready_s + self._to_charger_s(state.member.model, state.place, charger)

    # Drives between docks

    def _move(self, model: int, first: int, last: int) -> Trip:
        key = (model, first, last)
        if key not in self._moves:
            self._moves[key] = make_move(self._ways[key], self._movers[model], self._corner_m, self._slow)
        return self._moves[key]

    def _pose(self, dock: int) -> Pose:
        place = self._docks[dock]
        return (place.place_m[0], place.place_m[1], place.heading_rad)

    def _look(self, number: int, trip: Trip, visits: tuple[int, ...]) -> None:
        self.findings += self._berths.in_the_way(trip, number, visits)
