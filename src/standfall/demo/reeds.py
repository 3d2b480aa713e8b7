"""Reeds of the demo picture: blurred ones behind, sharp ones in front, and the bent stem under the bird."""

import math
from random import Random

from standfall.demo.pencil import Point, along, blade, bow, group, linear, path, tag

PERCH: list[Point] = [
    (198, 1030), (226, 940), (272, 850), (340, 768), (424, 706),
    (520, 675), (620, 674), (704, 702), (768, 752),
]  # fmt: skip


def reed_defs() -> list[str]:
    """Return the gradients of stems and bulrush heads."""
    return [
        linear("perch", (200, 1000), (800, 700), ((0.0, "#1f4a30"), (0.45, "#5f8a3a"), (1.0, "#9aa84c"))),
        linear("reedfar", (0, 380), (0, 960), ((0.0, "#b4c08c"), (0.5, "#7ba07c"), (1.0, "#2f6650"))),
        linear("reedmid", (0, 380), (0, 960), ((0.0, "#7f9f62"), (0.45, "#47774c"), (1.0, "#1d4a44"))),
    ]


def _leaf(rng: Random, root: Point, length: float, lean: float, width: float) -> str:
    """One long leaf: it rises with `lean` radians from the vertical and bends over near its tip."""
    x, y = root
    mid = (x + math.sin(lean) * length * 0.6, y - math.cos(lean) * length * 0.7)
    droop = lean * rng.uniform(1.5, 2.3)
    tip = (mid[0] + math.sin(droop) * length * 0.5, mid[1] - math.cos(droop) * length * 0.36)
    line = bow(root, mid, tip, 5)
    widths = [width * (1 - (i / 5) ** 2.2) + 0.5 for i in range(6)]
    return blade(line, widths)


def _plume(rng: Random, tip: Point, lean: float, size: float) -> tuple[str, str]:
    """A nodding seed head whose strands fall to the side of `lean`: its dark and its light strands."""
    dark: list[str] = []
    light: list[str] = []
    side = 1 if lean > 0 else -1
    for i in range(58):
        t = (i + rng.random()) / 58
        root = (tip[0] - side * 6 * (1 - t), tip[1] + size * (t - 0.1))
        reach = size * (0.06 + 0.6 * math.sin(math.pi * (0.05 + 0.88 * t))) * rng.uniform(0.55, 1.05)
        out = side * reach * rng.uniform(-0.12, 0.7)
        drop = reach * rng.uniform(0.55, 0.95)
        end = (root[0] + out, root[1] + drop - size * 0.1)
        line = bow(root, (root[0] + out * 0.85, root[1] - reach * 0.16), end, 4)
        stroke = blade(line, [1.2, 3.6, 5.4, 5.0, 1.0])
        (light if rng.random() < 0.5 else dark).append(stroke)
    return "".join(dark), "".join(light)


def _bulrush(base: Point, control: Point, tip: Point, thick: float, length: float) -> str:
    """A bulrush: stem, velvety brown head with a lit side, and the thin spike above it."""
    line = bow(base, control, tip, 12)
    stem = blade(line, [7 - 0.25 * i for i in range(13)])
    (x, y), heading = along(line, 0.93)
    turn = math.degrees(heading) + 90
    head = [
        tag("rect", x=-thick / 2, y=-length / 2, width=thick, height=length, rx=thick / 2, fill="#5a3119"),
        tag(
            "rect",
            x=thick * 0.02,
            y=-length / 2 + 4,
            width=thick * 0.38,
            height=length - 8,
            rx=thick * 0.19,
            fill="#a85d28",
        ),
        tag(
            "rect",
            x=thick * 0.2,
            y=-length / 2 + 10,
            width=thick * 0.13,
            height=length - 20,
            rx=2,
            fill="#e9a355",
        ),
        path(
            blade([(0, -length / 2 + 2), (1, -length / 2 - 22), (3, -length / 2 - 46)], [5, 4, 1]),
            fill="#8a7a3c",
        ),
    ]
    placed = group(head, transform=f"translate({x:.1f} {y:.1f}) rotate({turn:.1f})")
    return path(stem, fill="#4f7a35") + placed


