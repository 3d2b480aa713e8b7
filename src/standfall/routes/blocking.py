"""What stands in the way of a step that cannot be reached."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from standfall.routes._blocking_kernels import cheapest_near, cheapest_ways, steps_over
from standfall.routes.removal import Removal

Ints = NDArray[np.int64]

# So many floors are emptied for trial, fewer in a very large hall, to name no step that is not in the way.
_TRIALS_MOST = 200
_TRIALS_MOST_LARGE = 40
_LARGE_CELLS = 1_500_000
# A longer list is not cut down further.
_LIST_MOST = 16


def ways_blocked(removal: Removal, stuck: Ints, trials: int | None = None) -> dict[int, tuple[int, ...]]:
    """Name for each step that is stuck the steps in its way.

    With the steps named out of the way it could be laid, and where the list has up to 16 entries none of them can
    be left out of it. That is tried out for as many as there are trials; of the others the shortest list over all
    ways of doing them is given. An empty list: it could not be laid on an empty floor either, because of walls or
    since nobody has a way to do it.

    Args:
        removal: a floor from which nothing more can be taken away; it is left as it is.
        stuck: (m,) steps to be explained.
        trials: how many floors may be emptied for trial; as many as is usual when left out.
    """
    return Explanation(removal, trials).all_of(stuck)


class Explanation:
    """One stuck floor and the cheapest ways through what stands on it."""

    def __init__(self, removal: Removal, trials: int | None = None) -> None:
        """Look for the cheapest ways; the floor is left as it is."""
        self._removal = removal
        ground = removal.ground
        self._cost, self._before = cheapest_ways(removal.state, ground.ways, ground.walls, ground.cells)
        large = len(ground.walls) > _LARGE_CELLS
        usual = _TRIALS_MOST_LARGE if large else _TRIALS_MOST
        self._trials = usual if trials is None else trials

    def all_of(self, stuck: Ints) -> dict[int, tuple[int, ...]]:
        """Explain all steps; those that many others wait for are explained like any other."""
        return {int(step): self._one(int(step)) for step in stuck}

    def _one(self, step: int) -> tuple[int, ...]:
        state = self._removal.state
        if state.dependents[step] > 0:
            upper = np.flatnonzero((self._removal.ground.steps.after == step) & state.alive[:-1])
            return tuple(int(other) for other in upper)
        guess = self.guess(step)
        if self._trials <= 0:
            return tuple(guess or ())
        if guess is not None and self._frees(step, guess):
            return self._needed(step, guess)
        alive = np.flatnonzero(state.alive[:-1])
        everything = [int(other) for other in alive if other != step]
        if not self._frees(step, everything):
            return ()
        if guess is None or len(everything) <= _LIST_MOST:
            return self._needed(step, everything)
        return tuple(guess)

    def guess(self, step: int) -> list[int] | None:
        """Return the shortest list over all ways of doing a step: what its stance hits, and its way to a dock."""
        ground, state = self._removal.ground, self._removal.state
        best: list[int] | None = None
        ways = ground.ways
        for k in range(ways.of_step[step], ways.of_step[step + 1]):
            node = cheapest_near(self._cost, ground.cells, ways.layer[k], ways.x_m[k], ways.y_m[k])
            hit = ground.stances.conflicts_of(k)
            best = self._shorter(best, step, node, hit[state.alive[hit]])
        if self._removal.by_hand(step):
            best = self._shorter(best, step, self._kneeling_cell(step), np.empty(0, np.int32))
        return best

    def _shorter(
        self, best: list[int] | None, step: int, node: int, hit: NDArray[np.int32]
    ) -> list[int] | None:
        if node < 0 or not np.isfinite(self._cost[node]):
            return best
        ground = self._removal.ground
        over = np.zeros(len(ground.steps), np.bool_)
        over[hit] = True
        steps_over(self._removal.state, ground.obstacles, ground.cells, self._before, node, over)
        over[step] = False
        found = [int(other) for other in np.flatnonzero(over)]
        return found if best is None or len(found) < len(best) else best

    def _kneeling_cell(self, step: int) -> int:
        """Return the cheapest cell from which a hand step is in reach, or -1."""
        ground = self._removal.ground
        hand, cells = ground.hand, ground.cells
        span = slice(hand.corner_first[step], hand.corner_first[step + 1])
        x, y = hand.corner_x_m[span], hand.corner_y_m[span]
        if not len(x):
            return -1
        at_x = cells.x0_m + (np.arange(cells.nx) + 0.5) * cells.cell_m
        at_y = cells.y0_m + (np.arange(cells.ny) + 0.5) * cells.cell_m
        i = np.flatnonzero(np.abs(at_x - x[0]) <= hand.reach_m)
        j = np.flatnonzero(np.abs(at_y - y[0]) <= hand.reach_m)
        apart = np.hypot(at_x[None, i, None] - x, at_y[j, None, None] - y).max(axis=-1)
        node = (hand.layer * cells.ny + j[:, None]) * cells.nx + i
        near = node[apart <= hand.reach_m]
        return int(near[np.argmin(self._cost[near])]) if len(near) else -1

    def _frees(self, step: int, gone: list[int]) -> bool:
        """Tell whether a step could be laid with some others out of the way."""
        self._trials -= 1
        trial = self._removal.copy()
        trial.take_away(gone)
        return trial.removable_now(step)

    def _needed(self, step: int, gone: list[int]) -> tuple[int, ...]:
        """Leave out of a list that frees a step what it does not need, the farthest first."""
        if len(gone) > _LIST_MOST:
            return tuple(sorted(gone))
        steps = self._removal.ground.steps
        apart = np.hypot(steps.x_m[gone] - steps.x_m[step], steps.y_m[gone] - steps.y_m[step])
        for other in [gone[at] for at in np.argsort(-apart, kind="stable")]:
            if self._trials <= 0:
                break
            shorter = [one for one in gone if one != other]
            if self._frees(step, shorter):
                gone = shorter
        return tuple(sorted(gone))
