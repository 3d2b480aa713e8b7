"""Synthetic plans of any size, made without a picture: for tests of the papers only."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from standfall.brief import Brief, Camera, Colour, Domino, Field, Hall, Job, Line, Papers, PathPart, Tray
from standfall.findings import make_finding
from standfall.mural.colouring import ColourError
from standfall.mural.field import place_field
from standfall.mural.line import place_lines
from standfall.mural.palette import make_palette
from standfall.mural.stand import stand_up
from standfall.mural.stock import StockTable, spares_of
from standfall.planning.plan import Plan
from standfall.tiles import cut_fields, with_tiles

COLOURS = (
    ("night blue", "#1a2340"),
    ("deep blue", "#1f5594"),
    ("lake blue", "#5a98c6"),
    ("kingfisher blue", "#1a9ec6"),
    ("pale aqua", "#a0cad6"),
    ("mist grey", "#9db1a3"),
    ("ivory", "#f6eedc"),
    ("sand", "#e8d3a4"),
    ("sun yellow", "#f9c864"),
    ("peach", "#f0ae78"),
    ("orange", "#e57e2e"),
    ("rust brown", "#8f4824"),
    ("reed green", "#779a43"),
    ("fir green", "#275640"),
)


@dataclass(frozen=True)
class Wish:
    """What a test wants of a plan."""

    columns: int = 50
    rows: int = 24
    colours: tuple[tuple[str, str], ...] = COLOURS
    holes: bool = True
    stacked: tuple[tuple[int, int], ...] = ()
    lines: tuple[Line, ...] | None = None
    tray: tuple[int, int] = (22, 10)
    turns: tuple[int, ...] = (0,)
    half_offset: bool = False
    fall_deg: float = 90.0
    page: str = "a4"
    sheets: str = "tiles"
    band_rows: int = 10
    job: str = "Kingfisher over reeds"
    place: str = "Disused tram depot, shed 2"
    field: str = "mural"
    camera: bool = False
    seed: int = 1
    noise: float = 0.15
    stock: int | None = None


FEEDER = Line(
    name="lead-in",
    colours=("sun yellow", "ivory"),
    pitch_m=0.024,
    start_m=(0.3, 0.3),
    start_direction_rad=0.0,
    path=(
        PathPart(straight_m=0.6),
        PathPart(arc_radius_m=0.3, turn_rad=math.pi / 2),
        PathPart(to_m=(1.2, 0.95)),
    ),
)


def make_test_plan(wish: Wish | None = None) -> Plan:
    """Make a plan: waves of colour with noise, round holes, a feeder line, stacked rows."""
    wish = wish or Wish()
    brief = _brief(wish)
    palette = make_palette(brief.colours)
    lower, upper = _colours(wish)
    places = [place_field(field) for field in brief.fields]
    line_places, findings = place_lines(enumerate(brief.lines))
    assert not findings
    lines = [(number, line, line_places[number]) for number, line in enumerate(brief.lines)]
    standing = stand_up([lower], [upper], places, lines, palette, brief.domino.height_m)
    assert brief.tray is not None
    tiling, maps = cut_fields([lower >= 0], places, brief.tray)
    standing = with_tiles(standing, maps)
    k = len(palette)
    in_fields = np.bincount(standing.colour[standing.field >= 0], minlength=k).astype(np.int64)
    in_lines = np.bincount(standing.colour[standing.line >= 0], minlength=k).astype(np.int64)
    used = in_fields + in_lines
    spares = spares_of(used, 0.03)
    stock = np.full(k, wish.stock if wish.stock is not None else int(used.max() * 1.1) + 10, dtype=np.int64)
    packs = np.maximum(0, -(-(used + spares - stock) // 500))
    table = StockTable(stock, used, in_fields, in_lines, spares, np.full(k, 500), packs, packs * 26.0)
    return Plan(
        brief=brief,
        text=repr(wish).encode(),
        files=(),
        palette=palette,
        standing=standing,
        tiling=tiling,
        stock=table,
        colour_error=ColourError("ciede2000", 3.1, 9.2, 10, 10),
        findings=(
            make_finding(
                "C303",
                "colour[1].stock",
                "'deep blue': the picture asks for 15612, 12621 may be used; near colours stand in",
                value=15612,
                limit=12621,
                next_step="Borrow or buy more, or leave it.",
            ),
        ),
    )


def _brief(wish: Wish) -> Brief:
    lines = (FEEDER,) if wish.lines is None else wish.lines
    reach = max(wish.columns * 0.027, wish.rows * 0.022)
    names = tuple(name for name, _ in wish.colours)
    lines = tuple(line for line in lines if set(line.colours) <= set(names))
    return Brief(
        job=Job(name=wish.job, place=wish.place),
        hall=Hall(
            outline_m=((0, 0), (reach + 4, 0), (reach + 4, reach + 4), (0, reach + 4)), floor_load_pa=5000.0
        ),
        domino=Domino(height_m=0.048, width_m=0.024, thickness_m=0.0075, mass_kg=0.0085),
        colours=tuple(
            Colour(name=name, srgb=srgb, stock=2000, pack_size=500, pack_price=26.0)
            for name, srgb in wish.colours
        ),
        tray=Tray(
            columns=wish.tray[0],
            rows=wish.tray[1],
            col_pitch_m=0.027,
            row_pitch_m=0.022,
            rows_laid="half_offset" if wish.half_offset else "straight",
            orientations_deg=wish.turns,
        ),
        fields=(
            Field(
                name=wish.field,
                picture="none.png",
                columns=wish.columns,
                rows=wish.rows,
                col_pitch_m=0.027,
                row_pitch_m=0.022,
                rows_laid="half_offset" if wish.half_offset else "straight",
                corner_m=(1.0, 1.0),
                fall_direction_rad=math.radians(wish.fall_deg),
                stacked_rows=wish.stacked,
            ),
        ),
        lines=lines,
        camera=Camera(
            position_m=(1.0 + wish.columns * 0.0135, -1.5, 2.0),
            aim_m=(1.0 + wish.columns * 0.0135, 1.0 + wish.rows * 0.011, 0.0),
            focal_length_m=0.035,
        )
        if wish.camera
        else None,
        papers=Papers(page=wish.page, sheets=wish.sheets, band_rows=wish.band_rows),
    )


def _colours(wish: Wish) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(wish.seed)
    row, col = np.mgrid[0 : wish.rows, 0 : wish.columns]
    k = len(wish.colours)
    wave = np.sin(col / 7.0 + 2 * np.sin(row / 9.0)) + np.cos(row / 5.0)
    lower = np.clip((wave + 2) / 4 * k, 0, k - 1).astype(np.int32)
    strange = rng.random(lower.shape) < wish.noise
    lower[strange] = rng.integers(0, k, strange.sum())
    if wish.holes:
        middle = (wish.rows * 0.6, wish.columns * 0.4)
        lower[np.hypot(row - middle[0], col - middle[1]) < min(wish.rows, wish.columns) * 0.15] = -1
        lower[row + col < min(wish.rows, wish.columns) * 0.25] = -1  # a ragged corner
    upper = np.full_like(lower, -1)
    for first, last in wish.stacked:
        upper[first : last + 1] = lower[first : last + 1]
    other = (rng.random(lower.shape) < 0.2) & (upper >= 0)
    upper[other] = (upper[other] + 1) % k
    return lower, upper
