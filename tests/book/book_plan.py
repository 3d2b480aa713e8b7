"""Plans made by hand, without the rooms that make real ones: a field in tiles and a line beside it."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from standfall.brief import Brief, read_text
from standfall.findings import Finding, make_finding
from standfall.mural.colouring import ColourError
from standfall.mural.field import place_field
from standfall.mural.palette import make_palette
from standfall.mural.standing import Standing, join_standing
from standfall.mural.stock import StockTable, spares_of
from standfall.planning.plan import PictureFile, Plan
from standfall.tiles import Tiling

COLOURS = ("river blue", "rust", "reed green")
HEXES = ("#1f4e79", "#b7410e", "#6b8e23")
LINE_DOMINOES = 5


def brief_text(
    columns: int = 22,
    rows: int = 9,
    tray: tuple[int, int] = (4, 3),
    colours: Sequence[str] = COLOURS,
    field: str = "kingfisher",
    line: str = "feeder",
    stock: int = 100_000_000,
) -> str:
    """Return a brief with one field, one tray (columns, rows) and one straight line."""

    def text(value: str) -> str:  # a JSON string without escapes beyond ASCII is a TOML basic string
        return json.dumps(value, ensure_ascii=False)

    sections = "".join(
        f"[[colour]]\nname = {text(name)}\nsrgb = {text(HEXES[number % 3])}\nstock = {stock}\npack_size = 50\n"
        for number, name in enumerate(colours)
    )
    return f"""
