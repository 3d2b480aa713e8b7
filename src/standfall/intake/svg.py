"""SVG drawings to sRGB pixels.

A drawing is data. It is never allowed to read another file or the network, to run anything, or to hold up the
program. Trying the drawing library (resvg 0.48.1 in resvg_py 0.5.0) showed why this takes care:

- `image` and `feImage` open any file that the program may read, by absolute or relative path, `..` included,
  and even one named `#x` for a reference to `#x`. `http:` and `file:` are tried as file names; nothing goes
  to the network. `use`, `url()`, `@import`, `@font-face` and `xml-stylesheet` open nothing. Entities
  declared in the file are expanded; external ones are refused.
- Some 250 nested groups overrun the stack, and a pattern 100,000 units wide ends the whole process.
- A hundred nested masks, or one wide `feMorphology`, take minutes.

So the file is parsed here, screened (`svg_screen.py`) and written anew with only what was checked. The
drawing is done by `svg_child.py`, in a process of its own with limits on time and memory.

Sources: SVG 2 (W3C Candidate Recommendation 2018-10-04), XML 1.0 (fifth edition), CSS Values and Units 3
(6.2, absolute lengths).
"""

from __future__ import annotations

import math
import re
import subprocess
import sys
import zlib
from pathlib import Path
from typing import NoReturn
from xml.etree.ElementTree import Element, TreeBuilder
from xml.parsers import expat
from xml.sax.saxutils import escape, quoteattr

from standfall.intake.decode import Decoded, PictureFault, decode_raster
from standfall.intake.svg_screen import (
    MAX_DEPTH,
    MAX_ELEMENTS,
    SIMPLIFY,
    SVG_NAMESPACE,
    Screen,
    check_expansion,
    refuse_depth,
    refuse_elements,
    refuse_reference,
)

MAX_TEXT_BYTES = 32 * 1024 * 1024
MAX_DRAWN_SIDE_PX = 8000
MAX_DOCUMENT_UNITS = 1e6
MIN_DOCUMENT_UNITS = 1e-3
# Our own choices. A full-scale drawing of a 250 m hall in millimetres is under a million CSS pixels wide.

DRAW_LIMIT_S = 300.0
DRAW_MEMORY_BYTES = 4 * 1024**3
# Our own choices, too. A plain drawing takes under a second and 0.1 GB at 2,400 pixels (measured).

_CHILD = Path(__file__).with_name("svg_child.py")
# How `svg_child.py` ends. With 1 or 2 Python itself has failed, and any other status is a crash.
_ENDED_DRAWN, _ENDED_BROKEN, _ENDED_REFUSED = 0, (1, 2), 3

_PX_PER_UNIT = {"": 1.0, "px": 1.0, "pt": 4 / 3, "pc": 16.0, "in": 96.0, "cm": 96 / 2.54, "mm": 96 / 25.4}
_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_LENGTH = re.compile(rf"({_NUMBER})\s*([a-z]*)")
_PERCENT = re.compile(rf"{_NUMBER}\s*%")

_BLANK = b"\xef\xbb\xbf\xff\xfe\x00 \t\r\n"
_XML_DECLARATION = re.compile(r"\A\s*<\?xml\s[^>]*\?>")
_DECLARED_ENCODING = re.compile(rb"\s*<\?xml\s[^>]*?encoding\s*=\s*['\"]([A-Za-z0-9._-]+)['\"]")
_ENCODINGS = ("utf-8", "us-ascii", "iso-8859-1", "windows-1252")
_BYTE_ORDERS = (
    (b"\xef\xbb\xbf", "utf-8-sig"),
    (b"\xff\xfe", "utf-16"),
    (b"\xfe\xff", "utf-16"),
    (b"<\x00", "utf-16-le"),
    (b"\x00<", "utf-16-be"),
)

_REDRAW = "Open it in a drawing program and save it as plain SVG, or export it as PNG."


def decode_svg(data: bytes, name: str, *, want_px: tuple[int, int] = (2400, 2400)) -> Decoded:
    """Draw an SVG.

    Args:
        data: The whole file, plain or gzip-compressed.
        name: Its name, for messages only.
        want_px: (width, height) of the box in pixels that the drawing fills, aspect kept: one side has at
            least what is wanted, unless that is over `MAX_DRAWN_SIDE_PX`, and the other at most.

    Returns:
        The pixels, transparent where nothing is drawn, and notes. Alpha is straight, but the library draws
        with 8 bits of premultiplied alpha, so the colours of nearly transparent pixels are coarse.

    Raises:
        PictureFault: The file is not one that can be used.
        RuntimeError: The drawing library is missing or broken on this machine.
    """
    root = _parse(_text(data, name), name)
    _check_root(root, name)
    width, height = _document_size(root, name)
    screen = Screen(name)
    clean = screen.copy(root)
    check_expansion(clean, name)
    clean.set("width", f"{width:.9g}")
    clean.set("height", f"{height:.9g}")
    scale = min(want_px[0] / width, want_px[1] / height)
    pixels = math.ceil(max(width, height) * scale - 1e-6)
    if pixels > MAX_DRAWN_SIDE_PX:
        pixels = MAX_DRAWN_SIDE_PX
        screen.notes.append(f"The drawing was drawn {pixels:,} pixels long, smaller than asked for.")
    side = "width" if width >= height else "height"
    clean.set("xmlns", SVG_NAMESPACE)
    words: list[str] = []
    _write(clean, words)
    png = _draw("".join(words), side, max(1, pixels), screen.has_text, name)
    drawn = decode_raster(png, name, formats=("PNG",))
    return Decoded(drawn.rgba, (*dict.fromkeys(screen.notes), *drawn.notes))


