"""A floor read from DXF files that ezdxf writes here, held against what was drawn."""

import math
import struct

import ezdxf.units
import numpy as np
import pytest
import shapely
from floor_case import DEPOT_M, add_loop, by_code, depot_bytes, dxf_bytes, new_drawing

from standfall.brief.area import AREA_KINDS
from standfall.findings import blocked
from standfall.intake.floor_curve import arc_points, bulge_points
from standfall.intake.floor_drawing import UNITS, read_floor_drawing


def read(document, layer="floor"):
    return read_floor_drawing(dxf_bytes(document), "hall.dxf", layer)


def same_ring(ring, points):
    """The same corners, in either direction and from any corner."""
    one, other = shapely.Polygon(ring), shapely.Polygon(points)
    return one.symmetric_difference(other).area < 1e-9 and len(ring) == len(points)


# ---------------------------------------------------------------- units


@pytest.mark.parametrize("unit", sorted(set(UNITS) - {21}))
def test_corners_come_in_metres_from_every_unit(unit):
    # The other side: ezdxf's own table of units, by the names of the DXF Reference.
    per_m = ezdxf.units.conversion_factor(ezdxf.units.InsertUnits.Meters, ezdxf.units.InsertUnits(unit))
    floor = read_floor_drawing(depot_bytes(unit, per_m), "hall.dxf", "floor")
    assert floor.outline_m == pytest.approx(np.array(DEPOT_M, dtype=float), abs=2e-6)
    assert shapely.Polygon(floor.outline_m).exterior.is_ccw
    assert not blocked(floor.findings)


def test_an_inch_is_25_4_mm():
    # International yard and pound agreement of 1959: 1 in = 25.4 mm exactly; 400 in = 10.16 m.
    document, space = new_drawing(unit=1)
    add_loop(space, [(0, 0), (400, 0), (400, 200), (0, 200)], per_m=1.0)
    assert read(document).outline_m == ((0.0, 0.0), (10.16, 0.0), (10.16, 5.08), (0.0, 5.08))


def test_a_us_survey_foot_is_1200_over_3937_m():
    # NIST Handbook 44, appendix C; 39.37 ft are 12 m.
    document, space = new_drawing(unit=21)
    add_loop(space, [(0, 0), (39.37, 0), (39.37, 39.37)], per_m=1.0)
    assert read(document).outline_m == ((0.0, 0.0), (12.0, 0.0), (12.0, 12.0))


def test_the_size_decides_where_the_drawing_has_no_unit():
    for per_m, name in ((1000.0, "millimetres"), (1.0, "metres")):
        floor = read_floor_drawing(depot_bytes(0, per_m), "hall.dxf", "floor")
        assert floor.outline_m == DEPOT_M
        assert f"taken as drawn in {name}" in by_code(floor.findings)["H819"][0].message


@pytest.mark.parametrize(
    ("unit", "per_m", "guess"),
    [(6, 1000.0, "millimetres"), (4, 1.0, "metres"), (1, 1.0, "metres"), (6, 1e6, "no usual unit")],
)
def test_a_hall_of_18_000_m_or_18_mm_is_refused_with_the_likely_reason(unit, per_m, guess):
    floor = read_floor_drawing(depot_bytes(unit, per_m), "hall.dxf", "floor")
    assert floor.outline_m == ()
    (finding,) = by_code(floor.findings)["H817"]
    if per_m == 1e6:
        assert "absurdly far" in finding.message
    else:
        assert guess in finding.message


def test_a_unit_no_hall_is_drawn_in_is_refused():
    floor = read_floor_drawing(depot_bytes(20, 1.0), "hall.dxf", "floor")  # parsecs
    assert "H817" in by_code(floor.findings)
    assert floor.outline_m == ()


def test_survey_coordinates_are_refused():
    document, space = new_drawing(unit=6)
    add_loop(space, [(x + 3500, y + 5000) for x, y in DEPOT_M], per_m=1.0)
    floor = read(document)
    assert "far from the origin" in by_code(floor.findings)["H817"][0].message
    assert floor.outline_m == ()


# ---------------------------------------------------------------- arcs


