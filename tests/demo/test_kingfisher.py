"""The demo picture against the rules of SVG and XML, and against what a person must be able to see in it."""

import colorsys
import io
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
import resvg_py
from numpy.typing import NDArray
from PIL import Image

from standfall.demo.kingfisher import kingfisher_svg

SVG = (
    "{http://www.w3.org/2000/svg}"  # namespace name of SVG 1.1 (W3C Recommendation, section 1.3, from memory)
)
COLUMNS, ROWS = 330, 300
CELL_WIDTH_MM, CELL_DEPTH_MM = 27, 22


@pytest.fixture(scope="module")
def text() -> str:
    return kingfisher_svg()


@pytest.fixture(scope="module")
def root(text: str) -> ET.Element:
    return ET.fromstring(text)


@pytest.fixture(scope="module")
def cells(text: str) -> NDArray[np.uint8]:
    """The picture averaged over the areas of the 330 x 300 cells, (300, 330, 3) sRGB."""
    png = bytes(resvg_py.svg_to_bytes(svg_string=text, width=990, skip_system_fonts=True))
    picture = Image.open(io.BytesIO(png)).convert("RGB")
    return np.asarray(picture.resize((COLUMNS, ROWS), Image.Resampling.BOX))


def hue_sat_light(cells: NDArray[np.uint8]) -> NDArray[np.float64]:
    """Hue (degrees), saturation and lightness by the standard library's colorsys."""
    flat = cells.reshape(-1, 3) / 255.0
    hls = np.array([colorsys.rgb_to_hls(*pixel) for pixel in flat])
    # colorsys before Python 3.11.3 returns a saturation of 1 with a rounding error above it.
    return np.stack([hls[:, 0] * 360.0, hls[:, 2], hls[:, 1]], axis=1).round(9)


def test_same_seed_same_bytes(text: str) -> None:
    assert kingfisher_svg(7).encode() == text.encode()


def test_another_seed_moves_reeds_but_not_the_bird(text: str) -> None:
    other = kingfisher_svg(8)
    assert other != text
    iris = re.search(r'<ellipse[^>]*fill="url\(#iris\)"/>', text)
    assert iris is not None
    assert iris.group() in other


def test_view_box_has_the_proportion_of_the_field(root: ET.Element) -> None:
    assert root.tag == SVG + "svg"
    x, y, width, height = map(float, root.attrib["viewBox"].split())
    assert (x, y, width, height) == (0, 0, 1350, 1000)
    # by hand: 330 * 27 mm = 8910 mm and 300 * 22 mm = 6600 mm, 8910 / 6600 = 1.35
    assert width / height == pytest.approx(COLUMNS * CELL_WIDTH_MM / (ROWS * CELL_DEPTH_MM))


def test_renders_at_the_asked_width(text: str) -> None:
    png = bytes(resvg_py.svg_to_bytes(svg_string=text, width=540, skip_system_fonts=True))
    assert Image.open(io.BytesIO(png)).size == (540, 400)


def test_small_enough_to_ship(text: str) -> None:
    assert len(text.encode()) < 400_000


def test_refers_to_nothing_outside_itself(root: ET.Element) -> None:
    identifiers = {e.attrib["id"] for e in root.iter() if "id" in e.attrib}
    used: set[str] = set()
    for element in root.iter():
        assert element.tag.removeprefix(SVG) not in {
            "image",
            "use",
            "text",
            "script",
            "style",
            "foreignObject",
            "a",
        }
        for key, value in element.attrib.items():
            assert "href" not in key
            assert "http" not in value
            targets = re.findall(r"url\(([^)]*)\)", value)
            assert all(target.startswith("#") for target in targets)
            used |= {target[1:] for target in targets}
    assert used == identifiers  # nothing missing and no definition left over


def test_identifiers_are_unique(root: ET.Element) -> None:
    # XML 1.0, section 3.3.1 (from memory), validity constraint ID: one element per identifier
    identifiers = [e.attrib["id"] for e in root.iter() if "id" in e.attrib]
    assert len(identifiers) == len(set(identifiers))


def test_is_a_picture_with_gradients(cells: NDArray[np.uint8]) -> None:
    distinct = np.unique(cells.reshape(-1, 3), axis=0)
    assert len(distinct) > 20_000


@pytest.mark.parametrize(
    ("what", "hue", "saturation", "lightness", "least"),
    [
        ("orange breast", (15, 35), (0.6, 1.0), (0.35, 0.65), 0.02),
        ("turquoise back", (183, 202), (0.55, 1.0), (0.35, 0.65), 0.008),
        ("green reeds", (75, 165), (0.2, 1.0), (0.1, 0.55), 0.05),
        ("pale sky and throat", (0, 360), (0.0, 1.0), (0.84, 1.0), 0.04),
        ("deep blue", (205, 230), (0.4, 1.0), (0.15, 0.45), 0.08),
        ("sun gold", (35, 50), (0.8, 1.0), (0.6, 0.85), 0.04),
    ],
)
def test_hue_regions(
    cells: NDArray[np.uint8],
    what: str,
    hue: tuple[int, int],
    saturation: tuple[float, float],
    lightness: tuple[float, float],
    least: float,
) -> None:
    values = hue_sat_light(cells)
    bounds = (hue, saturation, lightness)
    inside = np.all(
        [(values[:, i] >= low) & (values[:, i] <= high) for i, (low, high) in enumerate(bounds)], axis=0
    )
    assert inside.mean() > least, what


def test_bird_stands_where_the_composition_puts_it(cells: NDArray[np.uint8]) -> None:
    """Orange breast left of the middle; the eye is dark with a light in it; sun brightest at the right."""
    breast = cells[150:180, 135:150].reshape(-1, 3).astype(float).mean(axis=0)
    assert breast[0] > 1.5 * breast[1] > 1.5 * breast[2]
    eye = cells[66:80, 144:154].astype(float).mean(axis=2)
    assert eye.min() < 40
    assert eye.max() > 190
    light = cells[90:160].astype(float).mean(axis=(0, 2))
    assert light[255:280].mean() > light[120:150].mean() + 40
