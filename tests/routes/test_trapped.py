"""What is given up, and what is named as being in the way, against shapely and hand counting."""

import numpy as np
import pytest
from access_case import FRONT, SKIRTS, Case, patch
from board import Referee, box, random_board

from standfall.brief import Area
from standfall.routes.trapped import CORE_MOST, _matching

HAIR_M = 0.002


@pytest.mark.parametrize("seed", range(60))
def test_named_tiles_are_in_the_way_and_no_others(seed):
    board = random_board(seed)
    if not board.tiles:
        return
    access = Case(board).access()
    if not access.trapped:
        return
    strict, lenient = Referee(board, HAIR_M), Referee(board, -HAIR_M)
    # All trapped tiles are left together when nothing more can be taken away.
    core = set(access.trapped)
    assert set(access.trapped_by) == core
    for step, names in access.trapped_by.items():
        others = core - {step}
        assert set(names) <= others
        assert not strict.can_be_last(step, sorted(others))
        if not names:
            assert not strict.can_be_last(step, [])
            continue
        assert lenient.can_be_last(step, sorted(others - set(names)))
        for name in names:
            assert not strict.can_be_last(step, sorted(others - set(names) | {name}))


def test_many_trapped_tiles_get_a_good_answer_and_an_honest_bound():
    # Six in a row: no two neighbours, so three at most, and in four rows twelve. More than the search proves.
    access = Case(patch(6, 4, (SKIRTS,))).access()
    assert len(access.trapped) == 24 > CORE_MOST
    laid = set(access.order.tolist())
    assert not any(step + 1 in laid for step in laid if step % 6 != 5)
    assert len(laid) == 12
    assert access.layable_most >= 12 and not access.proven
    assert laid | set(access.left_out) == set(range(24)) and not laid & set(access.left_out)


def test_steps_that_nobody_can_lay_are_given_up_at_once():
    # A pillar where the body would be while the robot sets down tile 1 of three.
    pillar = (Area(name="pillar", kind="pillar", outline_m=box(3.74, 2.6, 3.76, 2.7)),)
    access = Case(patch(3, 1, (FRONT,), areas=pillar, orientations=(0,))).access()
    assert access.trapped == access.left_out == (1,)
    assert access.trapped_by == {1: ()}
    assert sorted(access.order.tolist()) == [0, 2] and access.proven


def test_what_is_given_up_need_not_be_what_is_trapped_alone():
    # Of two neighbours with skirts each traps the other; the one laid needs the other away, and one is enough.
    access = Case(patch(2, 1, (SKIRTS,))).access()
    assert access.trapped_by == {0: (1,), 1: (0,)}
    assert len(access.order) == 1 and len(access.left_out) == 1 and access.proven


def test_pairs_without_a_common_step():
    # A path of five has two pairs, a star of four leaves one, a triangle one, two triangles two.
    def pairs(*edges):
        steps = sorted({step for edge in edges for step in edge})
        return {step: frozenset(a + b - step for a, b in edges if step in (a, b)) for step in steps}

    for edges, count in (
        ([(0, 1), (1, 2), (2, 3), (3, 4)], 2),
        ([(0, 1), (0, 2), (0, 3)], 1),
        ([(0, 1), (1, 2), (0, 2)], 1),
        ([(0, 1), (1, 2), (0, 2), (3, 4), (4, 5), (3, 5)], 2),
    ):
        found = pairs(*edges)
        assert _matching(frozenset(found), found) == count


def test_pairs_are_as_many_as_a_graph_library_finds():
    # Against the blossom algorithm of networkx (Galil, ACM Computing Surveys 18, 23, 1986).
    networkx = pytest.importorskip("networkx")
    rng = np.random.default_rng(4)
    for _ in range(40):
        graph = networkx.gnp_random_graph(11, 0.25, seed=int(rng.integers(1 << 30)))
        found = {step: frozenset(graph[step]) for step in graph}
        assert _matching(frozenset(found), found) == len(
            networkx.max_weight_matching(graph, maxcardinality=True)
        )
