"""Words on pictures: in the font that ships inside Pillow, or, where that lacks a character, inside typst.

Both travel with the program, so that a picture looks the same on every machine. Pillow's knows little beyond
English; names from a brief are often not English.
"""

from __future__ import annotations

import io
import tempfile
from functools import cache
from pathlib import Path

import typst
from PIL import Image, ImageDraw, ImageFont

from standfall.findings import FileFault

# White page of just the size of the text. The text comes as an input: it is never read as markup.
_TEMPLATE = """#set page(width: auto, height: auto, margin: 0pt, fill: white)
#set text(size: 20pt, font: ("Libertinus Serif", "DejaVu Sans Mono"), top-edge: "ascender", bottom-edge: "descender")
#sys.inputs.words
"""
_POINTS = 20.0


def text_mask(words: str, size_px: float) -> Image.Image:
    """Return words as a mask ("L", 255 where there is ink), from ascender to descender high, tightly wide.

    Args:
        words: one line of text.
        size_px: size of the font.

    Raises:
        FileFault: no room for the temporary file that typst needs.
    """
    words = " ".join(words.split())
    if words and not drawable(words):
        return _typst_mask(words, size_px)
    font = _font(size_px)
    ascent, descent = font.getmetrics()
    mask = Image.new("L", (max(1, round(font.getlength(words)) + 2), ascent + descent))
    ImageDraw.Draw(mask).text((1, ascent), words, fill=255, font=font, anchor="ls")
    return mask


def drawable(words: str) -> bool:
    """Tell whether the font inside Pillow has all the characters."""
    return all(_known(letter) for letter in set(words))


@cache
def _known(letter: str) -> bool:
    # A character that no font has: what is drawn for it stands for all that are missing.
    return letter == " " or bytes(_font(24.0).getmask(letter)) != bytes(_font(24.0).getmask("\uffff"))


@cache
def _font(size_px: float) -> ImageFont.FreeTypeFont:
    font = ImageFont.load_default(size=size_px)
    if not isinstance(font, ImageFont.FreeTypeFont):
        raise TypeError("this Pillow was built without FreeType, which the pictures need")
    return font


@cache
def _typst_mask(words: str, size_px: float) -> Image.Image:
    try:
        with tempfile.TemporaryDirectory(prefix="standfall-") as name:
            page = Path(name) / "words.typ"
            page.write_text(_TEMPLATE, encoding="utf-8")
            png = typst.compile(
                page,
                root=Path(name),
                ignore_system_fonts=True,
                format="png",
                ppi=72.0 * size_px / _POINTS,
                sys_inputs={"words": words},
            )
    except OSError as error:
        raise FileFault(f"cannot write temporary files for lettering: {error.strerror or error}") from error
    grey = Image.open(io.BytesIO(png)).convert("L")
    return grey.point([255 - level for level in range(256)])
