"""The floor as a robot has mapped it: a pair of YAML and picture, as ROS map servers read them.

Only cells that the map calls free are floor. A cell that is occupied, or that nobody has seen, is not. The grid's
cells are some centimetres, which is enough to keep clear of walls; places of tiles are never taken from it.

Sources: ROS wiki, "map_server", section "Map format" (keys; p = (255 - v) / 255, or v / 255 with negate; free
below free_thresh, occupied above occupied_thresh; ``origin`` is the pose of the lower left pixel, yaw
counter-clockwise); API of map_server, ``loadMapFromFile`` ("pose of lower-left corner of image"); nav2_map_server,
``map_io`` (the picture's row 0 is the top of the map; modes); nav2_costmap_2d, ``Costmap2D::mapToWorld`` (middle
of a cell at origin + (n + 0.5) resolution, so its edges are at origin + n resolution).
"""

from __future__ import annotations

import io
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image

from standfall.findings import Finding, make_finding
from standfall.intake.decode import DECODER_ERRORS
from standfall.intake.floor_cells import blocks_of, floor_of_blocks, largest_part, shaved
from standfall.intake.floor_drawing import (
    AREAS_MOST,
    CORNERS_MOST,
    LEAST_SIDE_M,
    MOST_SIDE_M,
    FloorDrawing,
    refused,
    too_large,
)
from standfall.intake.floor_loop import Ring, make_ring

TEXT_MOST_BYTES = 64 * 1024
PICTURE_MOST_BYTES = 64 * 1024 * 1024
# 250 m by 250 m at the usual 5 cm. Our own choices, like the next ones.
PIXELS_MOST = 25_000_000
_BLOCKS_MOST = 100_000
_EXACT_CORNERS_MOST = 60_000
_CELL_LEAST_M, _CELL_MOST_M = 0.001, 0.5
_NUMBER_MOST = 1e6
# Free parts that do not hang together with the floor are told of from this size on.
_PART_TOLD_M2 = 1.0
# What map savers write for a cell that nobody has seen.
_UNKNOWN_GREY = 205

_MODES = ("trinary", "scale")


@dataclass(frozen=True)
class MapFacts:
    """The YAML of a map: picture, metres a pixel, pose of the lower left corner, thresholds, negate."""

    image: str
    resolution_m: float
    origin_m: tuple[float, float]
    yaw_rad: float
    occupied_thresh: float
    free_thresh: float
    negate: bool


def read_map_facts(data: bytes, name: str, where: str = "hall.drawing") -> MapFacts | Finding:
    """Read the YAML of a map; only plain values are read, a tag that asks for more is refused.

    Args:
        data: the whole file.
        name: of the file, for messages.
        where: key path for findings.
    """
    if len(data) > TEXT_MOST_BYTES:
        return too_large(where, name, f"{len(data):,} bytes", f"{TEXT_MOST_BYTES:,} bytes")
    # Imported here: few briefs have a map.
    import yaml

    try:
        values = yaml.safe_load(data.decode("utf-8"))
    except (yaml.YAMLError, ValueError, RecursionError, TypeError, LookupError, AttributeError) as error:
        text = " ".join(str(error).split())[:160]
        return _faulty(where, name, "is no plain YAML", text, "plain values only, no tags")
    if not isinstance(values, Mapping):
        return _faulty(where, name, "does not describe a map", type(values).__name__, "keys with values")
    try:
        return _facts(values)
    except ValueError as error:
        key, _, found = str(error).partition("|")
        return _faulty(where, name, f"has a faulty {key}", found, _LIMITS[key])


_LIMITS = {
    "image": "the name of a PGM or PNG file beside it",
    "resolution": f"metres a pixel, {_CELL_LEAST_M:g} to {_CELL_MOST_M:g}",
    "origin": "[x, y, yaw] of the lower left corner, metres and radians",
    "occupied_thresh": "a number from free_thresh to 1",
    "free_thresh": "a number above 0, up to occupied_thresh",
    "negate": "0 or 1",
    "mode": "trinary or scale",
}


def _facts(values: Mapping[Any, Any]) -> MapFacts:
    image = values.get("image")
    if not isinstance(image, str) or not image.strip() or len(image) > 1000 or not image.isprintable():
        raise ValueError(f"image|{_shown(image)}")
    resolution_m = _number(values, "resolution", _CELL_LEAST_M, _CELL_MOST_M)
    origin = values.get("origin")
    if not isinstance(origin, list) or len(origin) != 3:
        raise ValueError(f"origin|{_shown(origin)}")
    pose = [_number({"origin": value}, "origin", -_NUMBER_MOST, _NUMBER_MOST) for value in origin]
    occupied = _number(values, "occupied_thresh", 0.0, 1.0)
    free = _number(values, "free_thresh", 0.0, occupied)
    negate = values.get("negate")
    if negate not in (0, 1):  # true and false are 1 and 0
        raise ValueError(f"negate|{_shown(negate)}")
    if values.get("mode", "trinary") not in _MODES:
        raise ValueError(f"mode|{_shown(values['mode'])}")
    return MapFacts(image, resolution_m, (pose[0], pose[1]), pose[2], occupied, free, bool(negate))


