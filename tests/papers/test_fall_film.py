"""The film of a fall, read back with PyAV, and its frames at known places."""

import dataclasses
import io
import math

import av
import numpy as np
import pytest
from synthetic_fall import SPEED_M_S, TURN_S, made_fall, small_plan, straight_fall

from standfall.papers.fall_film import (
    FRAMES_PER_S,
    HOLD_S,
    _Scene,
    film_bytes,
    film_frames,
    frame_count,
    lean_rad,
    pace,
)
from standfall.papers.fall_marks import WARNING
from standfall.papers.preview import FLOOR, draw_preview, frame

WIDTH = 640
HOLD = round(HOLD_S * FRAMES_PER_S)


def seen(picture, window, x_m, y_m):
    pixels = np.floor(window.pixels(np.column_stack([x_m, y_m]))).astype(int)
    return picture[pixels[:, 1], pixels[:, 0]]


def colours(plan):
    return plan.palette.srgb8[plan.standing.colour]


def decoded(data):
    with av.open(io.BytesIO(data)) as container:
        stream = container.streams.video[0]
        frames = list(container.decode(stream))
    return stream, frames


def test_pace_and_number_of_frames():
    assert [pace(s) for s in (0.0, 14.0, 30.0, 30.1, 60.0, 61.0)] == [1, 1, 1, 2, 2, 3]
    # 14 s at 25 frames a second, one more for the start, and two seconds of the end.
    assert frame_count(14.0) == 14 * 25 + 1 + 50
    # 61 s three times as fast: 20.33 s, 508.3 frames.
    assert frame_count(61.0) == 509 + 1 + 50


def test_a_piece_turns_from_upright_when_struck_to_flat_when_down():
    fall = made_fall([1.0, 2.0], [-1, 0], 1.0, stay=[1])
    fall = dataclasses.replace(fall, down_s=np.array([1.4, np.nan]))
    angles = [lean_rad(fall, at_s, np.array([0, 1])) for at_s in (0.5, 1.0, 1.2, 1.4, 9.0)]
    # u (2 - u) at u = 1/2 is 3/4 of a quarter turn.
    assert [a[0] for a in angles] == pytest.approx([0.0, 0.0, 0.75 * math.pi / 2, math.pi / 2, math.pi / 2])
    assert all(a[1] == 0.0 for a in angles)
    rising = [float(lean_rad(fall, s, np.array([0]))[0]) for s in np.linspace(1, 1.4, 50)]
    assert rising == sorted(rising)


def test_the_film_read_back_has_its_size_length_rate_and_colours():
    plan = small_plan()
    fall = straight_fall(plan)
    stream, frames = decoded(film_bytes(plan, fall, width_px=WIDTH))
    assert stream.codec_context.name in ("vp9", "libvpx-vp9")
    assert stream.average_rate == FRAMES_PER_S
    # Row 7 is struck after 7 * 22 mm / 0.96 m/s and lies 0.3 s later.
    total_s = 7 * 0.022 / SPEED_M_S + TURN_S
    wanted = math.ceil(total_s * 25) + 1 + 50
    assert len(frames) == wanted
    times = [frame_.time for frame_ in frames]
    # Matroska counts milliseconds.
    assert times == pytest.approx([k / 25 for k in range(wanted)], abs=0.001)
    assert all((f.width, f.width % 2, f.height % 2) == (WIDTH, 0, 0) for f in frames)
    # ITU-T H.273: matrix 1 is that of ITU-R BT.709; FFmpeg's range 1 is 16 to 235.
    assert int(frames[0].colorspace) == 1
    assert int(frames[0].color_range) == 1
    window = frame(plan, WIDTH)
    first, last = (f.reformat(format="rgb24", src_colorspace=1).to_ndarray() for f in (frames[0], frames[-1]))
    # Lying: heads, as in the preview, of some 14 pixels by 7 or more; chroma has half the pixels.
    standing = plan.standing
    head = 0.0075 / 2 + 0.048 - 0.022 / 2
    got = seen(last, window, standing.x_m, standing.y_m + head).astype(int)
    off = np.abs(got - colours(plan)).max(axis=1)
    assert np.median(off) <= 6
    assert (off <= 20).mean() > 0.95
    got = seen(first, window, standing.x_m, standing.y_m).astype(int)
    assert np.median(np.abs(got - colours(plan)).max(axis=1)) <= 20
    assert np.abs(first[3, 3].astype(int) - FLOOR).max() <= 3


def test_frames_stand_then_lie_like_the_previews():
    plan = small_plan()
    fall = straight_fall(plan)
    frames = [picture.copy() for picture in film_frames(plan, fall, WIDTH)]
    window, standing = frame(plan, WIDTH), plan.standing
    assert (seen(frames[0], window, standing.x_m, standing.y_m) == colours(plan))[standing.row > 0].all()
    # Between two rows, 11 mm ahead of the middle, there is floor.
    assert (seen(frames[0], window, standing.x_m, standing.y_m + 0.011)[standing.row > 1] == FLOOR).all()
    ahead = 0.0075 / 2 + 0.048 - 0.022 / 2
    assert (seen(frames[-HOLD - 1], window, standing.x_m, standing.y_m + ahead) == colours(plan)).all()
    preview = draw_preview(plan, "fallen", WIDTH, legend=False)
    differs = (frames[-1][: len(preview)] != preview).any(axis=2)
    # Fewer fine pixels than the preview has: edges may differ, faces do not.
    assert differs.mean() < 0.15
    # The last of all lie still.
    assert all((picture == frames[-1]).all() for picture in frames[-HOLD:])


