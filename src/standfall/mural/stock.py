"""Stock: how many of each colour there are, may be used, are used and must be bought."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

Counts = NDArray[np.int64]


@dataclass(frozen=True)
class StockTable:
    """The balance of k colours, all (k,) int64 unless said otherwise.

    ``used`` = ``used_fields`` + ``used_lines``; ``spares`` are kept back on top of it;
    ``packs_to_buy`` whole packs bring ``to_buy`` pieces at ``cost`` ((k,) float64, in the brief's
    currency). Always used + spares <= stock + to_buy.
    """

    stock: Counts
    wished: Counts
    used_fields: Counts
    used_lines: Counts
    spares: Counts
    pack_size: Counts
    packs_to_buy: Counts
    cost: NDArray[np.float64]

    @property
    def used(self) -> Counts:
        """Pieces that will stand."""
        return self.used_fields + self.used_lines

    @property
    def to_buy(self) -> Counts:
        """Pieces in the packs to buy."""
        return self.packs_to_buy * self.pack_size

    @property
    def left(self) -> Counts:
        """Pieces left over after use, spares still in hand counted as left."""
        return self.stock + self.to_buy - self.used

    def rows(self, names: Sequence[str], codes: Sequence[str]) -> list[dict[str, str | int | float]]:
        """Return the balance as plain data, one entry a colour."""
        return [
            {
                "name": name,
                "code": code,
                "used": int(self.used[j]),
                "spares": int(self.spares[j]),
                "stock": int(self.stock[j]),
                "wished": int(self.wished[j]),
                "to_buy": int(self.to_buy[j]),
                "packs_to_buy": int(self.packs_to_buy[j]),
                "cost": round(float(self.cost[j]), 2),
            }
            for j, (name, code) in enumerate(zip(names, codes, strict=True))
        ]


def exact_share(share: float) -> Fraction:
    """Return a share such as 0.03 as the fraction the brief meant, 3/100."""
    return Fraction(share).limit_denominator(10**7)


def usable(stock: Counts, spares_share: float) -> Counts:
    """Return the most pieces U that may stand so that U plus its spares, ceil(share x U), is in stock.

    U + ceil(sU) <= S holds just when (1 + s) U <= S for whole U and S; so U = floor(S / (1 + s)).
    """
    factor = 1 + exact_share(spares_share)
    return np.array([math.floor(int(count) / factor) for count in stock], dtype=np.int64)


def spares_of(used: Counts, spares_share: float) -> Counts:
    """Return the spares kept for each count used: the share, rounded up."""
    share = exact_share(spares_share)
    return np.array([math.ceil(int(count) * share) for count in used], dtype=np.int64)
