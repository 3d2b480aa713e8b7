"""Columns and tables for other programs, free of any file format."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

# A micrometre and a nanoradian (20 nm at 20 m): far below what any tape or robot can hold, so that no
# reader loses anything.
METRE_DECIMALS = 6
RADIAN_DECIMALS = 9
# A microsecond, and as many for speeds and shares: far below what a film or a stopwatch can tell.
FALL_DECIMALS = 6


@dataclass(frozen=True)
class Column:
    """One column of n values.

    Attributes:
        name: heading, with the unit.
        values: (n,) numbers; with ``names`` they number those, -1 for none.
        unit: of the numbers, empty when they count or name something.
        about: what it is, in a few words.
        decimals: written in text, for lengths and angles.
        names: what the values stand for, where they are not numbers in the file.
        gaps: NaN stands for none.
    """

    name: str
    values: NDArray[Any]
    unit: str
    about: str
    decimals: int | None = None
    names: tuple[str, ...] | None = None
    gaps: bool = False

    def part(self, first: int, stop: int) -> Column:
        """Return the column with some of its rows."""
        return replace(self, values=self.values[first:stop])


@dataclass(frozen=True)
class Table:
    """A named table of columns of equal length."""

    name: str
    columns: tuple[Column, ...]

    def __len__(self) -> int:
        return len(self.columns[0].values)

    def part(self, first: int, stop: int) -> Table:
        """Return the table with some of its rows."""
        return Table(self.name, tuple(column.part(first, stop) for column in self.columns))


def metres(name: str, values: NDArray[np.float64], about: str) -> Column:
    """Return a column of lengths."""
    return Column(name, values, "m", about, METRE_DECIMALS)


def radians(name: str, values: NDArray[np.float64], about: str) -> Column:
    """Return a column of angles."""
    return Column(name, values, "rad", about, RADIAN_DECIMALS)
