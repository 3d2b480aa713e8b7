"""Picture files that are damaged, absurd, of another kind or wrongly named.

Published sources of the headers made by hand: PNG (W3C Recommendation, third edition), RFC 9649 (WebP), ITU-T T.81
(JPEG), GIF89a, TIFF 6.0.
"""

import random
import struct
import subprocess
import sys
import warnings
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageCms, PngImagePlugin
from raster_case import PHOTOGRAPHS, chunk, fault, png, saved, tiff

from standfall.intake import decode
from standfall.intake.decode import PictureFault, decode_picture

HEADERS_ONLY = {
    "PNG of 100,000 squared": png(100_000, 100_000, 8, 6, b""),
    # RFC 9649, 2.7: VP8X, canvas minus one in 24 bits each.
    "WebP canvas of 16,777,216 x 256": b"RIFF\x2e\x00\x00\x00WEBPVP8X\x0a\x00\x00\x00\x10\x00\x00\x00"
    + b"\xff\xff\xff\xff\x00\x00" + b"VP8L\x10\x00\x00\x00/\xff\xff\xff\x0f" + bytes(11),
    # RFC 9649, 2.6 and the lossless bitstream, 3: 14 bits each, minus one. 16,384 squared is 268 megapixels.
    "WebP of 16,384 squared": b"RIFF\x1c\x00\x00\x00WEBPVP8L\x10\x00\x00\x00/\xff\xff\xff\x0f" + bytes(11),
    # GIF89a, 18 and 20: logical screen and image descriptor.
    "GIF of 65,535 squared": b"GIF89a\xff\xff\xff\xff\x00\x00\x00,\x00\x00\x00\x00\xff\xff\xff\xff\x00"
    + b"\x02\x02L\x01\x00;",
    # ITU-T T.81, B.2.2: frame header.
    "JPEG of 65,000 squared": b"\xff\xd8\xff\xc0\x00\x11\x08" + struct.pack(">HH", 65000, 65000)
    + b"\x03\x01\x22\x00\x02\x11\x00\x03\x11\x00\xff\xd9",
    "TIFF of 100,000 squared": tiff(np.zeros((8, 8), np.uint8)).replace(
        struct.pack("<HHII", 256, 4, 1, 8), struct.pack("<HHII", 256, 4, 1, 100_000)
    ).replace(struct.pack("<HHII", 257, 4, 1, 8), struct.pack("<HHII", 257, 4, 1, 100_000)),
    "TIFF with a tile of 65,520 squared": tiff(np.zeros((16, 16), np.uint8), tile=(16, 16)).replace(
        struct.pack("<HHII", 322, 4, 1, 16), struct.pack("<HHII", 322, 4, 1, 65520)
    ).replace(struct.pack("<HHII", 323, 4, 1, 16), struct.pack("<HHII", 323, 4, 1, 65520)),
    "strip of 40,001 x 1": png(40_001, 1, 8, 0, b""),
    "PNG of 900 megapixels in one bit": png(30_000, 30_000, 1, 0, bytes(3751 * 30_000)),
    "profile of 200 MB": png(1, 1, 8, 2, bytes(4), chunk(b"iCCP", b"p\x00\x00" + zlib.compress(bytes(200_000_000)))),
    "text of 200 MB": png(1, 1, 8, 2, bytes(4), chunk(b"zTXt", b"t\x00\x00" + zlib.compress(bytes(200_000_000)))),
    "international text of 200 MB": png(
        1, 1, 8, 2, bytes(4), chunk(b"iTXt", b"t\x00\x01\x00\x00\x00" + zlib.compress(bytes(200_000_000)))
    ),
}  # fmt: skip


@pytest.mark.parametrize("what", HEADERS_ONLY)
def test_absurd_sizes_are_refused(what: str) -> None:
    assert fault(HEADERS_ONLY[what]).kind == "too_large", what


