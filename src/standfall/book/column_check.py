"""Whether the columns of a plan have the types and ranges that they come back with."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np


def check_types(
    holder: str, columns: object, types: Mapping[str, type], length: int, *, gaps: bool = False
) -> None:
    """Check that columns are arrays of these types and this length, finite, or NaN where ``gaps`` allow it.

    Raises:
        ValueError: names the column and what is wrong with it.
    """
    for name, kind in types.items():
        column = getattr(columns, name)
        if column.dtype != kind or column.shape != (length,):
            wanted = f"{np.dtype(kind)} of shape ({length},)"
            raise ValueError(f"{holder}.{name} is {column.dtype} of shape {column.shape}, not {wanted}")
        if column.dtype.kind == "f" and not (np.isfinite(column) | (gaps & np.isnan(column))).all():
            raise ValueError(f"{holder}.{name} holds a number that is not finite")


def check_range(holder: str, columns: object, names: Sequence[str], least: int, stop: int | None) -> None:
    """Check that whole numbers lie from ``least`` to below ``stop``.

    Raises:
        ValueError: names the column.
    """
    for name in names:
        column = getattr(columns, name)
        if len(column) and (column.min() < least or (stop is not None and column.max() >= stop)):
            raise ValueError(f"{holder}.{name} holds a number that nothing carries")
