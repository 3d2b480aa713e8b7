"""The sections of the brief as frozen dataclasses, SI inside.

Each attribute is declared with the key it is read from; ``docs/brief.md`` describes them all.
"""

from __future__ import annotations

from dataclasses import dataclass

from standfall.brief.conditions import FallConditions
from standfall.brief.key import key
from standfall.brief.starter import Starter
from standfall.brief.unit import DEG, KPA, MM, PERCENT, G, M

NAME_LENGTH = 80
Point = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class Job:
    """``[job]``: what this build is called."""

    name: str = key("name", "text", "Name of the build, printed on every sheet.", length=NAME_LENGTH)
    place: str = key("place", "text", "Where it stands.", length=NAME_LENGTH, default="")
    currency: str = key(
        "currency",
        "text",
        "Currency of all prices, as printed on the shopping list.",
        length=8,
        default="EUR",
    )


@dataclass(frozen=True, kw_only=True)
class Hall:
    """``[hall]``: the floor. x runs right and y up on the drawing, from a corner of your choice."""

    outline_m: tuple[Point, ...] = key(
        "outline_m",
        "points",
        "Corners of the floor in order, at least three.",
        unit=M,
        least=-1000,
        most=1000,
    )
    floor_load_pa: float | None = key(
        "floor_load_kpa",
        "number",
        "Greatest even load the floor may carry; a warning is given above it.",
        unit=KPA,
        above=0,
        most=1000,
        default=None,
    )


@dataclass(frozen=True, kw_only=True)
class Domino:
    """``[domino]``: the piece itself, standing."""

    height_m: float = key("height_mm", "number", "Height, standing.", unit=MM, above=0, most=500)
    width_m: float = key("width_mm", "number", "Width, across the fall.", unit=MM, above=0, most=500)
    thickness_m: float = key(
        "thickness_mm", "number", "Thickness, along the fall.", unit=MM, above=0, most=200
    )
    mass_kg: float = key("mass_g", "number", "Mass of one piece.", unit=G, above=0, most=5000)


@dataclass(frozen=True, kw_only=True)
class Colour:
    """``[[colour]]``: a colour of domino and what there is of it."""

    name: str = key("name", "text", "Name people call it by.", length=40)
    srgb: str | None = key(
        "srgb", "text", 'The colour as sRGB hex, for example "#1f4e79".', length=7, default=None
    )
    lab: tuple[float, ...] | None = key(
        "lab",
        "numbers",
        "The colour as measured CIE L*a*b*, instead of srgb.",
        length=3,
        least=-200,
        most=200,
        default=None,
    )
    lab_white: str = key(
        "lab_white", "choice", "White the L*a*b* was measured under.", choices=("D50", "D65"), default="D50"
    )
    stock: int = key("stock", "whole", "Pieces there are.", least=0, most=100_000_000)
    pack_size: int = key("pack_size", "whole", "Pieces in one pack.", least=1, most=1_000_000, default=1)
    pack_price: float | None = key(
        "pack_price",
        "number",
        "Price of one pack. A colour without a price is not bought.",
        least=0,
        most=1_000_000,
        default=None,
    )


@dataclass(frozen=True, kw_only=True)
class Colouring:
    """``[colouring]``: how the picture's colours are matched to the stock."""

    metric: str = key(
        "metric",
        "choice",
        "Measure of colour difference.",
        choices=("ciede2000", "cie76", "oklab"),
        default="ciede2000",
    )
    spares: float = key(
        "spares_percent",
        "number",
        "Pieces kept back per colour for breakage and loss, per hundred used.",
        unit=PERCENT,
        least=0,
        most=100,
        default=0.03,
    )
    purchase: str = key(
        "purchase",
        "choice",
        "What to buy when stock is short: the cheapest packs that are enough, the packs that give the least "
        "colour error within budget, or nothing.",
        choices=("cheapest", "least_error", "none"),
        default="cheapest",
    )
    budget: float | None = key(
        "budget",
        "number",
        'Most money that may be spent on packs. Needed by purchase = "least_error".',
        least=0,
        most=100_000_000,
        default=None,
    )


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


@dataclass(frozen=True, kw_only=True)
class PathPart:
    """``path`` of a line, one part: exactly one of a straight, an arc or a point to go to."""

    straight_m: float | None = key(
        "straight_mm", "number", "Straight ahead, this far.", unit=MM, above=0, most=1_000_000, default=None
    )
    arc_radius_m: float | None = key(
        "arc_radius_mm",
        "number",
        "Along an arc of this radius; needs turn_deg.",
        unit=MM,
        above=0,
        most=1_000_000,
        default=None,
    )
    turn_rad: float | None = key(
        "turn_deg",
        "number",
        "Angle of the arc, left positive.",
        unit=DEG,
        least=-36_000,
        most=36_000,
        default=None,
    )
    to_m: Point | None = key(
        "to_m",
        "numbers",
        "Straight to this place in the hall.",
        unit=M,
        length=2,
        least=-1000,
        most=1000,
        default=None,
    )


