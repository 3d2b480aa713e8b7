"""Access: an order in which every step can be reached, done and left, found by taking the steps away.

Begin with everything standing and take away, again and again, any step that could be laid last: nothing that
stands is in the way of its stance, its way out is joined to a dock while the step itself stands, and nothing that
stands depends on it. The order turned round is a laying order. What can be taken away stays so as more is taken
away, so no choice can spoil it: if this gets stuck, no order exists (docs/routes.md has the proof).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from standfall.hall.site import Site
from standfall.routes.blocking import ways_blocked
from standfall.routes.exact_free import ExactFree
from standfall.routes.free_cells import Ground, make_ground
from standfall.routes.layer import Layer
from standfall.routes.removal import Removal
from standfall.routes.stance import Stances
from standfall.routes.step import Steps
from standfall.routes.trapped import lay_the_rest

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Access:
    """Which steps can be laid, in which order, and from where.

    Attributes:
        order: (m,) int32 steps in laying order.
        stance: m stances, one for each entry of ``order``.
        trapped: steps that cannot all be laid, rising.
        trapped_by: for each of them the steps that stand in its way; none: walls do, or no robot has a way.
        layable_most: how many steps can be laid at most: no order lays more.
        left_out: steps that are given up so that the rest can be laid: some of the trapped, and what rests on
            them. It is proven that no fewer will do when ``len(order) == layable_most``.
    """

    order: NDArray[np.int32]
    stance: Stances
    trapped: tuple[int, ...]
    trapped_by: dict[int, tuple[int, ...]]
    layable_most: int
    left_out: tuple[int, ...]

    @property
    def proven(self) -> bool:
        """Return whether no order can lay more steps than this one."""
        return len(self.order) == self.layable_most


def find_access(
    site: Site,
    steps: Steps,
    stances: Stances,
    layers: Sequence[Layer],
    *,
    preference: Floats,
    standing: Bools,
    wanted: Bools,
    hand_allowed: Bools,
    ground: Ground | None = None,
    thorough: bool = True,
) -> Access:
    """Find a laying order, or what is in the way of one.

    Args:
        site: the floor, docks and models.
        steps: n steps.
        stances: of robots, by rising step.
        layers: in which they move; the last is the worker's.
        preference: (n,) of steps that could be laid last the one with the lowest value is, then the lowest number.
        standing: (n,) what stands already and stays.
        wanted: (n,) what is to be laid; what stands already is not.
        hand_allowed: (n,) tiles that people may lay where no robot can.
        ground: ``make_ground(site, steps, stances, layers)``, to save the work when several orders are tried.
        thorough: when something is trapped, prove what is in its way and how little must be left out, as far as trials
            allow; else name the cheapest guess at once. Orders and what is trapped are the same either way.

    Raises:
        ValueError: an array is not as long as there are steps, or stances are not in order of step.
    """
    for name, column in (
        ("preference", preference),
        ("standing", standing),
        ("wanted", wanted),
        ("hand_allowed", hand_allowed),
    ):
        if len(column) != len(steps):
            raise ValueError(f"{name} has {len(column)} rows for {len(steps)} steps")
    ground = ground if ground is not None else make_ground(site, steps, stances, layers)
    removal = _full_floor(ground, preference, standing, wanted, hand_allowed)
    removal.run()
    order, stance, place = list(removal.steps), list(removal.stance), list(removal.place)
    stuck = removal.stuck
    base_missing = _without_base(steps, standing, wanted)
    trapped = sorted({*stuck.tolist(), *base_missing})
    trapped_by: dict[int, tuple[int, ...]] = {}
    left_out: list[int] = list(base_missing)
    most = int((wanted & ~standing).sum())
    if trapped:
        trapped_by = ways_blocked(removal, stuck, None if thorough else 0)
        trapped_by.update({step: (int(steps.after[step]),) for step in base_missing})
        rest = lay_the_rest(removal, thorough)
        order, stance, place = (
            order + rest.removal.steps,
            stance + rest.removal.stance,
            place + rest.removal.place,
        )
        # What rests on a step that is given up may have been taken away before; it cannot be laid after all.
        kept = [k for k, step in enumerate(order) if step not in rest.left_out]
        order, stance = [order[k] for k in kept], [stance[k] for k in kept]
        place = [place[k] for k in kept]
        left_out += rest.left_out
        most -= len(base_missing) + rest.left_out_least
    order, stance, place = order[::-1], stance[::-1], place[::-1]
    return Access(
        order=np.array(order, np.int32),
        stance=_chosen(ground, order, stance, place),
        trapped=tuple(trapped),
        trapped_by=trapped_by,
        layable_most=most,
        left_out=tuple(sorted(left_out)),
    )


def _without_base(steps: Steps, standing: Bools, wanted: Bools) -> list[int]:
    """Return wanted steps that rest on one that neither stands nor is wanted, directly or through others."""
    missing: list[int] = []
    lacking = ~(wanted | standing)
    for step in range(len(steps)):
        base = int(steps.after[step])
        while base >= 0 and not standing[base]:
            if lacking[base]:
                if wanted[step] and not standing[step]:
                    missing.append(step)
                break
            base = int(steps.after[base])
    return missing


def _full_floor(
    ground: Ground, preference: Floats, standing: Bools, wanted: Bools, hand_allowed: Bools
) -> Removal:
    number = np.arange(len(ground.steps))
    rank = np.empty(len(number), np.int64)
    rank[np.lexsort((number, preference))] = number
    absent = np.zeros(len(number), np.bool_)
    absent[_without_base(ground.steps, standing, wanted)] = True
    return Removal(
        ground,
        ExactFree(ground),
        rank,
        np.asarray((wanted | standing) & ~absent, np.bool_),
        np.asarray(wanted & ~standing & ~absent, np.bool_),
        np.asarray(hand_allowed, np.bool_),
    )


def _chosen(ground: Ground, order: list[int], stance: list[int], place: list[tuple[float, float]]) -> Stances:
    """Return one stance for each step of an order: as listed, or where somebody kneels."""
    rows = np.array([max(way, 0) for way in stance], np.int64)
    by_hand = np.array([way < 0 for way in stance], np.bool_)
    step = np.array(order, np.int32)
    count = len(order)
    xy = np.array(place, np.float64).reshape(count, 2)
    if not len(ground.stances):
        blank = np.zeros(count)
        base = Stances(
            step, blank.astype(np.int16), blank.astype(np.int16), blank, blank, blank, blank, blank,
            blank.astype(np.int16), np.zeros(count + 1, np.int64), np.empty(0, np.int32),
        )  # fmt: skip
    else:
        base = ground.stances.part(rows)
    lists = [np.empty(0, np.int32) if hand else base.conflicts_of(k) for k, hand in enumerate(by_hand)]
    middle_x, middle_y = ground.steps.x_m[step], ground.steps.y_m[step]
    return Stances(
        step=step,
        model=np.where(by_hand, -1, base.model).astype(np.int16),
        turn_deg=np.where(by_hand, 0, base.turn_deg).astype(np.int16),
        x_m=np.where(by_hand, xy[:, 0], base.x_m),
        y_m=np.where(by_hand, xy[:, 1], base.y_m),
        yaw_rad=np.where(by_hand, np.arctan2(middle_y - xy[:, 1], middle_x - xy[:, 0]), base.yaw_rad),
        leave_x_m=np.where(by_hand, xy[:, 0], base.leave_x_m),
        leave_y_m=np.where(by_hand, xy[:, 1], base.leave_y_m),
        layer=np.where(by_hand, ground.hand.layer, base.layer).astype(np.int16),
        conflict_first=np.cumsum([0, *map(len, lists)]).astype(np.int64),
        conflict=np.concatenate([*lists, np.empty(0, np.int32)]).astype(np.int32),
    )
