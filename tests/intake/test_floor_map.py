"""A floor read from a robot's map, held against hand arithmetic and against shapely's own union of cells."""

import math

import numpy as np
import pytest
import shapely
from floor_case import by_code, levels_of, map_yaml, picture_of
from PIL import Image

from standfall.findings import Finding, blocked
from standfall.intake.floor_cells import blocks_of, floor_of_blocks, largest_part, shaved
from standfall.intake.floor_map import read_floor_map, read_map_facts

# An invented shed, 8 by 6 pixels, a pillar of one pixel in it.
SHED = """
########
#......#
#..#...#
#....###
#....###
########
"""


def facts_of(**changes):
    facts = read_map_facts(map_yaml(**changes), "depot.yaml")
    assert not isinstance(facts, Finding), facts
    return facts


def read(levels, **changes):
    return read_floor_map(facts_of(**changes), picture_of(levels), "depot.pgm")


# ---------------------------------------------------------------- where a cell lies


def test_rows_count_from_the_bottom_and_walls_are_the_edges_of_cells():
    # By hand: 0.5 m a pixel, lower left corner of the picture at (-1, 2). The picture's row 0 is the top, so
    # picture row r is map row 5 - r, from y = 2 + 0.5 (5 - r) to 0.5 m more. Free columns are 1 to 6: x from
    # -1 + 0.5 = -0.5 to -1 + 3.5 = 2.5. Free picture rows are 1 to 4: map rows 4 to 1, y from 2.5 to 4.5. In picture
    # rows 3 and 4 (map rows 2 and 1: y 2.5 to 3.5) only columns 1 to 4 are free: x up to -1 + 2.5 = 1.5.
    # A reader that takes cell middles for edges is off by 0.25 m; one that does not flip the rows has the
    # notch at the top.
    floor = read(levels_of(SHED))
    assert floor.outline_m == ((-0.5, 2.5), (1.5, 2.5), (1.5, 3.5), (2.5, 3.5), (2.5, 4.5), (-0.5, 4.5))
    # The pillar: column 3, picture row 2 = map row 3: x from 0.5 to 1.0, y from 3.5 to 4.0. Its lower right corner
    # does not touch the notch at (1.5, 3.5).
    ((kind, ring),) = floor.areas
    assert kind == "pillar"
    assert ring == ((0.5, 3.5), (1.0, 3.5), (1.0, 4.0), (0.5, 4.0))
    # 6 x 2 + 4 x 2 cells, one of them the pillar: 19 x 0.25 m² = 4.75 m².
    assert shapely.Polygon(floor.outline_m, [ring]).area == pytest.approx(4.75)


def test_the_map_may_be_turned_about_its_lower_left_corner():
    # A quarter turn: the map's x axis points along y. (0.5, 0.5) from the corner comes to (-1 - 0.5, 2 + 0.5).
    floor = read(levels_of(SHED), origin=f"[-1.0, 2.0, {math.pi / 2}]")
    wanted = {(-1.5, 2.5), (-1.5, 4.5), (-2.5, 4.5), (-2.5, 5.5), (-3.5, 5.5), (-3.5, 2.5)}
    assert set(floor.outline_m) == wanted


# ---------------------------------------------------------------- which cells are free


@pytest.mark.parametrize(
    ("grey", "free_thresh", "is_free"),
    [
        # p = (255 - v) / 255, free below free_thresh: 254 -> 0.0039; 206 -> 0.1922; 205 -> 0.19608; 191 -> 0.25098.
        (254, 0.196, True),
        (206, 0.196, True),
        (205, 0.196, False),
        (205, 0.25, True),
        (192, 0.25, True),
        (191, 0.25, False),
        (0, 0.25, False),
    ],
)
def test_free_is_below_the_threshold(grey, free_thresh, is_free):
    floor = read(np.full((4, 4), grey), free_thresh=free_thresh)
    assert bool(floor.outline_m) == is_free
    assert is_free or "H816" in by_code(floor.findings)


def test_unseen_cells_that_count_as_free_are_told():
    levels = np.full((6, 6), 254)
    levels[0] = 205
    assert "205" in by_code(read(levels, free_thresh=0.25).findings)["H819"][0].message
    assert "H819" not in by_code(read(levels, free_thresh=0.196).findings)


def test_negate_turns_black_and_white():
    # p = v / 255 with negate: black is free.
    levels = levels_of(SHED)
    assert read(255 - levels, negate=1).outline_m == read(levels).outline_m
    assert read(255 - levels, negate="true").outline_m == read(levels).outline_m


