"""Picture files to upright sRGB pixels.

A picture file comes from somewhere else: it may be damaged, mislabelled or made to harm. This module
decides by content what the file is, refuses absurd sizes from the header, before any pixel is unpacked, and
then gives one kind of array whatever came in: upright, sRGB (IEC 61966-2-1), 8 bits, straight alpha.
Nothing is premultiplied by alpha at any step. Colours are taken as sRGB unless the file carries an ICC
profile. A gamma or cHRM chunk of a PNG without a profile is not applied: programs disagree about it, and
sRGB is what such files nearly always hold; a gamma that is far from sRGB gets a note.

Sources: PNG (W3C Recommendation, third edition), JPEG (ITU-T T.81), WebP container (RFC 9649), TIFF 6.0,
GIF89a, EXIF 2.32 (tag 0x0112, orientation), ICC.1:2022 (profiles).
"""

from __future__ import annotations

import io
import struct
import threading
import warnings
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import PurePath
from typing import Literal, NoReturn

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms, ImageOps, UnidentifiedImageError

FaultKind = Literal["unreadable", "too_large", "unsupported", "empty", "external_reference"]

RASTER_FORMATS = ("PNG", "JPEG", "WEBP", "TIFF", "GIF")
"""The only Pillow decoders that ever run."""

MAX_FILE_BYTES = 256 * 1024 * 1024
MAX_PIXELS = 200_000_000
MAX_SIDE_PX = 40_000
# The three limits are our own choice. A million dominoes at ten pixels each way would be 100 megapixels, and
# 200 megapixels unpack to 0.8 GB, about what a planning computer can spare twice over.

_EXPORT_PNG = "Open it in a picture program and export it as PNG with an sRGB profile."
_EXPORT_AGAIN = "Open it in a picture program, check that it looks right, and export it again as PNG."

_SUFFIX_FORMATS = {
    ".png": "PNG", ".jpg": "JPEG", ".jpeg": "JPEG", ".jpe": "JPEG", ".webp": "WEBP",
    ".tif": "TIFF", ".tiff": "TIFF", ".gif": "GIF", ".svg": "SVG", ".svgz": "SVG",
}  # fmt: skip

# Leading bytes of files that people do hand in and that are not read here. From memory; the tests try those
# that a general-purpose library can write.
_REFUSED_SIGNATURES = (
    (b"%PDF", "a PDF document"),
    (b"BM", "a BMP picture"),
    (b"8BPS", "a layered PSD picture"),
    (b"%!PS", "a PostScript or EPS drawing"),
    (b"\xc5\xd0\xd3\xc6", "an EPS drawing"),
    (b"\x00\x00\x00\x0cjP  ", "a JPEG 2000 picture"),
    (b"\xff\x4f\xff\x51", "a JPEG 2000 picture"),
    (b"\x00\x00\x00\x0cJXL ", "a JPEG XL picture"),
    (b"\xff\x0a", "a JPEG XL picture"),
    (b"\x00\x00\x01\x00", "an icon file"),
    (b"\x76\x2f\x31\x01", "an OpenEXR picture"),
    (b"PK\x03\x04", "a ZIP archive or an office document"),
)  # fmt: skip
_HEIC_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")

# What Pillow and its libraries raise on damaged files. MemoryError and the decompression-bomb error are
# told apart before these. A defect of our own could be of one of these kinds too, so the tests decode good
# files of every kind beside the damaged ones.
DECODER_ERRORS = (
    OSError, EOFError, ValueError, SyntaxError, struct.error, zlib.error, LookupError, TypeError,
    AttributeError, ArithmeticError, RuntimeError, AssertionError, BufferError, ImageCms.PyCMSError,
)  # fmt: skip

_DECODER_LOCK = threading.Lock()

_BAND_ROWS = 512
# Pixels pass from Pillow to NumPy in bands, so that a large picture is not held once more on the way.


class PictureFault(Exception):
    """A picture file that cannot be used, in words for the person who handed it in.

    Raised by `decode_picture` and the functions under it; it is the only exception they raise for a bad file.

    Attributes:
        kind: What is wrong: `unreadable`, `too_large`, `unsupported`, `empty` or `external_reference`.
        value: What was found.
        limit: What is accepted instead.
        next_step: What to do about it.
    """

    def __init__(self, kind: FaultKind, value: str, limit: str, next_step: str) -> None:
        super().__init__(f"{value}; accepted: {limit}. {next_step}")
        self.kind: FaultKind = kind
        self.value = value
        self.limit = limit
        self.next_step = next_step


