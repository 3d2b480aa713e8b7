"""Small pictures made on the spot, and the fault of a bad one."""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
import skimage
import tifffile
from numpy.typing import NDArray
from PIL import Image

from standfall.intake.decode import PictureFault, decode_picture

PHOTOGRAPHS = Path(skimage.__file__).parent / "data"


def saved(picture: Image.Image, kind: str, **options: object) -> bytes:
    stream = io.BytesIO()
    picture.save(stream, kind, **options)
    return stream.getvalue()


def random_rgba(height: int = 24, width: int = 31, seed: int = 7) -> NDArray[np.uint8]:
    return np.random.default_rng(seed).integers(0, 256, (height, width, 4), dtype=np.uint8)


def tiff(array: NDArray[np.generic], **options: object) -> bytes:
    stream = io.BytesIO()
    tifffile.imwrite(stream, array, **options)
    return stream.getvalue()


def chunk(kind: bytes, body: bytes) -> bytes:
    """A PNG chunk: length, type, data, CRC-32 of type and data (PNG, 5.3)."""
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def png(width: int, height: int, depth: int, colour_type: int, rows: bytes, *between: bytes) -> bytes:
    header = struct.pack(">IIBBBBB", width, height, depth, colour_type, 0, 0, 0)
    body = chunk(b"IDAT", zlib.compress(rows, 9)) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + b"".join(between) + body


def fault(data: bytes, name: str = "kingfisher.png") -> PictureFault:
    with pytest.raises(PictureFault) as caught:
        decode_picture(data, name)
    assert name in caught.value.value
    assert caught.value.limit and caught.value.next_step.endswith(".")
    return caught.value
