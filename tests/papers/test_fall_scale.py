"""Colour scales of the fall, against colour-science and scikit-image."""

import colour
import numpy as np
import pytest
from skimage.color import deltaE_ciede2000, rgb2lab

from standfall.papers.scale import OFF_SCALE, STEPS, make_scale, round_step, ticks

NUMBERS = ("time", "speed", "chance")
# Machado, Oliveira & Fernandes, IEEE TVCG 15(6), 1291-1298 (2009), doi 10.1109/TVCG.2009.113, as tabled in
# colour-science; at severity 1: dichromats. The matrices act on linear RGB.
DEFECTS = ("Protanomaly", "Deuteranomaly", "Tritanomaly")


def lab(srgb8):
    return rgb2lab(np.asarray(srgb8, dtype=np.float64) / 255)


def seen_with(srgb8, defect):
    matrix = colour.blindness.matrix_cvd_Machado2009(defect, 1.0)
    linear = colour.models.eotf_sRGB(np.asarray(srgb8, dtype=np.float64) / 255)
    return rgb2lab(colour.models.eotf_inverse_sRGB(np.clip(linear @ matrix.T, 0, 1)))


def colours(number):
    return make_scale(number, 0.0, 1.0).srgb8


@pytest.mark.parametrize("number", NUMBERS)
def test_lightness_runs_one_way_for_everybody(number):
    # Neighbouring codes may round the wrong way; a sixteenth of the scale may not.
    part = colours(number)[:: STEPS // 16]
    for seen in (lab(part), *(seen_with(part, defect) for defect in DEFECTS)):
        steps = np.diff(seen[:, 0])
        assert (steps > 1.0).all() or (steps < -1.0).all()
    assert abs(np.ptp(lab(colours(number))[:, 0])) > 60


@pytest.mark.parametrize("number", NUMBERS)
def test_equal_steps_look_equal(number):
    # Rounding to codes moves a colour by at most about half a unit of CIEDE2000; over 15 steps that evens out.
    part = lab(colours(number)[::15])
    steps = deltaE_ciede2000(part[1:], part[:-1])
    assert np.ptp(steps) / steps.mean() < 0.2
    assert steps.min() > 3.0


@pytest.mark.parametrize("number", NUMBERS)
@pytest.mark.parametrize("defect", DEFECTS)
def test_an_eighth_of_the_scale_is_told_apart_with_any_colour_vision(number, defect):
    # CIEDE2000 of 1 is about what a trained eye just sees side by side; 4 is safe (common practice, no source).
    seen = seen_with(colours(number)[::32], defect)
    apart = deltaE_ciede2000(seen[:, None], seen[None])
    assert apart[~np.eye(len(seen), dtype=bool)].min() > 4.0


@pytest.mark.parametrize("number", NUMBERS)
def test_the_mark_for_standing_dominoes_is_on_no_scale(number):
    mark = np.array([OFF_SCALE], dtype=np.uint8)
    assert deltaE_ciede2000(lab(colours(number)), lab(mark)).min() > 20
    for defect in DEFECTS:
        assert deltaE_ciede2000(seen_with(colours(number), defect), seen_with(mark, defect)).min() > 20


def test_numbers_find_their_colour():
    scale = make_scale("time", 2.0, 6.0)
    assert scale.step([2.0, 4.0, 6.0, 1.0, 9.0]).tolist() == [0, 128, 255, 0, 255]
    assert scale.step(np.nan) == 0
    log = make_scale("chance", 0.01, 1.0, logarithmic=True)
    # 0.1 is half way between 0.01 and 1 in the logarithm.
    assert log.share([0.01, 0.1, 1.0]).tolist() == pytest.approx([0.0, 0.5, 1.0])
    assert log.share(0.0) == 0.0


@pytest.mark.parametrize(("low", "high", "logarithmic"), [(1, 1, False), (2, 1, False), (0, 1, True)])
def test_a_scale_needs_a_span(low, high, logarithmic):
    with pytest.raises(ValueError, match="cannot run"):
        make_scale("time", low, high, logarithmic=logarithmic)


def test_round_steps_and_ticks():
    assert round_step(15.4, 16) == 1.0
    assert round_step(16.5, 16) == 2.0
    assert round_step(0.3, 3) == pytest.approx(0.1)
    assert round_step(480.0, 12) == 50.0
    assert ticks(0.55, 0.96, 5).tolist() == pytest.approx([0.6, 0.8])
    assert ticks(0.0, 15.4, 17).tolist() == list(range(16))
