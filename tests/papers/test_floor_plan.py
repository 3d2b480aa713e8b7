"""The floor plan, read back from PDF, SVG and DXF and held against the hall it was made of."""

import io
import math
import re
from dataclasses import replace
from xml.etree import ElementTree

import ezdxf
import numpy as np
import pymupdf
import pytest
import shapely
from ezdxf import recover
from floor_plan_case import AREAS, DEPOT_M, DOCKS, make_case

from standfall.papers.floor_plan_dxf import LAYERS, floor_plan_dxf
from standfall.papers.floor_plan_pdf import floor_plan_pdf
from standfall.papers.floor_plan_sheet import LEAST_DIGIT_MM, lay_out_sheets
from standfall.papers.floor_plan_svg import floor_plan_svg
from standfall.papers.paper_folder import write_papers
from standfall.routes.plan import Routes

MM = 25.4 / 72  # of a point: PDF counts 72 points to the inch (ISO 32000-1, 8.3.2.3)


@pytest.fixture(scope="module")
def case():
    return make_case(columns=220, rows=100, corner_m=(5.0, 6.0), trapped=3)


@pytest.fixture(scope="module")
def drawing(case):
    return case.drawing()


@pytest.fixture(scope="module")
def page(drawing):
    return pymupdf.open(stream=floor_plan_pdf(drawing, "a4"))[0]


@pytest.fixture(scope="module")
def space(drawing):
    document, auditor = recover.read(io.BytesIO(floor_plan_dxf(drawing)))
    assert not auditor.has_errors and not auditor.has_fixes
    return document.modelspace()


def words_of(page):
    return [word[4] for word in page.get_text("words")]


# ---------------------------------------------------------------- what is drawn


def test_numbers_are_the_places_in_the_laying_order(case, drawing):
    laid = case.access.order[: np.count_nonzero(drawing.tiles.order)]
    assert drawing.tiles.order[laid].tolist() == list(range(1, len(laid) + 1))
    assert drawing.tiles.order[list(case.access.left_out)].tolist() == [0, 0, 0]


def test_tiles_cover_the_field_without_overlap(case, drawing):
    tiles = [shapely.Polygon(corners) for corners in drawing.tiles.corners_m]
    field = shapely.Polygon(drawing.fields[0].corners_m)
    assert math.fsum(tile.area for tile in tiles) == pytest.approx(field.area, rel=1e-9)
    assert shapely.union_all(tiles).symmetric_difference(field).area == pytest.approx(0.0, abs=1e-6)
    # Every domino of a tile stands on it.
    standing = case.plan.standing
    for tile in (0, 17, 99):
        mine = standing.tile == tile + 1
        assert shapely.contains_xy(tiles[tile], standing.x_m[mine], standing.y_m[mine]).all()


def test_lanes_lie_on_the_ways_and_none_is_drawn_twice(case, drawing):
    ways = shapely.union_all(
        [
            shapely.LineString(np.column_stack([case.trips.x_m[a:b], case.trips.y_m[a:b]]))
            for a, b in zip(case.trips.way_first[:-1], case.trips.way_first[1:], strict=True)
        ]
    )
    lanes = [shapely.LineString(lane.path_m) for lane in drawing.lanes if lane.kind == "drive"]
    assert 5 <= len(lanes) < len(case.trips) / 2
    for lane in lanes:
        assert shapely.LineString(lane.coords).hausdorff_distance(ways.intersection(lane.buffer(1e-6))) < 1e-3
    # Not denser than three millimetres on paper: 18 m / 90 = 0.2 m; each lane is new for most of its length.
    for number, lane in enumerate(lanes[1:], start=1):
        others = shapely.union_all(lanes[:number]).buffer(0.05)
        assert lane.difference(others).length > 0.3 * min(lane.length, 5 * 0.2)


def test_sides_of_the_hall_and_of_the_field_are_dimensioned_once_each(drawing):
    # By hand, of the outline's six sides: 18 and 15 m along x, 10, 4 and 14 m along y, and the step of 3 m. The
    # field: 100 rows of 22 mm, 220 columns of 27 mm.
    found = {(d.kind, round(d.length_mm, 6)) for d in drawing.dimensions}
    hall = {("hall", float(length)) for length in (18000, 15000, 3000, 10000, 4000, 14000)}
    assert found == hall | {("field", 2200.0), ("field", 5940.0)}
    assert len(drawing.dimensions) == 8
    rectangle = make_case(
        columns=44, rows=20, corner_m=(2, 3), hall_m=((0, 0), (9, 0), (9, 7), (0, 7)), areas=()
    )
    assert sorted(d.length_mm for d in rectangle.drawing().dimensions if d.kind == "hall") == [7000.0, 9000.0]


