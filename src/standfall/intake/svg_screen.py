"""What may stay of an SVG before it is drawn.

A drawing is data: it is never allowed to read another file or the network, to run anything, or to grow
without bound when its references are followed. The parsed drawing is copied element by element; what is
never drawn is left out, what reaches outside is refused, and pictures inside it are decoded by `decode.py`
(which also honours their profiles and orientation) and put back as plain PNG, so the drawing library
unpacks no foreign bytes.

Sources: SVG 2 (W3C Candidate Recommendation 2018-10-04), RFC 2397 (data URLs), CSS Syntax 3 (escapes,
comments).
"""

from __future__ import annotations

import base64
import binascii
import io
import re
from collections import defaultdict
from collections.abc import Iterator
from typing import NoReturn
from urllib.parse import unquote_to_bytes
from xml.etree.ElementTree import Element

from PIL import Image

from standfall.intake.decode import MAX_PIXELS, Decoded, PictureFault, decode_raster

MAX_DEPTH = 200
MAX_ELEMENTS = 2_000_000
# Our own choices: drawing programs nest a few tens of groups, and resvg itself stops at a million elements.

SVG_NAMESPACE = "http://www.w3.org/2000/svg"
_XLINK = "http://www.w3.org/1999/xlink"
_XML = "http://www.w3.org/XML/1998/namespace"

_PICTURES_INSIDE = {"image/png", "image/jpeg", "image/jpg", "image/webp", "image/gif"}
_ANIMATION = "Animation was left out; the drawing is as it stands without it."
_LEFT_OUT = {
    "script": "Scripts in the drawing were left out.",
    "foreignObject": "HTML inside the drawing was left out.",
    "animate": _ANIMATION, "animateTransform": _ANIMATION, "animateMotion": _ANIMATION, "set": _ANIMATION,
    "metadata": "", "title": "", "desc": "", "font": "", "font-face": "", "view": "", "cursor": "",
}  # fmt: skip
_TEXT_NOTE = "Text in an SVG depends on the fonts of this machine; convert text to paths."

_URL = re.compile(r"url\(\s*['\"]?\s*([^'\")\s]*)", re.IGNORECASE)
_CSS_COMMENT = re.compile(r"/\*.*?(?:\*/|\Z)", re.DOTALL)
_CSS_ESCAPE = re.compile(r"\\(?:([0-9a-fA-F]{1,6})\s?|(.))", re.DOTALL)

SIMPLIFY = "Simplify it in a drawing program (expand symbols, flatten effects), or export it as PNG."
_EMBED = "Embed linked pictures and styles in a drawing program and save as plain SVG, or export it as PNG."


