"""Colour profiles in picture files, against the colour maths of colour-science.

Published sources of the expected values: ICC.1:2001-04 and ICC.1:2022 (profiles), IEC 61966-2-1 (sRGB), CIE 15
(L*), EXIF 2.32, PNG (W3C Recommendation, third edition). The profiles are written here from the specification.
"""

import struct

import colour
import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image
from raster_case import PHOTOGRAPHS, chunk, png, random_rgba, saved

from standfall.intake.decode import Decoded, decode_picture


def assert_pixels(decoded: Decoded, expected: NDArray[np.uint8], within: int = 0) -> None:
    assert decoded.rgba.dtype == np.uint8 and decoded.rgba.shape == expected.shape
    assert np.abs(decoded.rgba.astype(int) - expected.astype(int)).max() <= within


def opaque(rgb: NDArray[np.uint8]) -> NDArray[np.uint8]:
    return np.dstack([rgb, np.full(rgb.shape[:2], 255, np.uint8)])


BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
D50 = np.array([0.9642, 1.0, 0.8249])  # ICC.1:2022, 7.2.16, the PCS illuminant


def s15(*values: float) -> bytes:
    return b"".join(struct.pack(">i", round(v * 65536)) for v in values)


def profile(space: bytes, device: bytes, pcs: bytes, tags: dict[bytes, bytes]) -> bytes:
    """An ICC profile, version 2.4: header of 128 bytes, tag table, tags (ICC.1:2001-04, clause 6)."""
    tags = {
        b"desc": b"desc" + bytes(4) + struct.pack(">I", 5) + b"test\x00" + bytes(8 + 3 + 67),
        b"cprt": b"text" + bytes(4) + b"none\x00",
        b"wtpt": b"XYZ " + bytes(4) + s15(*D50),
        **tags,
    }
    table, body, at = b"", b"", 128 + 4 + 12 * len(tags)
    for name, content in tags.items():
        content += bytes(-len(content) % 4)
        table += name + struct.pack(">II", at + len(body), len(content))
        body += content
    size = at + len(body)
    header = struct.pack(">I4sI4s4s4s", size, b"test", 0x02400000, device, space, pcs)
    header += struct.pack(">6H", 2024, 1, 1, 0, 0, 0) + b"acsp" + bytes(28) + s15(*D50)
    return header.ljust(128, b"\x00") + struct.pack(">I", len(tags)) + table + body


def curve(gamma: float) -> bytes:
    """A curveType with one entry, a gamma as u8Fixed8Number (ICC.1:2001-04, 6.5.3)."""
    return b"curv" + bytes(4) + struct.pack(">IH", 1, round(gamma * 256))


def matrix_profile(space: colour.RGB_Colourspace, gamma: float, order: str = "rgb") -> bytes:
    """A display profile of the primaries of an RGB space, brought to D50 by the Bradford method (annex E)."""
    to_xyz = space.matrix_RGB_to_XYZ
    white = to_xyz @ np.ones(3)
    adapt = np.linalg.inv(BRADFORD) @ np.diag((BRADFORD @ D50) / (BRADFORD @ white)) @ BRADFORD
    columns = dict(zip(order, (adapt @ to_xyz).T, strict=True))
    tags = {}
    for key in "rgb":
        tags[key.encode() + b"XYZ"] = b"XYZ " + bytes(4) + s15(*columns[key])
        tags[key.encode() + b"TRC"] = curve(gamma)
    return profile(b"RGB ", b"mntr", b"XYZ ", tags)


def levels_rgb() -> NDArray[np.uint8]:
    steps = np.array([0, 1, 5, 20, 60, 100, 128, 170, 200, 240, 254, 255], np.uint8)
    return np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), -1).reshape(36, 48, 3)