def test_a_docked_robot_is_drawn_where_it_stands(drawing):
    # By hand: the cart's base reaches from 0.75 to 0.2 m behind the middle of its tray. The socket is at (14, 12.9),
    # heading along y.
    socket = next(dock for dock in drawing.docks if dock.name == "socket")
    parts = shapely.union_all([shapely.Polygon(part) for part in socket.body_m])
    assert parts.bounds == pytest.approx((14 - 0.32, 12.9 - 0.75, 14 + 0.32, 12.9 + 0.2))
    door = next(dock for dock in drawing.docks if dock.kind == "crew")
    assert door.body_m == ()


# ---------------------------------------------------------------- the sheet


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_numbers_of_450_tiles_can_be_read_on_a_small_sheet(paper):
    (view,) = lay_out_sheets(make_case().drawing(), paper)
    assert view.paper in ("A3", "A2", "ANSI B", "ANSI C")
    assert view.digit_mm >= LEAST_DIGIT_MM


def test_numbers_that_could_not_be_read_are_left_out_and_told():
    # 32 by 32 small tiles (5 x 4 pieces, 135 mm x 88 mm) in a hall of 60 m: at 1:100 on A1 a tile is 1.35 by 0.88 mm.
    case = make_case(
        columns=160,
        rows=128,
        corner_m=(5, 6),
        hall_m=((0, 0), (60, 0), (60, 40), (0, 40)),
        areas=(),
        tray=(5, 4),
    )
    drawing = case.drawing()
    views = lay_out_sheets(drawing, "a4")
    assert [view.title for view in views] == ["Floor plan", "Field mural"]
    assert views[0].digit_mm == 0.0
    assert views[1].digit_mm >= LEAST_DIGIT_MM
    hall, field = pymupdf.open(stream=floor_plan_pdf(drawing, "a4"))
    assert "Numbers lower than 1.6 mm are left out here" in " ".join(hall.get_text().split())
    numbers = {str(number) for number in range(400, 1024)}
    assert len(numbers & set(words_of(hall))) < 30  # the rulers and facts have numbers too
    assert numbers <= set(words_of(field))


def test_digits_are_as_high_as_promised(drawing, page):
    # The box of a word is from ascender to descender of the font; digits of DejaVu Sans Mono are 0.729 of its size.
    (view,) = lay_out_sheets(drawing, "a4")
    sizes = [
        span["size"] * MM * 0.729
        for block in page.get_text("dict")["blocks"]
        for line in block.get("lines", ())
        for span in line["spans"]
        if span["text"].strip() in ("11", "12", "55", "66") and "Mono" in span["font"]
    ]
    assert max(sizes) == pytest.approx(view.digit_mm, abs=0.05)
    assert view.digit_mm >= LEAST_DIGIT_MM


def test_every_laid_tile_has_its_number_inside_it(drawing, page):
    (view,) = lay_out_sheets(drawing, "a4")
    found = {}
    for x0, y0, x1, y1, text, *_ in page.get_text("words"):
        found.setdefault(text, []).append(((x0 + x1) / 2 * MM, (y0 + y1) / 2 * MM))
    for tile in np.flatnonzero(drawing.tiles.order):
        box = shapely.Polygon(view.to_paper(drawing.tiles.corners_m[tile]))
        places = found[str(drawing.tiles.order[tile])]
        assert any(box.contains(shapely.Point(place)) for place in places)


# ---------------------------------------------------------------- scale


def black_bars(page):
    """Filled black boxes of the page in mm: x0, y0, x1, y1."""
    return [
        tuple(value * MM for value in path["rect"])
        for path in page.get_drawings()
        if path["type"] in ("f", "fs") and path["fill"] is not None and max(path["fill"]) < 0.15
    ]


def test_a_metre_of_the_hall_is_a_metre_over_the_scale_on_paper(drawing, page):
    (view,) = lay_out_sheets(drawing, "a4")
    assert (page.rect.width * MM, page.rect.height * MM) == pytest.approx(
        (view.width_mm, view.height_mm), abs=0.01
    )
    # The scale bar: black boxes of one unit each, alternating with white ones.
    words = page.get_text()
    length = float(re.search(r"bar is ([\d.]+)", words)[1])
    bars = [box for box in black_bars(page) if box[3] - box[1] == pytest.approx(1.8 + 0.2, abs=0.25)]
    bars = [box for box in bars if box[2] - box[0] > 5 and box[0] > view.width_mm - 90]
    unit_m = 1.0
    assert bars[0][2] - bars[0][0] == pytest.approx(1000.0 * unit_m / view.scale, abs=0.25)
    assert length == pytest.approx(4 * 1000.0 / view.scale, abs=0.05)


