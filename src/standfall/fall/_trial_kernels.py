"""Trials, compiled: pieces set down with errors, and what of the planned fall those errors leave in doubt."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, TypeVar, cast

import numpy as np
from numba import njit
from numpy.typing import NDArray

_F = TypeVar("_F", bound=Callable[..., Any])
_kernel = cast(Callable[[_F], _F], njit(cache=True))

_Reals = NDArray[np.float64]
_Int8 = NDArray[np.int8]
_Int32 = NDArray[np.int32]
_Bool = NDArray[np.bool_]


@_kernel
def place_pieces(
    x_m: _Reals,
    y_m: _Reals,
    yaw_rad: _Reals,
    tile: _Int32,
    centre_x_m: _Reals,
    centre_y_m: _Reals,
    support: _Int32,
    tile_error: _Reals,
    normals: NDArray[np.float32],
    spread: _Reals,
) -> tuple[_Reals, _Reals, _Reals, _Reals, _Reals, _Reals, _Reals]:
    """Set pieces down with the error of their tile, and their own on top.

    Args:
        x_m, y_m, yaw_rad: (n,) as planned.
        tile: (n,) row of its tile, below 0 laid by hand.
        centre_x_m, centre_y_m: (m,) of the tiles.
        support: (n,) piece it stands on, below 0 the floor.
        tile_error: (m, 3) x, y, turn.
        normals: (n, 3) standard normal numbers.
        spread: (2, 2) deviation of place and turn of pieces in tiles, and laid by hand.

    Returns:
        x, y, yaw, its cosine and sine, (n,) each; (2,) largest shift on an axis and largest turn.
    """
    count = len(x_m)
    x, y, yaw = np.empty(count), np.empty(count), np.empty(count)
    cos_yaw, sin_yaw = np.empty(count), np.empty(count)
    reach_m, reach_rad = np.zeros(2), np.zeros(2)
    cosines, sines = np.cos(tile_error[:, 2]), np.sin(tile_error[:, 2])
    for piece in range(count):
        number = tile[piece]
        hand = 1 if number < 0 else 0
        shift_x = spread[hand, 0] * normals[piece, 0]
        shift_y = spread[hand, 0] * normals[piece, 1]
        turn = spread[hand, 1] * normals[piece, 2]
        if hand == 0:
            out_x, out_y = x_m[piece] - centre_x_m[number], y_m[piece] - centre_y_m[number]
            less, sine = cosines[number] - 1.0, sines[number]
            shift_x += tile_error[number, 0] + less * out_x - sine * out_y
            shift_y += tile_error[number, 1] + sine * out_x + less * out_y
            turn += tile_error[number, 2]
        x[piece], y[piece], yaw[piece] = x_m[piece] + shift_x, y_m[piece] + shift_y, yaw_rad[piece] + turn
        reach_m[hand] = max(reach_m[hand], abs(shift_x), abs(shift_y))
        reach_rad[hand] = max(reach_rad[hand], abs(turn))
    for piece in range(count):
        under = support[piece]
        if under >= 0:
            x[piece] = x_m[piece] + x[under] - x_m[under]
            y[piece] = y_m[piece] + y[under] - y_m[under]
            yaw[piece] = yaw_rad[piece] + yaw[under] - yaw_rad[under]
    for piece in range(count):
        cos_yaw[piece], sin_yaw[piece] = math.cos(yaw[piece]), math.sin(yaw[piece])
    return x, y, yaw, cos_yaw, sin_yaw, reach_m, reach_rad


@_kernel
def doubtful(
    x: _Reals,
    y: _Reals,
    cosine: _Reals,
    sine: _Reals,
    missing: _Bool,
    edges: _Int32,
    others: _Int32,
    clear_m: NDArray[np.float32],
    sizes: tuple[float, float, float],
    limits: tuple[float, float, float, float, float],
    seam_of_edge: _Int32,
    doubt: _Int8,
    crossing: _Int8,
    pred: _Int32,
    succ: _Int32,
) -> bool:
    """Mark the pieces whose part in the planned fall one laying leaves in doubt.

    Args:
        x, y, cosine, sine: (n,) middles, and of the fall directions.
        missing: (n,) pieces that lack.
        edges: (e, 2) striker and struck of the planned fall.
        others: (p, 2) striker and a piece it must not reach.
        clear_m: (p,) sideways distance at which the two are clear of each other however they are turned.
        sizes: height, width, thickness, m.
        limits: least gap, largest gap, least share of the width that meets, least cosine of a turn; share of
            the width below which a piece in the striker's band is not struck.
        seam_of_edge: (e,) row in ``crossing``, below 0 none.
        doubt: (n,) int8, set to 1.
        crossing: (s, 4) int8, set to 1: gap too narrow, too wide, too far aside, turned too far.
        pred, succ: (n,) neighbours along a chain, below 0 none.

    Returns:
        whether two pieces that face each other may meet.
    """
    height, width, thickness = sizes
    least_gap, most_gap, least_share, least_cos, unseen = limits
    facing = False
    for edge in range(len(edges)):
        one, other = edges[edge]
        out_x, out_y = x[other] - x[one], y[other] - y[one]
        ahead = out_x * cosine[one] + out_y * sine[one]
        aside = out_y * cosine[one] - out_x * sine[one]
        cos_turn = cosine[one] * cosine[other] + sine[one] * sine[other]
        sin_turn = abs(sine[other] * cosine[one] - cosine[other] * sine[one])
        # The nearest point of the struck piece lies no nearer than its nearest corner, no farther than its
        # face would if the corner were out of the band.
        middle = ahead - 0.5 * thickness * (1.0 + cos_turn)
        corner = 0.5 * width * sin_turn
        met = 0.5 * width * (1.0 + cos_turn) - abs(aside)
        seam = seam_of_edge[edge]
        bad = -1
        if middle - corner < least_gap:
            bad = 0
        elif middle + corner > most_gap:
            bad = 1
        elif met < least_share * width:
            bad = 2
        elif cos_turn < least_cos:
            bad = 3
        if bad >= 0:
            doubt[one] = doubt[other] = 1
            if seam >= 0:
                crossing[seam, bad] = 1
        if missing[one] or missing[other]:
            doubt[one] = doubt[other] = 1
    for pair in range(len(others)):
        one, other = others[pair]
        out_x, out_y = x[other] - x[one], y[other] - y[one]
        aside = abs(out_y * cosine[one] - out_x * sine[one])
        if aside >= clear_m[pair]:
            continue
        cos_turn = cosine[one] * cosine[other] + sine[one] * sine[other]
        sin_turn = abs(sine[other] * cosine[one] - cosine[other] * sine[one])
        if aside >= 0.5 * (width * (1.0 + abs(cos_turn)) + thickness * sin_turn) - unseen * width:
            continue
        ahead = out_x * cosine[one] + out_y * sine[one] - 0.5 * thickness
        half = 0.5 * (thickness * abs(cos_turn) + width * sin_turn)
        if ahead + half <= 0.0 or ahead - half >= height:
            continue
        if missing[one] or missing[other]:
            continue
        doubt[one] = doubt[other] = 1
        facing = facing or cos_turn < 0.2
    for piece in range(len(missing)):
        if missing[piece]:
            if pred[piece] >= 0:
                doubt[pred[piece]] = 1
            if succ[piece] >= 0:
                doubt[succ[piece]] = 1
    return facing


@_kernel
def gather(
    doubt: _Int8, always: _Int8, pred: _Int32, succ: _Int32, deep: int, whole: _Int8, chosen: _Int8
) -> None:
    """Choose what has to be let fall in full: doubtful pieces, all before them and ``deep`` behind.

    Args:
        doubt: (n,) int8.
        always: (n,) int8 pieces that are chosen in any case, and with each all that can come before it.
        pred, succ: (n,) neighbours along a chain, below 0 none.
        deep: pieces to go on behind a doubtful one.
        whole: (n,) int8 pieces behind which the chain is chosen to its end.
        chosen: (n,) int8, is written.
    """
    count = len(doubt)
    chosen[:] = always
    for piece in range(count):
        if doubt[piece] == 0 and whole[piece] == 0:
            continue
        step, at = 0, piece
        while at >= 0 and (step <= deep or whole[piece] != 0) and step < count:
            # What is chosen already may have been so for its own sake only, and not as deep.
            chosen[at] = 1
            at = succ[at]
            step += 1
        at = pred[piece]
        while at >= 0 and chosen[at] == 0:
            chosen[at] = 1
            at = pred[at]
    # A doubtful piece inside the run of another stopped its walk back at a piece that run had chosen; that
    # run goes back to its start itself, so all is closed.


@_kernel
def _apart(
    out_x: float,
    out_y: float,
    cos_1: float,
    sin_1: float,
    cos_2: float,
    sin_2: float,
    half_t: float,
    half_w: float,
) -> bool:
    """Tell whether two like rectangles lie apart on one of the axes of the first."""
    turn_cos = abs(cos_1 * cos_2 + sin_1 * sin_2)
    turn_sin = abs(sin_1 * cos_2 - cos_1 * sin_2)
    ahead = abs(out_x * cos_1 + out_y * sin_1)
    aside = abs(out_y * cos_1 - out_x * sin_1)
    if ahead >= half_t + half_t * turn_cos + half_w * turn_sin:
        return True
    return aside >= half_w + half_w * turn_cos + half_t * turn_sin


@_kernel
def touching(
    x: _Reals,
    y: _Reals,
    cosine: _Reals,
    sine: _Reals,
    missing: _Bool,
    pairs: _Int32,
    seam_of_pair: _Int32,
    half_t: float,
    half_w: float,
    touched: _Int8,
) -> int:
    """Mark the seams where footprints of two neighbours overlap; return how many pairs do.

    Two rectangles overlap unless they lie apart on an axis of one of them (separating axes).

    Args:
        x, y, cosine, sine: (n,) middles, and of the fall directions.
        missing: (n,).
        pairs: (p, 2) neighbours of two tiles, or of a tile and laid by hand.
        seam_of_pair: (p,) row in ``touched``.
        half_t, half_w: half of thickness and width, m.
        touched: (s,) int8, set to 1.
    """
    found = 0
    for pair in range(len(pairs)):
        one, other = pairs[pair]
        out_x, out_y = x[other] - x[one], y[other] - y[one]
        if _apart(out_x, out_y, cosine[one], sine[one], cosine[other], sine[other], half_t, half_w):
            continue
        if _apart(out_x, out_y, cosine[other], sine[other], cosine[one], sine[one], half_t, half_w):
            continue
        if missing[one] or missing[other]:
            continue
        found += 1
        touched[seam_of_pair[pair]] = 1
    return found


@_kernel
def spread_along(
    first: NDArray[np.int64],
    target: _Int32,
    chosen: _Bool,
    steps: int,
    here: NDArray[np.int64],
    following: NDArray[np.int64],
) -> None:
    """Add to ``chosen`` what its members lead to within so many edges, below 0 without a bound.

    first, target: edges (CSR). here, following: (n,) work space.
    """
    size = 0
    for node in range(len(chosen)):
        if chosen[node]:
            here[size] = node
            size += 1
    step = 0
    while size > 0 and step != steps:
        more = 0
        for place in range(size):
            node = here[place]
            for edge in range(first[node], first[node + 1]):
                other = target[edge]
                if not chosen[other]:
                    chosen[other] = True
                    following[more] = other
                    more += 1
        here[:more] = following[:more]
        size = more
        step += 1
