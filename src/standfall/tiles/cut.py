"""Cutting fields into tiles by the tray: where the cut runs and which slot serves which cell.

The tray is a regular grid of slots and the field a regular grid of cells with the same pitches, so a
cut is known by how far the first tray reaches over the field's first row and column. All offsets are
tried, which costs no more than looking at each cell once: R x C offsets of about n / (R C) trays.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from standfall.brief import Brief, Field, Tray
from standfall.findings import Finding, make_finding
from standfall.mural.field import FieldPlace
from standfall.mural.standing import Standing
from standfall.tiles.tiling import KINDS, Tiling
from standfall.tiles.turn import allowed_turns

Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class SlotMap:
    """For each cell of a field, the tile and slot that serve it; (rows, columns), 0 and -1 where none."""

    tile: NDArray[np.int32]
    slot_row: NDArray[np.int16]
    slot_col: NDArray[np.int16]


@dataclass(frozen=True)
class _Cut:
    """One field's cut: the offset and, per tray, its corner cell, turn and count."""

    rows: int
    cols: int
    first_row: NDArray[np.int32]
    first_col: NDArray[np.int32]
    turn_deg: NDArray[np.int16]
    dominoes: NDArray[np.int32]
    kind: NDArray[np.int8]


def cut_fields(
    presents: Sequence[Bools], places: Sequence[FieldPlace], tray: Tray | None
) -> tuple[Tiling, list[SlotMap]]:
    """Cut each field into the fewest trayloads.

    Among offsets that need equally few, the one with the most full tiles is taken, then the one that
    reaches over by fewest rows, then columns. The tray stands unturned where both turns would do and
    both are allowed.

    Args:
        presents: per field (rows, columns), where a domino stands on the floor.
        places: of the fields.
        tray: pitches as the fields' (the brief was checked for that); may be missing without fields.

    Raises:
        ValueError: no offset and turn fits the field's half-offset rows (see ``fitting_offsets``).
    """
    if tray is None:
        if presents:
            raise ValueError("fields cannot be cut without a tray")
        tray = Tray(columns=1, rows=1, col_pitch_m=1.0, row_pitch_m=1.0)  # no field, so it cuts nothing
    cuts = [_cut(present, place, tray) for present, place in zip(presents, places, strict=True)]
    maps, begun = [], 0
    for present, cut in zip(presents, cuts, strict=True):
        maps.append(_slots(present, cut, tray, begun))
        begun += len(cut.first_row)
    centres = [_centres(cut, place, tray) for cut, place in zip(cuts, places, strict=True)]
    numbers = [np.full(len(cut.first_row), number, np.int16) for number, cut in enumerate(cuts)]
    tiling = Tiling(
        field=_joined(numbers, np.int16),
        first_row=_joined([cut.first_row for cut in cuts], np.int32),
        first_col=_joined([cut.first_col for cut in cuts], np.int32),
        x_m=_joined([centre[0] for centre in centres], np.float64),
        y_m=_joined([centre[1] for centre in centres], np.float64),
        yaw_rad=_joined([centre[2] for centre in centres], np.float64),
        turn_deg=_joined([cut.turn_deg for cut in cuts], np.int16),
        dominoes=_joined([cut.dominoes for cut in cuts], np.int32),
        kind=_joined([cut.kind for cut in cuts], np.int8),
        cut_rows=tuple(cut.rows for cut in cuts),
        cut_cols=tuple(cut.cols for cut in cuts),
    )
    return tiling, maps


def _joined(parts: list[NDArray], dtype: type) -> NDArray:  # type: ignore[type-arg]
    return np.concatenate(parts).astype(dtype) if parts else np.empty(0, dtype=dtype)


def turn_for(first_row: int, half_offset: bool, tray: Tray) -> int | None:
    """Return the turn (0 or 180) in which the tray fits rows from ``first_row`` on, or ``None``; 0 if both fit."""
    if not half_offset or tray.rows == 1:
        # A brief without any orientation is told so elsewhere; it must not be told that no cut fits, too.
        return 0 if 0 in [int(turn) for turn in tray.orientations_deg] else 180
    return next(iter(allowed_turns(first_row, half_offset, tray)), None)


