"""SVG by hand: numbers, tags, gradients, smooth curves and tapered blades.

All lengths are drawing units of the picture (its view box), x right and y down.
"""

import math
from collections.abc import Iterable, Sequence
from itertools import pairwise

Point = tuple[float, float]
Stop = tuple[float, str] | tuple[float, str, float]


def number(value: float) -> str:
    """Write `value` with at most one decimal, so that the same drawing gives the same bytes."""
    text = f"{value:.1f}"
    text = text[:-2] if text.endswith(".0") else text
    return "0" if text == "-0" else text


def tag(name: str, body: str = "", /, **attributes: str | float) -> str:
    """Return one element; an underscore in an attribute's name becomes a hyphen."""
    parts = []
    for key, value in attributes.items():
        shown = value if isinstance(value, str) else f"{value:.3f}".rstrip("0").rstrip(".")
        parts.append(f' {key.rstrip("_").replace("_", "-")}="{shown}"')
    head = f"<{name}{''.join(parts)}"
    return f"{head}>{body}</{name}>" if body else f"{head}/>"


def path(d: str, /, fill: str = "none", **attributes: str | float) -> str:
    """Return a path element."""
    return tag("path", d=d, fill=fill, **attributes)


def ellipse(centre: Point, rx: float, ry: float, fill: str, **attributes: str | float) -> str:
    """Return an ellipse element."""
    return tag(
        "ellipse",
        cx=number(centre[0]),
        cy=number(centre[1]),
        rx=number(rx),
        ry=number(ry),
        fill=fill,
        **attributes,
    )


def group(parts: Iterable[str], /, **attributes: str | float) -> str:
    """Return a group element around `parts`."""
    return tag("g", "".join(parts), **attributes)


def _stops(stops: Sequence[Stop]) -> str:
    out = []
    for stop in stops:
        opacity = {"stop_opacity": stop[2]} if len(stop) == 3 else {}
        out.append(tag("stop", offset=stop[0], stop_color=stop[1], **opacity))
    return "".join(out)


def linear(name: str, start: Point, end: Point, stops: Sequence[Stop]) -> str:
    """Return a linear gradient from `start` to `end`, in drawing units."""
    return tag(
        "linearGradient",
        _stops(stops),
        id=name,
        gradientUnits="userSpaceOnUse",
        x1=number(start[0]),
        y1=number(start[1]),
        x2=number(end[0]),
        y2=number(end[1]),
    )


def radial(name: str, centre: Point, radius: float, stops: Sequence[Stop], **attributes: str) -> str:
    """Return a radial gradient, in drawing units."""
    return tag(
        "radialGradient",
        _stops(stops),
        id=name,
        gradientUnits="userSpaceOnUse",
        cx=number(centre[0]),
        cy=number(centre[1]),
        r=number(radius),
        **attributes,
    )


def blur(name: str, deviation: float, deviation_y: float | None = None) -> str:
    """Return a Gaussian blur filter with room around the shape for its soft edge."""
    amount = number(deviation) if deviation_y is None else f"{number(deviation)} {number(deviation_y)}"
    return tag(
        "filter",
        tag("feGaussianBlur", stdDeviation=amount),
        id=name,
        x="-30%",
        y="-30%",
        width="160%",
        height="160%",
        color_interpolation_filters="sRGB",
    )


def clip(name: str, d: str) -> str:
    """Return a clip path made of one path."""
    return tag("clipPath", path(d, fill="#000"), id=name)


def _rounded(point: Point) -> Point:
    return round(point[0], 1), round(point[1], 1)


def _pairs(points: Sequence[Point], origin: Point) -> str:
    """Points as written coordinates relative to `origin`, with as few separators as SVG allows."""
    text = ""
    for x, y in points:
        for value in (number(x - origin[0]), number(y - origin[1])):
            text += value if value.startswith("-") or not text else " " + value
    return text


def _cubic(before: Point, start: Point, end: Point, after: Point) -> str:
    """One Catmull-Rom span as a cubic Bezier (tension 1/2: handles a sixth of the neighbours' chord).

    Written relative to the rounded start, so that rounding does not add up along a path.
    """
    handles = (
        (start[0] + (end[0] - before[0]) / 6, start[1] + (end[1] - before[1]) / 6),
        (end[0] - (after[0] - start[0]) / 6, end[1] - (after[1] - start[1]) / 6),
        _rounded(end),
    )
    return "c" + _pairs(handles, _rounded(start))


def smooth(points: Sequence[Point], closed: bool = False) -> str:
    """Return path data of a smooth curve through all `points`."""
    n = len(points)
    spans = n if closed else n - 1
    out = ["M" + _pairs(points[:1], (0.0, 0.0))]
    for i in range(spans):
        before = points[(i - 1) % n] if closed or i > 0 else points[0]
        after = points[(i + 2) % n] if closed or i + 2 < n else points[-1]
        out.append(_cubic(before, points[i], points[(i + 1) % n], after))
    return "".join(out) + ("Z" if closed else "")


def along(points: Sequence[Point], share: float) -> tuple[Point, float]:
    """Return the point at `share` (0 to 1) of a polyline's length, and its heading in radians."""
    lengths = [math.dist(a, b) for a, b in pairwise(points)]
    left = share * sum(lengths)
    for (a, b), length in zip(pairwise(points), lengths, strict=True):
        if left <= length:
            f = left / length if length else 0.0
            return (a[0] + f * (b[0] - a[0]), a[1] + f * (b[1] - a[1])), math.atan2(b[1] - a[1], b[0] - a[0])
        left -= length
    a, b = points[-2], points[-1]
    return b, math.atan2(b[1] - a[1], b[0] - a[0])


def bow(start: Point, control: Point, end: Point, steps: int = 8) -> list[Point]:
    """Return points on the quadratic Bezier curve from `start` to `end`."""
    out = []
    for i in range(steps + 1):
        t = i / steps
        a, b, c = (1 - t) ** 2, 2 * t * (1 - t), t * t
        out.append((a * start[0] + b * control[0] + c * end[0], a * start[1] + b * control[1] + c * end[1]))
    return out


def blade(centre: Sequence[Point], widths: Sequence[float]) -> str:
    """Return path data of a strip about the `centre` line, `widths` wide at its points."""
    left: list[Point] = []
    right: list[Point] = []
    n = len(centre)
    for i, (x, y) in enumerate(centre):
        a, b = centre[max(i - 1, 0)], centre[min(i + 1, n - 1)]
        heading = math.atan2(b[1] - a[1], b[0] - a[0])
        dx, dy = -math.sin(heading) * widths[i] / 2, math.cos(heading) * widths[i] / 2
        left.append((x + dx, y + dy))
        right.append((x - dx, y - dy))
    return smooth(left) + "L" + smooth(right[::-1])[1:] + "Z"
