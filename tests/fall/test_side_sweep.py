"""Pieces that turn as they fall: MuJoCo and shapely (general-purpose), hand arithmetic, the contact search itself.

Lengths in the comments are in millimetres; the piece is 48 x 24 x 7.5 unless said otherwise.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from rigid import let_fall
from shapely import affinity

from standfall.fall.contact import Contacts, find_contacts
from standfall.fall.ground import Ground
from standfall.fall.pieces import Pieces
from standfall.fall.side_sweep import LOOK_RAD, SideSweep, most_turn_rad, side_sweeps, struck_turns

HEIGHT_M, WIDTH_M, THICKNESS_M = 0.048, 0.024, 0.0075
Poses = tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]


def alike(count: int) -> Pieces:
    return Pieces.alike(count, height_m=HEIGHT_M, width_m=WIDTH_M, thickness_m=THICKNESS_M, mass_kg=0.0085)


def poses_mm(*rows: tuple[float, float, float]) -> Poses:
    """Poses from x, y (mm) and yaw (degrees)."""
    table = np.array(rows, dtype=np.float64).reshape(-1, 3)
    return table[:, 0] / 1e3, table[:, 1] / 1e3, np.zeros(len(table)), np.radians(table[:, 2])


def edge_from(contacts: Contacts, striker: int, target: int) -> NDArray[np.int64]:
    begin, end = contacts.first[striker], contacts.first[striker + 1]
    return begin + np.flatnonzero(contacts.target[begin:end] == target)


def swept(poses: Poses, pieces: Pieces, striker: int, target: int) -> SideSweep:
    contacts = find_contacts(*poses, pieces)
    edges = edge_from(contacts, striker, target)
    assert len(edges) == 1
    return side_sweeps(*poses, pieces, contacts, edges)


# ------------------------------------------------------------------ how far it turns


@pytest.mark.parametrize("step", [0.3, 0.5, 0.7, 0.9, 0.95, -0.7, -0.9])
def test_mujoco_turns_it_that_way_and_no_farther(step: float) -> None:
    # A row whose pieces from the fifth on stand a step of so many widths to the left. Struck on its right half, the
    # fifth turns counter-clockwise, positive.
    x, y = np.arange(8) * (0.25 * HEIGHT_M + THICKNESS_M), np.where(np.arange(8) >= 4, step * WIDTH_M, 0.0)
    outcome = let_fall(x, y, np.zeros(8), alike(8), Ground(0.2, floor_friction=0.5), push_rad_s={0: 3.0})
    contacts = find_contacts(x, y, np.zeros(8), np.zeros(8), alike(8))
    told = float(struck_turns(alike(8), contacts, edge_from(contacts, 3, 4))[0])
    turned = float(outcome.turned_rad[4])
    assert outcome.toppled.all()
    assert abs(turned) < abs(told) + math.radians(1.0)  # a straight row's pieces end up to a degree askew too
    if abs(step) >= 0.7:
        assert math.copysign(1.0, turned) == math.copysign(1.0, told) == math.copysign(1.0, step)
        assert abs(turned) > math.radians(2.0)


@pytest.mark.parametrize(
    ("aside_mm", "turn_deg"),
    [
        (0.0, 0.0),
        (11.9, 0.0),
        (12.0, 4.0),
        (-12.0, -4.0),
        # 13.5 / 24 = 0.5625: 4 + 38 * 0.0625 / 0.2 = 15.875
        (13.5, 15.875),
        (16.8, 42.0),
        (-21.6, -55.0),
        (22.8, 66.0),
        (23.4, 66.0),
    ],
)
def test_between_the_steps_tried_it_is_a_straight_line(aside_mm: float, turn_deg: float) -> None:
    contacts = find_contacts(*poses_mm((0, 0, 0), (22, aside_mm, 0)), alike(2))
    assert np.degrees(struck_turns(alike(2), contacts, np.array([0]))) == pytest.approx([turn_deg])


def test_less_than_half_met_counts_as_the_step() -> None:
    # A step of 0.3 of which something nearer hides so much that only 0.3 of the width is met: as a step of 0.7.
    assert np.degrees(most_turn_rad(np.array([0.3, 0.3]), np.array([0.3, 0.7]))) == pytest.approx([42.0, 0.0])


def test_a_turned_frame_and_a_backward_fall_turn_the_same_way() -> None:
    # As (22, 16.8) above, but the line runs along 130 degrees and the struck piece faces the striker.
    c, s = math.cos(math.radians(130)), math.sin(math.radians(130))
    poses = poses_mm((0, 0, 130), (22 * c - 16.8 * s, 22 * s + 16.8 * c, -50))
    contacts = find_contacts(*poses, alike(2))
    assert contacts.target[0] == 2 + 1
    assert np.degrees(struck_turns(alike(2), contacts, np.array([0]))) == pytest.approx([42.0])


def test_what_counts_is_where_the_met_part_lies() -> None:
    # A piece 8 wide strikes one 24 wide: the 8 from 6 to 14 aside lie to 12 on it, middle 9, of a half width of 12:
    # 0.75, so 42 + 13 * 0.05 / 0.2 = 45.25 degrees. The other way round the 8 wide one, 3 aside, is met in full.
    pieces = Pieces(
        *(np.array(pair) for pair in ((0.048, 0.048), (0.008, 0.024), (0.0075, 0.0075), (3.0, 8.5)))
    )
    contacts = find_contacts(*poses_mm((0, 0, 0), (22, -10, 0)), pieces)
    assert np.degrees(struck_turns(pieces, contacts, np.array([0]))) == pytest.approx([-45.25])
    wide_first = pieces.take(np.array([1, 0]))
    contacts = find_contacts(*poses_mm((0, 0, 0), (22, -3, 0)), wide_first)
    assert struck_turns(wide_first, contacts, np.array([0])).tolist() == [0.0]


# ------------------------------------------------------------------ whom it meets


def test_a_line_that_meets_a_field_between_two_columns() -> None:
    # Columns 27 apart at y 0 and -27, rows 22 apart; the line comes in at y 16.8 (0.7 widths): the first piece of
    # column 0, to its right, turns clockwise by up to 42 degrees. Turned, it meets its neighbour on the right and that
    # one's successor; the column at +27 lies on the other side.
    field = [(22.0 * row, y, 0.0) for row in range(2) for y in (0.0, -27.0, 27.0)]
    poses = poses_mm((-22, 16.8, 0), *field)
    # The striker also meets the column at 27: 27 - 16.8 = 10.2 aside.
    sweep = swept(poses, alike(7), 0, 1)
    assert sweep.struck.tolist() == [1] * len(sweep)
    assert np.degrees(sweep.turn_rad) == pytest.approx([-42.0] * len(sweep))
    assert sweep.neighbour.tolist() == [2, 5]
    # Mirrored, the mirrored ones.
    x, y, z, yaw = poses
    mirrored = swept((x, -y, z, -yaw), alike(7), 0, 1)
    assert mirrored.neighbour.tolist() == [2, 5]
    assert np.degrees(mirrored.turn_rad) == pytest.approx([42.0, 42.0])


@pytest.mark.parametrize(("turned_deg", "told"), [(15.875, False), (42.0, True)])
def test_beside_it_by_hand(turned_deg: float, told: bool) -> None:
    # One neighbour beside the struck piece, to its left at y 27: 15 to 39, x -3.75 to 3.75. Turned by t, the near
    # corner of the ground it sweeps starts at (3.75 c - 12 s, 3.75 s + 12 c) and runs along (c, s).
    # t = 15.875 degrees: c 0.9619, s 0.2735: from (0.32, 12.57) it is at x = 3.75 after 3.56, y = 13.55 < 15: past.
    # t = 42: c 0.7431, s 0.6691: from (-5.24, 11.43) it is at y = 15 after 5.34, x = -1.28: it bites.
    aside = {15.875: 13.5, 42.0: 16.8}[turned_deg]
    sweep = swept(poses_mm((-22, -aside, 0), (0, 0, 0), (0, 27, 0)), alike(3), 0, 1)
    assert sweep.neighbour.tolist() == ([2] if told else [])


def test_targets_the_striker_and_other_storeys_are_no_neighbours() -> None:
    # Struck at 0.95 widths, piece 1 turns left by up to 66 degrees. Piece 2 straight ahead is its target anyway;
    # piece 3 stands beside it, a storey up.
    x, y, z, yaw = poses_mm((-22, -22.8, 0), (0, 0, 0), (22, 0, 0), (0, 27, 0))
    z[3] = HEIGHT_M
    contacts = find_contacts(x, y, z, yaw, alike(4))
    sweep = side_sweeps(x, y, z, yaw, alike(4), contacts, np.arange(contacts.edges))
    assert len(sweep) == 0
    z[3] = 0.0
    contacts = find_contacts(x, y, z, yaw, alike(4))
    sweep = side_sweeps(x, y, z, yaw, alike(4), contacts, np.arange(contacts.edges))
    assert list(zip(sweep.struck.tolist(), sweep.neighbour.tolist(), strict=True)) == [(1, 3)]
    assert sweep.edge.tolist() == edge_from(contacts, 0, 1).tolist()


def test_half_offset_rows_do_not_sweep_into_each_other() -> None:
    # Every piece is struck 13.5 aside, 15.9 degrees: beside it, see above, it passes; ahead its targets hide the rest.
    row, column = np.divmod(np.arange(12 * 12), 12)
    x, y, zero = row * 0.022, column * 0.027 + (row % 2) * 0.0135, np.zeros(144)
    contacts = find_contacts(x, y, zero, zero, alike(144))
    inner = np.flatnonzero(np.abs(contacts.offset_m) > 0.001)
    assert len(inner) == 11 * 23
    sweep = side_sweeps(x, y, zero, zero, alike(144), contacts, inner)
    # On the rim, where a target lacks, a farther one shows.
    on_rim = np.isin(column[sweep.struck], [0, 11])
    assert on_rim.all()


@settings(max_examples=25, deadline=None, derandomize=True)
@given(st.integers(0, 10**9), st.floats(-math.pi, math.pi))
def test_scatterings_as_found_with_turned_pieces(seed: int, way: float) -> None:
    """Whom a turned piece meets is what the contact search finds when that piece alone is turned."""
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(0, 0.2, (2, 30))
    poses, pieces = (x, y, np.zeros(30), way + rng.normal(0, 0.4, 30)), alike(30)
    contacts = find_contacts(*poses, pieces)
    used = rng.permutation(contacts.edges)[:15]
    sweep = side_sweeps(*poses, pieces, contacts, used)
    turns = struck_turns(pieces, contacts, used)
    owner = np.repeat(np.arange(60), np.diff(contacts.first))
    wanted = []
    for edge, turn in zip(used, turns, strict=True):
        node = int(contacts.target[edge])
        mine = slice(contacts.first[node], contacts.first[node + 1])
        known = {*(contacts.target[mine] % 30).tolist(), int(owner[edge]) % 30}
        looks = math.ceil(abs(turn) / LOOK_RAD)
        met: set[int] = set()
        for look in range(1, looks + 1):
            yaw = poses[3].copy()
            yaw[node % 30] += turn * look / looks + (math.pi if node >= 30 else 0.0)
            turned = find_contacts(x, y, poses[2], yaw, pieces)
            met |= set((turned.target[turned.first[node % 30] : turned.first[node % 30 + 1]] % 30).tolist())
        wanted += [(int(edge), node % 30, j, turn) for j in sorted(met - known)]
    columns = (sweep.edge, sweep.struck, sweep.neighbour, sweep.turn_rad)
    assert list(zip(*(column.tolist() for column in columns), strict=True)) == wanted


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.floats(12.0, 23.4), st.floats(-60, 60), st.floats(-60, 60), st.floats(-180, 180))
def test_one_neighbour_as_shapely_sweeps_it(
    aside_mm: float, x_mm: float, y_mm: float, yaw_deg: float
) -> None:
    """With nobody to hide it, a neighbour is told when it meets the union of all the turned rectangles."""
    poses = poses_mm((-22, -aside_mm, 0), (0, 0, 0), (x_mm, y_mm, yaw_deg))
    contacts = find_contacts(*poses, alike(3))
    edges = edge_from(contacts, 0, 1)
    if len(edges) == 0 or 2 in contacts.target[contacts.first[1] : contacts.first[2]] % 3:
        return
    turn = float(struck_turns(alike(3), contacts, edges)[0])
    half_t, half_w = THICKNESS_M * 500, WIDTH_M * 500
    ground = shapely.box(half_t, -half_w, half_t + HEIGHT_M * 1e3, half_w)
    union = shapely.unary_union(
        [affinity.rotate(ground, part, (0, 0), use_radians=True) for part in np.linspace(0, turn, 400)]
    )
    piece = affinity.rotate(shapely.box(-half_t, -half_w, half_t, half_w), yaw_deg, (0, 0))
    piece = affinity.translate(piece, x_mm, y_mm)
    told = 2 in side_sweeps(*poses, alike(3), contacts, edges).neighbour
    # Told is what shows a fiftieth of the width, 0.48: of a bite nowhere wider than 0.6 it may show less.
    if told:
        assert piece.intersects(union)
    elif turn != 0:
        assert piece.intersection(union).buffer(-0.3).is_empty


def test_none_asked_none_told() -> None:
    poses = poses_mm((0, 0, 0), (22, 0, 0))
    contacts = find_contacts(*poses, alike(2))
    for edges in (np.empty(0, np.int64), np.array([0])):
        sweep = side_sweeps(*poses, alike(2), contacts, edges)
        assert len(sweep) == 0
        assert (sweep.edge.dtype, sweep.struck.dtype, sweep.neighbour.dtype) == (np.int64, np.int32, np.int32)


def test_more_found_than_fits_at_once() -> None:
    # 400 pieces 0.1 wide on an arc round the struck piece, beyond what it sees straight ahead.
    angle = np.radians(np.linspace(35, 100, 400))
    ring = np.column_stack([45 * np.cos(angle), 45 * np.sin(angle), np.degrees(angle)])
    poses = poses_mm((-22, -22.8, 0), (0, 0, 0), *ring)
    slim = np.r_[WIDTH_M, WIDTH_M, np.full(400, 0.0001)]
    pieces = Pieces(np.full(402, HEIGHT_M), slim, np.full(402, THICKNESS_M), np.full(402, 0.0085))
    sweep = swept(poses, pieces, 0, 1)
    # Their near ends are 45 - 3.75 = 41.25 from its middle. Turned by up to 66 degrees its band, 24 wide, ends there
    # at 66 + asin(12 / 41.25) = 82.91 degrees. 65 / 399 degrees apart from 35: 295, more than a first bench of 256.
    inside = int((np.degrees(angle) < 82.91).sum())
    assert inside == 295
    assert abs(len(sweep) - inside) <= 1
    assert sweep.neighbour.tolist() == list(range(2, 2 + len(sweep)))
