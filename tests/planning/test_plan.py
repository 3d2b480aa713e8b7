"""Plans of all kinds of briefs: a photograph, several fields, lines alone; the same brief gives the same bytes."""

from __future__ import annotations

import hashlib
import math
import os
import random
import subprocess
import sys
from collections.abc import Callable
from dataclasses import fields as columns_of
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

import standfall
from standfall.planning import Outcome, Plan
from standfall.tiles import KINDS

Write = Callable[[dict[str, Any] | bytes], Path]


@pytest.fixture
def planned(small: dict[str, Any], write_brief: Write) -> Callable[[], Outcome]:
    """Plan the small brief as it has been changed."""
    return lambda: standfall.plan(standfall.read_brief(write_brief(small)))


Planned = Callable[[], Outcome]


def _plan(outcome: Outcome) -> Plan:
    assert not outcome.blocked, outcome.findings
    assert outcome.plan is not None
    return outcome.plan


def _assert_consistent(plan: Plan) -> None:
    """Check what must hold for every plan, from the arrays alone."""
    standing, tiling, table, brief = plan.standing, plan.tiling, plan.stock, plan.brief
    np.testing.assert_array_equal(np.bincount(standing.colour, minlength=len(plan.palette)), table.used)
    spares = [math.ceil(round(int(used) * brief.colouring.spares, 9)) for used in table.used]
    np.testing.assert_array_equal(table.spares, spares)
    assert (table.used + table.spares <= table.stock + table.to_buy).all()
    assert ((standing.field >= 0) != (standing.line >= 0)).all()
    assert ((standing.tile > 0) == (standing.field >= 0)).all()
    floor = (standing.tile > 0) & (standing.layer == 0)
    places = np.stack([standing.tile[floor], standing.slot_row[floor], standing.slot_col[floor]], axis=1)
    assert len(np.unique(places, axis=0)) == floor.sum()
    np.testing.assert_array_equal(
        np.bincount(standing.tile[floor], minlength=len(tiling) + 1)[1:], tiling.dominoes
    )
    np.testing.assert_array_equal(tiling.field[standing.tile[floor] - 1], standing.field[floor])
    if floor.any():
        _assert_slots_lie_on_dominoes(plan, floor)
    upper = standing.layer == 1
    below = {
        (f, r, c): n
        for n, (f, r, c) in enumerate(zip(standing.field, standing.row, standing.col, strict=True))
        if not upper[n]
    }
    for number in np.flatnonzero(upper):
        foot = below[(standing.field[number], standing.row[number], standing.col[number])]
        for name in ("x_m", "y_m", "tile", "slot_row", "slot_col"):
            assert getattr(standing, name)[foot] == getattr(standing, name)[number]
        assert standing.z_m[number] == brief.domino.height_m


def _assert_slots_lie_on_dominoes(plan: Plan, floor: np.ndarray) -> None:
    """Slot middles, worked out in the tile frame and turned into the hall, meet the dominoes."""
    tray, standing, tiling = plan.brief.tray, plan.standing, plan.tiling
    assert tray is not None
    tile = standing.tile[floor] - 1
    shifted = 1.0 if tray.rows_laid == "half_offset" and tray.rows > 1 else 0.0
    row, col = standing.slot_row[floor], standing.slot_col[floor]
    x = (col + 0.5 + 0.5 * shifted * (row % 2) - (tray.columns + 0.5 * shifted) / 2) * tray.col_pitch_m
    y = (row + 0.5 - tray.rows / 2) * tray.row_pitch_m
    cosine, sine = np.cos(tiling.yaw_rad[tile]), np.sin(tiling.yaw_rad[tile])
    np.testing.assert_allclose(tiling.x_m[tile] + x * cosine - y * sine, standing.x_m[floor], atol=1e-9)
    np.testing.assert_allclose(tiling.y_m[tile] + x * sine + y * cosine, standing.y_m[floor], atol=1e-9)


# ------------------------------------------------------------------ one picture, looked at closely


