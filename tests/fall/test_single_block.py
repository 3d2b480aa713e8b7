"""One block: hand arithmetic, the rigid block's own equation of motion, and MuJoCo.

Numbers by hand are for 48 x 7.5 mm and 8.5 g with g = 9.80665 m/s^2.
"""

from __future__ import annotations

import math

import mujoco
import numpy as np
import pytest
from scipy.integrate import dblquad, solve_ivp

from standfall.fall.block import Block
from standfall.fall.ground import GRAVITY_M_S2

PIECE = Block(height_m=0.048, thickness_m=0.0075, mass_kg=0.0085)
SIZES = [PIECE, Block(0.04445, 0.00794, 0.009), Block(0.3, 0.02, 1.5), Block(0.03, 0.025, 0.02)]


def test_by_hand() -> None:
    # R = sqrt(48^2 + 7.5^2) / 2 = sqrt(2360.25) / 2 = 48.5824 / 2 = 24.2912 mm.
    assert PIECE.radius_m == pytest.approx(0.0242912, rel=1e-5)
    # atan(7.5 / 48) = atan(0.15625) = 8.8807 degrees.
    assert math.degrees(PIECE.tip_angle_rad()) == pytest.approx(8.8807, abs=1e-4)
    assert PIECE.west_ratio() == pytest.approx(0.15625, rel=1e-12)
    # 0.0085 x 9.80665 x 7.5 / 96 = 6.5122 mN.
    assert PIECE.tip_force_n() == pytest.approx(6.5122e-3, rel=1e-4)
    # 0.0085 x 9.80665 x (24.2912 - 24) mm = 24.27 uJ.
    assert PIECE.tip_energy_j() == pytest.approx(24.27e-6, rel=1e-3)
    # 0.0085 x 2360.25e-6 / 3 = 6.6874e-6 kg m^2.
    assert PIECE.inertia_kg_m2 == pytest.approx(6.6874e-6, rel=1e-4)
    # sqrt(2 x 24.27e-6 / 6.6874e-6) = sqrt(7.259) = 2.694 rad/s; times 48 mm 0.1293 m/s.
    assert PIECE.least_tip_omega_rad_s() == pytest.approx(2.694, rel=1e-3)
    assert PIECE.least_tip_speed_m_s() == pytest.approx(0.1293, rel=1e-3)
    # (2/3)(1 + 0.15625^2) = 0.68294 of the height.
    assert PIECE.percussion_height_m == pytest.approx(0.68294 * 0.048, rel=1e-5)
    # sin^2 = 7.5^2 / 2360.25 = 0.023832; (1 - 0.035748)^2 = 0.92978.
    assert PIECE.knock_energy_kept == pytest.approx(0.92978, rel=1e-4)
    # From balance to flat by energy: the middle comes down from R to d / 2, so
    # omega^2 = 2 x 0.0085 x 9.80665 x (24.2912 - 3.75) mm / 6.6874e-6 = 512.09; 22.629 x 48 mm = 1.0862 m/s.
    assert PIECE.flat_speed_m_s() == pytest.approx(1.0862, rel=1e-4)


@pytest.mark.parametrize("block", SIZES)
def test_inertia_is_the_integral_over_the_box(block: Block) -> None:
    density = block.mass_kg / (block.height_m * block.thickness_m)
    integral, _ = dblquad(lambda z, x: density * (x * x + z * z), 0, block.thickness_m, 0, block.height_m)
    assert block.inertia_kg_m2 == pytest.approx(integral, rel=1e-9)


def _turning(block: Block, slope_rad: float):  # type: ignore[no-untyped-def]
    """Lean and its rate, from the torque of weight about the edge written out in the block's own corners."""

    def rates(_: float, state: np.ndarray) -> list[float]:
        lean = state[0]
        # The middle seen from the edge, floor frame; weight has a part along a floor that falls ahead.
        ahead = -0.5 * block.thickness_m * math.cos(lean) + 0.5 * block.height_m * math.sin(lean)
        up = 0.5 * block.thickness_m * math.sin(lean) + 0.5 * block.height_m * math.cos(lean)
        torque = block.mass_kg * GRAVITY_M_S2 * (ahead * math.cos(slope_rad) + up * math.sin(slope_rad))
        return [state[1], torque / (block.mass_kg * (block.height_m**2 + block.thickness_m**2) / 3)]

    return rates


