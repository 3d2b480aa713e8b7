"""Intake: what a build lead hands in, read from disk and decoded."""

from standfall.intake.commission import read_brief

__all__ = ["read_brief"]
