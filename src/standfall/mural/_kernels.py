"""Compiled loops of the mural room: plain arrays in, plain arrays out; slow twins live in the tests.

Colour formulas: CIEDE2000 after Sharma, Wu and Dalal, "The CIEDE2000 color-difference formula:
implementation notes, supplementary test data, and mathematical observations", Color Research and
Application 30(1), 2005, equations 2 to 22; conversions as in `standfall.mural.conversion`.

The matrices imported below are compiled in. The compiler's cache is keyed to this file alone: whoever
changes a constant there must change this file too, or clear ``__pycache__``.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, Final, TypeVar, cast

import numpy as np
from numba import njit
from numpy.typing import NDArray

from standfall.mural.conversion import (
    CONES_OF_LINEAR,
    LAB_EPSILON,
    LAB_KAPPA,
    OKLAB_OF_ROOTS,
    WHITE_D65,
    XYZ_OF_LINEAR,
)

_F = TypeVar("_F", bound=Callable[..., Any])
_kernel = cast(Callable[[_F], _F], njit(cache=True, error_model="numpy"))

_Float = NDArray[np.float64]
_Int32 = NDArray[np.int32]
_Int64 = NDArray[np.int64]
_UInt8 = NDArray[np.uint8]
_Bool = NDArray[np.bool_]

#: How a metric is told to a kernel.
CIEDE2000: Final = 0
CIE76: Final = 1
OKLAB: Final = 2

_POW25_7: Final = 25.0**7
_DEG: Final = math.pi / 180.0
_COS30: Final = math.cos(30 * _DEG)
_SIN30: Final = math.sin(30 * _DEG)
_COS6: Final = math.cos(6 * _DEG)
_SIN6: Final = math.sin(6 * _DEG)
_COS63: Final = math.cos(63 * _DEG)
_SIN63: Final = math.sin(63 * _DEG)
# 125 degrees on, the blue term of equation 16 is below 30 * exp(-36) degrees, that is nothing.
_COS125: Final = math.cos(125 * _DEG)

# Compass of the neighbours of a domino in a straight field: row step, column step.
_NEIGHBOURS_8: Final = np.array(
    [[-1, -1], [-1, 0], [-1, 1], [0, -1], [0, 1], [1, -1], [1, 0], [1, 1]], dtype=np.int64
)
# The same in a half-offset field, where row 1, 3, ... stands half a pitch to the right.
_NEIGHBOURS_EVEN: Final = np.array([[-1, -1], [-1, 0], [0, -1], [0, 1], [1, -1], [1, 0]], dtype=np.int64)
_NEIGHBOURS_ODD: Final = np.array([[-1, 0], [-1, 1], [0, -1], [0, 1], [1, 0], [1, 1]], dtype=np.int64)


@_kernel
def _mean_hue(ax: float, bx: float, cx: float, ay: float, by: float, cy: float) -> tuple[float, float, float]:
    """Cosine and sine of the mean hue and the signed sine of half the hue step (equations 7, 10, 14).

    Works on hue directions: the mean of two directions is the shorter-arc mean that the paper builds
    from angles. Only for opposite hues, where their sum has no direction, the angles are used.
    """
    if cx == 0.0 or cy == 0.0:
        # Equation 14, last case: the sum of both hues, a grey's hue being 0.
        if cx > 0.0:
            return ax / cx, bx / cx, 0.0
        if cy > 0.0:
            return ay / cy, by / cy, 0.0
        return 1.0, 0.0, 0.0
    ux, vx = ax / cx, bx / cx
    uy, vy = ay / cy, by / cy
    su, sv = ux + uy, vx + vy
    length = math.sqrt(su * su + sv * sv)
    if length > 1e-6:
        du, dv = uy - ux, vy - vx
        half = 0.5 * math.sqrt(du * du + dv * dv)
        return su / length, sv / length, half if ux * vy - uy * vx >= 0.0 else -half
    hx, hy = math.atan2(bx, ax), math.atan2(by, ay)
    if hx < 0.0:
        hx += 2.0 * math.pi
    if hy < 0.0:
        hy += 2.0 * math.pi
    mean, step = 0.5 * (hx + hy), hy - hx
    if step > math.pi:
        step -= 2.0 * math.pi
        mean += math.pi
    elif step < -math.pi:
        step += 2.0 * math.pi
        mean += math.pi
    return math.cos(mean), math.sin(mean), math.sin(0.5 * step)


@_kernel
def _blue_turn(cos_h: float, sin_h: float, chroma7: float) -> float:
    """R_T of equations 16, 17 and 21 for the mean hue and the seventh power of the mean chroma."""
    if sin_h > 0.0 and cos_h > _COS125:
        return 0.0
    hue_deg = math.atan2(sin_h, cos_h) / _DEG
    if hue_deg < 0.0:
        hue_deg += 360.0
    from_blue = (hue_deg - 275.0) / 25.0
    turn = 30.0 * _DEG * math.exp(-from_blue * from_blue)
    return -math.sin(2.0 * turn) * 2.0 * math.sqrt(chroma7 / (chroma7 + _POW25_7))


@_kernel
def _ciede2000(lx: float, ax: float, bx: float, ly: float, ay: float, by: float) -> float:
    """CIEDE2000 of two L*a*b* colours, k_L = k_C = k_H = 1. Hue terms by multiple-angle identities."""
    c = 0.5 * (math.sqrt(ax * ax + bx * bx) + math.sqrt(ay * ay + by * by))
    c3 = c * c * c
    c7 = c3 * c3 * c
    g = 1.5 - 0.5 * math.sqrt(c7 / (c7 + _POW25_7))
    ax, ay = g * ax, g * ay
    cx, cy = math.sqrt(ax * ax + bx * bx), math.sqrt(ay * ay + by * by)
    cos1, sin1, sin_half = _mean_hue(ax, bx, cx, ay, by, cy)
    d_l, d_c, d_h = ly - lx, cy - cx, 2.0 * math.sqrt(cx * cy) * sin_half

    cos2, sin2 = 2.0 * cos1 * cos1 - 1.0, 2.0 * sin1 * cos1
    cos3, sin3 = cos2 * cos1 - sin2 * sin1, sin2 * cos1 + cos2 * sin1
    cos4, sin4 = 2.0 * cos2 * cos2 - 1.0, 2.0 * sin2 * cos2
    t = 1.0 - 0.17 * (cos1 * _COS30 + sin1 * _SIN30) + 0.24 * cos2
    t += 0.32 * (cos3 * _COS6 - sin3 * _SIN6) - 0.20 * (cos4 * _COS63 + sin4 * _SIN63)

    chroma = 0.5 * (cx + cy)
    light = 0.5 * (lx + ly) - 50.0
    light *= light
    s_l = 1.0 + 0.015 * light / math.sqrt(20.0 + light)
    s_c, s_h = 1.0 + 0.045 * chroma, 1.0 + 0.015 * chroma * t
    p3 = chroma * chroma * chroma
    r_t = _blue_turn(cos1, sin1, p3 * p3 * chroma)
    d_l, d_c, d_h = d_l / s_l, d_c / s_c, d_h / s_h
    return math.sqrt(max(0.0, d_l * d_l + d_c * d_c + d_h * d_h + r_t * d_c * d_h))


@_kernel
def _thousandths(metric: int, x: float, y: float, z: float, p: float, q: float, r: float) -> int:
    """Difference of two colours given in the metric's space, times 1000, rounded, halves up."""
    if metric == CIEDE2000:
        difference = _ciede2000(x, y, z, p, q, r)
    else:
        difference = math.sqrt((x - p) * (x - p) + (y - q) * (y - q) + (z - r) * (z - r))
    return math.floor(difference * 1000.0 + 0.5)


