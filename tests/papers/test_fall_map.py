"""Maps of a fall: isochrones against geometry, pixels at known places, whole files."""

import dataclasses
import hashlib
import io
import math

import numpy as np
import pytest
from paper_plan import Wish, make_test_plan
from PIL import Image
from scipy import ndimage
from synthetic_fall import SMALL, SPEED_M_S, TURN_S, made_fall, small_plan, straight_fall

from standfall.brief import Starter
from standfall.fall.trial import Interval, Seam, Trials
from standfall.findings import FileFault
from standfall.mural.conversion import srgb8_to_linear
from standfall.papers import fall_folder
from standfall.papers.fall_folder import write_fall_pictures
from standfall.papers.fall_legend import (
    chance_words,
    header_strip,
    mean_speeds,
    sure_words,
    ticks_of_chances,
)
from standfall.papers.fall_map import (
    NO_NUMBER,
    draw_fall_chances,
    draw_fall_speeds,
    draw_fall_times,
    hall_window,
)
from standfall.papers.fall_marks import WARNING, pushes
from standfall.papers.isochrone import MOST_POINTS, find_isochrones, find_line_marks
from standfall.papers.legend import INK
from standfall.papers.lettering import text_mask
from standfall.papers.preview import FLOOR
from standfall.papers.scale import make_scale

WIDTH = 900


def grid(columns, rows, pitch_m=0.025):
    y, x = np.mgrid[0:rows, 0:columns] * pitch_m
    return np.column_stack([x.ravel(), y.ravel()])


def on_map(picture, plan, width=WIDTH):
    """The picture without the strip above, so that pixels of the window are its own."""
    return picture[len(header_strip(plan, "x", [], width)) :]


def seen(picture, window, xy_m):
    pixels = np.floor(window.pixels(np.asarray(xy_m))).astype(int)
    return picture[pixels[:, 1], pixels[:, 0]]


def middles(plan):
    return np.column_stack([plan.standing.x_m, plan.standing.y_m])


def trials_of(plan, stood, seams=(), trials=400):
    interval = Interval(0.9723, 0.951, 0.986, "Clopper-Pearson 95 %")
    return Trials(
        trials,
        1,
        np.zeros(trials, np.int32),
        np.asarray(stood, np.int32),
        interval,
        interval,
        interval,
        0.001,
        seams,
    )


# --- isochrones


@pytest.mark.parametrize("degrees", [90.0, 0.0, 35.0, 200.0])
def test_isochrones_of_a_straight_front_are_its_speed_times_the_step_apart(degrees):
    # A plane front: t = (x cos a + y sin a) / v, so the isochrone of k steps has x cos a + y sin a = v k step.
    places, way = grid(40, 30), np.array([math.cos(math.radians(degrees)), math.sin(math.radians(degrees))])
    along = places @ way - (places @ way).min()
    lines = find_isochrones(places, along / SPEED_M_S, 0.2, 0.06)
    found = sorted(set(lines.level.tolist()))
    assert found == list(range(1, math.floor(along.max() / SPEED_M_S / 0.2) + 1))
    ends = np.concatenate([lines.start_m, lines.end_m]) @ way - (places @ way).min()
    assert ends == pytest.approx(SPEED_M_S * 0.2 * np.tile(lines.level, 2), abs=1e-9)
    # Each hangs together and crosses the whole field.
    assert len(set(lines.strand.tolist())) == len(found)


def test_isochrones_of_a_round_front_are_circles():
    # A chord of a cone: on a side s of a triangle, distance r from the middle differs from its linear
    # interpolation by at most s^2 / (8 r); s <= 36 mm, r >= 0.96 m * 0.25 s = 0.24 m: 0.7 mm.
    places = grid(60, 50)
    lines = find_isochrones(places, np.hypot(*places.T) / SPEED_M_S, 0.25, 0.06)
    radius = np.hypot(*np.concatenate([lines.start_m, lines.end_m]).T)
    assert radius == pytest.approx(SPEED_M_S * 0.25 * np.tile(lines.level, 2), abs=0.7e-3)
    # Their length is a quarter of the circumference where the field holds it all (up to 1.2 m: 4 steps are 0.96 m).
    length = np.hypot(*(lines.end_m - lines.start_m).T)
    for level in (1, 2, 3, 4):
        whole = length[lines.level == level].sum()
        assert whole == pytest.approx(math.pi / 2 * SPEED_M_S * 0.25 * level, rel=0.01)