def test_a_photograph_comes_out_as_its_nearest_colours(
    small: dict[str, Any], job_folder: Path, planned: Planned
) -> None:
    # scikit-image ships this photograph of a cup of coffee, 600 x 400 pixels; 60 x 40 cells take 10 x 10 each.
    from skimage import color, data

    photograph = data.coffee()
    assert photograph.shape == (400, 600, 3)
    Image.fromarray(photograph).save(job_folder / "coffee.png")
    small["field"] = [
        small["field"][0]
        | {
            "picture": "coffee.png",
            "columns": 60,
            "rows": 40,
            "col_pitch_mm": 25,
            "row_pitch_mm": 25,
            "stacked_rows": [],
        }
    ]
    small["tray"] |= {"col_pitch_mm": 25, "row_pitch_mm": 25}
    small["line"] = small["starter"] = []
    small["colour"][2] = {"name": "rust brown", "srgb": "#8f4824", "stock": 5000}
    for colour in small["colour"]:
        colour["stock"] = 5000
    plan = _plan(planned())
    _assert_consistent(plan)

    # Light adds up, codes do not: mean of the squares of linear light (scikit-image has no such mean, so the
    # transfer function of IEC 61966-2-1 is spelled out), then the nearest of the four by CIEDE2000.
    codes = photograph / 255.0
    linear = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)
    mean = linear.reshape(40, 10, 60, 10, 3).mean(axis=(1, 3))
    encoded = np.where(mean <= 0.0031308, 12.92 * mean, 1.055 * mean ** (1 / 2.4) - 0.055)
    hexes = ["#1a2340", "#5a98c6", "#8f4824", "#f6eedc"]
    palette = np.array([[int(text[at : at + 2], 16) / 255 for at in (1, 3, 5)] for text in hexes])
    apart = color.deltaE_ciede2000(color.rgb2lab(encoded)[:, :, None], color.rgb2lab(palette)[None, None])
    wanted = apart.argmin(axis=2)[::-1]  # the picture's top lies ahead: its last row of pixels is row 0
    got = plan.standing.colour.reshape(40, 60)
    margin = np.sort(apart, axis=2)[::-1]
    clear = margin[..., 1] - margin[..., 0] > 0.3  # nearer calls hang on the lattice of colours
    assert clear.mean() > 0.95
    np.testing.assert_array_equal(got[clear], wanted[clear])
    assert plan.colour_error.mean == pytest.approx(apart.min(axis=2).mean(), abs=0.05)
    assert plan.colour_error.p95 == pytest.approx(np.percentile(apart.min(axis=2), 95), abs=0.1)


@pytest.mark.parametrize(
    ("up", "corner"),
    [
        # Where the picture's top left quarter stands, seen along the fall: (row half, column half).
        ("with_fall", (1, 0)),
        ("against_fall", (0, 1)),
        ("left", (0, 0)),
        ("right", (1, 1)),
    ],
)
def test_the_picture_lies_the_way_it_is_told(
    up: str, corner: tuple[int, int], small: dict[str, Any], job_folder: Path, planned: Planned
) -> None:
    picture = np.full((40, 40, 3), 250, np.uint8)
    picture[:20, :20] = (26, 35, 64)
    Image.fromarray(picture).save(job_folder / "quarter.png")
    small["field"] = [
        small["field"][0]
        | {
            "picture": "quarter.png",
            "columns": 20,
            "rows": 20,
            "col_pitch_mm": 25,
            "row_pitch_mm": 25,
            "picture_up": up,
        }
        | {"stacked_rows": []}
    ]
    small["tray"] |= {"col_pitch_mm": 25, "row_pitch_mm": 25}
    dark = _plan(planned()).standing
    dark_cells = (dark.colour == 0) & (dark.field == 0)
    wanted = {(corner[0] * 10 + row, corner[1] * 10 + col) for row in range(10) for col in range(10)}
    assert set(zip(dark.row[dark_cells].tolist(), dark.col[dark_cells].tolist(), strict=True)) == wanted


# ------------------------------------------------------------------ many parts at once


def test_two_fields_lines_transparency_and_a_second_layer(
    small: dict[str, Any], job_folder: Path, planned: Planned
) -> None:
    y, x = np.mgrid[0:80, 0:80]
    ring = np.hypot(x - 39.5, y - 39.5)
    rgba = np.stack([3 * x, 2 * y, 200 - x - y, np.where((ring < 36) & (ring > 12), 255, 0)], axis=-1).astype(
        np.uint8
    )
    Image.fromarray(rgba).save(job_folder / "ring.png")
    first = small["field"][0]
    small["field"] = [
        first | {"stacked_rows": [[0, 2], [10, 12]]},
        first
        | {
            "name": "ring",
            "picture": "ring.png",
            "columns": 33,
            "rows": 41,
            "corner_m": [4.6, 1.2],
            "fall_direction_deg": 117,
        }
        | {"stacked_rows": [[5, 30]], "fit": "whole"},
    ]
    small["colouring"]["budget"] = 5000
    plan = _plan(planned())
    _assert_consistent(plan)
    standing = plan.standing
    assert np.bincount(standing.field[standing.field >= 0]).tolist()[0] == 44 * 30 + 6 * 44
    ring_floor = (standing.field == 1) & (standing.layer == 0)
    # The ring fills pi (36^2 - 12^2) of its 80 x 80 pixels; whole pictures keep their proportion: 891 mm across
    # 33 columns, 902 mm along 41 rows, so 80 pixels span the narrower side and a cell is 80/33 x 80 x 22/891.
    cells = math.pi * (36**2 - 12**2) / ((80 / 33) * (80 * 22 / 891))
    assert ring_floor.sum() == pytest.approx(cells, rel=0.02)
    upper = (standing.field == 1) & (standing.layer == 1)
    in_range = ring_floor & (standing.row >= 5) & (standing.row <= 30)
    assert upper.sum() == in_range.sum()
    assert {KINDS[kind] for kind in plan.tiling.kind} == {"full", "edge", "holed"}
    notes = {finding.where: finding for finding in plan.findings if finding.code == "T503"}
    kinds = plan.tiling.kind[plan.tiling.field == 1]
    assert notes["field[1]"].value == int((kinds != KINDS.index("full")).sum())
    assert notes["field[1]"].limit == len(kinds)
    assert "field[0]" not in notes  # 44 x 30 is a whole multiple of 11 x 5