@dataclass(frozen=True, kw_only=True)
class Line:
    """``[[line]]``: dominoes laid by hand one behind the other: feeders, curves, splits."""

    name: str = key("name", "text", "Name of the line.", length=40)
    colours: tuple[str, ...] = key(
        "colours", "texts", "Names of colours, used in turn from the first domino on.", length=1000
    )
    pitch_m: float = key(
        "pitch_mm",
        "number",
        "Greatest distance between middles along the path; it is evened so that the last domino stands at the end.",
        unit=MM,
        above=0,
        most=1000,
    )
    start_m: Point | None = key(
        "start_m",
        "numbers",
        "Place of the first domino.",
        unit=M,
        length=2,
        least=-1000,
        most=1000,
        default=None,
    )
    start_direction_rad: float | None = key(
        "start_direction_deg",
        "number",
        "Direction of the first domino's fall, counter-clockwise from the hall's x axis.",
        unit=DEG,
        least=-360,
        most=360,
        default=None,
    )
    branch_of: str | None = key(
        "branch_of",
        "text",
        "Start from this line instead of start_m (a split): its name, earlier in the brief.",
        length=40,
        default=None,
    )
    branch_at_m: float | None = key(
        "branch_at_mm",
        "number",
        "How far along that line the branch leaves; its end when left out.",
        unit=MM,
        least=0,
        most=1_000_000,
        default=None,
    )
    branch_aside_m: float = key(
        "branch_aside_mm",
        "number",
        "Start shifted sideways from that line by this much, left positive.",
        unit=MM,
        least=-1000,
        most=1000,
        default=0.0,
    )
    branch_turn_rad: float = key(
        "branch_turn_deg",
        "number",
        "Direction of the branch against that line's, left positive.",
        unit=DEG,
        least=-180,
        most=180,
        default=0.0,
    )
    path: tuple[PathPart, ...] = key(
        "path", "tables", "Parts of the path in order.", section=PathPart, least=1, most=10_000
    )


@dataclass(frozen=True, kw_only=True)
class Tray:
    """``[tray]``: the frame that sets down one tile of dominoes at a time."""

    columns: int = key("columns", "whole", "Slots side by side, across the fall.", least=1, most=1000)
    rows: int = key("rows", "whole", "Slots one behind the other, along the fall.", least=1, most=1000)
    col_pitch_m: float = key(
        "col_pitch_mm",
        "number",
        "From slot to slot across; must be the field's.",
        unit=MM,
        above=0,
        most=1000,
    )
    row_pitch_m: float = key(
        "row_pitch_mm", "number", "From slot to slot along; must be the field's.", unit=MM, above=0, most=1000
    )
    rows_laid: str = key(
        "rows_laid",
        "choice",
        "Slot rows straight behind one another, or every second row shifted right by half a pitch.",
        choices=("straight", "half_offset"),
        default="straight",
    )
    orientations_deg: tuple[int, ...] = key(
        "orientations_deg",
        "numbers",
        "Turns in which the tray may be set down, against the fall: 0, 180 or both.",
        least=0,
        most=180,
        default=(0, 180),
    )


@dataclass(frozen=True, kw_only=True)
class Camera:
    """``[camera]``: where the picture is meant to be seen from."""

    position_m: tuple[float, ...] = key(
        "position_m",
        "numbers",
        "Lens in the hall: x, y and height.",
        unit=M,
        length=3,
        least=-1000,
        most=1000,
    )
    aim_m: tuple[float, ...] = key(
        "aim_m", "numbers", "Point it looks at: x, y and height.", unit=M, length=3, least=-1000, most=1000
    )
    focal_length_m: float = key(
        "focal_length_mm", "number", "Focal length of the lens.", unit=MM, above=0, most=2000
    )
    sensor_width_m: float = key(
        "sensor_width_mm", "number", "Width of the sensor.", unit=MM, above=0, most=200, default=0.036
    )
    sensor_height_m: float = key(
        "sensor_height_mm", "number", "Height of the sensor.", unit=MM, above=0, most=200, default=0.024
    )


@dataclass(frozen=True, kw_only=True)
class Papers:
    """``[papers]``: how the sheets are printed."""

    page: str = key("page", "choice", "Size of paper.", choices=("a4", "letter"), default="a4")
    sheets: str = key(
        "sheets",
        "choice",
        "One lay sheet for each tile (trays), or for each band of rows (a crew laying by hand).",
        choices=("tiles", "row_bands"),
        default="tiles",
    )
    band_rows: int = key(
        "band_rows", "whole", 'Rows on one sheet when sheets = "row_bands".', least=1, most=40, default=10
    )


@dataclass(frozen=True, kw_only=True)
class Brief:
    """The whole job file."""

    job: Job = key("job", "table", "What this build is called.", section=Job)
    hall: Hall = key("hall", "table", "The floor.", section=Hall)
    domino: Domino = key("domino", "table", "The piece.", section=Domino)
    colours: tuple[Colour, ...] = key(
        "colour", "tables", "A colour and its stock.", section=Colour, least=1, most=1000
    )
    colouring: Colouring = key(
        "colouring", "table", "Colours within stock.", section=Colouring, default=Colouring()
    )
    tray: Tray | None = key(
        "tray", "table", "The tray; needed when there is a field.", section=Tray, default=None
    )
    fields: tuple[Field, ...] = key(
        "field", "tables", "A picture in rows.", section=Field, most=100, default=()
    )
    lines: tuple[Line, ...] = key(
        "line", "tables", "A hand-laid line.", section=Line, most=10_000, default=()
    )
    fall: FallConditions = key(
        "fall", "table", "What decides how it falls.", section=FallConditions, default=FallConditions()
    )
    starters: tuple[Starter, ...] = key(
        "starter", "tables", "What strikes the first piece.", section=Starter, most=1000, default=()
    )
    camera: Camera | None = key("camera", "table", "Where it is seen from.", section=Camera, default=None)
    papers: Papers = key("papers", "table", "How sheets are printed.", section=Papers, default=Papers())
