"""Picture files to pixels, against OpenCV, tifffile and arrays made by hand.

Published sources of the expected values: PNG (W3C Recommendation, third edition), TIFF 6.0, EXIF 2.32
(orientation), GIF89a, IEC 61966-2-1 (sRGB).
"""

import struct
from pathlib import Path

import cv2
import numpy as np
import pytest
import sklearn.datasets
from numpy.typing import NDArray
from PIL import Image
from raster_case import PHOTOGRAPHS, chunk, fault, png, random_rgba, saved, tiff

from standfall.intake.decode import Decoded, decode_picture


def assert_pixels(decoded: Decoded, expected: NDArray[np.uint8], within: int = 0) -> None:
    assert decoded.rgba.dtype == np.uint8 and decoded.rgba.shape == expected.shape
    assert np.abs(decoded.rgba.astype(int) - expected.astype(int)).max() <= within


def opaque(rgb: NDArray[np.uint8]) -> NDArray[np.uint8]:
    return np.dstack([rgb, np.full(rgb.shape[:2], 255, np.uint8)])


# ------------------------------------------------------------------ formats


@pytest.mark.parametrize("kind", ["png", "tiff", "webp"])
def test_lossless_rgba_from_another_encoder_comes_back_straight(kind: str) -> None:
    # Colours under zero alpha must survive too: nothing is premultiplied.
    rgba = random_rgba()
    rgba[:4, :4, 3] = 0
    if kind == "webp":
        data = saved(Image.fromarray(rgba), "WEBP", lossless=True, exact=True)
    elif kind == "tiff":
        data = tiff(rgba, photometric="rgb", extrasamples=["unassalpha"])
    else:
        written, buffer = cv2.imencode(".png", cv2.cvtColor(rgba, cv2.COLOR_RGBA2BGRA))
        assert written
        data = buffer.tobytes()
    assert_pixels(decode_picture(data, f"kingfisher.{kind}"), rgba)


@pytest.mark.parametrize(
    "name",
    ["chelsea.png", "coffee.png", "retina.jpg", "hubble_deep_field.jpg", "motorcycle_left.png", "brick.png"],
)
def test_photographs_equal_opencv(name: str) -> None:
    data = (PHOTOGRAPHS / name).read_bytes()
    expected = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR_RGB)
    decoded = decode_picture(data, name)
    # The two carry their own builds of the same JPEG library; a profile of sRGB may move a value by one.
    assert_pixels(decoded, opaque(expected), within=1)
    assert decoded.notes == ()


def test_camera_photograph_equals_opencv() -> None:
    data = (Path(sklearn.datasets.__file__).parent / "images" / "china.jpg").read_bytes()
    expected = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR_RGB)
    assert_pixels(decode_picture(data, "china.jpg"), opaque(expected), within=1)


def test_jpeg_and_webp_of_a_photograph_stay_close_to_it() -> None:
    photograph = np.asarray(Image.open(PHOTOGRAPHS / "coffee.png").convert("RGB"))
    for suffix, flag in (("jpg", cv2.IMWRITE_JPEG_QUALITY), ("webp", cv2.IMWRITE_WEBP_QUALITY)):
        _, buffer = cv2.imencode(f".{suffix}", photograph[..., ::-1], [flag, 95])
        decoded = decode_picture(buffer.tobytes(), f"coffee.{suffix}")
        difference = decoded.rgba[..., :3].astype(float) - photograph
        assert np.sqrt((difference**2).mean()) < 6.0  # swapped channels give 50 and more


def test_gif_first_frame_with_transparency() -> None:
    palette_index = np.arange(12, dtype=np.uint8).reshape(3, 4) % 3
    first = Image.fromarray(palette_index, "P")
    first.putpalette([255, 0, 0, 0, 128, 0, 0, 0, 64])
    second = Image.new("P", (4, 3), 1)
    second.putpalette(first.getpalette())
    data = saved(first, "GIF", save_all=True, append_images=[second], transparency=2, duration=50)
    decoded = decode_picture(data, "kingfisher.gif")
    opaque_colours = np.array([[255, 0, 0], [0, 128, 0], [0, 0, 64]], np.uint8)
    seen = palette_index != 2
    assert (decoded.rgba[..., 3] == np.where(seen, 255, 0)).all()
    assert (decoded.rgba[seen, :3] == opaque_colours[palette_index[seen]]).all()
    assert decoded.notes == ("The file holds several pictures; only the first was taken.",)


@pytest.mark.parametrize("kind", ["PNG", "WEBP", "TIFF", "MPO"])
def test_several_pictures_give_the_first_and_a_note(kind: str) -> None:
    first, second = Image.new("RGB", (9, 5), (255, 0, 0)), Image.new("RGB", (9, 5), (0, 0, 255))
    options = {"lossless": True} if kind == "WEBP" else {}
    decoded = decode_picture(
        saved(first, kind, save_all=True, append_images=[second], **options), "kingfisher"
    )
    assert_pixels(decoded, opaque(np.asarray(first)), within=1)
    assert decoded.notes == ("The file holds several pictures; only the first was taken.",)


