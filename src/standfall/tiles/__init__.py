"""Tiles: fields cut into trayloads."""

from standfall.tiles.cut import SlotMap, cut_fields, fitting_offsets, gap_mask, partial_tiles, with_tiles
from standfall.tiles.tiling import KINDS, TileKind, Tiling
from standfall.tiles.turn import allowed_turns, turned, turns_of

__all__ = [
    "KINDS",
    "SlotMap",
    "TileKind",
    "Tiling",
    "allowed_turns",
    "cut_fields",
    "fitting_offsets",
    "gap_mask",
    "partial_tiles",
    "turned",
    "turns_of",
    "with_tiles",
]