def test_lines_alone_need_no_field_and_no_tray(small: dict[str, Any], planned: Planned) -> None:
    for name in ("field", "tray", "camera", "starter"):
        del small[name]
    plan = _plan(planned())
    _assert_consistent(plan)
    assert len(plan.tiling) == 0 and plan.files == ()
    # 600 mm and a quarter of 500 mm are 1385.4 mm: 58 gaps, 59 dominoes. The split: 240 mm and on to (1.4, 0.2).
    assert (plan.standing.line == 0).sum() == 59
    summary = plan.summary()
    assert summary["tiles"] == 0 and summary["dominoes"] == len(plan.standing)
    assert summary["colour_error"]["mean"] == summary["colour_error"]["p95"] == 0.0


def test_lines_alone_that_are_short_buy_what_they_need(small: dict[str, Any], planned: Planned) -> None:
    for name in ("field", "tray", "starter"):
        del small[name]
    small["colour"][3]["stock"] = 10
    plan = _plan(planned())
    _assert_consistent(plan)
    assert plan.stock.to_buy.tolist() == [0, 0, 0, 500]


def test_a_field_seen_from_the_camera(small: dict[str, Any], planned: Planned) -> None:
    small["field"][0] |= {"seen_from_camera": True, "fit": "whole"}
    warped = _plan(planned())
    _assert_consistent(warped)
    small["field"][0]["seen_from_camera"] = False
    plain = _plan(planned())
    assert not np.array_equal(warped.standing.colour[:500], plain.standing.colour[:500])


@pytest.mark.parametrize("seed", range(24))
def test_random_briefs_keep_within_stock_and_slots(
    seed: int, small: dict[str, Any], job_folder: Path, planned: Planned
) -> None:
    rng = random.Random(seed)
    laid = rng.choice(["straight", "half_offset"])
    rows = rng.choice([2, 4, 6]) if laid == "half_offset" and rng.random() < 0.5 else rng.randint(1, 7)
    small["tray"] |= {
        "columns": rng.randint(1, 9),
        "rows": rows,
        "rows_laid": laid if rows > 1 else "straight",
    }
    pixels = np.random.default_rng(seed).integers(0, 256, (50, 50, 4)).astype(np.uint8)
    pixels[..., 3] = np.where(pixels[..., 3] < 40, 0, 255)
    Image.fromarray(pixels).save(job_folder / "noise.png")
    small["field"] = [
        small["field"][0]
        | {
            "name": f"field {n}",
            "picture": rng.choice(["picture.png", "noise.png"]),
            "columns": rng.randint(1, 40),
            "rows": rng.randint(1, 40),
            "rows_laid": laid,
            "corner_m": [1.5 + 2.5 * n, 2.5],
            "fall_direction_deg": rng.choice([0, 90, 180, 270, rng.uniform(-360, 360)]),
            "fit": rng.choice(["crop", "whole", "stretch"]),
            "picture_up": rng.choice(["with_fall", "against_fall", "left", "right"]),
            "dither_percent": rng.choice([0, 0, 100, 40]),
            "clean_specks": rng.random() < 0.4,
            "stacked_rows": [[0, 0]] if rng.random() < 0.5 else [],
        }
        for n in range(rng.randint(1, 2))
    ]
    small["line"], small["starter"] = [small["line"][0]], [small["starter"][0]]
    small["colouring"] |= {
        "metric": rng.choice(["ciede2000", "cie76", "oklab"]),
        "spares_percent": rng.choice([0, 3, 10, 33.3]),
        "purchase": rng.choice(["cheapest", "least_error"]),
        "budget": rng.choice([200, 500, 1000]),
    }
    for colour in small["colour"]:
        colour["stock"] = rng.choice([0, 60, 200, 500, 2000])
        colour["pack_price"] = rng.choice([1, 7.5, 20])
    outcome = planned()
    assert {f.code for f in outcome.findings if f.grade == "blocks"} <= {"C305", "P208"}
    if not outcome.blocked:
        assert outcome.plan is not None
        _assert_consistent(outcome.plan)
        if not any(field["dither_percent"] or field["clean_specks"] for field in small["field"]):
            assert outcome.plan.colour_error.total == outcome.plan.colour_error.bound