class Screen:
    """Copies one parsed drawing, keeping what may be drawn.

    Attributes:
        notes: Plain sentences about what was left out or assumed, in the order met.
        has_text: Whether the copy holds text, so that drawing it needs fonts.
    """

    def __init__(self, name: str) -> None:
        self.notes: list[str] = []
        self.has_text = False
        self._name = name
        self._pixels = 0
        self._pictures: dict[str, str] = {}

    def copy(self, element: Element) -> Element:
        """Copy an element of the SVG namespace, with what may stay of its attributes and content.

        Args:
            element: Tags and attribute names of a namespace read `namespace name`; at most `MAX_DEPTH` deep.

        Returns:
            A tree in the SVG namespace whose tags are plain names, with every reference checked.

        Raises:
            PictureFault: `external_reference` or `unsupported`, or what a picture inside the drawing raises.
        """
        kept = Element(element.tag.rpartition(" ")[2])
        for key, value in element.attrib.items():
            self._copy_attribute(kept, key, value)
        if kept.tag == "style":
            self._check_css("".join(element.itertext()))
        elif kept.tag == "text" and "".join(element.itertext()).strip():
            self.has_text = True
            self.notes.append(_TEXT_NOTE)
        kept.text = element.text
        for child in element:
            if self._stays(child):
                copied = self.copy(child)
                copied.tail = child.tail
                kept.append(copied)
            elif len(kept):  # the characters after what is left out stay
                kept[-1].tail = (kept[-1].tail or "") + (child.tail or "")
            else:
                kept.text = (kept.text or "") + (child.tail or "")
        return kept

    def _stays(self, element: Element) -> bool:
        namespace, _, local = element.tag.rpartition(" ")
        if namespace != SVG_NAMESPACE:
            return False
        note = _LEFT_OUT.get(local)
        if note:
            self.notes.append(note)
        return note is None

    def _copy_attribute(self, kept: Element, key: str, value: str) -> None:
        namespace, _, local = key.rpartition(" ")
        if local == "href" and namespace in ("", _XLINK):
            # Where an element has both forms the plain one counts (SVG 2, 16.1.5), but both are checked.
            target = self._reference(kept.tag, value.strip())
            if target and (namespace == "" or "href" not in kept.attrib):
                kept.set("href", target)
        elif namespace == _XML and local in ("space", "lang"):
            kept.set(f"xml:{local}", value)
        elif namespace == "" and not local.lower().startswith("on"):
            self._check_css(value)
            kept.set(local, value)

    def _reference(self, tag: str, target: str) -> str:
        """What an href may stay as; empty to leave it out."""
        if tag == "a" or not target:
            return ""  # a link for a reader, which nothing here follows
        if tag in ("image", "feImage") and target[:5].lower() == "data:":
            return self._picture(target)
        # resvg opens a file of the name `#x` for an image that refers to `#x`, and for a feImage where it keeps
        # no such element, so fragments are not let through there.
        if not target.startswith("#") or tag in ("image", "feImage"):
            refuse_reference(self._name, target)
        return target

    def _check_css(self, text: str) -> None:
        """Refuse a style or an attribute that points outside, also when hidden by escapes or comments."""
        for variant in _css_variants(text):
            if "@import" in variant.lower():
                refuse_reference(self._name, "@import in a style")
            for target in _URL.findall(variant):
                # Data in a style is not drawn by resvg, so a font or picture kept there does no harm.
                if not target.startswith("#") and target[:5].lower() != "data:":
                    refuse_reference(self._name, target)

    def _picture(self, url: str) -> str:
        """The data URL of a picture inside the drawing, decoded and written anew as an sRGB PNG."""
        if url not in self._pictures:
            label = f"A picture inside {self._name}"
            kind = re.split("[;,]", url[5:80])[0].strip().lower()
            if kind not in _PICTURES_INSIDE:
                found = f"{label} is of the type '{kind}'"
                raise PictureFault("unsupported", found, "PNG, JPEG, WebP or GIF inside an SVG", SIMPLIFY)
            content = _url_bytes(url, label)
            decoded = decode_raster(content, label, formats=("PNG", "JPEG", "WEBP", "GIF"))
            self._pixels += decoded.rgba.shape[0] * decoded.rgba.shape[1]
            if self._pixels > MAX_PIXELS:
                found = f"The pictures inside {self._name} have over {MAX_PIXELS:,} pixels together"
                raise PictureFault("too_large", found, f"{MAX_PIXELS:,} pixels together", SIMPLIFY)
            self.notes += [f"{label}: {note}" for note in decoded.notes]
            self._pictures[url] = _png_url(decoded)
        return self._pictures[url]


