"""Whether a plan holds together, so that it reads back exactly as it was written."""

from __future__ import annotations

import hashlib
import math

import numpy as np

from standfall.book.column_check import check_range, check_types
from standfall.book.columns import STANDING_COLUMNS, STOCK_COLUMNS, TILING_COLUMNS
from standfall.book.drawn_floor import same_but_drawn
from standfall.book.route_sound import check_routes
from standfall.brief import read_text
from standfall.findings import Finding
from standfall.planning.plan import Plan
from standfall.tiles import KINDS


def check_plan(plan: Plan) -> None:
    """Check everything the build file relies on.

    Raises:
        ValueError: a mistake in the program that made the plan (or, on reading, a damaged file).
    """
    if not same_but_drawn(plan.brief, read_text(plan.text).brief):
        raise ValueError("plan.brief is not what plan.text reads as")
    for file in plan.files:
        if hashlib.sha256(file.data).hexdigest() != file.sha256:
            raise ValueError(f"the bytes of picture {file.name!r} do not have its SHA-256")
    if plan.palette.names != tuple(colour.name for colour in plan.brief.colours):
        raise ValueError("plan.palette does not have the brief's colours")
    if not (math.isfinite(plan.colour_error.mean) and math.isfinite(plan.colour_error.p95)):
        raise ValueError("plan.colour_error holds a number that is not finite")
    for finding in plan.findings:
        check_finding(finding)
    check_columns(plan)


def check_finding(finding: Finding) -> None:
    """Check that a finding comes back from SQLite and JSON as it was.

    Raises:
        ValueError: one of its values would not.
    """
    if not (_keeps(finding.value) and _keeps(finding.limit)):
        raise ValueError(f"finding {finding.code} at {finding.where} holds a value that SQLite does not keep")


def check_columns(plan: Plan) -> None:
    """Check the arrays alone: types, lengths, finite numbers, numbers of things that exist.

    Raises:
        ValueError: names the column and what is wrong with it.
    """
    brief, standing, tiling = plan.brief, plan.standing, plan.tiling
    check_types("standing", standing, STANDING_COLUMNS, len(standing))
    check_types("tiling", tiling, TILING_COLUMNS, len(tiling))
    check_types("stock", plan.stock, STOCK_COLUMNS, len(brief.colours))
    fields, lines, tiles = len(brief.fields), len(brief.lines), len(tiling)
    check_range("standing", standing, ("colour",), 0, len(brief.colours))
    check_range("standing", standing, ("field",), -1, fields)
    check_range("standing", standing, ("line",), -1, lines)
    check_range("standing", standing, ("tile",), 0, tiles + 1)
    check_range("standing", standing, ("slot_row", "slot_col"), -1, None)
    check_range("tiling", tiling, ("field",), 0, fields)
    check_range("tiling", tiling, ("kind",), 0, len(KINDS))
    if not np.isin(tiling.turn_deg, (0, 180)).all():
        raise ValueError("tiling.turn_deg holds another turn than 0 and 180")
    if ((standing.field < 0) == (standing.line < 0)).any():
        raise ValueError("a domino of standing belongs to a field and a line, or to neither")
    if not len(tiling.cut_rows) == len(tiling.cut_cols) == fields:
        raise ValueError("tiling.cut_rows and cut_cols do not have one entry for each field")
    check_routes(plan)


def _keeps(value: object) -> bool:
    """Tell whether a value survives SQLite and JSON: not so NaN, true (becomes 1) or NumPy's integers."""
    if isinstance(value, float):
        return math.isfinite(value)
    if isinstance(value, int):
        return not isinstance(value, bool) and -(2**63) <= value < 2**63
    return value is None or isinstance(value, str)
