"""What the tests of several rooms share: small briefs as plain data, and the demo, read and planned once."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

SMALL: dict[str, Any] = {
    "job": {"name": "Small kingfisher", "place": "Disused tram depot", "currency": "EUR"},
    "hall": {"outline_m": [[0, 0], [6, 0], [6, 5], [0, 5]], "floor_load_kpa": 5.0},
    "domino": {"height_mm": 48, "width_mm": 24, "thickness_mm": 7.5, "mass_g": 8.5},
    "colour": [
        {"name": "night blue", "srgb": "#1a2340", "stock": 900, "pack_size": 250, "pack_price": 17.0},
        {"name": "lake blue", "srgb": "#5a98c6", "stock": 900, "pack_size": 500, "pack_price": 26.0},
        {"name": "rust brown", "lab": [40.0, 30.0, 30.0], "lab_white": "D50", "stock": 900},
        {"name": "ivory", "srgb": "#f6eedc", "stock": 900, "pack_size": 500, "pack_price": 24.0},
    ],
    "colouring": {"metric": "ciede2000", "spares_percent": 3, "purchase": "cheapest", "budget": 500},
    "tray": {
        "columns": 11,
        "rows": 5,
        "col_pitch_mm": 27,
        "row_pitch_mm": 22,
        "rows_laid": "straight",
        "orientations_deg": [0, 180],
    },
    "field": [
        {
            "name": "mural",
            "picture": "picture.png",
            "columns": 44,
            "rows": 30,
            "col_pitch_mm": 27,
            "row_pitch_mm": 22,
            "rows_laid": "straight",
            "corner_m": [1.0, 1.5],
            "fall_direction_deg": 90,
            "picture_up": "with_fall",
            "fit": "crop",
            "crop_centre": [0.5, 0.5],
            "min_cover_percent": 50,
            "dither_percent": 0,
            "clean_specks": False,
            "seen_from_camera": False,
            "stacked_rows": [[28, 29]],
        }
    ],
    "line": [
        {
            "name": "lead-in",
            "colours": ["ivory", "night blue"],
            "pitch_mm": 24,
            "start_m": [0.5, 0.5],
            "start_direction_deg": 0,
            "path": [{"straight_mm": 600}, {"arc_radius_mm": 500, "turn_deg": 90}],
        },
        {
            "name": "split",
            "colours": ["ivory"],
            "pitch_mm": 24,
            "branch_of": "lead-in",
            "branch_at_mm": 300,
            "branch_aside_mm": -60,
            "branch_turn_deg": -10,
            "path": [{"straight_mm": 240}, {"to_m": [1.4, 0.2]}],
        },
    ],
    "fall": {
        "domino_friction": 0.2,
        "domino_friction_spread": 0.02,
        "floor_friction": 0.45,
        "floor_friction_spread": 0.05,
        "floor_slope_mm_per_m": 2,
        "downhill_deg": 180,
        "mass_spread_percent": 1,
        "tile_error_mm": 0.3,
        "tile_turn_error_deg": 0.02,
        "piece_error_mm": 0.2,
        "piece_turn_error_deg": 0.4,
        "hand_error_mm": 0.8,
        "hand_turn_error_deg": 1.2,
        "missing_per_million": 50,
        "flatness": "din_18202_row_3",
        "vibration_mm_s": 0.1,
        "vibration_hz": 8,
        "draught_m_s": 0.2,
    },
    # One of each kind: the finger on the line, the others on row 0, whose faces are at y = 1.507: the batten on
    # columns 0 to 15, and one each on columns 33, 35, 38 and 41 (middle of column 33: 1 m + 33.5 x 27 mm).
    "starter": [
        {"name": "finger", "kind": "finger", "line": "lead-in", "speed_mm_s": 250, "strike_height_mm": 36},
        {
            "name": "batten",
            "kind": "pusher",
            "field": "mural",
            "first_col": 0,
            "last_col": 15,
            "waits_for": "lead-in",
            "delay_s": 0.5,
            "speed_mm_s": 400,
            "stroke_mm": 30,
            "restitution": 0.1,
        },
        {
            "name": "weight",
            "kind": "pendulum",
            "place_m": [1.9045, 1.5],
            "direction_deg": 90,
            "width_mm": 20,
            "mass_g": 50,
            "length_mm": 300,
            "release_deg": 20,
        },
        {
            "name": "ball",
            "kind": "ball",
            "place_m": [1.9585, 1.5],
            "direction_deg": 90,
            "mass_g": 20,
            "ramp_height_mm": 20,
            "ramp_length_mm": 200,
            "runout_mm": 50,
            "diameter_mm": 16,
            "hollow": False,
            "rail_gap_mm": 8,
        },
        {
            "name": "tube",
            "kind": "cylinder",
            "place_m": [2.0395, 1.5],
            "direction_deg": 90,
            "mass_g": 30,
            "ramp_height_mm": 20,
            "ramp_length_mm": 200,
            "diameter_mm": 16,
            "hollow": True,
        },
        {
            "name": "beam",
            "kind": "lever",
            "place_m": [2.1205, 1.5],
            "direction_deg": 90,
            "speed_mm_s": 200,
            "arm_ratio": 2,
        },
    ],
    "camera": {
        "position_m": [1.6, 0.1, 3.0],
        "aim_m": [1.6, 1.8, 0.0],
        "focal_length_mm": 22,
        "sensor_width_mm": 36,
        "sensor_height_mm": 24,
    },
    "papers": {"page": "a4", "sheets": "tiles", "band_rows": 10},
}


def _toml(value: Any) -> str:
    """Write a value as TOML 1.0.0; a table as an inline table."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)  # such a JSON string is a TOML basic string
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_toml(name)} = {_toml(item)}" for name, item in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    return repr(value)


