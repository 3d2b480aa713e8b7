"""Contact graph: shapely (general-purpose library) as an independent judge, hand arithmetic, symmetry.

Lengths in the comments are in millimetres; the piece is 48 x 24 x 7.5 unless said otherwise.
"""

from __future__ import annotations

import math
from dataclasses import fields

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from shapely import affinity

from standfall.fall._contact_kernels import look_ahead
from standfall.fall.contact import BENCH_EDGES, Contacts, find_contacts, lay_out, new_bench
from standfall.fall.pieces import Pieces

HEIGHT_M, WIDTH_M, THICKNESS_M = 0.048, 0.024, 0.0075
Poses = tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]
Edge = tuple[float, float, float, float, float]  # gap, offset, turn, overlap, pitch


def alike(count: int) -> Pieces:
    return Pieces.alike(count, height_m=HEIGHT_M, width_m=WIDTH_M, thickness_m=THICKNESS_M, mass_kg=0.0085)


def poses_mm(*rows: tuple[float, ...]) -> Poses:
    """Poses from x, y (mm), yaw (degrees) and, where given, z (mm)."""
    table = np.array([(*row, 0.0)[:4] for row in rows], dtype=np.float64).reshape(-1, 4)
    return table[:, 0] / 1e3, table[:, 1] / 1e3, table[:, 3] / 1e3, np.radians(table[:, 2])


def field(
    rows: int, columns: int, *, shift_mm: float = 0.0, col_mm: float = 27.0, row_mm: float = 22.0
) -> Poses:
    """A field that falls along +x, row by row; odd rows stand ``shift_mm`` to the left."""
    row, column = np.divmod(np.arange(rows * columns), columns)
    zero = np.zeros(rows * columns)
    return row * row_mm / 1e3, (column * col_mm + (row % 2) * shift_mm) / 1e3, zero, zero.copy()


def scattered(seed: int, count: int, side_m: float, *, mixed: bool = False) -> tuple[Poses, Pieces]:
    """Pieces anywhere, facing anywhere, on one of two storeys; overlaps are part of it."""
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(0, side_m, (2, count))
    z = rng.choice([0.0, HEIGHT_M], count, p=[0.8, 0.2])
    yaw = rng.uniform(-7, 7, count)
    if not mixed:
        return (x, y, z, yaw), alike(count)
    scale = rng.uniform(0.4, 1.6, (3, count))
    mass = np.full(count, 0.0085)
    return (x, y, z, yaw), Pieces(HEIGHT_M * scale[0], WIDTH_M * scale[1], THICKNESS_M * scale[2], mass)


def edges_of(contacts: Contacts) -> dict[tuple[int, int], Edge]:
    owner = np.repeat(np.arange(len(contacts.first) - 1), np.diff(contacts.first))
    columns = (contacts.gap_m, contacts.offset_m, contacts.turn_rad, contacts.overlap, contacts.pitch_m)
    return {
        (int(striker), int(target)): tuple(float(column[k]) for column in columns)  # type: ignore[misc]
        for k, (striker, target) in enumerate(zip(owner, contacts.target, strict=True))
    }


def assert_same(got: dict[tuple[int, int], Edge], wanted: dict[tuple[int, int], Edge], within: float) -> None:
    assert sorted(got) == sorted(wanted)
    for pair, edge in wanted.items():
        assert got[pair] == pytest.approx(edge, abs=within), pair


# ------------------------------------------------------------------ shapely as judge


