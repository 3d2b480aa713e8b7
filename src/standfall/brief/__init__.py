"""The brief: the job file a build lead writes, checked key by key and key against key."""

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

__all__ = [
    "Brief",
    "Camera",
    "Colour",
    "Colouring",
    "Domino",
    "Field",
    "Hall",
    "Job",
    "Key",
    "Line",
    "Papers",
    "PathPart",
    "Reading",
    "Tray",
    "keys_of",
    "read_text",
]
