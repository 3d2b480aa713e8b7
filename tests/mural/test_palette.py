"""The palette against colour-science (general-purpose library) and the published sRGB transfer function."""

from __future__ import annotations

import warnings
from typing import Any

import numpy as np
import pytest

from standfall.brief import Colour
from standfall.mural.palette import make_palette

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour as colour_science


def _colour(name: str, **keys: Any) -> Colour:
    return Colour(name=name, stock=1, **keys)


def test_srgb_becomes_linear_lab_and_back_to_the_same_hex() -> None:
    hexes = ["#1a2340", "#f6eedc", "#000000", "#ffffff", "#0A0b0C"]
    palette = make_palette([_colour(f"colour {n}", srgb=text) for n, text in enumerate(hexes)])
    assert palette.hexes == tuple(text.lower() for text in hexes)
    codes = np.array([[int(text[at : at + 2], 16) for at in (1, 3, 5)] for text in hexes])
    linear = colour_science.models.eotf_sRGB(codes / 255)  # IEC 61966-2-1
    np.testing.assert_allclose(palette.linear, linear, atol=1e-6)
    # The library's four-digit matrix moves Lab by up to 0.021 (measured), hence 0.03.
    lab = colour_science.XYZ_to_Lab(
        colour_science.sRGB_to_XYZ(codes / 255),
        colour_science.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"],
    )
    np.testing.assert_allclose(palette.lab, lab, atol=0.03)


def test_lab_under_d65_is_kept() -> None:
    measured = (52.0, 12.5, -30.25)
    palette = make_palette([_colour("lake", lab=measured, lab_white="D65")])
    np.testing.assert_allclose(palette.lab[0], measured, atol=1e-9)


@pytest.mark.parametrize(
    "measured", [(52.0, 12.5, -30.25), (90.0, -5.0, 60.0), (100.0, 0.0, 0.0), (20.0, 30.0, 20.0)]
)
def test_lab_under_d50_is_adapted_by_bradford(measured: tuple[float, float, float]) -> None:
    whites = colour_science.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]
    xyz = colour_science.chromatic_adaptation(
        colour_science.Lab_to_XYZ(measured, whites["D50"]),
        colour_science.xy_to_XYZ(whites["D50"]),
        colour_science.xy_to_XYZ(whites["D65"]),
        method="Von Kries",
        transform="Bradford",
    )
    palette = make_palette([_colour("lake", lab=measured)])
    np.testing.assert_allclose(palette.lab[0], colour_science.XYZ_to_Lab(xyz, whites["D65"]), atol=0.03)


def test_a_colour_outside_srgb_keeps_its_light_and_is_clipped_for_the_screen_only() -> None:
    palette = make_palette([_colour("loud green", lab=(60.0, -120.0, 80.0), lab_white="D65")])
    assert palette.linear[0].min() < 0
    assert palette.srgb8.dtype == np.uint8 and palette.srgb8[0, 0] == 0


def test_order_names_and_codes_are_the_briefs() -> None:
    palette = make_palette([_colour("night blue", srgb="#000000"), _colour("ivory", srgb="#ffffff")])
    assert len(palette) == 2
    assert palette.names == ("night blue", "ivory")
    assert palette.codes == ("NB", "JV")
    assert palette.linear.shape == palette.lab.shape == palette.srgb8.shape == (2, 3)
