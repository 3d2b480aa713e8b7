"""Loops: curves joined end to end, and which of them is the floor."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.validation import explain_validity

from standfall.intake.floor_curve import JOINT_M, Curve, Floats

Ring = tuple[tuple[float, float], ...]

# Smaller loops are specks of a drawing program, not edges of anything.
_LEAST_AREA_M2 = 1e-5


@dataclass(frozen=True)
class Loops:
    """Closed rings, counter-clockwise, and the places where a curve ends and no other begins."""

    rings: tuple[Ring, ...]
    open_ends_m: tuple[tuple[float, float], ...]


def close_loops(curves: Sequence[Curve]) -> Loops:
    """Join open curves whose ends meet within ``JOINT_M``, and return all loops.

    Where more than two curves meet, the smallest loops are taken, as two rooms share a wall.
    """
    rings = [make_ring(curve.points) for curve in curves if curve.closed]
    chains, joints = _joined([curve.points for curve in curves if not curve.closed])
    faces, *_ = shapely.polygonize_full([shapely.LineString(chain) for chain in chains])
    rings += [make_ring(shapely.get_coordinates(face.exterior)[:-1]) for face in faces.geoms]
    degree = Counter(end for pair in joints for end in pair)
    ends = sorted(place for place, count in degree.items() if count == 1)
    return Loops(tuple(ring for ring in rings if ring), tuple(ends))


def split_floor(
    rings: Sequence[Ring],
) -> tuple[Ring | None, list[Ring], list[Ring], str | None]:
    """Return the largest ring, the rings right inside it, all others, and why the largest is no floor.

    Rings inside a hole, outside the largest or across its edge are among the others.
    """
    if not rings:
        return None, [], [], None
    areas = [abs(shapely.Polygon(ring).area) for ring in rings]
    largest = max(range(len(rings)), key=lambda number: (areas[number], -number))
    floor = shapely.Polygon(rings[largest])
    if not floor.is_valid:
        return rings[largest], [], [], str(explain_validity(floor))
    shapely.prepare(floor)
    holes: list[Ring] = []
    kept: list[shapely.Polygon] = []
    others = []
    for number in sorted(range(len(rings)), key=lambda number: -areas[number]):
        if number == largest:
            continue
        polygon = shapely.Polygon(rings[number])
        if rings[number] == rings[largest] or any(hole.equals(polygon) for hole in kept):
            continue  # drawn twice
        inside = polygon.is_valid and floor.contains(polygon)
        if inside and not any(hole.intersects(polygon) for hole in kept):
            holes.append(rings[number])
            kept.append(polygon)
        else:
            others.append(rings[number])
    return rings[largest], holes, others, None


def _joined(
    chains: list[Floats],
) -> tuple[list[Floats], list[tuple[tuple[float, float], tuple[float, float]]]]:
    """Move the ends of chains that meet to one place, and return the chains with their ends, each once."""
    nodes = _Nodes()
    joined, joints, seen = [], [], set()
    for chain in chains:
        begin, end = nodes.at(chain[0]), nodes.at(chain[-1])
        if begin == end and len(chain) < 4:
            continue
        middle = tuple(np.round(chain[len(chain) // 2] / JOINT_M).tolist()) if len(chain) > 2 else ()
        key = (frozenset((begin, end)), middle)
        if key in seen:
            continue  # the same line drawn twice
        seen.add(key)
        moved = chain.copy()
        moved[0], moved[-1] = begin, end
        joined.append(moved)
        joints.append((begin, end))
    return joined, joints


class _Nodes:
    """Places where ends meet: each end goes to the first one within ``JOINT_M``."""

    def __init__(self) -> None:
        self._cells: dict[tuple[int, int], list[tuple[float, float]]] = {}

    def at(self, point: Floats) -> tuple[float, float]:
        x, y = float(point[0]), float(point[1])
        column, row = math.floor(x / JOINT_M), math.floor(y / JOINT_M)
        for place in self._near(column, row):
            if math.dist(place, (x, y)) <= JOINT_M:
                return place
        self._cells.setdefault((column, row), []).append((x, y))
        return x, y

    def _near(self, column: int, row: int) -> Iterator[tuple[float, float]]:
        for across in (column, column - 1, column + 1):
            for up in (row, row - 1, row + 1):
                yield from self._cells.get((across, up), ())


def make_ring(points: Floats) -> Ring:
    """Return a ring counter-clockwise from its lowest left corner, in whole nanometres; empty for a speck."""
    rounded = np.round(points, 9) + 0.0  # no negative zeros
    keep = np.any(rounded != np.roll(rounded, 1, axis=0), axis=1)
    rounded = rounded[keep]
    if len(rounded) < 3:
        return ()
    # The area by the corners' cross products from the first one, so that far ones lose no digits.
    x, y = (rounded - rounded[0]).T
    area = float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))) / 2
    if not abs(area) >= _LEAST_AREA_M2:
        return ()
    if area < 0:
        rounded = rounded[::-1]
    first = int(np.lexsort((rounded[:, 0], rounded[:, 1]))[0])
    return tuple((float(px), float(py)) for px, py in np.roll(rounded, -first, axis=0))
