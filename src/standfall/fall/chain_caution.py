"""What is to be said about one chain: where it leaves the model's range, and where it dies."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from standfall.fall.block import Block
from standfall.fall.caution import (
    AT_LIMIT,
    MOST_GAP_HEIGHTS,
    NARROW_GAP_HEIGHTS,
    SLIPPERY,
    slippery_gap_heights,
)
from standfall.fall.chain import ChainFall
from standfall.fall.ground import Ground
from standfall.fall.pieces import Pieces
from standfall.fall.place import SHOWN
from standfall.fall.reach import safe_gap_m
from standfall.fall.stance import stance, stance_findings
from standfall.findings import Finding, in_order, make_finding


def chain_cautions(
    gap_m: NDArray[np.float64], pieces: Pieces, ground: Ground, chain: ChainFall
) -> tuple[Finding, ...]:
    """Return the findings about a chain, worst first; places are hits, from 0."""
    gap_m = np.asarray(gap_m, dtype=np.float64)
    heights = gap_m / pieces.height_m[:-1]
    findings = []
    if chain.stalled_at >= 0:
        findings.append(_dies(chain, len(pieces)))
    out_of_reach = np.flatnonzero(gap_m >= pieces.height_m[:-1])
    if len(out_of_reach):
        findings += _beyond_reach(out_of_reach, gap_m, pieces, ground, chain)
    if chain.fallen < len(pieces) and not any(finding.code == "F705" for finding in findings):
        findings.append(_stops(chain, len(pieces)))
    findings += _on_a_slope(pieces, ground)
    wide = (heights > MOST_GAP_HEIGHTS + AT_LIMIT) & (gap_m < pieces.height_m[:-1])
    narrow = heights < NARROW_GAP_HEIGHTS - AT_LIMIT
    ranges = (
        ("F706", wide, f"{MOST_GAP_HEIGHTS} of the height", np.max),
        ("F710", narrow, f"{NARROW_GAP_HEIGHTS} of the height", np.min),
    )
    for code, bad, limit, worst in ranges:
        if bad.any():
            findings.append(_out_of_range(code, np.flatnonzero(bad), float(worst(gap_m[bad])), limit))
    most = slippery_gap_heights(ground.floor_friction)
    slippery = (heights >= most - AT_LIMIT) & (gap_m < pieces.height_m[:-1])
    if slippery.any():
        limit = f"floor friction {SLIPPERY[-1][0]}, or gaps under {most:g} of the height"
        places = np.flatnonzero(slippery)
        findings.append(_out_of_range("F709", places, float(gap_m[places].max()), limit))
    return in_order(findings)


_WORDS = {
    "F706": ("are wider than the model knows", "Move the pieces closer, or try it with real ones."),
    "F709": (
        "are so wide that feet may slide back on this floor and the fall stop",
        "Lay a mat or a carpet, or move the pieces closer.",
    ),
    "F710": (
        "are so narrow that the fall gathers no speed and may die after a weak push",
        "Widen them, or push harder.",
    ),
}


def _hits(places: NDArray[np.intp]) -> str:
    named = ", ".join(str(place) for place in places[:SHOWN])
    return named + (f" and {len(places) - SHOWN:,} more" if len(places) > SHOWN else "")


def _out_of_range(code: str, places: NDArray[np.intp], worst_m: float, limit: str) -> Finding:
    words, step = _WORDS[code]
    return make_finding(
        code,
        f"gap {places[0]}",
        f"{len(places):,} gaps {words}: {_hits(places)}",
        value=f"{1000 * worst_m:.1f} mm",
        limit=limit,
        next_step=step,
    )


def _dies(chain: ChainFall, count: int) -> Finding:
    return make_finding(
        "F705",
        f"piece {chain.stalled_at}",
        f"the fall dies at piece {chain.stalled_at}: {count - chain.fallen:,} of {count:,} stay standing",
        value=count - chain.fallen,
        limit=0,
        next_step="Push harder, or widen the gaps before it.",
    )


def _stops(chain: ChainFall, count: int) -> Finding:
    """Say that the fall ends at a piece that was struck and strikes no other."""
    last = int(np.isfinite(chain.t_s).sum()) - 1
    return make_finding(
        "F705",
        f"piece {last}",
        f"the fall ends at piece {last}, which strikes no other: {count - chain.fallen:,} of {count:,} stay standing",
        value=count - chain.fallen,
        limit=0,
        next_step="Move the next piece closer, or push harder.",
    )


def _on_a_slope(pieces: Pieces, ground: Ground) -> list[Finding]:
    """Say where the slope alone may topple a piece: along the row it is the least stable way."""
    tip = np.arctan2(pieces.thickness_m, pieces.height_m)
    weakest = int(np.argmin(tip))
    block = Block(
        float(pieces.height_m[weakest]), float(pieces.thickness_m[weakest]), float(pieces.mass_kg[weakest])
    )
    steep = Ground(ground.domino_friction, ground.floor_friction, abs(ground.slope_rad))
    return stance_findings(stance(block, steep, width_m=float(pieces.width_m[weakest])), f"piece {weakest}")


def _beyond_reach(
    places: NDArray[np.intp],
    gap_m: NDArray[np.float64],
    pieces: Pieces,
    ground: Ground,
    chain: ChainFall,
) -> list[Finding]:
    """Say that the fall stops at the first such gap, and which of them it may cross all the same."""
    first, count = int(places[0]), len(pieces)
    safe_m = safe_gap_m(pieces.height_m[places], ground.floor_friction)
    findings = []
    if chain.fallen == first + 1:  # it came as far as that gap
        findings.append(
            make_finding(
                "F705",
                f"gap {first}",
                f"the fall stops at gap {first}, beyond a falling piece's reach: {count - chain.fallen:,} of "
                f"{count:,} stay standing",
                value=count - chain.fallen,
                limit=0,
                next_step="Close the gap.",
            )
        )
    unsure = np.flatnonzero(gap_m[places] < safe_m)
    if len(unsure):
        least = int(unsure[np.argmin(gap_m[places[unsure]])])
        findings.append(
            make_finding(
                "F717",
                f"gap {places[unsure[0]]}",
                f"{len(unsure):,} gaps neither carry the fall nor stop it for sure, since fallen pieces slide ahead: "
                + _hits(places[unsure]),
                value=f"{1000 * gap_m[places[least]]:.1f} mm",
                limit=f"under {1000 * pieces.height_m[places[least]]:.1f} mm to carry, "
                f"{1000 * safe_m[least]:.0f} mm to stop for sure",
                next_step="Close the gap if the fall should cross it; widen it if it is meant as a firebreak.",
            )
        )
    return findings
