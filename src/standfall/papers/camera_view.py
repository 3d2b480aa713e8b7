"""The mural seen through the camera of the brief, standing or fallen."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from standfall.mural.advice import camera_of
from standfall.mural.camera import Camera, floor_to_image
from standfall.mural.conversion import srgb8_to_linear
from standfall.papers.canvas import Canvas
from standfall.papers.pose import Boxes, State, pose_boxes
from standfall.papers.preview import FLOOR, OUTSIDE, fine_for
from standfall.planning.plan import Plan

Floats = NDArray[np.float64]

BACKDROP = (58, 60, 66)
# Light on a face by where it looks: straight up all of it, level the rest; a lamp above (our own choice).
_LEVEL_LIGHT = 0.55
_LIGHTS = 12
_RIM_LIGHT = 0.5
# The floor near a foot lies in shade: how much light is left, how far it reaches sideways, and behind, in
# parts of half the width of a domino; ahead it reaches half the width (our own choice).
_SHADOW_LIGHT, _SHADOW_WIDE, _SHADOW_LONG = 0.5, 1.13, 0.8
_CHUNK = 50_000
# A box nearer to the lens than this is left out: it would hide the mural.
_NEAREST_M = 0.05
# Corners of a box in parts of (up, back, side), and the faces as corner numbers with their outward normal
# in the same terms.
_CORNERS = np.array([[u, b, s] for u in (0.0, 1.0) for b in (0.0, 1.0) for s in (-1.0, 1.0)])
_FACES = np.array([[4, 5, 7, 6], [0, 1, 3, 2], [0, 1, 5, 4], [2, 3, 7, 6], [0, 2, 6, 4], [1, 3, 7, 5]])
_NORMALS = np.array([[1, 0, 0], [-1, 0, 0], [0, -1, 0], [0, 1, 0], [0, 0, -1], [0, 0, 1]], dtype=np.float64)


def draw_camera_view(plan: Plan, state: State, width_px: int = 1920) -> NDArray[np.uint8]:
    """Draw the mural as the brief's camera sees it.

    Boxes are drawn nearest on top, each face shaded by how far it looks up; fallen ones lie on the next.

    Returns:
        sRGB codes, uint8 (height, width, 3), in the proportion of the sensor.

    Raises:
        ValueError: the brief has no camera, its camera has no direction, or width_px is below 16.
    """
    if plan.brief.camera is None:
        raise ValueError("the brief has no camera; add a section [camera]")
    if width_px < 16:
        raise ValueError(f"a camera view needs at least 16 pixels of width, not {width_px}")
    camera = camera_of(plan.brief.camera)
    height_px = max(1, round(width_px * camera.sensor_height_m / camera.sensor_width_m))
    colours = len(plan.palette)
    canvas = Canvas(width_px, height_px, 2 * colours * _LIGHTS + 1, fine_for(width_px, height_px))
    boxes = pose_boxes(plan.standing, plan.brief, state)
    view = _View(camera, width_px, _nearest(camera, boxes))
    for first in range(0, len(boxes), _CHUNK):
        some = slice(first, first + _CHUNK)
        colour = plan.standing.colour[some].astype(np.int64)
        _paint(canvas, view, boxes.part(some), colour, colours)
        _shade_floor(canvas, view, boxes.part(some), 2 * colours * _LIGHTS)
    light = np.clip(plan.palette.linear, 0.0, 1.0)
    shades = np.linspace(_LEVEL_LIGHT, 1.0, _LIGHTS)
    faces = (shades[:, None, None] * light).reshape(-1, 3)
    ground, lights = _ground(plan, camera, width_px, height_px)
    return canvas.picture(
        np.concatenate([faces * _RIM_LIGHT, faces, lights[:1] * _SHADOW_LIGHT]), ground, lights
    )


def camera_pixels(camera: Camera, points_m: Floats, width_px: int) -> tuple[Floats, NDArray[np.bool_]]:
    """Return where hall points (n, 3) appear in a picture of a width: (n, 2) pixels and whether in front.

    Pixels run right and down from the picture's top left corner; NaN for points not in front.
    """
    image_m, in_front = floor_to_image(camera, points_m)
    half = np.array([camera.sensor_width_m, camera.sensor_height_m]) / 2
    return (image_m + half) * (width_px / camera.sensor_width_m), in_front


@dataclass(frozen=True)
class _View:
    """A camera, the picture it fills, and the distance of the nearest thing it is to show."""

    camera: Camera
    width_px: int
    nearest_m: float

    def shapes(self, corners_m: Floats) -> tuple[Floats, Floats, NDArray[np.bool_]]:
        """Return pixels (n, c, 2), depth (n, c) and whether the whole of each shape (n, c, 3) can be shown."""
        pixels, in_front = camera_pixels(self.camera, corners_m.reshape(-1, 3), self.width_px)
        away_m = _depth(self.camera, corners_m)
        whole = in_front.reshape(away_m.shape).all(axis=1) & (away_m.min(axis=1) >= self.nearest_m)
        # Depth runs with 1 / distance, which is even along a straight line in the picture.
        depth = 1.0 - self.nearest_m / np.maximum(away_m, self.nearest_m)
        return pixels.reshape(*away_m.shape, 2), depth, whole


def _paint(canvas: Canvas, view: _View, boxes: Boxes, colour: NDArray[np.int64], colours: int) -> None:
    """Paint the faces of boxes that look towards the lens, each shaded by how far it looks up."""
    edges = np.stack([boxes.up, boxes.back, boxes.side], axis=1)
    corners = boxes.foot[:, None, :] + _CORNERS @ edges
    pixels, depth, whole = view.shapes(corners)
    middle = corners.mean(axis=1)
    for face, normal in zip(_FACES, _NORMALS, strict=True):
        outward = np.einsum("k,nkd->nd", normal, edges)
        # The side is half a width long, the other two edges are whole.
        to_lens = np.asarray(view.camera.position_m) - middle - outward * (1.0 if normal[2] else 0.5)
        seen = np.flatnonzero(whole & (np.einsum("nd,nd->n", outward, to_lens) > 0))
        looks_up = outward[seen, 2] / np.linalg.norm(outward[seen], axis=1)
        shade = np.rint(np.clip(looks_up, 0.0, 1.0) * (_LIGHTS - 1)).astype(np.int64)
        ink = shade * colours + colour[seen]
        canvas.paint(pixels[seen][:, face], depth[seen][:, face], ink + colours * _LIGHTS, ink)


def _shade_floor(canvas: Canvas, view: _View, boxes: Boxes, ink: int) -> None:
    pixels, depth, whole = view.shapes(_shadows(boxes))
    inks = np.full(int(whole.sum()), ink)
    canvas.paint(pixels[whole], depth[whole], inks, inks)


def _shadows(boxes: Boxes) -> Floats:
    """Return (n, 4, 3) dark spots on the floor around the foot of each box, a little ahead of it."""
    flat = np.array([1.0, 1.0, 0.0])
    middle, side = boxes.foot * flat, boxes.side * _SHADOW_WIDE
    ahead = np.column_stack([boxes.side[:, 1], -boxes.side[:, 0], np.zeros(len(boxes))])
    behind = middle - ahead * _SHADOW_LONG
    return np.stack([behind + side, behind - side, middle - side + ahead, middle + side + ahead], axis=1)


def _forward(camera: Camera) -> Floats:
    ahead = np.subtract(camera.aim_m, camera.position_m).astype(np.float64)
    return np.asarray(ahead / np.linalg.norm(ahead))


def _depth(camera: Camera, points_m: Floats) -> Floats:
    """Return (...,) distance along the optical axis of points (..., 3)."""
    return np.asarray((points_m - np.asarray(camera.position_m)) @ _forward(camera))


def _nearest(camera: Camera, boxes: Boxes) -> float:
    """Least distance of any foot in front, a little less to leave room for its box."""
    away_m = _depth(camera, boxes.foot)
    away_m = away_m[away_m > _NEAREST_M]
    reach_m = float(np.linalg.norm(boxes.up[0]) + np.linalg.norm(boxes.side[0])) if len(boxes) else 0.0
    return max(_NEAREST_M, float(away_m.min()) - reach_m) if len(away_m) else _NEAREST_M


def _ground(plan: Plan, camera: Camera, width_px: int, height_px: int) -> tuple[NDArray[np.uint8], Floats]:
    """What is seen behind the dominoes in each pixel: floor, floor outside the hall, or no floor at all."""
    x_m, y_m = _floor_points(camera, width_px, height_px)
    inside = np.zeros((height_px, width_px), dtype=np.bool_)
    corners = plan.brief.hall.outline_m
    with np.errstate(invalid="ignore"):
        # Even-odd rule, edge by edge (common practice, no source).
        for (x0, y0), (x1, y1) in zip(corners, (*corners[1:], corners[0]), strict=True):
            if y0 != y1:
                inside ^= ((y_m < y0) != (y_m < y1)) & (x_m < x0 + (y_m - y0) * ((x1 - x0) / (y1 - y0)))
    ground = np.where(np.isnan(x_m), 2, np.where(inside, 0, 1)).astype(np.uint8)
    return ground, srgb8_to_linear(np.array([FLOOR, OUTSIDE, BACKDROP], dtype=np.uint8))


def _floor_points(camera: Camera, width_px: int, height_px: int) -> tuple[Floats, Floats]:
    """Where on the floor the middle of each pixel looks, (height, width) metres; NaN where it does not."""
    forward = _forward(camera)
    vertical = math.hypot(forward[0], forward[1]) < 1e-6
    right = np.cross(forward, [0.0, 1.0, 0.0] if vertical else [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right)
    down = np.cross(forward, right)
    pixel_m = camera.sensor_width_m / width_px
    across = (np.arange(width_px) + 0.5) * pixel_m - camera.sensor_width_m / 2
    below = (np.arange(height_px) + 0.5) * pixel_m - camera.sensor_height_m / 2
    ray = [
        forward[axis] * camera.focal_length_m + right[axis] * across[None, :] + down[axis] * below[:, None]
        for axis in range(3)
    ]
    x, y, z = (float(value) for value in camera.position_m)
    with np.errstate(divide="ignore", invalid="ignore"):
        far = np.where(ray[2] * z < 0, -z / ray[2], np.nan)
    return x + far * ray[0], y + far * ray[1]
