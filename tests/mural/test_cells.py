"""Area averaging against OpenCV, Pillow, a dense-matrix twin and counted light."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from PIL import Image
from skimage import data as pictures

from standfall.mural import cells as cells_module
from standfall.mural.cells import CellGrid, average_cells
from standfall.mural.conversion import srgb8_to_linear
from standfall.mural.picture import Picture, Placement

UPS = ("with_fall", "against_fall", "left", "right")


def opaque(rgb: np.ndarray) -> Picture:
    return Picture(np.dstack([rgb, np.full(rgb.shape[:2], 255, dtype=np.uint8)]))


def noise(height: int, width: int, seed: int, alpha: bool = True) -> Picture:
    rgba = np.random.default_rng(seed).integers(0, 256, (height, width, 4)).astype(np.uint8)
    if not alpha:
        rgba[..., 3] = 255
    return Picture(rgba)


def as_array_on_field(rgba: np.ndarray, up: str) -> np.ndarray:
    """Turn the picture as a person would, seen from above with the fall running up, then count rows up."""
    turns = {"with_fall": 0, "left": 1, "against_fall": 2, "right": -1}[up]
    return np.flipud(np.rot90(rgba, turns))


def overlap(low: np.ndarray, high: np.ndarray, pixels: int) -> np.ndarray:
    """How much of each pixel lies between each low and high: (cells, pixels)."""
    at = np.arange(pixels)
    return np.clip(np.minimum(high[:, None], at + 1) - np.maximum(low[:, None], at), 0, None)


def twin(picture: Picture, grid: CellGrid, placement: Placement) -> tuple[np.ndarray, np.ndarray]:
    """Slow twin: each cell's cover and light from dense overlap matrices. Crop centred only."""
    rgba = as_array_on_field(picture.rgba, placement.picture_up)
    height, width = rgba.shape[:2]
    alpha = rgba[..., 3:] / 255
    light = np.concatenate([srgb8_to_linear(rgba[..., :3]) * alpha, alpha], axis=2)
    ratio_x, ratio_y = width / grid.width_m, height / grid.length_m
    if placement.fit != "stretch":
        ratio_x = ratio_y = min(ratio_x, ratio_y) if placement.fit == "crop" else max(ratio_x, ratio_y)
    out = np.empty((grid.rows, grid.columns, 4))
    for row in range(grid.rows):
        along = (np.array([row, row + 1]) * grid.row_pitch_m - grid.length_m / 2) * ratio_y + height / 2
        across = np.arange(grid.columns + 1) * grid.col_pitch_m
        if grid.half_offset and row % 2 == 1:
            across = across + grid.col_pitch_m / 2
        across = (across - grid.width_m / 2) * ratio_x + width / 2
        line = np.tensordot(overlap(along[:1], along[1:], height)[0], light, axes=1)
        out[row] = overlap(across[:-1], across[1:], width) @ line
    cover = out[..., 3] / (grid.col_pitch_m * ratio_x * grid.row_pitch_m * ratio_y)
    linear = np.divide(out[..., :3], out[..., 3:], out=np.zeros_like(out[..., :3]), where=out[..., 3:] > 0)
    return linear, cover


@pytest.mark.parametrize(("columns", "rows"), [(64, 64), (128, 32), (512, 512), (300, 170), (97, 211)])
def test_against_opencv(columns, rows):
    # OpenCV's INTER_AREA on linear light, whole and broken ratios; float32, so 1e-6.
    rgb = pictures.astronaut()
    got = average_cells(opaque(rgb), CellGrid(columns, rows, 0.02, 0.02), Placement(fit="stretch"))
    linear = srgb8_to_linear(rgb).astype(np.float32)
    expected = np.flipud(cv2.resize(linear, (columns, rows), interpolation=cv2.INTER_AREA))
    assert_allclose(got.linear, expected, atol=3e-6)
    assert (got.cover == 1).all()


def test_against_pillow():
    # Pillow's reduce: the plain mean of blocks of 5 x 4 pixels, in 32-bit float.
    rgb = pictures.coffee()
    got = average_cells(opaque(rgb), CellGrid(120, 100, 0.02, 0.016), Placement(fit="crop"))
    for channel in range(3):
        linear = srgb8_to_linear(rgb[..., channel]).astype(np.float32)
        expected = np.flipud(np.asarray(Image.fromarray(linear).reduce((5, 4))))
        assert_allclose(got.linear[..., channel], expected, atol=3e-6)


@pytest.mark.parametrize("half_offset", [False, True])
@pytest.mark.parametrize("fit", ["crop", "whole", "stretch"])
@pytest.mark.parametrize("up", UPS)
def test_against_the_twin(up, fit, half_offset):
    picture = noise(23, 37, seed=5)
    for grid in (
        CellGrid(11, 7, 0.031, 0.052, half_offset),  # cells larger than a pixel
        CellGrid(60, 75, 0.024, 0.011, half_offset),  # smaller
        CellGrid(5, 64, 0.024, 0.011, half_offset),  # larger one way, smaller the other
    ):
        got = average_cells(picture, grid, Placement(fit, picture_up=up))
        linear, cover = twin(picture, grid, Placement(fit, picture_up=up))
        assert_allclose(got.linear, linear, atol=1e-6)
        assert_allclose(got.cover, cover, atol=1e-6)


