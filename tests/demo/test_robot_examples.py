"""The example robots: read through the brief's reader, and held against the tray they say they are drawn for."""

from __future__ import annotations

import math
import re
from importlib.resources import files

import pytest
import shapely
from shapely import affinity

from standfall.brief import Brief, Robot, read_text
from standfall.demo import brief_text
from standfall.hall.site import make_site

EXAMPLES = ("front_tray", "belly_drop", "gantry_cart", "kneeling_person")
# Of the demo: tray 22 x 10 slots at 27 and 22 mm, pieces 24 mm wide, 7.5 mm thick, 48 mm high; over_mm is 10,
# clearance_mm 30, set_down_clearance_mm 1 (defaults).
LENGTH_M, WIDTH_M = 10 * 0.022, 22 * 0.027
OWN = shapely.box(-0.10275, -0.2955, 0.10275, 0.2955)  # 9 x 22 / 2 + 7.5 / 2 and 21 x 27 / 2 + 24 / 2 mm
HIGH_M = 0.058


def example_text(name: str) -> str:
    return files("standfall.demo").joinpath("robots", f"{name}.toml").read_text(encoding="utf-8")


def example(name: str) -> Robot:
    (robot,) = example_brief(name).robots
    return robot


def example_brief(name: str) -> Brief:
    """Read an example as part of the demo's brief, with docks for it."""
    text = re.sub(r"(?ms)^\[\[(robot|dock|area)(\.part)?\]\].*?(?=^\[|\Z)", "", brief_text())
    text = re.sub(r"(?ms)^\[crew\].*?(?=^\[|\Z)", "", text)
    dock = '\n[[dock]]\nname = "example"\nplace_m = [2.0, 1.5]\nheading_deg = 90\n'
    if "battery_min" in example_text(name):
        dock += '[[dock]]\nname = "charger"\nkind = "charging"\nplace_m = [3.5, 1.5]\nheading_deg = 90\n'
    if "count = 2" in example_text(name):  # each needs a place of its own
        dock += '[[dock]]\nname = "bench"\nkind = "parking"\nplace_m = [3.5, 1.5]\nheading_deg = 90\n'
    reading = read_text((text + example_text(name) + dock).encode())
    assert reading.findings == ()
    assert reading.brief is not None
    return reading.brief


def parts(robot: Robot, lowered: bool) -> shapely.MultiPolygon:
    """Return all that touches standing dominoes, driving or with the tray down, seen from above."""
    low = [
        shapely.Polygon(part.outline_m)
        for part in robot.parts
        if (part.lowest_m if lowered else part.bottom_m) < HIGH_M
    ]
    return shapely.union_all(low)


def neighbour(ahead: int, left: int) -> shapely.Polygon:
    return affinity.translate(OWN, ahead * LENGTH_M, left * WIDTH_M)


@pytest.mark.parametrize("name", EXAMPLES)
def test_it_sets_a_tile_down_without_touching_it(name: str) -> None:
    robot = example(name)
    assert parts(robot, lowered=True).distance(OWN) > 0
    # Something is low while the tray is down, or it would not know where the tile ends.
    assert not parts(robot, lowered=True).is_empty
    assert not parts(robot, lowered=False).is_empty


@pytest.mark.parametrize("name", EXAMPLES)
def test_it_leaves_in_every_direction_it_names(name: str) -> None:
    robot = example(name)
    low = parts(robot, lowered=False)
    for angle in robot.leave_rad:
        for far_m in (0.01, 0.1, 0.3, 0.6, 1.0):
            moved = affinity.translate(low, far_m * math.cos(angle), far_m * math.sin(angle))
            assert moved.distance(OWN) > 0, (angle, far_m)
    # Forward the dominoes are in the way of what is behind them, but for the portal, which is open there.
    forward_m = min(affinity.translate(low, far_m, 0).distance(OWN) for far_m in (0.2, 0.4))
    assert (forward_m > 0) == (name == "gantry_cart")


