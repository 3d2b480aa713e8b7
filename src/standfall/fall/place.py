"""Where a domino stands, in the words a crew uses."""

from __future__ import annotations

from collections.abc import Iterable

from standfall.brief import Brief
from standfall.mural.standing import Standing

SHOWN = 5


def place_name(brief: Brief, standing: Standing, domino: int) -> str:
    """Name a domino by its field, row and column, or by its line and place along it, all from 0."""
    if standing.field[domino] >= 0:
        name = brief.fields[standing.field[domino]].name
        upper = ", upper layer" if standing.layer[domino] else ""
        return f"{name} row {standing.row[domino]} column {standing.col[domino]}{upper}"
    return f"{brief.lines[standing.line[domino]].name} place {standing.row[domino]}"


def some_places(brief: Brief, standing: Standing, dominoes: Iterable[int]) -> str:
    """Name the first few of these dominoes, and say how many more there are."""
    chosen = [int(domino) for domino in dominoes]
    names = "; ".join(place_name(brief, standing, domino) for domino in chosen[:SHOWN])
    more = len(chosen) - SHOWN
    return names + (f"; and {more:,} more" if more > 0 else "")


def home_name(brief: Brief, standing: Standing, domino: int) -> str:
    """Name the field or line a domino belongs to, as findings name it."""
    if standing.field[domino] >= 0:
        return f"field {brief.fields[standing.field[domino]].name}"
    return f"line {brief.lines[standing.line[domino]].name}"