def judged(poses: Poses, pieces: Pieces) -> dict[tuple[int, int], Edge]:
    """Every pair tried with shapely polygons; bounds, differences of lines and areas are shapely's."""
    x, y, z, yaw = poses
    n = len(x)

    def footprint(j: int) -> shapely.Polygon:
        half_t, half_w = pieces.thickness_m[j] / 2, pieces.width_m[j] / 2
        flat = affinity.rotate(
            shapely.box(-half_t, -half_w, half_t, half_w), yaw[j], (0, 0), use_radians=True
        )
        return affinity.translate(flat, x[j], y[j])

    shapes = [footprint(j) for j in range(n)]
    found: dict[tuple[int, int], Edge] = {}
    waiting, known = list(range(n)), set(range(n))
    while waiting:
        node = waiting.pop()
        i = node % n
        way = yaw[i] + (math.pi if node >= n else 0.0)
        lead, half = pieces.thickness_m[i] / 2, pieces.width_m[i] / 2
        swept = shapely.box(0.0, -half, pieces.height_m[i], half)
        band = shapely.box(-2 * lead, -half, pieces.height_m[i], half)
        met: list[tuple[float, int, shapely.LineString]] = []
        for j in range(n):
            if j == i or abs(z[j] - z[i]) >= 1e-3:
                continue
            there = affinity.rotate(
                affinity.translate(shapes[j], -x[i], -y[i]), -way, (0, 0), use_radians=True
            )
            there = affinity.translate(there, -lead, 0.0)
            if there.intersection(swept).area < 1e-15:
                continue
            low_u, low_v, _, high_v = there.intersection(band).bounds
            met.append((low_u, j, shapely.LineString([(low_v, 0), (high_v, 0)])))
        for gap, j, stretch in met:
            nearer = shapely.unary_union([other for near, _, other in met if near < gap - 1e-6])
            seen = stretch.difference(nearer).length if not nearer.is_empty else stretch.length
            share = min(seen / min(pieces.width_m[i], pieces.width_m[j]), 1.0)
            if share < 0.02:
                continue
            ahead = math.cos(yaw[j] - way) >= 0
            target = j if ahead else j + n
            off = -(x[j] - x[i]) * math.sin(way) + (y[j] - y[i]) * math.cos(way)
            turn = math.remainder(yaw[j] + (0.0 if ahead else math.pi) - way, 2 * math.pi)
            found[node, target] = (gap, off, turn, share, math.dist((x[i], y[i]), (x[j], y[j])))
            if target not in known:
                known.add(target)
                waiting.append(target)
    return found


@settings(max_examples=30, deadline=None, derandomize=True)
@given(st.integers(0, 10**9), st.sampled_from([0.06, 0.15, 0.3]), st.booleans())
def test_scatterings_as_shapely_judges_them(seed: int, side_m: float, mixed: bool) -> None:
    poses, pieces = scattered(seed, 20, side_m, mixed=mixed)
    assert_same(edges_of(find_contacts(*poses, pieces)), judged(poses, pieces), 1e-9)


@settings(max_examples=15, deadline=None, derandomize=True)
@given(
    st.floats(-math.pi, math.pi),
    st.sampled_from([0.0, 13.5, 5.0, 8.1]),
    st.sampled_from([22.0, 14.0, 30.0]),
    st.integers(0, 99),
)
def test_turned_and_shaken_fields_as_shapely_judges_them(
    turn: float, shift_mm: float, row_mm: float, seed: int
) -> None:
    x, y, z, yaw = field(4, 5, shift_mm=shift_mm, row_mm=row_mm)
    rng = np.random.default_rng(seed)
    x, y = x + rng.normal(0, 5e-4, 20), y + rng.normal(0, 5e-4, 20)
    x, y = x * math.cos(turn) - y * math.sin(turn), x * math.sin(turn) + y * math.cos(turn)
    poses = (x, y, z, yaw + turn + rng.normal(0, 0.02, 20))
    assert_same(edges_of(find_contacts(*poses, alike(20))), judged(poses, alike(20)), 1e-9)


@pytest.mark.parametrize("radius_m", [0.06, 0.1, 0.2, 1.0])
@pytest.mark.parametrize("left", [1.0, -1.0])
@pytest.mark.parametrize("pitch_m", [0.012, 0.022, 0.04])
def test_curves_as_shapely_judges_them(radius_m: float, left: float, pitch_m: float) -> None:
    angle = left * pitch_m / radius_m * np.arange(24)
    x, y = radius_m * np.sin(np.abs(angle)), left * radius_m * (1 - np.cos(angle))
    poses = (x, y, np.zeros(24), angle)
    assert_same(edges_of(find_contacts(*poses, alike(24))), judged(poses, alike(24)), 1e-9)


# ------------------------------------------------------------------ worked by hand


