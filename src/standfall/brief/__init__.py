"""The brief: the job file a build lead writes, checked key by key and key against key."""

from standfall.brief.area import Area
from standfall.brief.conditions import FallConditions
from standfall.brief.crew import Crew
from standfall.brief.dock import Dock
from standfall.brief.field import Field
from standfall.brief.hall import Hall
from standfall.brief.key import Key, keys_of
from standfall.brief.laying import Laying
from standfall.brief.line import Line, PathPart
from standfall.brief.read import Reading, read_text
from standfall.brief.robot import Robot, RobotPart
from standfall.brief.section import Brief, Camera, Colour, Colouring, Domino, Job, Papers, Tray
from standfall.brief.starter import Starter

__all__ = [
    "Area",
    "Brief",
    "Camera",
    "Colour",
    "Colouring",
    "Crew",
    "Dock",
    "Domino",
    "FallConditions",
    "Field",
    "Hall",
    "Job",
    "Key",
    "Laying",
    "Line",
    "Papers",
    "PathPart",
    "Reading",
    "Robot",
    "RobotPart",
    "Starter",
    "Tray",
    "keys_of",
    "read_text",
]
