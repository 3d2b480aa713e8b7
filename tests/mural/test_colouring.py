"""Colours within stock against OR-tools' exact flow (general-purpose library), lines and second layer included."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from ortools.graph.python import min_cost_flow

from standfall.brief import Brief, Colour, Colouring, Domino, Field, Hall, Job
from standfall.mural.colouring import Colouring as Coloured
from standfall.mural.colouring import colour_fields
from standfall.mural.conversion import srgb8_to_linear
from standfall.mural.difference import difference_table
from standfall.mural.item import FieldCells, field_cells, make_items, unflatten
from standfall.mural.palette import Palette, make_palette

HEXES = ("#1a2340", "#5a98c6", "#8f4824", "#f6eedc", "#779a43")


def _brief(
    stock: tuple[int, ...], *fields: Field, prices: tuple[float | None, ...] = (None,) * 5, **colouring: Any
) -> Brief:
    return Brief(
        job=Job(name="mural"),
        hall=Hall(outline_m=((0.0, 0.0), (9.0, 0.0), (9.0, 9.0))),
        domino=Domino(height_m=0.048, width_m=0.024, thickness_m=0.0075, mass_kg=0.0085),
        colours=tuple(
            Colour(name=f"colour {n}", srgb=srgb, stock=count, pack_size=25, pack_price=price)
            for n, (srgb, count, price) in enumerate(zip(HEXES, stock, prices, strict=True))
        ),
        colouring=Colouring(**({"spares": 0.03} | colouring)),
        fields=fields,
    )


def _field(rows: int, columns: int, **keys: Any) -> Field:
    return Field(
        name=keys.pop("name", "mural"),
        picture="p.png",
        columns=columns,
        rows=rows,
        col_pitch_m=0.027,
        row_pitch_m=0.022,
        corner_m=(1.0, 1.0),
        **keys,
    )


def _cells(field: Field, seed: int, holes: bool = False) -> FieldCells:
    # Whole sRGB codes, which the lattice of distinct colours leaves where they are.
    rng = np.random.default_rng(seed)
    linear = srgb8_to_linear(rng.integers(0, 256, (field.rows, field.columns, 3)).astype(np.uint8))
    cover = (
        (rng.random((field.rows, field.columns)) < 0.85).astype(float)
        if holes
        else np.ones((field.rows, field.columns))
    )
    return field_cells(linear, cover, field)


def _by_flow(cells: list[FieldCells], palette: Palette, metric: Any, capacity: np.ndarray) -> int:
    """Least total difference in thousandths: dominoes to colours, colours to stock, by min-cost flow."""
    colours = np.concatenate(
        [field.linear[mask] for field in cells for mask in (field.present, field.stacked)]
    )
    cost = difference_table(colours, palette.linear, metric).astype(int)
    n, k = cost.shape
    flow = min_cost_flow.SimpleMinCostFlow()
    flow.add_arcs_with_capacity_and_unit_cost(
        np.repeat(np.arange(n), k), np.tile(n + np.arange(k), n), np.ones(n * k, int), cost.ravel()
    )
    flow.add_arcs_with_capacity_and_unit_cost(n + np.arange(k), np.full(k, n + k), capacity, np.zeros(k, int))
    flow.set_nodes_supplies(np.arange(n + k + 1), np.concatenate([np.ones(n, int), np.zeros(k, int), [-n]]))
    assert flow.solve() == flow.OPTIMAL
    return int(flow.optimal_cost())


def _capacity(stock: tuple[int, ...], used_lines: np.ndarray) -> np.ndarray:
    """Pieces that may stand in the fields: as many as leave 3 spares to the hundred, rounded up, less the lines'."""
    most = [max(u for u in range(count + 1) if u + math.ceil(u * 3 / 100) <= count) for count in stock]
    return np.array(most) - used_lines


CASES: dict[str, tuple[tuple[Field, ...], tuple[int, ...], tuple[int, ...], bool]] = {
    # fields, stock, used by lines, holes
    "one field": ((_field(20, 22),), (80, 120, 90, 150, 60), (0, 0, 0, 0, 0), False),
    "lines reserve": ((_field(20, 22),), (110, 120, 110, 150, 60), (40, 0, 30, 0, 0), False),
    "second layer": (
        (_field(20, 22, stacked_rows=((3, 5), (19, 19))),),
        (110, 130, 120, 150, 80),
        (0, 7, 0, 0, 0),
        False,
    ),
    "holes": ((_field(20, 22),), (70, 90, 90, 130, 60), (0, 0, 0, 0, 0), True),
    "two fields": (
        (_field(12, 10), _field(9, 14, name="second", stacked_rows=((0, 1),))),
        (60, 70, 60, 60, 60),
        (0, 0, 9, 0, 0),
        True,
    ),
    "plenty": ((_field(10, 10),), (500, 500, 500, 500, 500), (1, 1, 1, 1, 1), False),
}


