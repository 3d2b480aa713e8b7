"""Error diffusion against a slow twin, and what it is for: light is kept."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from skimage import data as pictures

from standfall.mural import difference as df
from standfall.mural.conversion import srgb8_to_linear
from standfall.mural.dither import HIGHEST_WISH, LOWEST_WISH, diffuse

BLACK_WHITE = np.array([[0.0, 0, 0], [1, 1, 1]])
CUBE = np.indices((2, 2, 2)).reshape(3, -1).T.astype(float)
EIGHT = srgb8_to_linear(
    np.array(
        [
            [20, 20, 22], [240, 238, 230], [190, 20, 30], [20, 95, 55],
            [31, 95, 122], [250, 205, 30], [105, 80, 40], [200, 120, 60],
        ],
        dtype=np.uint8,
    )
)  # fmt: skip


def everywhere(linear: np.ndarray) -> np.ndarray:
    return np.ones(linear.shape[:2], dtype=bool)


def picks(asked: np.ndarray, palette: np.ndarray, metric: str, price: np.ndarray | None = None) -> np.ndarray:
    """What an exact assignment without shortage does with the answer."""
    table = df.difference_table(asked.reshape(-1, 3), palette, metric).astype(np.int64)
    return (table + (0 if price is None else price)).argmin(axis=1).reshape(asked.shape[:2])


def twin(linear, palette, price, metric, strength, present):
    """Slow twin, cell by cell. Floyd and Steinberg 1976; the book-keeping at edges is ours."""
    wish, asked = linear.copy(), linear.copy()
    rows, columns = present.shape
    for row in range(rows):
        ahead = 1 if row % 2 == 0 else -1
        for col in range(columns)[::ahead]:
            if not present[row, col]:
                continue
            asked[row, col] = np.clip(wish[row, col], 0, 1)
            costs = df.difference_table(asked[row, col][None], palette, metric)[0] + price
            error = strength * (
                np.clip(wish[row, col], LOWEST_WISH, HIGHEST_WISH) - palette[np.argmin(costs)]
            )
            takers = {
                (row, col + ahead): 7,
                (row + 1, col - ahead): 3,
                (row + 1, col): 5,
                (row + 1, col + ahead): 1,
            }
            takers = {
                (r, c): share
                for (r, c), share in takers.items()
                if r < rows and 0 <= c < columns and present[r, c]
            }
            for place, share in takers.items():
                wish[place] += share / sum(takers.values()) * error
    return asked


@pytest.mark.parametrize("metric", ["ciede2000", "cie76", "oklab"])
@pytest.mark.parametrize("strength", [1.0, 0.6])
def test_against_the_twin(metric, strength):
    rng = np.random.default_rng(1976)
    linear = srgb8_to_linear(pictures.astronaut()[100:124, 200:230])
    present = rng.random((24, 30)) > 0.15
    present[5] = False
    present[:, 29] = False
    price = rng.integers(0, 9000, len(EIGHT))
    got = diffuse(linear, EIGHT, price, metric, strength, present)
    assert_allclose(got, twin(linear, EIGHT, price, metric, strength, present), atol=1e-9)
    assert (got[~present] == linear[~present]).all()


def test_hand_worked():
    # Black and white only, metric Oklab: a grey g lies at 100 g^(1/3), nearer to white from 0.125 on.
    # (0, 0): 0.1 is black, error 0.1. Takers: ahead 7, below 5, below ahead 1 (none behind), of 13.
    # (0, 1): above 0.125, so white, error (first - 1). Takers: below behind 3, below 5, of 8.
    # (1, 1) comes next, the row runs back: below 0, so black, all of its error to (1, 0), the only taker.
    linear = np.full((2, 2, 3), 0.1)
    first = 0.1 + 0.1 * 7 / 13
    below = 0.1 + 0.1 * 1 / 13 + (first - 1) * 5 / 8
    last = 0.1 + 0.1 * 5 / 13 + (first - 1) * 3 / 8 + below
    assert first > 0.125
    assert below < 0
    assert last < 0
    asked = diffuse(linear, BLACK_WHITE, None, "oklab", 1.0, everywhere(linear))
    assert_allclose(asked[..., 0], [[0.1, first], [0, 0]], atol=1e-12)
    assert (picks(asked, BLACK_WHITE, "oklab") == [[0, 1], [0, 0]]).all()


@pytest.mark.parametrize("metric", ["ciede2000", "cie76", "oklab"])
@pytest.mark.parametrize("grey", [0.02, 0.25, 0.5, 0.9])
def test_flat_grey_keeps_its_light(metric, grey):
    # Linear light adds up: the mean over the field must be the grey, up to the error still in hand at
    # the end, at most about one domino per row of 100.
    linear = np.full((100, 100, 3), grey)
    asked = diffuse(linear, BLACK_WHITE, None, metric, 1.0, everywhere(linear))
    assert picks(asked, BLACK_WHITE, metric).mean() == pytest.approx(grey, abs=0.003)


def test_flat_colour_keeps_its_light_round_holes():
    # A colour among the corners of the cube, on a field with holes and a ragged edge.
    rng = np.random.default_rng(4)
    present = rng.random((90, 110)) > 0.3
    linear = np.broadcast_to([0.7, 0.3, 0.15], (90, 110, 3))
    asked = diffuse(linear, CUBE, None, "oklab", 1.0, present)
    mean = CUBE[picks(asked, CUBE, "oklab")][present].mean(axis=0)
    assert_allclose(mean, [0.7, 0.3, 0.15], atol=0.01)


def test_photograph_seen_from_afar():
    # Blocks of 8 x 8 dominoes, as seen from afar, come nearer the photograph than without diffusion.
    # scikit-image's coffee, CC0.
    linear = srgb8_to_linear(pictures.coffee()[:400:2, :600:2])

    def off(asked: np.ndarray) -> float:
        shown = CUBE[picks(asked, CUBE, "oklab")]
        blocks = (shown - linear).reshape(25, 8, -1, 4, 3).mean(axis=(1, 3))
        return float(np.abs(blocks).mean())

    plain = off(linear)
    half = off(diffuse(linear, CUBE, None, "oklab", 0.5, everywhere(linear)))
    full = off(diffuse(linear, CUBE, None, "oklab", 1.0, everywhere(linear)))
    assert full < half < plain
    assert full < 0.35 * plain


def test_no_strength_no_change():
    linear = srgb8_to_linear(pictures.coffee()[::10, ::10])
    assert (diffuse(linear, EIGHT, None, "ciede2000", 0.0, everywhere(linear)) == linear).all()


def test_colours_of_the_palette_stay():
    linear = EIGHT[np.random.default_rng(2).integers(0, 8, (40, 40))]
    asked = diffuse(linear, EIGHT, None, "ciede2000", 1.0, everywhere(linear))
    assert_allclose(asked, linear, atol=1e-12)


def test_prices_steer_the_picks():
    linear = srgb8_to_linear(pictures.astronaut()[::8, ::8])
    used = []
    for red in (0, 4000, 8000, 200_000):
        price = np.array([0, 0, red, 0, 0, 0, 0, 0])
        asked = diffuse(linear, EIGHT, price, "ciede2000", 1.0, everywhere(linear))
        used.append(int((picks(asked, EIGHT, "ciede2000", price) == 2).sum()))
    assert used[0] > used[1] > used[2] > used[3] == 0


def test_ties_go_to_the_lowest_index():
    linear = np.full((3, 3, 3), 0.4)
    twice = np.array([[0.4, 0.4, 0.4], [0.4, 0.4, 0.4], [0, 0, 0]])
    first = diffuse(linear, twice, np.array([5, 5, 0]), "cie76", 1.0, everywhere(linear))
    assert (first == linear).all()
    assert (picks(first, twice, "cie76", np.array([5, 5, 0])) == 0).all()


def test_out_of_reach_colours_do_not_spill_far():
    # Left half light no palette colour reaches, right half exactly a palette colour: what piled up is gone
    # within six columns of the edge.
    palette = np.array([[0.3, 0.3, 0.3], [0.0, 0, 0]])
    linear = np.full((40, 80, 3), 0.3)
    linear[:, :40] = 1.0
    asked = diffuse(linear, palette, None, "oklab", 1.0, everywhere(linear))
    assert (picks(asked, palette, "oklab")[:, :40] == 0).all()
    dark = np.full((40, 80, 3), 0.0)
    dark[:, :40] = 1.0
    asked = diffuse(dark, palette, None, "oklab", 1.0, everywhere(dark))
    spilled = picks(asked, palette, "oklab")[:, 40:] == 0
    assert spilled.any()
    assert not spilled[:, 12:].any()


def test_misuse_is_named():
    linear = np.zeros((4, 5, 3))
    with pytest.raises(ValueError, match="belong together"):
        diffuse(linear, EIGHT, None, "cie76", 1.0, np.ones((5, 4), dtype=bool))
    with pytest.raises(ValueError, match="palette_linear"):
        diffuse(linear, EIGHT[:0], None, "cie76", 1.0, everywhere(linear))
    with pytest.raises(ValueError, match="strength"):
        diffuse(linear, EIGHT, None, "cie76", 1.5, everywhere(linear))
    with pytest.raises(ValueError, match="price"):
        diffuse(linear, EIGHT, np.zeros(3, dtype=np.int64), "cie76", 1.0, everywhere(linear))
    with pytest.raises(ValueError, match="cie94"):
        diffuse(linear, EIGHT, None, "cie94", 1.0, everywhere(linear))
