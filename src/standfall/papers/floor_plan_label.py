"""Places for words on a plan: beside what they name, and not on each other."""

from __future__ import annotations

from dataclasses import replace

import shapely

from standfall.papers.floor_plan_mark import Floats, Words, words_corners_mm

# Height above and depth below the base line, in parts of the size of the font.
_ABOVE, _BELOW = 0.76, 0.2
_ROOM_MM = 0.5
_FARTHER_MM = (0.0, 2.0, 5.0, 9.0)


class Labels:
    """Where words stand on one plan already, and what they should not cover."""

    def __init__(self, low_mm: tuple[float, float], high_mm: tuple[float, float]) -> None:
        self._low, self._high = low_mm, high_mm
        self._taken: list[shapely.Geometry] = []

    def keep_clear(self, shape_mm: Floats) -> None:
        """Keep words off a polygon, or off a path of two points or more."""
        if len(shape_mm) >= 3:
            self._taken.append(shapely.Polygon(shape_mm).convex_hull)

    def keep_off(self, path_mm: Floats, by_mm: float) -> None:
        """Keep words off a line."""
        if len(path_mm) >= 2:
            self._taken.append(shapely.LineString(path_mm).buffer(by_mm, cap_style="flat"))

    def beside(self, words: Words, at_mm: Floats, away_mm: float) -> Words:
        """Return words beside a place, as near as there is room, else where they cover least."""
        found = [self._moved(words, at_mm, away_mm + more, side) for more in _FARTHER_MM for side in range(8)]
        free = (moved for moved in found if self._covered(moved) == 0.0)
        return self._take(next(free, None) or min(found, key=self._covered))

    def one_of(self, candidates: list[Words], *, needed: bool = True) -> Words | None:
        """Return the first candidate that covers nothing; if none does, the best one or, not needed, ``None``."""
        for words in candidates:
            if self._covered(words) == 0.0:
                return self._take(words)
        return self._take(min(candidates, key=self._covered)) if needed and candidates else None

    def _take(self, words: Words) -> Words:
        self._taken.append(_box(words))
        return words

    def _moved(self, words: Words, at_mm: Floats, away_mm: float, side: int) -> Words:
        # Right, left, above, below, then the corners.
        across, up = ((1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, 1), (1, -1), (-1, -1))[side]
        x = float(at_mm[0]) + across * away_mm
        base = float(at_mm[1]) + (_ABOVE - _BELOW) / 2 * words.size_mm
        if up > 0:
            base = float(at_mm[1]) - away_mm - _BELOW * words.size_mm
        elif up < 0:
            base = float(at_mm[1]) + away_mm + _ABOVE * words.size_mm
        return replace(words, at_mm=(x, base), anchor=("middle", "start", "end")[across])

    def _covered(self, words: Words) -> float:
        """Return how much of other things words would cover, with all that sticks out of the plan."""
        box = _box(words)
        low_x, low_y, high_x, high_y = box.bounds
        out = max(
            self._low[0] - low_x, self._low[1] - low_y, high_x - self._high[0], high_y - self._high[1], 0.0
        )
        area = sum(float(box.intersection(other).area) for other in self._taken if box.intersects(other))
        return area + 100.0 * float(out)


def _box(words: Words) -> shapely.Polygon:
    return shapely.Polygon(words_corners_mm(words, _ROOM_MM))
