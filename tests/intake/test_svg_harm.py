"""SVG drawings made to harm: to read other files or the network, to grow, to crash, to take for ever.

Published sources: SVG 2 (W3C Candidate Recommendation 2018-10-04), XML 1.0 (fifth edition), CSS Syntax 3, PNG (W3C
Recommendation, third edition).
"""

import gzip
import io
import random
import socket
import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
import resvg_py
from PIL import Image
from svg_case import BLUE, BOX, NAMES, data_url, drawing, drawn, encoded, fault

from standfall.intake import svg
from standfall.intake.decode import PictureFault, decode_picture

# ------------------------------------------------------------------ nothing outside the file


@pytest.fixture
def red_square(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder, made the working one, with files that show red wherever they are read."""
    Image.new("RGB", (8, 8), (255, 0, 0)).save(tmp_path / "red.png")
    Image.new("RGB", (8, 8), (255, 0, 0)).save(tmp_path / "#red.png", "PNG")
    red = f'<svg {NAMES} width="9" height="9"><g id="x"><rect width="9" height="9" fill="red"/></g></svg>'
    (tmp_path / "red.svg").write_text(red)
    (tmp_path / "red.css").write_text("rect { fill: red }")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_the_library_alone_would_read_files(red_square: Path) -> None:
    # Why the screening is there. Should this fail with a newer library, the screening stays all the same.
    for target in (red_square / "red.png", "red.png", f"../{red_square.name}/red.svg", "#red.png"):
        text = f'<svg {NAMES} width="9" height="9"><image href="{target}" width="9" height="9"/></svg>'
        png = resvg_py.svg_to_bytes(svg_string=text, skip_system_fonts=True)
        assert Image.open(io.BytesIO(png)).convert("RGB").getpixel((4, 4)) == (255, 0, 0)


OUTSIDE = {
    "image, absolute": '<image href="{folder}/red.png" width="100" height="100"/>',
    "image, old form": '<image xlink:href="{folder}/red.png" width="100" height="100"/>',
    "image, both forms": '<image xlink:href="red.png" href="#x" width="100" height="100"/>',
    "image, relative": '<image href="red.png" width="100" height="100"/>',
    "image, blanks": '<image href=" &#9;red.png" width="100" height="100"/>',
    "image, up": '<image href="../{name}/red.png" width="100" height="100"/>',
    "image, system file": '<image href="/etc/hostname.png" width="100" height="100"/>',
    "image, file URL": '<image href="file://{folder}/red.png" width="100" height="100"/>',
    "image, web": '<image href="http://127.0.0.1:{port}/red.png" width="100" height="100"/>',
    "image, web without scheme": '<image href="//127.0.0.1:{port}/red.png" width="100" height="100"/>',
    "image, drawing": '<image href="red.svg" width="100" height="100"/>',
    "image, fragment that is a file": '<image href="#red.png" width="100" height="100"/>',
    "feImage": '<filter id="f"><feImage href="red.png"/></filter><rect width="100" height="100" filter="url(#f)"/>',
    "feImage, fragment that is a file": '<filter id="f"><feImage href="#red.png"/></filter>'
    '<rect width="100" height="100" filter="url(#f)"/>',
    "feImage, element that the library drops": '<foo id="red.png"/><filter id="f"><feImage href="#red.png"/></filter>'
    '<rect width="100" height="100" filter="url(#f)"/>',
    "use": '<use href="red.svg#x"/>',
    "use, web": '<use xlink:href="http://127.0.0.1:{port}/red.svg#x"/>',
    "use, data": '<use href="data:image/svg+xml,%3Csvg/%3E#x"/>',
    "gradient": '<linearGradient id="g" href="red.svg#g"/>',
    "fill": '<rect width="100" height="100" fill="url(red.svg#x)"/>',
    "fill, quoted": "<rect width='100' height='100' fill='URL( \"red.svg#x\" )'/>",
    "mask": '<rect width="100" height="100" mask="url(http://127.0.0.1:{port}/m#x)"/>',
    "style attribute": '<rect width="100" height="100" style="fill:url(red.svg#x)"/>',
    "style attribute, escaped": '<rect width="100" height="100" style="fill:u\\72 l(red.svg#x)"/>',
    "style, import": '<style>@import "red.css";</style><rect width="100" height="100"/>',
    "style, import escaped": '<style>@\\69mport "red.css";</style><rect width="100" height="100"/>',
    "style, import CDATA": "<style><![CDATA[@import url(red.css);]]></style><rect width='100' height='100'/>",
    "style, after a false comment": '<style>a{{b:url("/*");c:url(red.svg)}}/**/</style>',
    "style, in a comment's halves": "<style>rect{{fill:u/**/rl(red.svg#x)}}</style>",
    "style, font": "<style>@font-face{{font-family:f;src:url(http://127.0.0.1:{port}/f.woff)}}</style>",
    "style, split by an element": "<style>@im<g/>port 'red.css';</style>",
}


@pytest.mark.parametrize("what", OUTSIDE)
def test_references_outside_are_refused(what: str, red_square: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.setblocking(False)
        port = server.getsockname()[1]
        body = OUTSIDE[what].format(folder=red_square.as_posix(), name=red_square.name, port=port)
        assert fault(drawing(body)).kind == "external_reference"
        with pytest.raises(BlockingIOError):  # nobody has called
            server.accept()


ENTITIES = {
    "external": '<!DOCTYPE svg [<!ENTITY e SYSTEM "file:///etc/hostname">]>',
    "internal": "<!DOCTYPE svg [<!ENTITY e \"<rect width='100' height='100' fill='red'/>\">]>",
    "parameter": '<!DOCTYPE svg [<!ENTITY % p SYSTEM "http://127.0.0.1/p.dtd"> %p;]>',
    "laughs": "<!DOCTYPE svg [<!ENTITY a 'aaaaaaaaaa'>"
    + "".join(
        f"<!ENTITY {'abcdefghijk'[i]} '{('&' + 'abcdefghijk'[i - 1] + ';') * 10}'>" for i in range(1, 11)
    )
    + "<!ENTITY e '&k;'>]>",
}


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "utf-16-le", "utf-16-be"])
@pytest.mark.parametrize("what", ENTITIES)
def test_entity_declarations_are_refused_in_every_encoding(what: str, encoding: str) -> None:
    data = drawing("<text>&e;</text>", before=ENTITIES[what]).decode().encode(encoding)
    assert fault(data).kind == "external_reference"


def test_style_sheet_of_the_document_is_refused() -> None:
    before = '<?xml-stylesheet href="red.css" type="text/css"?>'
    assert fault(drawing(BOX, before=before)).kind == "external_reference"


def test_what_is_never_drawn_is_left_out_not_refused(red_square: Path) -> None:
    body = (
        f'<metadata><r:RDF xmlns:r="http://www.w3.org/1999/02/22-rdf-syntax-ns#" r:about="http://example.org"/></metadata>'
        f'<n:view xmlns:n="http://example.org/n" href="red.png"><rect width="100" height="100" fill="red"/></n:view>'
        f'<a href="https://example.org/"><g xml:base="{red_square.as_posix()}/">{BOX}</g></a>'
        '<script href="red.js">draw()</script><rect width="1" height="1" onload="draw()"/>'
        '<foreignObject width="100" height="100"><iframe xmlns="http://www.w3.org/1999/xhtml" src="red.svg"/>'
        '</foreignObject><g><animate attributeName="x" href="#a"/></g><image href="" width="9" height="9"/>'
    )
    decoded = drawn(body)
    assert decoded.rgba[50, 50].tolist() == BLUE
    assert decoded.notes == (
        "Scripts in the drawing were left out.",
        "HTML inside the drawing was left out.",
        "Animation was left out; the drawing is as it stands without it.",
    )


# ------------------------------------------------------------------ pictures inside


def png_header(width: int, height: int) -> bytes:
    body = b"IHDR" + struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    header = b"\x89PNG\r\n\x1a\n\x00\x00\x00\x0d" + body + struct.pack(">I", zlib.crc32(body))
    return header + b"\x00\x00\x00\x08IDAT" + bytes(12)


def picture_faults() -> dict[str, tuple[str, str]]:
    square = Image.new("RGB", (8, 8), (255, 0, 0))
    png = encoded(square, "PNG")
    inner = drawing('<image href="red.png" width="9" height="9"/>')
    return {
        "drawing inside": (data_url(inner, "image/svg+xml"), "unsupported"),
        "drawing that says PNG": (data_url(inner, "image/png"), "unsupported"),
        "packed drawing that says PNG": (data_url(gzip.compress(inner), "image/png"), "unsupported"),
        "TIFF that says PNG": (data_url(encoded(square, "TIFF"), "image/png"), "unsupported"),
        "BMP": (data_url(encoded(square, "BMP"), "image/bmp"), "unsupported"),
        "no type": (data_url(png, ""), "unsupported"),
        "plain text": (data_url(png, "text/plain"), "unsupported"),
        "cut short": (data_url(png[:-30], "image/png"), "unreadable"),
        "not base64": ("data:image/png;base64,%%%?", "unreadable"),
        "nothing": ("data:image/png;base64,", "empty"),
        "absurd size": (data_url(png_header(100_000, 100_000), "image/png"), "too_large"),
    }


@pytest.mark.parametrize("what", picture_faults())
def test_pictures_inside_meet_the_same_limits(what: str, red_square: Path) -> None:
    assert red_square.is_dir()
    url, kind = picture_faults()[what]
    assert fault(drawing(f'<image href="{url}" width="100" height="100"/>')).kind == kind


# ------------------------------------------------------------------ growth, crashes, time


def doubled(levels: int, times: int = 10) -> str:
    groups = "".join(
        f'<g id="a{level}">' + f'<use href="#a{level - 1}"/>' * times + "</g>"
        for level in range(1, levels + 1)
    )
    return f'<defs><g id="a0"><rect width="1" height="1"/></g>{groups}</defs><use href="#a{levels}"/>'


def chained(kind: str, links: int) -> str:
    parts = "".join(
        f'<{kind} id="m{link}"><rect width="9" height="9" {kind}="url(#m{link - 1})"/></{kind}>'
        for link in range(1, links)
    )
    return f'<{kind} id="m0"/>{parts}<rect width="9" height="9" {kind}="url(#m{links - 1})"/>'


GROWING = {
    "ten to the sixth": (doubled(6), "too_large"),
    "ten to the hundredth": (doubled(90), "too_large"),
    "masks, ten to the seventh": (
        "".join(
            f'<mask id="m{n}">' + f'<rect width="9" height="9" style="mask:url(#m{n - 1})"/>' * 10 + "</mask>"
            for n in range(8)
        )
        + '<rect width="9" height="9" mask="url(#m7)"/>',
        "too_large",
    ),
    "deep groups": ("<g>" * 5000 + BOX + "</g>" * 5000, "too_large"),
    "deep chain of masks": (chained("mask", 3000), "too_large"),
    "many references to an id that many share": (
        '<g id="a"/>' * 50_000 + '<use href="#a"/>' * 50_000,
        "too_large",
    ),
    "circle of groups": ('<g id="a"><use href="#b"/></g><g id="b"><use href="#a"/></g>', "unsupported"),
    "circle of one": ('<g id="a"><use href="#a"/></g>', "unsupported"),
    "circle of patterns": (
        '<pattern id="p" width="5" height="5"><rect width="9" height="9" fill="url(#p)"/></pattern>',
        "unsupported",
    ),
    "circle through a mask": (
        '<mask id="m"><use href="#r"/></mask><rect id="r" width="9" height="9" mask="url( \'#m\' )"/>',
        "unsupported",
    ),
}


@pytest.mark.parametrize("what", GROWING)
def test_drawings_that_grow_are_refused_before_drawing(what: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(svg, "_draw", lambda *_: pytest.fail("it was drawn"))
    body, kind = GROWING[what]
    assert fault(drawing(body)).kind == kind


def test_honest_references_are_drawn() -> None:
    # 111 + 1000 elements by reference, a nest near the limit, a mask defined inside the group that uses it, and
    # gradients that inherit from each other.
    assert drawn(doubled(3) + BOX).rgba[50, 50].tolist() == BLUE
    assert drawn("<g opacity='1'>" * 190 + BOX + "</g>" * 190).rgba[50, 50].tolist() == BLUE
    inside = f'<g mask="url(#m)"><mask id="m"><rect width="100" height="50" fill="#fff"/></mask>{BOX}</g>'
    masked = drawn(inside).rgba
    assert masked[25, 50].tolist() == BLUE and masked[75, 50, 3] == 0
    gradients = '<linearGradient id="a"><stop stop-color="#3366cc"/></linearGradient>' + "".join(
        f'<linearGradient id="a{i}" href="#a{i - 1 if i else ""}"/>' for i in range(300)
    )
    assert (
        drawn(gradients + '<rect width="100" height="100" fill="url(#a299)"/>').rgba[50, 50].tolist() == BLUE
    )


def test_crash_of_the_library_is_a_fault() -> None:
    # A million units wide: the library asks for 4 TB at once and ends its process, which is not ours.
    size = 'width="1e6" height="1e6" patternUnits="userSpaceOnUse"'
    pattern = f'<pattern id="p" {size}><rect width="9" height="9"/></pattern>'
    huge = drawing(pattern + '<rect width="100" height="100" fill="url(#p)"/>')
    assert fault(huge).kind in ("too_large", "unsupported")
    # A panic inside the library, met in version 0.48.1. A later one may draw it.
    try:
        drawn('<circle r="1e9" stroke="red" stroke-dasharray="1"/>')
    except PictureFault as panic:
        assert panic.kind == "unsupported"


def test_drawing_that_takes_too_long_is_stopped(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(svg, "DRAW_LIMIT_S", 1.5)
    body = '<filter id="f"><feTurbulence numOctaves="1000000000" baseFrequency="0.05"/></filter>'
    assert fault(drawing(body + '<rect width="100" height="100" filter="url(#f)"/>')).kind == "too_large"


def test_broken_installation_is_not_blamed_on_the_drawing(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    (tmp_path / "child.py").write_text("import a_library_that_is_not_there")
    monkeypatch.setattr(svg, "_CHILD", tmp_path / "child.py")
    with pytest.raises(RuntimeError, match="a_library_that_is_not_there"):
        drawn(BOX)


def test_damaged_drawings_give_pixels_or_a_fault_and_nothing_else() -> None:
    picture = data_url(
        encoded(Image.fromarray(np.arange(192, dtype=np.uint8).reshape(8, 8, 3)), "PNG"), "image/png"
    )
    body = (
        f"<style>.k{{fill:#1f6fb2;opacity:.9}}</style><g class='k' transform='rotate(5)'>{BOX}</g>"
        f"<defs><linearGradient id='g'><stop offset='0'/><stop offset='1' stop-color='#fff'/></linearGradient>"
        f"<g id='u'><circle r='9' fill='url(#g)'/></g></defs><use href='#u' x='20' y='20'/>"
        f"<image href='{picture}' width='20' height='20'/>"
    )
    whole = drawing(body, 'viewBox="0 0 100 100" width="50mm" height="50mm"')
    chance = random.Random("damage to a drawing")
    outcomes = {"pixels": 0, "fault": 0}
    for _ in range(300):
        changed = bytearray(whole)
        for _ in range(chance.choice((1, 1, 2, 4))):
            at = chance.randrange(len(changed))
            if chance.random() < 0.5:
                changed[at] = chance.choice(b"0123456789e.-#<>&;'\" ()/\x00\xff")
            elif chance.random() < 0.5:
                del changed[at : at + chance.randrange(1, 6)]
            else:
                changed[at:at] = chance.choice((b"9" * 12, b"-", b"e9", b"<g>", b"url(x)", b"%", b"\xf0"))
        try:
            decoded = decode_picture(bytes(changed), "k.svg", want_px=(24, 24))
        except PictureFault:
            outcomes["fault"] += 1
        else:
            assert decoded.rgba.ndim == 3 and max(decoded.rgba.shape) <= 8000
            outcomes["pixels"] += 1
    assert min(outcomes.values()) > 20, outcomes
