"""The brief: the job file a build lead writes, checked key by key and key against key."""

from standfall.brief.conditions import FallConditions
from standfall.brief.key import Key, keys_of
from standfall.brief.read import Reading, read_text
from standfall.brief.section import (
    Brief,
    Camera,
    Colour,
    Colouring,
    Domino,
    Field,
    Hall,
    Job,
    Line,
    Papers,
    PathPart,
    Tray,
)
from standfall.brief.starter import Starter

__all__ = [
    "Brief",
    "Camera",
    "Colour",
    "Colouring",
    "Domino",
    "FallConditions",
    "Field",
    "Hall",
    "Job",
    "Key",
    "Line",
    "Papers",
    "PathPart",
    "Reading",
    "Starter",
    "Tray",
    "keys_of",
    "read_text",
]
