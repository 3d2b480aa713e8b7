"""Specks: single dominoes of a colour that none of their neighbours has."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from standfall.mural import _kernels


@dataclass(frozen=True, eq=False)
class Cleaned:
    """A field after its specks were recoloured.

    Attributes:
        choice: class of each domino, int32 (rows, columns), -1 where none stands.
        stock_left: of each class, int64 (k,).
        removed: how many dominoes were recoloured.
        left: how many specks remain because no neighbour's colour had stock left.
    """

    choice: NDArray[np.int32]
    stock_left: NDArray[np.int64]
    removed: int
    left: int


def clean_specks(
    choice: NDArray[np.int32],
    stock_left: NDArray[np.int64],
    cost: NDArray[np.int32],
    cost_row: NDArray[np.int64],
    half_offset: bool = False,
) -> Cleaned:
    """Recolour specks as a neighbour's colour, as far as stock allows.

    A speck is a domino whose colour differs from that of every neighbour; one without neighbours is
    none. Neighbours are the up to eight dominoes around it in a straight field; in a half-offset field
    the up to six that touch it: two beside, two before, two behind.

    Specks are taken row by row, each row from column 0, and again until nothing changes. A speck takes
    the colour most frequent among its neighbours that has a domino left in stock (ties: least cost for
    this cell, then lowest index); its own goes back to stock, where a later one may take it. Recolouring
    a speck never makes another, as no neighbour shared its colour, so this ends.

    Args:
        choice: class of each domino, int32 (rows, columns), -1 where none stands. Not changed.
        stock_left: dominoes of each class that ``choice`` leaves over, int64 (k,), none negative.
        cost: of giving class j to a cell of colour i, int32 (m, k).
        cost_row: row of ``cost`` that each cell goes by, int64 (rows, columns); ignored where no domino
            stands.
        half_offset: rows 1, 3, ... stand half a pitch to the right.

    Raises:
        ValueError: shapes do not belong together, a class or a cost row does not exist, or stock is
            negative.
    """
    if choice.ndim != 2 or cost_row.shape != choice.shape:
        raise ValueError(f"choice {choice.shape} and cost_row {cost_row.shape} do not belong together")
    if cost.ndim != 2 or stock_left.shape != (cost.shape[1],):
        raise ValueError(f"cost {cost.shape} and stock_left {stock_left.shape} do not belong together")
    standing = choice >= 0
    if (choice >= cost.shape[1]).any():
        raise ValueError(f"choice names class {int(choice.max())}, there are {cost.shape[1]}")
    if ((cost_row < 0) | (cost_row >= cost.shape[0]))[standing].any():
        raise ValueError(f"cost_row names a row outside the {cost.shape[0]} rows of cost")
    if (stock_left < 0).any():
        raise ValueError(f"stock left is negative: {stock_left.tolist()}")
    new = np.array(choice, dtype=np.int32, order="C")
    stock = np.array(stock_left, dtype=np.int64)
    removed, left = _kernels.clean_specks(
        new, stock, np.ascontiguousarray(cost), np.ascontiguousarray(cost_row, dtype=np.int64), half_offset
    )
    return Cleaned(choice=new, stock_left=stock, removed=int(removed), left=int(left))
