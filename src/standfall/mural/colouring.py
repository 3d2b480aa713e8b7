"""Colours within stock: each cell of all fields gets one colour at least total difference, proved."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from standfall.assign import assign
from standfall.brief import Brief
from standfall.findings import Finding
from standfall.mural.difference import Metric
from standfall.mural.dither import diffuse
from standfall.mural.item import FieldCells, Items, make_items, unflatten
from standfall.mural.palette import Palette
from standfall.mural.purchase import Shop, best_purchase, cheapest_cost
from standfall.mural.shortage import binding, bought, over_budget, short_of, specks_left
from standfall.mural.speck import clean_specks
from standfall.mural.stock import Counts, StockTable, spares_of

Floats = NDArray[np.float64]
Progress = Callable[[int, int, str], None]

# Colour differences are whole thousandths of the metric's unit, so that sums are exact.
UNITS = 1000


@dataclass(frozen=True)
class ColourError:
    """How far the colours that stand are from the picture's, over all dominoes of the fields.

    ``mean`` and ``p95`` in units of the metric; ``total`` the sum in thousandths and ``bound`` what no
    colouring within this stock can go below: equal when the colouring is the proved optimum. Dithering
    and cleaning of specks leave the optimum on purpose: then ``total`` is against the picture itself and
    ``bound`` is the proved optimum of the colours the dithering asked for.
    """

    metric: str
    mean: float
    p95: float
    total: int
    bound: int
    specks_removed: int = 0
    specks_left: int = 0

    def as_dict(self) -> dict[str, str | float | int]:
        """Return the figures as plain data."""
        return {
            "metric": self.metric,
            "mean": round(self.mean, 4),
            "p95": round(self.p95, 4),
            "total": self.total,
            "bound": self.bound,
            "specks_removed": self.specks_removed,
            "specks_left": self.specks_left,
        }


@dataclass(frozen=True)
class Colouring:
    """Colours of all fields' dominoes.

    ``lower`` and ``upper`` hold per field (rows, columns) int32 numbers of the palette, -1 where no
    domino stands on that layer.
    """

    lower: tuple[NDArray[np.int32], ...]
    upper: tuple[NDArray[np.int32], ...]
    stock: StockTable
    error: ColourError


def colour_fields(
    cells: Sequence[FieldCells],
    brief: Brief,
    palette: Palette,
    used_lines: Counts,
    progress: Progress | None = None,
) -> tuple[Colouring | None, StockTable, list[Finding]]:
    """Colour the fields within stock, buying what is needed if the brief allows it.

    Returns:
        The colouring (``None`` when it cannot be done), the stock balance as far as known, and findings.
    """
    metric: Metric = brief.colouring.metric  # type: ignore[assignment]
    items = make_items(cells, palette, metric)
    cost = items.cost
    wished = (
        np.bincount(cost.argmin(axis=1), minlength=len(palette)) if len(cost) else np.zeros(len(palette), int)
    )
    shop = _shop(brief, used_lines)
    packs, findings = _packs(shop, len(cost), cost, items.order, brief, progress)
    none_used = np.zeros(len(palette), dtype=np.int64)
    if packs is None:
        least = cheapest_cost(shop, len(cost))
        findings += short_of(shop, wished, len(cost), palette, brief, least)
        return None, _table(brief, wished, none_used, used_lines, none_used), findings
    lower, upper, error, used = _coloured(cells, items, shop.usable_with(packs), brief, palette, progress)
    stock = _table(brief, wished, used, used_lines, packs)
    findings += specks_left(error.specks_left) + binding(shop, wished, packs, palette, used)
    return Colouring(tuple(lower), tuple(upper), stock, error), stock, findings


def _coloured(
    cells: Sequence[FieldCells],
    items: Items,
    capacity: Counts,
    brief: Brief,
    palette: Palette,
    progress: Progress | None,
) -> tuple[list[NDArray[np.int32]], list[NDArray[np.int32]], ColourError, Counts]:
    """Assign, dither and clean as the brief asks; return both layers, the error and the counts used."""
    metric: Metric = brief.colouring.metric  # type: ignore[assignment]
    answer = assign(items.cost, capacity, items.order, progress)
    asked = items
    if any(field.dither > 0 for field in brief.fields):
        asked = make_items(_dithered(cells, brief, palette, answer.price, metric), palette, metric)
        answer = assign(asked.cost, capacity, asked.order, progress)
    choices = unflatten(answer.choice, cells)
    lower, upper, specks = _cleaned(choices, cells, asked, capacity - answer.count, brief)
    flat = _flatten(lower, upper, cells)
    error = _error(items, flat, answer.dual_total, specks, metric)
    return lower, upper, error, np.bincount(flat, minlength=len(palette)).astype(np.int64)


def _shop(brief: Brief, used_lines: Counts) -> Shop:
    return Shop(
        stock=np.array([colour.stock for colour in brief.colours], dtype=np.int64),
        pack_size=np.array([colour.pack_size for colour in brief.colours], dtype=np.int64),
        pack_price=np.array([np.nan if c.pack_price is None else c.pack_price for c in brief.colours]),
        reserved=used_lines,
        spares_share=brief.colouring.spares,
    )


def _packs(
    shop: Shop,
    needed: int,
    cost: NDArray[np.int32],
    order: NDArray[np.int64],
    brief: Brief,
    progress: Progress | None,
) -> tuple[Counts | None, list[Finding]]:
    """Packs to buy, all zero when stock is enough, ``None`` when nothing helps."""
    nothing = np.zeros(len(shop.stock), dtype=np.int64)
    rule, budget = brief.colouring.purchase, brief.colouring.budget
    in_hand = shop.usable_with(nothing)
    enough = bool((in_hand >= 0).all()) and int(in_hand.sum()) >= needed
    if rule == "none" or (enough and rule == "cheapest"):
        return (nothing if enough else None), []
    least = 0.0 if enough else cheapest_cost(shop, needed)
    if least is None:
        return None, []
    if budget is not None and least > budget + 1e-6:
        return None, [over_budget(least, budget, brief)]
    spend = budget if rule == "least_error" and budget is not None else least
    purchase = best_purchase(shop, needed, spend, lambda z: assign(cost, z, order), progress)
    if purchase is None:
        return None, []
    return purchase.packs, bought(purchase.packs, shop, purchase.gap, brief)


def _dithered(
    cells: Sequence[FieldCells], brief: Brief, palette: Palette, price: Counts, metric: Metric
) -> list[FieldCells]:
    return [
        FieldCells(
            diffuse(field.linear, palette.linear, price, metric, section.dither, field.present),
            field.present,
            field.stacked,
        )
        if section.dither > 0
        else field
        for field, section in zip(cells, brief.fields, strict=True)
    ]


def _cleaned(
    choices: list[NDArray[np.int32]],
    cells: Sequence[FieldCells],
    items: Items,
    left_over: Counts,
    brief: Brief,
) -> tuple[list[NDArray[np.int32]], list[NDArray[np.int32]], tuple[int, int]]:
    """Clean specks of the layer that is seen, where the brief asks for it."""
    lower, upper = choices[0::2], choices[1::2]
    removed = left = begun = 0
    for number, (field, section) in enumerate(zip(cells, brief.fields, strict=True)):
        count = int(field.present.sum())
        if section.clean_specks:
            index = np.full(field.present.shape, -1, dtype=np.int64)
            index[field.present] = items.inverse[begun : begun + count]
            cleaned = clean_specks(
                lower[number], left_over, items.table, index, half_offset=section.rows_laid == "half_offset"
            )
            lower[number], left_over = cleaned.choice, cleaned.stock_left
            removed, left = removed + cleaned.removed, left + cleaned.left
        begun += count + int(field.stacked.sum())
    return lower, upper, (removed, left)


def _flatten(
    lower: list[NDArray[np.int32]], upper: list[NDArray[np.int32]], cells: Sequence[FieldCells]
) -> NDArray[np.int32]:
    """Line up the colours of all dominoes again, in the order of ``Items``."""
    chosen = [
        array[mask]
        for low, high, field in zip(lower, upper, cells, strict=True)
        for array, mask in ((low, field.present), (high, field.stacked))
    ]
    return np.concatenate(chosen) if chosen else np.empty(0, dtype=np.int32)


def _error(
    items: Items, flat: NDArray[np.int32], bound: int, specks: tuple[int, int], metric: Metric
) -> ColourError:
    """Hold the colours that stand against the picture itself, dithered or not."""
    errors = items.table[items.inverse, flat]
    return ColourError(
        metric=metric,
        mean=float(errors.mean(dtype=np.float64)) / UNITS if len(errors) else 0.0,
        p95=float(np.percentile(errors, 95)) / UNITS if len(errors) else 0.0,
        total=int(errors.sum(dtype=np.int64)),
        bound=bound,
        specks_removed=specks[0],
        specks_left=specks[1],
    )


def _table(
    brief: Brief, wished: Counts, used_fields: Counts, used_lines: Counts, packs: Counts
) -> StockTable:
    price = np.array([colour.pack_price or 0.0 for colour in brief.colours])
    return StockTable(
        stock=np.array([colour.stock for colour in brief.colours], dtype=np.int64),
        wished=(wished + used_lines).astype(np.int64),
        used_fields=used_fields.astype(np.int64),
        used_lines=used_lines.astype(np.int64),
        spares=spares_of(used_fields + used_lines, brief.colouring.spares),
        pack_size=np.array([colour.pack_size for colour in brief.colours], dtype=np.int64),
        packs_to_buy=packs.astype(np.int64),
        cost=packs * price,
    )
