"""The floor as somebody else has drawn it: outline and areas from a DXF file.

A drawing comes from another office: it may be huge, open at a corner, in other units, or made to harm. Only
what lies on the layer of the floor, and on layers named like the kinds of area, is taken; texts, dimensions and
furniture on other layers do not matter. Arcs become chords that leave them by a millimetre at most.

Sources: Autodesk, DXF Reference 2018: header variable $INSUNITS, entities LWPOLYLINE (group 42, bulge: the
tangent of a quarter of the included angle), LINE, ARC, CIRCLE, INSERT. Inch, foot and yard after the agreement
of 1959; the US survey foot is 1200/3937 m (NIST Handbook 44, appendix C).
"""

from __future__ import annotations

import io
import struct
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from standfall.brief.area import AREA_KINDS
from standfall.findings import Finding, make_finding
from standfall.intake.floor_curve import MOST_M, Curve, Floats, curve_of
from standfall.intake.floor_loop import Loops, Ring, close_loops, split_floor

# A whole tram depot with its tracks has some thousand corners. These limits are our own choice: within them a
# file is read in about half a minute.
DRAWING_MOST_BYTES = 16 * 1024 * 1024
_ENTITIES_MOST = 100_000
_FROM_BLOCKS_MOST = 20_000
_BLOCKS_DEEP = 8
CORNERS_MOST = 20_000
# As many as a brief may have.
AREAS_MOST = 1_000
# No hall where people lay dominoes is longer than a brief may say, or shorter than a metre.
LEAST_SIDE_M, MOST_SIDE_M = 1.0, 1000.0

# $INSUNITS: name and length in metres. Units that no hall is drawn in are left out.
UNITS: dict[int, tuple[str, float]] = {
    1: ("inches", 0.0254),
    2: ("feet", 0.3048),
    4: ("millimetres", 0.001),
    5: ("centimetres", 0.01),
    6: ("metres", 1.0),
    10: ("yards", 0.9144),
    14: ("decimetres", 0.1),
    21: ("US survey feet", 1200 / 3937),
}
# Without a unit, numbers are read as metres up to this size and as millimetres above it: a hall is neither a
# kilometre long nor shorter than a metre.
_METRES_UP_TO = 1000.0

# What is written or dimensioned on a layer is no part of its shapes.
_WRITING = {"TEXT", "MTEXT", "DIMENSION", "LEADER", "MULTILEADER", "ATTDEF", "ATTRIB", "POINT", "TOLERANCE"}
_SHOWN = 4


@dataclass(frozen=True)
class FloorDrawing:
    """A floor read from a file.

    Attributes:
        outline_m: corners in order, counter-clockwise, in the hall; empty when a finding blocks.
        areas: kind (one of ``AREA_KINDS``) and corners of each area drawn.
        findings: what is wrong with the file, or worth knowing.
    """

    outline_m: Ring
    areas: tuple[tuple[str, Ring], ...]
    findings: tuple[Finding, ...]


def read_floor_drawing(data: bytes, name: str, layer: str, where: str = "hall.drawing") -> FloorDrawing:
    """Read the floor from the bytes of a DXF file, text or binary.

    Closed polylines, circles, and lines, arcs and open polylines that meet end to end make loops. On the layer of
    the floor the largest loop is the outline, loops inside it are holes. Loops on a layer named like a kind of
    area (``pillar``, ``no_go``, ...; capitals do not matter) are areas.

    Args:
        data: the whole file.
        name: of the file, for messages.
        layer: of the floor.
        where: key path for findings.
    """
    if len(data) > DRAWING_MOST_BYTES:
        return refused(too_large(where, name, f"{len(data):,} bytes", f"{DRAWING_MOST_BYTES:,} bytes"))
    contents = _open(data)
    if contents is None:
        return refused(
            make_finding(
                "H815",
                where,
                f"{name} is damaged, or no DXF drawing",
                value=name,
                limit="a whole DXF file",
                next_step="Save it again as DXF from the program it was drawn with; DWG files are not read.",
            ),
        )
    if contents.too_many:
        return refused(
            too_large(
                where, name, "more shapes", f"{_ENTITIES_MOST:,} shapes, {_FROM_BLOCKS_MOST:,} in blocks"
            )
        )
    return _Reading(contents, name, layer, where).floor()


def refused(*findings: Finding) -> FloorDrawing:
    """Return a floor that could not be read, with the reasons."""
    return FloorDrawing((), (), findings)