# ------------------------------------------------------------------ kinds of pixels


def test_palette_with_alpha_for_each_entry() -> None:
    indices = np.arange(16, dtype=np.uint8).reshape(4, 4)
    entries = random_rgba(1, 16, seed=3)[0]
    between = chunk(b"PLTE", entries[:, :3].tobytes()), chunk(b"tRNS", entries[:, 3].tobytes())
    data = png(4, 4, 8, 3, b"".join(b"\x00" + row.tobytes() for row in indices), *between)
    assert_pixels(decode_picture(data, "kingfisher.png"), entries[indices])


def test_grey_grey_alpha_and_one_bit() -> None:
    samples = random_rgba()
    grey, alpha = samples[..., 0], samples[..., 1]
    full = np.full_like(grey, 255)
    stacked = np.dstack([grey, grey, grey])
    assert_pixels(decode_picture(saved(Image.fromarray(grey), "PNG"), "g.png"), np.dstack([stacked, full]))
    both = Image.merge("LA", [Image.fromarray(grey), Image.fromarray(alpha)])
    assert_pixels(decode_picture(saved(both, "PNG"), "g.png"), np.dstack([stacked, alpha]))
    # PNG, 7.2: leftmost pixel in the high bit. 0b1011_0000 and 0b0100_0000, five pixels wide.
    bits = np.array([[1, 0, 1, 1, 0], [0, 1, 0, 0, 0]], np.uint8) * 255
    data = png(5, 2, 1, 0, b"\x00\xb0\x00\x40")
    assert_pixels(decode_picture(data, "g.png"), opaque(np.dstack([bits] * 3)))


def test_grey_of_16_bits_is_rounded_to_nearest_not_clipped() -> None:
    samples = np.random.default_rng(5).integers(0, 65536, (40, 50), dtype=np.uint16)
    samples[0, :4] = 0, 65535, 128, 129  # 65535 / 255 = 257, so 128 rounds down and 129 rounds up
    expected = np.rint(samples / 257.0).astype(np.uint8)
    assert list(expected[0, :4]) == [0, 255, 0, 1]
    _, buffer = cv2.imencode(".png", samples)
    for data in (
        buffer.tobytes(),
        tiff(samples, photometric="minisblack"),
        tiff(samples, photometric="minisblack", byteorder=">"),
        tiff(samples, photometric="minisblack", compression="zlib"),
        tiff(65535 - samples, photometric="miniswhite"),
        tiff((65535 - samples), photometric="miniswhite", compression="zlib"),
    ):
        assert_pixels(decode_picture(data, "g.tif"), opaque(np.dstack([expected] * 3)))


def test_white_is_zero_of_8_bits() -> None:
    grey = random_rgba()[..., 0]
    data = tiff(255 - grey, photometric="miniswhite")
    assert_pixels(decode_picture(data, "g.tif"), opaque(np.dstack([grey] * 3)))


@pytest.mark.parametrize("channels", [3, 4])
def test_colour_of_16_bits_within_one(channels: int) -> None:
    samples = np.random.default_rng(6).integers(0, 65536, (40, 50, channels), dtype=np.uint16)
    expected = np.rint(samples / 257.0).astype(np.uint8)
    expected = opaque(expected) if channels == 3 else expected
    swap = cv2.COLOR_RGB2BGR if channels == 3 else cv2.COLOR_RGBA2BGRA
    _, buffer = cv2.imencode(".png", cv2.cvtColor(samples, swap))
    extra = {"extrasamples": ["unassalpha"]} if channels == 4 else {}
    for data in (buffer.tobytes(), tiff(samples, photometric="rgb", **extra)):
        assert_pixels(decode_picture(data, "kingfisher.png"), expected, within=1)


def test_transparent_colour_of_16_bits() -> None:
    # PNG, 11.3.1.1: the sample values that are to be transparent, two bytes each.
    grey = b"".join(b"\x00" + struct.pack(">3H", *row) for row in ((0, 300, 65535), (301, 300, 299)))
    decoded = decode_picture(png(3, 2, 16, 0, grey, chunk(b"tRNS", struct.pack(">H", 300))), "g.png")
    assert decoded.rgba[..., 3].tolist() == [[255, 0, 255], [255, 0, 255]]
    colours = b"\x00" + struct.pack(">6H", 0x1234, 0x5678, 0x9ABC, 0x1234, 0x5678, 0x0000)
    key = chunk(b"tRNS", struct.pack(">3H", 0x1234, 0x5678, 0x9ABC))
    decoded = decode_picture(png(2, 1, 16, 2, colours, key), "g.png")
    assert decoded.rgba[..., 3].tolist() == [[0, 255]]


