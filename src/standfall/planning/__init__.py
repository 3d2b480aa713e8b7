"""The plan of a build, made by wiring the rooms below in order."""

from standfall.planning.make import Outcome, make_plan
from standfall.planning.plan import Commission, PictureFile, Plan

__all__ = ["Commission", "Outcome", "PictureFile", "Plan", "make_plan"]
