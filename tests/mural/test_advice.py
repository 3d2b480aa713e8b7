"""Advice: loads by hand, alike colours against colour-science, coarse pictures, cameras."""

from __future__ import annotations

import math
import warnings
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from standfall.brief import Brief, Camera, Colour, Domino, Field, Hall, Job
from standfall.mural.advice import (
    ALIKE_CIEDE2000,
    alike_colours,
    camera_of,
    coarse_picture,
    empty_field,
    floor_load,
    mean_load_pa,
    sight_faults,
)
from standfall.mural.field import place_field
from standfall.mural.palette import make_palette
from standfall.mural.picture import Picture

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour as colour_science


def _field(**keys: Any) -> Field:
    usual: dict[str, Any] = {
        "name": "mural",
        "picture": "p.png",
        "columns": 40,
        "rows": 30,
        "col_pitch_m": 0.027,
        "row_pitch_m": 0.022,
        "corner_m": (1.0, 1.0),
        "fall_direction_rad": math.pi / 2,
    }
    return Field(**(usual | keys))


def _brief(field: Field, floor_load_pa: float | None) -> Brief:
    return Brief(
        job=Job(name="mural"),
        hall=Hall(outline_m=((0.0, 0.0), (9.0, 0.0), (9.0, 9.0)), floor_load_pa=floor_load_pa),
        domino=Domino(height_m=0.048, width_m=0.024, thickness_m=0.0075, mass_kg=0.0085),
        colours=(Colour(name="ivory", srgb="#ffffff", stock=1),),
        fields=(field,),
    )


def test_mean_load_by_hand() -> None:
    # 8.5 g on 27 mm x 22 mm: 0.0085 kg x 9.80665 m/s2 / 0.000594 m2 = 140.33 Pa; twice that where stacked.
    assert mean_load_pa(_field(), 0.0085) == pytest.approx(140.33, abs=0.005)
    assert mean_load_pa(_field(stacked_rows=((0, 3),)), 0.0085) == pytest.approx(280.66, abs=0.01)


@pytest.mark.parametrize(("limit_pa", "warned"), [(None, False), (140.0, True), (140.4, False)])
def test_floor_load(limit_pa: float | None, warned: bool) -> None:
    findings = floor_load(_brief(_field(), limit_pa))
    assert [finding.code for finding in findings] == (["S409"] if warned else [])
    if warned:
        assert (findings[0].value, findings[0].limit) == (0.14, 0.14)


def test_alike_colours_are_those_within_the_limit() -> None:
    hexes = ["#1f5594", "#205695", "#5a98c6", "#f6eedc", "#f6eee2", "#f9c864"]
    palette = make_palette([Colour(name=f"colour {n}", srgb=text, stock=1) for n, text in enumerate(hexes)])
    apart = colour_science.delta_E(palette.lab[:, None], palette.lab[None], method="CIE 2000")
    wanted = {(a, b) for a in range(6) for b in range(a + 1, 6) if apart[a, b] < ALIKE_CIEDE2000}
    assert wanted == {(0, 1), (3, 4)}
    findings = alike_colours(palette)
    assert {finding.where for finding in findings} == {f"colour[{a}] and colour[{b}]" for a, b in wanted}
    assert findings[0].value == pytest.approx(apart[0, 1], abs=0.006)
    assert alike_colours(make_palette([Colour(name="ivory", srgb="#ffffff", stock=1)])) == []


@pytest.mark.parametrize(
    ("width", "height", "coarse"), [(40, 30, False), (39, 30, True), (1200, 1, False), (1, 1, True)]
)
def test_coarse_pictures(width: int, height: int, coarse: bool) -> None:
    findings = coarse_picture(Picture(np.zeros((height, width, 4), np.uint8)), _field(), 3)
    assert [(finding.code, finding.where) for finding in findings] == (
        [("P207", "field[3].picture")] if coarse else []
    )


def test_empty_fields() -> None:
    assert empty_field(np.array([[False, True]]), _field(), 0) == []
    assert [finding.code for finding in empty_field(np.zeros((3, 4), bool), _field(), 0)] == ["P208"]


def test_sight() -> None:
    camera = Camera(position_m=(1.5, 0.2, 3.0), aim_m=(1.5, 1.3, 0.0), focal_length_m=0.022)
    field = _field()
    assert sight_faults(camera, field, 1, place_field(field)) == []
    away = replace(camera, aim_m=(1.5, -5.0, 3.0))
    findings = sight_faults(away, field, 1, place_field(field))
    # All four corners lie behind a camera that looks the other way, level.
    assert [(finding.code, finding.where) for finding in findings] == [("S408", "field[1]")] * 4
    assert camera_of(camera).sensor_width_m == 0.036  # a full-frame sensor is 36 x 24 mm