def test_a_straight_field_drives_every_column_for_itself() -> None:
    # Pitch 22 less thickness 7.5: a gap of 14.5. Column 27 beside leaves 27 - 24 = 3 free, so nobody else is met;
    # the piece two rows on (gap 2 * 22 - 7.5 = 36.5 < 48) is hidden behind the next.
    contacts = find_contacts(*field(4, 3), alike(12))
    wanted = {(k, k + 3): (0.0145, 0.0, 0.0, 1.0, 0.022) for k in range(9)}
    assert_same(edges_of(contacts), wanted, 1e-12)
    assert len(contacts) == 12
    assert contacts.edges == 9
    assert contacts.first.tolist() == [*range(9), *[9] * 16]


def test_half_offset_rows_drive_two_each_and_show_a_third_through_the_slit() -> None:
    # The two ahead stand 27 / 2 = 13.5 aside: 24 - 13.5 = 10.5 of 24 are met, pitch sqrt(22^2 + 13.5^2).
    # Between them 27 - 24 = 3 are free, and through it the piece two rows on is seen: 3 / 24, gap 36.5.
    edges = edges_of(find_contacts(*field(3, 3, shift_mm=13.5), alike(9)))
    pitch_m = math.hypot(0.022, 0.0135)
    assert {pair: edge for pair, edge in edges.items() if pair[0] == 1} == {
        (1, 3): pytest.approx((0.0145, -0.0135, 0.0, 10.5 / 24, pitch_m)),
        (1, 4): pytest.approx((0.0145, 0.0135, 0.0, 10.5 / 24, pitch_m)),
        (1, 7): pytest.approx((0.0365, 0.0, 0.0, 3 / 24, 0.044)),
    }


@pytest.mark.parametrize(("slit_mm", "seen"), [(0.46, False), (0.48, True), (0.50, True), (0.0, False)])
def test_the_third_is_an_edge_from_a_fiftieth_of_the_width(slit_mm: float, seen: bool) -> None:
    # 0.02 * 24 = 0.48: exactly a fiftieth is an edge, whatever its last digit.
    poses = field(3, 3, shift_mm=12 + slit_mm / 2, col_mm=24 + slit_mm)
    assert ((1, 7) in edges_of(find_contacts(*poses, alike(9)))) is seen


def test_a_left_curve_worked_out() -> None:
    # Radius 200, 22 along the arc: 0.11 rad a piece. The next one's middle is at
    #   (200 sin 0.11, 200 (1 - cos 0.11)) = (21.9557, 1.2088), cos 0.11 = 0.993956, sin 0.11 = 0.109778.
    # Its left rear corner is at u = 21.9557 - 3.75 * 0.993956 - 12 * 0.109778 = 16.9110,
    #   v = 1.2088 - 3.75 * 0.109778 + 12 * 0.993956 = 12.7246: outside the band (12). On its rear face at v = 12,
    #   0.7246 / 0.993956 = 0.7290 along the face, u is 16.9110 + 0.7290 * 0.109778 = 16.9911.
    # Gap: 16.9911 - 3.75 = 13.2411. The right rear corner is at v = 1.2088 - 0.4117 - 11.9275 = -11.1304,
    #   so 23.1304 of 24 are met. Two on, 200 (1 - cos 0.22) = 4.8205: v from 4.8205 - 0.8184 - 11.7108 = -7.7087
    #   up: all hidden.
    angle = 0.11 * np.arange(3)
    poses = (0.2 * np.sin(angle), 0.2 * (1 - np.cos(angle)), np.zeros(3), angle)
    edges = edges_of(find_contacts(*poses, alike(3)))
    pitch_m = 2 * 0.2 * math.sin(0.055)  # chord
    one = (0.0132411, 0.0012088, 0.11, 23.1304 / 24, pitch_m)
    assert_same(edges, {(0, 1): one, (1, 2): one}, 1e-5)


