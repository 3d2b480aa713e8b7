"""A camera over the hall floor, and the picture warped so that it reads true from there.

Frames: *hall* x, y, z in metres, z up, floor z = 0; *image* x right, y down, in metres on the sensor, zero
where the optical axis meets it (OpenCV's axes, in metres instead of pixels). *Field*: (across, along)
in metres from the outer corner of row 0, column 0.

Source: Hartley and Zisserman, "Multiple View Geometry in Computer Vision", 2nd ed., 2004, section 6.1
(pinhole camera) and section 2.3 (maps between planes), from memory.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np
from numpy.typing import NDArray

from standfall.mural import _kernels
from standfall.mural.cells import CellGrid, Cells, Progress, cells_of_sums
from standfall.mural.conversion import LINEAR_OF_CODE
from standfall.mural.picture import Picture, Placement

FloatArray = NDArray[np.float64]
Point = tuple[float, float, float] | FloatArray
FieldToHall = FloatArray | Callable[[FloatArray], FloatArray]
Rectangle = tuple[float, float, float, float]

# Nearer than this in front of the lens a point counts as not seen: its image would lie anywhere.
_LEAST_DEPTH_M: Final = 1e-3
# Looking within this of straight down or up (as the sine of the angle), "up" cannot mean hall z.
_VERTICAL: Final = 1e-6
# How far a field may be from an even map onto the floor: far below any placing accuracy.
_EVEN_M: Final = 1e-6
# Cell corners computed per call of the kernel, to tell progress now and then.
_POINTS_PER_CALL: Final = 1_000_000


@dataclass(frozen=True)
class Camera:
    """A pinhole camera that is not tilted sideways: hall z is up in its image.

    Looking straight down or up, hall y is up in its image instead.

    Attributes:
        position_m: centre of the lens in the hall (x, y, z).
        aim_m: a point on its optical axis (x, y, z).
        focal_length_m: distance of the sensor behind the lens.
        sensor_width_m, sensor_height_m: size of the sensor; its pixels are square.

    Points may be given as arrays (3,) and are kept as tuples, so that equal cameras compare equal.

    Raises:
        ValueError: a point does not have three coordinates.
    """

    position_m: Point
    aim_m: Point
    focal_length_m: float
    sensor_width_m: float
    sensor_height_m: float

    def __post_init__(self) -> None:
        for name in ("position_m", "aim_m"):
            point = np.asarray(getattr(self, name), dtype=np.float64)
            if point.shape != (3,):
                raise ValueError(f"camera {name} must have shape (3,), not {point.shape}")
            object.__setattr__(self, name, tuple(point.tolist()))


def _lens_faults(camera: Camera) -> list[str]:
    numbers = (*camera.position_m, *camera.aim_m, camera.focal_length_m)
    if not np.isfinite((*numbers, camera.sensor_width_m, camera.sensor_height_m)).all():
        return ["the camera has a value that is not a finite number"]
    faults = [
        f"the camera's {name} is {value:g} m; it must be positive"
        for name, value in (
            ("focal length", camera.focal_length_m),
            ("sensor width", camera.sensor_width_m),
            ("sensor height", camera.sensor_height_m),
        )
        if value <= 0
    ]
    if np.linalg.norm(np.subtract(camera.aim_m, camera.position_m)) < _LEAST_DEPTH_M:
        faults.append("the camera aims at its own position; move the aim point")
    return faults


def camera_faults(camera: Camera, corners_xy: FloatArray, z_m: float = 0.0) -> list[str]:
    """Why a picture cannot be warped for this camera; empty when it can.

    Args:
        camera: the camera.
        corners_xy: corners of the field in the hall, (n, 2), metres.
        z_m: height of the plane that is seen.

    Returns:
        Sentences for a person, in a fixed order. A field that runs out of the frame is not a fault; see
        `outside_frame`.
    """
    faults = _lens_faults(camera)
    if faults:
        return faults
    if camera.position_m[2] - z_m < _LEAST_DEPTH_M:
        faults.append(
            f"the camera stands {camera.position_m[2]:g} m high, not above the field at {z_m:g} m; raise it"
        )
    _, depth_m = _project(camera, _lifted(corners_xy, z_m))
    for (x, y), depth in zip(corners_xy, depth_m, strict=True):
        if depth < _LEAST_DEPTH_M:
            faults.append(
                f"the field corner at ({x:.3f}, {y:.3f}) m is not in front of the camera "
                f"(depth {depth:.3f} m); move the camera back or turn it"
            )
    return faults


def _axes(camera: Camera) -> FloatArray:
    """Image right, image down and forward as unit vectors of the hall, rows of (3, 3)."""
    faults = _lens_faults(camera)
    if faults:
        raise ValueError("; ".join(faults))
    forward = np.subtract(camera.aim_m, camera.position_m).astype(np.float64)
    forward /= np.linalg.norm(forward)
    up = np.array([0.0, 0.0, 1.0])
    if np.hypot(forward[0], forward[1]) < _VERTICAL:
        up = np.array([0.0, 1.0, 0.0])
    right = np.cross(forward, up)
    right /= np.linalg.norm(right)
    return np.stack([right, np.cross(forward, right), forward])


def _lifted(points_xy: FloatArray, z_m: float) -> FloatArray:
    points = np.asarray(points_xy, dtype=np.float64)
    return np.column_stack([points, np.full(len(points), z_m)])


def _project(camera: Camera, points_xyz: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Image (n, 2), meaningless behind the camera, and depth (n,) along the optical axis, in metres."""
    seen = (np.asarray(points_xyz, dtype=np.float64) - np.asarray(camera.position_m)) @ _axes(camera).T
    depth_m = seen[:, 2]
    safe = np.where(depth_m == 0.0, np.nan, depth_m)
    return camera.focal_length_m * seen[:, :2] / safe[:, None], depth_m