# ------------------------------------------------------------------ what cannot be done, progress, repetition


def test_short_stock_gives_the_balance_and_no_plan(small: dict[str, Any], planned: Planned) -> None:
    small["colouring"]["purchase"] = "none"
    for colour in small["colour"]:
        colour["stock"] = 100
    outcome = planned()
    assert outcome.blocked and outcome.plan is None and outcome.stock is not None
    assert outcome.stock.used_fields.sum() == 0
    # 44 x 30 cells, two stacked rows of 44, and the lines' dominoes are asked for.
    assert outcome.stock.wished.sum() == 44 * 30 + 88 + outcome.stock.used_lines.sum()


def test_an_overlap_gives_the_best_partial_plan_and_blocks(small: dict[str, Any], planned: Planned) -> None:
    del small["line"][1]
    small["line"][0] |= {"start_m": [0.6, 1.8], "path": [{"straight_mm": 1200}]}
    outcome = planned()
    assert outcome.blocked and outcome.plan is not None and outcome.plan.blocked
    assert outcome.findings[0].code == "S402"


def test_progress_is_told_and_ctrl_c_in_it_stops_the_work(small: dict[str, Any], write_brief: Write) -> None:
    told: list[tuple[int, int, str]] = []
    commission = standfall.read_brief(write_brief(small), lambda *step: told.append(step))
    standfall.plan(commission, lambda *step: told.append(step))
    assert {"reading pictures", "averaging the picture", "tiles"} <= {what for _, _, what in told}
    assert all(0 <= done <= total and what for done, total, what in told)

    def stop(done: int, total: int, what: str) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        standfall.plan(commission, stop)


def test_the_summary_is_plain_data_with_the_promised_keys(planned: Planned) -> None:
    plan = _plan(planned())
    summary = plan.summary()
    assert set(summary) >= {"dominoes", "tiles", "colours", "colour_error", "mass_kg", "size_m"}
    assert all(set(entry) >= {"name", "used", "stock", "to_buy"} for entry in summary["colours"])
    assert set(summary["colour_error"]) >= {"mean", "p95", "metric"}
    assert sum(entry["used"] for entry in summary["colours"]) == summary["dominoes"]
    assert summary["mass_kg"] == pytest.approx(
        summary["dominoes"] * 8.5 / 1000, abs=0.0006
    )  # told to the gram


_PRINT_DIGEST = """
import sys
sys.path.insert(0, sys.argv[2])
import test_plan, standfall
print(test_plan.digest(standfall.plan(standfall.read_brief(sys.argv[1]))))
"""


def digest(outcome: Outcome) -> str:
    """Return a SHA-256 over every number of a plan and its findings."""
    plan = outcome.plan
    assert plan is not None
    mark = hashlib.sha256()
    for part in (plan.standing, plan.tiling, plan.stock):
        for column in columns_of(part):
            value = getattr(part, column.name)
            mark.update(column.name.encode())
            mark.update(
                f"{value.dtype}{value.shape}".encode() + value.tobytes()
                if isinstance(value, np.ndarray)
                else repr(value).encode()
            )
    mark.update(repr((plan.summary(), outcome.findings)).encode())
    return mark.hexdigest()


def test_the_same_brief_gives_the_same_bytes_in_other_processes(
    small: dict[str, Any], job_folder: Path, write_brief: Write
) -> None:
    from skimage import data

    Image.fromarray(data.coffee()).save(job_folder / "coffee.png")
    small["field"].append(
        small["field"][0]
        | {"name": "coffee", "picture": "coffee.png", "columns": 120, "rows": 90, "corner_m": [2.4, 1.5]}
        | {"dither_percent": 60, "clean_specks": True}
    )
    small["colouring"] |= {"budget": 2000, "purchase": "least_error"}
    path = write_brief(small)
    here = digest(standfall.plan(standfall.read_brief(path)))
    for hash_seed in ("1", "2"):
        run = subprocess.run(
            [sys.executable, "-c", _PRINT_DIGEST, str(path), str(Path(__file__).parent)],
            env=os.environ | {"PYTHONHASHSEED": hash_seed},
            capture_output=True,
            text=True,
            check=True,
            timeout=120,
        )
        assert run.stdout.strip() == here
