"""One row: against the slow twin, closed forms of a single block, and relations of the published model."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad
from train_twin import Row, fall_times

from standfall.fall.chain import chain_fall, least_push_rad_s
from standfall.fall.ground import GRAVITY_M_S2, Ground
from standfall.fall.pieces import Pieces

HEIGHT_M, WIDTH_M, THICKNESS_M, MASS_KG = 0.048, 0.024, 0.0075, 0.0085


def alike(count: int, height_m: float = HEIGHT_M, thickness_m: float = THICKNESS_M) -> Pieces:
    return Pieces.alike(count, height_m=height_m, width_m=WIDTH_M, thickness_m=thickness_m, mass_kg=MASS_KG)


def twin_of(gap_m: np.ndarray, pieces: Pieces, ground: Ground) -> Row:
    return Row(
        pieces.height_m.tolist(),
        pieces.thickness_m.tolist(),
        pieces.mass_kg.tolist(),
        gap_m.tolist(),
        ground.domino_friction,
        ground.slope_rad,
    )


@pytest.mark.parametrize("share", [0.1, 0.3, 0.5, 0.8])
@pytest.mark.parametrize("friction", [0.0, 0.2, 0.4])
def test_even_rows_agree_with_the_slow_twin(share: float, friction: float) -> None:
    gap_m = np.full(14, share * HEIGHT_M)
    ground = Ground(domino_friction=friction)
    chain = chain_fall(gap_m, alike(15), ground, 12.0)
    wanted = fall_times(twin_of(gap_m, alike(15), ground), 12.0)
    assert chain.t_s == pytest.approx(wanted, rel=3e-4)


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize(("friction", "slope_deg"), [(0.0, 0.0), (0.2, -4.0), (0.4, 5.0)])
def test_uneven_rows_of_mixed_pieces_agree_with_the_slow_twin(
    seed: int, friction: float, slope_deg: float
) -> None:
    rng = np.random.default_rng(seed)
    count = 12
    scale = rng.uniform(0.9, 1.1, count)
    pieces = Pieces(
        HEIGHT_M * scale,
        np.full(count, WIDTH_M),
        THICKNESS_M * rng.uniform(0.8, 1.2, count),
        MASS_KG * scale**3,
    )
    gap_m = rng.uniform(0.12, 0.7, count - 1) * HEIGHT_M
    ground = Ground(domino_friction=friction, slope_rad=math.radians(slope_deg))
    chain = chain_fall(gap_m, pieces, ground, 10.0)
    wanted = fall_times(twin_of(gap_m, pieces, ground), 10.0)
    struck = np.isfinite(chain.t_s)
    assert struck.sum() == len(wanted)
    assert chain.t_s[struck] == pytest.approx(wanted, rel=1e-3)


def test_a_lone_pair_swings_as_a_rigid_block_does() -> None:
    # Housner 1963 eq. 1 integrated once: w^2 = w0^2 - 2 m g R (cos(a - t) - cos a) / I with a = atan(d / h).
    push, gap_m = 4.0, 0.3 * HEIGHT_M
    radius, tip = 0.5 * math.hypot(HEIGHT_M, THICKNESS_M), math.atan(THICKNESS_M / HEIGHT_M)
    inertia = (HEIGHT_M**2 + THICKNESS_M**2) / 3

    def slowness(angle: float) -> float:
        gained = 2 * GRAVITY_M_S2 * radius * (math.cos(tip) - math.cos(tip - angle)) / inertia
        return 1 / math.sqrt(push**2 + gained)

    wanted, _ = quad(slowness, 0, math.asin(gap_m / HEIGHT_M))
    chain = chain_fall(np.array([gap_m]), alike(2), Ground(), push)
    assert chain.t_s[1] == pytest.approx(wanted, rel=1e-4)


def test_a_push_below_the_least_tip_speed_fells_nothing() -> None:
    # Least tip speed 2 Omega sin(alpha / 2), Omega^2 = 3 g / (4 R), from the energy to tip.
    radius, tip = 0.5 * math.hypot(HEIGHT_M, THICKNESS_M), math.atan(THICKNESS_M / HEIGHT_M)
    least = 2 * math.sqrt(0.75 * GRAVITY_M_S2 / radius) * math.sin(0.5 * tip)
    gap_m = np.full(20, 0.4 * HEIGHT_M)
    assert chain_fall(gap_m, alike(21), Ground(), 0.99 * least).stalled_at == 0
    assert chain_fall(gap_m, alike(21), Ground(), 1.01 * least).fallen == 21
    assert least_push_rad_s(gap_m, alike(21), Ground()) == pytest.approx(least, rel=2e-3)


@pytest.mark.parametrize("share", [0.2, 0.4, 0.6])
def test_the_speed_scales_with_the_square_root_of_size(share: float) -> None:
    # Froude scaling of the equations: all lengths by k, all times by sqrt(k).
    small = chain_fall(np.full(40, share * HEIGHT_M), alike(41), Ground(), 10.0)
    large = chain_fall(
        np.full(40, 4 * share * HEIGHT_M), alike(41, 4 * HEIGHT_M, 4 * THICKNESS_M), Ground(), 5.0
    )
    assert large.speed_m_s[-1] == pytest.approx(2 * small.speed_m_s[-1], rel=1e-9)


def test_mass_and_width_drop_out() -> None:
    gap_m = np.linspace(0.2, 0.5, 30) * HEIGHT_M
    heavy = Pieces(np.full(31, HEIGHT_M), np.full(31, 0.1), np.full(31, THICKNESS_M), np.full(31, 0.5))
    one, other = (chain_fall(gap_m, pieces, Ground(), 9.0) for pieces in (alike(31), heavy))
    assert one.t_s == pytest.approx(other.t_s, rel=1e-12)


def test_the_final_speed_forgets_the_push() -> None:
    gap_m = np.full(60, 0.3 * HEIGHT_M)
    weak, strong = (chain_fall(gap_m, alike(61), Ground(), push) for push in (3.0, 30.0))
    assert weak.speed_m_s[-1] == pytest.approx(strong.speed_m_s[-1], rel=1e-4)


def test_the_last_lean_of_a_row_is_that_of_the_model() -> None:
    # Behind a long train a piece leans at cos(theta) = d / (s + d): van Leeuwen's last lean. Fed back as the angle of
    # piece k + 1, the lean equation must return the same angle for piece k.
    gap_m = 0.3 * HEIGHT_M
    lean = math.acos(THICKNESS_M / (gap_m + THICKNESS_M))
    assert (gap_m + THICKNESS_M) * math.cos(lean) - THICKNESS_M == pytest.approx(0.0, abs=1e-15)


def test_friction_and_gap_move_the_speed_the_known_way() -> None:
    speeds = {
        (share, friction): chain_fall(
            np.full(80, share * HEIGHT_M), alike(81), Ground(friction), 12.0
        ).speed_m_s[-1]
        for share in (0.2, 0.4, 0.6)
        for friction in (0.1, 0.2, 0.3)
    }
    for share in (0.2, 0.4, 0.6):
        assert speeds[share, 0.1] > speeds[share, 0.2] > speeds[share, 0.3]
    for friction in (0.1, 0.2, 0.3):
        assert speeds[0.2, friction] > speeds[0.4, friction] > speeds[0.6, friction]
    # "0.2 to 0.3 costs 10 to 14 %" at usual gaps.
    for share in (0.2, 0.4, 0.6):
        assert 0.08 < 1 - speeds[share, 0.3] / speeds[share, 0.2] < 0.15


def test_downhill_is_faster_and_uphill_slower() -> None:
    gap_m = np.full(60, 0.3 * HEIGHT_M)
    up, level, down = (
        chain_fall(gap_m, alike(61), Ground(slope_rad=math.radians(slope)), 10.0).speed_m_s[-1]
        for slope in (-4.0, 0.0, 4.0)
    )
    assert up < level < down


def test_too_narrow_a_row_dies_however_hard_the_push() -> None:
    # Frictionless bound: the last lean must pass twice the tip angle, d / (s + d) < cos(2 atan(d / h)).
    bound_m = THICKNESS_M / math.cos(2 * math.atan(THICKNESS_M / HEIGHT_M)) - THICKNESS_M
    dead = chain_fall(np.full(400, 0.9 * bound_m), alike(401), Ground(domino_friction=0.0), 60.0)
    alive = chain_fall(np.full(400, 1.6 * bound_m), alike(401), Ground(domino_friction=0.0), 60.0)
    assert dead.fallen < 401
    assert alive.fallen == 401


def test_narrow_gaps_need_a_real_push_and_dip_early() -> None:
    gap_m = np.full(40, 0.1 * HEIGHT_M)
    assert least_push_rad_s(gap_m, alike(41), Ground()) > 1.8 * least_push_rad_s(
        3 * gap_m, alike(41), Ground()
    )
    dip = chain_fall(gap_m, alike(41), Ground(), 14.3).speed_m_s[1:]
    assert dip[1:6].min() < 0.5 * dip[0]
    assert dip[-1] > 2 * dip[1:6].min()


def test_a_gap_of_a_height_or_more_is_not_crossed() -> None:
    gap_m = np.full(10, 0.3 * HEIGHT_M)
    gap_m[5] = HEIGHT_M
    chain = chain_fall(gap_m, alike(11), Ground(), 10.0)
    assert np.isfinite(chain.t_s).tolist() == [True] * 6 + [False] * 5
    assert chain.fallen == 6


def test_bad_shapes_and_signs_are_refused() -> None:
    with pytest.raises(ValueError, match="n - 1 gaps"):
        chain_fall(np.full(3, 0.01), alike(3), Ground(), 5.0)
    for gap_m, push in ((np.array([-0.001]), 5.0), (np.array([math.nan]), 5.0), (np.array([0.01]), -1.0)):
        with pytest.raises(ValueError, match="0 or more"):
            chain_fall(gap_m, alike(2), Ground(), push)


def test_a_long_row_is_the_same_twice_to_the_last_bit() -> None:
    gap_m = np.random.default_rng(3).uniform(0.2, 0.5, 2000) * HEIGHT_M
    one, two = (chain_fall(gap_m, alike(2001), Ground(), 8.0) for _ in range(2))
    assert one.t_s.tobytes() == two.t_s.tobytes()
