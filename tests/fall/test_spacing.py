"""Gaps: hand arithmetic, energy of a leaning row, our train, and MuJoCo with a piece missing.

The piece is 48 x 24 x 7.5 mm and 8.5 g unless said otherwise.
"""

from __future__ import annotations

import math

import mujoco
import numpy as np
import pytest
from scipy.optimize import brentq

from standfall.fall.block import Block
from standfall.fall.chain import chain_fall
from standfall.fall.ground import GRAVITY_M_S2, Ground
from standfall.fall.pieces import Pieces
from standfall.fall.spacing import design_gap, least_gap_m

PIECE = Block(0.048, 0.0075, 0.0085)
OTHER = Block(0.04445, 0.00794, 0.009)  # 1.75 x 5/16 inch
SMOOTH = Ground(domino_friction=0.0, floor_friction=0.5)


def test_by_hand() -> None:
    gap = design_gap(PIECE, Ground(domino_friction=0.2, floor_friction=0.4))
    # 0.8 x 48 = 38.4 mm; (38.4 - 7.5) / 2 = 15.45 mm: two gaps and a piece, 15.45 x 2 + 7.5 = 38.4 mm.
    assert gap.reach_m == pytest.approx(0.0384)
    assert gap.high_m == pytest.approx(0.01545)
    # 0.3 x 48 = 14.4 mm, within that.
    assert gap.easy_start_m == pytest.approx(0.0144)
    assert gap.advised_m == pytest.approx(0.0144)
    # cos(2 atan(7.5 / 48)) = (48^2 - 7.5^2) / (48^2 + 7.5^2) = 2247.75 / 2360.25 = 0.952336;
    # 7.5 (1 / 0.952336 - 1) = 0.37538 mm without friction, x (1 + 4.4 x 0.2) = 0.70571 mm.
    assert least_gap_m(PIECE, SMOOTH) == pytest.approx(0.37538e-3, rel=1e-4)
    assert gap.low_m == pytest.approx(0.70571e-3, rel=1e-4)


def test_slippery_floor() -> None:
    # Below 0.2: 0.7 x 48 = 33.6 mm; (33.6 - 7.5) / 2 = 13.05 mm, narrower than the usual 14.4 mm.
    gap = design_gap(PIECE, Ground(floor_friction=0.19))
    assert gap.reach_m == pytest.approx(0.0336)
    assert gap.high_m == pytest.approx(0.01305)
    assert gap.advised_m == pytest.approx(0.01305)
    assert "slide" in gap.reasons[3]
    assert "slide" not in design_gap(PIECE, Ground(floor_friction=0.2)).reasons[3]


@pytest.mark.parametrize("block", [PIECE, OTHER, Block(0.1, 0.04, 0.3)])
def test_least_gap_is_where_a_leaning_piece_has_gained_nothing(block: Block) -> None:
    """The height of the middle at the last lean, with the corner worked out from where it touches the next."""
    h, d = block.height_m, block.thickness_m

    def gained(gap_m: float) -> float:
        # The last lean of a long row: all lean alike, faces flat on one another, a pitch s + d apart along the
        # floor. So across the faces they are a thickness apart: (s + d) cos(lean) = d.
        lean = math.acos(d / (gap_m + d))
        middle = 0.5 * h * math.cos(lean) + 0.5 * d * math.sin(lean)
        return 0.5 * h - middle

    by_search = brentq(gained, 1e-9 * h, h)
    assert least_gap_m(block, SMOOTH) == pytest.approx(by_search, rel=1e-9)


@pytest.mark.parametrize("block", [PIECE, OTHER])
@pytest.mark.parametrize("friction", [0.0, 0.1, 0.2, 0.3])
def test_our_train_dies_below_and_runs_above(block: Block, friction: float) -> None:
    """A row of 400 with a strong push: the formula against the train model's swing by swing sums."""
    ground = Ground(domino_friction=friction, floor_friction=0.5)
    row = Pieces.alike(
        400, height_m=block.height_m, width_m=0.024, thickness_m=block.thickness_m, mass_kg=0.0085
    )
    push = 40 * block.least_tip_omega_rad_s()
    low_m = least_gap_m(block, ground)
    assert chain_fall(np.full(399, 1.1 * low_m), row, ground, push).fallen == 400
    assert chain_fall(np.full(399, 0.75 * low_m), row, ground, push).fallen < 400