# ---------------------------------------------------------------- bytes to tree


def _text(data: bytes, name: str) -> str:
    """The characters of the file, unpacked and decoded, without the XML declaration."""
    if data.startswith(b"\x1f\x8b"):
        data = _unpacked(data, name)
    if len(data) > MAX_TEXT_BYTES:
        _refuse_bytes(f"{name} is {len(data):,} bytes")
    declared = _DECLARED_ENCODING.match(data[:200])
    encoding = declared.group(1).decode("ascii").lower() if declared else "utf-8"
    if encoding not in _ENCODINGS:
        found = f"{name} is in the encoding {encoding}"
        raise PictureFault("unsupported", found, f"UTF-16 or {', '.join(_ENCODINGS)}", _REDRAW)
    encoding = next((order for mark, order in _BYTE_ORDERS if data.startswith(mark)), encoding)
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as error:
        raise PictureFault("unreadable", f"{name} is not valid {encoding}", "valid text", _REDRAW) from error
    return _XML_DECLARATION.sub("", text, count=1)


def _unpacked(data: bytes, name: str) -> bytes:
    gzip = zlib.decompressobj(wbits=31)
    try:
        plain = gzip.decompress(data, MAX_TEXT_BYTES + 1)
    except zlib.error as error:
        raise PictureFault("unreadable", f"{name} is a damaged gzip file", "a whole file", _REDRAW) from error
    if len(plain) > MAX_TEXT_BYTES:
        _refuse_bytes(f"{name} unpacks to over {MAX_TEXT_BYTES:,} bytes")
    if not gzip.eof:
        raise PictureFault("unreadable", f"{name} is cut short", "a whole gzip file", _REDRAW)
    if not plain.lstrip(_BLANK).startswith(b"<"):
        raise PictureFault("unsupported", f"{name} is a gzip archive", "a picture or an SVG", _REDRAW)
    return plain


def _refuse_bytes(found: str) -> NoReturn:
    raise PictureFault("too_large", found, f"at most {MAX_TEXT_BYTES:,} bytes for an SVG", SIMPLIFY)


def _parse(text: str, name: str) -> Element:
    """Parse without entities and within bounds; tags and attributes of a namespace read `namespace name`."""
    builder = TreeBuilder()
    depth = count = 0

    def start(tag: str, attributes: dict[str, str]) -> None:
        nonlocal depth, count
        depth, count = depth + 1, count + 1
        if depth > MAX_DEPTH:
            refuse_depth(name)
        if count > MAX_ELEMENTS:
            refuse_elements(name)
        builder.start(tag, attributes)

    def end(tag: str) -> None:
        nonlocal depth
        depth -= 1
        builder.end(tag)

    def instruction(target: str, content: str) -> None:
        if target == "xml-stylesheet":
            refuse_reference(name, f"the style sheet {content}")

    def entity(*_: object) -> None:
        refuse_reference(name, "an entity declaration")

    if re.search("<!ENTITY", text, re.IGNORECASE):
        entity()
    parser = expat.ParserCreate("utf-8", " ")
    parser.buffer_text = True
    parser.StartElementHandler = start
    parser.EndElementHandler = end
    parser.CharacterDataHandler = builder.data
    parser.ProcessingInstructionHandler = instruction
    parser.EntityDeclHandler = entity  # a second guard behind the search above
    try:
        parser.Parse(text.encode("utf-8"), True)
    except (expat.ExpatError, ValueError) as error:
        found = f"{name} is not well-formed XML ({error})"
        raise PictureFault("unreadable", found, "a whole, valid SVG", _REDRAW) from error
    root: Element = builder.close()
    return root


def _check_root(root: Element, name: str) -> None:
    if root.tag != f"{SVG_NAMESPACE} svg":
        found = f"{name} holds <{root.tag.rpartition(' ')[2][:40]}>, not an SVG drawing"
        raise PictureFault("unsupported", found, f"an svg element of the namespace {SVG_NAMESPACE}", _REDRAW)


# ---------------------------------------------------------------- sizes