@_kernel
def difference_table(cells: _Float, palette: _Float, metric: int) -> _Int32:
    """Differences in thousandths (m, k) of colours (m, 3) and (k, 3), both in the metric's space."""
    table = np.empty((cells.shape[0], palette.shape[0]), dtype=np.int32)
    for i in range(cells.shape[0]):
        for j in range(palette.shape[0]):
            table[i, j] = _thousandths(
                metric, cells[i, 0], cells[i, 1], cells[i, 2], palette[j, 0], palette[j, 1], palette[j, 2]
            )
    return table


@_kernel
def _lab_branch(t: float) -> float:
    if t > LAB_EPSILON:
        return float(np.cbrt(t))
    return (LAB_KAPPA * t + 16.0) / 116.0


@_kernel
def _space_of_linear(metric: int, red: float, green: float, blue: float) -> tuple[float, float, float]:
    """Linear sRGB in the metric's space: L*a*b*, or Oklab times 100."""
    m = CONES_OF_LINEAR if metric == OKLAB else XYZ_OF_LINEAR
    x = m[0, 0] * red + m[0, 1] * green + m[0, 2] * blue
    y = m[1, 0] * red + m[1, 1] * green + m[1, 2] * blue
    z = m[2, 0] * red + m[2, 1] * green + m[2, 2] * blue
    if metric != OKLAB:
        fx = _lab_branch(x / WHITE_D65[0])
        fy = _lab_branch(y / WHITE_D65[1])
        fz = _lab_branch(z / WHITE_D65[2])
        return 116.0 * fy - 16.0, 500.0 * (fx - fy), 200.0 * (fy - fz)
    k = OKLAB_OF_ROOTS
    x, y, z = np.cbrt(x), np.cbrt(y), np.cbrt(z)
    return (
        100.0 * (k[0, 0] * x + k[0, 1] * y + k[0, 2] * z),
        100.0 * (k[1, 0] * x + k[1, 1] * y + k[1, 2] * z),
        100.0 * (k[2, 0] * x + k[2, 1] * y + k[2, 2] * z),
    )


