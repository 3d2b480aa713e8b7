"""A sheet of the floor plan as SVG, in millimetres, to scale.

Source: SVG 1.1 (W3C Recommendation 2011-08-16): basic shapes, text, patterns, clipping.
"""

from __future__ import annotations

from collections.abc import Iterable
from xml.sax.saxutils import escape, quoteattr

from standfall.papers.floor_plan import FloorPlanDrawing
from standfall.papers.floor_plan_mark import PAPER, Floats, Trace, Words, words_corners_mm
from standfall.papers.floor_plan_sheet import SheetView
from standfall.papers.floor_plan_signs import HATCHINGS, Hatching
from standfall.papers.floor_plan_view import draw_sheet

_PROSE = "'Libertinus Serif', 'DejaVu Serif', Georgia, serif"
_MONO = "'DejaVu Sans Mono', Menlo, Consolas, monospace"


def floor_plan_svg(drawing: FloorPlanDrawing, view: SheetView, sheet: int = 1, sheets: int = 1) -> bytes:
    """Return one sheet of a floor plan as an SVG file.

    Args:
        drawing: what is drawn.
        view: the sheet.
        sheet, sheets: its number, and how many there are.
    """
    marks = draw_sheet(drawing, view, sheet, sheets)
    left, top, wide, high = view.plan_mm
    size = f'width="{_n(view.width_mm)}mm" height="{_n(view.height_mm)}mm"'
    box = f'viewBox="0 0 {_n(view.width_mm)} {_n(view.height_mm)}"'
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} {box}>',
        f"<title>{escape(drawing.name)}: {escape(view.title)}, 1:{view.scale}</title>",
        "<defs>",
        *(_pattern(name, hatching) for name, hatching in HATCHINGS.items()),
        f'<clipPath id="plan"><rect x="{_n(left)}" y="{_n(top)}" width="{_n(wide)}" height="{_n(high)}"/></clipPath>',
        "</defs>",
        f'<rect width="{_n(view.width_mm)}" height="{_n(view.height_mm)}" fill="{PAPER}"/>',
        f'<g id="drawing" clip-path="url(#plan)" fill="none" stroke-linejoin="round" font-family="{_MONO}">',
        *_written(marks.plan),
        "</g>",
        f'<g id="sheet" fill="none" font-family="{_MONO}">',
        *_written(marks.sheet),
        "</g>",
        "</svg>",
        "",
    ]
    return "\n".join(lines).encode("utf-8")


def _written(marks: Iterable[Trace | Words]) -> Iterable[str]:
    for mark in marks:
        yield _trace(mark) if isinstance(mark, Trace) else _words(mark)


def _trace(trace: Trace) -> str:
    path = "".join(_chain(chain, trace.closed) for chain in trace.chains_mm)
    attributes = [f'd="{path}"']
    if trace.fill is not None:
        name = trace.fill.removeprefix("hatch:")
        fill = f"url(#{name})" if trace.fill.startswith("hatch:") else trace.fill
        attributes.append(f'fill="{fill}"')
    if trace.stroke is not None:
        attributes.append(f'stroke="{trace.stroke}" stroke-width="{_n(trace.width_mm)}"')
        if trace.dash_mm:
            attributes.append(f'stroke-dasharray="{" ".join(map(_n, trace.dash_mm))}"')
    return f"<path {' '.join(attributes)}/>"


def _chain(chain: Floats, closed: bool) -> str:
    points = [f"{_n(x)} {_n(y)}" for x, y in chain]
    return "M" + "L".join(points) + ("Z" if closed else "")


def _words(words: Words) -> str:
    x, y = words.at_mm
    attributes = [f'x="{_n(x)}" y="{_n(y)}" font-size="{_n(words.size_mm)}" fill="{words.colour}"']
    if not words.mono:
        attributes.append(f"font-family={quoteattr(_PROSE)}")
    if words.bold:
        attributes.append('font-weight="bold"')
    if words.anchor != "start":
        attributes.append(f'text-anchor="{words.anchor}"')
    if words.angle_deg:
        attributes.append(f'transform="rotate({_n(words.angle_deg)} {_n(x)} {_n(y)})"')
    text = f"<text {' '.join(attributes)}>{escape(words.text)}</text>"
    if not words.halo:
        return text
    corners = _chain(words_corners_mm(words, 0.25), True)
    return f'<path d="{corners}" fill="{PAPER}" fill-opacity="0.88"/>{text}'


def _pattern(name: str, hatching: Hatching) -> str:
    pitch = _n(hatching.pitch_mm)
    turn = f'patternTransform="rotate({_n(hatching.angle_deg)})"'
    line = f'stroke="{hatching.colour}" stroke-width="{_n(hatching.width_mm)}"'
    ways = f"M0 0V{pitch}" + (f"M0 0H{pitch}" if hatching.crossed else "")
    ground = f'<rect width="{pitch}" height="{pitch}" fill="{hatching.ground}"/>' if hatching.ground else ""
    return (
        f'<pattern id="{name}" width="{pitch}" height="{pitch}" patternUnits="userSpaceOnUse" {turn}>'
        f'{ground}<path d="{ways}" {line}/></pattern>'
    )


def _n(number: float) -> str:
    """Write a number of millimetres to a hundredth."""
    text = f"{number:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text
