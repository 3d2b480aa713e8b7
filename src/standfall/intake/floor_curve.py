"""The curves of a drawing as chains of points in metres, arcs as chords that leave them by a millimetre at most."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

CHORD_ERROR_M = 0.001
# Farther than this nothing of a hall lies, whatever the unit: our own choice. Beyond it arcs are not cut up.
MOST_M = 100_000.0
# Ends nearer than this are one; a polyline that comes back this near to its start is closed.
JOINT_M = 0.001
_SPLINE_POINTS_MOST = 10_000
_PIECES_MOST = 4096


@dataclass(frozen=True)
class Curve:
    """(p, 2) points in order, metres; closed when the last is joined to the first."""

    points: Floats
    closed: bool


def curve_of(entity: Any, scale_m: float) -> list[Curve] | None:
    """Return the curves of a shape, ``None`` if it is of a kind that is not read or lies tilted in space.

    Args:
        entity: of a DXF file.
        scale_m: length of its unit in metres.
    """
    read = _READERS.get(entity.dxftype())
    side = 1.0 if entity.dxftype() in ("LINE", "SPLINE") else _side(entity)
    if read is None or side is None:
        return None
    found = read(entity, scale_m)
    if found is None:
        return None
    curve, in_world = found
    if side < 0 and not in_world:
        # Drawn as seen from below: the object's x axis points the other way (arbitrary axis algorithm).
        curve = Curve(curve.points * np.array([-1.0, 1.0]), curve.closed)
    return [_closed(curve)]


def arc_points(centre_m: tuple[float, float], radius_m: float, begin_rad: float, turn_rad: float) -> Floats:
    """Return (p, 2) points on an arc, both ends included; chords leave it by ``CHORD_ERROR_M`` at most.

    A chord of the angle d leaves a circle of radius r by r (1 - cos(d / 2)) = 2 r sin(d / 4)^2.
    """
    if not (math.isfinite(radius_m) and math.isfinite(begin_rad) and math.isfinite(turn_rad)):
        return np.full((2, 2), np.nan)
    largest = 4.0 * math.asin(math.sqrt(min(CHORD_ERROR_M / (2.0 * radius_m), 0.5))) if radius_m > 0 else 1.0
    # At least eight pieces for a circle, however small.
    pieces = math.ceil(abs(turn_rad) / min(largest, math.pi / 4) - 1e-9)
    angles = begin_rad + turn_rad * np.linspace(0.0, 1.0, min(max(pieces, 1), _PIECES_MOST) + 1)
    return np.column_stack([centre_m[0] + radius_m * np.cos(angles), centre_m[1] + radius_m * np.sin(angles)])


def bulge_points(start_m: Floats, end_m: Floats, bulge: float) -> Floats:
    """Return the points after ``start_m`` to ``end_m`` along a polyline's segment with a bulge.

    The bulge is the tangent of a quarter of the included angle, positive when the arc runs counter-clockwise
    (DXF Reference, LWPOLYLINE, group 42).
    """
    chord = end_m - start_m
    length_m = float(np.hypot(*chord))
    # The arc leaves its chord by half the chord times the bulge.
    if not (math.isfinite(bulge) and CHORD_ERROR_M < abs(bulge) * length_m / 2 < math.inf):
        return end_m[None, :]
    turn_rad = 4.0 * math.atan(bulge)
    radius_m = length_m * (1.0 + bulge * bulge) / (4.0 * abs(bulge))
    # From the middle of the chord to the centre, to the left of the chord: half the chord over tan(half the turn).
    left = np.array([-chord[1], chord[0]]) / length_m
    centre = (start_m + end_m) / 2 + left * (length_m * (1.0 - bulge * bulge) / (4.0 * bulge))
    begin_rad = math.atan2(start_m[1] - centre[1], start_m[0] - centre[0])
    points = arc_points((float(centre[0]), float(centre[1])), radius_m, begin_rad, turn_rad)[1:]
    points[-1] = end_m
    return points


def _side(entity: Any) -> float | None:
    """Return 1 for a shape seen from above, -1 for one from below, ``None`` for one that is tilted."""
    extrusion = entity.dxf.get("extrusion")
    if extrusion is None:
        return 1.0
    x, y, z = (float(value) for value in extrusion)
    if not math.hypot(x, y) <= 1e-6 * abs(z):
        return None
    return math.copysign(1.0, z)


def _closed(curve: Curve) -> Curve:
    points, closed = curve.points, curve.closed
    if len(points) > 3 and math.dist(points[0], points[-1]) <= JOINT_M:
        points, closed = points[:-1], True
    return Curve(points, closed)


def _chain(vertices: list[tuple[float, float, float]], closed: bool, scale_m: float) -> Curve | None:
    """Join vertices (x, y, bulge of the segment that follows)."""
    if len(vertices) < 2:
        return None
    places = np.array([vertex[:2] for vertex in vertices], dtype=np.float64) * scale_m
    parts = [places[:1]]
    for number in range(len(vertices) if closed else len(vertices) - 1):
        after = (number + 1) % len(vertices)
        parts.append(bulge_points(places[number], places[after], vertices[number][2]))
    points = np.concatenate(parts)
    return Curve(points[:-1] if closed else points, closed)


# Each reader gives the curve and whether it is in world coordinates already.
_Read = tuple[Curve, bool] | None


def _lwpolyline(entity: Any, scale_m: float) -> _Read:
    vertices = [(float(x), float(y), float(bulge)) for x, y, bulge in entity.get_points("xyb")]
    curve = _chain(vertices, bool(entity.closed), scale_m)
    return None if curve is None else (curve, False)


def _polyline(entity: Any, scale_m: float) -> _Read:
    if not (entity.is_2d_polyline or entity.is_3d_polyline):
        return None
    # Flag 16: a control point of a fitted spline, which the curve does not go through.
    kept = [vertex for vertex in entity.vertices if not vertex.dxf.flags & 16]
    vertices = [
        (float(v.dxf.location.x), float(v.dxf.location.y), float(v.dxf.get("bulge", 0.0))) for v in kept
    ]
    curve = _chain(vertices, bool(entity.is_closed), scale_m)
    return None if curve is None else (curve, bool(entity.is_3d_polyline))


def _line(entity: Any, scale_m: float) -> _Read:
    start, end = entity.dxf.start, entity.dxf.end
    ends = np.array([(start.x, start.y), (end.x, end.y)], dtype=np.float64) * scale_m
    return Curve(ends, False), True


def _arc(entity: Any, scale_m: float) -> _Read:
    centre, radius = entity.dxf.center, abs(float(entity.dxf.radius)) * scale_m
    begin = math.radians(entity.dxf.start_angle)
    turn = math.radians(entity.dxf.end_angle) - begin
    turn = turn % math.tau or math.tau
    points = arc_points((float(centre[0]) * scale_m, float(centre[1]) * scale_m), radius, begin, turn)
    return Curve(points, False), False


def _circle(entity: Any, scale_m: float) -> _Read:
    centre, radius = entity.dxf.center, abs(float(entity.dxf.radius)) * scale_m
    points = arc_points((float(centre[0]) * scale_m, float(centre[1]) * scale_m), radius, 0.0, math.tau)
    return Curve(points[:-1], True), False


def _ellipse(entity: Any, scale_m: float) -> _Read:
    if not float(entity.dxf.major_axis.magnitude) * scale_m <= MOST_M:
        return Curve(np.full((2, 2), np.inf), False), True
    return _flattened(entity, scale_m)


def _spline(entity: Any, scale_m: float) -> _Read:
    points = list(entity.control_points) + list(entity.fit_points)
    if not points or len(points) > _SPLINE_POINTS_MOST:
        return None
    if not all(abs(float(value)) * scale_m <= MOST_M for point in points for value in point):
        return Curve(np.full((2, 2), np.inf), False), True
    return _flattened(entity, scale_m)


def _flattened(entity: Any, scale_m: float) -> _Read:
    points = [(point.x, point.y) for point in entity.flattening(CHORD_ERROR_M / scale_m)]
    if len(points) < 2:
        return None
    return Curve(np.array(points, dtype=np.float64) * scale_m, False), True


_READERS = {
    "LWPOLYLINE": _lwpolyline,
    "POLYLINE": _polyline,
    "LINE": _line,
    "ARC": _arc,
    "CIRCLE": _circle,
    "ELLIPSE": _ellipse,
    "SPLINE": _spline,
}
