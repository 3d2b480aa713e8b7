"""Feathers of the kingfisher: wing coverts, flight feathers, back, crown bars and breast down.

Drawn in the bird's own frame, which `bird.py` places in the picture.
"""

import math
from random import Random

from standfall.demo.pencil import Point, blade, bow, number, path, smooth

Marks = tuple[str, str]
SHOULDER: Point = (618.0, 398.0)
WING_AXIS: Point = (-0.545, 0.838)  # unit vector from the shoulder to the wing's tip
WING_ACROSS: Point = (0.838, 0.545)  # unit vector from the back to the wing's leading edge


def on_wing(down: float, across: float) -> Point:
    """Return the point `down` the wing's axis from the shoulder and `across` it towards the breast."""
    return (
        SHOULDER[0] + down * WING_AXIS[0] + across * WING_ACROSS[0],
        SHOULDER[1] + down * WING_AXIS[1] + across * WING_ACROSS[1],
    )


def _lobe(down: float, across: float, length: float, width: float, skew: float) -> str:
    """One covert feather: a rounded tongue whose tip points down the wing."""
    outline = [
        on_wing(down, across - width * 0.42),
        on_wing(down + length * 0.55, across - width * 0.52 + skew * 0.6),
        on_wing(down + length, across + skew),
        on_wing(down + length * 0.55, across + width * 0.52 + skew * 0.6),
        on_wing(down, across + width * 0.42),
    ]
    return smooth(outline, closed=True)


def _edge(down: float, across: float, length: float, width: float, skew: float) -> str:
    """The rim along a covert's tip: a thin crescent."""
    line = bow(
        on_wing(down + length * 0.6, across - width * 0.5 + skew * 0.6),
        on_wing(down + length * 1.26, across + skew * 1.1),
        on_wing(down + length * 0.6, across + width * 0.5 + skew * 0.6),
        4,
    )
    return blade(line, [0.8, 3.4, 4.6, 3.4, 0.8])


def _tone(down: float, across: float, rng: Random) -> str:
    """Covert colour: greener and lighter towards the lit leading edge, bluer down the wing."""
    light = 0.42 + across / 200 - down / 900 + rng.uniform(-0.1, 0.1)
    tones = ("#0f3d78", "#144f90", "#1668ab", "#1488bd", "#169dca", "#2cb8d4")
    return tones[min(5, max(0, int(light * 6)))]


def _covert_row(row: int, rng: Random) -> list[str]:
    """One row of coverts: small and spotted near the shoulder, long and rimmed further down."""
    spotted = row < 6
    down = -6 + row * 19.5 + max(0, row - 5) * 7
    length, width = (30 + row * 1.6, 21 + row * 0.7) if spotted else (50 + row * 3, 23)
    parts = []
    for i in range(9):
        across = -70 + i * 21 + (10.5 if row % 2 else 0.0)
        skew = -across * 0.07
        shape = (down + rng.uniform(-3, 3), across + rng.uniform(-2, 2), length, width, skew)
        parts.append(path(_lobe(*shape), fill=_tone(down, across, rng)))
        rim = "#0a2a55" if spotted else "#2fb0d0"
        parts.append(path(_edge(*shape), fill=rim, opacity=0.8))
        if spotted and rng.random() < 0.88:
            spot = on_wing(shape[0] + length * 0.74, shape[1] + skew)
            parts.append(_spot(spot, rng.uniform(3.8, 5.0), "#86e0e6"))
    return parts


def coverts(rng: Random) -> list[str]:
    """Return the rows of wing coverts, tail end first so that each row overlaps the next one down."""
    return [part for row in range(8, -1, -1) for part in _covert_row(row, rng)]


def _spot(centre: Point, radius: float, colour: str) -> str:
    x, y = centre
    r = number(radius)
    d = f"M{number(x - radius)} {number(y)}a{r} {number(radius * 0.8)} 0 1 0 {number(2 * radius)} 0"
    return path(d + f"a{r} {number(radius * 0.8)} 0 1 0 {number(-2 * radius)} 0Z", fill=colour)