def test_absurd_sizes_are_refused_before_anything_large_is_held(tmp_path: Path) -> None:
    resource = pytest.importorskip("resource")  # not on Windows
    assert resource is not None
    for number, data in enumerate(HEADERS_ONLY.values()):
        (tmp_path / f"{number}.bin").write_bytes(data)
    code = """
import resource, sys
from pathlib import Path
from standfall.intake.decode import PictureFault, decode_picture
try:
    decode_picture(Path(sys.argv[1], "8.bin").read_bytes()[:40], "warm-up")
except PictureFault:
    pass
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
for path in sorted(Path(sys.argv[1]).iterdir()):
    try:
        decode_picture(path.read_bytes(), path.name)
    except PictureFault as fault:
        assert fault.kind == "too_large", fault
    else:
        raise SystemExit("not refused: " + path.name)
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)
"""
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    unit = 1024 if sys.platform != "darwin" else 1
    assert int(done.stdout) * unit < 30 * 1024 * 1024  # the smallest of these would unpack to 112 MB


def test_file_over_the_byte_limit_and_empty_files() -> None:
    assert fault(bytes(decode.MAX_FILE_BYTES + 1)).kind == "too_large"
    assert fault(b"").kind == "empty"
    for width, height in ((0, 5), (5, 0)):
        assert fault(png(width, height, 8, 2, b"\x00")).kind in ("empty", "unreadable")