def fitting_offsets(half_offset: bool, tray: Tray, rows: int) -> list[int]:
    """Return the row offsets of the cut for which every band of trays over ``rows`` rows has a turn that fits."""
    fitting = []
    for offset in range(tray.rows):
        # Bands begin on even and odd rows in turn at most, so the first two tell for all.
        bands = min(2, -(-(rows + offset) // tray.rows))
        if all(turn_for(band * tray.rows - offset, half_offset, tray) is not None for band in range(bands)):
            fitting.append(offset)
    return fitting


def _cut(present: Bools, place: FieldPlace, tray: Tray) -> _Cut:
    half_offset = place.grid.half_offset
    offsets = fitting_offsets(half_offset, tray, present.shape[0])
    if not offsets:
        raise ValueError("no cut of this tray fits the half-offset rows")
    sums = np.zeros((present.shape[0] + 1, present.shape[1] + 1), dtype=np.int64)
    sums[1:, 1:] = present.cumsum(axis=0).cumsum(axis=1)
    best = min(
        ((*_cost(sums, rows, cols, tray), rows, cols) for rows in offsets for cols in range(tray.columns)),
    )
    return _laid_out(present, sums, place, tray, best[-2], best[-1])


def _edges(size: int, offset: int, step: int) -> NDArray[np.int64]:
    """First cells of the trays along one side, the first one reaching over by ``offset``; and the end."""
    return np.arange(-offset, size + step, step)[: -(-(size + offset) // step) + 1]


def _counts(sums: NDArray[np.int64], rows: NDArray[np.int64], cols: NDArray[np.int64]) -> NDArray[np.int64]:
    """Dominoes in each tray, (bands, trays), from the summed-area table (Crow 1984)."""
    r = np.clip(rows, 0, sums.shape[0] - 1)
    c = np.clip(cols, 0, sums.shape[1] - 1)
    picked = sums[np.ix_(r, c)]
    return np.asarray(picked[1:, 1:] - picked[:-1, 1:] - picked[1:, :-1] + picked[:-1, :-1])


def _cost(sums: NDArray[np.int64], row_offset: int, col_offset: int, tray: Tray) -> tuple[int, int]:
    rows = _edges(sums.shape[0] - 1, row_offset, tray.rows)
    cols = _edges(sums.shape[1] - 1, col_offset, tray.columns)
    counts = _counts(sums, rows, cols)
    return int((counts > 0).sum()), -int((counts == tray.rows * tray.columns).sum())


def _laid_out(
    present: Bools, sums: NDArray[np.int64], place: FieldPlace, tray: Tray, row_offset: int, col_offset: int
) -> _Cut:
    rows = _edges(present.shape[0], row_offset, tray.rows)
    cols = _edges(present.shape[1], col_offset, tray.columns)
    counts = _counts(sums, rows, cols)
    band, column = np.nonzero(counts)
    first_row, first_col, dominoes = rows[band], cols[column], counts[band, column]
    turns = {int(row): turn_for(int(row), place.grid.half_offset, tray) for row in rows[:-1]}
    over_edge = (
        (first_row < 0)
        | (first_col < 0)
        | (first_row + tray.rows > present.shape[0])
        | (first_col + tray.columns > present.shape[1])
    )
    full = dominoes == tray.rows * tray.columns
    kind = np.where(full, KINDS.index("full"), np.where(over_edge, KINDS.index("edge"), KINDS.index("holed")))
    return _Cut(
        rows=row_offset,
        cols=col_offset,
        first_row=first_row.astype(np.int32),
        first_col=first_col.astype(np.int32),
        turn_deg=np.array([turns[int(row)] for row in first_row], dtype=np.int16),
        dominoes=dominoes.astype(np.int32),
        kind=kind.astype(np.int8),
    )


def _slots(present: Bools, cut: _Cut, tray: Tray, begun: int) -> SlotMap:
    rows, cols = present.shape
    bands = -(-(rows + cut.rows) // tray.rows)
    trays = -(-(cols + cut.cols) // tray.columns)
    tile_of = np.zeros((bands, trays), dtype=np.int32)
    turn_of = np.zeros((bands, trays), dtype=np.int16)
    band, column = (cut.first_row + cut.rows) // tray.rows, (cut.first_col + cut.cols) // tray.columns
    tile_of[band, column] = begun + 1 + np.arange(len(cut.first_row), dtype=np.int32)
    turn_of[band, column] = cut.turn_deg
    row, col = np.arange(rows)[:, None] + cut.rows, np.arange(cols)[None, :] + cut.cols
    turned = turn_of[row // tray.rows, col // tray.columns] == 180
    slot_row = np.where(turned, tray.rows - 1 - row % tray.rows, row % tray.rows)
    slot_col = np.where(turned, tray.columns - 1 - col % tray.columns, col % tray.columns)
    return SlotMap(
        tile=np.where(present, tile_of[row // tray.rows, col // tray.columns], 0).astype(np.int32),
        slot_row=np.where(present, slot_row, -1).astype(np.int16),
        slot_col=np.where(present, slot_col, -1).astype(np.int16),
    )


def _centres(cut: _Cut, place: FieldPlace, tray: Tray) -> tuple[NDArray[np.float64], ...]:
    """Hall pose of each tray opening: the middle of its slots, and the yaw of the tile frame."""
    half = 0.5 if place.grid.half_offset and tray.rows > 1 else 0.0
    # The opening spans the half pitch by which its shifted rows stand out, whichever rows those are.
    across = (cut.first_col + (tray.columns + half) / 2) * place.grid.col_pitch_m
    if place.grid.half_offset and tray.rows == 1:
        across = across + 0.5 * (cut.first_row % 2) * place.grid.col_pitch_m
    along = (cut.first_row + tray.rows / 2) * place.grid.row_pitch_m
    x_m, y_m = place.frame.to_hall(np.asarray(across, np.float64), np.asarray(along, np.float64))
    # The tile's x axis runs across the columns, a quarter turn clockwise from the fall.
    yaw = place.frame.fall_direction_rad - np.pi / 2 + np.deg2rad(cut.turn_deg.astype(np.float64))
    return x_m, y_m, np.arctan2(np.sin(yaw), np.cos(yaw))


def gap_mask(field: Field) -> Bools:
    """Mark the cells (rows, columns) in the rows that trays leave open as safety gaps."""
    mask = np.zeros((field.rows, field.columns), np.bool_)
    for first, last in field.gap_rows:
        mask[first : last + 1] = True
    return mask


def with_tiles(standing: Standing, maps: Sequence[SlotMap]) -> Standing:
    """Return the standing set with the tile and slot of every field's domino filled in."""
    tile, slot_row, slot_col = standing.tile.copy(), standing.slot_row.copy(), standing.slot_col.copy()
    for number, slots in enumerate(maps):
        mine = standing.field == number
        row, col = standing.row[mine], standing.col[mine]
        tile[mine] = slots.tile[row, col]
        slot_row[mine] = slots.slot_row[row, col]
        slot_col[mine] = slots.slot_col[row, col]
    return replace(standing, tile=tile, slot_row=slot_row, slot_col=slot_col)


def partial_tiles(tiling: Tiling, brief: Brief) -> list[Finding]:
    """Note, per field, how many trays are not full, since each costs a trip like a full one."""
    findings = []
    for number in range(len(brief.fields)):
        kinds = np.bincount(tiling.kind[tiling.field == number], minlength=len(KINDS))
        edge, holed = int(kinds[KINDS.index("edge")]), int(kinds[KINDS.index("holed")])
        if edge or holed:
            findings.append(
                make_finding(
                    "T503",
                    f"field[{number}]",
                    f"{edge} tiles reach over the field's edge and {holed} have empty places in them",
                    value=edge + holed,
                    limit=int(kinds.sum()),
                    next_step="Columns and rows in whole multiples of the tray's would save trips.",
                )
            )
    return findings
