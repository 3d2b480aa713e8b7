"""The lay sheets: volumes of pages a crew loads trays and lays lines from."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from standfall.papers import page as measures
from standfall.papers.block import Block, field_colours, make_blocks
from standfall.papers.block_sheet import BlockSheets
from standfall.papers.contrast import ink_on
from standfall.papers.finder import make_finder, neighbours, png_bytes
from standfall.papers.glyph import printable
from standfall.papers.line_sheet import DRAWING_MM, FACTS_MM, JOINT_LINE_MM, TABLE_MM, line_sheets
from standfall.papers.page import Page, landscape
from standfall.papers.preview import draw_preview
from standfall.papers.reading_page import reading_page, reading_pages
from standfall.papers.typeset import typeset
from standfall.planning.plan import Plan

VOLUME_PAGES = 500
_MURAL_PX = 900


@dataclass(frozen=True)
class LayBook:
    """All lay sheets of a plan, cut into volumes, before they are typeset.

    ``volumes`` holds for each volume its blocks and the sheets of lines; ``shared`` what every volume
    repeats; ``pictures`` the PNG files it names.
    """

    volumes: tuple[tuple[tuple[Block, ...], tuple[dict[str, Any], ...]], ...]
    sheets: BlockSheets
    front: tuple[dict[str, Any], ...]
    shared: Mapping[str, Any]
    pictures: Mapping[str, bytes]

    def typeset(self, volume: int) -> bytes:
        """Return volume number ``volume``, from 1, as a PDF."""
        blocks, lines = self.volumes[volume - 1]
        pages = [*self.front, *(self.sheets.sheet(block) for block in blocks), *lines]
        data = {**self.shared, "volume": volume, "pages": len(pages), "sheets": pages}
        return typeset("lay_sheets", data, self.pictures)


def make_lay_book(plan: Plan, volume_pages: int = VOLUME_PAGES) -> LayBook:
    """Decide what goes on which page.

    Tiles come in the order of their numbers (or bands of rows field by field), each followed by its second
    layer; then the lines in the order of the brief. Each volume begins with the page on how to read it.

    Args:
        plan: the plan.
        volume_pages: most pages in one volume.
    """
    page = landscape(plan.brief.papers.page)
    fields = field_colours(plan)
    finders = [
        make_finder(section, colours, plan.palette)
        for section, colours in zip(plan.brief.fields, fields, strict=True)
    ]
    blocks = make_blocks(plan, fields, page)
    lines = line_sheets(plan, page)
    mural = draw_preview(plan, "fallen", _MURAL_PX, legend=False)
    size_px = (mural.shape[1], mural.shape[0])
    how_to, codes = reading_page(plan, size_px, len(blocks) + len(lines), len(blocks))
    front = reading_pages(codes)
    volumes = tuple(_volumes(blocks, lines, volume_pages - len(front)))
    pictures = {f"finder_{number}.png": finder.png for number, finder in enumerate(finders)}
    return LayBook(
        volumes=volumes,
        sheets=BlockSheets(plan, page, fields, finders, neighbours(plan)),
        front=tuple(front),
        shared={**shared_data(plan), "page": page_data(page), "volumes": len(volumes), "how_to": how_to},
        pictures={**pictures, "mural.png": png_bytes(mural)},
    )


def _volumes(
    blocks: list[Block], lines: list[dict[str, Any]], room: int
) -> Iterator[tuple[tuple[Block, ...], tuple[dict[str, Any], ...]]]:
    total = len(blocks) + len(lines)
    for first in range(0, max(total, 1), room):
        last = first + room
        some = lines[max(0, first - len(blocks)) : max(0, last - len(blocks))]
        yield tuple(blocks[first:last]), tuple(some)


def shared_data(plan: Plan) -> dict[str, Any]:
    """Return what every paper shows: names, digest, colours with code, ink and count."""
    white = ink_on(plan.palette.srgb8).reshape(-1, 3)[:, 0] > 0
    return {
        "job": {"name": printable(plan.brief.job.name), "place": printable(plan.brief.job.place)},
        "digest": hashlib.sha256(plan.text).hexdigest()[:8],
        "colours": [
            [plan.palette.hexes[j], "#ffffff" if white[j] else "#000000", code, printable(name), f"{used:,}"]
            for j, (name, code, used) in enumerate(
                zip(plan.palette.names, plan.palette.codes, plan.stock.used.tolist(), strict=True)
            )
        ],
    }


def page_data(page: Page) -> dict[str, float]:
    """Return the measures the template places things at, in mm."""
    return {
        "width": page.width_mm,
        "height": page.height_mm,
        "margin": measures.MARGIN_MM,
        "header": measures.HEADER_MM,
        "corner": measures.CORNER_MM,
        "side": measures.SIDE_MM,
        "main": page.main_mm,
        "label_left": measures.LABEL_LEFT_MM,
        "label_top": measures.LABEL_TOP_MM,
        "label_bottom": measures.LABEL_BOTTOM_MM,
        "run_label": measures.RUN_LABEL_MM,
        "runs_heading": measures.RUNS_HEADING_MM,
        "neighbours": measures.NEIGHBOURS_MM,
        "ticks": measures.TICKS_MM,
        "count_line": measures.COUNT_LINE_MM,
        "joint_line": JOINT_LINE_MM,
        "line_table": TABLE_MM,
        "line_facts": FACTS_MM,
        "line_drawing": DRAWING_MM,
    }
