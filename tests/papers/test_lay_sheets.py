"""Lay sheets, read back from the PDF with PyMuPDF and held against the standing set."""

import re
from dataclasses import fields, replace

import numpy as np
import pymupdf
import pytest
from paper_plan import COLOURS, Wish, make_test_plan
from sheet_reader import read_sheet

from standfall.mural.standing import Standing
from standfall.papers.contrast import contrast_ratio
from standfall.papers.glyph import printable
from standfall.papers.lay_sheets import make_lay_book
from standfall.tiles import Tiling

WISHES = {
    "holed": Wish(),
    "turned": Wish(turns=(180,), noise=0.5, stacked=((3, 6), (14, 15)), page="letter"),
    "many runs": Wish(columns=22, rows=10, noise=1.0, holes=False),
    "half offset": Wish(columns=30, rows=20, half_offset=True, tray=(12, 8), turns=(0, 180)),
    "bands": Wish(columns=90, rows=24, sheets="row_bands", band_rows=8, stacked=((5, 6),)),
    "64 colours": Wish(
        colours=tuple((f"shade {i}", f"#{i * 4:02x}{255 - i * 3:02x}80") for i in range(64)), noise=1.0
    ),
    "long names": Wish(
        job="A build with a name that is as long as a brief allows: eighty letters, not one more",
        field="a field whose name has all forty letters",
        stacked=((0, 0), (2, 2), (4, 4), (6, 6), (8, 8)),
        page="letter",
    ),
    "large tray": Wish(columns=100, rows=60, tray=(50, 30)),
}


@pytest.fixture(scope="module", params=list(WISHES))
def book(request):
    plan = make_test_plan(WISHES[request.param])
    made = make_lay_book(plan)
    assert len(made.volumes) == 1
    return plan, made, pymupdf.open(stream=made.typeset(1))


def half(plan):
    return plan.brief.fields[0].rows_laid == "half_offset"


def block_pages(document):
    for page in document:
        if re.match(r"(Tile|Band) \d+", page.get_text()):
            yield page


def test_every_domino_is_printed_once_with_its_code_in_grid_and_runs(book):
    plan, _, document = book
    standing, codes = plan.standing, plan.palette.codes
    for layer in (0, 1):
        mine = np.flatnonzero((standing.field == 0) & (standing.layer == layer))
        wanted = {(int(standing.row[n]), int(standing.col[n])): codes[standing.colour[n]] for n in mine}
        grid: dict[tuple[int, int], str] = {}
        for page in block_pages(document):
            sheet = read_sheet(page, half(plan))
            if sheet.second_layer != bool(layer):
                continue
            assert not grid.keys() & sheet.grid.keys()
            grid |= sheet.grid
            check_sheet(sheet)
            if plan.brief.papers.sheets == "tiles":
                tiles = {
                    int(standing.tile[n]) for n in mine if (standing.row[n], standing.col[n]) in sheet.grid
                }
                assert tiles == {sheet.number}
        assert grid == wanted


def check_sheet(sheet):
    """Runs, counts and the number in the header say what the grid says."""
    rows = {row for row, _ in sheet.grid}
    assert set(sheet.runs) == rows
    for row in rows:
        left = min(col for _, col in sheet.grid)
        cells = {col: code for (r, col), code in sheet.grid.items() if r == row}
        run = sheet.runs[row]
        filled = [code for code in run if code]
        assert filled == [cells[col] for col in sorted(cells)]
        # Empty places between and before: distances along the run are distances between columns.
        places = [n for n, code in enumerate(run) if code]
        assert np.diff(places).tolist() == np.diff(sorted(cells)).tolist()
        assert run[-1] != ""
        assert left >= 0
    values = list(sheet.grid.values())
    assert sheet.counts == {code: values.count(code) for code in set(values)}
    assert f"{len(values)} domino" in " ".join(sheet.text.split())


def test_slots_of_the_tray_are_those_of_the_standing_set(book):
    plan, _, document = book
    standing = plan.standing
    slot = {
        (int(standing.row[n]), int(standing.col[n])): (int(standing.slot_row[n]), int(standing.slot_col[n]))
        for n in np.flatnonzero((standing.field == 0) & (standing.layer == 0))
    }
    with_slots = 0
    for page in block_pages(document):
        sheet = read_sheet(page, half(plan))
        if plan.brief.papers.sheets == "row_bands" or sheet.second_layer:
            assert not sheet.slots
            assert not sheet.turned
            continue
        assert sheet.turned == (plan.tiling.turn_deg[sheet.number - 1] == 180)
        assert sheet.slots == {place: slot[place] for place in sheet.slots}
        with_slots += len(sheet.slots)
    if plan.brief.papers.sheets == "tiles":
        assert with_slots == len(slot)