def test_the_hall_is_drawn_to_scale(drawing, page):
    (view,) = lay_out_sheets(drawing, "a4")
    # The wall is drawn 0.7 mm wide: 18 m by 14 m.
    walls = [path for path in page.get_drawings() if path["width"] and abs(path["width"] * MM - 0.7) < 0.02]
    (wall,) = walls
    rect = [value * MM for value in wall["rect"]]
    wide, high = rect[2] - rect[0], rect[3] - rect[1]
    assert (wide, high) == pytest.approx((18000 / view.scale, 14000 / view.scale), abs=0.75)
    corners = {(round(p.x * MM, 1), round(p.y * MM, 1)) for item in wall["items"] for p in item[1:3]}
    wanted = {(round(x, 1), round(y, 1)) for x, y in view.to_paper(np.array(DEPOT_M))}
    assert corners == wanted


def test_a_place_of_the_hall_comes_where_the_rulers_say(drawing, page):
    (view,) = lay_out_sheets(drawing, "a4")
    left, top, wide, high = view.plan_mm
    below = [w for w in page.get_text("words") if w[1] * MM > top + high and w[0] * MM < left + wide]
    for word in below:
        if re.fullmatch(r"-?\d+", word[4]):
            x_mm = view.to_paper(np.array([float(word[4]), 0.0]))[0]
            assert (word[0] + word[2]) / 2 * MM == pytest.approx(x_mm, abs=0.3)


# ---------------------------------------------------------------- words


def test_names_signs_and_cautions_are_on_the_sheet(page):
    text = " ".join(page.get_text().split())
    for words in ("Floor plan", "Disused tram depot, shed 2", "8f3a61c0", "bay A", "bay B", "socket", "side door",
                  "fire point: hose reel", "no-go: switch room", "exit east", "escape route: way to the yard",
                  "walkway: visitors", "field mural", "row 0, column 0: x 5,000, y 6,000 mm", "3 tiles cannot be laid",
                  "18,000", "14,000", "5,940", "2,200", "where robots drive"):  # fmt: skip
        assert words in text, words
    # The usual cautions, and who decides.
    assert "Local codes" in text
    assert "licensed trades" in text
    assert "no safeguard" in text


def test_names_keep_off_each_other(drawing, page):
    spans = [
        pymupdf.Rect(span["bbox"])
        for block in page.get_text("dict")["blocks"]
        for line in block.get("lines", ())
        for span in line["spans"]
        if span["text"] in {"bay A", "bay B", "socket", "side door", "field mural", "fire point: hose reel"}
    ]
    assert len(spans) == 6
    for number, one in enumerate(spans):
        assert not any(one.intersects(other) for other in spans[number + 1 :])


def test_without_an_order_tiles_carry_their_own_numbers(case):
    drawing = case.drawing(routes=False)
    assert drawing.tiles.order.tolist() == drawing.tiles.number.tolist()
    page = pymupdf.open(stream=floor_plan_pdf(drawing, "a4"))[0]
    assert "No laying order" in page.get_text()
    assert {"1", "50", "100"} <= set(words_of(page))
    assert "where robots drive" not in page.get_text()


# ---------------------------------------------------------------- SVG


def test_the_svg_is_sound_and_in_millimetres(drawing):
    (view,) = lay_out_sheets(drawing, "a4")
    data = floor_plan_svg(drawing, view)
    assert data == floor_plan_svg(drawing, view)
    root = ElementTree.fromstring(data)
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert root.get("width") == f"{view.width_mm:g}mm"
    assert [float(value) for value in root.get("viewBox").split()] == [0, 0, view.width_mm, view.height_mm]
    texts = [element.text for element in root.iter("{http://www.w3.org/2000/svg}text")]
    assert {"97", "Floor plan", "bay A"} <= set(texts)
    # Nothing is loaded from elsewhere.
    assert not re.search(rb"(?:href|url\((?!#))", data)


def test_names_with_signs_of_markup_stay_words(case):
    brief = replace(case.brief, job=replace(case.brief.job, name="A <b> & \"c\" & 'd' #x"))
    drawing = replace(case, brief=brief).drawing()
    (view,) = lay_out_sheets(drawing, "a4")
    root = ElementTree.fromstring(floor_plan_svg(drawing, view))
    texts = [element.text for element in root.iter("{http://www.w3.org/2000/svg}text")]
    assert "A <b> & \"c\" & 'd' #x" in texts
    assert "A <b> &" in pymupdf.open(stream=floor_plan_pdf(drawing, "a4"))[0].get_text()


# ---------------------------------------------------------------- DXF


def test_the_dxf_is_in_millimetres_on_its_layers(space):
    document = space.doc
    assert document.header["$INSUNITS"] == 4  # millimetres, by the DXF Reference
    assert set(LAYERS) <= {layer.dxf.name for layer in document.layers}
    assert {entity.dxf.layer for entity in space} == set(LAYERS)
    (hall,) = space.query('LWPOLYLINE[layer=="HALL"]')
    assert sorted((round(x, 6), round(y, 6)) for x, y in hall.get_points("xy")) == sorted(
        (1000 * x, 1000 * y) for x, y in DEPOT_M
    )
    assert hall.closed


