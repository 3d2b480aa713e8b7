"""How different two colours look: CIEDE2000, CIE 1976, Oklab; and the table that assignment works on."""

from __future__ import annotations

from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from standfall.mural import _kernels
from standfall.mural.conversion import decode_srgb, encode_srgb, linear_to_lab, linear_to_oklab

FloatArray = NDArray[np.float64]
Metric = Literal["ciede2000", "cie76", "oklab"]

_CODE: Final[dict[str, int]] = {
    "ciede2000": _kernels.CIEDE2000,
    "cie76": _kernels.CIE76,
    "oklab": _kernels.OKLAB,
}
_POW25_7: Final = 25.0**7

#: Steps of the lattice of `distinct` from black to white: sixteen to each 8-bit sRGB code.
LATTICE_STEPS: Final = 16 * 255


def ciede2000(lab1: ArrayLike, lab2: ArrayLike) -> FloatArray:
    """CIEDE2000 difference of L*a*b* colours (..., 3), broadcast; k_L = k_C = k_H = 1.

    Source: Sharma, Wu and Dalal, Color Research and Application 30(1), 2005, equations 2 to 22, which
    settle what CIE 142-2001 leaves open about hue averages. Symmetric in its arguments.
    """
    first, second = np.asarray(lab1, dtype=np.float64), np.asarray(lab2, dtype=np.float64)
    l1, a1, b1 = first[..., 0], first[..., 1], first[..., 2]
    l2, a2, b2 = second[..., 0], second[..., 1], second[..., 2]
    # Equations 2 to 7: a stretched near grey, then chroma and hue.
    chroma7 = (0.5 * (np.hypot(a1, b1) + np.hypot(a2, b2))) ** 7
    stretch = 1.5 - 0.5 * np.sqrt(chroma7 / (chroma7 + _POW25_7))
    a1, a2 = stretch * a1, stretch * a2
    c1, c2 = np.hypot(a1, b1), np.hypot(a2, b2)
    h1, h2 = np.degrees(np.arctan2(b1, a1)) % 360, np.degrees(np.arctan2(b2, a2)) % 360
    coloured = c1 * c2 != 0
    # Equations 8 to 11: steps.
    step_deg = np.where(coloured, h2 - h1, 0.0)
    step_deg = np.where(step_deg > 180, step_deg - 360, np.where(step_deg < -180, step_deg + 360, step_deg))
    d_l, d_c = l2 - l1, c2 - c1
    d_h = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(step_deg / 2))
    # Equations 12 to 14: means.
    light, chroma, total = (l1 + l2) / 2, (c1 + c2) / 2, h1 + h2
    around = np.where(total < 360, total + 360, total - 360) / 2
    hue = np.where(coloured, np.where(np.abs(h1 - h2) <= 180, total / 2, around), total)
    # Equations 15 to 22: weights and sum.
    t = (
        1
        - 0.17 * np.cos(np.radians(hue - 30))
        + 0.24 * np.cos(np.radians(2 * hue))
        + 0.32 * np.cos(np.radians(3 * hue + 6))
        - 0.20 * np.cos(np.radians(4 * hue - 63))
    )
    turn = np.radians(30 * np.exp(-(((hue - 275) / 25) ** 2)))
    r_t = -np.sin(2 * turn) * 2 * np.sqrt(chroma**7 / (chroma**7 + _POW25_7))
    d_l = d_l / (1 + 0.015 * (light - 50) ** 2 / np.sqrt(20 + (light - 50) ** 2))
    d_c = d_c / (1 + 0.045 * chroma)
    d_h = d_h / (1 + 0.015 * chroma * t)
    return np.asarray(np.sqrt(np.maximum(0.0, d_l**2 + d_c**2 + d_h**2 + r_t * d_c * d_h)))