@settings(max_examples=40, deadline=None)
@given(
    st.integers(1, 24),
    st.integers(1, 24),
    st.integers(1, 40),
    st.integers(1, 40),
    st.sampled_from(UPS),
    st.data(),
)
def test_no_light_is_gained_or_lost(height, width, columns, rows, up, data):
    picture = noise(height, width, seed=data.draw(st.integers(0, 99)))
    cells = average_cells(picture, CellGrid(columns, rows, 0.02, 0.05), Placement("stretch", picture_up=up))
    alpha = picture.rgba[..., 3:] / 255
    cell_px = height * width / (columns * rows)
    assert_allclose((cells.cover * cell_px).sum(), alpha.sum(), rtol=1e-9)
    light = (cells.linear * cells.cover[..., None]).sum(axis=(0, 1)) * cell_px
    assert_allclose(
        light, (srgb8_to_linear(picture.rgba[..., :3]) * alpha).sum(axis=(0, 1)), rtol=1e-9, atol=1e-12
    )


def test_the_four_turns_are_rotations():
    picture = noise(30, 40, seed=8)
    wide, tall = CellGrid(9, 13, 0.02, 0.02), CellGrid(13, 9, 0.02, 0.02)
    # Seen from above with the fall running up the page; "left" is a quarter turn counter-clockwise.
    upright = np.flipud(average_cells(picture, wide, Placement("crop", (0.2, 0.9), "with_fall")).linear)
    for up, grid, quarters in (("left", tall, 1), ("against_fall", wide, 2), ("right", tall, 3)):
        turned = np.flipud(average_cells(picture, grid, Placement("crop", (0.2, 0.9), up)).linear)
        assert_allclose(turned, np.rot90(upright, quarters), atol=1e-6)


def test_which_way_up():
    # Top half red, left quarter of it black: someone behind row 0 looking along the fall sees it upright.
    rgb = np.zeros((40, 40, 3), dtype=np.uint8)
    rgb[:20, 10:, 0] = 255
    seen = {
        up: average_cells(opaque(rgb), CellGrid(4, 4, 0.02, 0.02), Placement(picture_up=up)).linear[..., 0]
        for up in UPS
    }
    assert seen["with_fall"].tolist() == [[0, 0, 0, 0], [0, 0, 0, 0], [0, 1, 1, 1], [0, 1, 1, 1]]
    assert seen["against_fall"].tolist() == [[1, 1, 1, 0], [1, 1, 1, 0], [0, 0, 0, 0], [0, 0, 0, 0]]
    # Top at column 0: the picture's left lies toward row 0. Top at the last column: toward the last row.
    assert seen["left"].tolist() == [[0, 0, 0, 0], [1, 1, 0, 0], [1, 1, 0, 0], [1, 1, 0, 0]]
    assert seen["right"].tolist() == [[0, 0, 1, 1], [0, 0, 1, 1], [0, 0, 1, 1], [0, 0, 0, 0]]


def test_half_offset_against_a_field_of_half_cells():
    # A straight field of half cells covers the same floor; two halves make a cell, one later in odd rows.
    picture = noise(50, 70, seed=2, alpha=False)
    columns, rows = 12, 9
    got = average_cells(picture, CellGrid(columns, rows, 0.04, 0.03, half_offset=True), Placement())
    halves = average_cells(picture, CellGrid(2 * columns + 1, rows, 0.02, 0.03), Placement()).linear
    even, odd = halves[:, :-1].reshape(rows, columns, 2, 3), halves[:, 1:].reshape(rows, columns, 2, 3)
    assert_allclose(got.linear[0::2], even[0::2].mean(axis=2), atol=1e-7)
    assert_allclose(got.linear[1::2], odd[1::2].mean(axis=2), atol=1e-7)


def test_whole_leaves_the_rest_of_the_field_empty():
    # 2 : 1 on a square field of 8 x 8: rows 0-1 and 6-7 stay empty.
    cells = average_cells(noise(10, 20, 1, alpha=False), CellGrid(8, 8, 0.02, 0.02), Placement("whole"))
    assert (cells.cover == np.array([0, 0, 1, 1, 1, 1, 0, 0])[:, None]).all()
    assert (cells.linear[[0, 1, 6, 7]] == 0).all()
    # On 5 columns x 10 rows the picture is 2.5 cells high: from 3.75 to 6.25.
    cover = average_cells(
        noise(10, 20, 1, alpha=False), CellGrid(5, 10, 0.02, 0.02), Placement("whole")
    ).cover
    assert_allclose(cover[:, 0], [0, 0, 0, 0.25, 1, 1, 0.25, 0, 0, 0], atol=1e-12)


