"""Boxes standing and fallen, against plain geometry."""

import math

import numpy as np
import pytest
from paper_plan import Wish, make_test_plan

from standfall.papers.pose import lean_rad, order_of_fall, pose_boxes

PLAIN = Wish(columns=4, rows=6, holes=False, lines=(), tray=(4, 3), noise=0.5)


@pytest.mark.parametrize("degrees", [90.0, 0.0, 33.0])
def test_a_standing_box_has_the_size_of_the_piece_and_faces_the_fall(degrees):
    plan = make_test_plan(Wish(**{**PLAIN.__dict__, "fall_deg": degrees}))
    boxes = pose_boxes(plan.standing, plan.brief, "standing")
    for edge, size in ((boxes.up, 0.048), (boxes.back, 0.0075), (boxes.side, 0.012)):
        assert np.linalg.norm(edge, axis=1) == pytest.approx(size)
    ahead = [math.cos(math.radians(degrees)), math.sin(math.radians(degrees)), 0]
    assert boxes.back / 0.0075 == pytest.approx(np.tile(np.negative(ahead), (len(boxes), 1)))
    middle = boxes.foot + boxes.back / 2
    assert middle[:, 0] == pytest.approx(plan.standing.x_m)
    assert middle[:, 1] == pytest.approx(plan.standing.y_m)


def test_fallen_ones_of_a_column_lie_on_one_another_without_gap_or_bite():
    # Parallel slabs: the distance between the planes of neighbouring lower faces is the thickness.
    plan = make_test_plan(PLAIN)
    boxes = pose_boxes(plan.standing, plan.brief, "fallen")
    column = np.flatnonzero(plan.standing.col == 1)
    lower = np.flatnonzero(plan.standing.row[column] < 4)
    for n in lower:
        this, following = column[n], column[n + 1]
        up = boxes.up[this] / np.linalg.norm(boxes.up[this])
        normal = np.cross(up, boxes.side[this] / np.linalg.norm(boxes.side[this]))
        gap = abs(np.dot(boxes.foot[following] - boxes.foot[this], normal))
        assert gap == pytest.approx(0.0075)
    assert (boxes.foot[:, 2] == 0).all()
    # sin of the angle is thickness / pitch; the last row has nothing to lie on.
    lean = lean_rad(plan.standing, plan.brief)
    assert np.sin(lean[plan.standing.row < 5]) == pytest.approx(0.0075 / 0.022)
    assert (lean[plan.standing.row == 5] == 0).all()


def test_a_stacked_one_goes_over_with_the_one_below():
    plan = make_test_plan(Wish(**{**PLAIN.__dict__, "stacked": ((2, 3),)}))
    standing = plan.standing
    boxes = pose_boxes(standing, plan.brief, "fallen")
    for n in np.flatnonzero(standing.layer == 1):
        below = np.flatnonzero(
            (standing.layer == 0) & (standing.row == standing.row[n]) & (standing.col == standing.col[n])
        )[0]
        assert boxes.foot[n] == pytest.approx(boxes.foot[below] + boxes.up[below])


def test_the_first_to_fall_lies_on_top():
    plan = make_test_plan(Wish(**{**PLAIN.__dict__, "stacked": ((2, 3),)}))
    order = order_of_fall(plan.standing)
    by_row = [order[plan.standing.row == row].min() for row in range(6)]
    assert by_row == sorted(by_row)
    upper = plan.standing.layer == 1
    assert order[upper].max() < order[plan.standing.row == 4].min()