# Who may stand already (ahead, left): as the comment in each file says.
ALLOWED = {
    "front_tray": ((1, 0), (0, 1), (0, -1), (1, 1), (1, -1)),
    "belly_drop": ((1, 0), (0, -1), (1, -1)),
    "gantry_cart": ((1, 0), *((0, left) for left in (-3, -2, -1, 1, 2, 3))),
    "kneeling_person": ((1, 0), (0, 1), (0, -1), (1, 1), (1, -1)),
}
FORBIDDEN = {
    "front_tray": ((-1, 0),),
    "belly_drop": ((-1, 0), (0, 1)),
    "gantry_cart": ((-1, 2), (-1, -2)),  # under the legs; between them it is open
    "kneeling_person": ((-1, 0),),
}


@pytest.mark.parametrize("name", EXAMPLES)
def test_order_it_allows(name: str) -> None:
    """Set-down and the first metre of every way out against neighbours that stand, with 1 mm to spare."""
    robot = example(name)
    down, low = parts(robot, lowered=True), parts(robot, lowered=False)
    for place in ALLOWED[name]:
        assert down.distance(neighbour(*place)) >= 0.001, place
        assert any(
            all(
                affinity.translate(low, far_m * math.cos(angle), far_m * math.sin(angle)).distance(
                    neighbour(*place)
                )
                >= 0.001
                for far_m in (0.05, 0.2, 0.5, 1.0)
            )
            for angle in robot.leave_rad
        ), place
    for place in FORBIDDEN[name]:
        assert down.distance(neighbour(*place)) < 0.001, place


@pytest.mark.parametrize("name", ["front_tray", "kneeling_person"])
def test_it_backs_out_of_a_lane_one_tile_wide(name: str) -> None:
    # 2 x 298.5 mm between the dominoes left and right, 30 mm kept on both sides.
    low = parts(example(name), lowered=False)
    _, bottom, _, top = low.bounds
    assert max(top, -bottom) + 0.030 <= 0.2985
    # No wider than the tray it carries.
    assert top - bottom <= WIDTH_M


@pytest.mark.parametrize("name", EXAMPLES)
def test_nothing_is_found_about_it(name: str) -> None:
    brief = example_brief(name)
    _, findings = make_site(brief)
    assert [str(finding) for finding in findings if finding.grade != "notes"] == []


def test_gantry_strides_along_three_tiles() -> None:
    low = parts(example("gantry_cart"), lowered=False)
    strip = shapely.box(-2, -0.8895, 2, 0.8895)
    assert low.distance(strip) >= 0.030
    # Its tray hangs above stacked rows too: 2 x 48 mm and 10 mm.
    assert all(part.bottom_m >= 0.106 for part in example("gantry_cart").parts if "leg" not in part.name)


def test_belly_drop_is_open_ahead_and_at_the_right() -> None:
    low = parts(example("belly_drop"), lowered=False)
    assert low.disjoint(shapely.box(-0.1099, -2, 2, 0.2999))
    assert len(example("belly_drop").leave_rad) == 2


@pytest.mark.parametrize("name", EXAMPLES)
def test_cautions_and_comments(name: str) -> None:
    text = example_text(name)
    words = " ".join(line.lstrip("# ") for line in text.splitlines())
    assert re.search(r"Local rules for [^.]*come first\.", words)
    assert "lift" in words
    # 220 pieces of 8.5 g: 1.87 kg.
    assert "220 dominoes" in words
    assert "1.9 kg" in words
    uncommented = [
        line
        for line in text[text.index("[[robot]]") : text.index("[[robot.part]]")].splitlines()
        if "=" in line and "#" not in line and not line.startswith(("name", "count"))
    ]
    assert [
        line for line in uncommented if not line.startswith(("turn_deg_s", "turn_acc", "charge_min"))
    ] == []
    assert max(map(len, text.splitlines())) <= 120
