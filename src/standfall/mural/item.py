"""Items: every domino of all fields in one line, ready for the exact assignment."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from standfall.brief import Field
from standfall.mural.difference import Metric, difference_table, distinct
from standfall.mural.palette import Palette

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class FieldCells:
    """The cells of one field: linear-light colour (rows, columns, 3) and where a domino stands."""

    linear: Floats
    present: NDArray[np.bool_]
    stacked: NDArray[np.bool_]


@dataclass(frozen=True)
class Items:
    """n dominoes in one line: field by field, lower layer then upper, each row by row.

    ``table`` (m, k) int32 differences of m distinct colours in thousandths; ``inverse`` (n,) the distinct
    colour of each domino; ``order`` (n,) in which ties are dealt.
    """

    table: NDArray[np.int32]
    inverse: NDArray[np.int64]
    order: NDArray[np.int64]

    @property
    def cost(self) -> NDArray[np.int32]:
        """Return the (n, k) differences of all dominoes."""
        return self.table[self.inverse]


def field_cells(linear: Floats, cover: Floats, field: Field) -> FieldCells:
    """Decide where dominoes stand: where the picture covers enough of the cell."""
    present = cover >= field.min_cover - 1e-12
    in_range = np.zeros(present.shape[0], dtype=np.bool_)
    for first, last in field.stacked_rows:
        in_range[first : last + 1] = True
    return FieldCells(linear, present, present & in_range[:, None])


def make_items(cells: Sequence[FieldCells], palette: Palette, metric: Metric) -> Items:
    """Line up all dominoes and the differences of their colours from the palette's."""
    masks = [mask for field in cells for mask in (field.present, field.stacked)]
    linear = [field.linear[mask] for field in cells for mask in (field.present, field.stacked)]
    colours, inverse = distinct(np.concatenate(linear) if linear else np.empty((0, 3)))
    table = difference_table(colours, palette.linear, metric)
    # Ties are dealt in the order of a plane-filling sequence (R2, M. Roberts 2018, from memory), so that
    # an even area whose colour runs out becomes an even mixture and not two blocks.
    keys = [_r2(*np.nonzero(mask)) for mask in masks]
    order = np.argsort(np.concatenate(keys) if keys else np.empty(0), kind="stable")
    return Items(table, inverse.astype(np.int64), order.astype(np.int64))


def _r2(rows: NDArray[np.int64], cols: NDArray[np.int64]) -> Floats:
    return np.asarray((0.7548776662466927 * cols + 0.5698402909980532 * rows) % 1.0)


def unflatten(choice: NDArray[np.int32], cells: Sequence[FieldCells]) -> list[NDArray[np.int32]]:
    """Put a line of items back into (rows, columns) arrays: lower, upper, field by field."""
    arrays, begun = [], 0
    for field in cells:
        for mask in (field.present, field.stacked):
            array = np.full(mask.shape, -1, dtype=np.int32)
            count = int(mask.sum())
            array[mask] = choice[begun : begun + count]
            begun += count
            arrays.append(array)
    return arrays
