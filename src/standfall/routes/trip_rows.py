"""The columns of all trips as they grow."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from standfall.routes.track import PHASES
from standfall.routes.trip import Trip, Trips

_DOCK, _WAIT = PHASES.index("dock"), PHASES.index("wait")


class TripRows:
    """Trips in the order they are planned."""

    def __init__(self, names: tuple[str, ...]) -> None:
        """Begin without trips; ``names`` are those of all robots and people."""
        self._names = names
        self._heads: list[tuple[int, int, float, float, float]] = []
        self._steps: list[list[int]] = []
        self._ways: list[tuple[NDArray[np.int8], NDArray[np.int32], NDArray[np.float64], Trip]] = []

    def add(self, robot: int, dock: int, trip: Trip, begin_s: float, loaded_s: float, start_s: float) -> None:
        """Add a trip: loading from ``begin_s`` to ``loaded_s``, a wait until ``start_s``, and the way itself."""
        first = trip.legs[0].step if trip.legs else -1
        before = [(_DOCK, begin_s)] if loaded_s > begin_s else []
        before += [(_WAIT, loaded_s)] if start_s > loaded_s else []
        phase = np.concatenate([np.array([p for p, _ in before], np.int8), trip.phase])
        step = np.concatenate([np.full(len(before), first, np.int32), trip.way_step])
        t_s = np.concatenate([[t for _, t in before], trip.t_s + start_s])
        self._heads.append((robot, dock, begin_s, float(t_s[-1]), trip.driven_m))
        self._steps.append([leg.step for leg in trip.legs])
        self._ways.append((phase, step, t_s, trip))

    def finished(self) -> Trips:
        """Return the columns."""
        counts = np.array([len(way[2]) for way in self._ways], np.int64)
        heads = list(zip(*self._heads, strict=True)) or [(), (), (), (), ()]
        return Trips(
            robot=np.array(heads[0], np.int16),
            dock=np.array(heads[1], np.int16),
            step_first=_firsts(np.array([len(steps) for steps in self._steps], np.int64)).astype(np.int32),
            step=np.array([step for steps in self._steps for step in steps], np.int32),
            start_s=np.array(heads[2], np.float64),
            end_s=np.array(heads[3], np.float64),
            driven_m=np.array(heads[4], np.float64),
            names=self._names,
            way_first=_firsts(counts),
            phase=np.concatenate([np.empty(0, np.int8), *(way[0] for way in self._ways)]),
            way_step=np.concatenate([np.empty(0, np.int32), *(way[1] for way in self._ways)]),
            t_s=np.concatenate([np.empty(0), *(way[2] for way in self._ways)]),
            x_m=self._poses("x_m"),
            y_m=self._poses("y_m"),
            yaw_rad=self._poses("yaw_rad"),
        )

    def _poses(self, column: str) -> NDArray[np.float64]:
        """Return a pose column; before it leaves, a robot is where its way begins."""
        pieces = [np.empty(0)]
        for _, _, t_s, trip in self._ways:
            values = getattr(trip, column)
            pieces += [np.full(len(t_s) - len(values), values[0]), values]
        return np.concatenate(pieces)


def _firsts(counts: NDArray[np.int64]) -> NDArray[np.int64]:
    return np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
