"""The evening sky of the demo picture: gradient, low sun, clouds and the misty far bank."""

import math
from itertools import pairwise
from random import Random

from standfall.demo.pencil import (
    Point,
    blade,
    blur,
    ellipse,
    group,
    linear,
    number,
    path,
    radial,
    smooth,
    tag,
)

WIDTH, HEIGHT = 1350.0, 1000.0
HORIZON_Y = 520.0
SUN: Point = (1098.0, 402.0)

_SKY = (
    (0.0, "#1d5295"),
    (0.17, "#3a7db9"),
    (0.32, "#7ab0d4"),
    (0.46, "#b9dbd8"),
    (0.6, "#f3ead0"),
    (0.76, "#f9d59a"),
    (0.9, "#f6b273"),
    (1.0, "#f0a067"),
)
_GLOW = (
    (0.0, "#fff0b4", 0.95),
    (0.13, "#ffe08a", 0.92),
    (0.36, "#fdcc62", 0.85),
    (0.6, "#fbc266", 0.45),
    (0.8, "#f8bb76", 0.14),
    (1.0, "#f6b57c", 0.0),
)


def sky_defs() -> list[str]:
    """Return the gradients and filters that the sky and the bank use."""
    return [
        linear("sky", (0, 0), (0, HORIZON_Y), _SKY),
        radial("glow", SUN, 430, _GLOW, gradientTransform=f"translate(0 {SUN[1] * 0.42:.1f}) scale(1 0.58)"),
        radial("sun", SUN, 52, ((0.0, "#fffdf0"), (0.75, "#fff3bd"), (1.0, "#fff0b8"))),
        linear("bankfar", (0, 400), (0, HORIZON_Y), ((0.0, "#86adb4"), (1.0, "#c9cdb2"))),
        linear("banknear", (0, 430), (0, HORIZON_Y), ((0.0, "#3b6a72"), (0.6, "#5d8885"), (1.0, "#a9b493"))),
        blur("soft1", 1.2),
        blur("soft2", 2),
        blur("soft4", 4),
        blur("mist", 40, 8),
    ]


def _sky_colour(y: float) -> str:
    """The sky gradient's colour at height `y`."""
    share = min(1.0, max(0.0, y / HORIZON_Y))
    for (low, first), (high, second) in pairwise(_SKY):
        if share <= high:
            f = (share - low) / (high - low)
            pairs = ((int(first[i : i + 2], 16), int(second[i : i + 2], 16)) for i in (1, 3, 5))
            return "#" + "".join(f"{round(a + f * (b - a)):02x}" for a, b in pairs)
    return _SKY[-1][1]


def _wisps(rng: Random) -> list[str]:
    """Thin wisps in the sky's own colours, each from a little higher or lower than where it lies."""
    out = []
    for step in range(26):
        source = 8 + step * 19.0
        marks = []
        for _ in range(8):
            x, y = rng.uniform(-60, WIDTH + 60), source + rng.choice((-1, 1)) * rng.uniform(12, 46)
            half, sag = rng.uniform(60, 210), rng.uniform(-5, 5)
            line = [(x - half, y + sag), (x, y), (x + half, y - sag * 0.5)]
            marks.append(blade(line, [0.5, rng.uniform(5, 13), 0.5]))
        out.append(path("".join(marks), fill=_sky_colour(source), opacity=0.9))
    return [group(out, filter="url(#soft1)")]


def _cloud(rng: Random, y: float, strokes: int) -> str:
    """One bank of cloud: flat tapered strokes that thin out towards its ends."""
    middle = rng.uniform(100, 1250)
    out = []
    for _ in range(strokes):
        x, half = middle + rng.gauss(0, 190), rng.uniform(50, 170)
        dy, sag = rng.gauss(0, 11), rng.uniform(-9, 9)
        line = [(x - half, y + dy + 3), (x, y + dy + sag), (x + half, y + dy)]
        out.append(blade(line, [0.6, rng.uniform(6, 15), 0.6]))
    return "".join(out)


def _clouds(rng: Random) -> list[str]:
    layers = (
        (58, "#17478a", 0.45, 18),
        (95, "#e4ecea", 0.55, 13),
        (142, "#2f72b0", 0.42, 14),
        (186, "#f4ead4", 0.60, 14),
        (240, "#fdf3da", 0.60, 13),
        (262, "#8fc0d0", 0.45, 12),
        (318, "#fff3d2", 0.60, 12),
        (342, "#ee9d6c", 0.50, 11),
        (380, "#ef9c66", 0.45, 10),
        (300, "#f2b182", 0.45, 8),
    )
    return [path(_cloud(rng, y, n), fill=c, opacity=o, filter="url(#soft2)") for y, c, o, n in layers]


def _ridge(rng: Random, base: float, height: float, step: float) -> str:
    """The outline of a wooded bank: tree crowns on slow rolling ground, closed along the waterline."""
    points: list[Point] = [(-40.0, base)]
    x, phase = -40.0, rng.uniform(0, 6)
    while x < WIDTH + 40:
        roll = 0.62 + 0.26 * math.sin(x / 210 + phase) + 0.12 * math.sin(x / 67 + 2 * phase)
        crown = rng.uniform(0.78, 1.0)
        for dx, share in ((0.0, 0.86), (step * 0.3, 1.0), (step * 0.7, 0.97)):
            points.append((x + dx, base - height * roll * crown * share))
        x += step * rng.uniform(0.9, 1.3)
    return smooth(points) + f"L{number(WIDTH + 40)} {number(HORIZON_Y + 6)}L-40 {number(HORIZON_Y + 6)}Z"


def far_bank(rng: Random) -> str:
    """Return the misty wooded bank beyond the water."""
    sunlit = (SUN[0], HORIZON_Y - 46)
    return group(
        [
            path(
                _ridge(rng, HORIZON_Y - 20, 92, 58), fill="url(#bankfar)", opacity=0.9, filter="url(#soft4)"
            ),
            ellipse((560, HORIZON_Y - 26), 800, 10, "#e9dfbd", opacity=0.7, filter="url(#mist)"),
            path(
                _ridge(rng, HORIZON_Y - 2, 58, 30), fill="url(#banknear)", opacity=0.95, filter="url(#soft2)"
            ),
            ellipse(sunlit, 240, 56, "#ffd489", opacity=0.62, filter="url(#mist)"),
            ellipse((480, HORIZON_Y - 4), 620, 9, "#f2e7c6", opacity=0.8, filter="url(#mist)"),
            ellipse((1000, HORIZON_Y - 2), 420, 10, "#ffe9bd", opacity=0.7, filter="url(#mist)"),
        ]
    )


def sky(rng: Random) -> str:
    """Return the sky with its clouds and the sun."""
    parts = [
        tag("rect", width=WIDTH, height=HEIGHT, fill="url(#sky)"),
        *_wisps(rng),
        *_clouds(rng),
        tag("rect", width=WIDTH, height=HORIZON_Y + 10, fill="url(#glow)"),
        ellipse(SUN, 50, 50, "url(#sun)"),
    ]
    return group(parts)