@pytest.mark.parametrize("kind", ["PNG", "BMP"])
def test_other_kinds_of_picture_read_the_same(kind):
    levels = levels_of(SHED)
    assert (
        read_floor_map(facts_of(), picture_of(levels, kind), "depot.png").outline_m == read(levels).outline_m
    )


def test_colours_are_averaged_and_what_is_transparent_was_not_seen(tmp_path):
    # (255 + 255 + 90) / 3 = 200: p = 0.216, not free at 0.196 but at 0.25.
    rgb = np.zeros((4, 4, 3), np.uint8) + np.array([255, 255, 90], np.uint8)
    assert not read(rgb, free_thresh=0.196).outline_m
    assert read(rgb, free_thresh=0.25).outline_m
    rgba = np.full((6, 6, 4), 255, np.uint8)
    rgba[:, 3:, 3] = 0
    floor = read_floor_map(facts_of(), picture_of(rgba, "PNG"), "depot.png")
    assert floor.outline_m == ((-1.0, 2.0), (0.5, 2.0), (0.5, 5.0), (-1.0, 5.0))


def test_a_plain_text_pgm_and_one_of_16_bits_read_the_same():
    levels = levels_of(SHED)
    rows = "\n".join(" ".join(map(str, row)) for row in levels)
    plain = f"P2\n# a comment\n8 6\n255\n{rows}\n".encode()
    deep = b"P5\n8 6\n65535\n" + (levels.astype(">u2") * 257).tobytes()
    for data in (plain, deep):
        assert read_floor_map(facts_of(), data, "depot.pgm").outline_m == read(levels).outline_m


def test_only_the_largest_part_is_floor_and_cells_that_touch_at_a_corner_do_not_hang_together():
    levels = levels_of("""
        ####....
        ####....
        ....####
        ....####
        ....####
    """)
    floor = read(levels)
    # The lower part: columns 0 to 3, map rows 0 to 2: x -1 to 1, y 2 to 3.5.
    assert floor.outline_m == ((-1.0, 2.0), (1.0, 2.0), (1.0, 3.5), (-1.0, 3.5))
    # The other one has 8 cells of 0.25 m².
    assert "2.0 m²" in by_code(floor.findings)["H819"][0].value


# ---------------------------------------------------------------- straight walls


def cells_union(free):
    """The other side: shapely's union of one box for each cell."""
    rows, columns = np.nonzero(free)
    return shapely.union_all(shapely.box(columns, rows, columns + 1, rows + 1))


@pytest.mark.parametrize("seed", range(6))
def test_blocks_cover_just_the_cells(seed):
    rng = np.random.default_rng(seed)
    part, others = largest_part(rng.random((17, 23)) < 0.6)
    assert part.sum() >= (others.max() if len(others) else 0)
    floor = floor_of_blocks(blocks_of(part))
    assert floor.equals(cells_union(part))
    assert floor.area == part.sum()


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("specks", [0.0, 0.01])
def test_a_straightened_floor_claims_nothing_and_loses_a_cell_and_a_quarter_at_most(seed, specks):
    rng = np.random.default_rng(seed)
    yy, xx = np.mgrid[0:60, 0:80]
    angle = rng.uniform(0, math.pi)
    across = (xx - 40) * math.cos(angle) + (yy - 30) * math.sin(angle)
    along = -(xx - 40) * math.sin(angle) + (yy - 30) * math.cos(angle)
    free = (abs(across) < 24) & (abs(along) < 17) & (rng.random((60, 80)) > specks)
    part, _ = largest_part(free)
    exact = floor_of_blocks(blocks_of(part))
    floor = shaved(exact)
    assert floor.is_valid
    assert exact.buffer(1e-9).covers(floor)
    # Every corner of the exact floor is still within a cell and a quarter of it.
    corners = shapely.points(shapely.get_coordinates(exact))
    assert shapely.distance(floor, corners).max() <= 1.25 + 1e-9
    assert len(floor.interiors) <= len(exact.interiors)
    most = 0.95 if specks else 0.75
    assert shapely.get_num_coordinates(floor) < most * shapely.get_num_coordinates(exact)


def test_a_slanting_wall_of_steps_becomes_one_straight():
    # Steps of one cell each: the corners that stick into the room lie on a straight at 45 degrees, from where the
    # first to where the last one is; the ends of the wall stay where the steps end.
    yy, xx = np.mgrid[0:12, 0:12]
    floor = shaved(floor_of_blocks(blocks_of(xx + yy < 12)))
    assert shapely.get_num_coordinates(floor) - 1 <= 6
    assert floor.covers(shapely.Polygon([(0, 0), (11, 0), (0, 11)]))
    assert floor.area >= 66  # 12 x 12 / 2 less half a cell for each of 12 steps


