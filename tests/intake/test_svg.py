"""SVG drawings to pixels: areas by hand, a second renderer (MuPDF), what is and is not a drawing.

Published sources of the expected values: SVG 2 (W3C Candidate Recommendation 2018-10-04), CSS Values and Units 3
(lengths), RFC 2397 (data URLs), XML 1.0 (fifth edition), EXIF 2.32.
"""

import gzip
import math

import numpy as np
import pymupdf
import pytest
from numpy.typing import NDArray
from PIL import Image
from svg_case import BLUE, BOX, NAMES, data_url, drawing, drawn, encoded, fault

from standfall.intake import svg
from standfall.intake.decode import Decoded, decode_picture

# ------------------------------------------------------------------ what is drawn


def test_rectangle_falls_on_the_pixels_worked_out_by_hand() -> None:
    # A 40 x 20 drawing in a box of 400 x 400 pixels is drawn at 10 pixels a unit: 400 x 200. The rectangle from
    # (10, 5) to (30, 15) covers columns 100 to 299 and rows 50 to 149, and nothing else is touched.
    body = '<rect x="10" y="5" width="20" height="10" fill="#c81e3c"/>'
    decoded = drawn(body, 'viewBox="0 0 40 20"', px=400)
    expected = np.zeros((200, 400, 4), np.uint8)
    expected[50:150, 100:300] = (0xC8, 0x1E, 0x3C, 255)
    assert (decoded.rgba == expected).all()
    assert decoded.notes == ()


def test_areas_of_a_circle_and_a_triangle() -> None:
    circle = drawn('<circle cx="50" cy="50" r="40"/>', px=500).rgba[..., 3]
    assert circle.sum() / 255 == pytest.approx(math.pi * 200**2, rel=2e-3)
    triangle = drawn('<path d="M10 10H90V70Z"/>', px=500).rgba[..., 3]
    assert triangle.sum() / 255 == pytest.approx(0.5 * 400 * 300, rel=2e-3)


def test_half_transparent_fill_keeps_its_straight_colour() -> None:
    pixel = drawn('<rect width="100" height="100" fill="#3366cc" fill-opacity="0.5"/>').rgba[50, 50]
    assert np.abs(pixel.astype(int) - [0x33, 0x66, 0xCC, 128]).max() <= 1


def test_gradient_runs_evenly_in_srgb() -> None:
    # SVG 2, 14.2.4: colours are interpolated in sRGB unless said otherwise. Pixel centres at (col + 0.5) / 100.
    body = '<linearGradient id="g"><stop/><stop offset="1" stop-color="#fff"/></linearGradient>'
    row = drawn(body + '<rect width="100" height="100" fill="url(#g)"/>').rgba[50, :, 0]
    assert np.abs(row - 255 * (np.arange(100) + 0.5) / 100).max() <= 1.0


@pytest.mark.parametrize(
    ("root", "shape"),
    [
        ('width="300" height="100"', (100, 300)),
        ('width="100" height="300"', (300, 100)),
        ('viewBox="-5 -5 30 15"', (150, 300)),
        ('viewBox="0,0,30,15" width="100%" height="50%"', (150, 300)),
        ('viewBox="0 0 30 15" width="1in" height="1in"', (300, 300)),
        ('width="10mm" height="1cm"', (300, 300)),  # CSS Values and Units 3, 6.2: 1 in = 2.54 cm = 96 px
        ('width="72pt" height="12pc"', (300, 150)),  # 1 in = 72 pt = 6 pc
        ('viewBox="0 0 30 15" width="60"', (150, 300)),
        ('viewBox="0 0 30 15" height="2.5e1px"', (150, 300)),
    ],
)
def test_sizes_keep_their_aspect_and_fill_the_box(root: str, shape: tuple[int, int]) -> None:
    assert drawn("", root, px=300).rgba.shape == (*shape, 4)


def test_box_that_is_not_square_is_filled_on_its_binding_side() -> None:
    data = drawing("", 'viewBox="0 0 30 10"')
    assert decode_picture(data, "k.svg", want_px=(9000, 100)).rgba.shape == (100, 300, 4)
    assert decode_picture(data, "k.svg", want_px=(300, 9000)).rgba.shape == (100, 300, 4)


def test_a_side_never_passes_8000_pixels() -> None:
    decoded = decode_picture(drawing(BOX, 'viewBox="0 0 1000 10"'), "k.svg", want_px=(10_000, 10_000))
    assert decoded.rgba.shape == (80, 8000, 4)
    assert decoded.notes == ("The drawing was drawn 8,000 pixels long, smaller than asked for.",)


