"""Steps against what they are made of: every domino in one step, inside its step's outline (by shapely)."""

from __future__ import annotations

import copy
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
import shapely

from standfall.brief import Brief, read_text
from standfall.geometry import rectangle_corners
from standfall.mural.field import place_field
from standfall.mural.standing import STANDING_TYPES, Standing, join_standing
from standfall.routes.step import KINDS, Steps, make_steps
from standfall.tiles import Tiling, cut_fields, gap_mask, with_tiles

ToToml = Callable[[dict[str, Any]], bytes]


def _brief(small: dict[str, Any], to_toml: ToToml, **field: Any) -> Brief:
    data = copy.deepcopy(small)
    data["field"][0] |= {"stacked_rows": []} | field
    if field.get("rows_laid") == "half_offset":
        data["tray"]["rows_laid"] = "half_offset"
        data["tray"]["rows"] = 6
    reading = read_text(to_toml(data))
    assert reading.brief is not None, reading.findings
    return reading.brief


def _columns(count: int, **values: Any) -> Standing:
    usual: dict[str, Any] = {name: np.zeros(count) for name in STANDING_TYPES}
    usual |= {"field": -1, "line": -1, "slot_row": -1, "slot_col": -1}
    return Standing(
        **{
            name: (np.zeros(count) + (usual | values)[name]).astype(kind)
            for name, kind in STANDING_TYPES.items()
        }
    )


def _stood(brief: Brief, present: np.ndarray) -> tuple[Steps, Standing, Tiling]:
    """A field with holes, its second layer, and a line of 40 pieces beside it."""
    field = brief.fields[0]
    place = place_field(field)
    row, col = np.nonzero(present)
    x_m, y_m = place.centres(row, col)
    own = {"field": 0, "yaw_rad": field.fall_direction_rad}
    low = _columns(len(row), x_m=x_m, y_m=y_m, row=row, col=col, **own)
    on = np.zeros(len(row), bool)
    for first, last in field.stacked_rows:
        on |= (row >= first) & (row <= last)
    high = _columns(
        int(on.sum()), x_m=x_m[on], y_m=y_m[on], z_m=0.048, row=row[on], col=col[on], layer=1, **own
    )
    line = _columns(
        40, x_m=0.5, y_m=0.4 + 0.024 * np.arange(40), yaw_rad=np.pi / 2, line=0, row=np.arange(40)
    )
    tiling, maps = cut_fields([present & ~gap_mask(field)], [place], brief.tray)
    standing = with_tiles(join_standing([low, high, line]), maps)
    return make_steps(brief, standing, tiling), standing, tiling


def _holes(brief: Brief, seed: int) -> np.ndarray:
    field = brief.fields[0]
    rng = np.random.default_rng(seed)
    present = rng.random((field.rows, field.columns)) < 0.9
    present[:7, 3:20] = rng.random((7, 17)) < 0.3
    return present


@pytest.mark.parametrize("laid", ["straight", "half_offset"])
@pytest.mark.parametrize("seed", range(3))
def test_every_domino_is_in_one_step_and_within_its_outline(
    small: dict[str, Any], to_toml: ToToml, laid: str, seed: int
) -> None:
    brief = _brief(small, to_toml, rows_laid=laid, gap_rows=[[11, 14]], stacked_rows=[[20, 24]])
    steps, standing, _ = _stood(brief, _holes(brief, seed))
    assert sorted(steps.member.tolist()) == list(range(len(standing)))
    assert steps.dominoes.sum() == len(standing)
    piece = (brief.domino.width_m, brief.domino.thickness_m)
    boxes = shapely.polygons(rectangle_corners(standing.x_m, standing.y_m, standing.yaw_rad, *piece))
    for step in range(len(steps)):
        shapes = [steps.shapes.polygon(k) for k in np.flatnonzero(steps.shape_of == step)]
        if KINDS[steps.kind[step]] == "stack":
            assert not shapes
            continue
        outline = shapely.union_all([shapely.Polygon(shape) for shape in shapes]).buffer(1e-9)
        assert shapely.covers(outline, boxes[steps.members(step)]).all()
        assert all(shapely.Polygon(shape).exterior.is_ccw for shape in shapes)


