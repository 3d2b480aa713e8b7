"""What stands of a build, from a CSV file that somebody wrote on the floor."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from standfall.disk import faults_of
from standfall.findings import Finding, make_finding

STATES = ("missing", "laid", "fallen", "forbidden")
_KEYS = ("tile", "step")
_STATE = "state"
_SHOWN = 20
_LONGEST = 60


def read_states(path: Path, tiles: int, steps: int) -> tuple[NDArray[np.int8], tuple[Finding, ...]]:
    """Read the state of tiles or steps from a CSV file with a column ``tile`` or ``step`` and a column ``state``.

    What is not named is missing. Other columns are ignored. Whatever is wrong comes back as findings, all at once.

    Args:
        path: of the file.
        tiles: how many tiles there are; they count from 1, and tile t is step t - 1.
        steps: how many steps there are; they count from 0.

    Returns:
        (steps,) number in ``STATES`` of each step, and the findings (R930).

    Raises:
        FileFault: the file cannot be read.
    """
    with faults_of(path, "read"):
        data = path.read_bytes()
    states = np.zeros(steps, np.int8)
    try:
        lines = csv.reader(io.StringIO(data.decode("utf-8-sig"), newline=""), strict=True)
        header = [name.strip() for name in next(lines, [])]
        rows = [(lines.line_num, row) for row in lines if any(cell.strip() for cell in row)]
    except UnicodeDecodeError as error:
        return states, (_fault("file", "the file is not UTF-8 text", f"byte {error.start}", "UTF-8"),)
    except csv.Error as error:
        return states, (_fault("file", f"the file is no CSV: {error}", path.name, "RFC 4180"),)
    keys = [name for name in _KEYS if header.count(name) == 1]
    if len(keys) != 1 or header.count(_STATE) != 1:
        found = _short(", ".join(header)) or "nothing"
        words = "the first line needs a column tile or step, and a column state"
        return states, (_fault("line 1", words, found, "tile,state"),)
    return states, tuple(_filled(states, rows, header, keys[0], tiles))


def _filled(
    states: NDArray[np.int8], rows: list[tuple[int, list[str]]], header: list[str], key: str, tiles: int
) -> list[Finding]:
    """Fill in the states, and return what is wrong with rows."""
    first, last = (1, tiles) if key == "tile" else (0, len(states) - 1)
    findings: list[Finding] = []
    named: dict[int, int] = {}
    for line, row in rows:
        cells = [*(cell.strip() for cell in row), *[""] * len(header)]
        number, state = cells[header.index(key)], cells[header.index(_STATE)].lower()
        where = f"line {line}"
        if not (number.isascii() and number.isdigit()) or not first <= int(number) <= last:
            findings.append(_fault(where, f"there is no such {key}", _short(number), f"{first} to {last}"))
        elif state not in STATES:
            findings.append(_fault(where, "that is no state", _short(state), ", ".join(STATES)))
        elif int(number) in named:
            words = f"{key} {int(number)} stands here for the second time"
            findings.append(_fault(where, words, where, f"line {named[int(number)]} only"))
        else:
            named[int(number)] = line
            states[int(number) - first] = STATES.index(state)
    if len(findings) > _SHOWN:
        more = len(findings) - _SHOWN
        return [*findings[:_SHOWN], _fault("file", f"{more:,} more lines are faulty", more, "none")]
    return findings


def _short(text: str) -> str:
    return text if len(text) <= _LONGEST else text[: _LONGEST - 3] + "..."


def _fault(where: str, message: str, value: str | int, limit: str) -> Finding:
    return make_finding(
        "R930",
        where,
        message,
        value=value,
        limit=limit,
        next_step="Write a CSV file with a first line tile,state and a line for each tile that is laid, fallen or "
        "forbidden; all others are still to be laid.",
    )