def test_associated_alpha_of_a_tiff_is_divided_out() -> None:
    # TIFF 6.0, ExtraSamples = 1: colours stored as colour times alpha. Straight colour 200 at alpha 128 is
    # stored as 200 * 128 / 255 = 100.4, so 100, and 100 * 255 / 128 = 199.2.
    stored = np.full((5, 6, 4), (100, 50, 0, 128), np.uint8)
    data = tiff(stored, photometric="rgb", extrasamples=["assocalpha"])
    assert_pixels(decode_picture(data, "g.tif"), np.full((5, 6, 4), (199, 100, 0, 128), np.uint8), within=1)


def test_cmyk_without_profile_is_converted_by_the_plain_rule_with_a_note() -> None:
    inks = random_rgba()
    kept = 1.0 - inks / 255.0
    expected = np.rint(255.0 * kept[..., :3] * kept[..., 3:]).astype(np.uint8)  # R = 255 (1 - C)(1 - K)
    decoded = decode_picture(tiff(inks, photometric="separated"), "inks.tif")
    assert_pixels(decoded, opaque(expected), within=1)
    assert decoded.notes == (
        "The picture is CMYK without a usable profile; it was converted by the plain rule.",
    )


def test_cmyk_jpeg_is_not_taken_as_a_negative() -> None:
    # Adobe's marker means inverted inks; OpenCV decodes such files by its own code.
    photograph = Image.open(PHOTOGRAPHS / "coffee.png").convert("RGB")
    data = saved(photograph.convert("CMYK"), "JPEG", quality=98, subsampling=0)
    expected = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR_RGB)
    decoded = decode_picture(data, "coffee.jpg")
    assert_pixels(decoded, opaque(expected), within=2)
    assert np.abs(decoded.rgba[..., :3].astype(int) - np.asarray(photograph)).mean() < 2.0


def test_floating_point_and_lab_are_refused() -> None:
    assert fault(tiff(np.zeros((3, 3), np.float32), photometric="minisblack")).kind == "unsupported"
    assert fault(saved(Image.new("LAB", (3, 3)), "TIFF")).kind == "unsupported"


# ------------------------------------------------------------------ orientation

# EXIF 2.32, tag 0x0112: where the stored 0th row and 0th column lie in the upright picture. Each function turns the
# upright picture into the stored one.
STORED = {
    1: lambda up: up,  # row 0 top, column 0 left
    2: lambda up: up[:, ::-1],  # top, right
    3: lambda up: up[::-1, ::-1],  # bottom, right
    4: lambda up: up[::-1],  # bottom, left
    5: lambda up: np.swapaxes(up, 0, 1),  # left, top: row 0 is the left column, read from the top
    6: lambda up: np.swapaxes(up[:, ::-1], 0, 1),  # right, top
    7: lambda up: np.swapaxes(up[::-1, ::-1], 0, 1),  # right, bottom
    8: lambda up: np.swapaxes(up[::-1], 0, 1),  # left, bottom
}


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["PNG", "TIFF", "WEBP", "JPEG"])
def test_exif_orientation_is_followed(kind: str, orientation: int) -> None:
    upright = np.asarray(Image.open(PHOTOGRAPHS / "coffee.png").convert("RGB"))[:96, :160]
    stored = Image.fromarray(np.ascontiguousarray(STORED[orientation](upright)))
    exif = Image.Exif()
    exif[0x0112] = orientation
    options: dict[str, object] = {"WEBP": {"lossless": True}, "JPEG": {"quality": 100, "subsampling": 0}}.get(
        kind, {}
    )
    data = saved(stored, kind, exif=exif, **options)
    decoded = decode_picture(data, f"kingfisher.{kind.lower()}")
    assert_pixels(decoded, opaque(upright), within=8 if kind == "JPEG" else 0)
    if kind == "JPEG":  # OpenCV follows the tag by code of its own
        seen = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR_RGB)
        assert_pixels(decoded, opaque(seen), within=1)


@pytest.mark.parametrize("orientation", [0, 9, 65535])
def test_orientation_out_of_range_is_upright(orientation: int) -> None:
    exif = Image.Exif()
    exif[0x0112] = orientation
    picture = Image.new("RGB", (8, 4), (10, 20, 30))
    assert decode_picture(saved(picture, "PNG", exif=exif), "g.png").rgba.shape == (4, 8, 4)


def test_damaged_exif_leaves_the_picture_and_a_note() -> None:
    picture = Image.new("RGB", (8, 4), (10, 20, 30))
    data = saved(picture, "PNG", exif=b"Exif\x00\x00not a TIFF header at all")
    decoded = decode_picture(data, "g.png")
    assert_pixels(decoded, opaque(np.asarray(picture)))
    assert any("EXIF" in note for note in decoded.notes)
