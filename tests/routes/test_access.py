"""Access: the orders found, and those not found, against every order tried out with shapely alone."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from access_case import CORNER, FRONT, SKIRTS, UP, Case, patch, stacked
from board import Board, Referee, box, make_brief, random_board, tile_box
from hypothesis import given, settings
from hypothesis import strategies as st

from standfall.brief import Area, Crew, Dock
from standfall.routes.access import find_access
from standfall.routes.free_cells import make_ground

# What the two referees, with 2 mm more and 2 mm less room all round, do not agree on hangs on a hair.
HAIR_M = 0.002
BOARDS = range(170)


@pytest.mark.parametrize("tens", range(len(BOARDS) // 10))
def test_lays_as_many_as_the_best_of_all_orders(tens):
    # ``Referee`` tries every order of each board (by the sets they reach) and shares no geometry with the search.
    judged = 0
    for seed in BOARDS[10 * tens : 10 * tens + 10]:
        board = random_board(seed)
        if not board.tiles:
            continue
        strict, lenient = Referee(board, HAIR_M), Referee(board, -HAIR_M)
        most = strict.laid_most()
        if most != lenient.laid_most():
            continue
        judged += 1
        access = Case(board).access()
        assert len(access.order) == most, seed
        # Up to seven tiles are within what is proven.
        assert access.layable_most == most, seed
        assert sorted([*access.order.tolist(), *access.left_out]) == list(range(len(board.tiles)))
        assert bool(access.trapped) == (most < len(board.tiles))
        # The order itself, step by step.
        for at, step in enumerate(access.order.tolist()):
            assert lenient.can_be_last(step, access.order[:at].tolist()), (seed, step)
    # Of all 170 boards two hang on a hair and are not judged: 71 and 97.
    assert judged >= 8


def test_boards_are_worth_judging():
    # Counted over boards with two or more tiles by the search itself: all laid, some and none.
    kinds = {"all": 0, "some": 0, "none": 0}
    for seed in BOARDS:
        board = random_board(seed)
        laid = len(Case(board).access().order) if board.tiles else 0
        if board.tiles:
            kinds["all" if laid == len(board.tiles) else "some" if laid else "none"] += 1
    assert sum(kinds.values()) >= 150
    assert min(kinds.values()) >= 20, kinds


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 400), st.data())
def test_less_standing_never_hurts(seed, data):
    board = random_board(seed)
    if len(board.tiles) < 2:
        return
    case = Case(board)
    tile = data.draw(st.integers(0, len(board.tiles) - 1))
    others = [k for k in range(len(board.tiles)) if k != tile]
    standing = data.draw(st.sets(st.sampled_from(others), min_size=1))
    gone = data.draw(st.sampled_from(sorted(standing)))
    if len(case.access(standing=standing, wanted=[tile]).order):
        assert len(case.access(standing=standing - {gone}, wanted=[tile]).order) == 1


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 400), st.integers(0, 1000), st.sampled_from([0.05, 0.11, 0.3]))
def test_what_is_trapped_hangs_neither_on_preference_nor_on_cells(seed, other, cell_m):
    board = random_board(seed)
    if not board.tiles:
        return
    first = Case(board).access()
    preference = np.random.default_rng(other).normal(size=len(board.tiles))
    second = Case(board, cell_m=cell_m).access(preference)
    assert second.trapped == first.trapped
    assert second.layable_most == first.layable_most


@pytest.mark.parametrize("robot", [FRONT, CORNER], ids=["tray in front", "arm at one side"])
def test_robots_with_a_free_side_fill_a_field(robot):
    access = Case(patch(6, 5, (robot,))).access()
    assert len(access.order) == 30 and access.trapped == () and access.left_out == ()


def test_skirts_on_both_sides_wall_themselves_out():
    # A skirt takes 50 mm beside the tile, dominoes of the next one begin after 10 mm: of two neighbours in a row
    # whichever is laid second is in the way of itself. So in a row of four at most two can stand, 2 x 3 = 6 in all.
    access = Case(patch(4, 3, (SKIRTS,))).access()
    assert access.trapped == tuple(range(12))
    assert len(access.order) == access.layable_most == 6
    for row in range(3):
        laid = sorted(step - 4 * row for step in access.order.tolist() if step // 4 == row)
        assert len(laid) == 2 and laid[1] - laid[0] > 1
    # With every second column open all can be laid.
    apart = patch(4, 3, (SKIRTS,))
    open_columns = replace(apart, tiles=tuple(tile for k, tile in enumerate(apart.tiles) if k % 2 == 0))
    assert len(Case(open_columns).access().order) == 6


def test_fallen_patch_in_a_standing_field():
    # The middle tile of five by five fell. Behind it in its column stand two tiles, and the body (0.4 m wide with 30
    # mm on each side) has 0.52 m between the dominoes of the columns left and right once those two are gone.
    board = patch(5, 5, (FRONT,), Crew(reach_m=0.6, room_m=0.6))
    middle, behind = 12, (2, 7)
    standing = [k for k in range(25) if k != middle]
    case = Case(board)
    access = case.access(standing=standing, wanted=[middle], hand_allowed=True)
    # From the nearest side, 0.75 m from the middle, a person kneels 0.33 m off and more: too far for 0.9 m in all.
    assert access.trapped == (middle,) and len(access.order) == 0
    turned_round = (17, 22)
    assert access.trapped_by[middle] in (behind, turned_round)
    assert access.layable_most == 0 and access.left_out == (middle,)
    # Long arms, 1.2 m from the edge: the farthest corner is hypot(0.24, 0.75 - 0.01 + 0.33 + 0.14) = 1.23 off.
    long_arms = replace(board, brief=replace(board.brief, crew=Crew(reach_m=1.2, room_m=0.6)))
    by_hand = Case(long_arms).access(standing=standing, wanted=[middle], hand_allowed=True)
    assert by_hand.order.tolist() == [middle] and by_hand.stance.model.tolist() == [-1]
    x, y = by_hand.stance.x_m[0], by_hand.stance.y_m[0]
    stand = shapely.union_all([shapely.Polygon(tile_box(tile)) for tile in board.tiles])
    assert stand.distance(shapely.Point(x, y)) >= 0.33
    corners = tile_box(board.tiles[middle])
    assert np.hypot(*(corners - (x, y)).T).max() <= 1.5
    assert by_hand.stance.yaw_rad[0] == pytest.approx(
        math.atan2(board.tiles[12][1] - y, board.tiles[12][0] - x)
    )
    # And not if nobody may.
    assert Case(long_arms).access(standing=standing, wanted=[middle]).trapped == (middle,)
    # With the column behind it gone as well, the robot lays all three, the farthest first.
    robot = case.access(standing=[k for k in standing if k not in behind], wanted=[middle, *behind])
    assert robot.order.tolist() == [12, 7, 2] and set(robot.stance.model.tolist()) == {0}


def test_lowest_preference_is_laid_last():
    # Far apart, any tile can be laid at any time.
    tiles = tuple((1.5 + 2.0 * i, 4.0, 0.0) for i in range(4))
    board = Board(
        make_brief(box(0, 0, 9, 8), (), (Dock(name="dock", place_m=(4.5, 1.0), heading_rad=UP),), (FRONT,)),
        tiles,
    )
    case = Case(board)
    assert case.access([3.0, 1.0, 2.0, 0.5]).order.tolist() == [0, 2, 1, 3]
    # Of equals the lower number is laid last.
    assert case.access([1.0, 1.0, 1.0, 0.0]).order.tolist() == [2, 1, 0, 3]


@pytest.mark.parametrize(
    ("lane_m", "fits"),
    # The body is 0.4 m wide, the plate over the tray 0.5 m and higher than dominoes, but not than walls; with 30 mm
    # on both sides a lane of 0.56 m is just wide enough: touching is free.
    [(0.5601, True), (0.56, True), (0.559, False)],
)
def test_lane_hardly_wider_than_the_robot_is_found_by_exact_geometry(lane_m, fits):
    left, right = 4.5 - lane_m / 2, 4.5 + lane_m / 2
    areas = (
        Area(name="left", kind="pillar", outline_m=box(0, 2, left, 2.3)),
        Area(name="right", kind="pillar", outline_m=box(right, 2, 9, 2.3)),
    )
    case = Case(patch(3, 2, (FRONT,), areas=areas))
    access = case.access()
    assert len(access.order) == (6 if fits else 0)
    if not fits:
        assert set(access.trapped_by.values()) == {()}


def test_turning_needs_the_turning_circle():
    # The dock heads along x, the tiles need a robot that faces along y. The farthest corner of body and plate lies
    # hypot(0.56, 0.2) = 0.595 m from the middle of the tray opening: with 30 mm a circle of 1.25 m across.
    def case(width):
        dock = Dock(name="dock", place_m=(1.0, width / 2), heading_rad=0.0)
        board = Board(make_brief(box(0, 0, 8, width), (), (dock,), (FRONT,)), ((6.0, width / 2, 0.0),))
        return Case(board)

    radius = math.hypot(0.56, 0.2) + 0.03
    assert len(case(2 * radius * 1.006).access().order) == 1
    assert len(case(2 * radius - 0.002).access().order) == 0


def test_second_layer_comes_after_its_tile():
    board = patch(3, 1, (FRONT,), Crew())
    case = Case(board, stacked(board, [0, 2]))
    access = case.access()
    order = access.order.tolist()
    assert sorted(order) == [0, 1, 2, 3, 4]
    assert order.index(3) > order.index(0) and order.index(4) > order.index(2)
    assert access.stance.model[order.index(3)] == -1
    # Even when it would rather be laid first.
    order = case.access([0, 0, 0, 9, 9]).order.tolist()
    assert order.index(3) > order.index(0) and order.index(4) > order.index(2)


def test_second_layer_on_a_tile_that_cannot_be_laid_is_left_out_too():
    board = patch(3, 1, (SKIRTS,), Crew())
    case = Case(board, stacked(board, [1]))
    # Between two that stand the middle one cannot be laid; what was to stand on it could have been, but goes too.
    access = case.access(standing=[0, 2], wanted=[1, 3])
    assert len(access.order) == 0
    assert access.left_out == (1, 3) and access.layable_most == 0
    # A second layer whose tile is not wanted has nothing to stand on.
    alone = case.access(wanted=[0, 3])
    assert alone.order.tolist() == [0] and alone.left_out == (3,) and alone.trapped_by == {3: (1,)}
    # On a tile that stands it is laid.
    assert case.access(standing=[1], wanted=[3]).order.tolist() == [3]


def test_people_come_in_by_their_door_and_no_other_way():
    wall = (Area(name="fence", kind="pillar", outline_m=box(0, 2, 9, 2.1)),)
    loading = Dock(name="dock", place_m=(4.5, 2.8), heading_rad=UP)
    hand = Crew(tiles_by_hand=True)
    for y, laid in ((0.0, 0), (8.0, 4)):
        door = Dock(name="door", kind="crew", place_m=(4.5, y))
        access = Case(patch(2, 2, (), hand, areas=wall, docks=(loading, door))).access()
        assert len(access.order) == laid
    # Without a door they come with the trays, and without any dock from anywhere along the wall.
    assert len(Case(patch(2, 2, (), hand, areas=wall, docks=(loading,))).access().order) == 4
    board = patch(2, 2, (), hand, areas=wall)
    assert len(Case(replace(board, brief=replace(board.brief, docks=()))).access().order) == 4


def test_people_lay_from_the_far_side_to_the_near_one():
    # One row of tiles that fills a corridor from wall to wall: who kneels on the far side does not get back.
    tiles = tuple((4.0, 1.5 + 0.3 * j, 0.0) for j in range(8))
    brief = make_brief(
        box(3.7, 0, 4.3, 6),
        (),
        (Dock(name="door", kind="crew", place_m=(4.0, 0.0)),),
        (),
        Crew(tiles_by_hand=True, room_m=0.5),
    )
    access = Case(Board(brief, tiles)).access()
    assert access.order.tolist() == [7, 6, 5, 4, 3, 2, 1, 0]
    assert (access.stance.y_m < np.array([tiles[step][1] for step in access.order])).all()


def test_wrong_lengths_are_refused():
    case = Case(patch(2, 1, (FRONT,)))
    with pytest.raises(ValueError, match="preference has 1 rows for 2 steps"):
        find_access(
            case.site,
            case.steps,
            case.stances,
            case.layers,
            preference=np.zeros(1),
            standing=np.zeros(2, bool),
            wanted=np.ones(2, bool),
            hand_allowed=np.zeros(2, bool),
        )
    with pytest.raises(ValueError, match="order of step"):
        make_ground(case.site, case.steps, case.stances.part(np.arange(len(case.stances))[::-1]), case.layers)


def test_same_input_gives_the_same_order():
    board = patch(5, 4, (CORNER,))
    first, second = Case(board).access(), Case(board).access()
    assert first.order.tolist() == second.order.tolist()
    assert first.stance.leave_x_m.tolist() == second.stance.leave_x_m.tolist()


def test_nothing_wanted_is_nothing_laid():
    access = Case(patch(2, 2, (FRONT,))).access(wanted=[])
    assert len(access.order) == 0 and access.trapped == () and access.layable_most == 0