@pytest.mark.parametrize("block", SIZES)
@pytest.mark.parametrize("slope_rad", [0.0, 0.03, -0.05])
def test_least_speed_just_tips_it(block: Block, slope_rad: float) -> None:
    for share, falls in ((1.001, True), (0.999, False)):
        start = [0.0, share * block.least_tip_omega_rad_s(slope_rad)]
        run = solve_ivp(
            _turning(block, slope_rad), (0, 12 / block.growth_per_s), start, rtol=1e-10, atol=1e-12
        )
        assert bool(run.y[0].max() > 1.5 * block.tip_angle_rad(slope_rad)) is falls
        assert bool(run.y[0, -1] < 0) is not falls  # what does not fall comes back


@pytest.mark.parametrize("block", SIZES)
@pytest.mark.parametrize("slope_rad", [0.0, 0.03, -0.05])
@pytest.mark.parametrize("start_deg", [0.01, 1.0, 5.0])
def test_fall_time_and_flat_speed(block: Block, slope_rad: float, start_deg: float) -> None:
    start_rad = math.radians(start_deg)
    flat = lambda _, state: state[0] - 0.5 * math.pi  # noqa: E731
    flat.terminal = True  # type: ignore[attr-defined]
    run = solve_ivp(
        _turning(block, slope_rad),
        (0, 30 / block.growth_per_s),
        [block.tip_angle_rad(slope_rad) + start_rad, 0.0],
        events=flat,
        method="DOP853",
        rtol=1e-11,
        atol=1e-13,
    )
    end_rad = block.flat_rad(slope_rad)
    assert block.fall_time_s(start_rad, end_rad) == pytest.approx(run.t_events[0][0], rel=1e-7)
    # From rest at start instead of at balance: less by the energy between the two.
    early = block.omega_past_balance_rad_s(start_rad)
    assert math.hypot(run.y_events[0][0][1], early) * block.height_m == pytest.approx(
        block.flat_speed_m_s(slope_rad), rel=1e-7
    )


def test_fall_time_near_balance_and_its_limits() -> None:
    # For small start angles t -> ln(8 tan(phi1 / 4) / phi0) / Omega, from K(k) -> ln(4 / k').
    end_rad = PIECE.flat_rad()
    for start_rad in (1e-4, 1e-8, 1e-12):
        near = math.log(8 * math.tan(end_rad / 4) / start_rad) / PIECE.growth_per_s
        assert PIECE.fall_time_s(start_rad, end_rad) == pytest.approx(near, rel=1e-6)
    assert PIECE.fall_time_s(0.5, 0.5) == pytest.approx(0.0, abs=1e-12)
    for start_rad, end_rad in ((0.0, 1.0), (-0.1, 1.0), (0.5, 0.4), (0.5, 3.2), (math.nan, 1.0)):
        with pytest.raises(ValueError, match="free fall"):
            PIECE.fall_time_s(start_rad, end_rad)


@pytest.mark.parametrize("block", SIZES)
def test_percussion_leaves_the_foot_in_peace(block: Block) -> None:
    # A unit impulse at height z turns the held block at z / I, so its middle moves level at (z / I) (h / 2). What the
    # foot must add to the impulse is m (z / I) (h / 2) - 1: nothing at the centre of percussion, forward (that is,
    # it would kick back) above it.
    def from_foot(z_m: float) -> float:
        inertia = block.mass_kg * (block.height_m**2 + block.thickness_m**2) / 3
        return block.mass_kg * z_m / inertia * block.height_m / 2 - 1

    z_m = block.percussion_height_m
    assert from_foot(z_m) == pytest.approx(0, abs=1e-12)
    assert from_foot(1.1 * z_m) > 0 > from_foot(0.9 * z_m)


@pytest.mark.parametrize("block", SIZES[:3])
def test_knock_keeps_angular_momentum_about_the_new_edge(block: Block) -> None:
    # Rocking back on its rear edge at 1 rad/s, upright: the middle moves at omega x r, r from the rear edge.
    r_old = np.array([block.thickness_m / 2, block.height_m / 2])
    velocity = np.array([r_old[1], -r_old[0]])  # turning clockwise, forward and down
    r_new = np.array([-block.thickness_m / 2, block.height_m / 2])
    about_middle = block.mass_kg * (block.height_m**2 + block.thickness_m**2) / 12
    momentum = about_middle + block.mass_kg * (r_new[1] * velocity[0] - r_new[0] * velocity[1])
    omega_after = momentum / block.inertia_kg_m2
    assert block.knock_energy_kept == pytest.approx(omega_after**2, rel=1e-12)


def test_a_thick_block_stops_dead_at_a_knock() -> None:
    # sin^2(alpha) = 0.9 for h : d = 1 : 3, so 1 - 1.35 < 0: the new edge would be pulled, and it stays down.
    assert Block(0.01, 0.03, 0.01).knock_energy_kept == 0