def flight_feathers() -> list[str]:
    """Return the long primaries and secondaries, which narrow to the wing's tip; the inner ones on top."""
    parts = []
    for i in range(10):
        across = 92 - i * 15.5
        start = on_wing(130, across)
        end = on_wing(398 - abs(i - 2) * 11, 8 - i * 3.4)
        line = bow(start, on_wing(300, across * 0.92), end, 6)
        dark = ("#0c3161", "#10427a", "#14548f", "#1a69a2")[(i * 3) % 4]
        parts.append(path(blade(line, [20, 20, 20, 19, 17, 13, 4]), fill=dark))
        lit = [(x + 5.5, y + 3) for x, y in line[:-1]]
        parts.append(path(blade(lit, [4.4] * 6), fill="#2fb0d0", opacity=0.9))
        shade = [(x - 7, y - 3) for x, y in line[:-1]]
        parts.append(path(blade(shade, [3.4] * 6), fill="#081f45", opacity=0.6))
    return parts


def back_strokes(rng: Random, line: list[Point]) -> list[str]:
    """Return the bright barbs of the turquoise back, strewn about its centre `line`."""
    tones: dict[str, list[str]] = {"#0f88b4": [], "#2fc3d6": [], "#7fe6e4": [], "#c9f6ee": []}
    names = list(tones)
    for _ in range(210):
        share = rng.random()
        at = share * (len(line) - 1)
        i = min(int(at), len(line) - 2)
        f = at - i
        x = line[i][0] + f * (line[i + 1][0] - line[i][0]) + rng.gauss(0, 15)
        y = line[i][1] + f * (line[i + 1][1] - line[i][1]) + rng.gauss(0, 7)
        heading = math.atan2(line[i + 1][1] - line[i][1], line[i + 1][0] - line[i][0]) + rng.gauss(0, 0.2)
        reach = rng.uniform(9, 22)
        end = (x + math.cos(heading) * reach, y + math.sin(heading) * reach)
        tone = names[rng.choices((0, 1, 2, 3), (3.2, 4, 2, 0.8))[0]]
        tones[tone].append(blade([(x, y), ((x + end[0]) / 2, (y + end[1]) / 2), end], [1, 5.4, 1]))
    return [path("".join(marks), fill=colour, opacity=0.9) for colour, marks in tones.items()]


def crown_bars(rng: Random, lines: list[list[Point]]) -> list[str]:
    """Return pale bars across the crown and nape, in rows that follow the feather `lines`."""
    marks = []
    for row, line in enumerate(lines):
        for i in range(row % 2, len(line) - 1, 2):
            (x, y), b = line[i], line[i + 1]
            heading = math.atan2(b[1] - y, b[0] - x)
            reach = rng.uniform(5.0, 7.0)
            dx, dy = -math.sin(heading) * reach, math.cos(heading) * reach
            middle = (x + math.cos(heading) * 1.6, y + math.sin(heading) * 1.6)
            marks.append(blade([(x - dx, y - dy), middle, (x + dx, y + dy)], [1.5, 5.2, 1.5]))
    return [path("".join(marks), fill="#6fd3e2")]


def down(
    rng: Random, inside: tuple[Point, Point], flow: float, tones: tuple[str, ...], count: int
) -> list[str]:
    """Return soft thin strokes of down in the box `inside`, lying near the heading `flow` (rad)."""
    (x0, y0), (x1, y1) = inside
    out = []
    for colour in tones:
        marks = []
        for _ in range(count):
            x, y = rng.uniform(x0, x1), rng.uniform(y0, y1)
            heading = flow + (x - (x0 + x1) / 2) * -0.0022 + rng.gauss(0, 0.12)
            reach = rng.uniform(26, 52)
            end = (x + math.cos(heading) * reach, y + math.sin(heading) * reach)
            middle = ((x + end[0]) / 2 + rng.uniform(-3, 3), (y + end[1]) / 2)
            marks.append(blade([(x, y), middle, end], [0.8, rng.uniform(4, 6), 0.6]))
        out.append(path("".join(marks), fill=colour, opacity=0.5))
    return out