def test_pages_have_the_size_of_the_paper_and_count_themselves(book):
    plan, _, document = book
    # A4: 210 x 297 mm (ISO 216). Letter: 8.5 x 11 inch (ANSI/ASME Y14.1). In points, 1/72 inch.
    wide, high = (297 / 25.4 * 72, 210 / 25.4 * 72) if plan.brief.papers.page == "a4" else (792, 612)
    for number, page in enumerate(document, start=1):
        assert (page.rect.width, page.rect.height) == pytest.approx((wide, high), abs=0.01)
        assert f"page {number} of {len(document)}" in page.get_text()
        inside = pymupdf.Rect(18, 18, page.rect.width - 18, page.rect.height - 18)
        for block in page.get_text("blocks"):
            assert pymupdf.Rect(block[:4]) in inside


def test_no_word_is_printed_over_another(book):
    _, _, document = book
    for page in document:
        words = page.get_text("words")
        # The box of a word is as high as its letters may be; the middle half is what they cover.
        boxes = np.array(
            [(w[0] + 0.5, w[1] + (w[3] - w[1]) / 4, w[2] - 0.5, w[3] - (w[3] - w[1]) / 4) for w in words]
        )
        low = np.maximum(boxes[:, None, :2], boxes[None, :, :2])
        high = np.minimum(boxes[:, None, 2:], boxes[None, :, 2:])
        over = np.argwhere(np.triu((high > low).all(axis=2), 1))
        assert [(words[a][4], words[b][4]) for a, b in over] == []


def test_letters_can_be_read(book):
    _plan, _, document = book
    for page in document:
        for block in page.get_text("dict")["blocks"]:
            for line in block.get("lines", []):
                for span in line["spans"]:
                    assert span["size"] >= 8.4
                    if re.fullmatch(r"[A-Z]{2,3}", span["text"].strip()):
                        assert span["size"] >= 9.0
                        assert "Bold" in span["font"]
        for span in page.get_texttrace():
            assert all(char[1] != 0 for char in span["chars"])  # glyph 0: missing (OpenType)


def test_codes_contrast_with_the_slot_they_stand_on(book):
    plan, _, document = book
    page = next(iter(block_pages(document)))
    colour_of = dict(zip(plan.palette.codes, plan.palette.srgb8, strict=True))
    fills = [
        (drawing["rect"], np.rint(np.array(drawing["fill"]) * 255))
        for drawing in page.get_drawings()
        if drawing["fill"] is not None
    ]
    checked = 0
    for block in page.get_text("dict")["blocks"]:
        for line in block.get("lines", []):
            for span in line["spans"]:
                code = span["text"].strip()
                at = pymupdf.Point(
                    (span["bbox"][0] + span["bbox"][2]) / 2, (span["bbox"][1] + span["bbox"][3]) / 2
                )
                under = [fill for rect, fill in fills if at in rect and rect.width < 60 and rect.height < 60]
                if code not in colour_of or not under:
                    continue
                ink = np.array(
                    [span["color"] >> 16, span["color"] >> 8 & 255, span["color"] & 255], dtype=np.uint8
                )
                assert (under[-1] == colour_of[code]).all()
                assert contrast_ratio(ink, under[-1]) >= 4.5
                checked += 1
    assert checked > 10


def test_the_finder_is_one_picture_for_all_sheets(book):
    _, _, document = book
    finders = {image[0] for page in block_pages(document) for image in page.get_images()}
    assert len(finders) == 1


def test_the_finder_marks_the_place_of_the_tile():
    plan = make_test_plan(Wish(columns=44, rows=30, holes=False))
    document = pymupdf.open(stream=make_lay_book(plan).typeset(1))
    for page in block_pages(document):
        sheet = read_sheet(page)
        box = page.get_image_rects(page.get_images()[0][0])[0]
        tile = sheet.number - 1
        frames = [
            d["rect"] for d in page.get_drawings() if d["fill"] is None and d["width"] == pytest.approx(1.3)
        ]
        assert len(frames) == 1
        column, row = tile % 2, tile // 2
        left, top = box.x0 + column / 2 * box.width, box.y1 - (row + 1) / 3 * box.height
        # The frame stands 0.3 mm outside the tile.
        assert (frames[0].x0, frames[0].y0) == pytest.approx((left - 0.85, top - 0.85), abs=0.1)
        assert frames[0].width == pytest.approx(box.width / 2 + 1.7, abs=0.1)
        assert frames[0].height == pytest.approx(box.height / 3 + 1.7, abs=0.1)