def too_large(where: str, name: str, value: str, limit: str) -> Finding:
    """Return the finding for a file with more in it than a hall needs."""
    return make_finding(
        "H815",
        where,
        f"{name} holds absurdly much for the floor of a hall",
        value=value,
        limit=limit,
        next_step="Save a copy with nothing in it but the floor and the areas.",
    )


@dataclass(frozen=True)
class _Contents:
    """The unit's number, the shapes of model space by layer, and whether there are absurdly many."""

    unit: int
    by_layer: dict[str, list[Any]]
    too_many: bool


def _errors() -> tuple[type[Exception], ...]:
    """Return what ezdxf is seen to raise on damaged files.

    A defect of our own could be of one of these kinds too, so the tests read sound files beside the damaged ones.
    """
    from ezdxf.lldxf.const import DXFError

    return (
        DXFError, ValueError, TypeError, LookupError, AttributeError, ArithmeticError, AssertionError,
        RuntimeError, OSError, EOFError, struct.error, MemoryError,
    )  # fmt: skip


def _open(data: bytes) -> _Contents | None:
    """Parse a drawing, mending small damage; ``None`` if it is none."""
    # Imported here: it takes half a second, and few briefs have a drawing.
    from ezdxf import recover

    if not data.strip():
        return None
    try:
        document, auditor = recover.read(io.BytesIO(data))
        if auditor.has_errors:
            return None
        by_layer: dict[str, list[Any]] = {}
        own = from_blocks = 0
        for layer, entity, in_block in _shapes(document.modelspace(), None, _BLOCKS_DEEP):
            own, from_blocks = own + (not in_block), from_blocks + in_block
            if own > _ENTITIES_MOST or from_blocks > _FROM_BLOCKS_MOST:
                return _Contents(0, {}, True)
            by_layer.setdefault(_layer_key(layer), []).append(entity)
        return _Contents(int(document.header.get("$INSUNITS", 0)), by_layer, False)
    except _errors():
        return None


def _curves(entity: Any, scale_m: float) -> list[Curve] | None:
    """Return the curves of a shape, ``None`` if it is damaged or not read."""
    try:
        return curve_of(entity, scale_m)
    except _errors():
        return None


