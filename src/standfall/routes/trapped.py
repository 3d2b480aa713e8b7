"""Steps that cannot all be laid: which to give up so that as many as possible can be.

Giving a step up takes it off the floor at no price but itself, and whatever can be taken away then goes as well.
What is sought is the least number of steps whose giving up empties the floor.
"""

from __future__ import annotations

import functools
import heapq
import itertools
from dataclasses import dataclass

import numpy as np

from standfall.routes.blocking import Explanation
from standfall.routes.removal import Removal

#: Up to so many stuck steps the least number is sought by search, and proven.
CORE_MOST = 16
# Floors emptied for trial by the search, and by the choice where the search gives out.
_SEARCH_MOST = 600
_CHOICE_MOST = 400
# So many steps are looked at one by one whether they could be laid on an otherwise empty floor.
_ALONE_MOST = 64
# So many of the likeliest steps are tried at each choice, unless very many are stuck: then the likeliest it is.
_TRIED = 6
# Of so many stuck steps at most the ways through what stands are looked for to tell the likeliest.
_EXPLAINED_MOST = 64


@dataclass(frozen=True)
class Rest:
    """What can still be laid of a stuck floor.

    Attributes:
        removal: the floor emptied; its lists hold what was taken away.
        left_out: steps given up, with all that rests on them, though that may have been taken away before.
        left_out_least: at least so many must be left out, whatever the order.
    """

    removal: Removal
    left_out: tuple[int, ...]
    left_out_least: int


def lay_the_rest(removal: Removal, thorough: bool = True) -> Rest:
    """Give up as few steps as possible so that the rest of a stuck floor can be laid.

    Args:
        removal: a floor from which nothing more can be taken away; it is left as it is.
        thorough: search and prove; else take the first good answer.
    """
    hopeless = _hopeless(removal, _ALONE_MOST if thorough else 0)
    start = _Given(removal.copy(), frozenset())
    start = start.without(hopeless) if hopeless else start
    core = len(start.floor.stuck)
    least = len(start.given)
    if not thorough:
        chosen = _at_once(start)
        return Rest(chosen.floor, tuple(sorted(chosen.given)), len(hopeless) + (core > 0))
    if core <= CORE_MOST:
        found, least = _searched(start)
        if found is not None:
            return Rest(found.floor, tuple(sorted(found.given)), len(found.given))
    chosen = _thinned(removal, _chosen(start))
    least = max(least, len(start.given) + (core > 0))
    return Rest(chosen.floor, tuple(sorted(chosen.given)), least)


@dataclass(frozen=True)
class _Given:
    """A floor from which some steps were given up and all was taken away that could be."""

    floor: Removal
    given: frozenset[int]

    def without(self, steps: list[int]) -> _Given:
        """Give up more steps, and whatever rests on them, and take away what can be then."""
        floor = self.floor.onward()
        floor.take_away(steps)
        floor.run()
        return _Given(floor, self.given | _with_upper(floor, steps))


def _with_upper(floor: Removal, steps: list[int]) -> frozenset[int]:
    """Return steps and all wanted steps that rest on them, whether they still stand or not."""
    after = floor.ground.steps.after
    found = set(steps)
    fresh = list(steps)
    while fresh:
        upper = np.flatnonzero((after == fresh.pop()) & floor.state.removable)
        fresh += [int(step) for step in upper if step not in found]
        found.update(int(step) for step in upper)
    return frozenset(found)


def _at_once(given: _Given) -> _Given:
    """Give up the step in the middle of those that are stuck, again and again: the middle of a patch is hidden most."""
    steps = given.floor.ground.steps
    while len(stuck := given.floor.stuck):
        x_m, y_m = steps.x_m[stuck], steps.y_m[stuck]
        middle = np.argmin(np.hypot(x_m - x_m.mean(), y_m - y_m.mean()))
        given = given.without([int(stuck[middle])])
    return given


def _hopeless(removal: Removal, alone_most: int) -> list[int]:
    """Return the stuck steps that could not be laid if all others of them were away.

    More than ``alone_most`` are not looked at one by one; those that have no way at all are found in any case.
    """
    stuck = [int(step) for step in removal.stuck]
    if len(stuck) > alone_most:
        ways = removal.ground.ways.of_step
        return [step for step in stuck if ways[step] == ways[step + 1] and not removal.by_hand(step)]
    return [step for step in stuck if not removal.alone([step]).removable_now(step)]