[job]
name = "Kingfisher in the tram depot"
place = "disused tram depot"
[hall]
outline_m = [[-100, -100], [100, -100], [100, 100], [-100, 100]]
[domino]
height_mm = 48
width_mm = 24
thickness_mm = 7.5
mass_g = 8.5
{sections}
[tray]
columns = {tray[0]}
rows = {tray[1]}
col_pitch_mm = 32
row_pitch_mm = 40
[[field]]
name = {text(field)}
picture = "kingfisher.png"
columns = {columns}
rows = {rows}
col_pitch_mm = 32
row_pitch_mm = 40
corner_m = [-1.5, 2.25]
fall_direction_deg = 30
[[line]]
name = {text(line)}
colours = [{text(colours[0])}]
pitch_mm = 40
start_m = [0, 0]
start_direction_deg = 90
path = [{{ straight_mm = 160 }}]
"""


def make_plan_by_hand(text: str | None = None, stacked: bool = True, picture: bytes = b"picture") -> Plan:
    """Return a plan of the brief: every cell stands, each third cell of row 0 carries a second domino.

    Colours run through the palette diagonally; the cut starts at the field's corner.
    """
    data = (brief_text() if text is None else text).encode()
    brief = read_text(data).brief
    assert brief is not None
    palette = make_palette(brief.colours)
    standing, tiling = _stand(brief, stacked)
    used_fields = np.bincount(standing.colour[standing.field >= 0], minlength=len(palette)).astype(np.int64)
    used_lines = np.bincount(standing.colour[standing.line >= 0], minlength=len(palette)).astype(np.int64)
    none = np.zeros(len(palette), dtype=np.int64)
    return Plan(
        brief=brief,
        text=data,
        files=(PictureFile("kingfisher.png", hashlib.sha256(picture).hexdigest(), picture),),
        palette=palette,
        standing=standing,
        tiling=tiling,
        stock=StockTable(
            stock=np.array([colour.stock for colour in brief.colours], dtype=np.int64),
            wished=used_fields + used_lines,
            used_fields=used_fields,
            used_lines=used_lines,
            spares=spares_of(used_fields + used_lines, brief.colouring.spares),
            pack_size=np.array([colour.pack_size for colour in brief.colours], dtype=np.int64),
            packs_to_buy=none,
            cost=np.linspace(0.0, 12.34, len(palette)),
        ),
        colour_error=ColourError("ciede2000", 3.125, 7.25, 123_456, 123_000),
        findings=findings(),
    )


def findings() -> tuple[Finding, ...]:
    """Return findings with each kind of value: text, whole number, fraction, none."""
    return (
        make_finding("C304", "colour[1]", 'hard to tell from "rust"', value=1.5, limit=5, next_step="Look."),
        make_finding("T503", "tile 6", "not full", value="8 of 12", limit=None, next_step="None needed."),
        make_finding("P206", "picture", "a note – with a dash", value=-(2**62), limit=1e300, next_step="–"),
    )


def _stand(brief: Brief, stacked: bool) -> tuple[Standing, Tiling]:
    field, tray = brief.fields[0], brief.tray
    assert tray is not None
    place = place_field(field)
    row, col = (index.ravel() for index in np.indices((field.rows, field.columns)))
    across = -(-field.columns // tray.columns)
    tile = (row // tray.rows) * across + col // tray.columns + 1
    colours = len(brief.colours)
    lower = _layer(place.centres(row, col), field.fall_direction_rad, (row + col) % colours, row, col)
    lower = replace(
        lower,
        tile=tile.astype(np.int32),
        slot_row=(row % tray.rows).astype(np.int16),
        slot_col=(col % tray.columns).astype(np.int16),
    )
    upper = _take(lower, np.flatnonzero((row == 0) & (col % 3 == 0) & stacked))
    upper = replace(
        upper,
        z_m=np.full(len(upper), brief.domino.height_m),
        layer=np.ones(len(upper), dtype=np.int8),
        colour=((upper.colour + 1) % colours).astype(np.int16),
    )
    return join_standing([lower, upper, _line()]), _tiling(brief, tile, across)


def _layer(
    centres: tuple[np.ndarray, np.ndarray],
    yaw_rad: float,
    colour: np.ndarray,
    row: np.ndarray,
    col: np.ndarray,
) -> Standing:
    n = len(row)
    return Standing(
        x_m=centres[0],
        y_m=centres[1],
        z_m=np.zeros(n),
        yaw_rad=np.full(n, yaw_rad),
        colour=colour.astype(np.int16),
        field=np.zeros(n, dtype=np.int16),
        line=np.full(n, -1, dtype=np.int16),
        row=row.astype(np.int32),
        col=col.astype(np.int32),
        layer=np.zeros(n, dtype=np.int8),
        tile=np.zeros(n, dtype=np.int32),
        slot_row=np.full(n, -1, dtype=np.int16),
        slot_col=np.full(n, -1, dtype=np.int16),
    )


def _take(standing: Standing, which: np.ndarray) -> Standing:
    return Standing(**{name: column[which] for name, column in vars(standing).items()})


def _line() -> Standing:
    place = np.arange(LINE_DOMINOES)
    nought = np.zeros(LINE_DOMINOES, dtype=np.int64)
    line = _layer((nought * 0.0, 0.04 * place), np.pi / 2, nought, place, nought)
    return replace(
        line,
        field=np.full(LINE_DOMINOES, -1, dtype=np.int16),
        line=np.zeros(LINE_DOMINOES, dtype=np.int16),
    )


def _tiling(brief: Brief, tile: np.ndarray, across: int) -> Tiling:
    field, tray = brief.fields[0], brief.tray
    assert tray is not None
    count = np.bincount(tile - 1).astype(np.int32)
    number = np.arange(len(count))
    first_row, first_col = number // across * tray.rows, number % across * tray.columns
    place = place_field(field)
    x_m, y_m = place.centres(first_row + (tray.rows - 1) / 2, first_col + (tray.columns - 1) / 2)
    return Tiling(
        field=np.zeros(len(count), dtype=np.int16),
        first_row=first_row.astype(np.int32),
        first_col=first_col.astype(np.int32),
        x_m=x_m,
        y_m=y_m,
        yaw_rad=np.full(len(count), field.fall_direction_rad - np.pi / 2),
        turn_deg=(number % 2 * 180).astype(np.int16),
        dominoes=count,
        kind=(count < tray.rows * tray.columns).astype(np.int8),
        cut_rows=(0,),
        cut_cols=(0,),
    )