class _Reading:
    """One drawing being read."""

    def __init__(self, contents: _Contents, name: str, layer: str, where: str) -> None:
        self._contents, self._name, self._where = contents, name, where
        self._layer = _layer_key(layer)
        self._findings: list[Finding] = []
        self._unit, self._scale_m = UNITS[6]

    def floor(self) -> FloorDrawing:
        by_layer = self._contents.by_layer
        if self._layer not in by_layer:
            return refused(self._no_layer())
        if not self._find_unit(by_layer[self._layer]):
            return refused(*self._findings)
        loops: dict[str, Loops] = {}
        for kind in dict.fromkeys((self._layer, *AREA_KINDS)):
            found = self._loops(kind, by_layer.get(kind, []))
            if found is None:
                return refused(*self._findings)
            loops[kind] = found
        return self._sorted(loops)

    def _no_layer(self) -> Finding:
        names = ", ".join(sorted(self._contents.by_layer)[:12])
        return make_finding(
            "H816",
            self._where,
            f"{self._name} has nothing on the layer {self._layer!r}",
            value=self._layer,
            limit=f"a layer with the floor's outline; there are: {names or 'none'}"[:300],
            next_step="Set hall.drawing_layer to the layer of the outline, or draw it on that layer.",
        )

    # ------------------------------------------------------------ units

    def _find_unit(self, floor: list[Any]) -> bool:
        code = self._contents.unit
        if code in UNITS:
            self._unit, self._scale_m = UNITS[code]
            return True
        if code != 0:
            self._findings.append(
                make_finding(
                    "H817",
                    self._where,
                    f"{self._name} is drawn in a unit that no hall is drawn in",
                    value=f"$INSUNITS {code}",
                    limit=", ".join(name for name, _ in UNITS.values()),
                    next_step="Set the drawing's unit to what it is drawn in, and save it again.",
                )
            )
            return False
        size = self._size(floor)
        self._unit, self._scale_m = UNITS[6] if size <= _METRES_UP_TO else UNITS[4]
        self._findings.append(
            make_finding(
                "H819",
                self._where,
                f"{self._name} does not say its unit; from its size it is taken as drawn in {self._unit}",
                value=f"the floor is {size:,.6g} units long",
                limit="a unit in the drawing ($INSUNITS)",
                next_step="Measure one wall against the floor plan; set the unit in the drawing to be sure.",
            )
        )
        return True

    def _size(self, floor: list[Any]) -> float:
        """Longer side of what is on a layer, in the drawing's numbers."""
        points = [point for entity in floor for curve in _curves(entity, 1.0) or () for point in curve.points]
        if not points:
            return 0.0
        sides = (max(axis) - min(axis) for axis in zip(*points, strict=True))
        return float(max(sides))

    # ------------------------------------------------------------ loops

    def _loops(self, kind: str, entities: list[Any]) -> Loops | None:
        curves, left_out, corners = [], Counter[str](), 0
        for entity in entities:
            if entity.dxftype() in _WRITING:
                continue
            found = _curves(entity, self._scale_m)
            if found is None:
                left_out[entity.dxftype()] += 1
                continue
            for curve in found:
                corners += len(curve.points)
                if corners > CORNERS_MOST:
                    limit = f"{CORNERS_MOST:,} corners on a layer"
                    self._findings.append(too_large(self._where, self._name, "more corners", limit))
                    return None
                if not _sane(curve.points):
                    self._findings.append(self._absurd(kind))
                    return None
                curves.append(curve)
        if left_out:
            self._findings.append(self._other_shapes(kind, left_out))
        return close_loops(curves)

    def _absurd(self, kind: str) -> Finding:
        return make_finding(
            "H817",
            self._where,
            f"{self._name} has a shape on the layer {kind!r} that is absurdly far away, or nowhere",
            value=f"over {MOST_M:,.0f} m in {self._unit}",
            limit=f"at most {MOST_M:,.0f} m from the origin",
            next_step="Set the drawing's unit to what it is drawn in, and remove stray shapes.",
        )

    def _other_shapes(self, kind: str, left_out: Counter[str]) -> Finding:
        kinds = ", ".join(f"{count} {name}" for name, count in left_out.most_common(_SHOWN))
        return make_finding(
            "H819",
            self._where,
            f"{self._name} has shapes on the layer {kind!r} that are not read",
            value=kinds,
            limit="polylines, lines, arcs, circles, ellipses and splines, flat on the floor",
            next_step="Draw their edges as closed polylines if the robots must know of them.",
        )

    # ------------------------------------------------------------ floor and areas

    def _sorted(self, loops: dict[str, Loops]) -> FloorDrawing:
        floor_layer = self._layer
        outline, holes, others, fault = split_floor(loops[floor_layer].rings)
        if outline is None or fault is not None:
            return refused(*self._findings, self._no_floor(loops[floor_layer], fault))
        self._findings += unlikely_size(outline, self._name, self._unit, self._scale_m, self._where)
        self._left_over(floor_layer, loops[floor_layer], others)
        areas = [("hole", ring) for ring in holes]
        for kind, found in loops.items():
            if kind == floor_layer:
                continue
            if found.open_ends_m:
                self._findings.append(self._open("H816", kind, found))
            areas += [(kind, ring) for ring in found.rings]
        if len(areas) > AREAS_MOST:
            self._findings.append(
                too_large(self._where, self._name, f"{len(areas):,} areas", f"{AREAS_MOST:,} areas")
            )
        if any(finding.grade == "blocks" for finding in self._findings):
            return refused(*self._findings)
        self._findings.append(self._told(outline, areas))
        return FloorDrawing(outline, tuple(areas), tuple(self._findings))

    def _left_over(self, layer: str, found: Loops, others: list[Ring]) -> None:
        if found.open_ends_m:
            self._findings.append(self._open("H819", layer, found))
        if others:
            places = "; ".join(
                f"at {x_m:.3f}, {y_m:.3f} m" for x_m, y_m in (ring[0] for ring in others[:_SHOWN])
            )
            self._findings.append(
                make_finding(
                    "H819",
                    self._where,
                    f"{self._name} has several outlines on the layer {layer!r}; the largest is taken",
                    value=f"{len(others)} more: {places}",
                    limit="one outline, and holes inside it",
                    next_step="Look at the floor plan; give the floor a layer of its own if it is another one.",
                )
            )

    def _open(self, code: str, layer: str, found: Loops) -> Finding:
        places = "; ".join(f"{x_m:.3f}, {y_m:.3f} m" for x_m, y_m in found.open_ends_m[:_SHOWN])
        more = "; ..." if len(found.open_ends_m) > _SHOWN else ""
        return make_finding(
            code,
            self._where,
            f"{self._name} has lines on the layer {layer!r} that do not close",
            value=f"open ends at {places}{more}",
            limit="loops whose ends meet within 1 mm",
            next_step="Close the loop there, or move lines that are no edge to another layer.",
        )

    def _no_floor(self, found: Loops, fault: str | None) -> Finding:
        if fault is None and found.open_ends_m:
            return self._open("H816", self._layer, found)
        return make_finding(
            "H816",
            self._where,
            f"{self._name} has no loop on the layer {self._layer!r} that makes a floor",
            value=fault or "no closed loop",
            limit="a closed outline that does not cross itself",
            next_step="Draw the outline as one closed polyline.",
        )

    def _told(self, outline: Ring, areas: list[tuple[str, Ring]]) -> Finding:
        wide_m, deep_m = _extent(outline)
        counts = Counter(kind for kind, _ in areas)
        words = ", ".join(f"{count} {kind}" for kind, count in counts.items()) or "no area"
        return make_finding(
            "H818",
            self._where,
            f"{self._name} is read in {self._unit}: a floor of {wide_m:.3f} m by {deep_m:.3f} m, {words}",
            value=f"{len(outline)} corners",
            limit=None,
            next_step="Look at the floor plan; nothing need be done if it is right.",
        )


