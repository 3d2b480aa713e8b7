"""The floor plan as a DXF drawing in real millimetres, for surveyors and for marking out.

Dimensions are true DIMENSION entities. The lines and figures that show them are drawn here, for the library would
take the fonts of this machine to measure them, and the same plan could give other bytes.

Source: Autodesk, DXF Reference 2018: layers, LWPOLYLINE, HATCH, DIMENSION (group 70: 0 along a direction, + 32 its
own block; 13 and 14 what is measured, 10 on the dimension line, 11 the figure, 42 the length).
"""

from __future__ import annotations

import io
import math
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import numpy as np

from standfall.papers.floor_plan import FloorPlanDrawing
from standfall.papers.floor_plan_dimension import Dimension
from standfall.papers.floor_plan_mark import Floats
from standfall.papers.floor_plan_sheet import tile_sides_m
from standfall.papers.floor_plan_signs import AREA_WORDS, DOCK_WORDS

if TYPE_CHECKING:
    from ezdxf.document import Drawing

#: Layers and their colours by the numbers of the AutoCAD Color Index (7: black or white), and line weights in
#: hundredths of a millimetre.
LAYERS = {
    "HALL": (7, 50),
    "AREAS": (30, 18),
    "DOCKS": (7, 25),
    "LINES": (200, 25),
    "TILES": (8, 13),
    "TILE_NUMBERS": (7, 13),
    "LANES": (140, 18),
    "DIMENSIONS": (5, 13),
}
# Pattern, angle and colour of an area by its kind. The patterns have their lines some 3 mm apart at scale 1.
_PATTERNS = {
    "hole": ("ANSI37", 0.0, 8),
    "exit": ("ANSI31", 0.0, 94),
    "escape_route": ("ANSI31", 90.0, 94),
    "fire_point": ("ANSI31", 0.0, 12),
    "no_go": ("ANSI37", 0.0, 30),
    "walkway": ("ANSI31", 45.0, 152),
}
_FIXED_LOCK = threading.Lock()


def floor_plan_dxf(drawing: FloorPlanDrawing) -> bytes:
    """Return the floor plan as the bytes of a DXF file (release 2010, UTF-8, millimetres of the hall).

    Layers: HALL, AREAS, DOCKS, LINES (laid by hand), TILES, TILE_NUMBERS (laying order, below it the own number),
    LANES, DIMENSIONS.

    Args:
        drawing: what is drawn.
    """
    # Imported here: it takes half a second, and only this paper needs it.
    from ezdxf.filemanagement import new

    text = io.StringIO()
    # From the very beginning: the date of making is noted, too.
    with _fixed_dates():
        document = new("R2010", units=4)
        document.header["$MEASUREMENT"] = 1
        for name, (colour, weight) in LAYERS.items():
            document.layers.add(name, color=colour, lineweight=weight)
        _Sheet(document, drawing).draw()
        document.write(text)
    return text.getvalue().encode("utf-8")


@contextmanager
def _fixed_dates() -> Iterator[None]:
    """Keep the date and random numbers out of the file; the switch is for the whole process, so hold a lock."""
    from ezdxf import options  # type: ignore[attr-defined]

    with _FIXED_LOCK:
        before = options.write_fixed_meta_data_for_testing
        options.write_fixed_meta_data_for_testing = True
        try:
            yield
        finally:
            options.write_fixed_meta_data_for_testing = before


