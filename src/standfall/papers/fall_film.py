"""A film of the fall from above: WebM with VP9, 25 frames a second, the clock in the corner.

What is exact is when each domino is struck and when it lies. In between it is drawn turning by a simple law of our
own: quick at first, as pushed ones are, and slowing to rest. Of the floor around it only what moves is drawn anew.
"""

from __future__ import annotations

import io
import math
from collections.abc import Callable, Iterator
from fractions import Fraction

import av
import numpy as np
from av.video.reformatter import ColorRange, Colorspace
from numpy.typing import NDArray

from standfall.fall.falling import FALLEN, Fall
from standfall.mural.conversion import linear_to_srgb8
from standfall.papers.canvas import Canvas
from standfall.papers.fall_map import check_fall, hall_ground
from standfall.papers.fall_marks import mark_standing
from standfall.papers.legend import INK, length_text, scale_length_m
from standfall.papers.overlay import Overlay
from standfall.papers.preview import RIM_LIGHT, Window, fine_for, frame
from standfall.planning.plan import Plan

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Progress = Callable[[int, int, str], None]

WIDTH_PX = 1280
FRAMES_PER_S = 25
# A film is not longer than this, but for the hold at its end; a longer fall is sped up.
LONGEST_S = 30.0
# The last picture stays this long.
HOLD_S = 2.0
# Most fine pixels a side: more than these are not seen in a moving picture.
_FINE_MOST = 4
# Only tiles of so many pixels a side in which something moves are drawn anew.
_TILE_PX = 16
# Constant quality of VP9: 0 best to 63; and its speed, 0 to 8. Chosen by eye on the demo; slower ones gain little.
_QUALITY, _SPEED = "24", "8"
# Light is turned into codes by a table with so many entries.
_TABLE = 8191
_EMPTY = np.iinfo(np.int32).max


def pace(total_s: float) -> int:
    """Return how many times faster than the fall its film runs: 1 up to 30 s, else a whole number."""
    return max(1, math.ceil(total_s / LONGEST_S - 1e-9))


def frame_count(total_s: float) -> int:
    """Return the number of frames: from 0 s until all is at rest, and the hold."""
    return math.ceil(total_s * FRAMES_PER_S / pace(total_s) - 1e-9) + 1 + round(HOLD_S * FRAMES_PER_S)


def film_bytes(plan: Plan, fall: Fall, progress: Progress | None = None, width_px: int = WIDTH_PX) -> bytes:
    """Make the film.

    Args:
        plan: what stands where.
        fall: what becomes of each.
        progress: callback (frames done, frames in all, what).
        width_px: of the film, even.

    Returns:
        The bytes of a WebM file.

    Raises:
        ValueError: the fall is not of this plan's dominoes, or width_px is odd or below 300.
    """
    check_fall(plan, len(fall), width_px)
    if width_px % 2:
        raise ValueError(f"a film has an even width, not {width_px}")
    total = frame_count(fall.total_s)
    file = io.BytesIO()
    # Bit-exact: no date and no random number in the file.
    with av.open(file, "w", format="webm", options={"fflags": "+bitexact"}) as container:
        stream = None
        for number, picture in enumerate(film_frames(plan, fall, width_px)):
            if progress is not None:
                progress(number, total, "film of the fall")
            if stream is None:
                stream = container.add_stream("libvpx-vp9", rate=FRAMES_PER_S)
                _set_up(stream, picture)
            image = av.VideoFrame.from_ndarray(picture, format="rgb24").reformat(
                format="yuv420p", dst_colorspace=Colorspace.ITU709, dst_color_range=ColorRange.MPEG
            )
            image.pts, image.time_base = number, Fraction(1, FRAMES_PER_S)
            container.mux(stream.encode(image))
        if stream is not None:
            container.mux(stream.encode(None))
    return file.getvalue()


def _set_up(stream: av.VideoStream, picture: NDArray[np.uint8]) -> None:
    stream.height, stream.width = picture.shape[:2]
    stream.pix_fmt = "yuv420p"
    stream.bit_rate = 0
    stream.options = {
        "crf": _QUALITY,
        "deadline": "realtime",
        "cpu-used": _SPEED,
        "tile-columns": "2",
        "threads": "2",
        "lag-in-frames": "0",
        "flags": "+bitexact",
    }
    context = stream.codec_context
    # ITU-R BT.709 numbers of ITU-T H.273: primaries 1, matrix 1; transfer 13 is sRGB.
    context.color_primaries, context.color_trc, context.colorspace = 1, 13, 1
    context.color_range = 1


