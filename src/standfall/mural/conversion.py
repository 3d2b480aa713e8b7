"""Colours between sRGB codes, linear light, CIE XYZ, CIE L*a*b* and Oklab.

Terms. *Code*: an 8-bit sRGB value, 0 to 255. *Encoded*: the same as a fraction, 0 to 1. *Linear*:
linear-light sRGB, 0 to 1, proportional to light and therefore the only one that may be averaged.
*Lab* without further words is CIE 1976 L*a*b* under D65.

Arrays have shape (..., 3), float64. Nothing is clipped unless the function says so: a colour outside
sRGB has linear values below 0 or above 1.

Sources:
    IEC 61966-2-1:1999 (sRGB primaries, white, transfer function with breaks 0.04045 and 0.0031308);
    CIE 15:2004, 8.2.1 (L*a*b*, with the exact constants 216/24389 and 24389/27);
    B. Ottosson, "A perceptual color space for image processing", 2020 (Oklab);
    ICC.1:2010, annex E (Bradford adaptation matrix; first Lam 1985).

The matrices are worked out from the chromaticities in exact fractions and rounded once, so that both
directions belong together; the four-digit matrices printed in IEC 61966-2-1 differ from them by up to
6e-5 in XYZ, up to 0.03 in Lab.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
_Rows = list[list[Fraction]]

ENCODED_BREAK: Final = 0.04045
LINEAR_BREAK: Final = 0.0031308
_OFFSET: Final = 0.055
_SLOPE: Final = 12.92
_EXPONENT: Final = 2.4

LAB_EPSILON: Final = 216 / 24389
LAB_KAPPA: Final = 24389 / 27

_HEX = re.compile(r"#?([0-9A-Fa-f]{6}|[0-9A-Fa-f]{3})\Z")


def _fractions(rows: Sequence[Sequence[str]]) -> _Rows:
    return [[Fraction(value) for value in row] for row in rows]


def _product(left: _Rows, right: _Rows) -> _Rows:
    columns = list(zip(*right, strict=True))
    return [
        [sum((a * b for a, b in zip(row, col, strict=True)), Fraction(0)) for col in columns] for row in left
    ]


def _inverse(m: _Rows) -> _Rows:
    """Exact inverse of a 3 x 3 matrix by cofactors (indices taken round, so signs come right)."""
    cofactors = [
        [
            m[(i + 1) % 3][(j + 1) % 3] * m[(i + 2) % 3][(j + 2) % 3]
            - m[(i + 1) % 3][(j + 2) % 3] * m[(i + 2) % 3][(j + 1) % 3]
            for j in range(3)
        ]
        for i in range(3)
    ]
    determinant = sum((m[0][j] * cofactors[0][j] for j in range(3)), Fraction(0))
    return [[cofactors[j][i] / determinant for j in range(3)] for i in range(3)]


def _diagonal(values: list[Fraction]) -> _Rows:
    return [[values[i] if i == j else Fraction(0) for j in range(3)] for i in range(3)]


def _white(x: str, y: str) -> list[Fraction]:
    """XYZ of a chromaticity at Y = 1."""
    fx, fy = Fraction(x), Fraction(y)
    return [fx / fy, Fraction(1), (1 - fx - fy) / fy]


def _rounded(rows: _Rows) -> FloatArray:
    matrix = np.array([[float(value) for value in row] for row in rows])
    matrix.setflags(write=False)
    return matrix


def _times(matrix: _Rows, vector: list[Fraction]) -> list[Fraction]:
    return [row[0] for row in _product(matrix, [[value] for value in vector])]


# IEC 61966-2-1: red, green, blue chromaticities and the D65 white. D50: CIE 15:2004, table T.3, rounded
# to the four digits in common use.
_PRIMARIES = [("0.64", "0.33"), ("0.30", "0.60"), ("0.15", "0.06")]
_D65 = _white("0.3127", "0.3290")
_D50 = _white("0.3457", "0.3585")

_COLUMNS = [list(row) for row in zip(*(_white(x, y) for x, y in _PRIMARIES), strict=True)]
_XYZ_OF_RGB = _product(_COLUMNS, _diagonal(_times(_inverse(_COLUMNS), _D65)))

_BRADFORD = _fractions(
    [["0.8951", "0.2664", "-0.1614"], ["-0.7502", "1.7135", "0.0367"], ["0.0389", "-0.0685", "1.0296"]]
)
_GAINS = [to / of for to, of in zip(_times(_BRADFORD, _D65), _times(_BRADFORD, _D50), strict=True)]
_D65_OF_D50 = _product(_inverse(_BRADFORD), _product(_diagonal(_GAINS), _BRADFORD))

# Ottosson 2020: linear sRGB to cone response, and its cube root to Oklab.
_CONES_OF_RGB = _fractions(
    [
        ["0.4122214708", "0.5363325363", "0.0514459929"],
        ["0.2119034982", "0.6806995451", "0.1073969566"],
        ["0.0883024619", "0.2817188376", "0.6299787005"],
    ]
)
_OKLAB_OF_ROOTS = _fractions(
    [
        ["0.2104542553", "0.7936177850", "-0.0040720468"],
        ["1.9779984951", "-2.4285922050", "0.4505937099"],
        ["0.0259040371", "0.7827717662", "-0.8086757660"],
    ]
)

WHITE_D65: Final = _rounded([_D65])[0]
WHITE_D50: Final = _rounded([_D50])[0]
XYZ_OF_LINEAR: Final = _rounded(_XYZ_OF_RGB)
LINEAR_OF_XYZ: Final = _rounded(_inverse(_XYZ_OF_RGB))
D65_OF_D50: Final = _rounded(_D65_OF_D50)
CONES_OF_LINEAR: Final = _rounded(_CONES_OF_RGB)
LINEAR_OF_CONES: Final = _rounded(_inverse(_CONES_OF_RGB))
OKLAB_OF_ROOTS: Final = _rounded(_OKLAB_OF_ROOTS)
ROOTS_OF_OKLAB: Final = _rounded(_inverse(_OKLAB_OF_ROOTS))


def _apply(matrix: FloatArray, colours: FloatArray) -> FloatArray:
    """Matrix times each colour, element by element.

    Not a BLAS product: there the last bit of a row may depend on where in the array it lies.
    """
    a, b, c = colours[..., 0], colours[..., 1], colours[..., 2]
    return np.stack([row[0] * a + row[1] * b + row[2] * c for row in matrix], axis=-1)


def _colours(values: ArrayLike) -> FloatArray:
    colours = np.asarray(values, dtype=np.float64)
    if colours.ndim == 0 or colours.shape[-1] != 3:
        raise ValueError(f"colours must have shape (..., 3), not {colours.shape}")
    return colours


def decode_srgb(encoded: ArrayLike) -> FloatArray:
    """Linear light of encoded sRGB fractions, any shape (IEC 61966-2-1), straight on below 0."""
    e = np.asarray(encoded, dtype=np.float64)
    curved = ((np.maximum(e, ENCODED_BREAK) + _OFFSET) / (1 + _OFFSET)) ** _EXPONENT
    return np.where(e <= ENCODED_BREAK, e / _SLOPE, curved)


def encode_srgb(linear: ArrayLike) -> FloatArray:
    """Encoded sRGB fractions of linear light, any shape (IEC 61966-2-1), straight on below 0."""
    x = np.asarray(linear, dtype=np.float64)
    curved = (1 + _OFFSET) * np.maximum(x, LINEAR_BREAK) ** (1 / _EXPONENT) - _OFFSET
    return np.where(x <= LINEAR_BREAK, x * _SLOPE, curved)


def _code_table() -> FloatArray:
    table = decode_srgb(np.arange(256) / 255)
    table.setflags(write=False)
    return table


#: Linear light of each 8-bit code, shape (256,).
LINEAR_OF_CODE: Final = _code_table()


def srgb8_to_linear(codes: NDArray[np.uint8]) -> FloatArray:
    """Linear light of 8-bit codes, any shape, by the table ``LINEAR_OF_CODE``.

    Raises:
        ValueError: the array is not uint8.
    """
    if codes.dtype != np.uint8:
        raise ValueError(f"sRGB codes must be uint8, not {codes.dtype}")
    return LINEAR_OF_CODE[codes]


def linear_to_srgb8(linear: ArrayLike) -> NDArray[np.uint8]:
    """8-bit codes of linear light, any shape: clipped to 0..1, rounded to the nearest, halves up."""
    encoded = encode_srgb(np.clip(np.asarray(linear, dtype=np.float64), 0.0, 1.0))
    return np.floor(encoded * 255 + 0.5).astype(np.uint8)


def linear_to_xyz(linear: ArrayLike) -> FloatArray:
    """CIE XYZ (Y = 1 for white) under D65 of linear sRGB, shape (..., 3)."""
    return _apply(XYZ_OF_LINEAR, _colours(linear))


def xyz_to_linear(xyz: ArrayLike) -> FloatArray:
    """Linear sRGB of CIE XYZ under D65, shape (..., 3), not clipped."""
    return _apply(LINEAR_OF_XYZ, _colours(xyz))


def xyz_to_lab(xyz: ArrayLike, white: FloatArray = WHITE_D65) -> FloatArray:
    """CIE L*a*b* of XYZ relative to ``white`` (3,), shape (..., 3) (CIE 15:2004, 8.2.1)."""
    t = _colours(xyz) / white
    f = np.where(t > LAB_EPSILON, np.cbrt(t), (LAB_KAPPA * t + 16) / 116)
    fx, fy, fz = f[..., 0], f[..., 1], f[..., 2]
    return np.stack([116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz)], axis=-1)


def lab_to_xyz(lab: ArrayLike, white: FloatArray = WHITE_D65) -> FloatArray:
    """XYZ of CIE L*a*b* given under ``white`` (3,), shape (..., 3) (inverse of `xyz_to_lab`)."""
    values = _colours(lab)
    fy = (values[..., 0] + 16) / 116
    f = np.stack([fy + values[..., 1] / 500, fy, fy - values[..., 2] / 200], axis=-1)
    cube = f * f * f
    return np.where(cube > LAB_EPSILON, cube, (116 * f - 16) / LAB_KAPPA) * white


def linear_to_lab(linear: ArrayLike) -> FloatArray:
    """CIE L*a*b* (D65) of linear sRGB, shape (..., 3)."""
    return xyz_to_lab(linear_to_xyz(linear))


def lab_to_linear(lab: ArrayLike) -> FloatArray:
    """Linear sRGB of CIE L*a*b* (D65), shape (..., 3), not clipped."""
    return xyz_to_linear(lab_to_xyz(lab))


def srgb8_to_lab(codes: NDArray[np.uint8]) -> FloatArray:
    """CIE L*a*b* (D65) of 8-bit sRGB codes, shape (..., 3)."""
    return linear_to_lab(srgb8_to_linear(codes))


def lab_to_srgb8(lab: ArrayLike) -> NDArray[np.uint8]:
    """Nearest 8-bit sRGB codes of CIE L*a*b* (D65), each channel clipped, shape (..., 3)."""
    return linear_to_srgb8(lab_to_linear(lab))


def linear_to_oklab(linear: ArrayLike) -> FloatArray:
    """Oklab of linear sRGB, shape (..., 3), L from 0 to 1 (Ottosson 2020)."""
    return _apply(OKLAB_OF_ROOTS, np.cbrt(_apply(CONES_OF_LINEAR, _colours(linear))))


def oklab_to_linear(oklab: ArrayLike) -> FloatArray:
    """Linear sRGB of Oklab, shape (..., 3), not clipped (inverse of `linear_to_oklab`)."""
    return _apply(LINEAR_OF_CONES, _apply(ROOTS_OF_OKLAB, _colours(oklab)) ** 3)


def lab_d50_to_lab_d65(lab_d50: ArrayLike) -> FloatArray:
    """L*a*b* under D65 of L*a*b* given under D50, shape (..., 3).

    Makers of plastics and colour meters often state D50. The colour is adapted in XYZ by the linear
    Bradford transform (ICC.1:2010, annex E).
    """
    return xyz_to_lab(_apply(D65_OF_D50, lab_to_xyz(lab_d50, WHITE_D50)), WHITE_D65)


def hex_to_srgb8(text: str) -> NDArray[np.uint8]:
    """Codes (3,) of ``#rrggbb`` or ``#rgb``, in any case, with or without the ``#``.

    Raises:
        ValueError: the text is not of that form.
    """
    match = _HEX.match(text.strip())
    if match is None:
        raise ValueError(f"{text!r} is not a colour of the form #rrggbb")
    digits = match.group(1)
    if len(digits) == 3:
        digits = "".join(digit * 2 for digit in digits)
    return np.frombuffer(bytes.fromhex(digits), dtype=np.uint8).copy()


def srgb8_to_hex(codes: NDArray[np.uint8]) -> str:
    """``#rrggbb`` in lower case, of codes (3,).

    Raises:
        ValueError: not three codes of type uint8.
    """
    if codes.dtype != np.uint8 or codes.shape != (3,):
        raise ValueError(f"a colour is three uint8 codes, not {codes.dtype} {codes.shape}")
    return "#" + codes.tobytes().hex()