def test_a_split_strikes_both_and_is_seen_through_between() -> None:
    # Asides of 13: 24 - 13 = 11 of 24 each; 2 * 13 - 24 = 2 free, through which 2 / 24 of the fourth are seen.
    poses = poses_mm((0, 0, 0), (22, 13, 0), (22, -13, 0), (44, 0, 0))
    edges = edges_of(find_contacts(*poses, alike(4)))
    assert edges[0, 1] == pytest.approx((0.0145, 0.013, 0.0, 11 / 24, math.hypot(0.022, 0.013)))
    assert edges[0, 2] == pytest.approx((0.0145, -0.013, 0.0, 11 / 24, math.hypot(0.022, 0.013)))
    assert edges[0, 3] == pytest.approx((0.0365, 0.0, 0.0, 2 / 24, 0.044))
    assert {pair for pair in edges if pair[0] == 1} == {(1, 3)}


def test_storeys_do_not_meet() -> None:
    x, y, z, yaw = field(3, 2)
    both = (np.tile(x, 2), np.tile(y, 2), np.concatenate([z, z + HEIGHT_M]), np.tile(yaw, 2))
    below, above = edges_of(find_contacts(x, y, z, yaw, alike(6))), edges_of(find_contacts(*both, alike(12)))
    assert len(below) == 4
    assert above == below | {(i + 6, j + 6): edge for (i, j), edge in below.items()}


def test_a_line_from_the_front_fells_a_field_backward() -> None:
    # Pieces 0..5: two columns, three rows along +x. Pieces 6, 7 come from +x against it, onto column 0.
    # The row falls as nodes 12 + k. From behind nobody is struck backward, so column 1 has no backward edges.
    x, y, z, yaw = field(3, 2)
    line = poses_mm((88, 0, 180), (66, 0, 180))
    poses = tuple(np.concatenate(pair) for pair in zip((x, y, z, yaw), line, strict=True))
    edges = edges_of(find_contacts(*poses, alike(8)))
    step = pytest.approx((0.0145, 0.0, 0.0, 1.0, 0.022), abs=1e-12)
    backward = {(6, 7): step, (7, 8 + 4): step, (8 + 4, 8 + 2): step, (8 + 2, 8 + 0): step}
    # The field's own end strikes the line's last piece, and so the line backward.
    forward = {(0, 2): step, (1, 3): step, (2, 4): step, (3, 5): step, (4, 8 + 7): step, (8 + 7, 8 + 6): step}
    assert edges == forward | backward


@pytest.mark.parametrize("yaw_deg", [90.0, -90.0, 270.0, 90.0 + 1e-8, -90.0 - 1e-8])
def test_a_piece_across_falls_forward(yaw_deg: float) -> None:
    # Across, the piece shows its thickness, 7.5 of 24; its side is 30 - 3.75 - 12 = 14.25 ahead.
    edges = edges_of(find_contacts(*poses_mm((0, 0, 0), (30, 0, yaw_deg)), alike(2)))
    turn = math.radians(math.remainder(yaw_deg, 360.0))
    assert edges[0, 1] == pytest.approx((0.01425, 0.0, turn, 7.5 / 24, 0.03), abs=1e-9)
    assert abs(edges[0, 1][2]) <= math.pi / 2


def test_just_beyond_a_right_angle_it_falls_backward() -> None:
    edges = edges_of(
        find_contacts(*poses_mm((0, 0, 0), (30, 0, 90.001), (-500, 0, 0), (-470, 0, -90.001)), alike(4))
    )
    assert edges[0, 4 + 1][2] == pytest.approx(math.radians(-89.999))
    assert edges[2, 4 + 3][2] == pytest.approx(math.radians(89.999))


@pytest.mark.parametrize(
    ("gap_mm", "seen"),
    [(47.9, True), (48.0, False), (48.1, False), (0.0, True), (-3.0, True), (-7.4, True), (-7.5, False)],
)
def test_reach_is_the_own_height_and_overlaps_are_told(gap_mm: float, seen: bool) -> None:
    edges = edges_of(find_contacts(*poses_mm((0, 0, 0), (7.5 + gap_mm, 0, 0)), alike(2)))
    # In one and the same place neither is ahead of the other.
    assert sorted(edges) == ([(0, 1)] if seen else [])
    if seen:
        assert edges[0, 1][0] == pytest.approx(gap_mm / 1e3, abs=1e-12)


def test_pieces_that_touch_side_by_side_do_not_strike() -> None:
    edges = edges_of(find_contacts(*field(2, 3, col_mm=24.0), alike(6)))
    assert sorted(edges) == [(0, 3), (1, 4), (2, 5)]