def _coloured(case: str, metric: str) -> tuple[Coloured, Brief, list[FieldCells], Palette, np.ndarray]:
    fields, stock, lines, holes = CASES[case]
    brief = _brief(stock, *fields, metric=metric)
    palette = make_palette(brief.colours)
    cells = [_cells(field, seed, holes) for seed, field in enumerate(fields)]
    used_lines = np.array(lines, dtype=np.int64)
    colouring, table, findings = colour_fields(cells, brief, palette, used_lines)
    assert colouring is not None and colouring.stock is table
    assert not [finding for finding in findings if finding.grade == "blocks"]
    return colouring, brief, cells, palette, used_lines


@pytest.mark.parametrize("metric", ["ciede2000", "cie76", "oklab"])
@pytest.mark.parametrize("case", CASES)
def test_the_colouring_is_the_optimum(case: str, metric: str) -> None:
    colouring, _, cells, palette, used_lines = _coloured(case, metric)
    assert colouring.error.total == colouring.error.bound
    assert colouring.error.total == _by_flow(cells, palette, metric, _capacity(CASES[case][1], used_lines))


@pytest.mark.parametrize("case", CASES)
def test_counts_layers_and_errors_are_what_stands(case: str) -> None:
    colouring, _, cells, palette, used_lines = _coloured(case, "ciede2000")
    differences, counts = [], np.zeros(len(palette), int)
    for field, lower, upper in zip(cells, colouring.lower, colouring.upper, strict=True):
        for mask, layer in ((field.present, lower), (field.stacked, upper)):
            assert ((layer >= 0) == mask).all()
            table = difference_table(field.linear[mask], palette.linear, "ciede2000")
            differences.append(table[np.arange(len(table)), layer[mask]])
            counts += np.bincount(layer[mask], minlength=len(palette))
    together = np.concatenate(differences)
    assert colouring.error.total == together.sum()
    assert colouring.error.mean == pytest.approx(together.mean() / 1000)
    assert colouring.error.p95 == pytest.approx(np.percentile(together, 95) / 1000)
    table = colouring.stock
    np.testing.assert_array_equal(table.used_fields, counts)
    np.testing.assert_array_equal(table.used_lines, used_lines)
    assert (table.used + table.spares <= table.stock).all()
    assert (table.packs_to_buy == 0).all() and (table.cost == 0).all()


@pytest.mark.parametrize("case", ["one field", "second layer"])
def test_the_same_cells_give_the_same_colours(case: str) -> None:
    first, second = _coloured(case, "ciede2000")[0], _coloured(case, "ciede2000")[0]
    for one, other in zip(first.lower + first.upper, second.lower + second.upper, strict=True):
        assert one.tobytes() == other.tobytes()


def test_ties_repeat_and_an_even_area_that_runs_short_becomes_a_mixture() -> None:
    # 900 equal cells, half of each of two greys: no quarter of the field may be of one colour alone.
    field = _field(30, 30)
    brief = _brief((464, 464, 0, 0, 0), field)
    palette = make_palette(
        [Colour(name="a", srgb="#606060", stock=464), Colour(name="b", srgb="#a0a0a0", stock=464)]
    )
    brief = Brief(**{**brief.__dict__, "colours": brief.colours[:2]})
    cells = [field_cells(np.full((30, 30, 3), 0.2), np.ones((30, 30)), field)]
    runs = [colour_fields(cells, brief, palette, np.zeros(2, np.int64))[0] for _ in range(2)]
    assert runs[0] is not None and runs[1] is not None
    chosen = runs[0].lower[0]
    assert chosen.tobytes() == runs[1].lower[0].tobytes()
    for block in (chosen[:15, :15], chosen[15:, :15], chosen[:15, 15:], chosen[15:, 15:]):
        assert 0.35 < (block == 0).mean() < 0.65
    for row, col in zip(chosen, chosen.T, strict=True):
        assert 0.3 < (row == 0).mean() < 0.7 and 0.3 < (col == 0).mean() < 0.7


def test_not_covered_cells_are_empty_and_the_limit_itself_is_covered() -> None:
    field = _field(1, 4, min_cover=0.5, stacked_rows=((0, 0),))
    cells = field_cells(np.zeros((1, 4, 3)), np.array([[0.0, 0.4999, 0.5, 1.0]]), field)
    assert cells.present.tolist() == [[False, False, True, True]]
    assert cells.stacked.tolist() == [[False, False, True, True]]