@pytest.mark.parametrize(
    ("space", "gamma"),
    [("Display P3", 2.2), ("sRGB", 1.0), ("Adobe RGB (1998)", 2.19921875), ("ProPhoto RGB", 1.8)],
)
@pytest.mark.parametrize("kind", ["PNG", "TIFF", "WEBP"])
def test_matrix_profiles_follow_the_colour_maths(space: str, gamma: float, kind: str) -> None:
    rgb = levels_rgb()
    source, srgb = colour.RGB_COLOURSPACES[space], colour.RGB_COLOURSPACES["sRGB"]
    linear = colour.RGB_to_RGB((rgb / 255.0) ** gamma, source, srgb, "Bradford")
    expected = np.rint(255 * srgb.cctf_encoding(np.clip(linear, 0, 1))).astype(np.uint8)
    options = {"lossless": True} if kind == "WEBP" else {}
    data = saved(Image.fromarray(rgb), kind, icc_profile=matrix_profile(source, gamma), **options)
    decoded = decode_picture(data, f"kingfisher.{kind.lower()}")
    assert decoded.notes == ()
    assert_pixels(decoded, opaque(expected), within=2)


def test_profile_with_swapped_channels_swaps_them() -> None:
    # Such a profile shows at once whether profiles are followed: red and blue change places.
    rgb = levels_rgb()
    swapped = matrix_profile(colour.RGB_COLOURSPACES["sRGB"], 2.2, order="bgr")
    decoded = decode_picture(saved(Image.fromarray(rgb), "PNG", icc_profile=swapped), "g.png")
    linear = (rgb[..., ::-1] / 255.0) ** 2.2
    encoded = colour.RGB_COLOURSPACES["sRGB"].cctf_encoding(linear)
    assert_pixels(decoded, opaque(np.rint(255 * encoded).astype(np.uint8)), within=2)


def test_photograph_in_adobe_rgb_with_its_own_profile() -> None:
    data = (PHOTOGRAPHS / "rocket.jpg").read_bytes()  # carries "Adobe RGB (1998)"
    stored = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR_RGB)
    source, srgb = colour.RGB_COLOURSPACES["Adobe RGB (1998)"], colour.RGB_COLOURSPACES["sRGB"]
    linear = colour.RGB_to_RGB(source.cctf_decoding(stored / 255.0), source, srgb, "Bradford")
    expected = np.rint(255 * srgb.cctf_encoding(np.clip(linear, 0, 1))).astype(np.uint8)
    decoded = decode_picture(data, "rocket.jpg")
    assert_pixels(decoded, opaque(expected), within=2)
    assert np.abs(decoded.rgba[..., :3].astype(int) - stored).max() > 40  # it was no small thing


def test_profile_leaves_alpha_alone() -> None:
    rgba = random_rgba()
    linear = matrix_profile(colour.RGB_COLOURSPACES["sRGB"], 1.0)
    decoded = decode_picture(saved(Image.fromarray(rgba), "PNG", icc_profile=linear), "g.png")
    assert (decoded.rgba[..., 3] == rgba[..., 3]).all()
    encoded = colour.RGB_COLOURSPACES["sRGB"].cctf_encoding(rgba[..., :3] / 255.0)
    assert_pixels(decoded, np.dstack([np.rint(255 * encoded).astype(np.uint8), rgba[..., 3]]), within=2)


def test_grey_profile() -> None:
    grey = np.arange(256, dtype=np.uint8).reshape(16, 16)
    linear = profile(b"GRAY", b"mntr", b"XYZ ", {b"kTRC": curve(1.0)})
    decoded = decode_picture(saved(Image.fromarray(grey), "PNG", icc_profile=linear), "g.png")
    encoded = np.rint(255 * colour.RGB_COLOURSPACES["sRGB"].cctf_encoding(grey / 255.0)).astype(np.uint8)
    assert decoded.notes == ()
    assert_pixels(decoded, opaque(np.dstack([encoded] * 3)), within=2)