def cie76(lab1: ArrayLike, lab2: ArrayLike) -> FloatArray:
    """CIE 1976 difference of L*a*b* colours (..., 3), broadcast: plain distance (CIE 15:2004, 8.2.1.3)."""
    step = np.asarray(lab1, dtype=np.float64) - np.asarray(lab2, dtype=np.float64)
    return np.asarray(np.sqrt((step**2).sum(axis=-1)))


def oklab(oklab1: ArrayLike, oklab2: ArrayLike) -> FloatArray:
    """Distance of Oklab colours (..., 3), broadcast, times 100: black to white is 100, as in L*a*b*."""
    return 100 * cie76(oklab1, oklab2)


def in_metric_space(linear: ArrayLike, metric: Metric) -> FloatArray:
    """Linear sRGB (..., 3) in the space where ``metric`` is measured: L*a*b*, or Oklab times 100.

    Raises:
        ValueError: the metric is not known.
    """
    if metric not in _CODE:
        raise ValueError(f"colour metric {metric!r} is not one of {', '.join(_CODE)}")
    return 100 * linear_to_oklab(linear) if metric == "oklab" else linear_to_lab(linear)


def metric_code(metric: Metric) -> int:
    """How the kernels call ``metric``."""
    return _CODE[metric]


def difference_table(
    cells_linear: FloatArray, palette_linear: FloatArray, metric: Metric
) -> NDArray[np.int32]:
    """Differences between cell colours and palette colours in thousandths, halves rounded up.

    Args:
        cells_linear: linear sRGB, shape (m, 3).
        palette_linear: linear sRGB, shape (k, 3).
        metric: ``ciede2000``, ``cie76`` or ``oklab`` (the last times 100, see `oklab`).

    Returns:
        int32 (m, k). Whole numbers, so that an assignment on them can be proved exactly optimal.

    Raises:
        ValueError: a shape is wrong, a value is not finite, or the metric is not known.
    """
    for name, array in (("cells_linear", cells_linear), ("palette_linear", palette_linear)):
        if array.ndim != 2 or array.shape[1] != 3:
            raise ValueError(f"{name} must have shape (n, 3), not {array.shape}")
        if not np.isfinite(array).all():
            raise ValueError(f"{name} holds a value that is not a finite number")
    return _kernels.difference_table(
        in_metric_space(cells_linear, metric), in_metric_space(palette_linear, metric), metric_code(metric)
    )


def distinct(cells_linear: FloatArray) -> tuple[FloatArray, NDArray[np.int64]]:
    """The different colours among cells, so that each difference is worked out once.

    Colours are clipped to 0..1 and rounded to a lattice of 16 steps per 8-bit sRGB code. Encoded values
    are about even to the eye, so one step does for dark and light; pixels taken as they are lie on the
    lattice and do not move at all; a mean colour moves by less than 0.1 in CIEDE2000 (measured: 0.08 at
    most, near black and near grey; 0.05 for 99 in 100), a tenth of what an eye can tell. Finer lattices
    (linear light in 16 bits, L*a*b* in hundredths) leave up to a quarter more colours of a photograph and
    tell nothing more. Where every cell is the mean of many pixels, few colours are alike on any of them.

    Args:
        cells_linear: linear sRGB, shape (n, 3).

    Returns:
        The different colours, linear sRGB (m, 3), in ascending order of red, green, blue; and for each
        cell the row of its colour, int64 (n,).

    Raises:
        ValueError: the shape is wrong.
    """
    if cells_linear.ndim != 2 or cells_linear.shape[1] != 3:
        raise ValueError(f"cells_linear must have shape (n, 3), not {cells_linear.shape}")
    steps = np.rint(encode_srgb(np.clip(cells_linear, 0.0, 1.0)) * LATTICE_STEPS).astype(np.int64)
    packed, inverse = np.unique((steps[:, 0] << 24) | (steps[:, 1] << 12) | steps[:, 2], return_inverse=True)
    points = np.stack([packed >> 24, (packed >> 12) & 0xFFF, packed & 0xFFF], axis=-1)
    return decode_srgb(points / LATTICE_STEPS), inverse.astype(np.int64).reshape(-1)