def test_the_corners_of_a_room_and_a_pillar_of_one_cell_stay():
    free = np.ones((20, 30), bool)
    free[7, 11] = False
    floor = shaved(floor_of_blocks(blocks_of(free)))
    assert floor.equals(shapely.box(0, 0, 30, 20).difference(shapely.box(11, 7, 12, 8)))


# ---------------------------------------------------------------- harm


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"image": None}, "image"),
        ({"image": "[a, b]"}, "image"),
        ({"resolution": None}, "resolution"),
        ({"resolution": 0}, "resolution"),
        ({"resolution": "-0.05"}, "resolution"),
        ({"resolution": ".nan"}, "resolution"),
        ({"resolution": ".inf"}, "resolution"),
        ({"resolution": 50}, "resolution"),
        ({"resolution": "true"}, "resolution"),
        ({"origin": "[0, 0]"}, "origin"),
        ({"origin": "[0, 0, north]"}, "origin"),
        ({"origin": "[.nan, 0, 0]"}, "origin"),
        ({"occupied_thresh": "1.5"}, "occupied_thresh"),
        ({"free_thresh": 0.7}, "free_thresh"),
        ({"negate": 2}, "negate"),
        ({"mode": "raw"}, "mode"),
        ({"resolution": "9" * 5000}, "plain YAML"),
    ],
)
def test_a_faulty_value_is_named(change, word):
    finding = read_map_facts(map_yaml(**change), "depot.yaml")
    assert isinstance(finding, Finding)
    assert finding.code == "H815"
    assert word in finding.message


def test_a_number_without_a_point_before_its_exponent_is_a_number():
    # YAML 1.1 takes 5e-2 for a text; YAML 1.2 and the readers of these maps take it for a number.
    assert facts_of(resolution="5e-2").resolution_m == 0.05


@pytest.mark.parametrize(
    "text",
    [
        b"image: !!python/object/apply:os.system ['touch harm']\n",
        b"!!python/object/new:subprocess.Popen [[touch, harm]]\n",
        b"image: !include /etc/passwd\n",
        b"image: {a: [\n",
        b"\xff\xfe\x00",
        b"- just\n- a list\n",
        b"a text",
        b"",
        b"[" * 40_000,
        b"x: &a [1]\ny: *b\n",
    ],
)
def test_what_is_no_plain_yaml_of_a_map_is_refused(text, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    finding = read_map_facts(text, "depot.yaml")
    assert isinstance(finding, Finding)
    assert finding.code == "H815"
    assert not (tmp_path / "harm").exists()


def test_aliases_that_multiply_do_no_harm():
    # Nine levels of nine aliases: 387 million items if they were copied.
    lines = ["a0: &a0 [x, x, x, x, x, x, x, x, x]"]
    lines += [f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 9)}]" for n in range(1, 9)]
    finding = read_map_facts(("\n".join(lines) + "\norigin: *a8\n").encode(), "depot.yaml")
    assert isinstance(finding, Finding)


def test_a_yaml_that_is_too_large_is_not_parsed():
    finding = read_map_facts(b"#" * 70_000, "depot.yaml")
    assert isinstance(finding, Finding)
    assert "absurdly much" in finding.message


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"P5\n8 6\n255\n123",  # cut short
        b"P5\n99999999 99999999\n255\n",
        b"P5\n6000 6000\n255\n",  # more pixels than a hall
        b"GIF89a" + b"\x00" * 40,
        b"<svg xmlns='http://www.w3.org/2000/svg'/>",
    ],
)
def test_what_is_no_picture_of_a_map_is_refused(data):
    floor = read_floor_map(facts_of(), data, "depot.pgm")
    assert floor.outline_m == ()
    assert [finding.code for finding in floor.findings] == ["H815"]


def test_a_map_of_specks_is_refused():
    rng = np.random.default_rng(5)
    levels = np.where(rng.random((900, 900)) < 0.75, 254, 0)
    floor = read_floor_map(facts_of(resolution=0.05), picture_of(levels), "depot.pgm")
    assert blocked(floor.findings)
    assert "ragged" in floor.findings[-1].message


@pytest.mark.parametrize(("resolution", "origin"), [(0.01, "[0, 0, 0]"), (0.5, "[5000, 0, 0]")])
def test_a_floor_too_small_or_too_far_away_is_refused(resolution, origin):
    floor = read(levels_of(SHED), resolution=resolution, origin=origin)
    assert [finding.code for finding in floor.findings] == ["H817"]


def test_a_picture_of_another_kind_inside_is_not_opened(tmp_path):
    path = tmp_path / "depot.tif"
    Image.new("L", (8, 8), 255).save(path)
    assert not read_floor_map(facts_of(), path.read_bytes(), "depot.pgm").outline_m
