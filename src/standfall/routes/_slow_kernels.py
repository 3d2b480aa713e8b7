"""Marking cells beside dominoes, compiled."""

from __future__ import annotations

from typing import Any, TypeVar, cast

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Function = TypeVar("Function", bound=Any)


def _kernel(function: Function) -> Function:
    return cast(Function, njit(cache=True, error_model="numpy")(function))


@_kernel
def mark(
    since: NDArray[np.int32],
    x0: float,
    y0: float,
    cell: float,
    first: Ints,
    x: Floats,
    y: Floats,
    place: Ints,
) -> None:
    """Give each cell whose middle lies in a polygon the lowest place in the laying order of those it lies in."""
    ny, nx = since.shape
    for k in range(len(first) - 1):
        begin, end = first[k], first[k + 1]
        low_i = max(0, int(np.floor((x[begin:end].min() - x0) / cell - 0.5)))
        high_i = min(nx - 1, int(np.ceil((x[begin:end].max() - x0) / cell - 0.5)))
        low_j = max(0, int(np.floor((y[begin:end].min() - y0) / cell - 0.5)))
        high_j = min(ny - 1, int(np.ceil((y[begin:end].max() - y0) / cell - 0.5)))
        for j in range(low_j, high_j + 1):
            for i in range(low_i, high_i + 1):
                if since[j, i] <= place[k]:
                    continue
                px, py = x0 + (i + 0.5) * cell, y0 + (j + 0.5) * cell
                inside = True
                for a in range(begin, end):
                    b = a + 1 if a + 1 < end else begin
                    if (x[b] - x[a]) * (py - y[a]) - (y[b] - y[a]) * (px - x[a]) < 0:
                        inside = False
                        break
                if inside:
                    since[j, i] = place[k]