def test_reach_is_the_strikers_and_the_narrower_width_counts() -> None:
    # A 96 x 48 x 15 piece and a 48 x 24 x 7.5 one, 60 between their faces: 60 < 96, but not < 48.
    pieces = Pieces(*(np.array([big, big / 2]) for big in (0.096, 0.048, 0.015, 0.068)))
    poses = poses_mm((0, 0, 0), (7.5 + 60 + 3.75, 20, 180))
    # Aside 20: of 8..32 the band, 24 wide each way, meets 16; the narrower width is 24. Facing: it falls backward.
    edge = (0.06, 0.02, 0.0, 16 / 24, math.hypot(0.07125, 0.02))
    assert_same(edges_of(find_contacts(*poses, pieces)), {(0, 3): edge}, 1e-12)


# ------------------------------------------------------------------ symmetry, noise, order, misuse


def moved(poses: Poses, turn: float, shift: tuple[float, float]) -> Poses:
    x, y, z, yaw = poses
    return (
        x * math.cos(turn) - y * math.sin(turn) + shift[0],
        x * math.sin(turn) + y * math.cos(turn) + shift[1],
        z,
        yaw + turn,
    )


# Fields whose gaps, edges and slits sit exactly on a limit, besides ordinary ones.
limits = st.sampled_from(
    [(0.0, 24.0, 7.5), (12.0, 24.0, 22.0), (13.5, 27.0, 22.0), (0.0, 27.0, 55.5), (12.24, 24.48, 22)]
)
metres = st.floats(-100, 100)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(limits, st.floats(-7, 7), metres, metres)
def test_fields_on_a_limit_do_not_change_when_moved(
    limit: tuple[float, float, float], turn: float, x_m: float, y_m: float
) -> None:
    shift_mm, col_mm, row_mm = limit
    poses = field(4, 4, shift_mm=shift_mm, col_mm=col_mm, row_mm=row_mm)
    wanted = edges_of(find_contacts(*poses, alike(16)))
    assert_same(edges_of(find_contacts(*moved(poses, turn, (x_m, y_m)), alike(16))), wanted, 1e-9)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.integers(0, 10**9), st.floats(-7, 7), metres, metres)
def test_scatterings_do_not_change_when_moved(seed: int, turn: float, x_m: float, y_m: float) -> None:
    poses, pieces = scattered(seed, 40, 0.25, mixed=True)
    wanted = edges_of(find_contacts(*poses, pieces))
    assert_same(edges_of(find_contacts(*moved(poses, turn, (x_m, y_m)), pieces)), wanted, 1e-9)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.integers(0, 10**9))
def test_renumbering_renumbers_only(seed: int) -> None:
    poses, pieces = scattered(seed, 40, 0.25, mixed=True)
    order = np.random.default_rng(seed + 1).permutation(40)
    shuffled = edges_of(find_contacts(*(column[order] for column in poses), pieces.take(order)))
    number = np.concatenate([order, order + 40])
    back = {(int(number[i]), int(number[j])): edge for (i, j), edge in shuffled.items()}
    assert back == edges_of(find_contacts(*poses, pieces))


@settings(max_examples=30, deadline=None, derandomize=True)
@given(limits, st.integers(0, 10**9))
def test_rounding_noise_changes_no_edge(limit: tuple[float, float, float], seed: int) -> None:
    shift_mm, col_mm, row_mm = limit
    poses = field(4, 4, shift_mm=shift_mm, col_mm=col_mm, row_mm=row_mm)
    rng = np.random.default_rng(seed)
    noisy = tuple(column + rng.uniform(-2e-15, 2e-15, 16) for column in poses)
    assert_same(edges_of(find_contacts(*noisy, alike(16))), edges_of(find_contacts(*poses, alike(16))), 1e-12)


