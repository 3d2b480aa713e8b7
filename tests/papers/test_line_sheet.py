"""Sheets of hand-laid lines, read back from the PDF."""

import math
import re

import numpy as np
import pymupdf
import pytest
from paper_plan import COLOURS, FEEDER, Wish, make_test_plan

from standfall.brief import Line, PathPart
from standfall.papers.lay_sheets import make_lay_book


def line_pages(plan):
    document = pymupdf.open(stream=make_lay_book(plan).typeset(1))
    return [page for page in document if page.get_text().startswith("Line")]


def line(**keys):
    common = {
        "name": "lead-in",
        "colours": ("sun yellow",),
        "pitch_m": 0.025,
        "start_m": (0.3, 0.4),
        "start_direction_rad": 0.0,
    }
    return Line(**{**common, **keys})


def test_joints_worked_by_hand():
    # 1 m ahead, a quarter circle of 0.5 m to the left, then straight to a place.
    #   joint 0: (300, 400) 0 deg; joint 1: (1300, 400) 0 deg;
    #   joint 2: (1300 + 500, 400 + 500) 90 deg, the heading to (1800, 1500); end: (1800, 1500).
    # Length 1000 + 785.398 + 600 = 2385.398 mm, 96 gaps of at most 25 mm: 24.848 mm, 97 pieces.
    # Pieces up to 1000 mm: floor(1000 / 24.848) = 40; up to 1785.398 mm: floor(71.85) = 71.
    path = (
        PathPart(straight_m=1.0),
        PathPart(arc_radius_m=0.5, turn_rad=math.pi / 2),
        PathPart(to_m=(1.8, 1.5)),
    )
    plan = make_test_plan(Wish(columns=10, rows=6, lines=(line(path=path),)))
    (page,) = line_pages(plan)
    rows = table_rows(page)
    assert rows == [
        ["0", "300.0", "400.0", "0.00°", "straight,", "1,000", "mm", "0", "to", "40"],
        ["1", "1,300.0", "400.0", "0.00°", "arc", "left,", "radius", "500", "mm,", "90°", "41", "to", "71"],
        ["2", "1,800.0", "900.0", "90.00°", "straight,", "600", "mm", "72", "to", "96"],
        ["end", "1,800.0", "1,500.0", "90.00°"],
    ]
    text = " ".join(page.get_text().split())
    assert "97 dominoes · middle to middle 24.85 mm · path 2,385 mm" in text
    assert "SY 97" in text


def test_a_piece_on_a_joint_belongs_to_the_part_before_it():
    # Two metres in two straights, 80 gaps of 25 mm: piece 40 stands on the joint at 1000 mm.
    path = (PathPart(straight_m=1.0), PathPart(straight_m=1.0))
    (page,) = line_pages(make_test_plan(Wish(columns=10, rows=6, lines=(line(path=path),))))
    assert [row[-3:] for row in table_rows(page)[:2]] == [["0", "to", "40"], ["41", "to", "80"]]


def table_rows(page):
    words = page.get_text("words")
    top = next(w[3] for w in words if w[4] == "joint" and w[0] < 60)
    bottom = next(w[1] for w in words if w[4] == "Colours")
    lines: dict[int, list] = {}
    for word in words:
        if top < word[1] < bottom and word[0] < page.rect.width * 0.6:
            lines.setdefault(round((word[1] + word[3]) / 2 / 5), []).append(word)
    return [[w[4] for w in sorted(lines[key], key=lambda w: w[0])] for key in sorted(lines)]


def spelled(pages):
    """Colours in order, read from all sheets of a line."""
    codes = []
    for page in pages:
        words = page.get_text("words")
        start = next(n for n, w in enumerate(words) if w[4] == "Colours") + len(
            ["Colours", "in", "order", "from", "piece", "0", "on"]
        )
        times, cycle = 1, []
        tail = [w[4] for w in words[start:] if w[4] not in ("·", "in", "order")]
        n = 0
        while n < len(tail):
            if n + 1 < len(tail) and tail[n + 1] == "times":
                times, n = int(tail[n]), n + 2
            elif tail[n] == "then":
                codes, times, cycle, n = codes + cycle * times, 1, [], n + 1
            elif re.fullmatch("[A-Z]{2,3}", tail[n]):
                cycle, n = cycle + [tail[n]] * int(tail[n + 1]), n + 2
            else:
                n += 1
        codes += cycle * times
    return codes


@pytest.mark.parametrize(
    "colours", [("sun yellow",), ("sun yellow", "ivory"), tuple(name for name, _ in COLOURS) * 6 + ("ivory",)]
)
def test_the_colours_printed_are_those_that_stand(colours):
    path = (PathPart(straight_m=2.53),)
    plan = make_test_plan(Wish(columns=10, rows=6, lines=(line(colours=colours, path=path),)))
    wanted = [plan.palette.codes[c] for c in plan.standing.colour[plan.standing.line == 0]]
    assert spelled(line_pages(plan)) == wanted


def test_a_long_line_goes_on_over_sheets_and_loses_no_joint_and_no_piece():
    rng = np.random.default_rng(2)
    parts = tuple(
        PathPart(straight_m=0.1) if n % 2 else PathPart(arc_radius_m=0.3, turn_rad=0.4 * (-1) ** (n // 2))
        for n in range(90)
    )
    names = tuple(COLOURS[n][0] for n in rng.integers(0, 14, 700))
    plan = make_test_plan(Wish(columns=10, rows=6, lines=(line(path=parts, colours=names),)))
    pages = line_pages(plan)
    assert len(pages) > 2
    joints = []
    for number, page in enumerate(pages, start=1):
        text = page.get_text()
        assert f"part {number} of {len(pages)}" in " ".join(text.split())
        words = page.get_text("words")
        low = min([w[1] for w in words if w[4] == "Colours"], default=1e9)
        joints += [w[4] for w in words if w[0] < 34 and 85 < w[1] < low and (w[4].isdigit() or w[4] == "end")]
    assert joints == [*map(str, range(90)), "end"]
    wanted = [plan.palette.codes[c] for c in plan.standing.colour[plan.standing.line == 0]]
    assert spelled([page for page in pages if "Colours" in page.get_text()]) == wanted


def test_a_branch_says_where_it_leaves_from():
    trunk = line(path=(PathPart(straight_m=0.5),))
    branch = Line(
        name="split left",
        colours=("ivory",),
        pitch_m=0.025,
        branch_of="lead-in",
        branch_at_m=0.5,
        path=(PathPart(straight_m=0.3),),
    )
    plan = make_test_plan(Wish(columns=10, rows=6, lines=(trunk, branch)))
    first, second = (" ".join(page.get_text().split()) for page in line_pages(plan))
    assert "branches off" not in first
    assert "branches off lead-in; its first piece stands 25.00 mm along its path" in second
    assert "Line 2 of 2" in second


def test_the_drawing_stays_in_its_frame():
    plan = make_test_plan(Wish(columns=10, rows=6, lines=(FEEDER,)))
    (page,) = line_pages(plan)
    circles = [
        d["rect"]
        for d in page.get_drawings()
        if d["fill"] and d["rect"].width < 8 and any(item[0] == "c" for item in d["items"])
    ]
    assert len(circles) == 4  # three joints and the end
    assert all(page.rect.width * 0.6 < circle.x0 and circle.x1 < page.rect.width - 24 for circle in circles)
