"""Random halls, the same for the same seed: a floor with pillars, small fields at odd angles, robots and docks.

Each is a brief in TOML with its pictures, and the floors that robots and people must stay on, made here from the
same numbers and not by the program. Robots are of four kinds, drawn to the measure of the tray: in front of the
robot, under its belly, hung from a portal, and carried by a kneeling person; some are too wide or too long for what
they are to do, so that not every hall can be laid.
"""

from __future__ import annotations

import io
import math
import random
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from PIL import Image
from shapely import affinity

THICK_M, WIDE_M, HIGH_M = 0.0075, 0.024, 0.048
COL_M, ROW_M = 0.027, 0.022
KINDS = ("front tray", "belly drop", "gantry", "kneeling person")
Outline = list[tuple[float, float]]


@dataclass(frozen=True)
class Part:
    """A part of a robot: outline in its frame, lowest points driving and lowered."""

    name: str
    outline_m: Outline
    bottom_m: float
    lowered_m: float


@dataclass
class Hall:
    """A brief as text, its pictures by name, and the floors of robots and people."""

    seed: int
    kind: str
    text: str = ""
    pictures: dict[str, bytes] = field(default_factory=dict)
    robot_floor: Any = None
    people_floor: Any = None

    def write(self, folder: Path) -> Path:
        """Write brief and pictures into a folder and return the path of the brief."""
        for name, data in self.pictures.items():
            (folder / name).write_bytes(data)
        path = folder / "brief.toml"
        path.write_text(self.text, encoding="utf-8")
        return path


def random_hall(seed: int) -> Hall:
    """Return the hall of a seed."""
    dice = random.Random(seed)
    hall = Hall(seed, dice.choice(KINDS))
    tray = (dice.randint(4, 8), dice.randint(3, 6))  # columns, rows
    parts, leave_deg, centre_m = _robot(hall.kind, tray, dice)
    outline = _outline(dice)
    floor = shapely.Polygon(outline)
    text = [_head(outline, tray)]
    solid, clear = _areas(dice, floor, text)
    hall.people_floor = floor.difference(solid)
    hall.robot_floor = hall.people_floor.difference(clear)
    drive = dice.choice(("omnidirectional", "omnidirectional", "differential"))
    if drive == "differential":  # forward and backward only
        leave_deg = [180]
    count = dice.choice((1, 1, 2, 3))
    reach_m = max(math.hypot(x, y) for part in parts for x, y in part.outline_m) + 0.1
    taken = _docks(dice, hall, count, reach_m, text)
    text.append(_robot_text(hall.kind, count, drive, centre_m, leave_deg, parts, dice))
    crew = dice.random() < 0.35
    fields = _fields(dice, hall, tray, taken, crew, text)
    if crew:
        _hand_work(dice, hall, [*fields, taken], text)
    hall.text = "\n".join(text)
    return hall


def _head(outline: Outline, tray: tuple[int, int]) -> str:
    return f"""# made up by tests/routes/random_halls.py
[job]
name = "Random hall"
[hall]
outline_m = {_points(outline)}
[domino]
height_mm = 48
width_mm = 24
thickness_mm = 7.5
mass_g = 8.5
[[colour]]
name = "night blue"
srgb = "#1a2340"
stock = 100000
[[colour]]
name = "ivory"
srgb = "#f6eedc"
stock = 100000
[tray]
columns = {tray[0]}
rows = {tray[1]}
col_pitch_mm = {COL_M * 1000}
row_pitch_mm = {ROW_M * 1000}
orientations_deg = [0, 180]"""


def _outline(dice: random.Random) -> Outline:
    """A rectangle, one with a corner cut off, or an L, turned by any angle."""
    long_m, wide_m = dice.uniform(4, 7), dice.uniform(3, 6)
    cut_x, cut_y = dice.uniform(0.2, 0.4) * long_m, dice.uniform(0.2, 0.4) * wide_m
    shape = dice.choice(
        (
            [(0, 0), (long_m, 0), (long_m, wide_m), (0, wide_m)],
            [(0, 0), (long_m, 0), (long_m, wide_m - cut_y), (long_m - cut_x, wide_m), (0, wide_m)],
            [(0, 0), (long_m, 0), (long_m, wide_m - cut_y), (long_m - cut_x, wide_m - cut_y),
             (long_m - cut_x, wide_m), (0, wide_m)],
        )
    )  # fmt: skip
    turn = dice.choice((0.0, dice.uniform(0, 2 * math.pi)))
    cosine, sine = math.cos(turn), math.sin(turn)
    return [(round(x * cosine - y * sine, 4), round(x * sine + y * cosine, 4)) for x, y in shape]


