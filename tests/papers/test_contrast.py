"""Letters on colours, against WCAG 2.2 (W3C, relative luminance and contrast ratio, success criterion 1.4.3)."""

import numpy as np
import pytest

from standfall.papers.contrast import contrast_ratio, ink_on


def wcag_ratio(one: tuple[int, int, int], other: tuple[int, int, int]) -> float:
    """The definitions of WCAG 2.2, written down once more, one number at a time."""

    def luminance(colour: tuple[int, int, int]) -> float:
        linear = []
        for code in colour:
            share = int(code) / 255
            linear.append(share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4)
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    bright, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (bright + 0.05) / (dark + 0.05)


def test_black_on_white_is_21_to_1():
    # WCAG 2.2: contrast ratios can range from 1 to 21.
    assert contrast_ratio([0, 0, 0], [255, 255, 255]) == pytest.approx(21.0)
    assert contrast_ratio([9, 99, 199], [9, 99, 199]) == pytest.approx(1.0)


def test_the_rule_reaches_4_5_on_every_colour_of_a_24_step_cube():
    steps = np.rint(np.linspace(0, 255, 24)).astype(np.uint8)
    cube = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1).reshape(-1, 3)
    ink = ink_on(cube)
    assert set(np.unique(ink)) == {0, 255}
    assert (ink == ink[:, :1]).all()
    least = min(wcag_ratio(tuple(colour), tuple(letters)) for colour, letters in zip(cube, ink, strict=True))
    assert least >= 4.5
    other = 255 - ink
    assert (contrast_ratio(cube, ink) >= contrast_ratio(cube, other)).all()


def test_ratio_agrees_with_the_definition_in_either_order():
    rng = np.random.default_rng(3)
    pairs = rng.integers(0, 256, (200, 2, 3)).astype(np.uint8)
    got = contrast_ratio(pairs[:, 0], pairs[:, 1])
    assert got == pytest.approx(contrast_ratio(pairs[:, 1], pairs[:, 0]))
    assert got == pytest.approx([wcag_ratio(tuple(one), tuple(other)) for one, other in pairs])