@pytest.mark.parametrize("laid", ["straight", "half_offset"])
def test_outlines_of_tiles_keep_out_of_each_other(small: dict[str, Any], to_toml: ToToml, laid: str) -> None:
    brief = _brief(small, to_toml, rows_laid=laid)
    steps, _, tiling = _stood(brief, _holes(brief, 1))
    tile = [
        shapely.union_all(
            [shapely.Polygon(steps.shapes.polygon(k)) for k in np.flatnonzero(steps.shape_of == t)]
        )
        for t in range(len(tiling))
    ]
    tree = shapely.STRtree(tile)
    for first, second in tree.query(tile, predicate="intersects").T:
        assert first == second or tile[first].intersection(tile[second]).area < 1e-12


def test_a_full_tile_of_straight_rows_is_one_box(small: dict[str, Any], to_toml: ToToml) -> None:
    brief = _brief(small, to_toml)
    field = brief.fields[0]
    steps, _, tiling = _stood(brief, np.ones((field.rows, field.columns), bool))
    assert len(tiling) == 4 * 6
    # By hand, tray of 11 x 5: 10 pitches of 27 mm and a width of 24, 4 pitches of 22 mm and a thickness of 7.5.
    area = (10 * 0.027 + 0.024) * (4 * 0.022 + 0.0075)
    for tile in range(len(tiling)):
        (shape,) = np.flatnonzero(steps.shape_of == tile)
        assert shapely.Polygon(steps.shapes.polygon(int(shape))).area == pytest.approx(area)


def test_gap_rows_are_laid_by_hand_in_stretches_as_wide_as_a_tray(
    small: dict[str, Any], to_toml: ToToml
) -> None:
    brief = _brief(small, to_toml, gap_rows=[[5, 7], [20, 20]])
    field = brief.fields[0]
    steps, standing, tiling = _stood(brief, np.ones((field.rows, field.columns), bool))
    gaps = np.flatnonzero(steps.kind == KINDS.index("gap"))
    assert steps.dominoes[gaps].tolist() == [33] * 4 + [11] * 4
    open_rows = np.isin(standing.row, (5, 6, 7, 20)) & (standing.field == 0)
    assert (standing.tile[open_rows] == 0).all()
    assert (standing.tile[(standing.field == 0) & ~open_rows] > 0).all()
    assert tiling.dominoes.sum() == 44 * 30 - 4 * 44


def test_a_second_layer_comes_after_what_it_stands_on(small: dict[str, Any], to_toml: ToToml) -> None:
    brief = _brief(small, to_toml, gap_rows=[[5, 7]], stacked_rows=[[6, 9]])
    field = brief.fields[0]
    steps, standing, _ = _stood(brief, np.ones((field.rows, field.columns), bool))
    floor = {
        (row, col): number
        for number, (row, col, layer, home) in enumerate(
            zip(standing.row, standing.col, standing.layer, standing.field, strict=True)
        )
        if layer == 0 and home == 0
    }
    of_domino = np.empty(len(standing), int)
    for step in range(len(steps)):
        of_domino[steps.members(step)] = step
    stacks = np.flatnonzero(steps.kind == KINDS.index("stack"))
    assert steps.dominoes[stacks].sum() == 4 * 44
    for step in stacks:
        below = {of_domino[floor[standing.row[k], standing.col[k]]] for k in steps.members(int(step))}
        assert below == {steps.after[step]}
    assert (np.delete(steps.after, stacks) == -1).all()


def test_a_line_is_cut_into_stretches_within_one_persons_reach(
    small: dict[str, Any], to_toml: ToToml
) -> None:
    brief = _brief(small, to_toml)
    field = brief.fields[0]
    steps, standing, _ = _stood(brief, np.ones((field.rows, field.columns), bool))
    lines = np.flatnonzero(steps.kind == KINDS.index("line"))
    # By hand: 0.6 m at 24 mm a piece are 25 pieces; 40 pieces make two stretches.
    assert steps.dominoes[lines].tolist() == [25, 15]
    assert [standing.row[steps.members(int(step))].tolist() for step in lines] == [
        list(range(25)),
        list(range(25, 40)),
    ]
