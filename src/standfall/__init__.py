"""Standfall plans, documents and proves very large domino murals.

The public functions, loaded when first asked for so that ``import standfall`` is quick::

    commission = standfall.read_brief("brief.toml")
    outcome = standfall.plan(commission)
    standfall.write_build(outcome.plan, "mural.build")
    plan = standfall.read_build("mural.build")
    standfall.write_papers(plan, "papers")
    prediction = standfall.predict_fall(plan.brief, plan.standing)
    standfall.write_fall(prediction, plan, "mural.build")
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from standfall.book import export_tables, read_build, read_fall, write_build, write_fall
    from standfall.fall import predict_fall
    from standfall.intake import read_brief
    from standfall.intake.start import start_folder
    from standfall.papers import write_fall_pictures, write_papers
    from standfall.planning import make_plan as plan

_HOMES = {
    "export_tables": ("standfall.book", "export_tables"),
    "plan": ("standfall.planning", "make_plan"),
    "predict_fall": ("standfall.fall", "predict_fall"),
    "read_brief": ("standfall.intake", "read_brief"),
    "read_build": ("standfall.book", "read_build"),
    "read_fall": ("standfall.book", "read_fall"),
    "start_folder": ("standfall.intake.start", "start_folder"),
    "write_build": ("standfall.book", "write_build"),
    "write_fall": ("standfall.book", "write_fall"),
    "write_fall_pictures": ("standfall.papers", "write_fall_pictures"),
    "write_papers": ("standfall.papers", "write_papers"),
}

__all__ = [
    "__version__",
    "export_tables",
    "plan",
    "predict_fall",
    "read_brief",
    "read_build",
    "read_fall",
    "start_folder",
    "write_build",
    "write_fall",
    "write_fall_pictures",
    "write_papers",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'standfall' has no attribute {name!r}")
    room, function = _HOMES[name]
    return getattr(importlib.import_module(room), function)
