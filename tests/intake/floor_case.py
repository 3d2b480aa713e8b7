"""Drawings and maps of invented halls, made in the tests."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence

import ezdxf
import numpy as np
from PIL import Image

# An invented tram depot: 18 m by 14 m, the upper right corner cut out.
DEPOT_M = ((0, 0), (18, 0), (18, 10), (15, 10), (15, 14), (0, 14))


def new_drawing(unit=4, release="R2010"):
    """A drawing with a unit by its number ($INSUNITS: 1 inch, 4 mm, 6 m), and its model space."""
    document = ezdxf.new(release, units=unit)
    return document, document.modelspace()


def dxf_bytes(document) -> bytes:
    text = io.StringIO()
    document.write(text)
    return text.getvalue().encode(document.encoding)


def add_loop(space, points: Iterable[Sequence[float]], layer="floor", per_m=1000.0):
    """A closed polyline through points in metres, ``per_m`` units of the drawing each."""
    return space.add_lwpolyline(
        [(x * per_m, y * per_m) for x, y in points], close=True, dxfattribs={"layer": layer}
    )


def depot_bytes(unit=4, per_m=1000.0) -> bytes:
    document, space = new_drawing(unit)
    add_loop(space, DEPOT_M, per_m=per_m)
    return dxf_bytes(document)


def map_yaml(**changes) -> bytes:
    """The YAML of a map: 0.5 m a pixel, lower left corner at (-1, 2); ``None`` leaves a key out."""
    values = {
        "image": "depot.pgm",
        "resolution": 0.5,
        "origin": "[-1.0, 2.0, 0.0]",
        "negate": 0,
        "occupied_thresh": 0.65,
        "free_thresh": 0.196,
        **changes,
    }
    return "".join(f"{key}: {value}\n" for key, value in values.items() if value is not None).encode()


def picture_of(levels, kind="PPM") -> bytes:
    file = io.BytesIO()
    Image.fromarray(np.asarray(levels, dtype=np.uint8)).save(file, kind)
    return file.getvalue()


def levels_of(text: str):
    """Grey levels from a drawing by letters, top row first: . free (254), # occupied (0), ? not seen (205)."""
    levels = {".": 254, "#": 0, "?": 205}
    return np.array([[levels[letter] for letter in row] for row in text.split()], dtype=np.uint8)


def by_code(findings):
    """The findings by code."""
    found: dict[str, list] = {}
    for finding in findings:
        found.setdefault(finding.code, []).append(finding)
    return found