class _Sheet:
    """Model space being filled."""

    def __init__(self, document: Drawing, drawing: FloorPlanDrawing) -> None:
        self._document, self._drawing = document, drawing
        self._space = document.modelspace()
        # Words as high as three millimetres on a plan of the hall that is 30 cm long.
        self._words_mm = 1000.0 * float(np.ptp(drawing.outline_m, axis=0).max()) / 100.0
        self._style_dimensions()

    def draw(self) -> None:
        self._loop(self._drawing.outline_m, "HALL")
        self._origin()
        self._areas()
        self._docks()
        self._hands()
        self._tiles()
        for lane in self._drawing.lanes:
            self._path(lane.path_m, "LANES", linetype=None)
        for dimension in self._drawing.dimensions:
            self._dimension(dimension)

    # ------------------------------------------------------------ parts

    def _loop(self, corners_m: Floats, layer: str) -> Any:
        points = [(x, y) for x, y in (1000.0 * np.asarray(corners_m)).tolist()]
        return self._space.add_lwpolyline(points, close=True, dxfattribs={"layer": layer})

    def _path(self, path_m: Floats, layer: str, linetype: str | None = None, width_mm: float = 0.0) -> None:
        attributes = {"layer": layer, "const_width": width_mm}
        if linetype is not None:
            attributes["linetype"] = linetype
        self._space.add_lwpolyline((1000.0 * np.asarray(path_m)).tolist(), dxfattribs=attributes)

    def _words(
        self,
        text: str,
        at_m: Floats,
        height_mm: float,
        layer: str,
        angle_deg: float = 0.0,
        where: str = "MIDDLE",
    ) -> None:
        from ezdxf.enums import TextEntityAlignment

        words = self._space.add_text(text, height=height_mm, rotation=angle_deg, dxfattribs={"layer": layer})
        place = (float(at_m[0]) * 1000.0, float(at_m[1]) * 1000.0)
        words.set_placement(place, align=TextEntityAlignment[where])

    def _origin(self) -> None:
        arm = self._words_mm * 1.5
        for end in ((arm, 0.0), (0.0, arm)):
            self._space.add_line((0.0, 0.0), end, dxfattribs={"layer": "HALL"})
        self._space.add_circle((0.0, 0.0), self._words_mm * 0.35, dxfattribs={"layer": "HALL"})
        for text, at in (("x", (arm * 1.2, 0.0)), ("y", (0.0, arm * 1.2))):
            self._words(text, np.array(at) / 1000.0, self._words_mm * 0.7, "HALL")

    def _areas(self) -> None:
        for area in self._drawing.areas:
            self._loop(area.corners_m, "AREAS")
            pattern, angle, colour = _PATTERNS.get(area.kind, ("SOLID", 0.0, 8))
            hatch = self._space.add_hatch(color=colour, dxfattribs={"layer": "AREAS"})
            if pattern != "SOLID":
                hatch.set_pattern_fill(pattern, color=colour, angle=angle, scale=self._words_mm / 6.0)
            hatch.paths.add_polyline_path((1000.0 * area.corners_m).tolist(), is_closed=True)
            words = AREA_WORDS[area.kind]
            name = area.name if area.name.casefold().startswith(words) else f"{words}: {area.name}"
            if pattern == "SOLID":  # beside it, for it is filled
                corner = area.corners_m.max(axis=0)
                self._words(name, corner, 0.8 * self._words_mm, "AREAS", where="LEFT")
                continue
            wide, high = np.ptp(area.corners_m, axis=0)
            middle = area.corners_m.mean(axis=0)
            self._words(name, middle, 0.8 * self._words_mm, "AREAS", 90.0 if high > 2 * wide else 0.0)

    def _docks(self) -> None:
        for dock in self._drawing.docks:
            place = np.array(dock.place_m)
            at = (1000.0 * place).tolist()
            self._space.add_circle(at, 0.5 * self._words_mm, dxfattribs={"layer": "DOCKS"})
            for part in dock.body_m:
                self._loop(part, "DOCKS")
            if dock.kind != "crew":
                self._arrow(place, dock.heading_rad)
            beside = place + np.array([3.0 * self._words_mm / 1000.0, 0.0])
            kind = DOCK_WORDS[dock.kind].partition(",")[0]
            self._words(f"{dock.name} ({kind})", beside, 0.8 * self._words_mm, "DOCKS", where="MIDDLE_LEFT")

    def _arrow(self, place: Floats, heading_rad: float) -> None:
        ahead = np.array([math.cos(heading_rad), math.sin(heading_rad)])
        aside = np.array([-ahead[1], ahead[0]])
        tip = 1000.0 * place + ahead * 2.5 * self._words_mm
        barb = 0.6 * self._words_mm
        ends = (1000.0 * place, tip - barb * (ahead + 0.5 * aside), tip - barb * (ahead - 0.5 * aside))
        for end in ends:
            self._space.add_line(end.tolist(), tip.tolist(), dxfattribs={"layer": "DOCKS"})

    def _hands(self) -> None:
        for hand in self._drawing.hands:
            if hand.kind == "gap":
                self._loop(hand.path_m, "LINES")
                middle = hand.path_m.mean(axis=0)
            else:
                self._path(hand.path_m, "LINES", width_mm=1000.0 * self._drawing.line_width_m)
                at = len(hand.path_m) // 2
                way = hand.path_m[min(at + 1, len(hand.path_m) - 1)] - hand.path_m[max(at - 1, 0)]
                aside = np.array([way[1], -way[0]]) / max(float(np.hypot(*way)), 1e-9)
                middle = hand.path_m[at] + aside * self._words_mm / 1000.0
            if hand.order:
                self._words(str(hand.order), middle, 0.6 * self._words_mm, "LINES")

    def _tiles(self) -> None:
        tiles = self._drawing.tiles
        for field in self._drawing.fields:
            self._words(f"field {field.name}", field.corners_m[0], self._words_mm, "TILES", where="TOP_RIGHT")
        if not len(tiles):
            return
        across, along = tile_sides_m(tiles.corners_m)
        for tile, corners in enumerate(tiles.corners_m):
            self._loop(corners, "TILES")
            middle = corners.mean(axis=0)
            side = (corners[1] - corners[0]) if across[tile] >= along[tile] else (corners[2] - corners[1])
            angle = math.degrees(math.atan2(side[1], side[0]))
            angle = (
                angle - 180.0 if angle > 90.0 + 1e-6 else angle + 180.0 if angle <= -90.0 - 1e-6 else angle
            )
            short_mm = 1000.0 * min(across[tile], along[tile])
            long_mm = 1000.0 * max(across[tile], along[tile])
            text = str(int(tiles.order[tile])) if tiles.order[tile] else "not laid"
            height = min(0.42 * short_mm, 0.8 * long_mm / len(text))
            up = np.array([-math.sin(math.radians(angle)), math.cos(math.radians(angle))]) * short_mm / 1000.0
            self._words(text, middle + 0.14 * up, height, "TILE_NUMBERS", angle)
            if self._drawing.ordered:
                own = f"tile {tiles.number[tile]}"
                own_height = min(0.16 * short_mm, 0.8 * long_mm / len(own))
                self._words(own, middle - 0.3 * up, own_height, "TILE_NUMBERS", angle)
            self._front(tile, corners, short_mm)

    def _front(self, tile: int, corners: Floats, short_mm: float) -> None:
        """A tick at the edge of a tile that the front of the robot points at."""
        heading = float(self._drawing.tiles.heading_rad[tile])
        if not math.isfinite(heading):
            return
        ahead = np.array([math.cos(heading), math.sin(heading)])
        sides = np.array([(corners[1] - corners[0]) / 2, (corners[2] - corners[1]) / 2])
        front = int(np.argmax(np.abs(sides @ ahead) / np.maximum(np.hypot(*sides.T), 1e-9)))
        edge = corners.mean(axis=0) + ahead * float(np.hypot(*sides[front]))
        inner = edge - ahead * 0.1 * short_mm / 1000.0
        ends = (1000.0 * np.array([inner, edge])).tolist()
        self._space.add_line(ends[0], ends[1], dxfattribs={"layer": "TILES"})

    # ------------------------------------------------------------ dimensions

    def _style_dimensions(self) -> None:
        style = self._document.dimstyles.new("HALL_MM")
        height = 0.8 * self._words_mm
        style.dxf.dimtxt, style.dxf.dimtsz = height, 0.4 * height
        style.dxf.dimexe, style.dxf.dimexo, style.dxf.dimgap = 0.5 * height, 0.5 * height, 0.3 * height
        style.dxf.dimdec, style.dxf.dimtad, style.dxf.dimlunit = 0, 1, 2
        style.dxf.dimtih, style.dxf.dimtoh = 0, 0

    def _dimension(self, dimension: Dimension) -> None:
        begin, end = 1000.0 * np.array(dimension.begin_m), 1000.0 * np.array(dimension.end_m)
        way = (end - begin) / dimension.length_mm
        right = np.array([way[1], -way[0]])
        away = self._words_mm * (2.0 + 2.0 * dimension.level)
        height = 0.8 * self._words_mm
        a, b = begin + away * right, end + away * right
        angle = math.degrees(math.atan2(way[1], way[0]))
        angle = angle - 180.0 if angle > 90.0 + 1e-6 else angle + 180.0 if angle <= -90.0 + 1e-6 else angle
        up = np.array([-math.sin(math.radians(angle)), math.cos(math.radians(angle))])
        middle = (a + b) / 2 + 0.8 * height * up
        block = self._document.blocks.new_anonymous_block(type_char="D")
        tick = 0.4 * height * (way + right)
        gap, beyond = 0.5 * height * right, 0.5 * height * right
        for first, last in (
            (a, b),
            (begin + gap, a + beyond),
            (end + gap, b + beyond),
            (a - tick, a + tick),
            (b - tick, b + tick),
        ):
            block.add_line(first.tolist(), last.tolist(), dxfattribs={"layer": "DIMENSIONS"})
        from ezdxf.enums import TextEntityAlignment

        figure = block.add_text(
            f"{dimension.length_mm:.0f}", height=height, rotation=angle, dxfattribs={"layer": "DIMENSIONS"}
        )
        figure.set_placement(middle.tolist(), align=TextEntityAlignment.MIDDLE)
        entity = self._space.add_aligned_dim(
            p1=begin.tolist(),
            p2=end.tolist(),
            distance=-away,
            dimstyle="HALL_MM",
            dxfattribs={"layer": "DIMENSIONS"},
        ).dimension
        entity.dxf.geometry = block.name
        entity.dxf.text_midpoint = (*middle.tolist(), 0.0)
        entity.dxf.actual_measurement = dimension.length_mm