def test_very_many_points_are_thinned_and_the_front_stays_where_it_is():
    places = grid(700, 400, 0.01)
    assert len(places) > MOST_POINTS
    lines = find_isochrones(places, places[:, 1] / SPEED_M_S, 1.0, 0.02)
    assert sorted(set(lines.level.tolist())) == [1, 2, 3, 4]
    assert lines.start_m[:, 1] == pytest.approx(SPEED_M_S * lines.level, abs=1e-9)
    assert np.ptp(lines.start_m[:, 0]) > 6.9


def test_no_isochrone_bridges_a_hole_or_a_break_between_fronts():
    places = grid(40, 30)
    hole = (np.abs(places[:, 0] - 0.5) < 0.1) & (np.abs(places[:, 1] - 0.35) < 0.1)
    lines = find_isochrones(places[~hole], places[~hole, 1] / SPEED_M_S, 0.1, 0.06)
    middle = (lines.start_m + lines.end_m) / 2
    assert not ((np.abs(middle - [0.5, 0.35]) < 0.09).all(axis=1)).any()
    late = places[:, 0] > 0.49
    lines = find_isochrones(places, places[:, 1] / SPEED_M_S + 3.0 * late, 0.1, 0.06)
    middle = (lines.start_m + lines.end_m) / 2
    # Columns 0.475 and 0.5 m: nothing between them, and both sides have their lines.
    assert not ((middle[:, 0] > 0.476) & (middle[:, 0] < 0.499)).any()
    assert len(set(lines.level.tolist())) > 10


def test_too_few_or_straight_points_have_no_isochrones():
    assert len(find_isochrones(grid(3, 1), np.arange(3.0), 0.5, 1.0)) == 0
    assert len(find_isochrones(grid(9, 1), np.arange(9.0), 0.5, 1.0)) == 0


def test_marks_across_a_line_lie_between_a_domino_and_its_striker():
    # Five dominoes 24 mm apart along x, struck at 0, 40, 80, 120 and 160 ms: the front is at 60 mm after 0.1 s.
    places = np.column_stack([0.024 * np.arange(5), np.zeros(5)])
    struck_s = np.array([0.0, 0.04, 0.08, 0.12, 0.16])
    marks = find_line_marks(places, struck_s, np.array([-1, 0, 1, 2, 3]), np.arange(5), 0.1)
    assert marks.level.tolist() == [1]
    assert marks.place_m[0].tolist() == pytest.approx([0.06, 0.0])
    assert marks.ahead[0].tolist() == pytest.approx([1.0, 0.0])
    struck_s[3] = np.nan
    assert len(find_line_marks(places, struck_s, np.array([-1, 0, 1, -2, -2]), np.arange(5), 0.1).level) == 0


# --- the map of times


def test_footprints_show_the_colour_of_their_time():
    plan = small_plan()
    fall = straight_fall(plan)
    picture, window = on_map(draw_fall_times(plan, fall, WIDTH), plan), hall_window(plan, WIDTH)
    assert 0.0075 * window.px_per_m > 4
    last_s = 7 * 0.022 / SPEED_M_S
    colours = make_scale("time", 0.0, last_s).srgb8
    wanted = colours[np.floor(fall.struck_s / last_s * 255 + 0.5).astype(int)]
    same = (seen(picture, window, middles(plan)) == wanted).all(axis=1)
    # Lines and their times cover some.
    assert same.mean() > 0.7
    # The floor around a footprint has half of its light from that colour: 5.5 mm ahead of the middle.
    half = srgb8_to_linear(wanted[same]) / 2 + srgb8_to_linear(np.array(FLOOR, np.uint8)) / 2
    around = srgb8_to_linear(seen(picture, window, middles(plan)[same] + [0.0, 0.0072]))
    near = np.abs(around - half).max(axis=1) < 0.01
    assert near.mean() > 0.8


