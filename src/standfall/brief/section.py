"""The sections of the brief as frozen dataclasses, SI inside.

Each attribute is declared with the key it is read from; ``docs/brief.md`` describes them all.
"""

from __future__ import annotations

from dataclasses import dataclass

from standfall.brief.area import Area
from standfall.brief.conditions import FallConditions
from standfall.brief.crew import Crew
from standfall.brief.dock import Dock
from standfall.brief.field import Field
from standfall.brief.hall import Hall
from standfall.brief.key import key
from standfall.brief.laying import Laying
from standfall.brief.line import Line, PathPart
from standfall.brief.robot import Robot
from standfall.brief.starter import Starter
from standfall.brief.unit import MM, PERCENT, G, M

__all__ = [
    "Brief",
    "Camera",
    "Colour",
    "Colouring",
    "Domino",
    "Field",
    "Hall",
    "Job",
    "Line",
    "Papers",
    "PathPart",
    "Tray",
]

NAME_LENGTH = 80


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
    areas: tuple[Area, ...] = key(
        "area", "tables", "A part of the floor that is not free.", section=Area, most=1000, default=()
    )
    docks: tuple[Dock, ...] = key(
        "dock", "tables", "A place where robots or people start from.", section=Dock, most=100, default=()
    )
    robots: tuple[Robot, ...] = key(
        "robot", "tables", "A kind of robot that carries trays.", section=Robot, most=20, default=()
    )
    crew: Crew | None = key("crew", "table", "The people who lay by hand.", section=Crew, default=None)
    laying: Laying = key(
        "laying", "table", "How much room is kept while laying.", section=Laying, default=Laying()
    )
    camera: Camera | None = key("camera", "table", "Where it is seen from.", section=Camera, default=None)
    papers: Papers = key("papers", "table", "How sheets are printed.", section=Papers, default=Papers())

    @property
    def hands(self) -> Crew:
        """Who lays by hand: the crew, or one builder with all defaults where the brief names none."""
        return self.crew if self.crew is not None else Crew()