def floor_to_image(camera: Camera, points_xyz: FloatArray) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Where hall points (n, 3) appear.

    Returns:
        Image points (n, 2) in metres on the sensor, x right, y down from the optical axis, NaN for points
        that are not in front of the camera; and bool (n,), whether each is in front.

    Raises:
        ValueError: the camera has no direction, or a size that is not positive.
    """
    image, depth_m = _project(camera, points_xyz)
    in_front = depth_m >= _LEAST_DEPTH_M
    return np.where(in_front[:, None], image, np.nan), in_front


def outside_frame(camera: Camera, image: FloatArray) -> NDArray[np.bool_]:
    """Which image points (n, 2) of `floor_to_image` fall beside the sensor or are not seen at all."""
    half = 0.5 * np.array([camera.sensor_width_m, camera.sensor_height_m])
    return np.asarray(~(np.abs(image) <= half).all(axis=-1))


def homography(camera: Camera, z_m: float = 0.0) -> FloatArray:
    """Matrix (3, 3) from (x, y, 1) on the hall plane at height ``z_m`` to homogeneous image points.

    The third component is the depth in metres: positive in front of the camera.

    Raises:
        ValueError: the camera has no direction, or a size that is not positive.
    """
    axes = _axes(camera)
    plane = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, z_m]])
    plane[:, 2] -= np.asarray(camera.position_m)
    focal = np.diag([camera.focal_length_m, camera.focal_length_m, 1.0])
    return np.asarray(focal @ axes @ plane)


def _field_affine(grid: CellGrid, field_to_hall: FieldToHall) -> FloatArray:
    """Matrix (3, 3) from (across, along, 1) to (x, y, 1).

    Raises:
        ValueError: a callable that bends the field, a matrix of another shape, or a field without area.
    """
    if callable(field_to_hall):
        wide, long = grid.width_m, grid.length_m
        probes = np.array([[0, 0], [wide, 0], [0, long], [wide, long], [0.3 * wide, 0.6 * long]])
        placed = np.asarray(field_to_hall(probes), dtype=np.float64)
        across, along = (placed[1] - placed[0]) / wide, (placed[2] - placed[0]) / long
        even = placed[0] + probes[:, :1] * across + probes[:, 1:] * along
        if not np.abs(even - placed).max() < _EVEN_M:
            raise ValueError(
                "field_to_hall bends the field; only shifts, turns and even stretches are seen true"
            )
        rows = np.column_stack([across, along, placed[0]])
    else:
        rows = np.asarray(field_to_hall, dtype=np.float64)
        if rows.shape != (2, 3):
            raise ValueError(f"field_to_hall must have shape (2, 3), not {rows.shape}")
    if abs(np.linalg.det(rows[:, :2])) < 1e-12:
        raise ValueError("field_to_hall leaves the field without area")
    return np.vstack([rows, [0.0, 0.0, 1.0]])


def _bounds(points: FloatArray) -> Rectangle:
    """Left, right, top, bottom."""
    (left, top), (right, bottom) = points.min(axis=0), points.max(axis=0)
    return float(left), float(right), float(top), float(bottom)


def _covering(quad: FloatArray, width_px: int, height_px: int, centre: tuple[float, float]) -> Rectangle:
    """Smallest rectangle of the picture's proportion around the quad, slid as ``crop_centre`` asks."""
    left, right, top, bottom = _bounds(quad)
    scale = max((right - left) / width_px, (bottom - top) / height_px)
    wide, high = max(scale * width_px, right - left), max(scale * height_px, bottom - top)
    x = min(max(0.5 * (left + right) - centre[0] * wide, right - wide), left)
    y = min(max(0.5 * (top + bottom) - centre[1] * high, bottom - high), top)
    return x, x + wide, y, y + high