def _document_size(root: Element, name: str) -> tuple[float, float]:
    """Width and height of the drawing in CSS pixels; what is missing comes from the viewBox (SVG 2, 8.2)."""
    box = _view_box(root, name)
    width, height = _length_px(root, "width", name), _length_px(root, "height", name)
    if box is not None:
        if width is None:
            width = box[0] if height is None else height * box[0] / box[1]
        if height is None:
            height = width * box[1] / box[0]
    if width is None or height is None:
        found = f"{name} gives neither a size nor a viewBox"
        raise PictureFault("unsupported", found, "width and height, or a viewBox", _REDRAW)
    _check_units(width, "width", name)
    _check_units(height, "height", name)
    if min(width, height) * MAX_DRAWN_SIDE_PX < max(width, height):
        found = f"{name} is {width:.6g} x {height:.6g}, a mere line"
        raise PictureFault("unsupported", found, f"sides within 1 to {MAX_DRAWN_SIDE_PX:,}", _REDRAW)
    return width, height


def _view_box(root: Element, name: str) -> tuple[float, float] | None:
    text = root.get("viewBox")
    if text is None:
        return None
    # Cut to a length that the patterns cannot labour over.
    parts = re.split(r"\s*,\s*|\s+", text.strip()[:200])
    if len(parts) != 4 or not all(re.fullmatch(_NUMBER, part) for part in parts):
        raise PictureFault("unreadable", f"{name} has the viewBox '{text[:60]}'", "four numbers", _REDRAW)
    left, top, width, height = (float(part) for part in parts)
    if max(abs(left), abs(top)) > MAX_DOCUMENT_UNITS:
        found = f"{name} has its origin at {left:.6g}, {top:.6g}"
        raise PictureFault("too_large", found, f"within {MAX_DOCUMENT_UNITS:,.0f} units", _REDRAW)
    _check_units(width, "viewBox width", name)
    _check_units(height, "viewBox height", name)
    return width, height


def _length_px(root: Element, key: str, name: str) -> float | None:
    text = root.get(key, "").strip().lower()[:200]
    if text in ("", "auto") or _PERCENT.fullmatch(text):
        return None
    match = _LENGTH.fullmatch(text)
    if match is None or match.group(2) not in _PX_PER_UNIT:
        found = f"{name} has the {key} '{text[:40]}'"
        raise PictureFault("unreadable", found, "a number, with px, pt, pc, mm, cm or in", _REDRAW)
    return float(match.group(1)) * _PX_PER_UNIT[match.group(2)]


def _check_units(value: float, what: str, name: str) -> None:
    found = f"{name} has the {what} {value:.6g}"
    if value > MAX_DOCUMENT_UNITS:
        raise PictureFault("too_large", found, f"at most {MAX_DOCUMENT_UNITS:,.0f}", _REDRAW)
    if not value >= MIN_DOCUMENT_UNITS:
        raise PictureFault("empty", found, f"at least {MIN_DOCUMENT_UNITS:g}", _REDRAW)


# ---------------------------------------------------------------- tree to pixels


def _write(element: Element, words: list[str]) -> None:
    """Append a screened drawing as text: nothing but elements, attributes and characters."""
    attributes = "".join(f" {key}={quoteattr(value)}" for key, value in element.attrib.items())
    words.append(f"<{element.tag}{attributes}>{escape(element.text or '')}")
    for child in element:
        _write(child, words)
        words.append(escape(child.tail or ""))
    words.append(f"</{element.tag}>")


def _draw(svg: str, side: str, pixels: int, fonts: bool, name: str) -> bytes:
    """PNG of a screened drawing, drawn by a process of its own.

    Raises:
        PictureFault: The library refuses the drawing, gives up on it, or takes too long.
        RuntimeError: The process could not do its work for a reason that is not in the drawing.
    """
    arguments = [side, str(pixels), str(int(fonts)), str(DRAW_MEMORY_BYTES)]
    try:
        ended = subprocess.run(
            [sys.executable, "-P", str(_CHILD), *arguments],
            input=svg.encode("utf-8"),
            capture_output=True,
            timeout=DRAW_LIMIT_S,
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        found = f"{name} takes over {DRAW_LIMIT_S:.0f} s to draw"
        raise PictureFault("too_large", found, f"{DRAW_LIMIT_S:.0f} s", SIMPLIFY) from error
    if ended.returncode == _ENDED_DRAWN:
        return ended.stdout
    said = " ".join(ended.stderr.decode("utf-8", "replace").split())
    if ended.returncode in _ENDED_BROKEN:
        raise RuntimeError(f"the drawing process failed: {said[-300:]}")
    if ended.returncode == _ENDED_REFUSED:
        raise PictureFault("unreadable", f"{name} cannot be drawn ({said[:200]})", "a valid SVG", _REDRAW)
    if "memory allocation" in said:
        found = f"{name} needs over {DRAW_MEMORY_BYTES / 1e9:.0f} GB to draw"
        raise PictureFault("too_large", found, f"{DRAW_MEMORY_BYTES / 1e9:.0f} GB", SIMPLIFY)
    found = f"{name} makes the drawing library give up"
    raise PictureFault("unsupported", found, "a drawing that the library can draw", SIMPLIFY)