def _areas(dice: random.Random, floor: Any, text: list[str]) -> tuple[Any, Any]:
    """Write pillars, and sometimes a strip that stays free; return what is solid and what is kept clear."""
    solid, clear = [], []
    for number in range(dice.choice((0, 1, 2, 3))):
        x, y = _point_in(dice, floor, 0.4)
        size_m = dice.uniform(0.1, 0.3)
        text.append(f'[[area]]\nname = "pillar {number}"\nkind = "pillar"')
        if dice.random() < 0.5:
            text.append(f"centre_m = [{x}, {y}]\nradius_mm = {round(size_m * 1000)}")
            # The circle itself, from inside: corners on it.
            solid.append(shapely.Point(x, y).buffer(round(size_m, 3), quad_segs=32))
        else:
            box = affinity.rotate(
                shapely.box(x - size_m, y - size_m / 2, x + size_m, y + size_m / 2), dice.uniform(0, 90)
            )
            corners = [(round(px, 4), round(py, 4)) for px, py in box.exterior.coords[:-1]]
            text.append(f"outline_m = {_points(corners)}")
            solid.append(shapely.Polygon(corners))
    if dice.random() < 0.4:
        a, b = floor.exterior.coords[0], floor.exterior.coords[1]
        strip = shapely.LineString([a, b]).buffer(0.3, cap_style="flat").intersection(floor.buffer(-0.001))
        if strip.geom_type == "Polygon":
            corners = [(round(px, 4), round(py, 4)) for px, py in strip.exterior.coords[:-1]]
            text.append(f'[[area]]\nname = "way out"\nkind = "escape_route"\noutline_m = {_points(corners)}')
            clear.append(shapely.Polygon(corners))
    return shapely.union_all(solid), shapely.union_all(clear)


def _docks(dice: random.Random, hall: Hall, count: int, reach_m: float, text: list[str]) -> Any:
    """Write a dock for each robot, with room to turn, and return the floor they take."""
    taken: Any = shapely.Polygon()
    free = hall.robot_floor.buffer(-reach_m)
    for number in range(count):
        x, y = _point_in(dice, free.difference(taken.buffer(reach_m)), 0.0)
        kind = "loading" if number == 0 else dice.choice(("loading", "parking"))
        heading = dice.choice((0, 90, 180, 270, round(dice.uniform(-180, 180), 1)))
        text.append(
            f'[[dock]]\nname = "dock {number}"\nkind = "{kind}"\nplace_m = [{x}, {y}]\nheading_deg = {heading}'
        )
        text.append("load_s = 5")
        taken = taken.union(shapely.Point(x, y).buffer(reach_m))
    return taken


