"""Marks on paper: outlines, lines and words in millimetres, from which a file is written."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

INK = "#1c1b1a"
QUIET = "#55514c"
HAIR = "#8d8880"
PALE = "#f1efeb"
PAPER = "#ffffff"
# Widths in parts of the size of the font that differ much from those of most letters; chosen by eye.
_LETTER_WIDTH = dict.fromkeys(" ,.:;'|!iljtfI()-/", 0.28) | dict.fromkeys("mwMW", 0.8)
# Height above and depth below the base line, in parts of the size of the font.
_ABOVE, _BELOW = 0.74, 0.2


@dataclass(frozen=True)
class Trace:
    """One or more chains of (p, 2) points in mm.

    Attributes:
        chains_mm: x right, y down.
        closed: whether each is closed.
        fill: colour, name of a hatching (``hatch:...``), or ``None``.
        stroke: colour or ``None``.
        width_mm: of the stroke.
        dash_mm: lengths of dashes and gaps, none for an unbroken line.
    """

    chains_mm: tuple[Floats, ...]
    closed: bool = False
    fill: str | None = None
    stroke: str | None = INK
    width_mm: float = 0.25
    dash_mm: tuple[float, ...] = ()


@dataclass(frozen=True)
class Words:
    """One line of words.

    Attributes:
        text: the words.
        at_mm: their anchor on the base line.
        size_mm: size of the font.
        anchor: ``start``, ``middle`` or ``end``.
        angle_deg: clockwise on the paper, about the anchor.
        mono: whether in letters of one width.
        bold, colour: how.
        halo: on a strip of paper, so that they can be read on lines.
    """

    text: str
    at_mm: tuple[float, float]
    size_mm: float
    anchor: str = "start"
    angle_deg: float = 0.0
    mono: bool = False
    bold: bool = False
    colour: str = INK
    halo: bool = False


@dataclass
class Marks:
    """Marks in the order of drawing: those of the plan, which end at its edge, and those of the sheet around it."""

    plan: list[Trace | Words] = field(default_factory=list)
    sheet: list[Trace | Words] = field(default_factory=list)


def words_width_mm(words: Words) -> float:
    """Return how wide words are: exactly for letters of one width, about so for others."""
    if words.mono:
        return 0.602 * words.size_mm * len(words.text)
    wide = sum(_LETTER_WIDTH.get(letter, 0.7 if letter.isupper() else 0.49) for letter in words.text)
    return wide * words.size_mm * (1.05 if words.bold else 1.0)


def words_corners_mm(words: Words, room_mm: float) -> Floats:
    """Return the (4, 2) corners of the box that words take, with so much room around."""
    wide = words_width_mm(words)
    left = {"start": 0.0, "middle": -wide / 2, "end": -wide}[words.anchor]
    low = (left - room_mm, -_ABOVE * words.size_mm - room_mm)
    high = (left + wide + room_mm, _BELOW * words.size_mm + room_mm)
    turn = np.radians(words.angle_deg)
    cosine, sine = np.cos(turn), np.sin(turn)
    return np.asarray(box_mm(low, high) @ np.array([[cosine, sine], [-sine, cosine]]) + words.at_mm)


def box_mm(low: tuple[float, float], high: tuple[float, float]) -> Floats:
    """Return the (4, 2) corners of an upright box."""
    return np.array([low, (high[0], low[1]), high, (low[0], high[1])], dtype=np.float64)