def test_easy_start_is_where_a_row_needs_no_more_than_one_piece() -> None:
    ground = Ground()
    row = Pieces.alike(40, height_m=0.048, width_m=0.024, thickness_m=0.0075, mass_kg=0.0085)
    push = 1.03 * PIECE.least_tip_omega_rad_s()
    easy_m = design_gap(PIECE, ground).easy_start_m
    assert chain_fall(np.full(39, easy_m), row, ground, push).fallen == 40
    assert chain_fall(np.full(39, 0.6 * easy_m), row, ground, push).fallen < 40


def _fallen_in_mujoco(x_m: np.ndarray, floor_friction: float) -> int:
    """Push the first of a row of free boxes and count those that lean by more than half a right angle after 2 s."""
    boxes = "".join(
        f'<body pos="{x} 0 0.024"><freejoint/><geom type="box" size="0.00375 0.012 0.024" mass="0.0085"'
        ' friction="0.2 0 0" solref="0.003 1"/></body>'
        for x in x_m
    )
    model = mujoco.MjModel.from_xml_string(
        f'<mujoco><option timestep="0.001" cone="elliptic" impratio="10" gravity="0 0 {-GRAVITY_M_S2}"/>'
        f'<worldbody><geom type="plane" size="9 9 1" friction="{floor_friction} 0 0" priority="1"'
        f' solref="0.003 1"/>{boxes}</worldbody></mujoco>'
    )
    data = mujoco.MjData(model)
    omega = 1.5 * PIECE.least_tip_omega_rad_s()
    data.qvel[:6] = [omega * 0.024, 0, omega * 0.00375, 0, omega, 0]  # about its front bottom edge
    mujoco.mj_step(model, data, nstep=2000)
    # Beyond the piece before a hole none may be left upright.
    return int(np.sum(data.xmat[1:, 8] < math.cos(math.radians(45))))


def test_one_missing_piece_is_crossed_in_mujoco() -> None:
    # E. Todorov et al., MuJoCo (IROS 2012), free feet: at the widest advised gap the row goes on past the hole.
    gap_m = design_gap(PIECE, Ground(floor_friction=0.5)).high_m
    x_m = np.delete(np.arange(12) * (gap_m + 0.0075), 6)
    assert _fallen_in_mujoco(x_m, 0.5) == 11
    # And a gap of more than a height and a half is not crossed, so the count can tell.
    x_m[6:] += 1.5 * 0.048
    assert _fallen_in_mujoco(x_m, 0.5) == 6


def test_one_missing_piece_is_crossed_by_our_train() -> None:
    for block in (PIECE, OTHER):
        ground = Ground()
        row = Pieces.alike(
            40, height_m=block.height_m, width_m=0.024, thickness_m=block.thickness_m, mass_kg=0.0085
        )
        gap_m = design_gap(block, ground).high_m
        gaps_m = np.full(39, gap_m)
        gaps_m[20] = 2 * gap_m + block.thickness_m
        assert chain_fall(gaps_m, row, ground, 1.1 * block.least_tip_omega_rad_s()).fallen == 40


def test_pieces_too_thick_for_any_gap() -> None:
    # A cube gains nothing by falling.
    cube = design_gap(Block(0.03, 0.03, 0.02), Ground())
    assert math.isinf(cube.low_m)
    assert cube.high_m == pytest.approx((0.024 - 0.03) / 2)
    assert math.isnan(cube.advised_m)
    # 40 mm on 48 mm: cos(2 atan(40 / 48)) = (2304 - 1600) / 3904 = 0.18033, so 182 mm at least, and 0.8 x 48 - 40
    # leaves nothing.
    thick = design_gap(Block(0.048, 0.04, 0.04), SMOOTH)
    assert thick.low_m == pytest.approx(0.04 * (3904 / 704 - 1))
    assert thick.high_m < 0
    assert math.isnan(thick.advised_m)
    assert "thinner" in thick.reasons[4]
    assert len(thick.reasons) == 5
