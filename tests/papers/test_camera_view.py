"""The camera view, against OpenCV's projectPoints (a second implementation of the pinhole camera)."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from paper_plan import Wish, make_test_plan

from standfall.brief import Camera as CameraSection
from standfall.mural.advice import camera_of
from standfall.papers.camera_view import BACKDROP, camera_pixels, draw_camera_view
from standfall.papers.pose import pose_boxes

ONE = Wish(columns=1, rows=1, holes=False, lines=(), tray=(1, 1), noise=0.0, camera=True)


def opencv_pixels(section, points, width_px):
    """Project with OpenCV: x right, y down, z ahead; the principal point in the middle of the picture."""
    position = np.array(section.position_m)
    ahead = np.array(section.aim_m) - position
    ahead /= np.linalg.norm(ahead)
    right = np.cross(ahead, [0, 0, 1])
    right /= np.linalg.norm(right)
    turn = np.stack([right, np.cross(ahead, right), ahead])
    height_px = width_px * section.sensor_height_m / section.sensor_width_m
    focal = section.focal_length_m / section.sensor_width_m * width_px
    matrix = np.array([[focal, 0, width_px / 2], [0, focal, height_px / 2], [0, 0, 1]])
    pixels, _ = cv2.projectPoints(
        np.asarray(points, dtype=np.float64), cv2.Rodrigues(turn)[0], -turn @ position, matrix, None
    )
    return pixels.reshape(-1, 2)


def corners_of(boxes):
    shares = [(u, b, s) for u in (0, 1) for b in (0, 1) for s in (-1, 1)]
    return np.concatenate([boxes.foot + u * boxes.up + b * boxes.back + s * boxes.side for u, b, s in shares])


@pytest.mark.parametrize("state", ["standing", "fallen"])
def test_corners_fall_where_opencv_puts_them(state):
    plan = make_test_plan(Wish(columns=15, rows=9, camera=True, stacked=((2, 3),)))
    section = plan.brief.camera
    corners = corners_of(pose_boxes(plan.standing, plan.brief, state))
    pixels, in_front = camera_pixels(camera_of(section), corners, 1920)
    assert in_front.all()
    assert np.abs(pixels - opencv_pixels(section, corners, 1920)).max() < 1e-6


@pytest.mark.parametrize("state", ["standing", "fallen"])
def test_a_drawn_domino_fills_the_outline_of_its_corners(state):
    plan = make_test_plan(ONE)
    section = CameraSection(position_m=(0.9, 0.7, 0.3), aim_m=(1.01, 1.01, 0.02), focal_length_m=0.05)
    plan = replace(plan, brief=replace(plan.brief, camera=section))
    boxes = pose_boxes(plan.standing, plan.brief, state)
    outline = cv2.convexHull(opencv_pixels(section, corners_of(boxes), 600).astype(np.float32))
    mask = np.zeros((400, 600), np.uint8)
    cv2.fillConvexPoly(mask, np.rint(outline).astype(np.int32), 1)
    picture = draw_camera_view(plan, state, 600).astype(int)
    # Night blue or another single colour against pale floor: what is much darker in blue or red is domino.
    colour = plan.palette.srgb8[plan.standing.colour[0]].astype(int)
    like = (
        np.abs(picture / np.maximum(picture.max(axis=2, keepdims=True), 1) - colour / colour.max()).max(
            axis=2
        )
        < 0.12
    )
    kernel = np.ones((5, 5), np.uint8)
    core = cv2.erode(mask, kernel).astype(bool)
    around = cv2.dilate(mask, kernel).astype(bool)
    assert core.sum() > 500
    assert like[core].mean() > 0.98
    assert not like[~around].any()


def test_the_near_one_hides_the_far_one():
    # Looking level along the fall at the back of a column: only row 0 can be seen.
    two = (("orange", "#e57e2e"), ("deep blue", "#1f5594"))
    plan = make_test_plan(
        Wish(columns=1, rows=2, holes=False, lines=(), tray=(1, 2), colours=two, noise=0.0, camera=True)
    )
    colour = np.array([0, 1], dtype=np.int16)
    middle = float(plan.standing.x_m[0])
    for aim, near in ((2.0, 0), (0.0, 1)):
        camera_y = 1.0 - 0.5 if aim > 1 else 1.0 + 0.6
        section = CameraSection(
            position_m=(middle, camera_y, 0.024), aim_m=(middle, aim, 0.024), focal_length_m=0.05
        )
        changed = replace(
            plan, brief=replace(plan.brief, camera=section), standing=replace(plan.standing, colour=colour)
        )
        pixel = draw_camera_view(changed, "standing", 300)[100, 150].astype(float)
        wanted = plan.palette.srgb8[near].astype(float)
        assert np.argmax(pixel) == np.argmax(wanted)


def test_above_the_horizon_there_is_no_floor():
    plan = make_test_plan(Wish(columns=10, rows=8, camera=True))
    section = CameraSection(position_m=(1.0, -2.0, 1.0), aim_m=(1.0, 2.0, 1.0), focal_length_m=0.035)
    picture = draw_camera_view(replace(plan, brief=replace(plan.brief, camera=section)), "standing", 300)
    assert picture.shape == (200, 300, 3)
    assert (picture[:99] == BACKDROP).all()
    assert (picture[102] != BACKDROP).any()


def test_without_a_camera_there_is_no_view():
    with pytest.raises(ValueError, match="no camera"):
        draw_camera_view(make_test_plan(Wish(columns=4, rows=4, tray=(4, 4))), "standing")


def test_the_same_plan_gives_the_same_pixels():
    plan = make_test_plan(Wish(columns=20, rows=10, camera=True))
    assert (draw_camera_view(plan, "fallen", 300) == draw_camera_view(plan, "fallen", 300)).all()
