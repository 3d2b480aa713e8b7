"""Taking steps off a full floor, last laid first, until nothing more can be taken away."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from standfall.routes._access_kernels import advance, remove, rescan
from standfall.routes._reach_kernels import State, hand_place
from standfall.routes.exact_free import ExactFree
from standfall.routes.free_cells import Ground, begin_state, copied

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]


class Removal:
    """One floor that is being emptied.

    Attributes:
        ground: the hall and all ways.
        state: what stands, and what is reached.
        steps: taken away so far, in order; ``stance`` of each, -1 for hand work; ``place`` where one kneels.
    """

    def __init__(
        self,
        ground: Ground,
        exact: ExactFree,
        rank: Ints,
        present: Bools,
        removable: Bools,
        hand_allowed: Bools,
    ) -> None:
        """Begin with a full floor.

        Args:
            ground: the hall and all ways.
            exact: its exact free floor.
            rank: (n,) place of each step in the order of preference, lowest first.
            present: (n,) what stands.
            removable: (n,) what may be taken away.
            hand_allowed: (n,) tiles that people may lay where no robot can.
        """
        self.ground = ground
        self.state: State = begin_state(ground, present, removable)
        self.steps: list[int] = []
        self.stance: list[int] = []
        self.place: list[tuple[float, float]] = []
        self._exact = exact
        self._rank = rank
        self._hand_allowed = hand_allowed

    def copy(self) -> Removal:
        """Return a floor like this one that is emptied on its own; what was taken away before is forgotten."""
        other = object.__new__(Removal)
        other.ground, other.state = self.ground, copied(self.state)
        other.steps, other.stance, other.place = [], [], []
        other._exact, other._rank, other._hand_allowed = self._exact, self._rank, self._hand_allowed
        return other

    def onward(self) -> Removal:
        """Return a floor like this one that is emptied on its own, with what was taken away before."""
        other = self.copy()
        other.steps, other.stance, other.place = list(self.steps), list(self.stance), list(self.place)
        return other

    @property
    def stuck(self) -> Ints:
        """Return the steps that stand and should be taken away."""
        return np.flatnonzero(self.state.alive[:-1] & self.state.removable)

    def run(self, exact: bool = True) -> None:
        """Take away all that can be: by cells, then by exact geometry, then tiles by hand.

        Args:
            exact: whether exact geometry is asked where the cells find nothing.
        """
        while True:
            self._advance()
            if not len(self.stuck):
                return
            if self._rescan() or (exact and self._exact.join_stances(self.state)):
                continue
            if exact and self._hand_exact(self.ground.hand.by_hand):
                continue
            if self._tile_by_hand():
                continue
            if not (exact and self._hand_exact(self._hand_allowed & ~self.ground.hand.by_hand)):
                return

    def by_hand(self, step: int) -> bool:
        """Tell whether people may do a step."""
        return bool(self.ground.hand.by_hand[step] or self._hand_allowed[step])

    def alone(self, steps: Sequence[int]) -> Removal:
        """Return a floor on which steps stand with nothing but what stays and what they rest on."""
        present = self.state.alive[:-1] & ~self.state.removable
        removable = np.zeros(len(present), np.bool_)
        for step in steps:
            present[step] = removable[step] = True
            base = int(self.ground.steps.after[step])
            while base >= 0:
                present[base] = True
                base = int(self.ground.steps.after[base])
        return Removal(self.ground, self._exact, self._rank, present, removable, self._hand_allowed)

    def take_away(self, steps: Sequence[int]) -> None:
        """Take steps away that are not going to be laid; they come into no list. What stands on them goes too."""
        after = self.ground.steps.after
        for step in steps:
            if self.state.alive[step]:
                self.take_away([int(upper) for upper in np.flatnonzero(after == step)])
                self._remove(step)

    def removable_now(self, step: int) -> bool:
        """Tell whether a step that stands could be taken away as the floor is now, in any way allowed."""
        state, ways = self.state, self.ground.ways
        if state.dependents[step] > 0:
            return False
        if not state.ready[step]:
            self._rescan()
        clear = (state.blockers[ways.of_step[step] : ways.of_step[step + 1]] == 0).any()
        if not state.ready[step] and clear:
            self._exact.join_stances(state)
        if state.ready[step]:
            return True
        if not self.by_hand(step):
            return False
        return self._cell_for(step) >= 0 or bool(self._exact.hand_places(state, np.array([step])))

    def _advance(self) -> None:
        ground = self.ground
        if not len(ground.steps):
            return
        steps, how = advance(
            self.state,
            ground.ways,
            ground.hand,
            ground.steps.after,
            ground.obstacles,
            ground.cells,
            self._rank,
        )
        for step, way in zip(steps.tolist(), how.tolist(), strict=True):
            self._note(step, way)

    def _note(self, step: int, way: int) -> None:
        cells = self.ground.cells
        self.steps.append(step)
        self.stance.append(max(way, -1))
        here = -1 - way
        self.place.append(
            (
                cells.x0_m + (here % cells.nx + 0.5) * cells.cell_m,
                cells.y0_m + (here // cells.nx + 0.5) * cells.cell_m,
            )
            if way < 0
            else (0.0, 0.0)
        )

    def _rescan(self) -> bool:
        ground = self.ground
        return bool(rescan(self.state, ground.ways, ground.hand, ground.obstacles, ground.cells) > 0)

    def _remove(self, step: int) -> None:
        ground = self.ground
        touched = np.empty(len(self.state.covered), np.int64)
        # What has become ready is marked so in the state; the next advance finds it there.
        remove(
            self.state,
            ground.ways,
            ground.hand,
            ground.steps.after,
            ground.obstacles,
            ground.cells,
            step,
            touched,
        )

    def _open_steps(self, which: Bools) -> Ints:
        """Return steps of a kind that nothing stands upon, in order of preference."""
        state = self.state
        found = np.flatnonzero(which & state.alive[:-1] & state.removable & (state.dependents == 0))
        return found[np.argsort(self._rank[found], kind="stable")]

    def _cell_for(self, step: int) -> int:
        return int(hand_place(self.state, self.ground.hand, self.ground.cells, step, True, -1))

    def _tile_by_hand(self) -> bool:
        for step in self._open_steps(self._hand_allowed & ~self.ground.hand.by_hand):
            node = self._cell_for(int(step))
            if node >= 0:
                self._note(int(step), -1 - (node - self.ground.hand.layer * self.ground.layer_cells))
                self._remove(int(step))
                return True
        return False

    def _hand_exact(self, which: Bools) -> bool:
        places = self._exact.hand_places(self.state, self._open_steps(which))
        if not places:
            return bool(self.state.ready[self.stuck].any())
        step, x_m, y_m = places[0]
        self.steps.append(step)
        self.stance.append(-1)
        self.place.append((x_m, y_m))
        self._remove(step)
        return True
