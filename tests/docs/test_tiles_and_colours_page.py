"""The figures and small sums of ``docs/tiles-and-colours.md`` are true."""

import math
import tomllib
from fractions import Fraction

import numpy as np
import pytest
from demo_figures import demo_figures, figures_of, words_of
from doc_page import read_page, regions, section, table_rows

from standfall.brief import Tray
from standfall.demo import brief_text
from standfall.mural.code import letter_codes
from standfall.mural.stock import usable
from standfall.tiles import fitting_offsets

PAGE = read_page("tiles-and-colours.md")


def test_demo_figures_are_current(demo_outcome):
    written, now = regions(PAGE, "demo")["figures"], demo_figures(demo_outcome.plan)
    assert words_of(written) == words_of(now), "run: python tests/docs/write_tables.py"
    # The drawing library decides on the edge pixels of the demo picture: figures may move a little.
    assert figures_of(written) == pytest.approx(figures_of(now), rel=0.02, abs=10)


def test_what_the_page_says_of_the_demo_is_so(demo_outcome):
    brief = tomllib.loads(brief_text())
    stock = sum(colour["stock"] for colour in brief["colour"])
    cells = sum(field["columns"] * field["rows"] for field in brief["field"])
    plan = demo_outcome.plan
    lines = int((plan.standing.line >= 0).sum())
    binding = [finding for finding in demo_outcome.findings if finding.code == "C303"]
    words = {5: "Five", 6: "Six", 7: "Seven"}
    for text in (
        f"{cells:,} cells".replace(",", " "),
        f"{lines} dominoes in lines",
        f"{stock:,} pieces in {len(brief['colour'])} colours".replace(",", " "),
        f"{words[len(binding)]} colours run",
    ):
        assert text in " ".join(PAGE.split())
    assert plan.colour_error.total == plan.colour_error.bound


@pytest.mark.parametrize("percent", [0, 3, 7, 100])
def test_spares_rule_is_the_greatest_use_that_leaves_its_spares(percent):
    # By trying every use, in exact fractions: U + ceil(s U) <= S.
    share = Fraction(percent, 100)
    for stock in (0, 1, 33, 34, 35, 103, 206, 1250):
        greatest = max(used for used in range(stock + 1) if used + math.ceil(share * used) <= stock)
        assert usable(np.array([stock]), percent / 100)[0] == greatest


def test_letter_codes_named_on_the_page():
    names = [colour["name"] for colour in tomllib.loads(brief_text())["colour"]]
    codes = dict(zip(names, letter_codes(names), strict=True))
    assert f"ivory is {codes['ivory']} and orange is {codes['orange']}" in " ".join(PAGE.split())


@pytest.mark.parametrize("row", table_rows(section(PAGE, "Half-offset rows")), ids=" ".join)
def test_table_of_turns_is_so(row):
    heights = {"1": (1,), "even": (2, 10), "odd, 3 or more": (3, 9)}[row[0]]
    turns = {"any": ((0,), (180,), (0, 180)), "0 and 180": ((0, 180),), "only one": ((0,), (180,))}[row[1]]
    for height in heights:
        for turn in turns:
            tray = Tray(columns=4, rows=height, col_pitch_m=0.027, row_pitch_m=0.022, orientations_deg=turn)
            offsets = fitting_offsets(True, tray, 10 * tray.rows)
            if row[2].startswith("everywhere"):
                assert offsets == list(range(height))
            elif row[2].startswith("nowhere"):
                assert offsets == []
            else:
                # The first tray reaches over row 0 by an even number, so every band begins on an even row.
                assert offsets == list(range(0, height, 2))
