"""The water of the demo picture: reflected sky, ripples, the sun's path and a fish's rings."""

import math
from random import Random

from standfall.demo.pencil import Point, ellipse, group, linear, number, path, tag
from standfall.demo.sky import HEIGHT, HORIZON_Y, SUN, WIDTH

_WATER = (
    (0.0, "#f5bf85"),
    (0.1, "#f3d9a8"),
    (0.24, "#d6ddc6"),
    (0.4, "#a2cbd6"),
    (0.56, "#649fc4"),
    (0.78, "#2d6c9b"),
    (1.0, "#163f70"),
)
RINGS: Point = (884.0, 618.0)


def water_defs() -> list[str]:
    """Return the gradient of the reflected sky."""
    return [linear("water", (0, HORIZON_Y), (0, HEIGHT), _WATER)]


def _depth(y: float) -> float:
    """Nearness to the viewer: 0 at the far waterline, 1 at the picture's lower edge."""
    return (y - HORIZON_Y) / (HEIGHT - HORIZON_Y)


def _ripple(x: float, y: float, scale: float, rng: Random) -> str:
    """One lens-shaped ripple, longer and thicker the nearer it lies."""
    near = _depth(y)
    half = scale * (14 + 70 * near) * rng.uniform(0.6, 1.4)
    thick = scale * (2.2 + 8.5 * near) * rng.uniform(0.7, 1.25)
    sag = thick * rng.uniform(-0.5, 0.5)
    x0, x1 = number(x - half), number(x + half)
    up, down = number(y - thick + sag), number(y + thick + sag)
    return f"M{x0} {number(y)}Q{number(x)} {up} {x1} {number(y)}Q{number(x)} {down} {x0} {number(y)}Z"


def _far_to_near(rng: Random) -> float:
    """A height on the water, denser towards the horizon as perspective makes it."""
    return HORIZON_Y + 8 + (HEIGHT - HORIZON_Y - 8) * math.pow(rng.random(), 1.35)


def _ripples(rng: Random) -> list[str]:
    """Ripples of sky light and of depth, each colour one path."""
    out = []
    for colour, opacity, count, low, high in (
        ("#1d5387", 0.5, 150, 0.25, 1.0),
        ("#0f2f5c", 0.6, 70, 0.5, 1.0),
        ("#5f9cc8", 0.75, 60, 0.18, 0.5),
        ("#a6d0dc", 0.75, 60, 0.4, 0.7),
        ("#7fb6d0", 0.6, 130, 0.12, 1.0),
        ("#d3e3d6", 0.65, 100, 0.05, 0.8),
        ("#f6d9a3", 0.65, 100, 0.0, 0.5),
        ("#f2a76c", 0.5, 50, 0.0, 0.34),
    ):
        marks: list[str] = []
        while len(marks) < count:
            y = _far_to_near(rng)
            if low <= _depth(y) <= high:
                marks.append(_ripple(rng.uniform(-20, WIDTH + 20), y, 1.0, rng))
        out.append(path("".join(marks), fill=colour, opacity=opacity))
    return out


def _sun_path(rng: Random) -> list[str]:
    """The broken column of sunlight below the sun, wider and sparser towards the viewer."""
    out = []
    for colour, opacity, count, spread in (
        ("#f0a04e", 0.6, 90, 1.5),
        ("#fbc56d", 0.75, 100, 1.0),
        ("#fff0bd", 0.9, 80, 0.55),
    ):
        marks = []
        for _ in range(count):
            y = HORIZON_Y + 4 + (HEIGHT - HORIZON_Y) * rng.random() ** 1.5
            x = SUN[0] + rng.gauss(0, spread * (22 + 74 * _depth(y)))
            marks.append(_ripple(x, y, 0.66, rng))
        out.append(path("".join(marks), fill=colour, opacity=opacity))
    return out


def _bank_reflection(rng: Random) -> list[str]:
    """The far bank upside down: a dim band whose lower edge breaks into ripples."""
    marks = [
        _ripple(rng.uniform(0, WIDTH), HORIZON_Y + 8 + 70 * rng.random() ** 1.6, 1.7, rng) for _ in range(110)
    ]
    return [
        ellipse((520, HORIZON_Y + 26), 620, 20, "#6f9183", opacity=0.45, filter="url(#mist)"),
        path("".join(marks), fill="#6d9082", opacity=0.4),
    ]


def _rings() -> list[str]:
    """Three rings where a fish has just been, each an ellipse with a bright and a dark side."""
    out = []
    for rx, width, opacity in ((22, 3.6, 0.95), (56, 4.2, 0.8), (100, 4.2, 0.55)):
        shape: dict[str, str | float] = {
            "rx": number(rx),
            "ry": number(rx * 0.17),
            "fill": "none",
            "stroke_width": width,
        }
        x, y = RINGS
        out.append(
            tag("ellipse", cx=number(x), cy=number(y + 4), stroke="#2a6a98", opacity=opacity * 0.8, **shape)
        )
        out.append(tag("ellipse", cx=number(x), cy=number(y), stroke="#ffe7b0", opacity=opacity, **shape))
    return out


def mirrored_bird(rng: Random) -> str:
    """Return the broken reflection of the bird and its perch on the near water."""
    out = []
    for colour, opacity, count, x, spread in (
        ("#0f2f5c", 0.7, 34, 470, 70),
        ("#e08335", 0.75, 30, 545, 44),
        ("#2fb3cc", 0.7, 26, 430, 36),
        ("#f7bf74", 0.6, 9, 575, 30),
    ):
        marks = [_ripple(rng.gauss(x, spread), rng.uniform(868, 996), 0.5, rng) for _ in range(count)]
        out.append(path("".join(marks), fill=colour, opacity=opacity))
    return group(out)


def water(rng: Random) -> str:
    """Return the water from the far waterline to the lower edge."""
    parts = [
        tag("rect", y=HORIZON_Y, width=WIDTH, height=HEIGHT - HORIZON_Y, fill="url(#water)"),
        *_bank_reflection(rng),
        *_ripples(rng),
        *_sun_path(rng),
        *_rings(),
    ]
    return group(parts)
