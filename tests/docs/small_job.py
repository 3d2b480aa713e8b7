"""A small job for examples: the demo brief on a field of 3 x 6 trays instead of 15 x 30, with less stock."""

from __future__ import annotations

import re
from pathlib import Path

from standfall.demo import brief_text
from standfall.intake.start import start_folder

CUTS = {
    "columns = 330": "columns = 66",
    "rows = 300": "rows = 60",
    "corner_m = [4.0, 5.5]": "corner_m = [7.564, 5.5]",
}
# Of each colour this part of the demo's stock: some run out, as in the demo.
STOCK_PART = 22


def small_brief_text() -> str:
    """Return the demo brief with a smaller field in the middle of the big one's width, and less stock."""
    text = brief_text()
    for old, new in CUTS.items():
        if text.count(old) != 1:
            raise ValueError(f"the demo brief should hold {old!r} once, not {text.count(old)} times")
        text = text.replace(old, new)
    # Without a camera there are two pictures to draw instead of four.
    text = re.sub(r"(?ms)^\[camera\]\n.*?(?=^\[papers\])", "", text)
    return re.sub(r"(?m)^stock = (\d+)$", lambda found: f"stock = {int(found[1]) // STOCK_PART}", text)


def write_small_job(folder: Path) -> Path:
    """Write the small brief and its picture into a folder and return the brief's path."""
    start_folder(folder)
    path = folder / "brief.toml"
    path.write_text(small_brief_text(), encoding="utf-8")
    return path
