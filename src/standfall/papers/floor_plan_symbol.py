"""Small symbols of a floor plan: arrows, crosses, the signs of docks."""

from __future__ import annotations

import numpy as np

from standfall.papers.floor_plan_mark import INK, PAPER, Floats, Trace, Words
from standfall.papers.floor_plan_signs import DOCK_LETTERS

_DOCK_MM = 2.1


def cross(x_mm: float, y_mm: float, arm_mm: float) -> tuple[Floats, Floats]:
    """Return the two strokes of an upright cross."""
    return (
        np.array([(x_mm - arm_mm, y_mm), (x_mm + arm_mm, y_mm)]),
        np.array([(x_mm, y_mm - arm_mm), (x_mm, y_mm + arm_mm)]),
    )


def ring(x_mm: float, y_mm: float, radius_mm: float, sides: int = 40) -> Floats:
    """Return a polygon of equal sides, one of them upright at the right."""
    angles = np.pi / sides + 2 * np.pi * np.arange(sides) / sides
    return np.column_stack([x_mm + radius_mm * np.cos(angles), y_mm + radius_mm * np.sin(angles)])


def dock_sign(kind: str, x: float, y: float) -> list[Trace | Words]:
    """A black disc with the letter of a kind of dock, for the crew a black square."""
    sides = 4 if kind == "crew" else 40
    radius = _DOCK_MM * (1.25 if kind == "crew" else 1.0)
    letter = Words(DOCK_LETTERS[kind], (x, y + 0.95), 2.7, "middle", mono=True, bold=True, colour=PAPER)
    return [Trace((ring(x, y, radius, sides),), True, INK, PAPER, 0.3), letter]


def arrow(begin: Floats, end: Floats, head_mm: float, colour: str, width_mm: float) -> list[Trace | Words]:
    """A straight arrow."""
    way = (end - begin) / max(float(np.hypot(*(end - begin))), 1e-9)
    aside = np.array([-way[1], way[0]])
    base = end - head_mm * way
    head = np.array([end, base + 0.42 * head_mm * aside, base - 0.42 * head_mm * aside])
    return [
        Trace((np.array([begin, base + 0.1 * way]),), stroke=colour, width_mm=width_mm),
        Trace((head,), True, colour, None),
    ]
