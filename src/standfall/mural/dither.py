"""Error diffusion: spread what a colour cannot give over the neighbours."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from standfall.mural import _kernels
from standfall.mural.difference import FloatArray, Metric, in_metric_space, metric_code

# A cell's wish with its inherited error, per channel. Errors are at most 1 where the palette surrounds
# the picture's colours, so nothing is lost there; where it does not, this keeps them from piling up and
# spilling over the next edge.
LOWEST_WISH: Final = -1.0
HIGHEST_WISH: Final = 2.0


def diffuse(
    linear: FloatArray,
    palette_linear: FloatArray,
    price: NDArray[np.int64] | None,
    metric: Metric,
    strength: float,
    present: NDArray[np.bool_],
) -> FloatArray:
    """What each cell asks for once the errors of the cells before it have been passed on.

    Floyd and Steinberg, "An adaptive algorithm for spatial grey scale", Proc. SID 17(2), 1976: each cell
    takes a colour and passes its error on, 7/16 ahead, then 3/16, 5/16 and 1/16 in the next row (behind,
    below, ahead). Here in linear light, and rows go to and fro (row 0 from column 0). Shares of absent
    neighbours go to the present ones in proportion, so that no light is lost at edges and holes. Rows
    that stand half a pitch to the side are treated as straight ones.

    A cell takes the class of least difference (thousandths, rounded as in `difference_table`) plus
    price; the lowest index wins a tie. With the prices of an exact assignment of the same cells the
    picks keep to the stock nearly; the caller assigns the returned colours exactly.

    Args:
        linear: linear sRGB, (rows, columns, 3), 0 to 1.
        palette_linear: linear sRGB of the classes, (k, 3).
        price: of each class in thousandths of a difference, int64 (k,), or None for no prices.
        metric: ``ciede2000``, ``cie76`` or ``oklab``.
        strength: part of the error that is passed on, 0 (none) to 1 (all).
        present: bool (rows, columns), where a domino stands.

    Returns:
        (rows, columns, 3): the colour on which each cell's pick was made, clipped to 0..1; where no
        domino stands, ``linear`` as it was.

    Raises:
        ValueError: shapes do not belong together, the palette is empty, or strength is outside 0 to 1.
    """
    if linear.ndim != 3 or linear.shape[2] != 3 or present.shape != linear.shape[:2]:
        raise ValueError(f"linear {linear.shape} and present {present.shape} do not belong together")
    if palette_linear.ndim != 2 or palette_linear.shape[1] != 3 or palette_linear.shape[0] == 0:
        raise ValueError(f"palette_linear must have shape (k, 3), k at least 1, not {palette_linear.shape}")
    if not 0.0 <= strength <= 1.0:
        raise ValueError(f"strength {strength} is outside 0 to 1")
    classes = palette_linear.shape[0]
    prices = np.zeros(classes, dtype=np.int64) if price is None else np.asarray(price, dtype=np.int64)
    if prices.shape != (classes,):
        raise ValueError(f"price has shape {prices.shape}, the palette {classes} classes")
    return _kernels.diffuse(
        np.ascontiguousarray(linear, dtype=np.float64),
        np.ascontiguousarray(palette_linear, dtype=np.float64),
        in_metric_space(palette_linear, metric),
        prices,
        metric_code(metric),
        float(strength),
        np.ascontiguousarray(present, dtype=np.bool_),
        LOWEST_WISH,
        HIGHEST_WISH,
    )