def unlikely_size(outline: Ring, name: str, unit: str, scale_m: float, where: str) -> list[Finding]:
    """Return a finding if a floor is too large, too small or too far away for a hall, with the likely reason.

    Args:
        outline: corners, metres.
        name: of the file.
        unit: it is read in.
        scale_m: length of that unit.
        where: key path for findings.
    """
    wide_m, deep_m = _extent(outline)
    size_m = max(wide_m, deep_m)
    if LEAST_SIDE_M <= size_m <= MOST_SIDE_M:
        farthest_m = max(abs(value) for point in outline for value in point)
        if farthest_m <= MOST_SIDE_M:
            return []
        return [
            make_finding(
                "H817",
                where,
                f"the floor in {name} lies far from the origin",
                value=f"{farthest_m:,.1f} m",
                limit=f"at most {MOST_SIDE_M:,.0f} m",
                next_step="Move it so that a corner of the floor is the origin; the places in the brief count from it.",
            )
        ]
    likely = [
        other
        for other, length_m in UNITS.values()
        if other in ("millimetres", "metres", "inches") and other != unit
        if 3.0 <= size_m / scale_m * length_m <= 300.0
    ]
    guess = f"likely it is drawn in {likely[0]}" if likely else "no usual unit makes it a hall"
    return [
        make_finding(
            "H817",
            where,
            f"the floor in {name}, read in {unit}, is {wide_m:,.4g} m by {deep_m:,.4g} m; {guess}",
            value=f"{size_m:,.4g} m",
            limit=f"{LEAST_SIDE_M:g} to {MOST_SIDE_M:,.0f} m",
            next_step="Set the drawing's unit ($INSUNITS) to what it is drawn in, and save it again.",
        )
    ]


def _extent(outline: Ring) -> tuple[float, float]:
    xs, ys = zip(*outline, strict=True)
    return max(xs) - min(xs), max(ys) - min(ys)


def _sane(points: Floats) -> bool:
    # NaN compares false.
    return bool((abs(points) <= MOST_M).all())


def _layer_key(layer: str) -> str:
    key = layer.casefold()
    kind = key.replace(" ", "_").replace("-", "_")
    return kind if kind in AREA_KINDS else key


def _shapes(entities: Any, layer: str | None, depth: int) -> Iterator[tuple[str, Any, bool]]:
    """Yield layer, entity and whether it comes from a block, of all entities.

    What lies on layer 0 in a block has the layer that the block is inserted on.
    """
    for entity in entities:
        own = str(entity.dxf.get("layer", "0"))
        mine = layer if layer is not None and own == "0" else own
        if entity.dxftype() != "INSERT":
            yield mine, entity, layer is not None
        elif depth > 0:
            for single in entity.multi_insert() if entity.mcount > 1 else (entity,):
                # What cannot be scaled is passed over by ezdxf; it would be no edge of a floor.
                yield from _shapes(single.virtual_entities(), mine, depth - 1)
