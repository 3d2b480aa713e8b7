"""The whole fall over a graph: splits, merges, two ways to fall, several starters, and what stays up."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from standfall.fall.chain import chain_fall
from standfall.fall.contact import find_contacts
from standfall.fall.falling import FALLEN, STALLED, UNTOUCHED, Fall, Strikes, topple
from standfall.fall.ground import Ground
from standfall.fall.pieces import Pieces

HEIGHT_M, WIDTH_M, THICKNESS_M, MASS_KG = 0.048, 0.024, 0.0075, 0.0085
GAP_M = 0.3 * HEIGHT_M
PITCH_M = GAP_M + THICKNESS_M
Floats = NDArray[np.float64]


def alike(count: int) -> Pieces:
    return Pieces.alike(count, height_m=HEIGHT_M, width_m=WIDTH_M, thickness_m=THICKNESS_M, mass_kg=MASS_KG)


def push(nodes: list[int], omega: float = 8.0, at_s: float = 0.0, waits_for: int = -1) -> Strikes:
    count = len(nodes)
    return Strikes(
        np.array(nodes, dtype=np.int32),
        np.full(count, at_s),
        np.full(count, omega),
        np.full(count, waits_for, dtype=np.int32),
        np.zeros(count, dtype=np.int16),
    )


def fall_of(
    x_m: Floats, y_m: Floats, strikes: Strikes, yaw_rad: Floats | None = None, ground: Ground | None = None
) -> Fall:
    yaw = np.zeros(len(x_m)) if yaw_rad is None else yaw_rad
    pieces = alike(len(x_m))
    contacts = find_contacts(x_m, y_m, np.zeros(len(x_m)), yaw, pieces, strikes.node)
    return topple(contacts, pieces, yaw, ground or Ground(), strikes)


def row(count: int, x_m: float = 0.0, y_m: float = 0.0) -> tuple[Floats, Floats]:
    return x_m + PITCH_M * np.arange(count), np.full(count, y_m)


def joined(*rows: tuple[Floats, Floats]) -> tuple[Floats, Floats]:
    return np.concatenate([x for x, _ in rows]), np.concatenate([y for _, y in rows])


def test_a_field_of_straight_columns_falls_as_so_many_chains() -> None:
    columns = [row(40, y_m=0.027 * column) for column in range(5)]
    x_m, y_m = joined(*columns)
    fall = fall_of(x_m, y_m, push([40 * column for column in range(5)]))
    chain = chain_fall(np.full(39, GAP_M), alike(40), Ground(), 8.0)
    assert fall.fallen == 200
    for column in range(5):
        assert fall.struck_s[40 * column : 40 * column + 40] == pytest.approx(chain.t_s, rel=1e-9)
    assert fall.striker[1:40].tolist() == list(range(39))


@pytest.mark.parametrize("angle", [0.0, 0.7, 2.4, -1.9])
def test_where_it_lies_in_the_hall_does_not_matter(angle: float) -> None:
    x_m, y_m = joined(row(20), row(10, 20 * PITCH_M, 0.013), row(10, 20 * PITCH_M, -0.013))
    wanted = fall_of(x_m, y_m, push([0]))
    turned_x, turned_y = (
        np.cos(angle) * x_m - np.sin(angle) * y_m + 7,
        np.sin(angle) * x_m + np.cos(angle) * y_m - 3,
    )
    fall = fall_of(turned_x, turned_y, push([0]), np.full(40, angle))
    assert fall.struck_s == pytest.approx(wanted.struck_s, rel=1e-6)


def test_a_split_slows_as_doubled_mass_does_and_both_branches_fall_alike() -> None:
    # "One drives two" is a row whose pieces weigh twice as much behind the split (J.M.J. van Leeuwen's sums do not
    # tell two pieces side by side, moving alike, from one of double mass).
    x_m, y_m = joined(row(15), row(20, 15 * PITCH_M, 0.013), row(20, 15 * PITCH_M, -0.013))
    fall = fall_of(x_m, y_m, push([0]))
    mass = np.full(35, MASS_KG)
    mass[15:] *= 2
    doubled = Pieces(np.full(35, HEIGHT_M), np.full(35, WIDTH_M), np.full(35, THICKNESS_M), mass)
    wanted = chain_fall(np.full(34, GAP_M), doubled, Ground(), 8.0)
    assert fall.fallen == 55
    assert fall.struck_s[15:35] == pytest.approx(fall.struck_s[35:55], abs=1e-12)
    assert fall.struck_s[:35] == pytest.approx(
        wanted.t_s, rel=1e-4
    )  # tails are cut by weight: at another piece


def test_a_late_branch_is_struck_when_its_striker_comes_to_it() -> None:
    late_m = 0.004
    x_m, y_m = joined(row(15), row(12, 15 * PITCH_M, 0.013), row(12, 15 * PITCH_M + late_m, -0.013))
    fall = fall_of(x_m, y_m, push([0]))
    lead = fall.struck_s[27] - fall.struck_s[15]
    # At some 0.7 m/s of the striking edge 4 mm take some 6 ms; the branch stays that much behind.
    assert 0.003 < lead < 0.012
    assert fall.striker[27] == 14
    assert fall.fallen == 39
    assert fall.struck_s[38] - fall.struck_s[26] == pytest.approx(lead, abs=0.01)


def test_two_rows_that_join_give_the_next_piece_both_their_motion() -> None:
    # Two equal rows, equal in time, drive one: the mirror of a split, as a row of doubled mass before the joint.
    x_m, y_m = joined(row(15, 0, 0.013), row(15, 0, -0.013), row(20, 15 * PITCH_M, 0.0))
    fall = fall_of(x_m, y_m, push([0, 15]))
    mass = np.full(35, MASS_KG)
    mass[:15] *= 2
    doubled = Pieces(np.full(35, HEIGHT_M), np.full(35, WIDTH_M), np.full(35, THICKNESS_M), mass)
    wanted = chain_fall(np.full(34, GAP_M), doubled, Ground(), 8.0)
    assert fall.fallen == 50
    assert np.concatenate([fall.struck_s[:15], fall.struck_s[30:]]) == pytest.approx(wanted.t_s, rel=1e-4)


def test_half_offset_rows_from_a_flat_front_fall_as_straight_ones_in_the_middle() -> None:
    columns, rows = 40, 30
    x_m = np.repeat(PITCH_M * np.arange(rows), columns)
    y_m = (0.027 * np.arange(columns) + 0.0135 * (np.arange(rows) % 2)[:, None]).ravel()
    fall = fall_of(x_m, y_m, push(list(range(columns))))
    chain = chain_fall(np.full(rows - 1, GAP_M), alike(rows), Ground(), 8.0)
    middle = fall.struck_s.reshape(rows, columns)[:, columns // 2]
    assert fall.fallen == columns * rows
    assert middle == pytest.approx(chain.t_s, rel=1e-4)


def test_half_offset_rows_carry_on_around_a_missing_piece() -> None:
    columns, rows = 12, 24
    x_m = np.repeat(PITCH_M * np.arange(rows), columns)
    y_m = (0.027 * np.arange(columns) + 0.0135 * (np.arange(rows) % 2)[:, None]).ravel()
    keep = np.ones(columns * rows, dtype=bool)
    keep[[6 * columns + 5, 7 * columns + 5, 7 * columns + 4, 8 * columns + 5]] = False
    fall = fall_of(x_m[keep], y_m[keep], push(list(range(columns))))
    assert fall.standing == 0


def test_one_missing_piece_is_crossed_and_two_are_not() -> None:
    x_m, y_m = row(30)
    one = np.arange(30) != 15
    assert fall_of(x_m[one], y_m[one], push([0])).standing == 0
    two = one & (np.arange(30) != 16)
    fall = fall_of(x_m[two], y_m[two], push([0]))
    assert fall.state[:15].tolist() == [FALLEN] * 15
    assert fall.state[15:].tolist() == [UNTOUCHED] * 13
    assert np.isnan(fall.struck_s[15:]).all()
    assert (fall.striker[15:] == -2).all()


def test_a_row_struck_from_its_front_falls_backwards() -> None:
    x_m, y_m = joined(row(10), row(10, 10 * PITCH_M))
    yaw = np.concatenate([np.zeros(10), np.full(10, np.pi)])
    fall = fall_of(x_m, y_m, push([0]), yaw)
    wanted = fall_of(x_m, y_m, push([0]))
    assert fall.backward.tolist() == [False] * 10 + [True] * 10
    assert fall.struck_s == pytest.approx(wanted.struck_s, rel=1e-9)


def test_a_slope_helps_one_way_and_hinders_the_other() -> None:
    x_m, y_m = row(30)
    down = Ground(slope_rad=0.05, downhill_rad=0.0)
    forward, backward = fall_of(x_m, y_m, push([0]), ground=down), fall_of(x_m, y_m, push([59]), ground=down)
    level = fall_of(x_m, y_m, push([0]))
    assert forward.struck_s[29] < level.struck_s[29] < backward.struck_s[0]
    uphill = fall_of(x_m, y_m, push([0]), ground=Ground(slope_rad=0.05, downhill_rad=np.pi))
    assert backward.struck_s[0] == pytest.approx(uphill.struck_s[29], rel=1e-9)


def test_two_fronts_that_meet_leave_nothing_standing() -> None:
    x_m, y_m = row(31)
    fall = fall_of(x_m, y_m, push([0, 31 + 30]))
    assert fall.standing == 0
    assert fall.struck_s[:15] == pytest.approx(fall.struck_s[30:15:-1], rel=1e-9)
    assert fall.backward[16:].all()
    assert not fall.backward[:15].any()


def test_a_ring_comes_round_to_its_start() -> None:
    radius_m, count = 0.5, 130
    angle = 2 * np.pi * np.arange(count) / count
    fall = fall_of(radius_m * np.cos(angle), radius_m * np.sin(angle), push([0]), angle + np.pi / 2)
    assert fall.standing == 0
    assert (np.diff(fall.struck_s) > 0).all()


def test_a_starter_that_waits_goes_off_after_its_line() -> None:
    x_m, y_m = joined(row(10), row(10, 0, 0.5))
    first, second = push([0]), push([10], at_s=0.25, waits_for=9)
    both = Strikes(
        *(
            np.concatenate([getattr(first, name), getattr(second, name)])
            for name in first.__dataclass_fields__
        )
    )
    fall = fall_of(x_m, y_m, both)
    assert fall.struck_s[10] == pytest.approx(fall.struck_s[9] + 0.25, abs=1e-6)
    alone = fall_of(x_m, y_m, second)
    assert alone.fallen == 0


def test_a_weak_push_leaves_the_first_piece_up_and_a_later_one_fells_it() -> None:
    x_m, y_m = row(20)
    weak = fall_of(x_m, y_m, push([0], omega=1.0))
    assert weak.state[0] == STALLED
    assert weak.margin[0] == 0
    assert weak.fallen == 0
    strikes = push([0, 0], omega=1.0)
    strikes.omega_rad_s[1], strikes.at_s[1] = 8.0, 2.0
    again = fall_of(x_m, y_m, strikes)
    assert again.standing == 0
    assert again.struck_s[0] == pytest.approx(2.0)


def test_strikes_after_the_end_are_left_out() -> None:
    x_m, y_m = row(20)
    pieces, yaw = alike(20), np.zeros(20)
    contacts = find_contacts(x_m, y_m, np.zeros(20), yaw, pieces)
    whole = topple(contacts, pieces, yaw, Ground(), push([0]))
    half = topple(contacts, pieces, yaw, Ground(), push([0]), until_s=float(whole.struck_s[10]) + 1e-4)
    assert np.isfinite(half.struck_s).sum() == 11


def test_every_fallen_piece_lies_after_it_was_struck_and_the_total_is_the_last() -> None:
    x_m, y_m = joined(row(40), row(30, 40 * PITCH_M, 0.013), row(30, 40 * PITCH_M, -0.013))
    fall = fall_of(x_m, y_m, push([0]))
    assert (fall.down_s > fall.struck_s).all()
    assert fall.total_s == fall.down_s.max()
    assert fall.mean_speed_m_s == pytest.approx(np.nanmean(fall.speed_m_s))
    assert 0 < fall.min_margin <= 1


def test_renumbering_the_pieces_renumbers_the_fall() -> None:
    x_m, y_m = joined(row(20), row(10, 20 * PITCH_M, 0.013), row(10, 20 * PITCH_M + 0.003, -0.013))
    order = np.random.default_rng(5).permutation(40)
    place = np.argsort(order)
    wanted = fall_of(x_m, y_m, push([0]))
    fall = fall_of(x_m[order], y_m[order], push([int(place[0])]))
    assert fall.struck_s[place] == pytest.approx(wanted.struck_s, rel=1e-9)


def test_no_dominoes_and_no_starters_are_no_error() -> None:
    empty = np.empty(0)
    nothing = fall_of(empty, empty, push([]))
    assert (len(nothing), nothing.fallen, nothing.total_s, nothing.min_margin) == (0, 0, 0.0, 0.0)
    still = fall_of(*row(3), push([]))
    assert still.standing == 3


def test_the_speed_of_half_offset_rows_is_that_along_the_fall() -> None:
    columns, rows = 10, 24
    x_m = np.repeat(PITCH_M * np.arange(rows), columns)
    y_m = (0.027 * np.arange(columns) + 0.0135 * (np.arange(rows) % 2)[:, None]).ravel()
    fall = fall_of(x_m, y_m, push(list(range(columns))))
    step_s = fall.struck_s[-columns] - fall.struck_s[-2 * columns]
    assert fall.speed_m_s[-columns] == pytest.approx(PITCH_M / step_s, rel=1e-6)