def _fields(
    dice: random.Random, hall: Hall, tray: tuple[int, int], taken: Any, crew: bool, text: list[str]
) -> list[Any]:
    """Write one to three fields of up to 30 tiles in all that lie apart, and return their footprints.

    With a crew some have rows with a second layer, or rows that the trays leave open.
    """
    placed: list[Any] = []
    left = dice.randint(4, 30)
    free = hall.robot_floor.buffer(-0.05)
    for number in range(dice.choice((1, 1, 2, 3))):
        across, along = dice.randint(1, 5), dice.randint(1, 6)
        if number and across * along > left:
            break
        across = max(1, min(across, left // along))
        left -= across * along
        # Sometimes not a whole number of trays.
        columns = across * tray[0] - dice.choice((0, 0, 1))
        rows = along * tray[1] - dice.choice((0, 0, 1))
        for _ in range(60):
            degrees = dice.choice((0, 90, round(dice.uniform(-180, 180), 2)))
            x, y = _point_in(dice, hall.robot_floor, 0.1)
            shape = _field_shape(x, y, math.radians(degrees), columns * COL_M, rows * ROW_M)
            others = shapely.union_all([taken, *(other.buffer(0.02) for other in placed)])
            if free.covers(shape) and not shape.intersects(others):
                break
        else:
            continue
        placed.append(shape)
        name = f"picture{number}.png"
        hall.pictures[name] = _picture(dice, columns, rows)
        text.append(
            f'[[field]]\nname = "field {number}"\npicture = "{name}"\ncolumns = {columns}\nrows = {rows}\n'
            f"col_pitch_mm = {COL_M * 1000}\nrow_pitch_mm = {ROW_M * 1000}\ncorner_m = [{x}, {y}]\n"
            f'fall_direction_deg = {degrees}\nfit = "stretch"'
        )
        row = dice.randrange(rows)
        if crew and dice.random() < 0.5:
            text.append(f"{dice.choice(('stacked_rows', 'gap_rows'))} = [[{row}, {min(row + 1, rows - 1)}]]")
    return placed


def _field_shape(x: float, y: float, fall_rad: float, across_m: float, along_m: float) -> Any:
    """Corner beside row 0 and column 0; ahead along the fall, columns to the right of it."""
    ahead = (math.cos(fall_rad), math.sin(fall_rad))
    right = (math.sin(fall_rad), -math.cos(fall_rad))
    at = [(0, 0), (across_m, 0), (across_m, along_m), (0, along_m)]
    return shapely.Polygon(
        [(x + a * right[0] + b * ahead[0], y + a * right[1] + b * ahead[1]) for a, b in at]
    )


def _hand_work(dice: random.Random, hall: Hall, taken: list[Any], text: list[str]) -> None:
    """Write a crew, the door it comes in by, and a short line where there is room for it."""
    x, y = _point_in(dice, hall.people_floor.buffer(-0.35), 0.0)
    text.append(f'[[dock]]\nname = "door"\nkind = "crew"\nplace_m = [{x}, {y}]')
    text.append(f"[crew]\nbuilders = {dice.choice((1, 2))}\nroom_mm = {dice.choice((400, 600))}\nlay_s = 1")
    free = hall.robot_floor.buffer(-0.1).difference(shapely.union_all(taken).buffer(0.1))
    free = shapely.union_all([part for part in shapely.get_parts(free) if part.area > 0.1])
    if free.is_empty:
        return
    x, y = _point_in(dice, free, 0.0)
    degrees = round(dice.uniform(0, 360), 1)
    turn = math.radians(degrees)
    line = shapely.LineString([(x, y), (x + 0.3 * math.cos(turn), y + 0.3 * math.sin(turn))]).buffer(0.02)
    if free.covers(line):
        text.append(
            f'[[line]]\nname = "lead-in"\ncolours = ["ivory"]\npitch_mm = 24\nstart_m = [{x}, {y}]\n'
            f"start_direction_deg = {degrees}\npath = [{{ straight_mm = 300 }}]"
        )


def _robot(
    kind: str, tray: tuple[int, int], dice: random.Random
) -> tuple[list[Part], list[int], tuple[float, float]]:
    """Return parts, directions of leaving and the point it turns on."""
    half_x, half_y = tray[1] * ROW_M / 2, tray[0] * COL_M / 2
    # The dominoes of the next tile begin 1.5 mm beside the opening; 30 mm are kept while driving.
    lane_m = half_y + 0.0015 - 0.03
    body_m = lane_m - 0.001 if dice.random() < 0.7 else dice.uniform(0.5, 1.6) * half_y
    long_m = dice.uniform(0.15, 0.5)
    if kind == "belly drop":
        return _belly(half_x, half_y, dice), [180, 90], (-half_x, half_y)
    if kind == "gantry":
        return _gantry(half_x, half_y, long_m), [180, 90, 270], (-half_x - 0.02 - long_m / 2, 0.0)
    centre_x = -half_x - 0.02 - long_m / 2
    parts = [_box("body", (-half_x - 0.02 - long_m, -half_x - 0.02), (-body_m, body_m), 0.02)]
    parts += _frame(half_x, half_y, ("left", "right", "front", "back"), 0.07)
    parts.append(_box("arms", (centre_x, half_x), (-0.6 * half_y, 0.6 * half_y), 0.12, 0.06))
    return parts, [180], (round(centre_x, 4), 0.0)


def _belly(half_x: float, half_y: float, dice: random.Random) -> list[Part]:
    skirt_m = dice.uniform(0.03, 0.08)
    left_m = half_y + 0.003 + skirt_m
    return [
        _box("skirt behind", (-half_x - skirt_m, -half_x), (-half_y + 0.004, left_m), 0.01),
        _box("skirt left", (-half_x - skirt_m, half_x), (half_y + 0.003, left_m), 0.01),
        *_frame(half_x, half_y, ("right", "front"), 0.07),
        _box("cover", (-half_x - skirt_m, half_x), (-half_y, left_m), 0.12),
    ]


def _gantry(half_x: float, half_y: float, long_m: float) -> list[Part]:
    # Legs three tiles apart and more: 1.5 mm and 35 mm beyond the neighbours.
    inner_m = 3 * half_y + 0.04
    x = (-half_x - 0.02 - long_m, -half_x - 0.02)
    return [
        _box("left leg", x, (inner_m, inner_m + 0.04), 0.0),
        _box("right leg", x, (-inner_m - 0.04, -inner_m), 0.0),
        *_frame(half_x, half_y, ("left", "right", "front", "back"), 0.12),
        _box("beam", x, (-inner_m - 0.04, inner_m + 0.04), 0.3),
    ]


def _frame(half_x: float, half_y: float, sides: tuple[str, ...], bottom_m: float) -> list[Part]:
    spans = {
        "left": ((-half_x, half_x), (half_y - 0.001, half_y)),
        "right": ((-half_x, half_x), (-half_y, -half_y + 0.001)),
        "front": ((half_x - 0.005, half_x), (-half_y, half_y)),
        "back": ((-half_x, -half_x + 0.005), (-half_y, half_y)),
    }
    return [_box(f"frame {side}", *spans[side], bottom_m, 0.001) for side in sides]


def _box(
    name: str, x: tuple[float, float], y: tuple[float, float], bottom_m: float, lowered_m: float | None = None
) -> Part:
    corners = [(x[0], y[0]), (x[1], y[0]), (x[1], y[1]), (x[0], y[1])]
    rounded = [(round(px, 5), round(py, 5)) for px, py in corners]
    return Part(name, rounded, bottom_m, bottom_m if lowered_m is None else lowered_m)


def _robot_text(
    kind: str,
    count: int,
    drive: str,
    centre_m: tuple[float, float],
    leave_deg: list[int],
    parts: list[Part],
    dice: random.Random,
) -> str:
    lines = [
        f'[[robot]]\nname = "{kind}"\ncount = {count}\ndrive = "{drive}"',
        f"turn_centre_m = [{round(centre_m[0], 4)}, {round(centre_m[1], 4)}]",
        f"speed_mm_s = {dice.choice((400, 800))}\nacceleration_mm_s2 = {dice.choice((200, 800))}",
        f"turn_deg_s = 60\nturn_acceleration_deg_s2 = 90\nslow_mm_s = {dice.choice((100, 300))}",
        f"lower_s = {dice.choice((0, 2))}\nrelease_s = {dice.choice((0, 1))}\nraise_s = 2",
        f"carries = {dice.choice((1, 1, 2))}\nleave_deg = {leave_deg}",
    ]
    lines += [
        f'[[robot.part]]\nname = "{part.name}"\noutline_m = {_points(part.outline_m)}\n'
        f"bottom_mm = {part.bottom_m * 1000:g}\nlowered_bottom_mm = {part.lowered_m * 1000:g}"
        for part in parts
    ]
    return "\n".join(lines)


def _point_in(dice: random.Random, shape: Any, margin_m: float) -> tuple[float, float]:
    """Return a point inside a shape, any place alike; its middle when the shape is tiny."""
    inner = shape.buffer(-margin_m) if margin_m else shape
    if inner.is_empty:
        inner = shape
    left, bottom, right, top = inner.bounds
    for _ in range(200):
        x, y = round(dice.uniform(left, right), 3), round(dice.uniform(bottom, top), 3)
        if inner.contains(shapely.Point(x, y)):
            return x, y
    point = inner.representative_point()
    return point.x, point.y


def _points(corners: Outline) -> str:
    return "[" + ", ".join(f"[{x}, {y}]" for x, y in corners) + "]"


def _picture(dice: random.Random, columns: int, rows: int) -> bytes:
    """A picture of dark and light patches."""
    noise = np.random.default_rng(dice.randint(0, 2**31)).integers(0, 2, (rows, columns), dtype=np.uint8)
    data = io.BytesIO()
    Image.fromarray((noise * 200 + 20).astype(np.uint8)).save(data, "PNG")
    return data.getvalue()
