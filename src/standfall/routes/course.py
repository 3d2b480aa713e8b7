"""The way to each step and back, as the floor fills up in laying order."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from standfall.geometry.convex import Convex
from standfall.hall.site import Site
from standfall.routes.docked import docked_obstacles
from standfall.routes.layer import Layer, layer_obstacles
from standfall.routes.roads import Roads
from standfall.routes.stance import stack_shapes
from standfall.routes.step import Steps

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class LayerFloor:
    """One layer of moving: its roads in the empty hall, and what each step puts in the way there.

    ``first[s]`` to ``first[s + 1]`` are the obstacles of step s.
    """

    layer: Layer
    roads: Roads
    obstacles: Convex
    first: NDArray[np.int64]

    def of_step(self, step: int) -> Convex:
        """Return the obstacles that a step puts into this layer."""
        return self.obstacles.part(int(self.first[step]), int(self.first[step + 1]))


def make_layer_floor(layer: Layer, roads: Roads, steps: Steps) -> LayerFloor:
    """Work out what each step will put in the way of a layer.

    Args:
        layer: shapes that move.
        roads: of the layer in the hall without any domino.
        steps: n steps.
    """
    low, low_owner = layer_obstacles(layer, steps.shapes)
    # Pieces two high are in the way of high parts too.
    stacked, stack_of = stack_shapes(steps)
    high, high_owner = layer_obstacles(replace(layer, shape=layer.body), stacked)
    step = np.concatenate([steps.shape_of[low_owner], stack_of[high_owner]])
    order = np.argsort(step, kind="stable")
    first = np.searchsorted(step[order], np.arange(len(steps) + 1))
    return LayerFloor(layer, roads, _in_order(Convex.join([low, high]), order), first.astype(np.int64))


def _in_order(polygons: Convex, order: NDArray[np.int64]) -> Convex:
    sizes = np.diff(polygons.first)[order]
    first = np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)
    corner = np.arange(first[-1]) + np.repeat(polygons.first[:-1][order] - first[:-1], sizes)
    return Convex(first, polygons.x_m[corner], polygons.y_m[corner])


class Course:
    """The floor at one moment of the laying, in every layer.

    Each layer's roads take up what has come to stand only when they are asked for a way.
    """

    def __init__(self, site: Site, floors: Sequence[LayerFloor]) -> None:
        """Begin with nothing standing but the hall, and robots at docks."""
        self._site = site
        self._floors = floors
        self._steps: list[int] = []
        self._roads: dict[tuple[int, frozenset[int] | None], tuple[Roads, int]] = {}

    def stand(self, step: int) -> None:
        """Put the dominoes of a step on the floor."""
        self._steps.append(step)

    def path(
        self, layer: int, start_m: tuple[float, float], goal_m: tuple[float, float], docks: Iterable[int]
    ) -> Floats | None:
        """Return the shortest way of a layer's origin, (p, 2), or ``None`` when there is none.

        It keeps clear of robots at other docks; where a robot cannot, it is the shortest way without them, and the
        trips tell who is in the way. People never walk past a robot that leaves them no room.

        Args:
            layer: number of the layer.
            start_m, goal_m: of its origin.
            docks: that the way begins and ends at.
        """
        on_foot = self._floors[layer].layer.model < 0
        # At a loading dock that people come in by, a robot stands all the same.
        way = self._caught_up(layer, frozenset() if on_foot else frozenset(docks)).path(start_m, goal_m)
        if way is not None or on_foot:
            return way
        return self._caught_up(layer, None).path(start_m, goal_m)

    def free(self, layer: int, place_m: tuple[float, float]) -> bool:
        """Tell whether a layer's origin may be at a place; people not where robots are docked, robots aside of that."""
        docks = frozenset[int]() if self._floors[layer].layer.model < 0 else None
        return self._caught_up(layer, docks).free(*place_m)

    def sees(self, layer: int, start_m: tuple[float, float], goal_m: tuple[float, float]) -> bool:
        """Tell whether a layer's origin may go straight from place to place, robots at docks aside."""
        way = self._caught_up(layer, None).path(start_m, goal_m)
        return way is not None and len(way) == 2

    def _caught_up(self, layer: int, docks: frozenset[int] | None) -> Roads:
        floor = self._floors[layer]
        if (layer, docks) not in self._roads:
            fresh = floor.roads.copy()
            if docks is not None:
                fresh.stand(docked_obstacles(self._site, floor.layer, docks))
            self._roads[layer, docks] = (fresh, 0)
        roads, known = self._roads[layer, docks]
        for step in self._steps[known:]:
            roads.stand(floor.of_step(step))
        self._roads[layer, docks] = (roads, len(self._steps))
        return roads
