"""Tiles: fields cut into trayloads."""

from standfall.tiles.cut import SlotMap, cut_fields, fitting_offsets, partial_tiles, with_tiles
from standfall.tiles.tiling import KINDS, TileKind, Tiling

__all__ = [
    "KINDS",
    "SlotMap",
    "TileKind",
    "Tiling",
    "cut_fields",
    "fitting_offsets",
    "partial_tiles",
    "with_tiles",
]
