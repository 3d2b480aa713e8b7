"""A chain of gaps from a CSV file."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from standfall.disk import faults_of
from standfall.findings import Finding, make_finding

COLUMN = "gap_mm"
# A chain of this many pieces is longer than any build file's.
MOST_GAPS = 2_000_000
MOST_GAP_MM = 10_000
_SHOWN = 20
_LONGEST = 60


def read_chain(path: Path) -> tuple[NDArray[np.float64], tuple[Finding, ...]]:
    """Read the clear gaps of a row of dominoes, in metres, from the column ``gap_mm`` of a CSV file.

    Other columns are ignored. Whatever is wrong comes back as findings, all at once; the gaps are then empty.

    Raises:
        FileFault: the file cannot be read.
    """
    with faults_of(path, "read"):
        data = path.read_bytes()
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        return np.empty(0), (_fault("file", "the file is not UTF-8 text", f"byte {error.start}", "UTF-8"),)
    lines = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        header = [name.strip() for name in next(lines, [])]
        if header.count(COLUMN) != 1:
            found = _shown(", ".join(header)) or "nothing"
            fault = _fault("line 1", f"the file needs one column named {COLUMN}", found, COLUMN)
            return np.empty(0), (fault,)
        return _gaps(lines, header)
    except csv.Error as error:
        return np.empty(0), (_fault("file", f"the file is no CSV: {error}", path.name, "RFC 4180"),)


class _Lines(Protocol):
    """What ``csv.reader`` returns."""

    line_num: int

    def __iter__(self) -> Iterator[list[str]]:
        """Go through the rows."""


def _gaps(lines: _Lines, header: list[str]) -> tuple[NDArray[np.float64], tuple[Finding, ...]]:
    place, columns = header.index(COLUMN), len(header)
    gaps: list[float] = []
    findings: list[Finding] = []
    faulty = 0
    for row in lines:
        if not any(cell.strip() for cell in row):
            continue
        cell = row[place].strip() if place < len(row) else ""
        # 10,5 below gap_mm is ten and a half to whoever wrote it, and ten to whoever reads it.
        too_many = any(cell.strip() for cell in row[columns:])
        gap_mm = math.nan if too_many else _number(cell)
        if 0 <= gap_mm <= MOST_GAP_MM:
            gaps.append(gap_mm / 1000 + 0.0)  # no negative zero
            continue
        faulty += 1
        if faulty > _SHOWN:
            continue
        where = f"line {lines.line_num}"
        if too_many:
            words = "more cells than the first line has; write a decimal point, not a comma"
            findings.append(_fault(where, words, len(row), f"{columns}"))
        else:
            limit = f"0 to {MOST_GAP_MM:,}"
            findings.append(_fault(where, "a gap must be a number of millimetres", _shown(cell), limit))
    if faulty > _SHOWN:
        findings.append(_fault("file", f"{faulty - _SHOWN:,} more lines are faulty", faulty, "none"))
    elif not faulty and not 1 <= len(gaps) <= MOST_GAPS:
        words = "a chain has at least one gap, and not more than this reads"
        findings.append(_fault("file", words, len(gaps), f"1 to {MOST_GAPS:,} gaps"))
    return (np.empty(0) if findings else np.array(gaps)), tuple(findings)


def _number(cell: str) -> float:
    """Return the number in a cell, NaN for none; Python's own way to write 1_000 is not taken."""
    try:
        return float(cell) if "_" not in cell else math.nan
    except ValueError:
        return math.nan


def _shown(text: str) -> str:
    """Return a text short enough for a line of a terminal."""
    return text if len(text) <= _LONGEST else text[: _LONGEST - 3] + "..."


def _fault(where: str, message: str, value: str | int, limit: str) -> Finding:
    return make_finding(
        "F723",
        where,
        message,
        value=value,
        limit=limit,
        next_step=f"Write a CSV file with a first line {COLUMN} and one clear gap a line, face to face, in mm.",
    )