@dataclass(frozen=True, eq=False, slots=True)
class Decoded:
    """A decoded picture.

    Attributes:
        rgba: (h, w, 4) uint8, row 0 at the top as the viewer sees it, sRGB encoded, straight alpha
            (255 = opaque).
        notes: Plain sentences about what was assumed or left out, in the order met.
    """

    rgba: NDArray[np.uint8]
    notes: tuple[str, ...]


def decode_picture(data: bytes, name: str, *, want_px: tuple[int, int] = (2400, 2400)) -> Decoded:
    """Turn the bytes of a picture file into upright sRGB pixels.

    Args:
        data: The whole file.
        name: Its name, for messages only; the format is decided by the content.
        want_px: (width, height) of the box in pixels that a drawing (SVG) is drawn to fill, aspect kept.
            Pictures made of pixels keep their own size.

    Returns:
        The pixels and notes. The same bytes give the same result, except text in an SVG, which needs fonts.

    Raises:
        PictureFault: The file is not one that can be used.
    """
    if picture_format(data, name) == "SVG":
        # Imported here because the drawing module takes its embedded pictures apart with this one.
        from standfall.intake.svg import decode_svg

        decoded = decode_svg(data, name, want_px=want_px)
        found = "SVG"
    else:
        decoded = decode_raster(data, name)
        found = picture_format(data, name)
    expected = _SUFFIX_FORMATS.get(PurePath(name).suffix.lower(), found)
    if expected != found:
        note = f"The name ends like a {expected} file but the content is {found}; the content was followed."
        decoded = Decoded(decoded.rgba, (note, *decoded.notes))
    return decoded


def decode_raster(data: bytes, name: str, *, formats: tuple[str, ...] = RASTER_FORMATS) -> Decoded:
    """Turn the bytes of a picture made of pixels into upright sRGB pixels.

    Args:
        data: The whole file.
        name: Its name, for messages only.
        formats: Which of `RASTER_FORMATS` to accept.

    Raises:
        PictureFault: The file is not one that can be used.
    """
    found = picture_format(data, name)
    if found not in formats:
        raise PictureFault(
            "unsupported", f"{name} is {found}", f"only {', '.join(formats)} here", _EXPORT_PNG
        )
    if found == "WEBP":
        # The WebP library allocates its canvas when the file is opened, so the header is read here first.
        check_size_px(*_webp_size_px(data, name), name)
    with _DECODER_LOCK, _pillow_limits() as caught:
        try:
            with Image.open(io.BytesIO(data), formats=(found,)) as picture:
                rgba, notes = _read(picture, data, name)
        except (Image.DecompressionBombError, MemoryError) as error:
            _refuse_pixels(f"{name} unpacks to more than can be held", error)
        except DECODER_ERRORS as error:
            _refuse_damaged(name, found, error)
        remarks = _remarks(caught)
        if found == "TIFF" and "Truncated File Read" in remarks:
            # Pillow only warns when a table of a TIFF is cut off; what was in it, a profile say, is lost.
            _refuse_damaged(name, found, EOFError("a table is cut off"))
        notes += [f"The picture reader remarked: {text}" for text in remarks]
    return Decoded(rgba, tuple(notes))


def picture_format(data: bytes, name: str) -> str:
    """Name the format of a file by its leading bytes: one of `RASTER_FORMATS`, or "SVG".

    Raises:
        PictureFault: The file is empty, over `MAX_FILE_BYTES`, or of a kind that is not read.
    """
    if not data:
        raise PictureFault(
            "empty", f"{name} holds no bytes", "a picture file", "Copy or export the file again."
        )
    if len(data) > MAX_FILE_BYTES:
        raise PictureFault(
            "too_large",
            f"{name} is {len(data):,} bytes",
            f"at most {MAX_FILE_BYTES:,} bytes",
            "Scale the picture down, or export it as PNG or JPEG.",
        )
    raster = _raster_signature(data)
    if raster is not None:
        return raster
    if data.startswith(b"\x1f\x8b") or _opens_like_markup(data):
        return "SVG"
    raise PictureFault(
        "unsupported",
        f"{name} looks like {_refused_kind(data)}",
        f"{', '.join(RASTER_FORMATS)} or SVG",
        _EXPORT_PNG,
    )


