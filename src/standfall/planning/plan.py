"""The plan: what one brief comes to, ready to be written, printed and built."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from standfall.brief import Brief, Reading
from standfall.findings import Finding, blocked
from standfall.mural.colouring import ColourError
from standfall.mural.palette import Palette
from standfall.mural.picture import Picture
from standfall.mural.standing import Standing
from standfall.mural.stock import StockTable
from standfall.routes.plan import Routes
from standfall.tiles import Tiling


@dataclass(frozen=True)
class PictureFile:
    """A picture as it was handed in: the name in the brief, its bytes and their SHA-256 in hex."""

    name: str
    sha256: str
    data: bytes


@dataclass(frozen=True)
class Commission:
    """All that a build lead handed in, read and decoded, with what was found on the way.

    ``pictures`` is keyed by the picture's name in the brief and lacks those that could not be decoded.
    """

    text: bytes
    reading: Reading
    files: tuple[PictureFile, ...]
    pictures: Mapping[str, Picture]
    findings: tuple[Finding, ...]

    @property
    def brief(self) -> Brief | None:
        """The brief, or ``None`` when a key is faulty."""
        return self.reading.brief


@dataclass(frozen=True)
class Plan:
    """What stands where, in which colour, in which tile, and what must be bought.

    ``routes`` say in which order and on which ways all is laid; ``None`` when the brief has neither robots nor a
    crew. ``findings`` hold no blocking one, except in the best partial plan that ``make_plan`` returns when
    something cannot be done; look at ``blocked``.
    """

    brief: Brief
    text: bytes
    files: tuple[PictureFile, ...]
    palette: Palette
    standing: Standing
    tiling: Tiling
    stock: StockTable
    colour_error: ColourError
    findings: tuple[Finding, ...]
    routes: Routes | None = None

    @property
    def blocked(self) -> bool:
        """Tell whether this plan may not be built."""
        return blocked(self.findings)

    @property
    def mass_kg(self) -> float:
        """Mass of all standing dominoes."""
        return len(self.standing) * self.brief.domino.mass_kg

    @property
    def size_m(self) -> tuple[float, float]:
        """Extent of all standing dominoes in the hall, x and y, measured between their middles."""
        if not len(self.standing):
            return (0.0, 0.0)
        x_m, y_m = self.standing.x_m, self.standing.y_m
        return float(x_m.max() - x_m.min()), float(y_m.max() - y_m.min())

    def summary(self) -> dict[str, Any]:
        """Return the figures of the plan as plain data (the keys of ``plan --json``)."""
        return {
            "name": self.brief.job.name,
            "dominoes": len(self.standing),
            "tiles": len(self.tiling),
            "colours": self.stock.rows(self.palette.names, self.palette.codes),
            "colour_error": self.colour_error.as_dict(),
            "mass_kg": round(self.mass_kg, 3),
            "size_m": [round(side, 4) for side in self.size_m],
            "routes": None if self.routes is None else self.routes.summary(),
            "findings": [finding.as_dict() for finding in self.findings],
        }
