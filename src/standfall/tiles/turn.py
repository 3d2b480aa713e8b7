"""Turning trays: which turns a tile allows, and the same tiles laid by trays the other way round."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from standfall.brief import Brief, Tray
from standfall.mural.standing import Standing
from standfall.tiles.tiling import Tiling


def allowed_turns(first_row: int, half_offset: bool, tray: Tray) -> tuple[int, ...]:
    """Return the turns (0, 180) in which the tray fits rows from ``first_row`` on.

    With half-offset rows the field's odd rows stand half a pitch to the right. Unturned, so do the
    tray's odd slot rows: it fits where its slot row 0 lies on an even row. Turned by 180 degrees, slot
    row R-1-i takes the place of row i and right becomes left; with an even number of slot rows R that
    gives the same pattern again, with an odd R the opposite one. A single slot row has no shift in it
    and fits any row.
    """
    turns = tuple(turn for turn in (0, 180) if turn in [int(turn) for turn in tray.orientations_deg])
    if not half_offset or tray.rows == 1:
        return turns
    even_start = first_row % 2 == 0
    return tuple(turn for turn in turns if even_start == (turn == 0 or tray.rows % 2 == 0))


def turns_of(tiling: Tiling, brief: Brief) -> list[tuple[int, ...]]:
    """Return for each tile the turns in which its tray may be set down."""
    if brief.tray is None:
        return []
    offset = [field.rows_laid == "half_offset" for field in brief.fields]
    known: dict[tuple[bool, int], tuple[int, ...]] = {}
    result = []
    for field, row in zip(tiling.field.tolist(), tiling.first_row.tolist(), strict=True):
        key = (offset[field], row % 2)
        if key not in known:
            known[key] = allowed_turns(key[1], key[0], brief.tray)
        result.append(known[key])
    return result


def turned(
    tiling: Tiling, standing: Standing, turn_deg: NDArray[np.integer], tray: Tray
) -> tuple[Tiling, Standing]:
    """Return tiles and standing set with each tile's tray turned as asked; dominoes stay where they are.

    Args:
        tiling: m tiles.
        standing: all dominoes; slots of turned tiles are counted from the other corner.
        turn_deg: (m,) 0 or 180, of those the tile allows.
        tray: the tray.
    """
    change = np.asarray(turn_deg) != tiling.turn_deg
    if not change.any():
        return tiling, standing
    yaw_rad = tiling.yaw_rad + np.where(change, np.pi, 0.0)
    new_tiling = replace(
        tiling,
        turn_deg=np.asarray(turn_deg, np.int16),
        yaw_rad=np.where(change, np.arctan2(np.sin(yaw_rad), np.cos(yaw_rad)), tiling.yaw_rad),
    )
    on_tile = standing.tile > 0
    flips = np.zeros(len(standing), np.bool_)
    flips[on_tile] = change[standing.tile[on_tile] - 1]
    slot_row = np.where(flips, tray.rows - 1 - standing.slot_row, standing.slot_row)
    slot_col = np.where(flips, tray.columns - 1 - standing.slot_col, standing.slot_col)
    return new_tiling, replace(
        standing, slot_row=slot_row.astype(np.int16), slot_col=slot_col.astype(np.int16)
    )
