"""Two digests of a plan: of what it was made from, and of what came out."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from standfall.book.columns import STANDING_COLUMNS, STOCK_COLUMNS, TILING_COLUMNS
from standfall.book.route_digest import route_columns, route_words
from standfall.planning.plan import Plan

# Raised when this program would make another plan of the same brief and pictures. 2: with routes.
PLAN_FORMAT = 2


def input_digest(plan: Plan, plan_format: int = PLAN_FORMAT) -> str:
    """Return the SHA-256, in hex, of brief, pictures and plan format (docs/build-file.md, "Digests")."""
    inputs = {
        "brief": hashlib.sha256(plan.text).hexdigest(),
        "pictures": sorted([file.name, file.sha256] for file in plan.files),
        "plan_format": plan_format,
    }
    return hashlib.sha256(compact_json(inputs)).hexdigest()


def result_digest(plan: Plan) -> str:
    """Return the SHA-256, in hex, of all that was worked out (docs/build-file.md, "Digests")."""
    error = plan.colour_error
    palette = plan.palette
    words: dict[str, Any] = {
        "colour_error": {
            "metric": error.metric,
            "mean": error.mean + 0.0,
            "p95": error.p95 + 0.0,
            "total": error.total,
            "bound": error.bound,
            "specks_removed": error.specks_removed,
            "specks_left": error.specks_left,
        },
        "colours": [list(colour) for colour in zip(palette.names, palette.codes, palette.hexes, strict=True)],
        "cut_cols": list(plan.tiling.cut_cols),
        "cut_rows": list(plan.tiling.cut_rows),
        "findings": [list(finding.as_dict().values()) for finding in plan.findings],
    }
    # Without a drawing and routes the digest is what it was before there were any.
    if plan.brief.hall.drawing is not None:
        words["floor"] = [
            plan.brief.hall.outline_m,
            [[area.name, area.kind, area.outline_m] for area in plan.brief.areas],
        ]
    if plan.routes is not None:
        words["routes"] = route_words(plan, plan.routes)
    digest = hashlib.sha256(compact_json(words) + b"\n")
    for name, column in _columns(plan):
        update(digest, name, column)
    return digest.hexdigest()


def update(digest: hashlib._Hash, name: str, column: NDArray[Any]) -> None:
    """Let a column of numbers count in a digest."""
    # Negative zero counts as zero: SQLite does not keep its sign.
    values = column + 0.0 if column.dtype.kind == "f" else column
    values = np.ascontiguousarray(values, dtype=values.dtype.newbyteorder("<"))
    digest.update(f"{name} {values.dtype.str.lstrip('<|')} {len(values)}\n".encode())
    digest.update(values.data)


def _columns(plan: Plan) -> Iterator[tuple[str, NDArray[Any]]]:
    for table, holder, types in (
        ("domino", plan.standing, STANDING_COLUMNS),
        ("tile", plan.tiling, TILING_COLUMNS),
        ("stock", plan.stock, STOCK_COLUMNS),
    ):
        for name in types:
            yield f"{table}.{name}", getattr(holder, name)
    if plan.routes is not None:
        yield from route_columns(plan.routes)


def compact_json(value: object) -> bytes:
    """Return the JSON that digests are taken of."""
    return json.dumps(
        value, ensure_ascii=False, allow_nan=False, sort_keys=True, separators=(",", ":")
    ).encode()