def _number(values: Mapping[Any, Any], key: str, least: float, most: float) -> float:
    value = values.get(key)
    try:
        # PyYAML takes 5e-2 for a text, for YAML 1.1 wants a point in it; other readers do not.
        number = float(value) if isinstance(value, int | float | str) else math.nan
    except (ValueError, OverflowError):
        number = math.nan
    if isinstance(value, bool) or not least <= number <= most:
        raise ValueError(f"{key}|{_shown(value)}")
    return number


def _shown(value: object) -> str:
    text = "missing" if value is None else repr(value) if isinstance(value, str | int | float) else "a list"
    return text if len(text) <= 80 else text[:77] + "..."


def _faulty(where: str, name: str, what: str, found: str, limit: str) -> Finding:
    return make_finding(
        "H815",
        where,
        f"{name} {what}",
        value=found,
        limit=limit,
        next_step="Mend the YAML file of the map, or save the map again.",
    )


def read_floor_map(facts: MapFacts, picture: bytes, name: str, where: str = "hall.drawing") -> FloorDrawing:
    """Read the floor from a map: the largest free part, obstacles inside it as pillars.

    The edges of cells are the walls. The steps of slanting walls are made straight, to the inside and by at
    most a cell and a quarter.

    Args:
        facts: the map's YAML.
        picture: bytes of its picture: PGM, PNG or BMP; transparency counts as not seen.
        name: of the picture, for messages.
        where: key path for findings.
    """
    grey = _grey(picture, name, where)
    if isinstance(grey, Finding):
        return refused(grey)
    findings: list[Finding] = []
    free = _free(facts, grey, name, where, findings)
    # The picture's row 0 is the top, the map's is the bottom.
    part, others = largest_part(free[::-1])
    if not part.any():
        return refused(_no_floor(name, where))
    blocks = blocks_of(part)
    if len(blocks) > _BLOCKS_MOST:
        return refused(_ragged(name, where, f"{len(blocks):,} blocks", f"{_BLOCKS_MOST:,} blocks"))
    exact = floor_of_blocks(blocks)
    corners = int(shapely.get_num_coordinates(exact))
    if corners > _EXACT_CORNERS_MOST or len(exact.interiors) > AREAS_MOST:
        found = f"{corners:,} corners, {len(exact.interiors):,} obstacles"
        limit = f"{_EXACT_CORNERS_MOST:,} corners of cells, {AREAS_MOST:,} obstacles"
        return refused(_ragged(name, where, found, limit))
    floor = shaved(exact)
    corners = int(shapely.get_num_coordinates(floor))
    if corners > CORNERS_MOST:
        return refused(_ragged(name, where, f"{corners:,} corners", f"{CORNERS_MOST:,} corners"))
    outline = _ring_m(floor.exterior, facts)
    size_m = np.ptp(np.array(outline), axis=0) if outline else np.zeros(2)
    farthest_m = float(np.abs(np.array(outline)).max()) if outline else math.inf
    if not (size_m.max() >= LEAST_SIDE_M and farthest_m <= MOST_SIDE_M):
        return refused(_unlikely(name, where, size_m, farthest_m))
    areas = tuple(("pillar", ring) for hole in floor.interiors if (ring := _ring_m(hole, facts)))
    cell_m2 = facts.resolution_m**2
    if len(others) and others[0] * cell_m2 >= _PART_TOLD_M2:
        findings.append(
            _apart(name, where, int((others * cell_m2 >= _PART_TOLD_M2).sum()), others[0] * cell_m2)
        )
    findings.append(_told(name, where, facts, size_m, len(areas), len(outline)))
    return FloorDrawing(outline, areas, tuple(findings))


def _grey(data: bytes, name: str, where: str) -> NDArray[np.float64] | Finding:
    """Return (rows, columns) grey levels 0 to 255, mean of the colours, NaN where it is not opaque."""
    if len(data) > PICTURE_MOST_BYTES:
        return too_large(where, name, f"{len(data):,} bytes", f"{PICTURE_MOST_BYTES:,} bytes")
    try:
        with Image.open(io.BytesIO(data), formats=("PPM", "PNG", "BMP")) as picture:
            if picture.width * picture.height > PIXELS_MOST:
                size = f"{picture.width:,} x {picture.height:,} pixels"
                return too_large(where, name, size, f"{PIXELS_MOST:,} pixels")
            picture.load()
            return _levels(picture)
    except Image.DecompressionBombError:
        return too_large(where, name, "more pixels", f"{PIXELS_MOST:,} pixels")
    except (*DECODER_ERRORS, MemoryError):
        return make_finding(
            "H815",
            where,
            f"{name} is damaged, or no picture of a map",
            value=name,
            limit="a whole PGM, PNG or BMP file",
            next_step="Save the map again.",
        )


