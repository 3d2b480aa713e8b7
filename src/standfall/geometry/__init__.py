"""Poses, frames, paths and outlines in the plane, in metres and radians."""

from standfall.geometry.convex import (
    Convex,
    differences,
    grown,
    hull,
    minkowski_difference,
    split_convex,
    swept_straight,
)
from standfall.geometry.frame import FieldFrame
from standfall.geometry.outline import floor_faults, inside, rectangle_corners
from standfall.geometry.overlap import overlapping_pairs
from standfall.geometry.path import Arc, Path, Straight

__all__ = [
    "Arc",
    "Convex",
    "FieldFrame",
    "Path",
    "Straight",
    "differences",
    "floor_faults",
    "grown",
    "hull",
    "inside",
    "minkowski_difference",
    "overlapping_pairs",
    "rectangle_corners",
    "split_convex",
    "swept_straight",
]
