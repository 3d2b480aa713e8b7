"""The fast painter, against shapely's idea of inside and outside and against true areas."""

import numpy as np
import pytest
import shapely

from standfall.papers.canvas import Canvas

# Ink 0 is the rim, 1 and 2 are faces: pure red, green, blue light, so that a pixel tells its inks.
INKS = np.eye(3)
NO_GROUND = np.zeros((1, 3))


def painted(size, fine, quads, depth, ink):
    canvas = Canvas(*size, 3, fine)
    canvas.paint(
        np.asarray(quads, dtype=float), np.asarray(depth, dtype=float), np.asarray(ink), np.asarray(ink)
    )
    return canvas.picture(INKS, np.zeros((size[1], size[0]), np.uint8), NO_GROUND)


def rectangle(x, y, angle, long, wide):
    along, aside = np.array([np.cos(angle), np.sin(angle)]), np.array([-np.sin(angle), np.cos(angle)])
    corners = [(-long, -wide), (long, -wide), (long, wide), (-long, wide)]
    return [np.array([x, y]) + a / 2 * along + b / 2 * aside for a, b in corners]


@pytest.mark.parametrize("fine", [1, 3])
def test_pixels_well_inside_are_painted_and_pixels_well_outside_are_not(fine):
    rng = np.random.default_rng(fine)
    quads = [rectangle(*rng.uniform(-5, 65, 2), rng.uniform(0, 7), *rng.uniform(1, 40, 2)) for _ in range(60)]
    x, y = np.meshgrid(np.arange(60) + 0.5, np.arange(50) + 0.5)
    for quad in quads:
        picture = painted((60, 50), fine, [quad], [0.5], [1])
        polygon = shapely.Polygon(quad)
        inside = shapely.contains_xy(polygon.buffer(-1.0), x, y)
        near = shapely.contains_xy(polygon.buffer(1.5), x, y)
        assert (picture[inside] == (0, 255, 0)).all()
        assert (picture[~near] == 0).all()


@pytest.mark.parametrize("angle", [0.0, np.pi / 2, 0.4, 2.0])
@pytest.mark.parametrize("thick", [0.7, 1.3, 2.6, 7.4])
def test_thin_quads_cover_their_true_area_on_average(angle, thick):
    # 300 rectangles at places that share no grid with the pixels; linear light of the mean = area.
    rng = np.random.default_rng(1)
    quads = np.array([rectangle(*rng.uniform(30, 34, 2), angle, 40.3, thick) for _ in range(300)])
    light = [painted((64, 64), 1, [quad], [0.5], [1])[..., 1].astype(bool).sum() for quad in quads]
    # One thinner than a pixel covers what a line one pixel thick does; slanting ones a little more.
    assert np.mean(light) == pytest.approx(
        40.3 * max(thick, 1.0), rel=0.04 if angle in (0.0, np.pi / 2) else 0.09
    )


def test_the_nearest_quad_wins_whatever_the_order():
    quads = [rectangle(20, 20, 0.3, 30, 10), rectangle(20, 20, 1.5, 30, 10)]
    for order in ([0, 1], [1, 0]):
        picture = painted(
            (40, 40), 2, [quads[i] for i in order], [[0.2, 0.7][i] for i in order], [[1, 2][i] for i in order]
        )
        assert tuple(picture[20, 20]) == (0, 255, 0)


def test_depth_is_evened_over_a_quad_so_that_crossing_ones_cut_each_other():
    # Two equal squares, one nearer at the left and one at the right: they change over in the middle.
    square = rectangle(20, 20, 0.0, 30, 30)
    left_near, right_near = [0.0, 1.0, 1.0, 0.0], [1.0, 0.0, 0.0, 1.0]
    picture = painted((40, 40), 2, [square, square], [left_near, right_near], [1, 2])
    assert (picture[10:30, 7:19] == (0, 255, 0)).all()
    assert (picture[10:30, 21:33] == (0, 0, 255)).all()


def test_the_rim_is_drawn_where_there_is_room_for_it():
    canvas = Canvas(40, 40, 3, 1)
    canvas.paint(np.array([rectangle(20, 20, 0.0, 20, 20)]), np.array([0.5]), np.array([1]), np.array([0]))
    picture = canvas.picture(INKS, np.zeros((40, 40), np.uint8), NO_GROUND)
    assert (picture[10, 10:30] == (255, 0, 0)).all()
    assert (picture[12:28, 12:28] == (0, 255, 0)).all()


def test_a_block_of_fine_pixels_is_averaged_in_linear_light():
    # Half a pixel of white ink on black: half the light is code 188 (IEC 61966-2-1: 0.5 encodes to 0.7354).
    canvas = Canvas(1, 1, 1, 2)
    canvas.paint(
        np.array([[[0, 0], [1, 0], [1, 0.5], [0, 0.5]]]), np.array([0.0]), np.array([0]), np.array([0])
    )
    assert tuple(canvas.picture(np.ones((1, 3)), np.zeros((1, 1), np.uint8), NO_GROUND)[0, 0]) == (
        188,
        188,
        188,
    )
