"""Previews: pixels at the middles of dominoes, and that the picture stays the same."""

import math

import numpy as np
import pytest
from paper_plan import Wish, make_test_plan

from standfall.mural.conversion import linear_to_srgb8, srgb8_to_linear
from standfall.papers.legend import length_text, scale_length_m
from standfall.papers.preview import FLOOR, draw_preview, frame

SMALL = Wish(columns=12, rows=8, holes=False, lines=(), tray=(4, 4), noise=0.6)


def wish(**changes):
    return Wish(**{**SMALL.__dict__, **changes})


def seen(picture, window, x_m, y_m):
    pixels = np.floor(window.pixels(np.column_stack([x_m, y_m]))).astype(int)
    return picture[pixels[:, 1], pixels[:, 0]]


@pytest.mark.parametrize("degrees", [90.0, 0.0, 180.0, 25.0])
def test_standing_dominoes_show_their_colour_at_their_middle(degrees):
    plan = make_test_plan(wish(fall_deg=degrees))
    picture, window = draw_preview(plan, "standing", 900), frame(plan, 900)
    got = seen(picture, window, plan.standing.x_m, plan.standing.y_m)
    assert (got == plan.palette.srgb8[plan.standing.colour]).all()


@pytest.mark.parametrize("degrees", [90.0, 0.0, 180.0, 25.0])
def test_fallen_dominoes_show_their_heads(degrees):
    # A head is what the domino behind leaves free: the last pitch of its length, counted from its foot,
    # half a thickness ahead of its middle.
    plan = make_test_plan(wish(fall_deg=degrees))
    picture, window = draw_preview(plan, "fallen", 900), frame(plan, 900)
    standing = plan.standing
    ahead = 0.0075 / 2 + 0.048 - 0.022 / 2
    angle = math.radians(degrees)
    got = seen(
        picture, window, standing.x_m + ahead * math.cos(angle), standing.y_m + ahead * math.sin(angle)
    )
    assert (got == plan.palette.srgb8[standing.colour]).all()


def test_a_stacked_domino_hides_the_one_below():
    plan = make_test_plan(wish(stacked=((3, 4),)))
    picture, window = draw_preview(plan, "standing", 900), frame(plan, 900)
    standing = plan.standing
    upper = standing.layer == 1
    below = (standing.layer == 0) & (standing.row >= 3) & (standing.row <= 4)
    assert upper.sum() == below.sum() == 24
    assert (standing.colour[upper] != standing.colour[below]).any()
    got = seen(picture, window, standing.x_m[upper], standing.y_m[upper])
    assert (got == plan.palette.srgb8[standing.colour[upper]]).all()


def test_hall_x_runs_right_and_y_up():
    plan = make_test_plan(SMALL)
    window = frame(plan, 400)
    low, high = window.pixels(np.array([[1.0, 1.0], [1.1, 1.2]]))
    assert high[0] > low[0]
    assert high[1] < low[1]


def test_both_states_have_one_frame_and_show_the_floor_around():
    plan = make_test_plan(Wish(columns=20, rows=14))
    standing, fallen = draw_preview(plan, "standing", 600), draw_preview(plan, "fallen", 600)
    assert standing.shape == fallen.shape
    assert standing.shape[1] == 600
    for picture in (standing, fallen):
        assert tuple(picture[3, 3]) == FLOOR


def test_a_narrow_mural_gets_floor_beside_it():
    plan = make_test_plan(wish(columns=4, rows=200, tray=(4, 10)))
    picture = draw_preview(plan, "standing", 300, legend=False)
    assert picture.shape[1] == 300
    assert picture.shape[0] <= 1.5 * 300 + 1


@pytest.mark.parametrize("width", [40, 200])
def test_dominoes_smaller_than_a_pixel_still_add_up_to_the_mean_light(width):
    # Of each 27 mm, 24 are covered, and all of the length: linear light is 24/27 domino and 3/27 floor.
    one = (("rust brown", "#8f4824"),)
    plan = make_test_plan(wish(columns=120, rows=120, tray=(12, 12), colours=one, noise=0.0))
    picture = draw_preview(plan, "fallen", width, legend=False)
    high, reach = picture.shape[0], width // 5
    part = picture[high // 2 - reach : high // 2 + reach, width // 2 - reach : width // 2 + reach]
    rust = srgb8_to_linear(np.array([0x8F, 0x48, 0x24], dtype=np.uint8))
    floor = srgb8_to_linear(np.array(FLOOR, dtype=np.uint8))
    wanted = linear_to_srgb8(rust * 24 / 27 + floor * 3 / 27).astype(int)
    got = linear_to_srgb8(srgb8_to_linear(part).mean(axis=(0, 1))).astype(int)
    assert np.abs(got - wanted).max() <= 8


def test_the_same_plan_gives_the_same_pixels():
    plan = make_test_plan(SMALL)
    assert (draw_preview(plan, "fallen", 300) == draw_preview(plan, "fallen", 300)).all()
    with pytest.raises(ValueError, match="16 pixels"):
        draw_preview(plan, "fallen", 8)


def test_the_scale_bar_is_round_and_fits():
    assert scale_length_m(100.0, 800) == 1.0
    assert scale_length_m(99.0, 800) == 1.0
    assert scale_length_m(101.0, 800) == 0.5
    assert length_text(0.5) == "50 cm"
    assert length_text(2.0) == "2 m"