def _searched(start: _Given) -> tuple[_Given | None, int]:
    """Return the floor emptied at least price, or ``None``; and how many must be given up at least.

    A* over the sets that are left standing (Hart, Nilsson and Raphael, IEEE Transactions on Systems Science and
    Cybernetics 4, 100, 1968). Of two steps that could not both be laid if they were alone, one must be given up: so
    many pairs as can be formed that share no step, so many more steps at least. Less standing is never worse, so a
    set is not looked at when a part of it has been reached at no higher price.
    """
    pairs = _exclusive(start.floor)
    order = trials = 0
    least = len(start.given) + _matching(frozenset(start.floor.stuck.tolist()), pairs)
    queue: list[tuple[int, int, int, _Given]] = [(least, -len(start.given), 0, start)]
    done: list[tuple[frozenset[int], frozenset[int], int]] = []
    while queue:
        least, _, _, given = heapq.heappop(queue)
        stuck = given.floor.stuck.tolist()
        if not stuck:
            return given, least
        price, standing = len(given.given), frozenset(stuck)
        upper = frozenset(step for step in given.given if given.floor.ground.steps.after[step] in standing)
        if any(other <= standing and paid >= upper and cost <= price for other, paid, cost in done):
            continue
        done.append((standing, upper, price))
        for step in stuck:
            if trials >= _SEARCH_MOST:
                return None, least
            trials += 1
            order += 1
            after = given.without([step])
            more = _matching(frozenset(after.floor.stuck.tolist()), pairs)
            heapq.heappush(queue, (len(after.given) + more, -len(after.given), order, after))
    return None, least


def _exclusive(floor: Removal) -> dict[int, frozenset[int]]:
    """Return for each stuck step those of which not both could be laid if the two were alone on the floor."""
    stuck = floor.stuck.tolist()
    found: dict[int, set[int]] = {step: set() for step in stuck}
    for a, b in itertools.combinations(stuck, 2):
        both = floor.alone([a, b])
        both.run()
        if len(both.stuck):
            found[a].add(b)
            found[b].add(a)
    return {step: frozenset(others) for step, others in found.items()}


def _matching(standing: frozenset[int], pairs: dict[int, frozenset[int]]) -> int:
    """Return how many pairs can be formed among what stands that share no step, by trying all."""

    @functools.cache
    def most(left: frozenset[int]) -> int:
        if len(left) < 2:
            return 0
        first = min(left)
        rest = left - {first}
        partners = pairs[first] & rest
        return max([most(rest), *(1 + most(rest - {other}) for other in partners)])

    return most(standing)


def _chosen(given: _Given) -> _Given:
    """Give up one step after the other, each time one that frees many; a good answer, not always the best."""
    if len(given.floor.stuck) > _ALONE_MOST:
        given = _coarsely(given)
    trials = 0
    while len(given.floor.stuck):
        if trials >= _CHOICE_MOST:
            return given.without([int(step) for step in given.floor.stuck])
        likely = _likeliest(given.floor)[:_TRIED]
        trials += len(likely)
        given = min((given.without([step]) for step in likely), key=_price)
    return given


def _coarsely(given: _Given) -> _Given:
    """Give up the likeliest step again and again, by cells alone, until few are stuck."""
    floor, left_out = given.floor.onward(), given.given
    while len(floor.stuck) > CORE_MOST:
        step = _likeliest(floor)[0]
        left_out |= _with_upper(floor, [step])
        floor.take_away([step])
        floor.run(exact=False)
    floor.run()
    return _Given(floor, left_out)


def _price(given: _Given) -> int:
    """Return how many steps would be left out if all that is still stuck were."""
    return len(given.given) + len(given.floor.stuck)


def _likeliest(floor: Removal) -> list[int]:
    """Return the stuck steps, those first that stand in the way of most.

    For each step the stance with the fewest steps in its way counts: a step in the way of it gets a share of one,
    so that one that is alone in the way counts most.
    """
    stuck, state, stances = floor.stuck, floor.state, floor.ground.stances
    score = np.zeros(len(floor.ground.steps))
    open_step = state.alive[:-1] & state.removable
    rows = np.flatnonzero(open_step[stances.step] & (state.blockers > 0))
    least = np.full(len(score), np.iinfo(np.int32).max)
    np.minimum.at(least, stances.step[rows], state.blockers[rows])
    rows = rows[state.blockers[rows] == least[stances.step[rows]]]
    # One stance for each step: the first of the best.
    rows = rows[np.unique(stances.step[rows], return_index=True)[1]]
    chosen = stances.part(rows)
    share = np.repeat(1.0 / np.maximum(state.blockers[rows], 1), np.diff(chosen.conflict_first))
    np.add.at(score, chosen.conflict, share)
    if score[stuck].max(initial=0.0) == 0.0 and len(stuck) <= _EXPLAINED_MOST:
        explanation = Explanation(floor)
        for step in stuck:
            score[explanation.guess(int(step)) or []] += 1.0
    return [int(step) for step in stuck[np.argsort(-score[stuck], kind="stable")]]


def _thinned(removal: Removal, chosen: _Given) -> _Given:
    """Take steps back that need not have been given up."""
    if len(chosen.given) > 2 * CORE_MOST:
        return chosen
    for step in sorted(chosen.given, reverse=True):
        if step not in chosen.given:
            continue
        fewer = [other for other in chosen.given if other != step]
        after = _Given(removal.copy(), frozenset()).without(fewer)
        if not len(after.floor.stuck) and len(after.given) < len(chosen.given):
            chosen = after
    return chosen
