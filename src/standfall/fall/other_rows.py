"""The same picture with its rows laid the other way: straight ones half-offset, half-offset ones straight."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from standfall.brief import Brief
from standfall.mural.standing import Standing

WAYS = ("straight", "half_offset")


def other_way(rows_laid: str) -> str:
    """Return the other of the two ways to lay rows."""
    return WAYS[1 - WAYS.index(rows_laid)]


def with_other_rows(brief: Brief, standing: Standing) -> tuple[Brief, Standing]:
    """Return a brief and standing set in which all fields' rows are laid the other way.

    Every second row moves by half a column pitch, to the right seen along the fall, or back; colours, tiles, lines
    and everything else stay as they are. Whether the wider outline fits its hall is not looked at.

    Args:
        brief: the job file.
        standing: n dominoes planned from it.
    """
    x_m, y_m = standing.x_m.copy(), standing.y_m.copy()
    fields = []
    for number, field in enumerate(brief.fields):
        way = other_way(field.rows_laid)
        fields.append(replace(field, rows_laid=way))
        odd = (standing.field == number) & (standing.row % 2 == 1)
        shift_m = 0.5 * field.col_pitch_m * (1.0 if way == "half_offset" else -1.0)
        x_m[odd] += shift_m * np.sin(field.fall_direction_rad)
        y_m[odd] -= shift_m * np.cos(field.fall_direction_rad)
    tray = replace(brief.tray, rows_laid=other_way(brief.tray.rows_laid)) if brief.tray is not None else None
    return replace(brief, fields=tuple(fields), tray=tray), replace(standing, x_m=x_m, y_m=y_m)
