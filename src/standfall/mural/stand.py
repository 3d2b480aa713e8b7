"""From colours and places to the standing set."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from standfall.brief import Line
from standfall.mural.field import FieldPlace
from standfall.mural.line import LinePlace
from standfall.mural.palette import Palette
from standfall.mural.standing import NO_TILE, Standing, join_standing

Colours = NDArray[np.int32]


def stand_up(
    lower: Sequence[Colours],
    upper: Sequence[Colours],
    places: Sequence[FieldPlace],
    lines: Sequence[tuple[int, Line, LinePlace]],
    palette: Palette,
    height_m: float,
) -> Standing:
    """Stand every domino of fields and lines, in the order ``Standing`` describes; no tile is set yet.

    Args:
        lower, upper: per field, (rows, columns) colour of each layer, -1 for none.
        places: of the fields.
        lines: number, line and place of each line.
        palette: for the names in the lines.
        height_m: of a domino, where the upper layer begins.
    """
    parts = []
    for number, (low, high, place) in enumerate(zip(lower, upper, places, strict=True)):
        parts.append(_field_layer(low, place, number, 0, 0.0))
        parts.append(_field_layer(high, place, number, 1, height_m))
    parts.extend(_line(number, line, place, palette) for number, line, place in lines)
    return join_standing(parts)


def _field_layer(colours: Colours, place: FieldPlace, number: int, layer: int, z_m: float) -> Standing:
    row, col = np.nonzero(colours >= 0)
    x_m, y_m = place.centres(row, col)
    n = len(row)
    return Standing(
        x_m=x_m,
        y_m=y_m,
        z_m=np.full(n, z_m),
        yaw_rad=np.full(n, place.frame.fall_direction_rad),
        colour=colours[row, col].astype(np.int16),
        field=np.full(n, number, np.int16),
        line=np.full(n, -1, np.int16),
        row=row.astype(np.int32),
        col=col.astype(np.int32),
        layer=np.full(n, layer, np.int8),
        tile=np.full(n, NO_TILE, np.int32),
        slot_row=np.full(n, -1, np.int16),
        slot_col=np.full(n, -1, np.int16),
    )


def line_colours(line: Line, dominoes: int, palette: Palette) -> NDArray[np.int16]:
    """Return the (dominoes,) colours of a line: its colours in turn."""
    numbers = np.array([palette.names.index(name) for name in line.colours], dtype=np.int16)
    return numbers[np.arange(dominoes) % len(numbers)]


def _line(number: int, line: Line, place: LinePlace, palette: Palette) -> Standing:
    x_m, y_m, yaw_rad = place.poses()
    n = place.dominoes
    return Standing(
        x_m=x_m,
        y_m=y_m,
        z_m=np.zeros(n),
        yaw_rad=yaw_rad,
        colour=line_colours(line, n, palette),
        field=np.full(n, -1, np.int16),
        line=np.full(n, number, np.int16),
        row=np.arange(n, dtype=np.int32),
        col=np.zeros(n, np.int32),
        layer=np.zeros(n, np.int8),
        tile=np.full(n, NO_TILE, np.int32),
        slot_row=np.full(n, -1, np.int16),
        slot_col=np.full(n, -1, np.int16),
    )