def test_second_renderer_agrees() -> None:
    # MuPDF draws the same file by code of its own. Edges are smoothed differently, so the few pixels on them may
    # differ; inside the shapes all must be equal.
    body = (
        '<defs><g id="scale"><path d="M0 0Q10 15 20 0Z"/></g></defs><rect width="100" height="100" fill="#fff"/>'
        '<g transform="translate(20 20) rotate(15)" fill="#1f6fb2"><use xlink:href="#scale"/>'
        '<use xlink:href="#scale" x="20"/><use xlink:href="#scale" x="10" y="12"/></g>'
        '<path d="M10 90C30 40 60 95 90 60" fill="none" stroke="#e2711d" stroke-width="6"/>'
        '<ellipse cx="70" cy="30" rx="18" ry="9" fill="#0b3d2e"/>'
    )
    data = drawing(body, 'width="100" height="100"')
    ours = decode_picture(data, "k.svg", want_px=(400, 400)).rgba[..., :3].astype(int)
    page = pymupdf.open(stream=data, filetype="svg")[0]
    pixmap = page.get_pixmap(matrix=pymupdf.Matrix(400 / page.rect.width, 400 / page.rect.height))
    theirs = np.frombuffer(pixmap.samples, np.uint8).reshape(pixmap.h, pixmap.w, pixmap.n)[..., :3]
    assert theirs.shape == ours.shape
    off = np.abs(ours - theirs).max(axis=2)
    assert (off > 2).mean() < 0.03
    assert (off > 128).mean() < 0.001


def test_drawing_written_by_another_program() -> None:
    # MuPDF writes a page as SVG, with clip paths, references and text as outlines.
    document = pymupdf.open()
    page = document.new_page(width=200, height=100)
    page.draw_rect((0, 0, 200, 100), fill=(0.9, 0.95, 1.0), width=0)
    page.draw_circle((60, 50), 30, color=(0, 0, 0), fill=(0.1, 0.4, 0.7))
    page.insert_text((100, 60), "Depot", fontsize=28)
    photograph = (
        np.random.default_rng(1).integers(0, 256, (4, 4, 3), dtype=np.uint8).repeat(8, 0).repeat(8, 1)
    )
    page.insert_image(
        (150, 5, 190, 35), stream=encoded(Image.fromarray(photograph), "PNG"), keep_proportion=False
    )
    decoded = decode_picture(page.get_svg_image().encode(), "page.svg", want_px=(800, 400))
    pixmap = page.get_pixmap(matrix=pymupdf.Matrix(4, 4))
    theirs = np.frombuffer(pixmap.samples, np.uint8).reshape(400, 800, 3)
    assert decoded.rgba.shape == (400, 800, 4)
    off = np.abs(decoded.rgba[..., :3].astype(int) - theirs).max(axis=2)
    assert (off > 40).mean() < 0.02
    assert decoded.notes == ()


def test_text_is_noted_for_it_needs_fonts() -> None:
    note = "Text in an SVG depends on the fonts of this machine; convert text to paths."
    assert drawn(BOX + '<text y="50">Depot</text><text>again</text>').notes == (note,)
    assert drawn(BOX + "<text> </text>").notes == ()


def test_same_drawing_same_bytes() -> None:
    body = '<circle cx="50" cy="50" r="40" fill="#1f6fb2"/><path d="M0 0L100 90" stroke="#fff"/>'
    assert drawn(body).rgba.tobytes() == drawn(body).rgba.tobytes()


# ------------------------------------------------------------------ bytes and trees


def test_encodings_and_gzip() -> None:
    text = f"<svg {NAMES} viewBox='0 0 100 100'><!-- é --><g id='\u00e9'>{BOX}</g></svg>"
    latin = '<?xml version="1.0" encoding="ISO-8859-1" standalone="no"?>' + text
    for data in (
        text.encode(),
        text.encode("utf-8-sig"),
        text.encode("utf-16"),
        text.encode("utf-16-le"),
        text.encode("utf-16-be"),
        latin.encode("latin-1"),
        ('<?xml version="1.0" encoding="utf-16"?>' + text).encode("utf-16"),
        gzip.compress(text.encode(), mtime=0),
        b"\n\n  " + text.encode(),
    ):
        assert decode_picture(data, "k.svg", want_px=(20, 20)).rgba[10, 10].tolist() == BLUE


def test_public_doctype_is_harmless() -> None:
    doctype = (
        '<?xml version="1.0"?><!DOCTYPE svg PUBLIC "-//W3C//DTD SVG 1.1//EN" '
        '"http://www.w3.org/Graphics/SVG/1.1/DTD/svg11.dtd">'
    )
    data = drawing(BOX, before=doctype)
    assert decode_picture(data, "k.svg", want_px=(20, 20)).rgba[10, 10].tolist() == BLUE