def film_frames(plan: Plan, fall: Fall, width_px: int = WIDTH_PX) -> Iterator[NDArray[np.uint8]]:
    """Draw the frames one by one: sRGB codes (height, width, 3), height and width even.

    Frame k shows the fall ``k / 25`` s times ``pace`` after the first starter let go. In the last ones, which all
    show the end, dominoes that stay up are ringed. A frame is only good until the next one is asked for.
    """
    window = frame(plan, width_px)
    scene = _Scene(plan, fall, window)
    speed = pace(fall.total_s)
    count = frame_count(fall.total_s)
    hold = round(HOLD_S * FRAMES_PER_S)
    for number in range(count - hold):
        at_s = number * speed / FRAMES_PER_S
        scene.show(at_s)
        yield _with_strip(scene.picture, fall, at_s, speed, window)
    sheet = Overlay(window.width_px, window.height_px)
    picture = scene.picture.copy()
    mark_standing(picture, sheet, window, plan, fall)
    last = _with_strip(sheet.on(picture), fall, fall.total_s, speed, window)
    for _ in range(hold):
        yield last


def lean_rad(fall: Fall, at_s: float, rows: Ints) -> Floats:
    """Return how far dominoes have turned from upright at a moment: 0 until struck, a quarter turn once down.

    With u the share of the time between, the angle is a quarter turn times u (2 - u): it starts at once and slows
    to rest. This law is for the eye only.
    """
    struck_s, down_s = fall.struck_s[rows], fall.down_s[rows]
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.clip((at_s - struck_s) / np.maximum(down_s - struck_s, 1e-9), 0.0, 1.0)
    share = np.where((fall.state[rows] == FALLEN) & np.isfinite(share), share, 0.0)
    return np.asarray(np.pi / 2 * share * (2 - share))


class _Scene:
    """The picture at one moment, and what is needed to move it on."""

    def __init__(self, plan: Plan, fall: Fall, window: Window) -> None:
        self._plan, self._fall, self._window = plan, fall, window
        standing, piece = plan.standing, plan.brief.domino
        yaw = standing.yaw_rad + np.where(fall.backward, math.pi, 0.0)
        self._ahead = np.column_stack([np.cos(yaw), np.sin(yaw)])
        self._pivot = np.column_stack([standing.x_m, standing.y_m]) + self._ahead * (piece.thickness_m / 2)
        thickness_px = piece.thickness_m * window.px_per_m
        fine = min(_FINE_MOST, fine_for(window.width_px, window.height_px, thickness_px))
        self._colours = len(plan.palette)
        self._canvas = _TiledCanvas(window.width_px, window.height_px, 2 * self._colours, fine)
        light = np.clip(plan.palette.linear, 0.0, 1.0)
        self._canvas.set_inks(np.concatenate([light * RIM_LIGHT, light]), *hall_ground(plan, window))
        # Nearest are the tops of standing ones; then what fell earlier lies on what fell later.
        self._order = np.zeros(len(standing))
        place = np.lexsort((-standing.layer, np.nan_to_num(fall.struck_s, nan=np.inf)))
        self._order[place] = 0.05 + 0.94 * np.arange(len(standing)) / max(len(standing), 1)
        everything = np.arange(len(standing))
        ends = [self._quads(everything, np.full(len(standing), lean)) for lean in (0.0, np.pi / 2)]
        self._index = _TileIndex(np.concatenate(ends, axis=1), window)
        by_strike = np.argsort(fall.struck_s, kind="stable")
        self._by_strike = by_strike[(fall.state[by_strike] == FALLEN) & np.isfinite(fall.struck_s[by_strike])]
        self._begun = 0
        self._moving = np.empty(0, dtype=np.int64)
        self._paint(everything, 0.0)
        self._canvas.resolve(np.arange(self._index.tiles))

    @property
    def picture(self) -> NDArray[np.uint8]:
        """The picture, which ``show`` changes in place."""
        return self._canvas.codes

    def show(self, at_s: float) -> None:
        """Move on to a later moment."""
        struck_s = self._fall.struck_s
        begun = int(np.searchsorted(struck_s[self._by_strike], at_s, side="right"))
        changed = np.concatenate([self._moving, self._by_strike[self._begun : begun]])
        self._begun = begun
        if not len(changed):
            return
        # What came to rest since the last frame is drawn once more, lying.
        self._moving = changed[self._fall.down_s[changed] > at_s]
        tiles = self._index.tiles_of(changed)
        self._canvas.clear(tiles)
        self._paint(self._index.dominoes_in(tiles), at_s)
        self._canvas.resolve(tiles)

    def _paint(self, rows: Ints, at_s: float) -> None:
        lean = lean_rad(self._fall, at_s, rows)
        up = lean <= 0
        # A tall stack's upper piece hides the lower one.
        depth = np.where(up, 0.02 - 0.01 * np.minimum(self._plan.standing.layer[rows], 1), self._order[rows])
        ink = self._plan.standing.colour[rows].astype(np.int64)
        self._canvas.paint(self._quads(rows, lean), depth, ink + self._colours, ink)

    def _quads(self, rows: Ints, lean: Floats) -> Floats:
        """Return (k, 4, 2) what is seen from above of dominoes that lean so far, in pixels.

        A box that has turned by a about its leading bottom edge reaches from t cos a behind that edge to h sin a
        ahead of it. One that stands on another goes over with it, that much further out.
        """
        piece = self._plan.brief.domino
        pivot, ahead = self._pivot[rows], self._ahead[rows]
        side = np.column_stack([-ahead[:, 1], ahead[:, 0]]) * (piece.width_m / 2)
        foot = pivot + ahead * (self._plan.standing.z_m[rows] * np.sin(lean))[:, None]
        back = foot - ahead * (piece.thickness_m * np.cos(lean))[:, None]
        front = foot + ahead * (piece.height_m * np.sin(lean))[:, None]
        return self._window.pixels(np.stack([front + side, front - side, back - side, back + side], axis=1))


