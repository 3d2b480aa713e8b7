"""Colour differences against the published CIEDE2000 pairs, colour-science and scikit-image."""

from __future__ import annotations

import csv
from pathlib import Path

import colour
import numpy as np
import pytest
from numpy.testing import assert_allclose
from skimage import color as skimage_color
from skimage import data as pictures

from standfall.mural import _kernels
from standfall.mural import difference as df
from standfall.mural.conversion import linear_to_lab, linear_to_oklab, srgb8_to_linear

DATA = Path(__file__).parents[1] / "data"


def sharma_pairs() -> np.ndarray:
    """Source: Sharma, Wu and Dalal 2005, table 1. Columns L1 a1 b1 L2 a2 b2 dE00 (four digits)."""
    with (DATA / "ciede2000_sharma2005.csv").open(encoding="utf-8") as lines:
        next(lines)  # where the numbers come from
        rows = list(csv.DictReader(lines))
    names = ("L1", "a1", "b1", "L2", "a2", "b2", "dE00")
    return np.array([[float(row[name]) for name in names] for row in rows])


PAIRS = sharma_pairs()


def kernel_ciede2000(lab1: np.ndarray, lab2: np.ndarray) -> np.ndarray:
    return np.array([_kernels._ciede2000(*x, *y) for x, y in zip(lab1, lab2, strict=True)])


def awkward_colours() -> tuple[np.ndarray, np.ndarray]:
    """Random pairs plus the cases that trip implementations: greys, near greys, opposite hues, blues."""
    rng = np.random.default_rng(2005)
    lab1, lab2 = (rng.random((2, 4000, 3)) * [100, 200, 200]) - [0, 100, 100]
    lab2[:200, 1:] = -lab1[:200, 1:]  # opposite hues of one chroma
    lab2[200:400, 1:] = -lab1[200:400, 1:] * rng.random((200, 1)) + rng.normal(0, 1e-3, (200, 2))
    lab1[400:500, 1:] = 0.0  # one grey
    lab1[500:600, 1:] = lab2[500:600, 1:] = 0.0  # two greys
    lab1[600:700, 1:] *= 1e-3
    lab2[700:800] = lab1[700:800] + rng.normal(0, 1e-3, (100, 3))
    lab1[800:1200, 1:] = rng.normal([10, -60], 15, (400, 2))  # blue, where the hue turn acts
    lab2[800:1200, 1:] = rng.normal([10, -60], 15, (400, 2))
    return lab1, lab2


@pytest.mark.parametrize("function", [df.ciede2000, kernel_ciede2000])
@pytest.mark.parametrize("order", [(slice(0, 3), slice(3, 6)), (slice(3, 6), slice(0, 3))])
def test_published_pairs(function, order):
    assert len(PAIRS) == 34
    assert_allclose(function(PAIRS[:, order[0]], PAIRS[:, order[1]]), PAIRS[:, 6], atol=5e-5)


@pytest.mark.parametrize("function", [df.ciede2000, kernel_ciede2000])
def test_ciede2000_against_colour_science(function):
    # Pairs of exactly opposite hue are left out: there the sign of the hue step is a matter of the last
    # bit of an arc tangent, see test_opposite_hues.
    lab1, lab2 = (lab[200:] for lab in awkward_colours())
    assert_allclose(function(lab1, lab2), colour.difference.delta_E_CIE2000(lab1, lab2), atol=1e-9)


def test_ciede2000_against_scikit_image():
    lab1, lab2 = (lab[800:] for lab in awkward_colours())
    assert_allclose(df.ciede2000(lab1, lab2), skimage_color.deltaE_ciede2000(lab1, lab2), atol=1e-9)


def test_opposite_hues():
    # Sharma 2005, section on discontinuities: at 180 degrees the mean hue may be either of two, and the
    # formula jumps. Both of our versions must give one of the two limits.
    lab1, lab2 = (lab[:200] for lab in awkward_colours())
    turn = np.array([[np.cos(1e-9), -np.sin(1e-9)], [np.sin(1e-9), np.cos(1e-9)]])
    limits = []
    for matrix in (turn, turn.T):
        turned = lab2.copy()
        turned[:, 1:] = lab2[:, 1:] @ matrix.T
        limits.append(colour.difference.delta_E_CIE2000(lab1, turned))
    for function in (df.ciede2000, kernel_ciede2000):
        got = function(lab1, lab2)
        assert np.minimum(*(np.abs(got - limit) for limit in limits)).max() < 1e-5


def test_ciede2000_broadcasts():
    lab1, lab2 = PAIRS[:5, None, 0:3], PAIRS[None, :7, 3:6]
    table = df.ciede2000(lab1, lab2)
    assert table.shape == (5, 7)
    assert table[2, 2] == df.ciede2000(PAIRS[2, 0:3], PAIRS[2, 3:6])
    assert df.ciede2000(PAIRS[0, 0:3], PAIRS[0, 3:6]).shape == ()


