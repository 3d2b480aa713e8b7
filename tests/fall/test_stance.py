"""Standing safely: hand arithmetic, the steepest floor a class allows by linear programming, geometry by shapely.

The piece is 48 x 24 x 7.5 mm and 8.5 g; it tips at atan(7.5 / 48) = 8.8807 degrees. g = 9.80665 m/s^2.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from scipy.integrate import solve_ivp
from scipy.optimize import brentq, linprog
from shapely import affinity

from standfall.brief.conditions import FLATNESSES
from standfall.fall.block import Block
from standfall.fall.ground import GRAVITY_M_S2, Ground
from standfall.fall.stance import local_slope, stance, step_lean_rad, tip_draught_m_s

PIECE = Block(0.048, 0.0075, 0.0085)
WIDTH_M = 0.024
LEVEL = Ground()


@pytest.mark.parametrize(
    ("flatness", "gaps_mm"),
    [  # DIN 18202 table 3: largest gap at 0.1, 1 and 4 m, as printed
        ("din_18202_row_1", (10, 15, 20)),
        ("din_18202_row_2", (5, 8, 12)),
        ("din_18202_row_3", (2, 4, 10)),
        ("din_18202_row_4", (1, 3, 9)),
    ],
)
def test_din_18202(flatness: str, gaps_mm: tuple[float, ...]) -> None:
    # A dip of 2 mm in the middle of 100 mm falls 2 mm in 50 mm: 0.04. The longer spans are never steeper.
    by_hand = max(gap / (1000 * span / 2) for gap, span in zip(gaps_mm, (0.1, 1.0, 4.0), strict=True))
    slope, reason = local_slope(flatness)
    assert slope == pytest.approx(by_hand)
    assert by_hand == gaps_mm[0] / 50
    assert f"row {flatness[-1]}" in reason
    assert f"{gaps_mm[0]} mm" in reason


@pytest.mark.parametrize(
    ("flatness", "e_mm", "f_mm"),
    [  # Concrete Society TR34, 4th edition, free-movement classes as printed; single readings up to 1.5 times
        ("tr34_fm1", 4.5, 1.8),
        ("tr34_fm2", 6.5, 2.0),
        ("tr34_fm3", 8.0, 2.2),
        ("tr34_fm4", 10.0, 2.4),
    ],
)
def test_tr34_is_the_steepest_profile_that_passes(flatness: str, e_mm: float, f_mm: float) -> None:
    # Linear programming over heights every 0.3 m of a long floor: make one rise as large as the readings allow.
    points, middle = 61, 30
    step = np.eye(points, k=1)[:-1] - np.eye(points)[:-1]
    over_3_m = np.eye(points, k=10)[:-10] - np.eye(points)[:-10]
    bend = step[1:] - step[:-1]
    rows = np.vstack([over_3_m, -over_3_m, bend, -bend])
    limits = np.concatenate([np.full(2 * len(over_3_m), 1.5 * e_mm), np.full(2 * len(bend), 1.5 * f_mm)])
    best = linprog(-step[middle], A_ub=rows, b_ub=limits, bounds=(None, None))
    slope, reason = local_slope(flatness)
    assert 300 * slope == pytest.approx(-best.fun, rel=1e-9)
    # By hand for FM2: 1.5 (6.5 / 10 + 2.5 x 2.0) = 8.475 mm over 300 mm.
    if flatness == "tr34_fm2":
        assert 300 * slope == pytest.approx(8.475)
    assert flatness[-3:].upper() in reason


def test_every_class_of_the_brief_is_known() -> None:
    slopes = {flatness: local_slope(flatness)[0] for flatness in FLATNESSES}
    assert slopes.pop("unknown") == 0
    assert min(slopes.values()) > 0
    with pytest.raises(ValueError, match="no class of flatness 'billiard'"):
        local_slope("billiard")


def test_slope_of_floor_and_waves_by_hand() -> None:
    # 5 mm/m of floor and 40 mm/m of dip: 45 mm/m, atan(0.045) = 2.5766 degrees, 0.29014 of the tip angle: no warning.
    ground = Ground(slope_rad=math.atan(0.005))
    found = stance(PIECE, ground, "din_18202_row_3", width_m=WIDTH_M)
    assert math.degrees(found.slope_rad) == pytest.approx(2.5766, abs=1e-4)
    assert found.slope_share == pytest.approx(0.29014, rel=1e-4)
    assert found.problems == ()
    # tan(8.8807 - 2.5766 degrees) = (0.15625 - 0.045) / (1 + 0.15625 x 0.045) = 0.110473.
    assert found.tip_ratio == pytest.approx(0.110473, rel=1e-5)
    assert math.isnan(found.shaken_share)
    assert math.isnan(found.draught_share)
    # 12 mm/m of floor: 52 mm/m, 2.9767 degrees, just above a third of 8.8807 (2.9602).
    (problem,) = stance(
        PIECE, Ground(slope_rad=math.atan(0.012)), "din_18202_row_3", width_m=WIDTH_M
    ).problems
    assert problem.unit == "degrees"
    assert problem.value == pytest.approx(2.9767, abs=1e-4)
    assert problem.limit == pytest.approx(2.9602, abs=1e-4)
    assert "8.88" in problem.what
    assert problem.next_step


def test_a_floor_that_topples_by_itself() -> None:
    # Row 1: 200 mm/m, 11.3 degrees, more than 8.88. Nothing else is worth saying then.
    found = stance(PIECE, LEVEL, "din_18202_row_1", 0.001, 10.0, 0.5, width_m=WIDTH_M)
    assert found.slope_share == pytest.approx(11.3099 / 8.8807, rel=1e-4)
    assert found.tip_ratio == found.tip_draught_m_s == 0
    assert math.isinf(found.shaken_share)
    assert [problem.unit for problem in found.problems] == ["degrees"]
    assert stance(PIECE, LEVEL, "din_18202_row_1", 0.0, 10.0, 0.0, width_m=WIDTH_M).draught_share == 0


def test_vibration_by_hand() -> None:
    # 2 pi x 10 Hz x 1 mm/s = 0.062832 m/s^2 = 0.0064071 g; of 0.15625 that is 4.1 %.
    found = stance(PIECE, LEVEL, vibration_m_s=0.001, vibration_hz=10.0, width_m=WIDTH_M)
    assert found.shaken_ratio == pytest.approx(0.0064071, rel=1e-4)
    assert found.shaken_share == pytest.approx(0.041005, rel=1e-4)
    assert found.problems == ()
    # A third of 15.625 % of g is 5.2083 %: 8.129 mm/s at 10 Hz.
    assert stance(PIECE, LEVEL, vibration_m_s=0.00812, vibration_hz=10.0, width_m=WIDTH_M).problems == ()
    (problem,) = stance(PIECE, LEVEL, vibration_m_s=0.00814, vibration_hz=10.0, width_m=WIDTH_M).problems
    assert (problem.unit, problem.limit) == ("% of g", pytest.approx(5.2083, rel=1e-4))
    for half in ({"vibration_m_s": 0.001}, {"vibration_hz": 10.0}):
        with pytest.raises(ValueError, match="both"):
            stance(PIECE, LEVEL, width_m=WIDTH_M, **half)


@pytest.mark.parametrize("hertz", [2.0, 10.0, 40.0])
def test_shaking_just_below_the_limit_does_not_tip(hertz: float) -> None:
    """On the safe side: Housner's block, shaken by a sine at 0.99 of the limit, is not even lifted."""
    v_m_s = 0.99 * 0.15625 * GRAVITY_M_S2 / (2 * math.pi * hertz)
    found = stance(PIECE, LEVEL, vibration_m_s=v_m_s, vibration_hz=hertz, width_m=WIDTH_M)
    assert found.shaken_share == pytest.approx(0.99)
    # The moment that lifts it: m a h / 2 against m g d / 2, at every moment of the sine, from the floor's position.
    t = np.linspace(0, 1 / hertz, 10_001)
    amplitude_m = v_m_s / (2 * math.pi * hertz)
    position = amplitude_m * np.sin(2 * math.pi * hertz * t)
    acceleration = np.gradient(np.gradient(position, t), t)[5:-5]
    assert np.abs(acceleration).max() * 0.048 / 2 == pytest.approx(0.99 * GRAVITY_M_S2 * 0.0075 / 2, rel=1e-4)