def test_dimensions_are_true_ones_and_show_what_they_measure(space):
    dimensions = space.query("DIMENSION")
    assert sorted(round(d.get_measurement(), 6) for d in dimensions) == [
        2200, 3000, 4000, 5940, 10000, 14000, 15000, 18000,
    ]  # fmt: skip
    for dimension in dimensions:
        assert dimension.dxf.layer == "DIMENSIONS"
        (figure,) = space.doc.blocks.get(dimension.dxf.geometry).query("TEXT")
        assert float(figure.dxf.text) == pytest.approx(dimension.get_measurement())
        measured = math.dist(tuple(dimension.dxf.defpoint2)[:2],
                             tuple(dimension.dxf.defpoint3)[:2])  # fmt: skip
        assert measured == pytest.approx(dimension.get_measurement())


def test_dimensions_stand_outside_of_what_they_measure(space):
    hall = shapely.Polygon([(1000 * x, 1000 * y) for x, y in DEPOT_M])
    for dimension in space.query("DIMENSION"):
        if dimension.get_measurement() not in (2200.0, 5940.0) and dimension.get_measurement() > 6000:
            assert not hall.contains(shapely.Point(tuple(dimension.dxf.defpoint)[:2]))


def test_tiles_numbers_and_lines_are_where_they_lie(case, drawing, space):
    tiles = space.query('LWPOLYLINE[layer=="TILES"]')
    assert len(tiles) == len(drawing.tiles)
    numbers = {
        text.dxf.text: tuple(text.dxf.align_point)[:2] for text in space.query('TEXT[layer=="TILE_NUMBERS"]')
    }
    for tile in (0, 42, 96):
        box = shapely.Polygon(1000 * drawing.tiles.corners_m[tile])
        assert box.contains(shapely.Point(numbers[str(drawing.tiles.order[tile])]))
        assert box.contains(shapely.Point(numbers[f"tile {tile + 1}"]))
    lines = space.query('LWPOLYLINE[layer=="LINES"]')
    standing = case.plan.standing
    # The stretches of the line, joined, run over all its pieces.
    length = sum(shapely.LineString(line.get_points("xy")).length for line in lines)
    mine = standing.line == 0
    pieces = 1000 * np.hypot(np.diff(standing.x_m[mine]), np.diff(standing.y_m[mine])).sum()
    assert length == pytest.approx(pieces, rel=1e-9)
    assert len(space.query('LWPOLYLINE[layer=="LANES"]')) == len(drawing.lanes)


def test_areas_are_hatched_by_kind_and_docks_named(space):
    hatches = space.query("HATCH")
    assert len(hatches) == len(AREAS)
    patterns = {hatch.dxf.pattern_name for hatch in hatches}
    assert patterns == {"SOLID", "ANSI31", "ANSI37"}
    words = {text.dxf.text for text in space.query("TEXT")}
    assert {
        "fire point: hose reel",
        "exit east",
        "pillar 1",
        "bay A (loading dock)",
        "socket (charging dock)",
    } <= words
    assert len(space.query('CIRCLE[layer=="DOCKS"]')) == len(DOCKS)


def test_the_same_plan_gives_the_same_bytes(drawing):
    assert floor_plan_dxf(drawing) == floor_plan_dxf(drawing)
    assert floor_plan_pdf(drawing, "a4") == floor_plan_pdf(drawing, "a4")
    # The library's switch is as it was.
    assert ezdxf.options.write_fixed_meta_data_for_testing is False


# ---------------------------------------------------------------- the folder


def test_the_folder_of_papers_has_the_floor_plan_where_the_laying_is_planned(tmp_path):
    case = make_case(columns=44, rows=20, corner_m=(5.0, 6.0))
    routes = Routes(case.steps, case.access, case.trips, "far first", 100.0, 3.0)
    names = {path.name for path in write_papers(replace(case.plan, routes=routes), tmp_path)}
    plans = {"floor_plan.pdf", "floor_plan.svg", "floor_plan.dxf"}
    assert plans <= names
    assert "plan " in pymupdf.open(tmp_path / "floor_plan.pdf")[0].get_text()
    assert ezdxf.readfile(tmp_path / "floor_plan.dxf").modelspace().query("DIMENSION")
    # Without routes there is none, and the old ones go, so that no crew lays from them.
    written = {path.name for path in write_papers(replace(case.plan, routes=None), tmp_path)}
    assert not plans & written
    assert not plans & {path.name for path in tmp_path.iterdir()}