def check_expansion(root: Element, name: str) -> None:
    """Refuse a drawing whose references, followed, make too many elements, too deep a nest or a circle.

    Counted are children and the targets of `href` and `url()` in attributes. References in style sheets and
    those that children inherit are not; the limits of the drawing process stand behind this one. Gradients
    are not followed: the library shares them (a chain of 10,000 was drawn in 0.03 s).

    Args:
        root: A tree from `Screen.copy`.
        name: The file's name, for messages only.

    Raises:
        PictureFault: `too_large`, or `unsupported` for a circle.
    """
    by_id: dict[str, list[Element]] = defaultdict(list)
    for element in root.iter():
        by_id[element.get("id", "")].append(element)
    elements: dict[Element, int] = {}
    levels: dict[Element, int] = {}
    open_now = {root}
    parts = _parts(root, by_id)
    edges = len(parts)
    stack = [(root, parts, iter(parts))]
    while stack:
        element, parts, waiting = stack[-1]
        for part in waiting:
            if part in open_now:
                found = f"{name} refers to itself in a circle (element '{part.get('id', part.tag)[:40]}')"
                raise PictureFault("unsupported", found, "no circular references", SIMPLIFY)
            if part not in elements:
                open_now.add(part)
                below = _parts(part, by_id)
                stack.append((part, below, iter(below)))
                # Every one of these stands for an element at least, so this refuses only what the sum would,
                # before many references to an id that many elements share have taken all memory.
                edges += len(below)
                if edges > MAX_ELEMENTS:
                    refuse_elements(name)
                break
        else:
            elements[element] = min(1 + sum(elements[part] for part in parts), MAX_ELEMENTS + 1)
            levels[element] = 1 + max((levels[part] for part in parts), default=0)
            open_now.discard(element)
            stack.pop()
    if elements[root] > MAX_ELEMENTS:
        refuse_elements(name)
    if levels[root] > MAX_DEPTH:
        refuse_depth(name)


def refuse_reference(name: str, target: str) -> NoReturn:
    """Raise the fault of a drawing that reaches outside itself."""
    found = f"{name} refers to '{target[:80]}', outside the file"
    raise PictureFault("external_reference", found, "only what is inside the file", _EMBED)


def refuse_elements(name: str) -> NoReturn:
    """Raise the fault of a drawing with too many elements."""
    found = f"{name} makes over {MAX_ELEMENTS:,} elements when its references are followed"
    raise PictureFault("too_large", found, f"at most {MAX_ELEMENTS:,} elements", SIMPLIFY)


def refuse_depth(name: str) -> NoReturn:
    """Raise the fault of a drawing that is nested too deep."""
    found = f"{name} nests its elements over {MAX_DEPTH} deep"
    raise PictureFault("too_large", found, f"at most {MAX_DEPTH} deep", SIMPLIFY)


def _parts(element: Element, by_id: dict[str, list[Element]]) -> list[Element]:
    """The children of an element and, once for each reference, every element that has the id referred to."""
    targets: list[str] = []
    for key, value in element.attrib.items():
        if key == "href" and value.startswith("#"):
            targets.append(value[1:])
        elif "(" in value:
            urls = {url for text in _css_variants(value) for url in _URL.findall(text)}
            targets += [url[1:] for url in sorted(urls) if url.startswith("#")]
    found = [part for target in targets if target for part in by_id.get(target, ())]
    return [*element, *(part for part in found if part.tag not in ("linearGradient", "radialGradient"))]


def _css_variants(text: str) -> Iterator[str]:
    """The text as it is and as CSS may read it: escapes resolved, comments taken out."""
    if "(" in text or "@" in text or "\\" in text:
        yield text
    if "\\" in text or "/*" in text:
        yield _CSS_ESCAPE.sub(_unescaped, text)
        yield _CSS_ESCAPE.sub(_unescaped, _CSS_COMMENT.sub("", text))


def _unescaped(match: re.Match[str]) -> str:
    code = int(match.group(1), 16) if match.group(1) else ord(match.group(2))
    return chr(code) if code < 0x110000 else "\N{REPLACEMENT CHARACTER}"


def _url_bytes(url: str, label: str) -> bytes:
    """The bytes of a data URL (RFC 2397)."""
    header, comma, body = url.partition(",")
    content = unquote_to_bytes(body)
    if comma and header.lower().rstrip().endswith(";base64"):
        packed = b"".join(content.split())
        try:
            content = base64.b64decode(packed + b"=" * (-len(packed) % 4), validate=True)
        except binascii.Error as error:
            raise PictureFault("unreadable", f"{label} is damaged", "valid base64", SIMPLIFY) from error
    return content


def _png_url(decoded: Decoded) -> str:
    stream = io.BytesIO()
    Image.fromarray(decoded.rgba).save(stream, "PNG", compress_level=1)
    return "data:image/png;base64," + base64.b64encode(stream.getvalue()).decode("ascii")