def test_shaking_needs_more_than_the_limit_to_topple() -> None:
    """Half a sine of floor acceleration at 1.5 times the limit and 10 Hz lifts the block, and it comes back."""

    def rates(t: float, state: np.ndarray) -> list[float]:
        push = 1.5 * 0.15625 * GRAVITY_M_S2 * max(math.sin(2 * math.pi * 10 * t), 0.0) * (t < 0.05)
        lean, radius_m = state[0], math.hypot(0.048, 0.0075) / 2
        to_tip = math.atan(0.15625) - lean
        # Housner (1963): weight and the push at the middle, about the edge; the floor stops a turn back.
        torque = -GRAVITY_M_S2 * radius_m * math.sin(to_tip) + push * radius_m * math.cos(to_tip)
        turning = torque / ((0.048**2 + 0.0075**2) / 3)
        return [state[1], turning if lean > 0 or turning > 0 else 0.0]

    down = lambda _, state: state[0] - 1e-9 if state[1] < 0 else 1.0  # noqa: E731
    down.terminal = True  # type: ignore[attr-defined]
    run = solve_ivp(rates, (0, 2), [0, 0], events=down, max_step=5e-4)
    assert 0.001 < run.y[0].max() < math.atan(0.15625)
    assert len(run.t_events[0]) == 1