def check_size_px(width_px: int, height_px: int, name: str) -> None:
    """Refuse a picture size that is zero, over `MAX_SIDE_PX` on a side or over `MAX_PIXELS` in all.

    Raises:
        PictureFault: `empty` or `too_large`.
    """
    size = f"{name} is {width_px:,} x {height_px:,} pixels"
    if width_px < 1 or height_px < 1:
        raise PictureFault("empty", size, "at least 1 x 1 pixel", _EXPORT_AGAIN)
    if max(width_px, height_px) > MAX_SIDE_PX or width_px * height_px > MAX_PIXELS:
        _refuse_pixels(size, None)


def _refuse_pixels(value: str, cause: BaseException | None) -> NoReturn:
    limit = f"at most {MAX_SIDE_PX:,} pixels a side and {MAX_PIXELS // 1_000_000} megapixels"
    step = "Scale the picture down; some ten pixels for each domino are plenty."
    raise PictureFault("too_large", value, limit, step) from cause


def _refuse_damaged(name: str, found: str, error: BaseException) -> NoReturn:
    text = " ".join(str(error).split())[:200] or type(error).__name__
    if isinstance(error, UnidentifiedImageError):  # its text holds a memory address, different each time
        text = "its header is damaged or of a rare kind"
    if "MAX_TEXT" in text or "Decompressed data too large" in text:
        value = f"{name} holds a text or colour profile block that unpacks to an absurd size"
        raise PictureFault("too_large", value, "1 MiB for each block", _EXPORT_AGAIN) from error
    value = f"{name} is damaged or cut short ({found}: {text})"
    raise PictureFault("unreadable", value, "a whole, valid file", _EXPORT_AGAIN) from error


# ---------------------------------------------------------------- what kind of file