def cmyk_profile() -> bytes:
    """A scanner profile from CMYK to Lab by a lut8Type of two grid points (ICC.1:2001-04, 6.5.8).

    Only black counts: L* falls from 100 to 0 in proportion to it, whatever the other inks.
    """
    ramp = bytes(range(256))
    grid = b"".join(bytes([255 if black == 0 else 0, 128, 128]) for _ in range(8) for black in (0, 1))
    lut = (
        b"mft1" + bytes(4) + bytes([4, 3, 2, 0]) + s15(1, 0, 0, 0, 1, 0, 0, 0, 1) + ramp * 4 + grid + ramp * 3
    )
    return profile(b"CMYK", b"scnr", b"Lab ", {b"A2B0": lut})


@pytest.mark.parametrize("kind", ["TIFF", "JPEG"])
def test_cmyk_profile_is_followed(kind: str) -> None:
    black = np.repeat(np.arange(0, 256, 8, dtype=np.uint8), 8).reshape(16, 16)
    inks = Image.merge(
        "CMYK", [Image.fromarray(plane) for plane in (black // 2, black // 3, black * 0 + 9, black)]
    )
    options = {"quality": 100, "subsampling": 0} if kind == "JPEG" else {}
    decoded = decode_picture(saved(inks, kind, icc_profile=cmyk_profile(), **options), f"inks.{kind.lower()}")
    lightness = 100 * (1 - black / 255.0)
    luminance = colour.colorimetry.luminance_CIE1976(lightness) / 100  # CIE 15, L* to Y
    grey = np.rint(255 * colour.RGB_COLOURSPACES["sRGB"].cctf_encoding(luminance)).astype(np.uint8)
    assert decoded.notes == ()
    assert_pixels(decoded, opaque(np.dstack([grey] * 3)), within=3)


@pytest.mark.parametrize("broken", [b"no profile at all", bytes(200), cmyk_profile(), cmyk_profile()[:150]])
def test_unusable_profile_is_ignored_with_a_note(broken: bytes) -> None:
    rgba = random_rgba()
    decoded = decode_picture(saved(Image.fromarray(rgba), "PNG", icc_profile=broken), "g.png")
    assert_pixels(decoded, rgba)
    assert len(decoded.notes) == 1 and "profile" in decoded.notes[0] and "ignored" in decoded.notes[0]


def test_gamma_without_a_profile_is_only_noted() -> None:
    rows = b"\x00\x80\x80\x80"
    linear = png(1, 1, 8, 2, rows, chunk(b"gAMA", struct.pack(">I", 100_000)))
    decoded = decode_picture(linear, "g.png")
    assert decoded.rgba.tolist() == [[[128, 128, 128, 255]]]
    assert len(decoded.notes) == 1 and "gamma 1.000" in decoded.notes[0]
    usual = png(1, 1, 8, 2, rows, chunk(b"gAMA", struct.pack(">I", 45_455)))
    marked = png(1, 1, 8, 2, rows, chunk(b"sRGB", b"\x00"), chunk(b"gAMA", struct.pack(">I", 45_455)))
    assert decode_picture(usual, "g.png").notes == decode_picture(marked, "g.png").notes == ()


def test_camera_that_marks_adobe_rgb_without_profile_is_noted() -> None:
    # EXIF 2.32, 4.6: first table with a pointer (0x8769) to the EXIF table, and that with one (0xA005) to the
    # interoperability table, whose entry 1 reads R03.
    exif = b"Exif\x00\x00II*\x00" + struct.pack("<I", 8)
    exif += struct.pack("<HHHIII", 1, 0x8769, 4, 1, 26, 0)
    exif += struct.pack("<HHHIII", 1, 0xA005, 4, 1, 44, 0)
    exif += struct.pack("<HHHI4sI", 1, 1, 2, 4, b"R03\x00", 0)
    decoded = decode_picture(saved(Image.new("RGB", (8, 8)), "JPEG", exif=exif), "g.jpg")
    assert [note for note in decoded.notes if "Adobe RGB" in note]