def test_chords_leave_an_arc_by_a_millimetre_at_most():
    # The middle of a chord of the angle d lies r cos(d / 2) from the centre.
    for radius_m in (0.002, 0.05, 0.4, 3.0, 40.0, 700.0):
        points = arc_points((1.0, -2.0), radius_m, 0.3, 5.0)
        from_centre = np.hypot(*(points - (1.0, -2.0)).T)
        middles = np.hypot(*((points[1:] + points[:-1]) / 2 - (1.0, -2.0)).T)
        assert from_centre == pytest.approx(radius_m)
        assert (radius_m - middles).max() <= 0.001 + 1e-12
        fewer = np.hypot(*(arc_points((0, 0), radius_m, 0, 5.0 * (1 + 1 / (len(points) - 1)))[1]))
        assert fewer == pytest.approx(radius_m)


def test_no_more_chords_than_a_millimetre_asks_for():
    # r = 40 m: d = 2 acos(1 - 0.001 / 40) = 14.142 mrad, so a circle takes 6.28319 / 0.0141422 = 444.3: 445.
    assert len(arc_points((0, 0), 40.0, 0.0, math.tau)) - 1 == 445


@pytest.mark.parametrize("bulge", [1.0, -1.0, 0.2, -0.35, 2.5])
def test_a_bulge_is_the_tangent_of_a_quarter_of_the_angle(bulge):
    # Segment of a circle over a chord c: angle a = 4 atan |b|, radius c / (2 sin(a / 2)), area r² (a - sin a) / 2
    # (e.g. Bronshtein et al., Handbook of Mathematics, "circular segment"). The chords are inside the arc, each by
    # r² (d - sin d) / 2.
    chord = 8.0
    angle = 4 * math.atan(abs(bulge))
    radius = chord / (2 * math.sin(angle / 2))
    points = np.vstack([[0.0, 0.0], bulge_points(np.array([0.0, 0.0]), np.array([chord, 0.0]), bulge)])
    pieces = len(points) - 1
    segment = radius**2 * (angle - math.sin(angle)) / 2
    lost = pieces * radius**2 * (angle / pieces - math.sin(angle / pieces)) / 2
    assert shapely.Polygon(points).area == pytest.approx(segment - lost, rel=1e-9)
    # Counter-clockwise from start to end, a positive bulge passes to the right of the chord: below it.
    assert math.copysign(1.0, points[pieces // 2][1]) == -math.copysign(1.0, bulge)


def test_a_round_hall_of_two_bulges_has_the_area_of_a_circle():
    document, space = new_drawing(unit=4)
    space.add_lwpolyline(
        [(-6000, 0, 1), (6000, 0, 1)], format="xyb", close=True, dxfattribs={"layer": "floor"}
    )
    area = shapely.Polygon(read(document).outline_m).area
    circle = math.pi * 6.0**2
    # A strip of at most two thirds of a millimetre along 2 π 6 m is missing (the segment's area is 2/3 chord x rise).
    assert circle - 2 / 3 * 0.001 * math.tau * 6.0 - 1e-6 <= area < circle


@pytest.mark.parametrize("release", ["R12", "R2000", "R2018"])
def test_an_old_polyline_with_a_bulge_reads_as_the_new_one(release):
    document, space = new_drawing(unit=6, release=release)
    points = [(0, 0, 0), (10, 0, 0.5), (10, 6, 0), (0, 6, 0)]
    space.add_polyline2d(points, format="xyb", close=True, dxfattribs={"layer": "floor"})
    other, other_space = new_drawing(unit=6)
    other_space.add_lwpolyline(points, format="xyb", close=True, dxfattribs={"layer": "floor"})
    assert read(document).outline_m == read(other).outline_m
    assert len(read(other).outline_m) > 20


def test_a_polyline_drawn_from_below_is_turned_over():
    # Arbitrary axis algorithm of the DXF Reference: with the extrusion (0, 0, -1) x counts to the left.
    document, space = new_drawing(unit=6)
    shape = space.add_lwpolyline(
        [(0, 0, 0), (-10, 0, -0.3), (-10, 5, 0), (0, 5, 0)], format="xyb", close=True
    )
    shape.dxf.layer, shape.dxf.extrusion = "floor", (0, 0, -1)
    other, other_space = new_drawing(unit=6)
    other_space.add_lwpolyline(
        [(0, 0, 0), (10, 0, 0.3), (10, 5, 0), (0, 5, 0)],
        format="xyb",
        close=True,
        dxfattribs={"layer": "floor"},
    )
    assert shapely.Polygon(read(document).outline_m).symmetric_difference(
        shapely.Polygon(read(other).outline_m)
    ).area == pytest.approx(0.0, abs=1e-9)


def test_ellipse_and_spline_have_their_areas():
    document, space = new_drawing(unit=4)
    space.add_ellipse((9000, 7000), (6000, 0), 0.5, dxfattribs={"layer": "floor"})
    area = shapely.Polygon(read(document).outline_m).area
    # π a b, less up to two thirds of a millimetre along its girth of 29.07 m.
    assert math.pi * 6.0 * 3.0 - 2 / 3e3 * 29.07 <= area <= math.pi * 6.0 * 3.0
    document, space = new_drawing(unit=4)
    # A quarter of a circle as a rational quadratic spline (weights 1, cos 45°, 1), closed by two lines.
    spline = space.add_rational_spline(
        [(8000, 0), (8000, 8000), (0, 8000)], [1, math.sqrt(0.5), 1], degree=2, dxfattribs={"layer": "floor"}
    )
    assert spline.dxf.degree == 2
    space.add_line((0, 8000), (0, 0), dxfattribs={"layer": "floor"})
    space.add_line((0, 0), (8000, 0), dxfattribs={"layer": "floor"})
    assert shapely.Polygon(read(document).outline_m).area == pytest.approx(math.pi * 64 / 4, rel=2e-4)


# ---------------------------------------------------------------- loops


def test_loose_lines_and_arcs_are_joined_in_any_order_and_direction():
    # A stadium: 10 m by 6 m and two half circles of radius 3 m; area 60 + 9 π m², less what chords lose.
    document, space = new_drawing(unit=6)
    layer = {"layer": "floor"}
    space.add_line((10, 6), (0, 6), dxfattribs=layer)
    space.add_arc((0, 3), 3, 90, 270, dxfattribs=layer)
    space.add_line((10, 0), (0, 0), dxfattribs=layer)
    space.add_arc((10, 3), 3, -90, 90, dxfattribs=layer)
    floor = read(document)
    assert shapely.Polygon(floor.outline_m).area == pytest.approx(60 + 9 * math.pi, abs=2 / 3e3 * 6 * math.pi)
    assert not blocked(floor.findings)
    assert "H819" not in by_code(floor.findings)


def test_ends_meet_within_a_millimetre_and_not_beyond():
    for slip_mm, closes in ((0.9, True), (1.6, False)):
        document, space = new_drawing(unit=4)
        corners = [(0, 0), (9000, 0), (9000, 7000), (0, 7000)]
        for number, corner in enumerate(corners):
            end = corners[(number + 1) % 4]
            space.add_line((corner[0], corner[1] + slip_mm), end, dxfattribs={"layer": "floor"})
        floor = read(document)
        assert bool(floor.outline_m) == closes
        if closes:
            assert len(floor.outline_m) == 4
        else:
            (finding,) = by_code(floor.findings)["H816"]
            assert "do not close" in finding.message
            assert finding.value.startswith("open ends at 0.000, 0.000 m; 0.000, 0.002 m; ")


def test_a_polyline_that_comes_back_to_its_start_is_closed():
    document, space = new_drawing(unit=6)
    space.add_lwpolyline([*DEPOT_M, DEPOT_M[0]], dxfattribs={"layer": "floor"})
    assert same_ring(read(document).outline_m, DEPOT_M)


def test_lines_drawn_twice_do_no_harm():
    document, space = new_drawing(unit=6)
    for _ in range(2):
        for begin, end in zip(DEPOT_M, (*DEPOT_M[1:], DEPOT_M[0]), strict=True):
            space.add_line(begin, end, dxfattribs={"layer": "floor"})
    floor = read(document)
    assert same_ring(floor.outline_m, DEPOT_M)
    assert "H819" not in by_code(floor.findings)


def test_the_largest_of_several_outlines_is_taken_and_told():
    document, space = new_drawing(unit=6)
    add_loop(space, [(30, 0), (36, 0), (36, 5), (30, 5)], per_m=1.0)
    add_loop(space, DEPOT_M, per_m=1.0)
    floor = read(document)
    assert same_ring(floor.outline_m, DEPOT_M)
    (finding,) = by_code(floor.findings)["H819"]
    assert "the largest is taken" in finding.message
    assert "30.000, 0.000 m" in finding.value


def test_two_rooms_that_share_a_wall_are_two_outlines():
    document, space = new_drawing(unit=6)
    ends = [(0, 0), (12, 0), (12, 8), (0, 8)]
    walls = [
        ((0, 0), (12, 0)), ((12, 0), (12, 8)), ((12, 8), (0, 8)), ((0, 8), (0, 0)),
        ((12, 0), (16, 0)), ((16, 0), (16, 8)), ((16, 8), (12, 8)),
    ]  # fmt: skip
    for begin, end in walls:
        space.add_line(begin, end, dxfattribs={"layer": "floor"})
    floor = read(document)
    assert same_ring(floor.outline_m, ends)
    assert "several outlines" in by_code(floor.findings)["H819"][0].message


def test_loops_inside_the_outline_are_holes_and_what_lies_in_a_hole_is_told():
    document, space = new_drawing(unit=6)
    add_loop(space, DEPOT_M, per_m=1.0)
    pit = [(2, 2), (5, 2), (5, 4), (2, 4)]
    add_loop(space, pit, per_m=1.0)
    add_loop(space, [(3, 2.5), (4, 2.5), (4, 3.5), (3, 3.5)], per_m=1.0)
    space.add_circle((9, 6), 0.5, dxfattribs={"layer": "floor"})
    floor = read(document)
    kinds = [kind for kind, _ in floor.areas]
    assert kinds == ["hole", "hole"]
    assert same_ring(floor.areas[0][1], pit)
    assert shapely.Polygon(floor.areas[1][1]).centroid.distance(shapely.Point(9, 6)) < 1e-6
    assert "1 more: at 3.000, 2.500 m" in by_code(floor.findings)["H819"][0].value


def test_an_outline_that_crosses_itself_is_refused_with_the_place():
    document, space = new_drawing(unit=6)
    add_loop(space, [(0, 0), (10, 8), (10, 0), (0, 4)], per_m=1.0)
    (finding,) = by_code(read(document).findings)["H816"]
    assert "Self-intersection" in finding.value


# ---------------------------------------------------------------- layers and areas


@pytest.mark.parametrize("kind", AREA_KINDS)
def test_layers_named_like_the_kinds_become_areas(kind):
    document, space = new_drawing(unit=4)
    add_loop(space, DEPOT_M)
    corners = [(1, 1), (2.5, 1), (2.5, 2), (1, 2)]
    add_loop(space, corners, layer=kind.upper())
    add_loop(space, [(7, 7), (8, 7), (8, 8)], layer="furniture")
    floor = read(document)
    assert [found for found, _ in floor.areas] == [kind]
    assert same_ring(floor.areas[0][1], corners)
    assert f"1 {kind}" in by_code(floor.findings)["H818"][0].message


def test_the_layer_of_the_floor_is_chosen_and_a_missing_one_refused():
    document, space = new_drawing(unit=4)
    add_loop(space, DEPOT_M, layer="A-FLOR-OTLN")
    assert same_ring(read(document, "a-flor-otln").outline_m, DEPOT_M)
    (finding,) = by_code(read(document).findings)["H816"]
    assert finding.value == "floor"
    assert "a-flor-otln" in finding.limit


def test_an_open_area_blocks_for_a_pillar_must_not_be_lost():
    document, space = new_drawing(unit=4)
    add_loop(space, DEPOT_M)
    space.add_lwpolyline([(1000, 1000), (2000, 1000), (2000, 2000)], dxfattribs={"layer": "pillar"})
    floor = read(document)
    assert floor.outline_m == ()
    (finding,) = by_code(floor.findings)["H816"]
    assert "pillar" in finding.message
    assert finding.value == "open ends at 1.000, 1.000 m; 2.000, 2.000 m"


def test_a_loose_line_beside_a_good_outline_is_told():
    document, space = new_drawing(unit=4)
    add_loop(space, DEPOT_M)
    space.add_line((3000, 3000), (4000, 3000), dxfattribs={"layer": "floor"})
    space.add_text("shed 2", dxfattribs={"layer": "floor"})
    floor = read(document)
    assert same_ring(floor.outline_m, DEPOT_M)
    (finding,) = by_code(floor.findings)["H819"]
    assert finding.value == "open ends at 3.000, 3.000 m; 4.000, 3.000 m"


def test_shapes_that_are_not_read_are_told():
    document, space = new_drawing(unit=4)
    add_loop(space, DEPOT_M)
    space.add_3dface([(0, 0), (1, 0), (1, 1), (0, 1)], dxfattribs={"layer": "pillar"})
    tilted = space.add_circle((2000, 2000), 500, dxfattribs={"layer": "pillar"})
    tilted.dxf.extrusion = (0, 1, 1)
    values = {finding.value for finding in by_code(read(document).findings)["H819"]}
    assert values == {"1 3DFACE, 1 CIRCLE"}


def test_blocks_are_opened_and_scaled():
    document, space = new_drawing(unit=4)
    add_loop(space, DEPOT_M)
    block = document.blocks.new("column")
    block.add_lwpolyline([(-1, -1), (1, -1), (1, 1), (-1, 1)], close=True)  # on layer 0: takes the insert's
    for x in (3000, 6000):
        space.add_blockref("column", (x, 4000), {"layer": "pillar", "xscale": 200, "yscale": 300})
    floor = read(document)
    assert [kind for kind, _ in floor.areas] == ["pillar", "pillar"]
    assert same_ring(floor.areas[0][1], [(2.8, 3.7), (3.2, 3.7), (3.2, 4.3), (2.8, 4.3)])


# ---------------------------------------------------------------- harm


def test_blocks_in_blocks_do_not_grow_without_bound():
    document, space = new_drawing(unit=4)
    add_loop(space, DEPOT_M)
    below = document.blocks.new("level 0")
    below.add_line((0, 0), (1, 1))
    for level in range(1, 8):
        block = document.blocks.new(f"level {level}")
        for _ in range(12):
            block.add_blockref(f"level {level - 1}", (0, 0))
    space.add_blockref("level 7", (0, 0))  # 12^7 lines
    (finding,) = read(document).findings
    assert finding.code == "H815"
    assert "absurdly much" in finding.message


def test_absurd_numbers_are_refused():
    for value in (1e300, float("nan"), float("inf")):
        document, space = new_drawing(unit=6)
        space.add_lwpolyline([(0, 0), (value, 0), (5, 5)], close=True, dxfattribs={"layer": "floor"})
        floor = read(document)
        assert floor.outline_m == ()
        assert blocked(floor.findings)
    document, space = new_drawing(unit=6)
    add_loop(space, DEPOT_M, per_m=1.0)
    space.add_circle((0, 0), 1e12, dxfattribs={"layer": "pillar"})
    assert "H817" in by_code(read(document).findings)


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"   \n",
        b"\x00" * 400,
        b"AC1032" + b"\x00" * 500,  # the start of a DWG file
        b"%PDF-1.7\n1 0 obj\n",
        b"  0\nSECTION\n  2\nENTITIES\n  0\nLINE\n 10\nnot a number\n",
        struct.pack("<200d", *range(200)),
    ],
)
def test_what_is_no_drawing_is_refused(data):
    floor = read_floor_drawing(data, "hall.dxf", "floor")
    assert floor.outline_m == ()
    assert blocked(floor.findings)


