"""What many falls with drawn placement errors come to: chances, intervals and the weakest seams."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Interval:
    """An estimate with its 95 % interval.

    Attributes:
        value: the estimate.
        low, high: ends of the interval.
        method: how the interval was made, for print.
    """

    value: float
    low: float
    high: float
    method: str


@dataclass(frozen=True)
class Seam:
    """Two tiles, or a tile and dominoes laid by hand, that a fall has to cross.

    Attributes:
        tile, next_tile: numbers of the two, in the direction of the fall; 0 is laid by hand.
        chance: chance that the fall does not cross as meant in every column.
        reason: what is most likely then, as text.
        x_m, y_m: middle of the seam in the hall.
    """

    tile: int
    next_tile: int
    chance: float
    reason: str
    x_m: float
    y_m: float


@dataclass(frozen=True)
class Trials:
    """The outcome of all trials.

    Attributes:
        trials: how many falls were tried.
        seed: of the random numbers; trial k is the same whichever worker does it.
        standing: (trials,) int32 dominoes left standing in each trial. A missing piece is not counted.
        stood: (n,) int32 in how many trials each domino stayed up.
        chance_all_fall: chance that every domino falls that is there.
        mean_standing: dominoes left standing, mean over all falls.
        chance_no_touch: chance that no two tiles touch when they are set down.
        largest_seam_error_m: largest error of a seam (one standard deviation on each axis of the difference
            of two neighbouring tiles) with which all still fall with a chance of 99 %; nan when there is none.
        largest_touch_error_m: the same for tiles that must not touch when they are set down.
        seams: weakest first, at most 20.
    """

    trials: int
    seed: int
    standing: NDArray[np.int32]
    stood: NDArray[np.int32]
    chance_all_fall: Interval
    mean_standing: Interval
    chance_no_touch: Interval
    largest_seam_error_m: float
    seams: tuple[Seam, ...]
    largest_touch_error_m: float = float("nan")