def _inscribed(quad: FloatArray, width_px: int, height_px: int) -> Rectangle:
    """Largest upright rectangle of the picture's proportion inside a convex quad, exactly.

    Unknowns are its centre and its half size s: for each side of the quad with outward normal n,
    n . centre + s (|nx| w + |ny| h) <= n . corner. The best s lies where three of the four sides touch,
    so all threes are tried. Where the rectangle could slide, the ends of the slide are averaged.
    """
    proportion = np.array([width_px, height_px]) / max(width_px, height_px)
    sides = np.roll(quad, -1, axis=0) - quad
    normals = np.column_stack([sides[:, 1], -sides[:, 0]])
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    limits = (normals * quad).sum(axis=1)
    inside = quad.mean(axis=0)
    outward = np.where(normals @ inside > limits, -1.0, 1.0)
    rows = np.column_stack([normals * outward[:, None], np.abs(normals) @ proportion])
    limits = limits * outward
    size = float(np.abs(quad - inside).max())
    best = 0.0
    centres: list[tuple[float, float]] = []
    for three in combinations(range(4), 3):
        matrix = rows[list(three)]
        if abs(np.linalg.det(matrix)) < 1e-9:
            continue
        x, y, s = np.linalg.solve(matrix, limits[list(three)])
        if (rows @ (x, y, s) > limits + 1e-9 * size).any() or s < best - 1e-9 * size:
            continue
        if s > best + 1e-9 * size:
            best, centres = float(s), []
        centres.append((x, y))
    centre, half = np.mean(centres, axis=0), best * proportion
    return (centre[0] - half[0], centre[0] + half[0], centre[1] - half[1], centre[1] + half[1])


def picture_rectangle(picture: Picture, placement: Placement, quad: FloatArray) -> Rectangle:
    """Where the picture lies in the camera's image: (left, right, top, bottom), metres on the sensor.

    Args:
        picture: gives the proportion.
        placement: ``crop``, the smallest upright rectangle of that proportion that covers the field;
            ``whole``, the largest inside it; ``stretch``, the rectangle around it, of any proportion.
        quad: image of the field's corners in order, (4, 2).
    """
    if placement.fit == "stretch":
        return _bounds(quad)
    if placement.fit == "whole":
        return _inscribed(quad, picture.width_px, picture.height_px)
    return _covering(quad, picture.width_px, picture.height_px, placement.crop_centre)


def average_cells_seen(
    picture: Picture,
    grid: CellGrid,
    placement: Placement,
    field_to_hall: FieldToHall,
    camera: Camera,
    samples: int = 4,
    z_m: float = 0.0,
    progress: Progress | None = None,
) -> Cells:
    """Mean colour of each cell when the picture is to read true from a camera.

    The picture is laid as an upright rectangle into the camera's image (`picture_rectangle`); each cell
    takes the mean of what it covers there. ``placement.picture_up`` has no say: up in the picture is up
    in the image. A cell's quad is cut into ``samples`` x ``samples`` parts, each averaged exactly over the
    box around it and weighted by its area in the image; the boxes of slanted parts overlap a little,
    which softens the picture by less than one part. Linear light and alpha as in `average_cells`. Pixels
    are summed as they are met: the boxes together hold each only a few times, which costs less memory
    than a summed-area table (3.2 GB for 10,000 x 10,000 pixels).

    Args:
        picture: the picture.
        grid: the field.
        placement: fit and, for ``crop``, which part survives.
        field_to_hall: matrix (2, 3) from (across, along, 1) to hall (x, y), or a function of points
            (n, 2); it may shift, turn and stretch evenly, not bend.
        camera: where it is seen from.
        samples: parts per side of a cell, at least 1.
        z_m: height of the plane that is seen, such as the top of what lies there.
        progress: told (rows done, rows, "warping the picture").

    Returns:
        `Cells` of shape (grid.rows, grid.columns).

    Raises:
        ValueError: `camera_faults` has something to say, the field is bent or without area, or
            ``samples`` is below 1.
    """
    if samples < 1:
        raise ValueError(f"samples {samples} is below 1")
    affine = _field_affine(grid, field_to_hall)
    wide, long = grid.width_m, grid.length_m
    corners = np.array([[0, 0, 1], [wide, 0, 1], [wide, long, 1], [0, long, 1]]) @ affine[:2].T
    faults = camera_faults(camera, corners, z_m)
    if faults:
        raise ValueError("; ".join(faults))
    quad, _ = _project(camera, _lifted(corners, z_m))
    left, right, top, bottom = picture_rectangle(picture, placement, quad)
    across_px, down_px = picture.width_px / (right - left), picture.height_px / (bottom - top)
    pixel_of_image = np.array([[across_px, 0, -left * across_px], [0, down_px, -top * down_px], [0, 0, 1]])
    pixel_of_field = pixel_of_image @ homography(camera, z_m) @ affine

    rgba = np.ascontiguousarray(picture.rgba)
    pitch = np.array([grid.col_pitch_m, grid.row_pitch_m])
    means = np.empty((grid.rows, grid.columns, 4))
    step = max(1, _POINTS_PER_CALL // (grid.columns * samples * samples))
    for first in range(0, grid.rows, step):
        last = min(grid.rows, first + step)
        means[first:last] = _kernels.average_seen_rows(
            rgba, LINEAR_OF_CODE, pixel_of_field, first, last, grid.columns, pitch, grid.shift_m, samples
        )
        if progress is not None:
            progress(last, grid.rows, "warping the picture")
    return cells_of_sums(means, 1.0)