@_kernel
def _hand_on(value: _Float, present: _Bool, row: int, col: int, step: int, error: _Float) -> None:
    """Pass a cell's error on: 7/16 ahead, then 3/16, 5/16 and 1/16 in the next row, back to ahead.

    Absent neighbours' shares go to the present ones in proportion; with none present the error is lost.
    """
    rows, columns = present.shape
    total = 0.0
    for i in range(4):
        r, c = (row, col + step) if i == 0 else (row + 1, col + (i - 2) * step)
        if r < rows and 0 <= c < columns and present[r, c]:
            total += (7.0, 3.0, 5.0, 1.0)[i]
    for i in range(4):
        r, c = (row, col + step) if i == 0 else (row + 1, col + (i - 2) * step)
        if r < rows and 0 <= c < columns and present[r, c]:
            share = (7.0, 3.0, 5.0, 1.0)[i] / total
            for k in range(3):
                value[r, c, k] += share * error[k]


@_kernel
def diffuse(
    linear: _Float,
    palette_linear: _Float,
    palette: _Float,
    price: _Int64,
    metric: int,
    strength: float,
    present: _Bool,
    low: float,
    high: float,
) -> _Float:
    """Serpentine error diffusion; returns what each cell asked for, clipped to 0..1 (rows, columns, 3)."""
    rows, columns = present.shape
    value = linear.copy()
    error = np.empty(3)
    for row in range(rows):
        step = 1 if row % 2 == 0 else -1
        for n in range(columns):
            col = n if step == 1 else columns - 1 - n
            if not present[row, col]:
                continue
            wish = value[row, col]
            for k in range(3):
                error[k] = min(max(wish[k], low), high)
                wish[k] = min(max(wish[k], 0.0), 1.0)
            x, y, z = _space_of_linear(metric, wish[0], wish[1], wish[2])
            best, chosen = np.int64(0), -1
            for j in range(palette.shape[0]):
                cost = price[j] + _thousandths(metric, x, y, z, palette[j, 0], palette[j, 1], palette[j, 2])
                if chosen < 0 or cost < best:
                    best, chosen = cost, j
            for k in range(3):
                error[k] = strength * (error[k] - palette_linear[chosen, k])
            _hand_on(value, present, row, col, step, error)
    return value


@_kernel
def _add_span(into: _Float, premultiplied: _Float, low: float, high: float) -> None:
    """Add to ``into`` (4,) the integral of a pixel row (w, 4) from ``low`` to ``high`` pixels."""
    for j in range(max(0, math.floor(low)), min(premultiplied.shape[0], math.ceil(high))):
        width = min(high, j + 1.0) - max(low, float(j))
        if width > 0.0:
            for k in range(4):
                into[k] += width * premultiplied[j, k]


