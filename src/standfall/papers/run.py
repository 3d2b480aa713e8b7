"""Runs: equal colours side by side, as one person reads them out and another sets them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

# A run is (colour, count); colour -1 is a stretch of empty places.
Run = tuple[int, int]
EMPTY = -1
EMPTY_WORD = "empty"
_DOT = 3  # letters taken by " · "


def runs_of(colours: NDArray[np.integer]) -> list[Run]:
    """Return the runs of a row of colours (n,) from the left; empty places at the end are left out."""
    if not len(colours):
        return []
    starts = np.flatnonzero(np.diff(colours)) + 1
    firsts = np.concatenate([[0], starts])
    lengths = np.diff(np.concatenate([firsts, [len(colours)]]))
    runs = [(int(colours[first]), int(length)) for first, length in zip(firsts, lengths, strict=True)]
    return runs[:-1] if runs[-1][0] < 0 else runs


def run_width(run: Run, codes: Sequence[str]) -> int:
    """Return how many letters a run takes: ``KB 12`` is 5."""
    word = codes[run[0]] if run[0] >= 0 else EMPTY_WORD
    return len(word) + 1 + len(str(run[1]))


def break_lines(runs: Sequence[Run], codes: Sequence[str], letters: int) -> list[list[Run]]:
    """Break runs into lines of at most that many letters, each line as full as it gets; one line at least."""
    lines: list[list[Run]] = [[]]
    used = 0
    for run in runs:
        wide = run_width(run, codes)
        if lines[-1] and used + _DOT + wide > letters:
            lines.append([])
        used = used + _DOT + wide if lines[-1] else wide
        lines[-1].append(run)
    return lines


def repeated(colours: NDArray[np.integer], longest: int = 60) -> tuple[int, int]:
    """Find the shortest cycle a sequence repeats: (its length, whole times it runs); (n, 1) if there is none.

    A cycle has two pieces or more and counts when it runs at least three times; what is left at the end is
    the cycle's beginning.
    """
    n = len(colours)
    if n and (colours == colours[0]).all():
        return n, 1
    for length in range(2, min(longest, n // 3) + 1):
        if (colours[length:] == colours[:-length]).all():
            return length, n // length
    return n, 1
