"""Small SVG drawings made on the spot, and the fault of a bad one."""

from __future__ import annotations

import base64
import io

import pytest
from PIL import Image

from standfall.intake.decode import Decoded, PictureFault, decode_picture

NAMES = 'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
BOX = '<rect width="100" height="100" fill="#3366cc"/>'
BLUE = [0x33, 0x66, 0xCC, 255]


def drawing(body: str, root: str = 'viewBox="0 0 100 100"', before: str = "") -> bytes:
    return f"{before}<svg {NAMES} {root}>{body}</svg>".encode()


def drawn(body: str, root: str = 'viewBox="0 0 100 100"', px: int = 100) -> Decoded:
    return decode_picture(drawing(body, root), "kingfisher.svg", want_px=(px, px))


def fault(data: bytes, name: str = "kingfisher.svg") -> PictureFault:
    with pytest.raises(PictureFault) as caught:
        decode_picture(data, name, want_px=(100, 100))
    assert name in caught.value.value
    assert caught.value.limit and caught.value.next_step.endswith(".")
    return caught.value


def encoded(picture: Image.Image, kind: str, **options: object) -> bytes:
    stream = io.BytesIO()
    picture.save(stream, kind, **options)
    return stream.getvalue()


def data_url(data: bytes, kind: str) -> str:
    return f"data:{kind};base64," + base64.b64encode(data).decode()