def test_a_falling_piece_lengthens_with_its_lean():
    plan = small_plan(columns=1, rows=1, tray=(1, 1))
    fall = made_fall([0.0], [-1], 1.0)
    fall = dataclasses.replace(fall, down_s=np.array([0.4]))
    window = frame(plan, WIDTH)
    frames = [picture.copy() for picture in film_frames(plan, fall, WIDTH)][:11]
    foot = plan.standing.y_m[0] + 0.00375
    for number, picture in enumerate(frames):
        u = number * 0.04 / 0.4
        lean = math.pi / 2 * u * (2 - u)
        # It reaches from 7.5 mm cos a behind its leading edge to 48 mm sin a ahead of it.
        x = int(window.pixels(np.array([plan.standing.x_m[0], 0.0]))[0])
        column = picture[: window.height_px, x]
        covered = np.flatnonzero((column != FLOOR).any(axis=1))
        top, bottom = (
            window.pixels(np.array([0.0, foot + reach]))[1]
            for reach in (0.048 * math.sin(lean), -0.0075 * math.cos(lean))
        )
        assert covered.min() == pytest.approx(top, abs=1.5)
        assert covered.max() + 1 == pytest.approx(bottom, abs=1.5)


@pytest.mark.parametrize("degrees", [90.0, 25.0])
def test_moving_on_frame_by_frame_draws_what_drawing_all_anew_does(degrees):
    plan = small_plan(columns=30, rows=24, tray=(6, 6), fall_deg=degrees, stacked=((3, 5),))
    standing = plan.standing
    fall = straight_fall(plan)
    # A round front, so that rows do not move together; one stays up and one falls backwards.
    struck_s = np.hypot(standing.row * 0.022, (standing.col - 9) * 0.027) / SPEED_M_S
    fall = dataclasses.replace(fall, struck_s=struck_s, down_s=struck_s + TURN_S)
    fall.state[200], fall.backward[300] = 2, True
    window = frame(plan, 400)
    running = _Scene(plan, fall, window)
    for at_s in np.arange(0, 1.2, 0.04):
        running.show(at_s)
        if round(at_s / 0.04) % 6 == 3:
            fresh = _Scene(plan, fall, window)
            fresh.show(at_s)
            assert (running.picture == fresh.picture).all()


def test_what_stays_up_is_ringed_at_the_end_only():
    plan = small_plan()
    frames = [picture.copy() for picture in film_frames(plan, straight_fall(plan, stay=[40]), WIDTH)]
    ringed = [bool((picture == WARNING).all(axis=2).any()) for picture in frames]
    assert ringed == [False] * (len(frames) - HOLD) + [True] * HOLD
    window, standing = frame(plan, WIDTH), plan.standing
    assert (seen(frames[-1], window, standing.x_m[40:41], standing.y_m[40:41]) == colours(plan)[40]).all()


def test_a_long_fall_is_sped_up_by_a_whole_number():
    plan = small_plan(columns=2, rows=2, tray=(2, 2))
    fall = straight_fall(plan, speed_m_s=0.022 / 65)
    # Row 1 is struck after 65 s: 65.3 s in all, three times as fast, 21.77 s.
    assert pace(fall.total_s) == 3
    assert frame_count(fall.total_s) == math.ceil(65.3 * 25 / 3) + 1 + HOLD
    window = frame(plan, 320)
    heads = []
    for number, picture in enumerate(film_frames(plan, fall, 320)):
        if number in (541, 544):
            heads.append(
                seen(picture, window, plan.standing.x_m[2:3], plan.standing.y_m[2:3] + 0.04)[0].tolist()
            )
    # Frame 541 shows 64.92 s, 544 shows 65.28 s: before and after row 1 has come down.
    assert heads[0] == list(FLOOR)
    assert heads[1] == colours(plan)[2].tolist()


def test_nothing_falls_makes_a_film_of_the_end():
    plan = small_plan()
    stream, frames = decoded(film_bytes(plan, straight_fall(plan, stay=range(96)), width_px=320))
    assert len(frames) == 1 + HOLD
    assert stream.width == 320


def test_progress_is_told_for_each_frame_and_may_stop_the_work():
    plan = small_plan(columns=4, rows=3, tray=(2, 3))
    fall = straight_fall(plan)
    told = []
    film_bytes(plan, fall, lambda *step: told.append(step[:2]), 320)
    total = frame_count(fall.total_s)
    assert told == [(k, total) for k in range(total)]

    def stop(done, total, what):
        if done == 5:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        film_bytes(plan, fall, stop, 320)


def test_sizes_that_cannot_be_filmed_are_refused():
    plan = small_plan()
    with pytest.raises(ValueError, match="even width"):
        film_bytes(plan, straight_fall(plan), width_px=321)
    with pytest.raises(ValueError, match="108 dominoes in the fall"):
        film_bytes(plan, straight_fall(small_plan(rows=9)))