def test_dominoes_too_thin_to_see_colour_all_of_their_floor():
    plan = make_test_plan(Wish(columns=120, rows=100, holes=False, lines=(), tray=(12, 10)))
    fall = straight_fall(plan)
    picture, window = on_map(draw_fall_times(plan, fall, 700), plan, 700), hall_window(plan, 700)
    assert 0.0075 * window.px_per_m < 4
    inside = (plan.standing.col > 2) & (plan.standing.col < 20) & (plan.standing.row % 9 == 4)
    got = seen(picture, window, middles(plan)[inside]).astype(int)
    scale = make_scale("time", 0.0, fall.struck_s.max())
    wanted = scale.srgb8[scale.step(fall.struck_s[inside])].astype(int)
    # A pixel is wider than a pitch here: neighbours in time mix in.
    assert (np.abs(got - wanted).max(axis=1) < 14).mean() > 0.8


def test_dark_lines_on_the_map_are_speed_times_step_apart():
    # 40 rows take 39 * 22 mm / 0.96 m/s = 0.894 s: lines every 0.1 s (16 at most), 96 mm apart.
    plan = make_test_plan(Wish(columns=60, rows=40, holes=False, lines=(), tray=(12, 10)))
    picture, window = (
        on_map(draw_fall_times(plan, straight_fall(plan), 1200), plan, 1200),
        hall_window(plan, 1200),
    )
    # A column that no time is written on: a tenth of the field from its left edge, between two dominoes.
    x = int(window.pixels(np.array([1.0 + 6 * 0.027, 0.0]))[0])
    top, bottom = (int(window.pixels(np.array([0.0, y]))[1]) for y in (1.0 + 39.6 * 0.022, 1.0 + 0.4 * 0.022))
    # Darker than any colour of the scale: their red and green do not both go below 60.
    dark = picture[top:bottom, x].max(axis=1) < 75
    bands, count = ndimage.label(dark)
    rows = np.array(ndimage.center_of_mass(dark, bands, range(1, count + 1)))[:, 0]
    assert count == 8
    assert np.diff(rows) == pytest.approx(SPEED_M_S * 0.1 * window.px_per_m, abs=1.0)