def test_draught_by_hand() -> None:
    # 2 x 0.0085 x 9.80665 x 0.0075 = 1.250348e-3; 1.2 x 2.05 x 0.024 x 0.048^2 = 1.360282e-4;
    # sqrt(9.19183) = 3.03180 m/s.
    assert tip_draught_m_s(PIECE, WIDTH_M) == pytest.approx(3.03180, rel=1e-5)
    found = stance(PIECE, LEVEL, draught_m_s=1.0, width_m=WIDTH_M)
    assert found.tip_draught_m_s == pytest.approx(3.03180, rel=1e-5)
    assert found.draught_share == pytest.approx(0.32984, rel=1e-4)
    assert found.problems == ()
    (problem,) = stance(PIECE, LEVEL, draught_m_s=1.02, width_m=WIDTH_M).problems
    assert (problem.unit, problem.limit) == ("m/s", pytest.approx(1.01060, rel=1e-4))


@pytest.mark.parametrize("slope_rad", [0.0, 0.04, 0.12])
def test_draught_on_a_slope_is_the_balance_of_moments(slope_rad: float) -> None:
    def moment(v_m_s: float) -> float:
        drag_n = 0.5 * 1.2 * 2.05 * WIDTH_M * 0.048 * v_m_s**2
        weight_n = 0.0085 * GRAVITY_M_S2
        back = weight_n * (math.cos(slope_rad) * 0.0075 / 2 - math.sin(slope_rad) * 0.048 / 2)
        return drag_n * 0.048 / 2 - back

    assert tip_draught_m_s(PIECE, WIDTH_M, slope_rad) == pytest.approx(brentq(moment, 0, 10), rel=1e-9)
    assert tip_draught_m_s(PIECE, WIDTH_M, 0.2) == 0
    with pytest.raises(ValueError, match="width"):
        tip_draught_m_s(PIECE, 0.0)


@pytest.mark.parametrize("foot_share", [0.5, 0.7, 0.95])
@pytest.mark.parametrize("step_mm", [0.2, 0.5, 1.0])
def test_step_leans_it_as_shapely_sees(step_mm: float, foot_share: float) -> None:
    """Turn the footprint about its low edge until it lies on the step; the step begins a share along the foot."""
    step_m = 1e-3 * step_mm
    lean_rad = step_lean_rad(PIECE, step_m, foot_share)
    begins_m = foot_share * 0.0075  # measured along the floor from the low edge, on which it turns
    step = shapely.box(begins_m, 0, 0.05, step_m)
    side = shapely.box(0, 0, 0.0075, 0.048)

    def bitten(lean: float) -> float:
        return affinity.rotate(side, lean, origin=(0, 0), use_radians=True).intersection(step).area

    assert bitten(0.99 * lean_rad) > 0
    assert bitten(1.01 * lean_rad) == 0


def test_step_by_hand() -> None:
    # Step under the far edge: atan(0.5 / 7.5) = 3.8141 degrees; under the middle atan(1 / 7.5) = 7.5946 degrees.
    assert math.degrees(step_lean_rad(PIECE, 0.0005, 1.0)) == pytest.approx(3.8141, abs=1e-4)
    assert math.degrees(step_lean_rad(PIECE, 0.0005)) == pytest.approx(7.5946, abs=1e-4)
    found = stance(PIECE, LEVEL, width_m=WIDTH_M)
    # 3.75 tan(8.8807 / 3) = 0.19392 mm; 3.75 x 0.15625 = 0.58594 mm.
    assert found.step_m == pytest.approx(0.19392e-3, rel=1e-4)
    assert found.tip_step_m == pytest.approx(0.58594e-3, rel=1e-4)
    assert step_lean_rad(PIECE, found.tip_step_m) == pytest.approx(found.tip_angle_rad)
    assert step_lean_rad(PIECE, found.step_m) == pytest.approx(found.tip_angle_rad / 3)
    for share in (0.49, 1.01):
        with pytest.raises(ValueError, match="half"):
            step_lean_rad(PIECE, 0.0005, share)


def test_worst_problem_comes_first() -> None:
    # Level: 1.5 m/s of 3.03 is 0.49; 10 mm/s at 15 Hz is 0.0961 g, 0.615 of 0.15625; 60 mm/m is 3.434 degrees, 0.387.
    ground = Ground(floor_friction=0.15, slope_rad=math.atan(0.06))
    found = stance(PIECE, ground, "unknown", 0.01, 15.0, 1.5, width_m=WIDTH_M)
    shares = [found.slope_share, found.shaken_share, found.draught_share]
    assert [problem.unit for problem in found.problems] == ["% of g", "m/s", "degrees"]
    assert shares[1] > shares[2] > shares[0] > 1 / 3
    assert found.slides_first  # 0.15 < 0.15625
    assert not stance(PIECE, LEVEL, width_m=WIDTH_M).slides_first
    assert "not known" in found.slope_reason
