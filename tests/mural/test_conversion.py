"""Conversions against coloraide (stored values), colour-science (stored and live) and published pairs."""

from __future__ import annotations

import csv
from pathlib import Path

import colour
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from standfall.mural import conversion as cv

DATA = Path(__file__).parents[1] / "data"
D65_XY = np.array([0.3127, 0.3290])
D50_XY = np.array([0.3457, 0.3585])


def rows_of(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8") as lines:
        next(lines)  # where the numbers come from
        return list(csv.DictReader(lines))


def columns(rows: list[dict[str, str]], *names: str) -> np.ndarray:
    return np.array([[float(row[name]) for name in names] for row in rows])


CONVERSIONS = rows_of("colour_conversions.csv")
CODES = np.array([cv.hex_to_srgb8(row["hex"]) for row in CONVERSIONS])


@pytest.fixture(scope="module")
def gamut() -> np.ndarray:
    return np.random.default_rng(61966).random((2000, 3))


def test_stored_conversions_of_coloraide():
    # coloraide works the matrix out from the chromaticities, as we do: one definition, so agreement to
    # the digits stored (1e-8 linear and XYZ, 1e-6 Lab).
    linear = cv.srgb8_to_linear(CODES)
    assert_allclose(linear, columns(CONVERSIONS, "linR", "linG", "linB"), atol=6e-9)
    assert_allclose(cv.linear_to_xyz(linear), columns(CONVERSIONS, "X_D65", "Y_D65", "Z_D65"), atol=6e-9)
    lab = columns(CONVERSIONS, "L_coloraide", "a_coloraide", "b_coloraide")
    assert_allclose(cv.srgb8_to_lab(CODES), lab, atol=1e-6)


def test_stored_conversions_of_colour_science():
    # Another definition: the four-digit matrix of IEC 61966-2-1 moves Lab by up to 0.021.
    lab = columns(CONVERSIONS, "L_colour_science", "a_colour_science", "b_colour_science")
    assert_allclose(cv.srgb8_to_lab(CODES), lab, atol=0.03)


def test_stored_oklab_of_coloraide():
    # coloraide recomputes Ottosson's matrices to more digits: 4e-8 apart.
    oklab = cv.linear_to_oklab(cv.srgb8_to_linear(CODES))
    assert_allclose(oklab, columns(CONVERSIONS, "ok_L", "ok_a", "ok_b"), atol=1e-7)


def test_published_oklab_pairs():
    # Ottosson 2020, three digits published; his XYZ matrix implies a D65 1e-4 off the one of sRGB, which
    # weighs more for stimuli this far outside sRGB.
    pairs = rows_of("oklab_ottosson_pairs.csv")
    oklab = cv.linear_to_oklab(cv.xyz_to_linear(columns(pairs, "X", "Y", "Z")))
    assert_allclose(oklab, columns(pairs, "L", "a", "b"), atol=1.5e-3)


def test_transfer_function_against_colour_science():
    encoded = np.linspace(0, 1, 4097)
    assert_allclose(cv.decode_srgb(encoded), colour.cctf_decoding(encoded, "sRGB"), atol=1e-12)
    linear = np.linspace(0, 1, 4097)
    assert_allclose(cv.encode_srgb(linear), colour.cctf_encoding(linear, "sRGB"), atol=1e-12)


def test_transfer_function_breaks():
    # IEC 61966-2-1: codes 10 and 11 lie either side of the break 0.04045 (10.3 codes).
    assert cv.LINEAR_OF_CODE[10] == pytest.approx(10 / 255 / 12.92, abs=1e-15)
    assert cv.LINEAR_OF_CODE[11] == pytest.approx(((11 / 255 + 0.055) / 1.055) ** 2.4, abs=1e-15)
    # The standard's breaks do not meet exactly; the step is known to be below 1e-7 linear, from memory.
    assert abs(cv.decode_srgb(0.04045) - cv.decode_srgb(0.0404500001)) < 1e-7


def test_matrix_against_colour_science():
    # ITU/SMPTE RP 177 derivation of the matrix from primaries and white.
    primaries = np.array([[0.64, 0.33], [0.30, 0.60], [0.15, 0.06]])
    assert_allclose(cv.XYZ_OF_LINEAR, colour.normalised_primary_matrix(primaries, D65_XY), atol=1e-14)
    assert_allclose(cv.XYZ_OF_LINEAR @ cv.LINEAR_OF_XYZ, np.eye(3), atol=1e-15)
    # IEC 61966-2-1 prints it to four digits, from its own rounded white.
    printed = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    assert_allclose(cv.XYZ_OF_LINEAR, printed, atol=6e-5)


def test_lab_against_colour_science(gamut):
    xyz = cv.linear_to_xyz(gamut**2.2)
    assert_allclose(cv.xyz_to_lab(xyz), colour.XYZ_to_Lab(xyz, D65_XY), atol=1e-9)
    lab = colour.XYZ_to_Lab(xyz, D65_XY)
    assert_allclose(cv.lab_to_xyz(lab), colour.Lab_to_XYZ(lab, D65_XY), atol=1e-12)


def test_lab_of_red_is_the_published_one():
    # sRGB red under D65, as printed with the CIEDE2000 literature and by coloraide.
    lab = cv.srgb8_to_lab(np.array([255, 0, 0], dtype=np.uint8))
    assert_allclose(lab, [53.2371, 80.0901, 67.2033], atol=5e-5)


def test_oklab_against_colour_science(gamut):
    # colour-science takes XYZ; the author's D65 differs a little (measured 1.3e-4).
    assert_allclose(cv.linear_to_oklab(gamut), colour.XYZ_to_Oklab(cv.linear_to_xyz(gamut)), atol=2e-4)


def test_d50_to_d65_against_colour_science(gamut):
    # Bradford adaptation, ICC.1:2010 annex E.
    lab_d50 = gamut * [100, 120, 120] - [0, 60, 60]
    white_d50, white_d65 = (colour.xy_to_XYZ(xy) for xy in (D50_XY, D65_XY))
    adapted = colour.adaptation.chromatic_adaptation_VonKries(
        colour.Lab_to_XYZ(lab_d50, D50_XY), white_d50, white_d65, transform="Bradford"
    )
    assert_allclose(cv.lab_d50_to_lab_d65(lab_d50), colour.XYZ_to_Lab(adapted, D65_XY), atol=1e-9)


def test_adaptation_keeps_greys_grey():
    greys = np.array([[0.0, 0, 0], [35, 0, 0], [100, 0, 0]])
    assert_allclose(cv.lab_d50_to_lab_d65(greys), greys, atol=1e-11)


def test_chart_measured_under_d50_gives_its_srgb_codes():
    # Maker's Lab (D50) and sRGB codes of a 24-patch chart. Its codes come from another measurement of
    # the chart, hence the allowance; cyan lies outside sRGB, where its red is clipped.
    chart = rows_of("chart24.csv")
    codes = cv.lab_to_srgb8(cv.lab_d50_to_lab_d65(columns(chart, "L_D50", "a_D50", "b_D50"))).astype(int)
    off = np.abs(codes - columns(chart, "sR", "sG", "sB"))
    assert off.max() <= 6
    assert np.median(off) <= 1
    assert codes[[row["patch"] for row in chart].index("cyan"), 0] == 0


def test_every_code_survives_linear_light():
    codes = np.arange(256, dtype=np.uint8)
    assert (cv.linear_to_srgb8(cv.srgb8_to_linear(codes)) == codes).all()


def test_codes_survive_lab():
    codes = np.random.default_rng(3).integers(0, 256, (20000, 3)).astype(np.uint8)
    assert (cv.lab_to_srgb8(cv.srgb8_to_lab(codes)) == codes).all()


@settings(max_examples=60, deadline=None)
@given(st.tuples(*[st.floats(-0.2, 1.5)] * 3))
def test_round_trips_also_outside_the_gamut(colour_):
    linear = np.array(colour_)
    assert_allclose(cv.xyz_to_linear(cv.linear_to_xyz(linear)), linear, atol=1e-12)
    assert_allclose(cv.lab_to_linear(cv.linear_to_lab(linear)), linear, atol=1e-11)
    assert_allclose(cv.oklab_to_linear(cv.linear_to_oklab(linear)), linear, atol=1e-8)
    assert_allclose(cv.decode_srgb(cv.encode_srgb(linear)), linear, atol=1e-7)


def test_a_colour_converts_alike_wherever_it_lies_in_an_array(gamut):
    many = np.tile(gamut[:7], (101, 1))
    for convert in (cv.linear_to_lab, cv.linear_to_oklab, cv.encode_srgb):
        whole = convert(many).reshape(101, 7, 3)
        assert (whole == whole[0]).all()


def test_clipping_and_rounding_to_codes():
    assert cv.linear_to_srgb8(np.array([-0.1, 0.0, 1.0, 7.0])).tolist() == [0, 0, 255, 255]
    # Halfway between codes 4 and 5 on the straight part: 4.5 / 255 / 12.92, up.
    assert cv.linear_to_srgb8(np.array([4.5 / 255 / 12.92 + 1e-12])).tolist() == [5]


@pytest.mark.parametrize(
    ("text", "codes"),
    [
        ("#1f5f7a", (31, 95, 122)),
        ("1F5F7A", (31, 95, 122)),
        (" #fc0 ", (255, 204, 0)),
        ("#000000", (0, 0, 0)),
    ],
)
def test_hex(text, codes):
    assert tuple(cv.hex_to_srgb8(text)) == codes
    assert tuple(cv.hex_to_srgb8(cv.srgb8_to_hex(np.array(codes, dtype=np.uint8)))) == codes


@pytest.mark.parametrize("text", ["", "#", "#12345", "#1234567", "blue", "#12345g", "#１２３456", "0x1234"])
def test_hex_refuses(text):
    with pytest.raises(ValueError, match="#rrggbb"):
        cv.hex_to_srgb8(text)


def test_misuse_is_named():
    with pytest.raises(ValueError, match=r"\(\.\.\., 3\)"):
        cv.linear_to_lab(np.zeros((3, 2)))
    with pytest.raises(ValueError, match="uint8"):
        cv.srgb8_to_linear(np.zeros(3))
    with pytest.raises(ValueError, match="three uint8"):
        cv.srgb8_to_hex(np.zeros(3))