def test_items_line_up_field_by_field_and_layer_by_layer() -> None:
    fields = [_field(2, 3, stacked_rows=((1, 1),)), _field(2, 2, name="second")]
    cells = [_cells(field, n, holes=True) for n, field in enumerate(fields)]
    items = make_items(cells, make_palette(_brief((1,) * 5).colours), "oklab")
    count = sum(int(mask.sum()) for field in cells for mask in (field.present, field.stacked))
    assert items.cost.shape == (count, 5)
    assert sorted(items.order.tolist()) == list(range(count))
    arrays = unflatten(np.arange(count, dtype=np.int32), cells)
    line = np.concatenate([array[array >= 0] for array in arrays])
    assert line.tolist() == list(range(count))
    assert [array.shape for array in arrays] == [(2, 3), (2, 3), (2, 2), (2, 2)]


def test_no_field_at_all() -> None:
    brief = _brief((10, 10, 10, 10, 10))
    palette = make_palette(brief.colours)
    colouring, table, findings = colour_fields([], brief, palette, np.array([9, 0, 0, 0, 0]))
    assert colouring is not None and findings == []
    assert (
        colouring.lower == ()
        and colouring.error.mean == 0.0
        and colouring.error.total == colouring.error.bound == 0
    )
    assert table.used.tolist() == [9, 0, 0, 0, 0] and table.spares.tolist() == [1, 0, 0, 0, 0]


@pytest.mark.parametrize("rule", ["cheapest", "least_error"])
def test_lines_alone_can_need_packs(rule: str) -> None:
    brief = _brief((10, 10, 10, 10, 10), prices=(2.0, 3.0, None, None, None), purchase=rule, budget=50.0)
    palette = make_palette(brief.colours)
    # 30 and one spare are 31 pieces; 10 in hand, packs of 25.
    colouring, table, findings = colour_fields([], brief, palette, np.array([30, 0, 0, 0, 0]))
    assert colouring is not None
    assert table.packs_to_buy.tolist() == [1, 0, 0, 0, 0] and table.cost.tolist() == [2.0, 0, 0, 0, 0]
    assert [(finding.code, finding.where) for finding in findings] == [("C306", "colour[0].stock")]


def test_buying_is_told_and_counted() -> None:
    field = _field(20, 22)
    brief = _brief((50, 60, 50, 60, 40), field, prices=(2.0, 3.0, 2.5, None, 1.0))
    palette = make_palette(brief.colours)
    cells = [_cells(field, 0)]
    colouring, table, findings = colour_fields(cells, brief, palette, np.zeros(5, np.int64))
    assert colouring is not None
    assert (table.used + table.spares <= table.stock + table.to_buy).all()
    assert table.to_buy[3] == 0
    bought = {finding.where: finding.value for finding in findings if finding.code == "C306"}
    assert bought == {f"colour[{j}].stock": int(table.to_buy[j]) for j in np.flatnonzero(table.to_buy)}
    np.testing.assert_allclose(table.cost, table.packs_to_buy * np.array([2.0, 3.0, 2.5, 0.0, 1.0]))
    # What is bought is the stock for which the colouring is the optimum.
    capacity = _capacity(tuple((table.stock + table.to_buy).tolist()), np.zeros(5, int))
    assert colouring.error.total == _by_flow(cells, palette, "ciede2000", capacity)


@pytest.mark.parametrize(
    "keys", [{"dither": 1.0}, {"clean_specks": True}, {"dither": 0.5, "clean_specks": True}]
)
def test_dither_and_specks_stay_within_stock_and_say_what_they_cost(keys: dict[str, Any]) -> None:
    stock = (80, 120, 90, 150, 60)
    field = _field(20, 22, **keys)
    brief = _brief(stock, field)
    palette = make_palette(brief.colours)
    cells = [_cells(field, 0)]
    colouring, table, _ = colour_fields(cells, brief, palette, np.zeros(5, np.int64))
    assert colouring is not None
    assert (table.used <= _capacity(stock, np.zeros(5, int))).all()
    optimum = _by_flow(cells, palette, "ciede2000", _capacity(stock, np.zeros(5, int)))
    assert colouring.error.total >= optimum
    if "dither" not in keys:
        assert colouring.error.bound == optimum
        assert colouring.error.specks_removed > 0


def test_a_binding_colour_is_noted_with_what_is_asked_and_what_there_is() -> None:
    field = _field(10, 10)
    brief = _brief((103, 0, 0, 0, 0), field)
    palette = make_palette(brief.colours)
    cells = [field_cells(np.broadcast_to(palette.linear[3], (10, 10, 3)).copy(), np.ones((10, 10)), field)]
    colouring, table, findings = colour_fields(cells, brief, palette, np.zeros(5, np.int64))
    assert colouring is not None
    assert [(f.code, f.where, f.value, f.limit) for f in findings] == [("C303", "colour[3].stock", 100, 0)]
    assert table.wished.tolist() == [0, 0, 0, 100, 0] and table.used.tolist() == [100, 0, 0, 0, 0]
