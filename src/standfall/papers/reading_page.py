"""The first page of each volume: how to read a sheet, what the codes mean, what to take care of."""

from __future__ import annotations

from typing import Any

import numpy as np

from standfall.papers.block_sheet import HOLE
from standfall.papers.glyph import MISSING, printable
from standfall.planning.plan import Plan

# Lines of codes beside the text, and on each page that goes on with them.
_FIRST_CODES, _MORE_COLUMNS, _MORE_LINES = 26, 3, 27
_THIRD_MM, _MURAL_HIGHEST_MM = 82.0, 62.0
_SAMPLE_CELL_MM = (8.0, 6.6)

# Usual advice for such work; common practice, no source. What the law and the site ask comes first.
CAUTIONS = (
    "Local codes and the practice of licensed trades come before anything on these sheets.",
    "Robots: a hold given in software is no safety-rated stop. Stay out of their area while they can "
    "move; rely only on the stops and barriers that the site has approved.",
    "Keep trays, boxes, cables and bags out of the walkways and light the way: people trip at night. "
    "Never step or reach over standing dominoes.",
    "Kneeling: wear pads, change posture often, stand up slowly, take breaks in turn.",
    "Lift boxes with two people or a trolley above what your local guidance allows.",
)


def reading_page(
    plan: Plan, preview_size: tuple[int, int], sheets: int, blocks: int
) -> tuple[dict[str, Any], list[list[int]]]:
    """Return the data of the page, and the codes of the pages that go on with the table.

    Args:
        plan: the plan.
        preview_size: width and height of the picture of the mural, pixels.
        sheets: how many lay sheets there are in all volumes.
        blocks: how many of them show a piece of a field; the rest are lines.
    """
    used = [int(colour) for colour in np.flatnonzero(plan.stock.used)] or list(range(len(plan.palette)))
    more, step = used[_FIRST_CODES:], _MORE_COLUMNS * _MORE_LINES
    # Three of the codes, far apart in the list and so mostly in colour.
    a, b, c = used[0], used[len(used) // 2], used[-1]
    names = (plan.brief.job.name, plan.brief.job.place, *plan.palette.names)
    data = {
        "dominoes": f"{len(plan.standing):,}",
        "sheets": _sheet_words(plan, sheets),
        "steps": steps(plan, plan.palette.codes[a], plan.palette.codes[b]) if blocks else list(LINE_STEPS),
        "cautions": list(CAUTIONS),
        "codes": used[:_FIRST_CODES],
        "codes_go_on": bool(more),
        "names_cut": any(MISSING in printable(name) for name in names),
        "third": _THIRD_MM,
        "mural_high": round(min(_MURAL_HIGHEST_MM, _THIRD_MM * preview_size[1] / preview_size[0]), 2),
        **(_sample(plan, (a, b, c)) if blocks else {"sample": None}),
    }
    return data, [more[first : first + step] for first in range(0, len(more), step)]


LINE_STEPS = (
    "Each line is laid by hand, one piece behind the other, from piece 0 on. Piece 0 falls first.",
    "Set out the joints first: their places are in mm in the hall, x right and y up on the drawing.",
    "Trust the letters, not the ink: lamps and printers change colours.",
    "The colours are written out in order; a stretch that repeats is written once, with how many times.",
    "A domino stands with its broad face towards the way it falls.",
    "Tick the boxes when the line is laid and when someone else has checked it.",
)


def steps(plan: Plan, first: str, second: str) -> list[str]:
    """Return the rules of reading, in the order a reader needs them; the codes are those of the sample."""
    tiles = plan.brief.papers.sheets == "tiles"
    what = "one tile, as its tray is seen from above" if tiles else "one stretch of rows, seen from above"
    rules = [
        f"Each sheet shows {what}. The fall goes up the page: turn the sheet until its arrow points the way "
        "the field falls.",
        "Rows and columns count from 0. Row 0 falls first; column 0 is at the left when you look along the fall.",
        "Trust the letters, not the ink: lamps and printers change colours.",
        "Below the grid each row is written out from left to right, as row 61 is here: "
        f"three {first}, then two {second}. “empty 2” means two places without a domino.",
        "A domino stands with its broad face towards the arrow.",
    ]
    if tiles:
        rules.append(
            "TRAY TURNED 180°: the tray lies the other way round. Match its slot row 0, column 0 to the "
            "black square on the sheet."
        )
        rules.append(
            "Tick the boxes when the tray is loaded, when it is set down and when someone else has checked it."
        )
    else:
        rules.append("Tick the boxes when the rows are laid and when someone else has checked them.")
    return rules


def _sheet_words(plan: Plan, sheets: int) -> str:
    tiles = len(plan.tiling)
    words = f"{sheets:,} sheet{'' if sheets == 1 else 's'}"
    if plan.brief.papers.sheets == "tiles" and tiles:
        return f"{tiles:,} tile{'' if tiles == 1 else 's'} on {words}"
    return words


def _sample(plan: Plan, sample: tuple[int, int, int]) -> dict[str, Any]:
    """A corner of an invented sheet in this plan's own codes."""
    a, b, c = sample
    rows = [[a, a, b, b, HOLE], [a, a, a, b, b], [c, a, a, a, b]]
    run = [[a, 3], [b, 2]]
    tray = plan.brief.papers.sheets == "tiles"
    columns = [(n + 0.5, 44 + n) for n in range(5)]
    labels = {
        "rows": [(n + 0.5, 60 + n) for n in range(3)],
        "cols": columns,
        "slot_rows": [(n + 0.5, n) for n in range(3)] if tray else [],
        "slot_cols": [(n + 0.5, n) for n in range(5)] if tray else [],
        "corner": ["left", "bottom"] if tray else [],
    }
    grid = {"slots": rows, "shifts": [0.0] * 3, "cell": list(_SAMPLE_CELL_MM), "code_pt": 12.0}
    return {
        "sample": {"grid": grid, "labels": labels, "run": run, "row_label": "row 61"},
        "sample_high": 3 * _SAMPLE_CELL_MM[1] + 16.0,
        "sample_tray": tray,
    }


def reading_pages(codes: list[list[int]]) -> list[dict[str, Any]]:
    """Return the reading page and its continuations as sheets of a volume."""
    return [{"kind": "how_to"}, *({"kind": "codes", "codes": some} for some in codes)]