@pytest.mark.parametrize(
    ("data", "kind"),
    [
        (b"<svg", "unreadable"),
        (drawing(BOX)[:-8], "unreadable"),
        (drawing("<g>"), "unreadable"),
        (drawing("&nothing;"), "unreadable"),
        (drawing('<rect foo:bar="1"/>'), "unreadable"),
        (b"<svg viewBox='0 0 1 1'/>", "unsupported"),  # no namespace
        (b"<html><body/></html>", "unsupported"),
        (b"<!DOCTYPE html><html><br></html>", "unreadable"),
        (b'<?xml version="1.0" encoding="EBCDIC-CP-BE"?><svg/>', "unsupported"),
        (b'<?xml version="1.0"?><svg>\xff</svg>', "unreadable"),
        (drawing(BOX).decode().encode("utf-16")[:-3], "unreadable"),
        (gzip.compress(b"a plain text", mtime=0), "unsupported"),
        (gzip.compress(drawing(BOX), mtime=0)[:-20], "unreadable"),
        (b"\x1f\x8b" + bytes(30), "unreadable"),
        (gzip.compress(b"<svg>" + bytes(40 << 20), mtime=0), "too_large"),
        (b"<svg>" + b" " * (32 << 20), "too_large"),
    ],
)
def test_what_is_not_a_whole_drawing_is_refused(data: bytes, kind: str) -> None:
    assert fault(data).kind == kind


@pytest.mark.parametrize(
    ("root", "kind"),
    [
        ("", "unsupported"),
        ('width="100%" height="100%"', "unsupported"),
        ('width="0" height="10"', "empty"),
        ('width="-5" height="10"', "empty"),
        ('width="1e-9" height="10"', "empty"),
        ('width="1e9" height="10"', "too_large"),
        ('width="1e999" height="10"', "too_large"),
        ('width="NaN" height="10"', "unreadable"),
        ('width="inf" height="10"', "unreadable"),
        ('width="wide" height="10"', "unreadable"),
        ('width="10furlong" height="10"', "unreadable"),
        (f'width="{"9" * 3_000_000}!" height="10"', "too_large"),
        (f'viewBox="0 0{" " * 3_000_000}1 1"', "unreadable"),
        ('viewBox="0 0 0 10"', "empty"),
        ('viewBox="0 0 10 -10"', "empty"),
        ('viewBox="0 0 1e9 1e9"', "too_large"),
        ('viewBox="1e9 0 10 10"', "too_large"),
        ('viewBox="0 0 NaN 10"', "unreadable"),
        ('viewBox="0 0 10"', "unreadable"),
        ('viewBox="0 0 10000 1"', "unsupported"),
    ],
)
def test_absurd_sizes_are_refused_before_drawing(
    root: str, kind: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(svg, "_draw", lambda *_: pytest.fail("it was drawn"))
    assert fault(drawing(BOX, root)).kind == kind


# ------------------------------------------------------------------ pictures inside


def quarters() -> NDArray[np.uint8]:
    """10 x 10 pixels: red, green above blue, yellow."""
    rgb = np.zeros((10, 10, 3), np.uint8)
    rgb[:5, :5], rgb[:5, 5:], rgb[5:, :5], rgb[5:, 5:] = (
        (220, 20, 20),
        (20, 160, 20),
        (20, 20, 220),
        (230, 230, 0),
    )
    return rgb


def corners(decoded: Decoded) -> NDArray[np.int64]:
    return decoded.rgba[[20, 20, 80, 80], [20, 80, 20, 80], :3].astype(np.int64)


@pytest.mark.parametrize("kind", ["png", "jpeg", "webp", "gif"])
@pytest.mark.parametrize("tag", ["href", "xlink:href"])
def test_pictures_inside_are_drawn(kind: str, tag: str) -> None:
    picture = Image.fromarray(quarters().repeat(16, 0).repeat(16, 1))
    picture = picture.quantize(4) if kind == "gif" else picture
    options = {"quality": 95, "subsampling": 0} if kind == "jpeg" else {}
    url = data_url(encoded(picture, kind, **options), f"image/{kind}")
    decoded = drawn(f'<image {tag}="{url}" width="100" height="100" image-rendering="optimizeSpeed"/>')
    assert (
        np.abs(corners(decoded) - quarters()[[2, 2, 7, 7], [2, 7, 2, 7]]).max() <= 12
    )  # JPEG and WebP lose a little


def test_picture_inside_follows_its_orientation_and_its_profile() -> None:
    exif = Image.Exif()
    exif[0x0112] = 3  # EXIF 2.32: stored upside down
    stored = Image.fromarray(quarters()[::-1, ::-1])
    url = data_url(encoded(stored, "PNG", exif=exif, icc_profile=b"no profile"), "image/png")
    decoded = drawn(f'<image href="{url}" width="100" height="100" image-rendering="optimizeSpeed"/>')
    assert (corners(decoded) == quarters()[[2, 2, 7, 7], [2, 7, 2, 7]]).all()
    assert len(decoded.notes) == 1 and decoded.notes[0].startswith(
        "A picture inside kingfisher.svg: The colour profile"
    )


def test_data_url_in_percent_form() -> None:
    body = "".join(f"%{byte:02x}" for byte in encoded(Image.new("RGB", (3, 3), (10, 200, 30)), "PNG"))
    decoded = drawn(f'<image href="data:image/png,{body}" width="100" height="100"/>')
    assert decoded.rgba[50, 50].tolist() == [10, 200, 30, 255]