@settings(max_examples=30, deadline=None, derandomize=True)
@given(st.integers(0, 10**9))
def test_edges_are_in_order_and_backward_nodes_have_edges_only_when_struck(seed: int) -> None:
    poses, pieces = scattered(seed, 80, 0.3)
    contacts = find_contacts(*poses, pieces)
    assert contacts.first[0] == 0
    assert contacts.first[-1] == contacts.edges == len(contacts.target)
    assert all(
        len(getattr(contacts, part.name)) == contacts.edges
        for part in fields(Contacts)
        if part.name != "first"
    )
    struck = set(contacts.target.tolist())
    for node in range(160):
        mine = slice(contacts.first[node], contacts.first[node + 1])
        keys = list(zip(contacts.gap_m[mine].tolist(), contacts.target[mine].tolist(), strict=True))
        assert keys == sorted(keys)
        assert node < 80 or node in struck or not keys
    assert any(node >= 80 for node in struck)


def test_more_edges_than_a_bench_holds() -> None:
    # A half-offset field of r rows and c columns, even rows not shifted. Row to row: 2 c - 1 edges. Two rows on:
    # every piece sees the one ahead through the slit, 3 / 24; the outermost of a row miss one of the two that
    # hide it and see it all the more. So (r - 1)(2 c - 1) + (r - 2) c edges.
    rows, columns = 150, 250
    contacts = find_contacts(*field(rows, columns, shift_mm=13.5), alike(rows * columns))
    assert contacts.edges == (rows - 1) * (2 * columns - 1) + (rows - 2) * columns
    assert contacts.edges > BENCH_EDGES
    owner = np.repeat(np.arange(2 * rows * columns), np.diff(contacts.first))
    assert set(np.unique((contacts.target - owner) // columns).tolist()) <= {0, 1, 2}


def test_one_node_with_more_edges_than_the_first_bench_holds() -> None:
    # 60 slim pieces, 0.5 wide and 1 apart, side by side before one of 96: the bench for 61 pieces holds 504 edges,
    # so the inner one is made small instead.
    pieces = Pieces(
        *(
            np.array([wide] + [slim] * 60)
            for wide, slim in ((0.048, 0.048), (0.096, 0.0005), (0.0075, 0.0075), (1, 1))
        )
    )
    poses = poses_mm((0, 0, 0), *((20, k - 29.5, 0) for k in range(60)))
    floor = lay_out(*poses, pieces)
    assert look_ahead(floor, 0, 1.0, 0.0, 0.048, new_bench(59), 0) == -1
    assert look_ahead(floor, 0, 1.0, 0.0, 0.048, new_bench(60), 0) == 60
    edges = edges_of(find_contacts(*poses, pieces))
    assert [pair[1] for pair in edges if pair[0] == 0] == list(range(1, 61))


def test_many_pieces_in_nearly_one_place() -> None:
    # 200 pieces each 0.3 um ahead of the one before. Piece k meets those after it, the first at a gap of
    # 0.3 um - 7.5 mm; this one hides all that are 1 um farther, so the first four are met: 196 * 4 + 3 + 2 + 1.
    contacts = find_contacts(3e-7 * np.arange(200), np.zeros(200), np.zeros(200), np.zeros(200), alike(200))
    assert contacts.edges == 196 * 4 + 3 + 2 + 1
    assert contacts.gap_m[:4] == pytest.approx(3e-7 * np.arange(1, 5) - THICKNESS_M, abs=1e-12)


def test_a_floor_far_wider_than_its_pieces() -> None:
    poses = poses_mm((0, 0, 0), (22, 0, 0), (5e8, -3e8, 45), (-7e8, 9e8, 0), (-7e8 + 22, 9e8, 0))
    assert sorted(edges_of(find_contacts(*poses, alike(5)))) == [(0, 1), (3, 4)]


@pytest.mark.parametrize("count", [0, 1])
def test_none_and_one(count: int) -> None:
    contacts = find_contacts(*(np.zeros(count) for _ in range(4)), alike(count))
    assert len(contacts) == count
    assert contacts.first.tolist() == [0] * (2 * count + 1)
    assert contacts.edges == 0
    assert contacts.target.dtype == np.int32


def test_misuse_is_refused() -> None:
    good = np.zeros(2)
    with pytest.raises(ValueError, match="same dominoes"):
        find_contacts(good, np.zeros(3), good, good, alike(2))
    with pytest.raises(ValueError, match="not finite"):
        find_contacts(good, good, good, np.array([0.0, math.nan]), alike(2))