def brief_bytes(data: dict[str, Any]) -> bytes:
    return "".join(f"{_toml(name)} = {_toml(item)}\n" for name, item in data.items()).encode()


@pytest.fixture
def small() -> dict[str, Any]:
    """A brief as plain data, every key of it given, that plans without a finding that blocks."""
    return copy.deepcopy(SMALL)


@pytest.fixture(scope="session")
def to_toml() -> Callable[[dict[str, Any]], bytes]:
    return brief_bytes


@pytest.fixture(scope="session")
def picture_bytes(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A picture of 88 x 60 pixels: smooth in blue, with a rust disc and a pale corner."""
    y, x = np.mgrid[0:60, 0:88]
    rgb = np.stack([20 + x, 40 + 2 * y, 120 + 60 * np.sin(x / 9.0)], axis=-1)
    rgb[(x - 30) ** 2 + (y - 25) ** 2 < 150] = (150, 80, 40)
    rgb[x + y > 125] = (245, 238, 220)
    path = tmp_path_factory.mktemp("picture") / "picture.png"
    Image.fromarray(rgb.astype(np.uint8)).save(path)
    return path.read_bytes()


@pytest.fixture
def job_folder(tmp_path: Path, picture_bytes: bytes) -> Path:
    """A folder of its own with the small brief's picture in it."""
    folder = tmp_path / "job"
    folder.mkdir()
    (folder / "picture.png").write_bytes(picture_bytes)
    return folder


@pytest.fixture
def write_brief(job_folder: Path) -> Callable[[dict[str, Any] | bytes], Path]:
    """Write a brief, given as plain data or as bytes, beside its picture and return its path."""

    def write(data: dict[str, Any] | bytes) -> Path:
        path = job_folder / "brief.toml"
        path.write_bytes(data if isinstance(data, bytes) else brief_bytes(data))
        return path

    return write


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder that ``standfall new`` makes; treat it as read-only."""
    from standfall.intake.start import start_folder

    folder = tmp_path_factory.mktemp("demo") / "kingfisher"
    start_folder(folder)
    return folder


@pytest.fixture(scope="session")
def demo_commission(demo_folder: Path) -> Any:
    """The demo's brief and picture, read (the drawing takes seconds)."""
    from standfall.intake import read_brief

    return read_brief(demo_folder / "brief.toml")


@pytest.fixture(scope="session")
def demo_outcome(demo_commission: Any) -> Any:
    """What planning the demo comes to."""
    from standfall.planning import make_plan

    return make_plan(demo_commission)