def _raster_signature(data: bytes) -> str | None:
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    if data.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "WEBP"
    if data[:4] in (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+"):
        return "TIFF"
    if data[:6] in (b"GIF87a", b"GIF89a"):
        return "GIF"
    return None


def _opens_like_markup(data: bytes) -> bool:
    head = data[:64].lstrip(b"\xef\xbb\xbf\xff\xfe\x00 \t\r\n")
    return head.startswith(b"<")


def _refused_kind(data: bytes) -> str:
    if data[4:8] == b"ftyp":
        brands = {data[at : at + 4] for at in range(8, min(len(data), 64) - 3, 4)}
        if brands & {b"avif", b"avis"}:
            return "an AVIF picture"
        if brands & set(_HEIC_BRANDS):
            return "a HEIC picture, as phones make them"
        return "a camera raw or video file"
    for signature, kind in _REFUSED_SIGNATURES:
        if data.startswith(signature):
            return kind
    return "something that is not a picture"


def _webp_size_px(data: bytes, name: str) -> tuple[int, int]:
    """Canvas width and height from a WebP header (RFC 9649, 2.5 to 2.7; VP8 frame header: RFC 6386, 9.1)."""
    kind, body = data[12:16], data[20:30]
    if kind == b"VP8X" and len(body) == 10:
        return 1 + int.from_bytes(body[4:7], "little"), 1 + int.from_bytes(body[7:10], "little")
    if kind == b"VP8L" and len(body) >= 5 and body[0] == 0x2F:
        bits = int.from_bytes(body[1:5], "little")
        return 1 + (bits & 0x3FFF), 1 + (bits >> 14 & 0x3FFF)
    if kind == b"VP8 " and len(body) == 10 and body[3:6] == b"\x9d\x01\x2a":
        width, height = struct.unpack("<HH", body[6:10])
        return width & 0x3FFF, height & 0x3FFF
    raise PictureFault(
        "unreadable", f"{name} has a damaged WebP header", "a whole, valid file", _EXPORT_AGAIN
    )


@contextmanager
def _pillow_limits() -> Iterator[list[warnings.WarningMessage]]:
    """Set Pillow's limit to ours and collect its warnings. Both are process-wide: hold `_DECODER_LOCK`."""
    before = Image.MAX_IMAGE_PIXELS
    # Pillow refuses at more than twice this number, so its refusal meets ours exactly.
    Image.MAX_IMAGE_PIXELS = MAX_PIXELS // 2
    try:
        with warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("always")
            yield caught
    finally:
        Image.MAX_IMAGE_PIXELS = before


def _remarks(caught: list[warnings.WarningMessage]) -> list[str]:
    """Texts of the warnings met, each once, without the size warning and notices to programmers."""
    silent = (Image.DecompressionBombWarning, DeprecationWarning, PendingDeprecationWarning, ResourceWarning)
    texts = [" ".join(str(w.message).split())[:200] for w in caught if not issubclass(w.category, silent)]
    return list(dict.fromkeys(texts))


# ---------------------------------------------------------------- reading


def _read(picture: Image.Image, data: bytes, name: str) -> tuple[NDArray[np.uint8], list[str]]:
    """Decode an opened file; its size is checked before its pixels are touched."""
    check_size_px(*picture.size, name)
    if picture.format == "TIFF":
        _check_tiff(picture, data, name)
    notes: list[str] = []
    if getattr(picture, "is_animated", False):
        notes.append("The file holds several pictures; only the first was taken.")
    profile = picture.info.get("icc_profile")
    picture.load()
    check_size_px(*picture.size, name)
    _scale_png_key(picture, data)
    _turn_upright(picture, notes)
    if not profile:
        notes += _unprofiled_notes(picture)
    colour, alpha = _colour_and_alpha(picture, name)
    rgb = _to_srgb(colour, profile, notes)
    rgba = np.empty((rgb.height, rgb.width, 4), dtype=np.uint8)
    for top in range(0, rgb.height, _BAND_ROWS):
        below = min(top + _BAND_ROWS, rgb.height)
        rgba[top:below, :, :3] = np.asarray(rgb.crop((0, top, rgb.width, below)))
    rgba[..., 3] = 255 if alpha is None else alpha
    return rgba, notes


def _check_tiff(picture: Image.Image, data: bytes, name: str) -> None:
    """Refuse camera raw files, which open as a small preview, and tiles larger than any picture allowed."""
    tags = getattr(picture, "tag_v2", {})
    reduced = tags.get(254, 0)  # NewSubfileType, bit 0: a reduced copy of another image (TIFF 6.0, p. 36)
    dng_version = tags.get(50706)
    if dng_version or data[8:10] == b"CR" or (isinstance(reduced, int) and reduced & 1):
        value = f"{name} looks like a camera raw file; its first picture is a preview"
        raise PictureFault("unsupported", value, "TIFF with the full picture first", _EXPORT_PNG)
    tile_width, tile_height = tags.get(322, 1), tags.get(323, 1)
    if isinstance(tile_width, int) and isinstance(tile_height, int):
        check_size_px(tile_width, tile_height, f"A tile of {name}")


def _turn_upright(picture: Image.Image, notes: list[str]) -> None:
    try:
        ImageOps.exif_transpose(picture, in_place=True)
    except DECODER_ERRORS:
        notes.append("The EXIF block is damaged; the picture was taken as upright. Check which side is up.")


def _unprofiled_notes(picture: Image.Image) -> list[str]:
    """What a file without a profile says about its colours that is not followed."""
    gamma = picture.info.get("gamma")
    if "srgb" not in picture.info and isinstance(gamma, float) and abs(gamma - 1 / 2.2) > 0.05:
        return [f"The file asks for gamma {gamma:.3f} without a colour profile; it was taken as sRGB."]
    try:
        interoperability = picture.getexif().get_ifd(0xA005).get(1)
    except DECODER_ERRORS:
        return []  # no such block, or a damaged one, which `_turn_upright` has said
    if str(interoperability).startswith("R03"):  # the optional colour space of DCF 2.0 (from memory)
        return ["The camera marked Adobe RGB but put no profile in; it was taken as sRGB and may look dull."]
    return []


def _scale_png_key(picture: Image.Image, data: bytes) -> None:
    """Bring the transparent colour of a 16-bit RGB PNG to the 8 bits that Pillow reads such files into.

    Pillow keeps the high byte of each sample, so the colour must be matched on the high byte too: neighbours
    within 1/256 of it turn transparent with it.
    """
    key = picture.info.get("transparency")
    if picture.format == "PNG" and picture.mode == "RGB" and data[24] == 16 and isinstance(key, tuple):
        picture.info["transparency"] = tuple(sample >> 8 for sample in key)


def _is_white_zero(picture: Image.Image) -> bool:
    """Whether a 16-bit TIFF counts from white (photometric 0); Pillow turns only 8-bit ones round."""
    return picture.mode.startswith("I;16") and getattr(picture, "tag_v2", {}).get(262) == 0


def _colour_and_alpha(picture: Image.Image, name: str) -> tuple[Image.Image, NDArray[np.uint8] | None]:
    """Split into colour (mode L, RGB or CMYK) and straight alpha (h, w), or None where all is opaque."""
    mode = picture.mode
    if mode.startswith("I;16") or (mode == "I" and picture.format == "PNG"):
        return _grey16(picture, inverted=_is_white_zero(picture))
    if mode == "CMYK":
        return picture, None
    if mode in ("F", "I", "LAB"):
        kind = "Lab colour" if mode == "LAB" else "32 bits a sample"
        raise PictureFault("unsupported", f"{name} has {kind}", "8 or 16 bits grey, RGB or CMYK", _EXPORT_PNG)
    grey = mode in ("1", "L", "LA", "La")
    if "transparency" not in picture.info and mode not in ("LA", "La", "PA", "RGBA", "RGBa"):
        return _in_mode(picture, "L" if grey else "RGB"), None
    rgba = picture.convert("RGBA")
    colour = rgba.getchannel("R") if grey else rgba.convert("RGB")
    return colour, np.asarray(rgba.getchannel("A"))


def _grey16(picture: Image.Image, *, inverted: bool) -> tuple[Image.Image, NDArray[np.uint8] | None]:
    """16-bit grey to 8 bits, rounded to nearest: 65535 / 255 is exactly 257."""
    samples = np.asarray(picture).astype(np.uint32)
    key = picture.info.get("transparency")
    alpha = None
    if isinstance(key, int):
        alpha = np.where(samples == key, 0, 255).astype(np.uint8)
    levels = ((np.minimum(samples, 65535) + 128) // 257).astype(np.uint8)
    return Image.fromarray(255 - levels if inverted else levels), alpha


def _to_srgb(colour: Image.Image, profile: object, notes: list[str]) -> Image.Image:
    """Colour of mode L, RGB or CMYK to sRGB, by its ICC profile where that can be read."""
    if isinstance(profile, bytes) and profile:
        try:
            return _through_profile(colour, profile)
        except DECODER_ERRORS as error:
            reason = " ".join(str(error).split())[:120]
            notes.append(f"The colour profile in the file cannot be used and was ignored ({reason}).")
    if colour.mode == "CMYK":
        notes.append("The picture is CMYK without a usable profile; it was converted by the plain rule.")
    return _in_mode(colour, "RGB")


def _in_mode(picture: Image.Image, mode: str) -> Image.Image:
    """The picture itself where it has the mode already; `convert` would copy it."""
    return picture if picture.mode == mode else picture.convert(mode)


def _through_profile(colour: Image.Image, profile: bytes) -> Image.Image:
    """Convert to sRGB by relative colorimetry with black point compensation (ICC.1:2022, 6.2 and annex D).

    Perceptual rendering would differ only for profiles with tables, which squeeze the picture in a way of
    their own; relative colorimetry keeps every colour that sRGB can show as it is.
    """
    source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
    space = source.profile.xcolor_space.strip()
    if space == "RGB" and colour.mode == "L":
        colour = colour.convert("RGB")
    if {"RGB": "RGB", "GRAY": "L", "CMYK": "CMYK"}.get(space) != colour.mode:
        raise ValueError(f"a {space} profile on {colour.mode} pixels")
    if space == "GRAY":
        # The library's own short cut for grey is off by up to ten levels in the dark of a linear profile
        # (measured), so the 256 greys are converted exactly and looked up.
        ramp = Image.fromarray(np.arange(256, dtype=np.uint8)[np.newaxis])
        table = np.asarray(_converted(ramp, source, ImageCms.Flags.NOOPTIMIZE))[0]
        return Image.fromarray(table[np.asarray(colour)])
    return _converted(colour, source, ImageCms.Flags.HIGHRESPRECALC)


def _converted(
    colour: Image.Image, source: ImageCms.ImageCmsProfile, accuracy: ImageCms.Flags
) -> Image.Image:
    converted = ImageCms.profileToProfile(
        colour,
        source,
        ImageCms.createProfile("sRGB"),
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
        outputMode="RGB",
        flags=ImageCms.Flags.BLACKPOINTCOMPENSATION | accuracy,
    )
    if converted is None:
        raise ValueError("the colour engine gave nothing back")
    return converted