@_kernel
def average_band(
    rgba: _UInt8, linear_of_code: _Float, row_edges: _Float, left: _Float, right: _Float, first_row: int
) -> _Float:
    """Integrals (rows, columns, 4) of premultiplied linear light and alpha over cells, in square pixels.

    ``rgba`` (h, w, 4) is the band, ``row_edges`` (rows + 1,) its cell rows in band pixels, ``left`` and
    ``right`` (2, columns) the sides of cells of even and odd rows; ``first_row`` tells which is which.
    """
    rows, columns = row_edges.shape[0] - 1, left.shape[1]
    height, width = rgba.shape[0], rgba.shape[1]
    sums = np.zeros((rows, columns, 4))
    line = np.empty((width, 4))
    for r in range(rows):
        low, high = row_edges[r], row_edges[r + 1]
        line[:] = 0.0
        for i in range(max(0, math.floor(low)), min(height, math.ceil(high))):
            part = (min(high, i + 1.0) - max(low, float(i))) / 255.0
            if part > 0.0:
                for j in range(width):
                    weight = part * rgba[i, j, 3]
                    line[j, 0] += weight * linear_of_code[rgba[i, j, 0]]
                    line[j, 1] += weight * linear_of_code[rgba[i, j, 1]]
                    line[j, 2] += weight * linear_of_code[rgba[i, j, 2]]
                    line[j, 3] += weight
        odd = (first_row + r) % 2
        for c in range(columns):
            _add_span(sums[r, c], line, left[odd, c], right[odd, c])
    return sums


@_kernel
def _add_box(into: _Float, weight: float, rgba: _UInt8, linear_of_code: _Float, box: _Float) -> None:
    """Add ``weight`` times the mean of premultiplied light and alpha over a box in picture pixels.

    ``box`` is (x low, x high, y low, y high). What of it lies outside the picture counts as transparent.
    """
    x_low, x_high, y_low, y_high = box[0], box[1], box[2], box[3]
    red, green, blue, alpha = 0.0, 0.0, 0.0, 0.0
    for i in range(max(0, math.floor(y_low)), min(rgba.shape[0], math.ceil(y_high))):
        tall = min(y_high, i + 1.0) - max(y_low, float(i))
        for j in range(max(0, math.floor(x_low)), min(rgba.shape[1], math.ceil(x_high))):
            part = tall * (min(x_high, j + 1.0) - max(x_low, float(j))) * rgba[i, j, 3]
            red += part * linear_of_code[rgba[i, j, 0]]
            green += part * linear_of_code[rgba[i, j, 1]]
            blue += part * linear_of_code[rgba[i, j, 2]]
            alpha += part
    scale = weight / (255.0 * (x_high - x_low) * (y_high - y_low))
    into[0] += scale * red
    into[1] += scale * green
    into[2] += scale * blue
    into[3] += scale * alpha


@_kernel
def _quad_box(p: _Float, q: _Float, u: _Float, v: _Float, box: _Float) -> float:
    """Write the box around a quad into ``box``; return the quad's area, half its diagonals' cross product.

    A quad seen edge-on still gets a box with an inside, so that it samples the picture where it lies.
    """
    for k in range(2):
        low, high = min(p[k], q[k], u[k], v[k]), max(p[k], q[k], u[k], v[k])
        if high - low < 1e-6:
            low, high = low - 5e-7, high + 5e-7
        box[2 * k], box[2 * k + 1] = low, high
    return float(0.5 * abs((u[0] - p[0]) * (v[1] - q[1]) - (v[0] - q[0]) * (u[1] - p[1])))


@_kernel
def _corner_pixels(h: _Float, left_m: float, near_m: float, pitch: _Float, pixels: _Float) -> None:
    """Picture pixels of the corners of a cell's parts: ``pixels`` (samples + 1, samples + 1, 2)."""
    samples = pixels.shape[0] - 1
    for s in range(samples + 1):
        along = near_m + s / samples * pitch[1]
        for t in range(samples + 1):
            across = left_m + t / samples * pitch[0]
            w = h[2, 0] * across + h[2, 1] * along + h[2, 2]
            pixels[s, t, 0] = (h[0, 0] * across + h[0, 1] * along + h[0, 2]) / w
            pixels[s, t, 1] = (h[1, 0] * across + h[1, 1] * along + h[1, 2]) / w


