"""Blocks: each cell of each layer on exactly one sheet, whatever the tray and the paper."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from paper_plan import Wish, make_test_plan

from standfall.papers.block import field_colours, fit_runs, make_blocks, most_counts
from standfall.papers.page import LEAST_PT, landscape, most_columns


def covered(plan, page):
    fields = field_colours(plan)
    blocks = make_blocks(plan, fields, page)
    field = plan.brief.fields[0]
    times = np.zeros((2, field.rows, field.columns), dtype=int)
    for block in blocks:
        colours, _ = fields[0].of(block)
        for r, c in np.argwhere(colours >= 0):
            times[block.layer, block.first_row + r, block.first_col + c] += 1
    return blocks, fields, times


@given(
    columns=st.integers(1, 60),
    rows=st.integers(1, 40),
    tray=st.tuples(st.integers(1, 45), st.integers(1, 25)),
    sheets=st.sampled_from(["tiles", "row_bands"]),
    page=st.sampled_from(["a4", "letter"]),
    stacked=st.booleans(),
)
@settings(max_examples=25, deadline=None)
def test_every_domino_is_on_one_sheet_and_every_sheet_fits(columns, rows, tray, sheets, page, stacked):
    plan = make_test_plan(
        Wish(
            columns=columns,
            rows=rows,
            tray=tray,
            sheets=sheets,
            band_rows=7,
            page=page,
            lines=(),
            noise=0.7,
            stacked=((0, rows // 2),) if stacked else (),
        )
    )
    paper = landscape(page)
    blocks, fields, times = covered(plan, paper)
    for layer in (0, 1):
        assert (times[layer] == (fields[0].colour[layer] >= 0)).all()
    for block in blocks:
        colours, _ = fields[0].of(block)
        fit = fit_runs(colours, block, plan, paper)
        assert fit is not None
        style, grid = fit
        assert style.size_pt >= 10.0
        assert grid.code_pt >= LEAST_PT - 1e-9
        assert grid.cell_width_mm * block.cols <= paper.grid_mm + 1e-9
        assert len(np.unique(colours[colours >= 0])) <= most_counts(paper, plan.brief.fields[0])
    numbers = [block.tile for block in blocks]
    assert numbers == sorted(numbers)


@pytest.mark.parametrize("page", ["a4", "letter"])
def test_a_common_tray_is_always_one_sheet_even_when_no_two_neighbours_are_alike(page):
    plan = make_test_plan(Wish(columns=44, rows=20, holes=False, lines=(), noise=1.0, page=page))
    # Make every row a run per domino, the worst there is: 22 runs in a row of the tray.
    colours = ((plan.standing.col + plan.standing.row) % 14).astype(np.int16)
    object.__setattr__(plan.standing, "colour", colours)
    blocks, _, _ = covered(plan, landscape(page))
    assert len(blocks) == len(plan.tiling)
    assert {block.parts for block in blocks} == {1}


def test_dominoes_without_a_tile_come_in_bands_after_the_tiles():
    plan = make_test_plan(Wish(columns=44, rows=20, holes=False, lines=()))
    tile = plan.standing.tile.copy()
    tile[tile == 4] = 0
    object.__setattr__(plan.standing, "tile", tile)
    blocks, fields, times = covered(plan, landscape("a4"))
    assert (times[0] == (fields[0].colour[0] >= 0)).all()
    assert [block.tile for block in blocks][:3] == [1, 2, 3]
    assert {block.tile for block in blocks[3:]} == {0}


def test_bands_are_split_side_by_side_evenly():
    plan = make_test_plan(Wish(columns=330, rows=20, holes=False, lines=(), sheets="row_bands", noise=0.0))
    page = landscape("a4")
    blocks, _, _ = covered(plan, page)
    widths = {block.cols for block in blocks}
    assert max(widths) <= min(40, most_columns(page, 2, False))
    assert max(widths) - min(widths) <= 1
    assert [block.part for block in blocks if block.band == 0] == list(range(1, blocks[0].parts + 1))