class _TileIndex:
    """Which tiles of the picture each domino may touch between standing and lying, and the other way round."""

    def __init__(self, corners: Floats, window: Window) -> None:
        """Take the corners (n, k, 2) in pixels between which each domino stays."""
        self.columns, rows = -(-window.width_px // _TILE_PX), -(-window.height_px // _TILE_PX)
        self.tiles = self.columns * rows
        last = [self.columns - 1, rows - 1]
        low = np.clip((corners.min(axis=1) - 1) // _TILE_PX, 0, last).astype(np.int64)
        high = np.clip((corners.max(axis=1) + 1) // _TILE_PX, 0, last).astype(np.int64)
        size = high - low + 1
        count = size.prod(axis=1)
        self._first = np.concatenate([[0], np.cumsum(count)])
        domino = np.repeat(np.arange(len(corners)), count)
        inside = np.arange(len(domino)) - self._first[domino]
        down, across = np.divmod(inside, size[domino, 0])
        self._tile = (low[domino, 1] + down) * self.columns + low[domino, 0] + across
        order = np.argsort(self._tile, kind="stable")
        self._domino = domino[order]
        self._first_domino = np.searchsorted(self._tile[order], np.arange(self.tiles + 1))

    def tiles_of(self, rows: Ints) -> Ints:
        """Return the tiles that some dominoes may touch, ascending."""
        return np.unique(self._tile[_ranges(self._first[rows], self._first[rows + 1])])

    def dominoes_in(self, tiles: Ints) -> Ints:
        """Return the dominoes that may touch some tiles, ascending."""
        return np.unique(self._domino[_ranges(self._first_domino[tiles], self._first_domino[tiles + 1])])


def _ranges(first: Ints, last: Ints) -> Ints:
    """Return the numbers from each first to below its last, one range behind the other."""
    count = last - first
    ends = np.cumsum(count)
    return np.asarray(np.arange(int(ends[-1]) if len(ends) else 0) + np.repeat(first - (ends - count), count))


class _TiledCanvas(Canvas):
    """A canvas that lasts: tiles of it are cleared, painted and turned into codes again."""

    def __init__(self, width_px: int, height_px: int, inks: int, fine: int) -> None:
        # Whole tiles; what is beyond the picture is never seen.
        wide, high = (-(-side // _TILE_PX) * _TILE_PX for side in (width_px, height_px))
        super().__init__(wide, high, inks, fine)
        self._columns = wide // _TILE_PX
        self._all_codes = np.zeros((high, wide, 3), dtype=np.uint8)
        self.codes = self._all_codes[:height_px, :width_px]
        side = _TILE_PX * fine
        self._tiles = self._cells.reshape(high // _TILE_PX, side, self._columns, side).swapaxes(1, 2)
        self._code_tiles = self._all_codes.reshape(
            high // _TILE_PX, _TILE_PX, self._columns, _TILE_PX, 3
        ).swapaxes(1, 2)
        levels = np.arange(_TABLE + 1) / _TABLE
        self._code_of_light = linear_to_srgb8(levels)

    def set_inks(self, inks: Floats, ground: NDArray[np.uint8], ground_inks: Floats) -> None:
        """Say what light inks and grounds have; as in ``picture``."""
        self._ink_light = np.zeros(((1 << self._ink_bits), 3), dtype=np.float32)
        self._ink_light[: len(inks)] = inks
        high, wide = self._all_codes.shape[:2]
        wanted = np.zeros((high, wide), dtype=np.uint8)
        wanted[: ground.shape[0], : ground.shape[1]] = ground
        self._ground_light = (
            ground_inks.astype(np.float32)[wanted]
            .reshape(high // _TILE_PX, _TILE_PX, self._columns, _TILE_PX, 3)
            .swapaxes(1, 2)
        )

    def clear(self, tiles: Ints) -> None:
        """Empty some tiles."""
        self._tiles[tiles // self._columns, tiles % self._columns] = _EMPTY

    def resolve(self, tiles: Ints) -> None:
        """Turn some tiles into codes."""
        fine = self.fine
        for first in range(0, len(tiles), 256):
            row, column = np.divmod(tiles[first : first + 256], self._columns)
            cells = self._tiles[row, column].reshape(-1, _TILE_PX, fine, _TILE_PX, fine)
            empty = (cells == _EMPTY).sum(axis=(2, 4), dtype=np.float32)
            light = self._ground_light[row, column] * empty[..., None]
            numbers = cells & ((1 << self._ink_bits) - 1)
            for down in range(fine):
                for across in range(fine):
                    light += self._ink_light[numbers[:, :, down, :, across]]
            level = (light * np.float32(_TABLE / fine**2) + np.float32(0.5)).astype(np.int32)
            self._code_tiles[row, column] = self._code_of_light[level]


def _with_strip(
    picture: NDArray[np.uint8], fall: Fall, at_s: float, speed: int, window: Window
) -> NDArray[np.uint8]:
    """Put the strip below a frame: clock, pace, scale bar, and how many lie."""
    width = picture.shape[1]
    high = round(0.036 * width)
    high += (picture.shape[0] + high) % 2
    strip = np.full((high, width, 3), 255, dtype=np.uint8)
    sheet = Overlay(width, high)
    middle, size, gap = high / 2, 0.52 * high, 0.6 * high
    sheet.words(gap, middle, f"{at_s:.1f} s", 1.3 * size, INK, "lm")
    words = "real time" if speed == 1 else f"sped up {speed} times"
    # A fixed place, so that it does not jump as the clock grows.
    box = sheet.words(gap + 4.4 * high, middle, words, size, INK, "lm")
    length_m = scale_length_m(window.px_per_m, width)
    left = max(box[2] + 2 * gap, 0.4 * width)
    right = left + length_m * window.px_per_m
    ticks = [(left, middle), (left, middle - high / 8), (right, middle - high / 8)]
    sheet.lines(ticks, [(right, middle), (left, middle + high / 8), (right, middle + high / 8)], INK, 2)
    sheet.words(right + gap / 2, middle, length_text(length_m), size, INK, "lm")
    down = int(((fall.state == FALLEN) & (fall.down_s <= at_s)).sum())
    sheet.words(width - gap, middle, f"{down:,} of {len(fall):,} lie", size, INK, "rm")
    return np.concatenate([picture, sheet.on(strip)])