@pytest.mark.parametrize(
    ("centre", "shares"),
    [(0.0, [1, 0, 0, 0]), (0.375, [0, 1, 0, 0]), (0.5, [0, 0.5, 0.5, 0]), (1.0, [0, 0, 0, 1])],
)
def test_crop_centre(centre, shares):
    # Four colours side by side, each 10 x 10; a square field shows one picture height of them.
    rgb = np.zeros((10, 40, 3), dtype=np.uint8)
    rgb[:, :10] = 255
    rgb[:, 10:20, 0] = 255
    rgb[:, 20:30, 1] = 255
    rgb[:, 30:, 2] = 255
    colours = np.array([[1, 1, 1], [1, 0, 0], [0, 1, 0], [0, 0, 1]])
    for up in UPS:
        cells = average_cells(opaque(rgb), CellGrid(6, 6, 0.02, 0.02), Placement("crop", (centre, 0.3), up))
        assert_allclose(cells.linear.mean(axis=(0, 1)), np.array(shares) @ colours, atol=1e-9)


def test_real_proportions_count():
    # Twice as many rows as columns, but pitches make the field square: nothing is cut off.
    rgb = np.zeros((8, 8, 3), dtype=np.uint8)
    rgb[:, 0] = rgb[:, -1] = 255
    cells = average_cells(opaque(rgb), CellGrid(8, 16, 0.02, 0.01), Placement("crop"))
    assert (cells.linear[:, [0, -1]] == 1).all()


def test_transparent_pixels_have_no_say():
    # One cell over two pixels: white at alpha 51 (a fifth), black opaque: light 0.2 / 1.2, cover 1.2 / 2.
    rgba = np.array([[[255, 255, 255, 51], [0, 0, 0, 255]]], dtype=np.uint8)
    cells = average_cells(Picture(rgba), CellGrid(1, 1, 0.02, 0.01), Placement())
    assert_allclose(cells.linear[0, 0], 0.2 / 1.2, atol=1e-12)
    assert cells.cover[0, 0] == pytest.approx(0.6, abs=1e-12)


def test_light_is_averaged_not_codes():
    # A fine chessboard of black and white gives half the light, which is code 188, not 128
    # (IEC 61966-2-1: 255 * (1.055 * 0.5^(1/2.4) - 0.055) = 187.5).
    board = np.indices((64, 64)).sum(axis=0) % 2 * 255
    cells = average_cells(
        opaque(np.repeat(board[..., None], 3, axis=2).astype(np.uint8)), CellGrid(8, 8, 1, 1), Placement()
    )
    assert_allclose(cells.linear, 0.5, atol=1e-12)


@pytest.mark.parametrize("up", UPS)
def test_bands_do_not_show(monkeypatch, up):
    picture, grid = noise(61, 83, seed=4), CellGrid(29, 41, 0.021, 0.017, half_offset=True)
    whole = average_cells(picture, grid, Placement(picture_up=up))
    told: list[tuple[int, int, str]] = []
    monkeypatch.setattr(cells_module, "BAND_PX", 300)
    banded = average_cells(picture, grid, Placement(picture_up=up), lambda *news: told.append(news))
    assert (banded.linear == whole.linear).all()
    assert (banded.cover == whole.cover).all()
    assert len(told) > 5
    assert told[-1] == (41, 41, "averaging the picture")
    assert [done for done, _, _ in told] == sorted({done for done, _, _ in told})


def test_bands_outside_the_picture(monkeypatch):
    monkeypatch.setattr(cells_module, "BAND_PX", 1)
    cells = average_cells(noise(4, 40, 1, alpha=False), CellGrid(20, 20, 1, 1), Placement("whole"))
    assert_allclose(cells.cover, np.repeat([0.0, 1, 0], [9, 2, 9])[:, None] * np.ones(20), atol=1e-12)


def test_one_pixel_and_one_cell():
    pixel = Picture(np.array([[[10, 200, 30, 255]]], dtype=np.uint8))
    many = average_cells(pixel, CellGrid(300, 7, 0.02, 0.01, half_offset=True), Placement())
    assert_allclose(many.linear, np.broadcast_to(srgb8_to_linear(pixel.rgba[0, 0, :3]), many.linear.shape))
    assert_allclose(many.cover, 1, atol=1e-9)
    large = noise(100, 100, 3, alpha=False)
    one = average_cells(large, CellGrid(1, 1, 1, 1), Placement())
    assert_allclose(one.linear[0, 0], srgb8_to_linear(large.rgba[..., :3]).mean(axis=(0, 1)), atol=1e-12)


def test_misuse_is_named():
    with pytest.raises(ValueError, match="0 x 3"):
        CellGrid(0, 3, 0.1, 0.1)
    with pytest.raises(ValueError, match="pitches"):
        CellGrid(3, 3, 0.1, -0.1)
    with pytest.raises(ValueError, match="float64"):
        Picture(np.zeros((3, 3, 4)))
    with pytest.raises(ValueError, match="at least one pixel"):
        Picture(np.zeros((0, 3, 4), dtype=np.uint8))
    with pytest.raises(ValueError, match="sideways"):
        Placement(picture_up="sideways")
    with pytest.raises(ValueError, match="squeeze"):
        Placement(fit="squeeze")
    with pytest.raises(ValueError, match="crop_centre"):
        Placement(crop_centre=(0.5, 1.5))