def soft_reeds(rng: Random) -> str:
    """Return the out-of-focus reeds behind the bird, at the left and the far right."""
    layers = []
    for colour, opacity, softness, left, right, count, width in (
        ("url(#reedfar)", 0.7, "soft6", 285, 1180, 26, 15),
        ("url(#reedmid)", 0.80, "soft4", 240, 1230, 26, 12),
    ):
        shapes = []
        for _ in range(count):
            x = rng.uniform(-30, left) if rng.random() < 0.62 else rng.uniform(right, 1380)
            inward = x / left if x < 675 else (1350 - x) / (1350 - right)
            length = rng.uniform(420, 700) * (1 - 0.35 * max(0.0, inward))
            shapes.append(_leaf(rng, (x, 1010), length, rng.gauss(0.04, 0.12), width))
        layers.append(path("".join(shapes), fill=colour, opacity=opacity, filter=f"url(#{softness})"))
    return group(layers)


def perch() -> str:
    """Return the bent bulrush that carries the bird, its brown head hanging at the right."""
    widths = [21 - 1.1 * i for i in range(len(PERCH))]
    lit = [(x + 1.5, y - 3.5) for x, y in PERCH]
    (x, y), heading = PERCH[-1], math.atan2(PERCH[-1][1] - PERCH[-2][1], PERCH[-1][0] - PERCH[-2][0]) + 0.16
    head = [
        tag("rect", x=-8, y=-16, width=124, height=32, rx=16, fill="#4d2a17"),
        tag("rect", x=-2, y=-13, width=112, height=15, rx=7.5, fill="#9a5426"),
        tag("rect", x=10, y=-11, width=90, height=5, rx=2.5, fill="#e7a152"),
        path(blade([(114, 0), (138, 4), (166, 12)], [6, 4, 1]), fill="#8a7a3c"),
    ]
    return group(
        [
            path(blade(PERCH, widths), fill="url(#perch)"),
            path(blade(lit, [3.8] * len(lit)), fill="#c9cf7a", opacity=0.85),
            group(head, transform=f"translate({x:.1f} {y:.1f}) rotate({math.degrees(heading):.1f})"),
        ]
    )


def _front_leaves(rng: Random) -> list[str]:
    """Three tones of sharp leaves in the two lower corners."""
    out = []
    for colour, count, width in (
        ("#163a2c", 30, 17),
        ("#2f6438", 26, 14),
        ("#6f9a3f", 16, 10),
        ("#b3b65a", 8, 7),
    ):
        shapes = []
        for _ in range(count):
            left = rng.random() < 0.6
            x = rng.gauss(40, 110) if left else rng.gauss(1315, 70)
            x = min(x, 330) if left else max(x, 1130)
            reach = rng.uniform(180, 470) * (1.0 - (abs(x) if left else abs(1350 - x)) / 700)
            shapes.append(_leaf(rng, (x, 1015), reach, rng.gauss(0.1 if left else -0.12, 0.24), width))
        out.append(path("".join(shapes), fill=colour))
    return out


def _plumes(rng: Random) -> list[str]:
    out = []
    for root, tip, lean, size in (
        ((1290, 1010), (1262, 190), -0.5, 150),
        ((1345, 1010), (1322, 300), -0.35, 130),
        ((60, 1010), (96, 150), 0.45, 150),
        ((10, 1010), (26, 270), 0.3, 120),
    ):
        mid = ((root[0] + tip[0]) / 2 - lean * 60, (root[1] + tip[1]) / 2)
        stem = blade(bow(root, mid, tip), [7, 6.6, 6.2, 5.8, 5.4, 5, 4.6, 4.2, 3.5])
        dark, light = _plume(rng, tip, lean, size)
        out += [path(stem, fill="#7d8a44"), path(dark, fill="#7a4f3a"), path(light, fill="#d7a56f")]
    return out


def front_reeds(rng: Random) -> str:
    """Return the sharp reeds in front: seed plumes, bulrushes and leaves in the corners."""
    rushes = [
        _bulrush((150, 1010), (168, 640), (196, 372), 27, 118),
        _bulrush((245, 1010), (232, 760), (268, 566), 23, 96),
        _bulrush((1215, 1010), (1232, 700), (1196, 520), 25, 108),
    ]
    return group([*_plumes(rng), *rushes, *_front_leaves(rng)])