def _on_a_slope(slope_rad: float, floor_friction: float) -> tuple[float, float]:
    """Return how far the piece has moved downhill after 1 s and how far it leans, by MuJoCo (Todorov et al. 2012).

    Gravity is turned instead of the floor: x runs downhill.
    """
    down, up = GRAVITY_M_S2 * math.sin(slope_rad), -GRAVITY_M_S2 * math.cos(slope_rad)
    model = mujoco.MjModel.from_xml_string(
        f'<mujoco><option timestep="0.001" cone="elliptic" impratio="10" gravity="{down} 0 {up}"/><worldbody>'
        f'<geom type="plane" size="9 9 1" friction="{floor_friction} 0 0" priority="1" solref="0.003 1"/>'
        '<body pos="0 0 0.024"><freejoint/><geom type="box" size="0.00375 0.012 0.024" mass="0.0085"'
        ' solref="0.003 1"/></body></worldbody></mujoco>'
    )
    data = mujoco.MjData(model)
    mujoco.mj_step(model, data, nstep=1000)
    return float(data.xpos[1, 0]), math.acos(min(float(data.xmat[1, 8]), 1.0))


@pytest.mark.parametrize("floor_friction", [0.1, 0.5])
@pytest.mark.parametrize("share", [0.93, 1.07])
def test_tipping_and_sliding_on_a_slope_as_in_mujoco(floor_friction: float, share: float) -> None:
    # Standing on a slope is the same as being pushed by a level acceleration of g tan(slope).
    slope_rad = math.atan(share * PIECE.west_ratio())
    moved_m, lean_rad = _on_a_slope(slope_rad, floor_friction)
    slides_first = PIECE.slides_first(floor_friction)
    assert slides_first is (floor_friction == 0.1)
    tips = not slides_first and PIECE.tip_angle_rad(slope_rad) < 0
    assert tips is (not slides_first and share > 1)
    assert (lean_rad > 1) is tips
    assert lean_rad > 1 or lean_rad < 0.01
    if slides_first:
        # g (sin - friction cos) t^2 / 2, about g (0.145 - 0.1) / 2 and more.
        by_hand_m = 0.5 * GRAVITY_M_S2 * (math.sin(slope_rad) - floor_friction * math.cos(slope_rad))
        assert moved_m == pytest.approx(by_hand_m, rel=0.05)
    elif not tips:
        assert abs(moved_m) < 0.001


def test_what_slides_first_is_decided_by_forces_and_moments() -> None:
    # Along the slope: push P at z and weight against friction and the moment of weight about the leading edge.
    for block in SIZES:
        for slope_rad in (0.0, 0.05, -0.05):
            for z_m in (0.3 * block.height_m, 0.5 * block.height_m, block.height_m):
                weight = block.mass_kg * GRAVITY_M_S2
                across, along = weight * math.cos(slope_rad), weight * math.sin(slope_rad)
                tips_n = (across * block.thickness_m / 2 - along * block.height_m / 2) / z_m
                for friction in (0.02, 0.08, 0.2, 0.6, 1.2):
                    slides_n = friction * across - along
                    assert block.slides_first(friction, z_m, slope_rad) is (slides_n < tips_n)
                if z_m == block.height_m and tips_n > 0:
                    assert block.tip_force_n(slope_rad) == pytest.approx(tips_n, rel=1e-12)
    # By hand: at the top d / (2 h) = 0.078, at the middle d / h = 0.156.
    assert PIECE.slides_first(0.077, 0.048)
    assert not PIECE.slides_first(0.079, 0.048)
    assert PIECE.slides_first(0.156)
    assert not PIECE.slides_first(0.157)


def test_slope_takes_energy_away() -> None:
    # m g R (1 - cos(alpha - slope)): one degree takes (1 - cos 7.8807) / (1 - cos 8.8807) = 0.78781, so 21 %.
    assert PIECE.tip_energy_j(math.radians(1)) / PIECE.tip_energy_j() == pytest.approx(0.7878, abs=1e-4)
    for slope_rad in (PIECE.tip_angle_rad(), 0.3):
        assert PIECE.west_ratio(slope_rad) == 0
        assert PIECE.tip_energy_j(slope_rad) == PIECE.tip_force_n(slope_rad) == 0
        assert PIECE.least_tip_omega_rad_s(slope_rad) == 0


@pytest.mark.parametrize("name", ["height_m", "thickness_m", "mass_kg"])
@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf])
def test_no_block_of_no_size(name: str, value: float) -> None:
    size = {"height_m": 0.048, "thickness_m": 0.0075, "mass_kg": 0.0085, name: value}
    with pytest.raises(ValueError, match=name):
        Block(**size)
    with pytest.raises(ValueError, match="above the floor"):
        PIECE.slides_first(0.2, 0.0)