def test_the_pixel_limit_is_exact(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(decode, "MAX_PIXELS", 1000)
    at_limit = saved(Image.new("L", (40, 25), 9), "PNG")
    with warnings.catch_warnings():
        warnings.simplefilter("error")  # what Pillow warns of below the limit stays inside
        assert decode_picture(at_limit, "g.png").rgba.shape == (25, 40, 4)
    over = saved(Image.new("L", (91, 11), 9), "PNG")  # 1,001 pixels
    assert fault(over).kind == "too_large"


def test_small_size_with_a_flood_of_data_behind_it_keeps_its_size() -> None:
    decoded = decode_picture(png(2, 2, 8, 0, bytes(50_000_000)), "g.png")
    assert decoded.rgba.shape == (2, 2, 4)


def small_files() -> dict[str, bytes]:
    photograph = Image.open(PHOTOGRAPHS / "coffee.png").convert("RGB").resize((40, 28))
    exif = Image.Exif()
    exif[0x0112] = 6
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    rgba = photograph.convert("RGBA")
    information = PngImagePlugin.PngInfo()
    information.add_text("Title", "kingfisher" * 20, zip=True)
    return {
        "png": saved(rgba, "PNG", icc_profile=srgb, exif=exif, pnginfo=information),
        "jpg": saved(photograph, "JPEG", icc_profile=srgb, exif=exif, progressive=True),
        "webp": saved(rgba, "WEBP", icc_profile=srgb, exif=exif),
        "tif": saved(photograph, "TIFF", icc_profile=srgb, compression="tiff_lzw"),
        "gif": saved(photograph.quantize(64), "GIF"),
        "tiff": tiff(np.asarray(photograph), photometric="rgb", compression="zlib", rowsperstrip=5),
        "raw.tif": tiff(np.asarray(rgba), photometric="rgb", rowsperstrip=5, extrasamples=["unassalpha"]),
    }


SMALL = small_files()


@pytest.mark.parametrize("suffix", SMALL)
@pytest.mark.parametrize("part", [0.02, 0.1, 0.5, 0.9])
def test_files_cut_short_are_unreadable(suffix: str, part: float) -> None:
    data = SMALL[suffix]
    assert decode_picture(data, "whole").rgba.size
    cut = max(12, int(len(data) * part))
    assert fault(data[:cut], f"kingfisher.{suffix}").kind == "unreadable"


def mutated(data: bytes, chance: random.Random) -> bytes:
    changed = bytearray(data)
    for _ in range(chance.choice((1, 1, 2, 8, 40))):
        at = chance.randrange(len(changed))
        action = chance.randrange(4)
        if action == 0:
            changed[at] = chance.randrange(256)
        elif action == 1:
            changed[at] ^= 1 << chance.randrange(8)
        elif action == 2:
            changed[at : at + chance.randrange(1, 9)] = b""
            changed = changed or bytearray(b"\x00")
        else:
            changed[at:at] = chance.choice(
                (b"\xff\xff\xff\xff", b"\x00\x00\x00\x00", b"\x7f", bytes(changed[:16]))
            )
    return bytes(changed)


@pytest.mark.parametrize("suffix", SMALL)
def test_damaged_files_give_pixels_or_a_fault_and_nothing_else(suffix: str) -> None:
    chance = random.Random(f"damage to {suffix}")
    outcomes = {"pixels": 0, "fault": 0}
    for _ in range(300):
        data = mutated(SMALL[suffix], chance)
        try:
            decoded = decode_picture(data, f"kingfisher.{suffix}")
        except PictureFault:
            outcomes["fault"] += 1
        else:
            assert decoded.rgba.ndim == 3 and decoded.rgba.shape[2] == 4
            outcomes["pixels"] += 1
    # Both ways were tried; formats with checksums let few changes through.
    assert outcomes["fault"] > 10 and outcomes["pixels"] > 0, outcomes


# ------------------------------------------------------------------ other formats, names, state


def unsupported_files() -> dict[str, tuple[bytes, str]]:
    picture = Image.new("RGB", (8, 8), (200, 30, 60))
    camera = tiff(
        np.zeros((8, 8, 3), np.uint8), photometric="rgb", extratags=[(50706, 1, 4, b"\x01\x04\x00\x00")]
    )
    preview = tiff(np.zeros((8, 8, 3), np.uint8), photometric="rgb", subfiletype=1)
    return {
        "bmp": (saved(picture, "BMP"), "BMP"),
        "eps": (saved(picture, "EPS"), "EPS"),
        "pdf": (saved(picture, "PDF"), "PDF"),
        "ico": (saved(picture, "ICO", bitmap_format="bmp"), "icon"),
        "jp2": (saved(picture, "JPEG2000"), "JPEG 2000"),
        "avif": (b"\x00\x00\x00\x1cftypavif\x00\x00\x00\x00avifmif1miaf", "AVIF"),
        "heic": (b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic", "HEIC"),
        "psd": (b"8BPS\x00\x01" + bytes(40), "PSD"),
        "ppm": (saved(picture, "PPM"), "not a picture"),
        "tga": (saved(picture, "TGA"), "not a picture"),
        "zip": (b"PK\x03\x04" + bytes(40), "ZIP"),
        "txt": (b"kingfisher", "not a picture"),
        "dng": (camera, "camera raw"),
        "nef": (preview, "camera raw"),
    }


@pytest.mark.parametrize("suffix", unsupported_files())
def test_other_formats_are_named_and_refused_whatever_the_name(suffix: str) -> None:
    data, words = unsupported_files()[suffix]
    for name in (f"kingfisher.{suffix}", "kingfisher.png"):
        refused = fault(data, name)
        assert refused.kind == "unsupported"
        assert words in refused.value
        assert "PNG" in refused.next_step


def test_content_decides_and_a_wrong_name_is_noted() -> None:
    decoded = decode_picture(SMALL["jpg"], "kingfisher.PNG")
    assert (
        decoded.notes[0] == "The name ends like a PNG file but the content is JPEG; the content was followed."
    )
    assert (decoded.rgba == decode_picture(SMALL["jpg"], "kingfisher.jpeg").rgba).all()
    assert decode_picture(SMALL["jpg"], "kingfisher.picture").notes == ()


def test_same_bytes_same_pixels_and_no_trace_left_in_pillow() -> None:
    before = Image.MAX_IMAGE_PIXELS
    for suffix, data in SMALL.items():
        one, two = (decode_picture(data, f"kingfisher.{suffix}") for _ in range(2))
        assert one.rgba.tobytes() == two.rgba.tobytes() and one.notes == two.notes
        first, second = fault(data[:60]), fault(data[:60])
        assert str(first) == str(second)
    assert before == Image.MAX_IMAGE_PIXELS
