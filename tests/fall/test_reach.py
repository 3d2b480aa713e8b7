"""Far reach, stacks and walls: MuJoCo and shapely (general-purpose), hand arithmetic, the contact search itself.

Lengths in the comments are in millimetres; the piece is 48 x 24 x 7.5 unless said otherwise.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from rigid import let_fall
from shapely import affinity

from standfall.fall.contact import find_contacts
from standfall.fall.ground import Ground
from standfall.fall.pieces import Pieces
from standfall.fall.reach import (
    REACH_KNOWN_FROM,
    FarReach,
    debris_reach_m,
    far_reach,
    safe_gap_m,
    stacked_on,
    wall_hits,
)

HEIGHT_M, WIDTH_M, THICKNESS_M = 0.048, 0.024, 0.0075
Floats = NDArray[np.float64]


def alike(count: int) -> Pieces:
    return Pieces.alike(count, height_m=HEIGHT_M, width_m=WIDTH_M, thickness_m=THICKNESS_M, mass_kg=0.0085)


def looked(
    x_mm: list[float], y_mm: list[float], yaw_deg: list[float], floor_friction: float = 0.4
) -> FarReach:
    x, y, yaw = np.array(x_mm) / 1e3, np.array(y_mm) / 1e3, np.radians(yaw_deg)
    z, pieces = np.zeros(len(x)), alike(len(x))
    return far_reach(x, y, z, yaw, pieces, find_contacts(x, y, z, yaw, pieces), floor_friction)


def pairs(far: FarReach) -> list[tuple[int, bool, int]]:
    return list(zip(far.striker.tolist(), far.backward.tolist(), far.target.tolist(), strict=True))


# ------------------------------------------------------------------ how far


@pytest.mark.parametrize("floor_friction", [0.15, 0.2, 0.25, 0.3, 0.5])
def test_mujoco_throws_nothing_farther_than_told(floor_friction: float) -> None:
    # 14 pieces 0.3 heights apart and one more at the safe gap: it is not even touched, and what lies foremost is no
    # farther than the debris reach.
    row = np.arange(14) * (0.3 * HEIGHT_M + THICKNESS_M)
    safe_m = float(safe_gap_m(np.array(HEIGHT_M), floor_friction))
    x = np.append(row, row[-1] + THICKNESS_M + safe_m)
    ground = Ground(domino_friction=0.2, floor_friction=floor_friction)
    outcome = let_fall(x, np.zeros(15), np.zeros(15), alike(15), ground, push_rad_s={0: 3.0})
    assert outcome.quiet
    assert outcome.toppled.tolist() == [True] * 14 + [False]
    assert outcome.striker[14] == -2
    foremost_m = outcome.top_x_m[:14].max() - (row[-1] + THICKNESS_M / 2)
    # It falls flat at least: the last piece's own height, but for what its foot slides back.
    assert 0.9 * HEIGHT_M < foremost_m < debris_reach_m(np.array(HEIGHT_M), floor_friction) < safe_m


def test_mujoco_crosses_a_gap_of_more_than_a_height_on_a_slippery_floor() -> None:
    # Why the safe gap is no single height: at floor friction 0.15 a gap of 1.2 heights is crossed.
    row = np.arange(14) * (0.3 * HEIGHT_M + THICKNESS_M)
    x = np.append(row, row[-1] + THICKNESS_M + 1.2 * HEIGHT_M)
    outcome = let_fall(
        x, np.zeros(15), np.zeros(15), alike(15), Ground(0.2, floor_friction=0.15), push_rad_s={0: 3.0}
    )
    assert outcome.toppled.all()


def test_between_the_frictions_tried_it_is_a_straight_line() -> None:
    height = np.array([0.048, 0.1])
    # Half way from 0.2 to 0.3: (1.7 + 1.27) / 2 = 1.485. A third of the way from 0.3 to 0.15: 1.5 + 0.7 / 3.
    assert debris_reach_m(height, 0.25) == pytest.approx(1.485 * height)
    assert safe_gap_m(height, 0.25) == pytest.approx((1.5 + 0.7 / 3) * height)
    for told in (debris_reach_m, safe_gap_m):
        assert told(height, 0.9) == pytest.approx(told(height, 0.3))
        assert told(height, 0.05) == pytest.approx(told(height, REACH_KNOWN_FROM))
        rising = [float(told(height, friction)[0]) for friction in np.linspace(0.1, 0.4, 31)]
        assert rising == sorted(rising, reverse=True)


# ------------------------------------------------------------------ pairs that neither carry nor stop


@pytest.mark.parametrize(
    ("gap_mm", "friction", "told"),
    [
        (47.9, 0.4, False),  # a contact still
        (48.0, 0.4, True),
        (71.9, 0.4, True),
        (72.1, 0.4, False),  # 1.5 * 48 = 72
        (72.1, 0.15, True),
        (105.5, 0.15, True),
        (105.7, 0.15, False),  # 2.2 * 48 = 105.6
    ],
)
def test_from_the_height_to_the_safe_gap(gap_mm: float, friction: float, told: bool) -> None:
    far = looked([0, 7.5 + gap_mm], [0, 0], [0, 0], friction)
    assert pairs(far) == ([(0, False, 1)] if told else [])
    assert far.gap_m == pytest.approx([gap_mm / 1e3] * told)


@pytest.mark.parametrize(("near_mm", "told"), [(38.3, False), (38.5, True), (47.0, True)])
def test_a_sure_contact_makes_it_no_question(near_mm: float, told: bool) -> None:
    # 0.8 * 48 = 38.4. The near one stands 13 aside, the far one 13 to the other side at a gap of 60.
    far = looked([0, 7.5 + near_mm, 7.5 + 60, 2000], [0, 13, -13, 0], [0, 0, 90, 0])
    # The piece across shows its side, 60 - 12 + 3.75 = 51.75 ahead.
    assert ((0, False, 2) in pairs(far)) is told
    if told:
        assert far.gap_m[0] == pytest.approx(0.05175)


def test_nearer_pieces_hide_farther_ones_here_too() -> None:
    # Gaps 50 and 70 in one line: only the first; then from the first to the second 70 - 50 - 7.5 = 12.5, a contact.
    assert pairs(looked([0, 57.5, 77.5], [0, 0, 0], [0, 0, 0])) == [(0, False, 1)]


def test_backward_only_what_can_be_struck_backward() -> None:
    # Piece 1 comes against piece 0, which then falls backward towards piece 2, 50 behind it.
    x, yaw = [0.0, 22.0, -57.5], [0.0, 180.0, 0.0]
    # Piece 2 looks forward at piece 0's back, 50 ahead.
    assert pairs(looked(x, [0, 0, 0], yaw)) == [(2, False, 0), (0, True, 2)]
    assert pairs(looked(x[::2], [0, 0], yaw[::2])) == [(1, False, 0)]


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.integers(0, 10**9), st.floats(0.1, 0.5))
def test_scatterings_as_found_with_longer_pieces(seed: int, friction: float) -> None:
    # A piece as tall as the safe gap reaches just as far, so the contact search of those pieces tells the pairs.
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(0, 0.6, (2, 40))
    yaw, z, pieces = rng.uniform(-4, 4, 40), np.zeros(40), alike(40)
    near = find_contacts(x, y, z, yaw, pieces)
    tall = replace(pieces, height_m=safe_gap_m(pieces.height_m, friction))
    long = find_contacts(x, y, z, yaw, tall)
    wanted = []
    for node in range(80):
        can_fall = node < 40 or node in near.target
        nearest_m = near.gap_m[near.first[node] : near.first[node + 1]].min(initial=math.inf)
        mine = range(long.first[node], long.first[node + 1])
        if can_fall and nearest_m >= 0.8 * HEIGHT_M:
            far = [edge for edge in mine if long.gap_m[edge] >= HEIGHT_M]
            wanted.extend((node % 40, node >= 40, int(long.target[edge]) % 40) for edge in far)
    assert pairs(far_reach(x, y, z, yaw, pieces, near, friction)) == wanted


# ------------------------------------------------------------------ stacks


def test_every_piece_of_a_stack_stands_on_the_one_below() -> None:
    # Three high on one place, one beside on the floor, one in the air 22 from any top.
    x = np.array([0.0, 0.0, 0.022, 0.0, 0.044])
    z = np.array([0.0, HEIGHT_M, 0.0, 2 * HEIGHT_M, HEIGHT_M])
    assert stacked_on(x, np.zeros(5), z, alike(5)).tolist() == [-1, 0, -1, 1, -1]


def test_nearest_middle_then_lowest_number() -> None:
    # Half a diagonal is sqrt(24^2 + 7.5^2) / 2 = 12.57. The upper one at 8 of three at 0, 16 and 21:
    # 8 from the first two alike; at 8.1 the second is nearer; at 34 none is near enough.
    x = np.array([0.0, 16.0, 21.0, 8.0, 8.1, 34.0]) / 1e3
    z = np.array([0, 0, 0, 1, 1, 1]) * HEIGHT_M
    assert stacked_on(x, np.zeros(6), z, alike(6)).tolist() == [-1, -1, -1, 0, 1, -1]


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.integers(0, 10**9))
def test_stacks_as_tried_one_by_one(seed: int) -> None:
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(0, 0.08, (2, 50))
    height = rng.choice([0.03, 0.048], 50)
    z = rng.choice([0.0, 0.03, 0.048, 0.0484], 50)
    pieces = Pieces(height, np.full(50, WIDTH_M), np.full(50, THICKNESS_M), np.full(50, 0.0085))
    wanted = []
    for i in range(50):
        below = [
            (math.dist((x[i], y[i]), (x[j], y[j])), j)
            for j in range(50)
            if j != i and abs(z[j] + height[j] - z[i]) < 1e-3
        ]
        distance, nearest = min(below, default=(math.inf, -1))
        wanted.append(nearest if distance <= math.hypot(WIDTH_M, THICKNESS_M) / 2 else -1)
    assert stacked_on(x, y, z, pieces).tolist() == wanted


# ------------------------------------------------------------------ walls

L_HALL = ((0.0, 0.0), (1.8, 0.0), (1.8, 1.0), (1.5, 1.0), (1.5, 1.4), (0.0, 1.4))


def hits(x: Floats, y: Floats, yaw: Floats, pieces: Pieces) -> list[int]:
    contacts = find_contacts(x, y, np.zeros(len(x)), yaw, pieces)
    return wall_hits(x, y, yaw, pieces, contacts, L_HALL).tolist()


def test_a_piece_may_fall_up_to_the_wall() -> None:
    # From the middle its top comes to lie 3.75 + 48 = 51.75 ahead.
    x = np.array([1.8 - 0.05175, 1.8 - 0.0517, 1.8 - 0.0517])
    assert hits(x, np.array([0.5, 0.6, 0.7]), np.radians([0.0, 0.0, 180.0]), alike(3)) == [1]


def test_backward_falls_count_when_they_can_be() -> None:
    # Piece 0 stands 20 before the wall behind it and looks away from it. Struck from the front by piece 1 it
    # falls against the wall; alone it does not.
    x, yaw = np.array([0.02, 0.042]), np.radians([0.0, 180.0])
    # Piece 1 itself would fall to 42 - 51.75 < 0.
    assert hits(x, np.array([0.5, 0.5]), yaw, alike(2)) == [0, 1]
    assert hits(x, np.array([0.5, 0.6]), yaw, alike(2)) == [1]


def test_across_the_inner_corner() -> None:
    # Both ends of the fall are inside, its middle part's edge crosses the notch (1.5..1.8, 1.0..1.4).
    assert hits(np.array([1.46]), np.array([1.03]), np.radians([-45.0]), alike(1)) == [0]
    assert hits(np.array([1.44]), np.array([0.97]), np.radians([-45.0]), alike(1)) == []


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.integers(0, 10**9))
def test_scatterings_as_the_area_outside(seed: int) -> None:
    rng = np.random.default_rng(seed)
    x, y, yaw = rng.uniform(-0.1, 1.9, 60), rng.uniform(-0.1, 1.5, 60), rng.uniform(-4, 4, 60)
    pieces = Pieces(*(rng.uniform(0.5, 4, 60) * size for size in (HEIGHT_M, WIDTH_M, THICKNESS_M, 0.0085)))
    contacts = find_contacts(x, y, np.zeros(60), yaw, pieces)
    floor, outside_m2 = shapely.Polygon(L_HALL), np.zeros(60)
    for node in {*range(60), *contacts.target.tolist()}:
        k = node % 60
        lead, half = pieces.thickness_m[k] / 2, pieces.width_m[k] / 2
        lying = shapely.box(lead, -half, lead + pieces.height_m[k], half)
        lying = affinity.rotate(lying, yaw[k] + math.pi * (node >= 60), (0, 0), use_radians=True)
        area = affinity.translate(lying, x[k], y[k]).difference(floor).area
        outside_m2[k] = max(outside_m2[k], area)
    told = set(wall_hits(x, y, yaw, pieces, contacts, L_HALL).tolist())
    # Inside is told with a tolerance of a micrometre: 0.2 m of wall at most make 2e-7 square metres of it.
    assert (
        set(np.flatnonzero(outside_m2 > 2e-7).tolist())
        <= told
        <= set(np.flatnonzero(outside_m2 > 0).tolist())
    )


def test_far_from_the_walls_nothing_is_told_and_none_at_all_is_none() -> None:
    assert hits(np.array([0.7]), np.array([0.7]), np.zeros(1), alike(1)) == []
    assert hits(np.empty(0), np.empty(0), np.empty(0), alike(0)) == []
    assert len(looked([], [], [])) == 0
    assert stacked_on(np.empty(0), np.empty(0), np.empty(0), alike(0)).tolist() == []