def test_cie76_against_colour_science():
    lab1, lab2 = awkward_colours()
    assert_allclose(df.cie76(lab1, lab2), colour.difference.delta_E_CIE1976(lab1, lab2), atol=1e-10)


def test_oklab_runs_from_black_to_white_in_100():
    # Ottosson 2020: L is 0 for black, 1 for white.
    black, white = linear_to_oklab(np.zeros(3)), linear_to_oklab(np.ones(3))
    assert df.oklab(black, white) == pytest.approx(100, abs=1e-5)


@pytest.mark.parametrize("metric", ["ciede2000", "cie76", "oklab"])
def test_table_against_the_readable_functions(metric):
    rng = np.random.default_rng(7)
    cells, palette = rng.random((3000, 3)), rng.random((16, 3))
    cells[:500] *= 0.01
    cells[500:600] = cells[500:600, :1]
    table = df.difference_table(cells, palette, metric)
    assert table.dtype == np.int32
    to_space = linear_to_oklab if metric == "oklab" else linear_to_lab
    slow = getattr(df, metric)(to_space(cells)[:, None], to_space(palette)[None]) * 1000
    # Half a thousandth from rounding, plus what two ways of computing may differ.
    assert np.abs(table - slow).max() <= 0.5 + 1e-6


def test_table_against_colour_science_on_a_photograph():
    # scikit-image's astronaut (NASA, public domain) against colours of its coffee (CC0), all the way from
    # codes through colour-science, with the matrix it works out from the chromaticities of IEC 61966-2-1.
    codes = pictures.astronaut()[::16, ::16].reshape(-1, 3)
    palette = pictures.coffee()[::100, ::100].reshape(-1, 3)[:16]
    d65 = np.array([0.3127, 0.3290])
    matrix = colour.normalised_primary_matrix([[0.64, 0.33], [0.30, 0.60], [0.15, 0.06]], d65)
    cells_lab, palette_lab = (
        colour.XYZ_to_Lab(colour.cctf_decoding(c / 255, "sRGB") @ matrix.T, d65) for c in (codes, palette)
    )
    expected = colour.difference.delta_E_CIE2000(cells_lab[:, None], palette_lab[None])
    table = df.difference_table(srgb8_to_linear(codes), srgb8_to_linear(palette), "ciede2000")
    assert_allclose(table / 1000, expected, rtol=0, atol=5.01e-4)


def test_table_misuse_is_named():
    good, bad = np.zeros((2, 3)), np.zeros((2, 4))
    with pytest.raises(ValueError, match="cells_linear"):
        df.difference_table(bad, good, "cie76")
    with pytest.raises(ValueError, match="palette_linear"):
        df.difference_table(good, np.full((2, 3), np.nan), "cie76")
    with pytest.raises(ValueError, match="cie94"):
        df.difference_table(good, good, "cie94")


def test_pixels_as_they_are_do_not_move():
    codes = pictures.astronaut().reshape(-1, 3)
    linear = srgb8_to_linear(codes)
    unique, inverse = df.distinct(linear)
    assert len(unique) == len(np.unique(codes, axis=0))
    assert (unique[inverse] == linear).all()


def test_mean_colours_move_less_than_a_tenth():
    # The bound that the docstring states, in CIEDE2000; worst near black and near grey.
    rng = np.random.default_rng(11)
    light = rng.random((60000, 3))
    greys = np.clip(light[:, :1] ** 2 + 0.004 * (rng.random((60000, 3)) - 0.5), 0, 1)
    for cells in (light, light**2.4, light * 0.01, greys):
        unique, inverse = df.distinct(cells)
        assert df.ciede2000(linear_to_lab(cells), linear_to_lab(unique[inverse])).max() < 0.1


def test_distinct_order_and_inverse():
    cells = np.array([[1.0, 0, 0], [0, 0, 0.5], [0, 0.2, 0], [1.0, 0, 0], [0, 0, 0.5 + 1e-7], [2.0, -1, 0]])
    unique, inverse = df.distinct(cells)
    assert inverse.tolist() == [2, 0, 1, 2, 0, 2]
    assert [tuple(row) for row in unique] == sorted(tuple(row) for row in unique)
    # A colour already on the lattice stays there.
    again, order = df.distinct(unique)
    assert (again == unique).all()
    assert order.tolist() == [0, 1, 2]


def test_distinct_of_nothing():
    unique, inverse = df.distinct(np.empty((0, 3)))
    assert unique.shape == (0, 3)
    assert inverse.shape == (0,)
    with pytest.raises(ValueError, match=r"\(n, 3\)"):
        df.distinct(np.zeros((4, 4, 3)))