def test_what_stays_up_is_black_and_ringed():
    plan = small_plan()
    fall = straight_fall(plan, stay=[5 * 12 + 6])
    window = hall_window(plan, WIDTH)
    picture = on_map(draw_fall_times(plan, fall, WIDTH), plan)
    place = middles(plan)[5 * 12 + 6]
    assert seen(picture, window, [place])[0].tolist() == [0, 0, 0]
    red = (picture[: window.height_px] == WARNING).all(axis=2)
    y, x = np.nonzero(red)
    at = window.pixels(place)
    # The ring: 0.73 hundredths of the width and half a domino from its middle, seen in all eight directions.
    radius = 0.0073 * WIDTH + 0.012 * window.px_per_m
    ring = np.abs(np.hypot(x + 0.5 - at[0], y + 0.5 - at[1]) - radius) < 2.5
    octants = set(((np.arctan2(y - at[1], x - at[0])[ring] + math.pi) // (math.pi / 4)).astype(int).tolist())
    assert octants >= set(range(8))
    none = on_map(draw_fall_times(plan, straight_fall(plan), WIDTH), plan)
    assert not (none == WARNING).all(axis=2).any()


def test_nothing_falls_and_nothing_stands():
    plan = small_plan()
    fall = straight_fall(plan, stay=range(96))
    assert fall.total_s == 0.0
    picture = on_map(draw_fall_times(plan, fall, WIDTH), plan)
    assert (seen(picture, hall_window(plan, WIDTH), middles(plan)) == 0).all(axis=1).mean() > 0.7
    assert draw_fall_speeds(plan, fall, WIDTH).shape[1] == WIDTH
    empty = dataclasses.replace(
        plan,
        standing=type(plan.standing)(
            **{f.name: getattr(plan.standing, f.name)[:0] for f in dataclasses.fields(plan.standing)}
        ),
    )
    nothing = made_fall([], [], 1.0)
    assert draw_fall_times(empty, nothing, WIDTH).shape[1] == WIDTH
    assert draw_fall_speeds(empty, nothing, WIDTH).shape[1] == WIDTH


def test_starters_are_found_where_they_strike():
    plan = small_plan()
    batten = Starter(name="batten", kind="pusher", field="mural", speed_m_s=0.4)
    ball = Starter(
        name="ball", kind="ball", place_m=(1.5, 1.1), direction_rad=0.0, mass_kg=0.02, ramp_height_m=0.02,
        ramp_length_m=0.2, diameter_m=0.02,
    )  # fmt: skip
    lost = Starter(name="finger", kind="finger", line="lead-in", speed_m_s=0.4)
    plan = dataclasses.replace(plan, brief=dataclasses.replace(plan.brief, starters=(batten, ball, lost)))
    found, placeless = pushes(plan, straight_fall(plan))
    assert [push.name for push in found] == ["batten", "ball"]
    assert placeless == ["finger"]
    # Row 0: middles 13.5 mm to 310.5 mm from the corner, 11 mm up; its faces half a thickness behind.
    assert found[0].middle_m.tolist() == pytest.approx([1.162, 1.011 - 0.00375])
    assert found[0].ahead.tolist() == pytest.approx([0.0, 1.0])
    assert (found[0].left_m, found[0].right_m) == pytest.approx((0.1605, 0.1605))
    assert (found[0].struck, found[1].struck) == (12, 0)
    window = hall_window(plan, WIDTH)
    picture = on_map(draw_fall_times(plan, straight_fall(plan), WIDTH), plan)
    # The arrow of the ball ends 0.15 hundredths of the width before its place and comes from hall -x: dark there.
    tip = window.pixels(np.array([1.5, 1.1]))
    assert picture[int(tip[1]), int(tip[0] - 0.012 * WIDTH)].tolist() == list(INK)
    assert picture[int(tip[1]), int(tip[0] + 0.012 * WIDTH)].tolist() != list(INK)


def test_the_window_shows_the_hall_or_the_mural_in_a_very_large_one():
    plan = make_test_plan(Wish(columns=120, rows=100, lines=(), tray=(12, 10)))
    window = hall_window(plan, 600)
    outline = window.pixels(np.array(plan.brief.hall.outline_m))
    assert outline.min() >= 0
    assert (outline.max(axis=0) <= [window.width_px, window.height_px]).all()
    small = hall_window(small_plan(), 600)
    corners = small.pixels(middles(small_plan()))
    assert corners.min() >= 0
    assert np.ptp(corners[:, 0]) > 600 / 5


def test_a_fall_of_another_plan_is_refused():
    plan = small_plan()
    other = straight_fall(small_plan(rows=9))
    for draw in (draw_fall_times, draw_fall_speeds):
        with pytest.raises(ValueError, match="108 dominoes in the fall, 96 in the plan"):
            draw(plan, other, WIDTH)
    with pytest.raises(ValueError, match="5 dominoes in the trials"):
        draw_fall_chances(plan, straight_fall(plan), trials_of(plan, np.zeros(5)), WIDTH)
    with pytest.raises(ValueError, match="at least 300"):
        draw_fall_times(plan, straight_fall(plan), 200)


# --- speeds


def test_speeds_are_coloured_and_starters_are_grey():
    plan = small_plan()
    fall = straight_fall(plan)
    row = plan.standing.row
    # A row a tenth: 0.1 to 0.7 m/s; the hundredths 1 and 99 are the first and last of 84 values.
    fall = dataclasses.replace(fall, speed_m_s=np.where(row > 0, row / 10, np.nan))
    picture, window = on_map(draw_fall_speeds(plan, fall, WIDTH), plan), hall_window(plan, WIDTH)
    scale = make_scale("speed", 0.1, 0.7)
    got = seen(picture, window, middles(plan))
    wanted = np.where(
        (row > 0)[:, None], scale.srgb8[scale.step(np.where(row > 0, row / 10, 0.1))], NO_NUMBER
    )
    assert (got == wanted).all(axis=1).mean() > 0.9


def test_mean_speeds_by_hand():
    struck_s, speed = np.array([0.1, 0.2, 0.3, 1.6, 2.0]), np.array([1.0, 2.0, 3.0, 4.0, 8.0])
    found = mean_speeds(struck_s, speed, 2.0, 4)
    # 0 to 0.5 s: 1, 2, 3 with deciles 1.2 and 2.8 (linear between); 1.5 to 2 s: 4 and 8, the end included.
    assert found[0].tolist() == pytest.approx([1.2, 2.0, 2.8])
    assert np.isnan(found[1:3]).all()
    assert found[3].tolist() == pytest.approx([4.4, 6.0, 7.6])


# --- chances


def test_chances_are_coloured_by_their_logarithm():
    plan = small_plan()
    stood = np.zeros(96)
    stood[plan.standing.row == 2], stood[plan.standing.row == 3], stood[plan.standing.row == 4] = 1, 20, 400
    picture = draw_fall_chances(plan, straight_fall(plan), trials_of(plan, stood), WIDTH)
    got = seen(on_map(picture, plan), hall_window(plan, WIDTH), middles(plan))
    colours = make_scale("chance", 1 / 400, 1.0, logarithmic=True).srgb8
    # log(20) / log(400) is a half: 20 of 400 lies in the middle of the scale.
    for row, wanted in ((1, NO_NUMBER), (2, colours[0]), (3, colours[128]), (4, colours[255])):
        mine = got[plan.standing.row == row].astype(int)
        assert (np.abs(mine - np.array(wanted)).max(axis=1) <= 1).mean() > 0.9


def test_seams_are_numbered_on_the_map_and_listed_below():
    plan = small_plan()
    seam = Seam(1, 2, 0.02, "gap too wide", 1.5, 1.3)
    bare = draw_fall_chances(plan, straight_fall(plan), trials_of(plan, np.zeros(96)), WIDTH)
    marked = draw_fall_chances(plan, straight_fall(plan), trials_of(plan, np.zeros(96), (seam,) * 20), WIDTH)
    window = hall_window(plan, WIDTH)
    x, y = window.pixels(np.array([1.5, 1.3])).astype(int)
    disc = on_map(marked, plan)[y - 6 : y + 7, x - 6 : x + 7]
    assert (disc == INK).all(axis=2).mean() > 0.3
    assert (on_map(bare, plan)[y - 6 : y + 7, x - 6 : x + 7] == FLOOR).all()
    # Twenty seams take ten lines of 2.1 hundredths of the width; none takes half a line.
    assert len(marked) - len(bare) == round(0.01 * WIDTH * (3.6 + 21)) - round(0.01 * WIDTH * (3.6 + 1.05))


def test_chances_in_words():
    assert chance_words(0.0234) == "2.3 %"
    assert chance_words(1.0) == "100 %"
    assert chance_words(0.000079) == "1 in 13,000"  # 1 / 0.000079 = 12,658, to two figures
    assert chance_words(0.0) == "0 %"
    assert sure_words(0.9723) == "97.2 %"
    assert sure_words(0.99983) == "99.983 %"
    assert sure_words(0.5) == "50 %"
    assert sure_words(1.0) == "100 %"
    assert [words for _, words in ticks_of_chances(1 / 4000)] == ["0.1 %", "1 %", "10 %", "100 %"]


# --- words and files


def test_names_in_any_script_are_lettered_with_ink():
    for words in ("batten", "Schlag über Reihe 0", "Ωмега"):
        mask = np.asarray(text_mask(words, 40))
        assert mask.max() > 200
        assert mask.shape[1] > 3 * len(words)
    # Not all as the same empty box.
    assert (np.asarray(text_mask("äö", 40)) != np.asarray(text_mask("öä", 40))).any()


class Predicted:
    def __init__(self, fall, trials):
        self.fall, self.trials = fall, trials


@pytest.fixture
def quick(monkeypatch):
    """Small pictures and a film of few bytes; what is tested is the folder."""
    for name in ("draw_fall_times", "draw_fall_speeds", "draw_fall_chances"):
        full = getattr(fall_folder, name)
        monkeypatch.setattr(fall_folder, name, lambda *args, full=full: full(*args, 400))
    full_film = fall_folder.film_bytes
    monkeypatch.setattr(fall_folder, "film_bytes", lambda plan, fall, tell: full_film(plan, fall, tell, 320))


ALL = ["fall_times.png", "fall_speed.png", "fall_chance.png", "fall.webm"]


def digests(folder):
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in folder.iterdir()}


def test_all_pictures_are_written_and_the_same_bytes_again(tmp_path, quick):
    plan = small_plan()
    prediction = Predicted(straight_fall(plan), trials_of(plan, np.zeros(96)))
    told = []
    written = write_fall_pictures(prediction, plan, tmp_path / "a" / "b", lambda *step: told.append(step))
    assert [path.name for path in written] == ALL
    for path in written[:3]:
        Image.open(io.BytesIO(path.read_bytes())).verify()
    done = [step[0] for step in told]
    assert done == sorted(done)
    assert told[0][0] == 0
    assert told[-1][0] == told[-1][1] == told[0][1]
    write_fall_pictures(prediction, plan, tmp_path / "c")
    one, two = digests(tmp_path / "a" / "b"), digests(tmp_path / "c")
    assert [one[name] for name in ALL[:3]] == [two[name] for name in ALL[:3]]


def test_pictures_of_an_earlier_fall_are_removed_and_nothing_else(tmp_path, quick):
    plan = small_plan()
    for name in (*ALL, "notes.txt"):
        (tmp_path / name).write_text("old")
    written = write_fall_pictures(straight_fall(plan), plan, tmp_path, film=False)
    assert [path.name for path in written] == ALL[:2]
    assert sorted(digests(tmp_path)) == ["fall_speed.png", "fall_times.png", "notes.txt"]


@pytest.mark.parametrize("stop_at", [0, 1, 2, 3, 20])
def test_ctrl_c_leaves_whole_files_only(tmp_path, quick, stop_at):
    plan = small_plan()
    prediction = Predicted(straight_fall(plan), trials_of(plan, np.zeros(96)))
    calls = []

    def stop(done, total, what):
        if len(calls) == stop_at:
            raise KeyboardInterrupt
        calls.append(what)

    with pytest.raises(KeyboardInterrupt):
        write_fall_pictures(prediction, plan, tmp_path, stop)
    assert sorted(digests(tmp_path)) == sorted(ALL[: min(stop_at, 3)])


def test_a_folder_that_is_a_file_is_a_file_fault(tmp_path, quick):
    (tmp_path / "papers").write_text("a file")
    with pytest.raises(FileFault, match="papers: cannot be made"):
        write_fall_pictures(straight_fall(small_plan()), small_plan(), tmp_path / "papers")


def test_the_usual_size_has_the_same_bytes_too():
    plan = make_test_plan(Wish(**{**SMALL.__dict__, "lines": None}))
    n = len(plan.standing)
    fall = made_fall(np.linspace(0, 3, n), np.arange(-1, n - 1), 0.9, stay=[n - 1])
    one, two = draw_fall_times(plan, fall), draw_fall_times(plan, fall)
    assert (one == two).all()
    assert one.shape[1] == 2400
    assert fall.total_s == pytest.approx(3 * (n - 2) / (n - 1) + TURN_S)
