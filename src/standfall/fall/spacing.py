"""How wide to set the gaps: limits for a straight row of equal pieces, and a gap to begin with."""

from __future__ import annotations

import math
from dataclasses import dataclass

from standfall.fall.block import Block
from standfall.fall.ground import Ground

# Gaps in use, in heights of a piece. Common practice, no source.
PRACTICE_LOW, PRACTICE_HIGH, PRACTICE_AVOID = 0.3, 0.5, 0.6
# Widest gap, in heights, that the train model may be trusted with. Rigid-body runs of 40 pieces with free feet
# (ours, MuJoCo) agree with it to 3 % up to 0.8 on floors of friction 0.4 and more; on slippery floors, below
# 0.2, trains stop from 0.7 on because the feet are pushed forward.
REACH, REACH_SLIPPERY, SLIPPERY = 0.8, 0.7, 0.2
# How the narrowest gap that carries a fall grows with friction, from our own runs of the train model: 400 pieces,
# friction 0 to 0.5. Against this formula the narrowest gap found is up to 3 % wider at d / h = 0.156 (7 % without
# friction), up to 7 % narrower at 0.179, up to 17 % narrower at 0.25, and half as wide again at 0.104.
FRICTION_GROWTH = 4.4
# From this gap on, in heights, the least push for a whole row is the least push for one piece; at 0.2 it is
# 1.2 times, at 0.1 twice, at 0.05 more than four times that (our own runs, friction 0.2).
EASY_START = 0.3


@dataclass(frozen=True)
class DesignGap:
    """Clear gaps, face to face, for a straight row.

    Attributes:
        low_m: at about this gap and below, a fall dies however hard the push; infinite when pieces are too thick.
        easy_start_m: below this gap the first piece needs a harder push than a piece alone.
        high_m: widest gap at which one missing piece is still crossed; 0 or less when there is none.
        reach_m: widest single gap that the prediction may be trusted with.
        advised_m: where to begin, NaN when no gap is good.
        reasons: a sentence for each number, in that order.
    """

    low_m: float
    easy_start_m: float
    high_m: float
    reach_m: float
    advised_m: float
    reasons: tuple[str, ...]


def least_gap_m(block: Block, ground: Ground) -> float:
    """Return about the gap at or below which a row of equal pieces cannot carry a fall.

    A piece in a long train ends at the lean theta with cos(theta) = d / (s + d), faces nearly flat on one another
    (J. M. J. van Leeuwen, Am. J. Phys. 78 (2010) 721, arXiv physics/0401018). Weight gains nothing from a fall
    that ends within twice the tip angle, where the middle is no lower than at the start, so without friction
    d / (s + d) < cos(2 atan(d / h)), which is s > 2 d^3 / (h^2 - d^2). Friction raises that; ``FRICTION_GROWTH``
    says how far.

    Infinite from d = h on, where no lean short of flat gains anything.
    """
    height_m, thickness_m = block.height_m, block.thickness_m
    if thickness_m >= height_m:
        return math.inf
    smooth_m = 2 * thickness_m**3 / (height_m**2 - thickness_m**2)
    return smooth_m * (1 + FRICTION_GROWTH * ground.domino_friction)


def design_gap(block: Block, ground: Ground) -> DesignGap:
    """Return the gaps that carry a fall, and one to begin with.

    Args:
        block: the piece.
        ground: friction; the slope is not used.
    """
    height_m, thickness_m = block.height_m, block.thickness_m
    slippery = ground.floor_friction < SLIPPERY
    share = REACH_SLIPPERY if slippery else REACH
    low_m = least_gap_m(block, ground)
    reach_m = share * height_m
    # With one piece gone two gaps and its thickness are one hole.
    high_m = 0.5 * (reach_m - thickness_m)
    advised_m = min(PRACTICE_LOW * height_m, high_m)
    if not advised_m > low_m:
        advised_m = math.nan
    return DesignGap(
        low_m=low_m,
        easy_start_m=max(EASY_START * height_m, low_m),
        high_m=high_m,
        reach_m=reach_m,
        advised_m=advised_m,
        reasons=(
            _low_reason(low_m),
            f"below {EASY_START:g} of the height a row needs a harder push than one piece alone, and may die among "
            "its first pieces",
            _high_reason(high_m, share),
            f"beyond {share:g} of the height the model is not trusted"
            + (f", because a floor friction below {SLIPPERY:g} lets feet slide" if slippery else ""),
            _advice(advised_m, height_m),
        ),
    )


def _low_reason(low_m: float) -> str:
    if math.isinf(low_m):
        return "pieces as thick as they are high gain nothing by falling"
    return "in a narrower row the pieces come to lean on one another before their weight helps"


def _high_reason(high_m: float, share: float) -> str:
    if high_m <= 0:
        return f"a missing piece alone leaves a hole of more than {share:g} of the height"
    return f"two gaps and a missing piece together are then {share:g} of the height, and are still crossed"


def _advice(advised_m: float, height_m: float) -> str:
    if math.isnan(advised_m):
        return "no gap both carries a fall and crosses a missing piece; use thinner or higher pieces"
    practice = (
        f"{PRACTICE_LOW:g} to {PRACTICE_HIGH:g} of the height is usual and more than {PRACTICE_AVOID:g} is "
        "avoided (common practice, no source)"
    )
    if advised_m < PRACTICE_LOW * height_m:
        return f"{practice}; pieces this thick need less, so that a missing one is crossed"
    return f"{practice}; the narrow end crosses a missing piece and needs no harder push"
