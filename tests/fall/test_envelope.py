"""The range of gaps in which a fall that is under way cannot die: against single falls and a slow twin."""

import itertools
import math

import numpy as np
import pytest
from trial_layouts import HEIGHT_M, MASS_KG, THICKNESS_M, WIDTH_M

from standfall.fall.chain import chain_fall
from standfall.fall.envelope import Conditions, find_box, try_box
from standfall.fall.ground import Ground
from standfall.fall.pieces import Pieces

USUAL = Conditions(HEIGHT_M, THICKNESS_M, 0.1, 0.3, mass_share=0.06, turn_most_rad=0.1)


def _torque(front_rad, gaps_m, height, thick, friction, slope, shares):
    """Torque sum of a train over m g d / 2, by the equations of van Leeuwen (2010), in angles, without cuts.

    D_k from h sin D_k = c cos(theta_{k+1}) - d; arms alpha and beta; sum of r_k T_k (Am. J. Phys. 78, 721).
    """

    def weight(theta, share):
        return share * (height * math.sin(theta + slope) - thick * math.cos(theta + slope)) / thick

    total, theta, r = weight(front_rad, shares[0]), front_rad, 1.0
    for gap, share in zip(gaps_m, shares[1:], strict=True):
        pitch = gap + thick
        lean = math.asin((pitch * math.cos(theta) - thick) / height)
        alpha = height * math.cos(lean) - pitch * math.sin(theta) - friction * thick
        beta = height * math.cos(lean) + friction * height * math.sin(lean)
        r *= alpha / beta
        theta += lean
        total += r * weight(theta, share)
    return total


@pytest.mark.parametrize(("gap", "friction", "slope"), [(0.3, 0.2, 0.0), (0.5, 0.1, -0.02), (0.4, 0.3, 0.05)])
def test_torque_of_an_even_row_is_that_of_the_published_equations(gap, friction, slope):
    gap_m = gap * HEIGHT_M
    depth = 2  # so short that no piece has landed on the next
    box = try_box(gap_m, gap_m, depth, Conditions(HEIGHT_M, THICKNESS_M, friction, friction, slope_rad=slope))
    tip = math.atan(THICKNESS_M / HEIGHT_M) - slope
    angles = np.arcsin(np.sin(np.linspace(0, max(math.asin(gap), tip), 15)))
    expected = min(
        _torque(angle, [gap_m] * depth, HEIGHT_M, THICKNESS_M, friction, slope, [1.0] * (depth + 1))
        for angle in angles
    )
    assert box.torque == pytest.approx(expected, rel=1e-9)


def test_worst_of_uneven_gaps_and_masses_is_found():
    low, high, depth, share = 0.3 * HEIGHT_M, 0.4 * HEIGHT_M, 2, 0.05
    box = try_box(low, high, depth, Conditions(HEIGHT_M, THICKNESS_M, 0.2, 0.2, mass_share=share))
    angles = np.linspace(0, math.asin(0.4), 15)
    expected = min(
        _torque(angle, gaps, HEIGHT_M, THICKNESS_M, 0.2, 0.0, shares)
        for angle in angles
        for gaps in itertools.product([low, 0.5 * (low + high), high], repeat=depth)
        for shares in itertools.product([1 - share, 1 + share], repeat=depth + 1)
    )
    assert box.torque == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("gap", [0.15, 0.3, 0.5, 0.7])
def test_no_chain_inside_a_box_dies(gap):
    """Random chains over the whole box, with the slowest start that gets the first pieces down."""
    conditions = Conditions(HEIGHT_M, THICKNESS_M, 0.1, 0.3, mass_share=0.06)
    box = find_box(gap * HEIGHT_M, gap * HEIGHT_M, conditions, spare_m=0.002)
    assert box is not None
    assert box.carries
    assert box.gap_low_m < gap * HEIGHT_M < box.gap_high_m
    chance = np.random.default_rng(int(100 * gap))
    count, tried = 60, 0
    for _ in range(300):
        ends = chance.random() < 0.5
        gaps = chance.uniform(box.gap_low_m, box.gap_high_m, count - 1)
        if ends:
            gaps = chance.choice([box.gap_low_m, box.gap_high_m], count - 1)
        pieces = Pieces(
            np.full(count, HEIGHT_M),
            np.full(count, WIDTH_M),
            np.full(count, THICKNESS_M),
            MASS_KG * chance.uniform(0.94, 1.06, count),
        )
        ground = Ground(domino_friction=float(chance.choice([0.1, 0.2, 0.3])))
        fall = chain_fall(gaps, pieces, ground, float(chance.uniform(2.7, 8.0)))
        if 0 <= fall.stalled_at <= box.depth or not np.isfinite(fall.t_s[box.depth + 1]):
            continue  # the start is not what the box is about
        tried += 1
        assert fall.stalled_at == -1
        assert fall.fallen == count
    assert tried > 30


def test_a_fall_dies_where_the_box_is_left():
    """A gap of a height is out of reach, whatever comes before: the box must end below it."""
    box = find_box(0.3 * HEIGHT_M, 0.4 * HEIGHT_M, USUAL, spare_m=0.002)
    assert box is not None
    assert box.gap_high_m < HEIGHT_M


def test_no_box_reaches_the_gap_below_which_no_fall_goes_on():
    """The last lean must pass twice the tip angle, d / (s + d) < cos(2 atan(d / h)): energy, without friction.

    For 48 x 7.5 mm: cos(2 atan(0.15625)) = (1 - 0.0244141) / (1 + 0.0244141) = 0.952336, so
    s > 7.5 mm (1 / 0.952336 - 1) = 0.37537 mm.
    """
    frictionless = Conditions(HEIGHT_M, THICKNESS_M, 0.02, 0.02)
    limit_m = 0.00037537
    for gap in (0.1, 0.2, 0.3):
        box = find_box(gap * HEIGHT_M, gap * HEIGHT_M, frictionless, spare_m=0.001)
        assert box is not None
        assert box.gap_low_m > limit_m
    assert find_box(limit_m, limit_m, frictionless, spare_m=0.0001) is None


def test_uphill_and_rubbing_are_worse():
    gap_m = 0.3 * HEIGHT_M
    plain = try_box(gap_m, gap_m, 5, Conditions(HEIGHT_M, THICKNESS_M, 0.2, 0.2))
    uphill = try_box(gap_m, gap_m, 5, Conditions(HEIGHT_M, THICKNESS_M, 0.2, 0.2, slope_rad=-0.05))
    rubbing = try_box(gap_m, gap_m, 5, Conditions(HEIGHT_M, THICKNESS_M, 0.2, 0.4))
    assert uphill.torque < plain.torque
    assert rubbing.torque < plain.torque


@pytest.mark.parametrize("gap", [0.0, 0.9, 1.2])
def test_gaps_that_cannot_be_relied_on_have_no_box(gap):
    assert find_box(gap * HEIGHT_M, gap * HEIGHT_M, USUAL, spare_m=0.001) is None
