"""The palette: the colours of a brief in every form the later rooms need."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from standfall.brief import Colour
from standfall.mural.code import letter_codes
from standfall.mural.conversion import (
    hex_to_srgb8,
    lab_d50_to_lab_d65,
    lab_to_linear,
    linear_to_lab,
    linear_to_srgb8,
    srgb8_to_linear,
)

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Palette:
    """k colours, in the order of the brief; a colour's number is its place here.

    ``linear`` (k, 3) linear-light sRGB, not clipped (a measured colour may lie outside sRGB);
    ``lab`` (k, 3) CIELAB under D65; ``srgb8`` (k, 3) uint8 for screens and paper; ``codes`` the
    letters printed on lay sheets.
    """

    names: tuple[str, ...]
    codes: tuple[str, ...]
    linear: Floats
    lab: Floats
    srgb8: NDArray[np.uint8]

    def __len__(self) -> int:
        return len(self.names)

    @property
    def hexes(self) -> tuple[str, ...]:
        """Each colour as ``#rrggbb``."""
        return tuple("#{:02x}{:02x}{:02x}".format(*(int(part) for part in row)) for row in self.srgb8)


def make_palette(colours: Sequence[Colour]) -> Palette:
    """Convert the brief's colours; a measured L*a*b* under D50 is adapted to D65 first."""
    linear = np.array([_linear(colour) for colour in colours]).reshape(-1, 3)
    names = tuple(colour.name for colour in colours)
    return Palette(
        names=names,
        codes=letter_codes(names),
        linear=linear,
        lab=linear_to_lab(linear),
        srgb8=linear_to_srgb8(np.clip(linear, 0.0, 1.0)),
    )


def _linear(colour: Colour) -> Floats:
    if colour.srgb is not None:
        return srgb8_to_linear(hex_to_srgb8(colour.srgb))
    lab = np.array(colour.lab)
    return lab_to_linear(lab_d50_to_lab_d65(lab) if colour.lab_white == "D50" else lab)
