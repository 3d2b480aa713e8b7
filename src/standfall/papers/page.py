"""The paper: its size, and how much room each part of a lay sheet has on it.

Python decides what goes on which page, so it must know what fits; the templates place things at the
measures worked out here. All of them are our own choices, made by looking at printed pages; letters
that a crew reads from the floor are never below ``LEAST_PT``.
"""

from __future__ import annotations

from dataclasses import dataclass

PT_PER_MM = 72 / 25.4
LEAST_PT = 9.0
# Width of a letter of DejaVu Sans Mono in parts of its size (1233 / 2048, from the font itself).
MONO_WIDTH = 0.602

MARGIN_MM = 9.0
HEADER_MM = 22.0
# The right corner of the header: build, page, plan.
CORNER_MM = 94.0
SIDE_MM = 72.0
GAP_MM = 6.0
# Row and column numbers around the grid; to its right also the fall arrow.
LABEL_LEFT_MM, LABEL_RIGHT_MM = 12.0, 15.0
LABEL_TOP_MM, LABEL_BOTTOM_MM = 6.0, 7.0
GRID_HIGHEST_MM = 84.0
CELL_LEAST_MM, CELL_WIDEST_MM, CELL_HIGHEST_MM = 5.2, 13.0, 11.0
RUN_LABEL_MM = 17.0
RUNS_HEADING_MM = 6.5
FINDER_HIGHEST_MM = 56.0
NEIGHBOURS_MM = 25.0
TICKS_MM = 25.0
COUNT_LINE_MM = 5.0
COUNT_HEADING_MM = 6.5
COUNT_COLUMNS = 4


@dataclass(frozen=True)
class RunStyle:
    """Size of the runs' letters, the distance of their lines in parts of it, and whether slots are low."""

    size_pt: float
    leading: float
    low_slots: bool = False

    @property
    def line_mm(self) -> float:
        """Distance from line to line."""
        return self.size_pt * self.leading / PT_PER_MM


# The first that fits is taken: comfortable ones, then close lines, then the grid pressed flat as well.
RUN_STYLES = (
    RunStyle(13.0, 1.36),
    RunStyle(12.0, 1.36),
    RunStyle(11.0, 1.36),
    RunStyle(10.0, 1.36),
    RunStyle(10.0, 1.2),
    RunStyle(10.0, 1.2, low_slots=True),
)


@dataclass(frozen=True)
class Page:
    """A page of paper, landscape for lay sheets and portrait for lists, in mm."""

    width_mm: float
    height_mm: float

    @property
    def inner_width_mm(self) -> float:
        """Width between the margins."""
        return self.width_mm - 2 * MARGIN_MM

    @property
    def inner_height_mm(self) -> float:
        """Height between the margins."""
        return self.height_mm - 2 * MARGIN_MM

    @property
    def main_mm(self) -> float:
        """Width left of the side column."""
        return self.inner_width_mm - SIDE_MM - GAP_MM

    @property
    def grid_mm(self) -> float:
        """Width for the slots of the grid."""
        return self.main_mm - LABEL_LEFT_MM - LABEL_RIGHT_MM

    @property
    def body_mm(self) -> float:
        """Height below the header."""
        return self.inner_height_mm - HEADER_MM

    def count_lines(self, finder_mm: float) -> int:
        """Return how many lines of colours the side column holds below a finder of that height."""
        taken = finder_mm + NEIGHBOURS_MM + TICKS_MM + COUNT_HEADING_MM + 2 * GAP_MM
        return int((self.body_mm - taken) / COUNT_LINE_MM)


def finder_size_mm(width_m: float, length_m: float) -> tuple[float, float]:
    """Return width and height of the finder of a field, as large as the side column allows."""
    scale = min((SIDE_MM - 6.0) / width_m, FINDER_HIGHEST_MM / length_m)
    return max(width_m * scale, 2.0), max(length_m * scale, 2.0)


def landscape(paper: str) -> Page:
    """Return A4 (ISO 216) or US letter (ANSI/ASME Y14.1, 11 x 8.5 inch), long side across."""
    return Page(297.0, 210.0) if paper == "a4" else Page(279.4, 215.9)


def portrait(paper: str) -> Page:
    """Return A4 or US letter, long side upright."""
    page = landscape(paper)
    return Page(page.height_mm, page.width_mm)


@dataclass(frozen=True)
class Grid:
    """Size of the slots on a sheet and of the letters in them."""

    cell_width_mm: float
    cell_height_mm: float
    code_pt: float


def lay_out_grid(
    page: Page, rows: int, columns: float, letters: int, aspect: float, low: bool = False
) -> Grid:
    """Return the largest slots that fit, in the true proportion where that leaves room for the letters.

    Args:
        page: the paper.
        rows, columns: slots; a half column more when rows are half offset.
        letters: in the longest code.
        aspect: row pitch / column pitch on the floor.
        low: press the slots flat, to leave room for runs.
    """
    wide = min(page.grid_mm / columns, CELL_WIDEST_MM)
    true = 0.0 if low else wide * aspect
    high = min(max(true, CELL_LEAST_MM), CELL_HIGHEST_MM, GRID_HIGHEST_MM / rows)
    code_pt = min(16.0, wide * PT_PER_MM / _code_ems(letters), high * PT_PER_MM * 0.72)
    return Grid(wide, high, code_pt)


def most_columns(page: Page, letters: int, half_offset: bool) -> int:
    """Return how many slots side by side leave their codes readable."""
    return int(page.grid_mm * PT_PER_MM / (LEAST_PT * _code_ems(letters)) - (0.5 if half_offset else 0.0))


def most_rows() -> int:
    """Return how many rows of slots leave their codes readable."""
    return int(GRID_HIGHEST_MM * PT_PER_MM * 0.72 / LEAST_PT)


def _code_ems(letters: int) -> float:
    return MONO_WIDTH * letters + 0.3


def run_letters(page: Page, size_pt: float) -> int:
    """Return how many letters a line of runs holds."""
    return int((page.main_mm - RUN_LABEL_MM) * PT_PER_MM / (MONO_WIDTH * size_pt))


def run_lines(page: Page, grid_height_mm: float, style: RunStyle) -> int:
    """Return how many lines of runs fit below a grid of that height."""
    used = LABEL_TOP_MM + grid_height_mm + LABEL_BOTTOM_MM + RUNS_HEADING_MM + 1.5
    return int((page.body_mm - used) / style.line_mm)