def _levels(picture: Image.Image) -> NDArray[np.float64]:
    if picture.mode in ("I", "I;16", "I;16B"):
        return np.asarray(picture, dtype=np.float64) * (255.0 / 65535.0)
    if picture.mode in ("1", "L") and "transparency" not in picture.info:
        return np.asarray(picture.convert("L"), dtype=np.float64)
    if picture.mode not in ("1", "L", "LA", "P", "PA", "RGB", "RGBA"):
        raise ValueError("the picture has colours that no map has")
    rgba = np.asarray(picture.convert("RGBA"))
    return np.where(rgba[..., 3] == 255, rgba[..., :3].mean(axis=-1), np.nan)


def _free(
    facts: MapFacts, grey: NDArray[np.float64], name: str, where: str, findings: list[Finding]
) -> NDArray[np.bool_]:
    occupied = grey / 255.0 if facts.negate else (255.0 - grey) / 255.0
    # Above the one is looked at first; the two can only meet where the thresholds are the same.
    free = (occupied < facts.free_thresh) & ~(occupied > facts.occupied_thresh)
    if not facts.negate and bool(free[grey == _UNKNOWN_GREY].any()):
        findings.append(
            make_finding(
                "H819",
                where,
                f"{name}: grey {_UNKNOWN_GREY} is what map savers write where nothing was seen; at this "
                "free_thresh it counts as free",
                value=facts.free_thresh,
                limit="at most 0.196",
                next_step="Look at the floor plan; if it shows floor behind walls, set free_thresh to 0.196.",
            )
        )
    return np.asarray(free)


def _ring_m(ring: shapely.LinearRing, facts: MapFacts) -> Ring:
    """Turn a ring from cells to the hall; the map's origin is the lower left corner of its lower left cell."""
    x, y = (shapely.get_coordinates(ring)[:-1] * facts.resolution_m).T
    cosine, sine = math.cos(facts.yaw_rad), math.sin(facts.yaw_rad)
    return make_ring(
        np.column_stack(
            [facts.origin_m[0] + x * cosine - y * sine, facts.origin_m[1] + x * sine + y * cosine]
        )
    )


def _no_floor(name: str, where: str) -> Finding:
    return make_finding(
        "H816",
        where,
        f"{name} has no free cell",
        value="0 cells",
        limit="free floor",
        next_step="Look at the picture: free floor is white, unless negate is 1. Check free_thresh.",
    )


def _ragged(name: str, where: str, found: str, limit: str) -> Finding:
    return make_finding(
        "H815",
        where,
        f"{name} is too ragged for a floor with straight walls",
        value=found,
        limit=limit,
        next_step="Clean the map in a picture program: fill specks, straighten walls.",
    )


def _unlikely(name: str, where: str, size_m: NDArray[np.float64], farthest_m: float) -> Finding:
    far = size_m.max() >= LEAST_SIDE_M
    return make_finding(
        "H817",
        where,
        f"the floor in {name} is {size_m[0]:,.4g} m by {size_m[1]:,.4g} m, up to {farthest_m:,.4g} m from the origin",
        value=f"{farthest_m if far else size_m.max():,.4g} m",
        limit=f"at most {MOST_SIDE_M:,.0f} m from the origin" if far else f"at least {LEAST_SIDE_M:g} m",
        next_step="Check resolution (metres a pixel) and origin in the map's YAML file.",
    )


def _apart(name: str, where: str, count: int, largest_m2: float) -> Finding:
    return make_finding(
        "H819",
        where,
        f"{name} has free parts that do not hang together with the largest; they are no floor here",
        value=f"{count} of 1 m² or more, the largest {largest_m2:,.1f} m²",
        limit="one part",
        next_step="Look at the floor plan; open the doorway in the map if the parts belong together.",
    )


def _told(
    name: str, where: str, facts: MapFacts, size_m: NDArray[np.float64], pillars: int, corners: int
) -> Finding:
    return make_finding(
        "H818",
        where,
        f"{name} gives a floor of {size_m[0]:.3f} m by {size_m[1]:.3f} m with {pillars} obstacles inside, exact "
        f"to its cells of {facts.resolution_m * 1000:g} mm at best",
        value=f"{corners} corners",
        limit=None,
        next_step="Measure the walls near the mural by hand; nothing need be done if the floor plan is right.",
    )