@_kernel
def average_seen_rows(
    rgba: _UInt8,
    linear_of_code: _Float,
    pixel_of_field: _Float,
    first_row: int,
    last_row: int,
    columns: int,
    pitch: _Float,
    shift_m: float,
    samples: int,
) -> _Float:
    """Means (rows, columns, 4) of premultiplied light and alpha over cells seen through a projective map.

    ``pixel_of_field`` (3, 3) takes (across, along, 1) in metres to homogeneous picture pixels; ``pitch``
    is (column, row) in metres, ``shift_m`` how far odd rows stand to the right. Each of ``samples`` x
    ``samples`` parts of a cell is averaged over the box around its quad and weighted by the quad's area.
    """
    means = np.zeros((last_row - first_row, columns, 4))
    px = np.empty((samples + 1, samples + 1, 2))
    box = np.empty(4)
    for row in range(first_row, last_row):
        for col in range(columns):
            left_m = col * pitch[0] + shift_m * (row % 2)
            _corner_pixels(pixel_of_field, left_m, row * pitch[1], pitch, px)
            mean = means[row - first_row, col]
            total = 0.0
            for s in range(samples):
                for t in range(samples):
                    area = _quad_box(px[s, t], px[s, t + 1], px[s + 1, t + 1], px[s + 1, t], box)
                    _add_box(mean, area, rgba, linear_of_code, box)
                    total += area
            mean /= total
    return means


@_kernel
def _neighbour_colours(choice: _Int32, row: int, col: int, compass: _Int64, seen: _Int32) -> int:
    """Write the colours of the present neighbours into ``seen`` and return how many they are."""
    count = 0
    for n in range(compass.shape[0]):
        r, c = row + compass[n, 0], col + compass[n, 1]
        if 0 <= r < choice.shape[0] and 0 <= c < choice.shape[1] and choice[r, c] >= 0:
            seen[count] = choice[r, c]
            count += 1
    return count


@_kernel
def _is_among(colour: int, seen: _Int32, count: int) -> bool:
    for n in range(count):
        if seen[n] == colour:
            return True
    return count == 0


@_kernel
def _best_neighbour(seen: _Int32, count: int, stock_left: _Int64, cost: _Int32) -> int:
    """Most frequent of the seen colours with stock left; then least cost, then lowest index; -1 if none."""
    best, votes_of_best = -1, 0
    for n in range(count):
        colour = seen[n]
        if stock_left[colour] <= 0:
            continue
        votes = 0
        for other in range(count):
            votes += seen[other] == colour
        better = best < 0 or votes > votes_of_best
        if not better and votes == votes_of_best:
            better = cost[colour] < cost[best] or (cost[colour] == cost[best] and colour < best)
        if better:
            best, votes_of_best = colour, votes
    return best


@_kernel
def clean_specks(
    choice: _Int32, stock_left: _Int64, cost: _Int32, cost_row: _Int64, half_offset: bool
) -> tuple[int, int]:
    """Recolour specks in place, in row order, until nothing changes; returns recoloured and left."""
    seen = np.empty(8, dtype=np.int32)
    recoloured = 0
    while True:
        changed, left = 0, 0
        for row in range(choice.shape[0]):
            compass = _NEIGHBOURS_8
            if half_offset:
                compass = _NEIGHBOURS_ODD if row % 2 == 1 else _NEIGHBOURS_EVEN
            for col in range(choice.shape[1]):
                colour = choice[row, col]
                if colour < 0:
                    continue
                count = _neighbour_colours(choice, row, col, compass, seen)
                if _is_among(colour, seen, count):
                    continue
                best = _best_neighbour(seen, count, stock_left, cost[cost_row[row, col]])
                if best < 0:
                    left += 1
                    continue
                stock_left[colour] += 1
                stock_left[best] -= 1
                choice[row, col] = best
                changed += 1
        recoloured += changed
        if changed == 0:
            return recoloured, left
