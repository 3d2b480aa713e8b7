"""The digest of a predicted fall."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from standfall.book.columns import FALL_COLUMNS
from standfall.book.digest import compact_json, update
from standfall.book.stored_fall import (
    StoredFall,
    ground_row,
    seam_rows,
    starter_rows,
    summary_text,
    trial_row,
)


def fall_digest(stored: StoredFall) -> str:
    """Return the SHA-256, in hex, of all that was worked out (docs/build-file.md, "Digests")."""
    trials = stored.trials
    words = {
        "findings": [list(finding.as_dict().values()) for finding in stored.findings],
        "ground": ground_row(stored.ground),
        "seams": seam_rows(trials) if trials is not None else [],
        "starters": starter_rows(stored),
        "summary": summary_text(stored.summary),
        "trial": trial_row(trials) if trials is not None else None,
    }
    digest = hashlib.sha256(compact_json(words) + b"\n")
    for name, column in _columns(stored):
        update(digest, name, column)
    return digest.hexdigest()


def _columns(stored: StoredFall) -> Iterator[tuple[str, NDArray[Any]]]:
    for name in FALL_COLUMNS:
        column = getattr(stored.fall, name)
        if column.dtype == np.bool_:
            column = column.astype(np.int8)
        elif column.dtype.kind == "f":  # NaN comes in many patterns of bits, here in one
            column = np.where(np.isnan(column), np.nan, column)
        yield f"fall_domino.{name}", column
    if stored.trials is not None:
        yield "fall_domino.stood", stored.trials.stood
        yield "fall_trial_outcome.standing", stored.trials.standing