def test_a_damaged_drawing_never_raises():
    # Every kind of damage to a sound file: cut off, bytes changed, lines taken out. Seeded.
    sound = depot_bytes()
    rng = np.random.default_rng(20261125)
    lines = sound.splitlines(keepends=True)
    entities = next(n for n, line in enumerate(lines) if line.strip() == b"ENTITIES")
    for trial in range(24):
        if trial % 3 == 0:
            data = sound[: int(rng.integers(len(sound)))]
        elif trial % 3 == 1:
            changed = bytearray(sound)
            for place in rng.integers(len(changed), size=20):
                changed[int(place)] = int(rng.integers(256))
            data = bytes(changed)
        else:
            out = int(rng.integers(entities, len(lines)))
            data = b"".join(lines[:out] + lines[out + 1 :])
        floor = read_floor_drawing(data, "hall.dxf", "floor")
        assert bool(floor.outline_m) != blocked(floor.findings)


def test_a_drawing_that_is_too_large_is_not_parsed(monkeypatch):
    monkeypatch.setattr("standfall.intake.floor_drawing.DRAWING_MOST_BYTES", 1000)
    (finding,) = read_floor_drawing(depot_bytes(), "hall.dxf", "floor").findings
    assert finding.code == "H815"
    assert finding.limit == "1,000 bytes"
