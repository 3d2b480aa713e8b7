"""Poses, frames, paths and outlines in the plane, in metres and radians."""

from standfall.geometry.frame import FieldFrame
from standfall.geometry.outline import floor_faults, inside, rectangle_corners
from standfall.geometry.overlap import overlapping_pairs
from standfall.geometry.path import Arc, Path, Straight

__all__ = [
    "Arc",
    "FieldFrame",
    "Path",
    "Straight",
    "floor_faults",
    "inside",
    "overlapping_pairs",
    "rectangle_corners",
]
