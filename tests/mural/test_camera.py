"""The camera against OpenCV's, and the warped mural seen back through it."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.optimize import linprog
from skimage import data as pictures

from standfall.mural import camera as cam
from standfall.mural.camera import Camera, average_cells_seen, camera_faults, floor_to_image, homography
from standfall.mural.cells import CellGrid, average_cells
from standfall.mural.conversion import linear_to_srgb8, srgb8_to_linear
from standfall.mural.picture import Picture, Placement

# A gantry camera beside the hall: 9 m up, looking down at the field at an angle.
GANTRY = Camera((2.0, -7.0, 9.0), (6.0, 5.0, 0.0), 0.024, 0.036, 0.024)
OVERHEAD = Camera((3.0, 2.0, 10.0), (3.0, 2.0, 0.0), 0.035, 0.036, 0.024)
STRAIGHT = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
# The field of the tests: its corner at (2, 1) m, its fall turned 20 degrees to the left of hall y.
TURN = math.radians(20)
PLACED = np.array([[math.cos(TURN), -math.sin(TURN), 2.0], [math.sin(TURN), math.cos(TURN), 1.0]])


def opaque(rgb: np.ndarray) -> Picture:
    return Picture(np.dstack([rgb, np.full(rgb.shape[:2], 255, dtype=np.uint8)]))


def camera_looking(
    yaw_rad: float, dip_rad: float, position_m: np.ndarray
) -> tuple[Camera, np.ndarray, np.ndarray]:
    """A camera and OpenCV's rotation and translation vectors for it, built from two turns, not from axes.

    With yaw 0 and dip 0 it looks along hall y: image x is hall x, image y is minus hall z.
    """
    level = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])
    turn, _ = cv2.Rodrigues(np.array([0, 0, -yaw_rad]))
    nod, _ = cv2.Rodrigues(np.array([dip_rad, 0, 0]))
    rotation = nod @ level @ turn
    forward = [
        -math.sin(yaw_rad) * math.cos(dip_rad),
        math.cos(yaw_rad) * math.cos(dip_rad),
        -math.sin(dip_rad),
    ]
    aim = position_m + 5.0 * np.array(forward)
    camera = Camera(tuple(position_m), tuple(aim), 0.028, 0.036, 0.024)
    return camera, cv2.Rodrigues(rotation)[0], -rotation @ position_m


@settings(max_examples=40, deadline=None)
@given(st.floats(-3.1, 3.1), st.floats(-1.2, 1.5), st.integers(0, 1000))
def test_projection_against_opencv(yaw_rad, dip_rad, seed):
    rng = np.random.default_rng(seed)
    camera, rotation, shift = camera_looking(yaw_rad, dip_rad, rng.uniform([-5, -5, 1], [5, 5, 15]))
    points = rng.uniform(-20, 20, (50, 3))
    image, in_front = floor_to_image(camera, points)
    depth = (cv2.Rodrigues(rotation)[0] @ points.T + shift[:, None])[2]
    assert (in_front == (depth >= 1e-3)).all()
    assert np.isnan(image[~in_front]).all()
    focal = np.diag([camera.focal_length_m, camera.focal_length_m, 1.0])
    if in_front.any():
        expected, _ = cv2.projectPoints(points[in_front], rotation, shift, focal, None)
        assert_allclose(image[in_front], expected[:, 0], rtol=1e-7, atol=1e-9)


@pytest.mark.parametrize("z_m", [0.0, 0.048])
def test_homography_against_opencv(z_m):
    corners = np.array([[0.0, 0], [8, 0], [8, 6], [0, 6]])
    image, _ = floor_to_image(GANTRY, np.column_stack([corners, np.full(4, z_m)]))
    # Sensor in micrometres, as OpenCV solves in float32 corners.
    expected = cv2.getPerspectiveTransform(corners.astype(np.float32), (image * 1e6).astype(np.float32))
    ours = np.diag([1e6, 1e6, 1.0]) @ homography(GANTRY, z_m)
    assert_allclose(ours / ours[2, 2], expected, rtol=2e-5, atol=1e-3)


def test_homography_gives_depth():
    h = homography(OVERHEAD)
    assert_allclose(h @ [3.0, 2.0, 1.0], [0, 0, 10.0], atol=1e-12)
    # 1 m to the right on the floor, 10 m below the lens: 3.5 mm on the sensor; hall y is up, so y is down.
    assert_allclose(
        floor_to_image(OVERHEAD, np.array([[4.0, 2, 0], [3, 3, 0]]))[0],
        [[0.0035, 0], [0, -0.0035]],
        atol=1e-15,
    )


def test_points_may_be_arrays():
    same = Camera(np.array([3.0, 2, 10]), np.array([3.0, 2, 0]), 0.035, 0.036, 0.024)
    assert same == OVERHEAD
    assert hash(same) == hash(OVERHEAD)
    with pytest.raises(ValueError, match=r"aim_m must have shape \(3,\)"):
        Camera((3.0, 2.0, 10.0), np.array([3.0, 2]), 0.035, 0.036, 0.024)


def test_outside_frame():
    points = np.array([[3.0, 2, 0], [3 + 5.1, 2, 0], [3 + 5.2, 2, 0], [3, 2 + 3.5, 0], [3, 2, 11]])
    image, _ = floor_to_image(OVERHEAD, points)
    # Half the sensor is 18 mm x 12 mm, 5.14 m x 3.43 m on the floor.
    assert cam.outside_frame(OVERHEAD, image).tolist() == [False, False, True, True, True]


def test_faults():
    corners = np.array([[0.0, 0], [8, 0], [8, 6], [0, 6]])
    assert camera_faults(GANTRY, corners) == []
    assert camera_faults(OVERHEAD, corners) == []
    inside = Camera((4.0, 3.0, 2.0), (4.0, 9.0, 1.0), 0.024, 0.036, 0.024)
    faults = camera_faults(inside, corners)
    assert len(faults) == 2
    assert "(0.000, 0.000)" in faults[0]
    assert "(8.000, 0.000)" in faults[1]
    in_floor = Camera((4.0, -3.0, 0.0), (4.0, 9.0, 0.0), 0.024, 0.036, 0.024)
    assert "not above" in camera_faults(in_floor, corners)[0]
    low = Camera((4.0, -3.0, 0.04), (4.0, 9.0, 0.0), 0.024, 0.036, 0.024)
    assert camera_faults(low, corners) == []
    assert "not above" in camera_faults(low, corners, z_m=0.048)[0]
    assert "own position" in camera_faults(Camera((1, 1, 1), (1, 1, 1), 0.02, 0.03, 0.02), corners)[0]
    assert len(camera_faults(Camera((1, 1, 1), (1, 1, 0), 0.0, -0.03, 0.02), corners)) == 2
    assert "finite" in camera_faults(Camera((1, 1, math.nan), (1, 1, 0), 0.02, 0.03, 0.02), corners)[0]


def test_faults_stop_the_warp():
    picture, grid = opaque(np.zeros((4, 4, 3), dtype=np.uint8)), CellGrid(4, 4, 1, 1)
    inside = Camera((4.0, 3.0, 2.0), (4.0, 9.0, 1.0), 0.024, 0.036, 0.024)
    with pytest.raises(ValueError, match="not in front of the camera"):
        average_cells_seen(picture, grid, Placement(), STRAIGHT, inside)
    with pytest.raises(ValueError, match="bends"):
        average_cells_seen(picture, grid, Placement(), lambda p: p + 0.1 * p**2, GANTRY)
    with pytest.raises(ValueError, match=r"\(2, 3\)"):
        average_cells_seen(picture, grid, Placement(), np.eye(3), GANTRY)
    with pytest.raises(ValueError, match="area"):
        average_cells_seen(picture, grid, Placement(), np.array([[1.0, 1, 0], [1, 1, 0]]), GANTRY)
    with pytest.raises(ValueError, match="samples"):
        average_cells_seen(picture, grid, Placement(), STRAIGHT, GANTRY, samples=0)
    with pytest.raises(ValueError, match="own position"):
        homography(Camera((1, 1, 1), (1, 1, 1), 0.02, 0.03, 0.02))


def convex_quads(seed: int, count: int) -> list[np.ndarray]:
    """Images of field corners under random cameras: convex, of every slant."""
    rng = np.random.default_rng(seed)
    quads = []
    while len(quads) < count:
        corners = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * rng.uniform(2, 9, 2)
        position = rng.uniform([-8, -8, 0.5], [14, 14, 12])
        camera = Camera(tuple(position), (4.0, 4.0, 0.0), 0.03, 0.036, 0.024)
        if not camera_faults(camera, corners):
            quads.append(floor_to_image(camera, np.column_stack([corners, np.zeros(4)]))[0])
    return quads


def test_largest_inside_against_linear_programming():
    # SciPy's HiGHS on the same question, stated by the rectangle's four corners instead of by side norms.
    for quad in convex_quads(1, 60):
        size = np.abs(quad - quad.mean(axis=0)).max()
        unit = (quad - quad.mean(axis=0)) / size
        half = np.array([3.0, 2.0]) / 3.0
        rows, limits = [], []
        for i in range(4):
            edge = unit[(i + 1) % 4] - unit[i]
            normal = np.array([edge[1], -edge[0]]) / np.linalg.norm(edge)
            normal *= 1 if normal @ unit[i] > 0 else -1
            for signs in ((1, 1), (1, -1), (-1, 1), (-1, -1)):
                rows.append([*normal, normal @ (half * signs)])
                limits.append(normal @ unit[i])
        best = linprog([0, 0, -1], rows, limits, bounds=[(None, None)] * 2 + [(0, None)])
        left, right, top, bottom = cam._inscribed(quad, 300, 200)
        assert (right - left) / 2 / size == pytest.approx(-best.fun, rel=1e-6)
        assert (right - left) / (bottom - top) == pytest.approx(1.5, rel=1e-9)
        for x in (left, right):
            for y in (top, bottom):
                point = (np.array([x, y]) - quad.mean(axis=0)) / size
                assert (np.array(rows)[:, :2] @ point <= np.array(limits) + 1e-7).all()


def test_whole_is_centred_where_it_could_slide():
    quad = np.array([[0.0, 0], [6, 0], [6, 2], [0, 2]])
    assert_allclose(cam._inscribed(quad, 100, 100), (2, 4, 0, 2), atol=1e-12)
    assert_allclose(cam._inscribed(quad[::-1], 600, 100), (0, 6, 0.5, 1.5), atol=1e-12)


@pytest.mark.parametrize("centre", [(0.5, 0.5), (0.0, 0.0), (1.0, 0.3)])
def test_crop_is_the_smallest_cover(centre):
    picture = opaque(np.zeros((20, 70, 3), dtype=np.uint8))
    for quad in convex_quads(2, 30):
        left, right, top, bottom = cam.picture_rectangle(picture, Placement("crop", centre), quad)
        low, high = quad.min(axis=0), quad.max(axis=0)
        slack = 1e-12
        assert left <= low[0] + slack
        assert right >= high[0] - slack
        assert top <= low[1] + slack
        assert bottom >= high[1] - slack
        assert (right - left) / (bottom - top) == pytest.approx(3.5, rel=1e-9)
        # Smallest: it fits tightly one way.
        assert min((right - left) - (high - low)[0], (bottom - top) - (high - low)[1]) < 1e-12
        if centre == (0.0, 0.0):  # the top left of the picture survives
            assert_allclose([left, top], low, atol=1e-12)


@pytest.mark.parametrize("half_offset", [False, True])
@pytest.mark.parametrize("fit", ["crop", "whole", "stretch"])
def test_from_straight_above_nothing_is_warped(fit, half_offset):
    # Hall y, here the direction of the fall, is up in the image: as "with_fall". Boxes fit quads exactly.
    rgba = np.random.default_rng(5).integers(0, 256, (50, 70, 4)).astype(np.uint8)
    picture, grid = Picture(rgba), CellGrid(31, 17, 0.2, 0.3, half_offset)
    placement = Placement(fit, (0.4, 0.7))
    flat = average_cells(picture, grid, placement)
    seen = average_cells_seen(picture, grid, placement, STRAIGHT, OVERHEAD, samples=3)
    assert_allclose(seen.cover, flat.cover, atol=1e-6)
    assert_allclose(seen.linear, flat.linear, atol=1e-5)


def image_rectangle(
    picture: Picture, placement: Placement, grid: CellGrid
) -> tuple[np.ndarray, tuple[float, ...]]:
    corners = np.array([[0, 0], [grid.width_m, 0], [grid.width_m, grid.length_m], [0, grid.length_m]])
    hall = corners @ PLACED[:, :2].T + PLACED[:, 2]
    quad, _ = floor_to_image(GANTRY, np.column_stack([hall, np.zeros(4)]))
    return quad, cam.picture_rectangle(picture, placement, quad)


def test_each_cell_takes_the_spot_it_hides():
    # A picture whose red runs evenly to the right and whose green runs evenly down tells each cell where
    # it took its colour; OpenCV tells where the middle of the cell appears. Codes are steps of up to
    # 0.009 in linear light, averaged over some 100 pixels per cell.
    size = 1200
    ramp = linear_to_srgb8((np.arange(size) + 0.5) / size)
    rgb = np.zeros((size, size, 3), dtype=np.uint8)
    rgb[..., 0], rgb[..., 1] = ramp[None, :], ramp[:, None]
    picture, grid, placement = opaque(rgb), CellGrid(60, 50, 0.1, 0.1, half_offset=True), Placement("stretch")
    cells = average_cells_seen(picture, grid, placement, PLACED, GANTRY)
    row, col = np.mgrid[0:50, 0:60]
    across, along = (col + 0.5 + 0.5 * (row % 2)) * 0.1, (row + 0.5) * 0.1
    quad, (left, right, top, bottom) = image_rectangle(picture, placement, grid)
    field = np.array([[0, 0], [grid.width_m, 0], [grid.width_m, grid.length_m], [0, grid.length_m]])
    to_unit = cv2.getPerspectiveTransform(
        field.astype(np.float32), ((quad - [left, top]) / [right - left, bottom - top]).astype(np.float32)
    )
    middle = cv2.perspectiveTransform(np.stack([across, along], axis=-1).astype(np.float64), to_unit)
    off = cells.linear[..., :2] - middle
    cell_in_picture = 1 / 60
    assert np.abs(off).max() < 0.3 * cell_in_picture
    assert np.abs(off.mean(axis=(0, 1))).max() < 0.02 * cell_in_picture


@pytest.mark.parametrize("fit", ["crop", "whole", "stretch"])
def test_the_mural_reads_true_through_the_camera(fit):
    # Lay the mural, photograph it with OpenCV's warpPerspective, compare with the original picture.
    rgb = pictures.astronaut()
    picture, grid, placement = opaque(rgb), CellGrid(240, 200, 0.025, 0.025), Placement(fit)
    _, (left, right, top, bottom) = image_rectangle(picture, placement, grid)
    to_pixel = np.array(
        [
            [512 / (right - left), 0, -left * 512 / (right - left)],
            [0, 512 / (bottom - top), -top * 512 / (bottom - top)],
            [0, 0, 1],
        ]
    )
    affine = np.vstack([PLACED, [0, 0, 1]])

    def photographed(linear: np.ndarray, cover: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        blown_up = np.repeat(np.repeat(np.dstack([linear, cover]), 5, axis=0), 5, axis=1).astype(np.float32)
        # Pixel i of an array has its middle at i + 0.5 of five to a cell; OpenCV puts it at i.
        to_metre = np.diag([0.005, 0.005, 1.0]) @ np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1]])
        back = np.array([[1, 0, -0.5], [0, 1, -0.5], [0, 0, 1]])
        matrix = back @ to_pixel @ homography(GANTRY) @ affine @ to_metre
        photo = cv2.warpPerspective(blown_up, matrix, (512, 512), flags=cv2.INTER_LINEAR)
        return photo[..., :3], cv2.erode(photo[..., 3], np.ones((5, 5))) > 0.999

    original = srgb8_to_linear(rgb)
    seen = average_cells_seen(picture, grid, placement, PLACED, GANTRY)
    photo, inside = photographed(seen.linear, seen.cover)
    assert inside.mean() > (0.9 if fit == "whole" else 0.3)  # all but the cells across its border
    error = np.abs(photo - original)[inside].mean()
    assert error < 0.035  # what cells of 2 to 5 pixels blur; "whole" has the coarsest
    flat = average_cells(picture, grid, Placement("stretch"))
    unwarped, _ = photographed(flat.linear, flat.cover)
    assert error < 0.25 * np.abs(unwarped - original)[inside].mean()


def test_whole_leaves_the_rest_empty():
    picture, grid = opaque(np.full((30, 40, 3), 90, dtype=np.uint8)), CellGrid(80, 60, 0.1, 0.1)
    cells = average_cells_seen(picture, grid, Placement("whole"), PLACED, GANTRY)
    _, (left, right, top, bottom) = image_rectangle(picture, Placement("whole"), grid)
    # All of the picture is on the field: cover weighted by area in the image gives its area there.
    row, col = np.mgrid[0:61, 0:81]
    hall = np.stack([col * 0.1, row * 0.1], axis=-1).reshape(-1, 2) @ PLACED[:, :2].T + PLACED[:, 2]
    points, _ = floor_to_image(GANTRY, np.column_stack([hall, np.zeros(len(hall))]))
    points = points.reshape(61, 81, 2)
    one, two = points[1:, 1:] - points[:-1, :-1], points[1:, :-1] - points[:-1, 1:]
    area = 0.5 * np.abs(one[..., 0] * two[..., 1] - one[..., 1] * two[..., 0])
    assert (cells.cover * area).sum() == pytest.approx((right - left) * (bottom - top), rel=2e-3)
    assert (cells.cover == 0).mean() > 0.1
    assert_allclose(
        cells.linear[cells.cover > 0], srgb8_to_linear(np.array([90], dtype=np.uint8))[0], atol=1e-12
    )


def test_more_samples_agree_and_function_equals_matrix():
    picture, grid = opaque(pictures.coffee()), CellGrid(50, 40, 0.1, 0.1)
    coarse = average_cells_seen(picture, grid, Placement(), PLACED, GANTRY, samples=4)
    fine = average_cells_seen(picture, grid, Placement(), PLACED, GANTRY, samples=12)
    assert np.abs(coarse.linear - fine.linear).mean() < 0.002
    told: list[tuple[int, int, str]] = []
    same = average_cells_seen(
        picture,
        grid,
        Placement(picture_up="left"),  # has no say here
        lambda points: points @ PLACED[:, :2].T + PLACED[:, 2],
        GANTRY,
        progress=lambda *news: told.append(news),
    )
    assert_allclose(same.linear, coarse.linear, atol=1e-9)
    assert told[-1] == (40, 40, "warping the picture")


def test_seen_against_a_slow_twin():
    # Twin: 60 x 60 points per cell, each the pixel it falls in, weighted by how large the floor around it
    # appears (the determinant of the map, |det H| / w^3). Supersampled boxes blur by a part of a cell, so
    # the picture is smooth; alpha runs too.
    y, x = np.mgrid[0:240, 0:320] / 240
    smooth = np.dstack(
        [0.5 + 0.4 * np.sin(5 * x), 0.5 + 0.4 * np.cos(4 * y), 0.3 + 0.2 * x * y, 0.3 + 0.4 * x]
    )
    picture, grid = Picture((smooth * 255).astype(np.uint8)), CellGrid(12, 9, 0.5, 0.6)
    got = average_cells_seen(picture, grid, Placement(), PLACED, GANTRY)
    _, (left, right, top, bottom) = image_rectangle(picture, Placement(), grid)
    h = homography(GANTRY) @ np.vstack([PLACED, [0, 0, 1]])
    at = (np.arange(60) + 0.5) / 60
    across = ((np.arange(12)[:, None] + at) * 0.5).ravel()
    along = ((np.arange(9)[:, None] + at) * 0.6).ravel()
    points = np.stack([*np.meshgrid(across, along), np.ones((540, 720))])
    u, v, w = np.tensordot(h, points, axes=1)
    col = ((u / w - left) / (right - left) * 320).astype(int).clip(0, 319)
    row = ((v / w - top) / (bottom - top) * 240).astype(int).clip(0, 239)
    pixel = picture.rgba[row, col]
    weight = (w**-3)[..., None]
    alpha = pixel[..., 3:] / 255 * weight
    light = srgb8_to_linear(pixel[..., :3]) * alpha
    total, alpha, light = (a.reshape(9, 60, 12, 60, -1).sum(axis=(1, 3)) for a in (weight, alpha, light))
    assert_allclose(got.linear, light / alpha, atol=2e-3)
    assert_allclose(got.cover, (alpha / total)[..., 0], atol=2e-3)
