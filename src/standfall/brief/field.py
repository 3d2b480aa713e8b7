"""``[[field]]``: a picture made of dominoes in rows."""

from __future__ import annotations

from dataclasses import dataclass

from standfall.brief.key import key
from standfall.brief.unit import DEG, MM, PERCENT, M

Point = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class Field:
    """``[[field]]``: a picture made of dominoes in rows."""

    name: str = key("name", "text", "Name of the field.", length=40)
    picture: str = key(
        "picture",
        "text",
        "Picture file: PNG, JPEG, WebP, TIFF, GIF or SVG, in the brief's folder unless the path is absolute.",
        length=1000,
    )
    columns: int = key("columns", "whole", "Dominoes side by side, across the fall.", least=1, most=20_000)
    rows: int = key("rows", "whole", "Dominoes one behind the other, along the fall.", least=1, most=20_000)
    col_pitch_m: float = key(
        "col_pitch_mm",
        "number",
        "From the middle of a domino to the next across.",
        unit=MM,
        above=0,
        most=1000,
    )
    row_pitch_m: float = key(
        "row_pitch_mm",
        "number",
        "From the middle of a domino to the next along.",
        unit=MM,
        above=0,
        most=1000,
    )
    rows_laid: str = key(
        "rows_laid",
        "choice",
        "Rows straight behind one another, or every second row shifted right by half a column pitch.",
        choices=("straight", "half_offset"),
        default="straight",
    )
    corner_m: Point = key(
        "corner_m",
        "numbers",
        "Place in the hall of the field's corner beside row 0 and column 0 (back left, seen along the fall).",
        unit=M,
        length=2,
        least=-1000,
        most=1000,
    )
    fall_direction_rad: float = key(
        "fall_direction_deg",
        "number",
        "Direction of the fall, counter-clockwise from the hall's x axis.",
        unit=DEG,
        least=-360,
        most=360,
        default=0.0,
    )
    picture_up: str = key(
        "picture_up",
        "choice",
        "Where the top of the picture lies, seen along the fall. Not used when the picture is warped for a camera.",
        choices=("with_fall", "against_fall", "left", "right"),
        default="with_fall",
    )
    fit: str = key(
        "fit",
        "choice",
        "Fill the field and crop the picture, show the whole picture and leave the rest empty, or stretch.",
        choices=("crop", "whole", "stretch"),
        default="crop",
    )
    crop_centre: tuple[float, float] = key(
        "crop_centre",
        "numbers",
        "Point of the picture kept nearest the middle when cropping: fractions from left and from top.",
        length=2,
        least=0,
        most=1,
        default=(0.5, 0.5),
    )
    min_cover: float = key(
        "min_cover_percent",
        "number",
        "A cell less covered by opaque picture than this gets no domino.",
        unit=PERCENT,
        above=0,
        most=100,
        default=0.5,
    )
    dither: float = key(
        "dither_percent",
        "number",
        "Strength of error diffusion: gradients become fine mixtures of colours, edges a little rougher.",
        unit=PERCENT,
        least=0,
        most=100,
        default=0.0,
    )
    clean_specks: bool = key(
        "clean_specks",
        "flag",
        "Recolour a domino that differs from all its neighbours, where stock allows: calmer areas, lost glints.",
        default=False,
    )
    seen_from_camera: bool = key(
        "seen_from_camera",
        "flag",
        "Warp the picture so that it reads true from [camera], when there is one; false keeps it true from above.",
        default=True,
    )
    stacked_rows: tuple[tuple[int, int], ...] = key(
        "stacked_rows",
        "ranges",
        "Row ranges [first, last] that carry a second domino on top of each domino.",
        least=0,
        most=20_000,
        default=(),
    )
    gap_rows: tuple[tuple[int, int], ...] = key(
        "gap_rows",
        "ranges",
        "Row ranges [first, last] that trays leave open; they are closed late, by hand.",
        least=0,
        most=20_000,
        default=(),
    )