def test_neighbours_are_named():
    plan = make_test_plan(Wish(columns=66, rows=30, holes=False))
    document = pymupdf.open(stream=make_lay_book(plan).typeset(1))
    # 3 tiles side by side, 3 bands: tile 5 is the middle one, 8 lies ahead, 2 behind, 4 left, 6 right.
    page = list(block_pages(document))[4]
    words = page.get_text("words")
    top, bottom = (next(w[1] for w in words if w[4] == word) for word in ("ahead", "behind"))
    cross = {
        w[4]: (w[0], w[1]) for w in words if w[0] > 600 and w[4] in "24568" and top - 9 < w[1] < bottom + 9
    }
    assert set(cross) == {"2", "4", "5", "6", "8"}
    assert cross["4"][0] < cross["5"][0] < cross["6"][0]
    assert cross["8"][1] < cross["5"][1] < cross["2"][1]
    first = next(iter(block_pages(document))).get_text()
    assert first.count("no tile") == 2


def test_names_are_printed_and_never_run():
    hostile = '#panic("x") [*] $y$ \\alert _a_ @b <l> //c `d` "q" é \U0001f426'
    field = "*bold* #let x = 1"
    colours = (("#colour[0] $a$", "#102030"), ("ünï “x”", "#f0e0d0"), *COLOURS[2:])
    plan = make_test_plan(
        Wish(columns=24, rows=12, job=hostile, field=field, place="[hall] #1", colours=colours)
    )
    document = pymupdf.open(stream=make_lay_book(plan).typeset(1))
    for page in document:
        assert flat(printable(hostile)) in flat(page.get_text())
    assert flat(field) in flat(document[1].get_text())
    assert flat("[hall] #1") in flat(document[0].get_text())
    for name, _ in colours:
        assert flat(name) in flat(document[0].get_text())
    assert document.metadata["title"].startswith(printable(hostile))


def test_a_plan_of_lines_alone_has_no_word_of_tiles():
    plan = make_test_plan(Wish(columns=10, rows=6))
    only = plan.standing.line >= 0
    standing = Standing(
        **{column.name: getattr(plan.standing, column.name)[only] for column in fields(Standing)}
    )
    nothing = Tiling(**{c.name: getattr(plan.tiling, c.name)[:0] for c in fields(Tiling)})
    brief = replace(plan.brief, fields=(), tray=None)
    plan = replace(plan, brief=brief, standing=standing, tiling=nothing)
    document = pymupdf.open(stream=make_lay_book(plan).typeset(1))
    assert len(document) == 2
    assert "tile" not in document[0].get_text().lower()
    assert "Line 1" in document[1].get_text()


def flat(text):
    return re.sub(r"\s+", "", text)


def test_the_first_page_tells_how_to_read_and_what_to_take_care_of(book):
    plan, _, document = book
    text = " ".join(document[0].get_text().split())
    for words in ("Rows and columns count from 0", "no safety-rated stop", "licensed trades", "fall"):
        assert words in text
    first = " ".join(
        page.get_text() for page in document if not re.match(r"(Tile|Band|Line)", page.get_text())
    )
    for colour in np.flatnonzero(plan.stock.used):
        assert plan.palette.codes[colour] in first
        assert f"{plan.stock.used[colour]:,}" in first


def test_volumes_hold_all_sheets_in_order_and_no_more_than_asked_for():
    plan = make_test_plan(Wish(stacked=((0, 3),)))
    whole = pymupdf.open(stream=make_lay_book(plan).typeset(1))
    titles = [page.get_text().split("\n")[0] for page in whole][1:]
    book = make_lay_book(plan, volume_pages=5)
    found = []
    for volume in range(1, len(book.volumes) + 1):
        part = pymupdf.open(stream=book.typeset(volume))
        assert len(part) <= 5
        assert "How to read" in part[0].get_text()
        assert f"volume {volume} of {len(book.volumes)}" in part[1].get_text()
        found += [page.get_text().split("\n")[0] for page in part][1:]
    assert found == titles
    numbers = [int(title.split()[1]) for title in titles if title.startswith("Tile")]
    assert numbers == sorted(numbers)
    assert set(numbers) == set(range(1, len(plan.tiling) + 1))


def test_the_same_plan_gives_the_same_bytes():
    plan = make_test_plan(Wish(columns=30, rows=12))
    first, second = (
        make_lay_book(plan).typeset(1),
        make_lay_book(make_test_plan(Wish(columns=30, rows=12))).typeset(1),
    )
    assert first == second
    assert "CreationDate" not in pymupdf.open(stream=first).xref_object(1)
    assert not pymupdf.open(stream=first).metadata["creationDate"]
