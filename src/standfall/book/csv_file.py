"""A table as CSV: RFC 4180 with a header line, in UTF-8."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from standfall.book.column import Column, Table

_STEP = 20_000


def write_csv(table: Table, path: Path, told: Callable[[int], None]) -> None:
    """Write a table.

    Lines end in CR LF and a text is quoted only when it must be (RFC 4180, section 2); the file has no
    byte order mark. Numbers are rounded to the column's decimals; none is written as a negative zero, and
    nothing is written for one that is missing.

    Args:
        table: what to write.
        path: where to; the file is overwritten.
        told: called with the number of rows written so far.
    """
    line = ",".join(_format(column) for column in table.columns) + "\r\n"
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write(",".join(quoted(column.name) for column in table.columns) + "\r\n")
        for first in range(0, len(table), _STEP):
            told(first)
            part = table.part(first, first + _STEP)
            cells = [_cells(column) for column in part.columns]
            file.write("".join(map(line.__mod__, zip(*cells, strict=True))))
        told(len(table))


def quoted(text: str) -> str:
    """Return a text as a CSV field."""
    if not any(letter in text for letter in '",\r\n'):
        return text
    return '"' + text.replace('"', '""') + '"'


def _format(column: Column) -> str:
    if column.names is not None or column.gaps:
        return "%s"
    return "%d" if column.decimals is None else f"%.{column.decimals}f"


def _cells(column: Column) -> list[object]:
    if column.names is not None:
        # The empty text at the end is what -1 (none) picks.
        texts = np.array([*map(quoted, column.names), ""], dtype=object)
        return list(texts[column.values])
    if column.decimals is None:
        return list(column.values.tolist())
    numbers = without_negative_zero(column.values, column.decimals).tolist()
    if column.gaps:
        return ["" if math.isnan(number) else f"{number:.{column.decimals}f}" for number in numbers]
    return list(numbers)


def without_negative_zero(values: NDArray[np.float64], decimals: int) -> NDArray[np.float64]:
    """Return the values with zero for those that would be written as a zero with a minus sign.

    ``%.nf`` rounds exactly, so those are all from minus half of the last decimal up to and with minus
    zero; whether the half itself is among them depends on which side of it its nearest float lies.
    """
    half = 0.5 * 10.0**-decimals
    if float(f"{half:.{decimals}f}") != 0.0:
        half = float(np.nextafter(half, 0.0))
    return np.where((values <= 0.0) & (values >= -half), 0.0, values)
