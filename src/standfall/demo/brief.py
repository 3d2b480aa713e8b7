"""The demo's brief: every section that there is, with comments, ready to be changed."""

from __future__ import annotations

from importlib.resources import files


def brief_text() -> str:
    """Return the commented brief that ``standfall new`` writes; it names the picture ``kingfisher.svg``."""
    return files("standfall.demo").joinpath("brief.toml").read_text(encoding="utf-8")
