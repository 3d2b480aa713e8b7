"""Advice: what a lead should look at before building, field by field and colour by colour."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from standfall.brief import Brief, Field
from standfall.brief import Camera as CameraSection
from standfall.brief.unit import KPA
from standfall.findings import Finding, make_finding
from standfall.mural.camera import Camera, camera_faults
from standfall.mural.difference import ciede2000
from standfall.mural.field import FieldPlace
from standfall.mural.palette import Palette
from standfall.mural.picture import Picture

# Standard gravity, 3rd CGPM (1901), also ISO 80000-3.
GRAVITY_M_S2 = 9.80665
# Colours closer than this are easily swapped by a tired crew in poor light
# (common practice, no source; about twice the difference seen side by side).
ALIKE_CIEDE2000 = 5.0


def camera_of(section: CameraSection) -> Camera:
    """Return the camera of a brief."""
    return Camera(
        position_m=np.array(section.position_m),
        aim_m=np.array(section.aim_m),
        focal_length_m=section.focal_length_m,
        sensor_width_m=section.sensor_width_m,
        sensor_height_m=section.sensor_height_m,
    )


def sight_faults(section: CameraSection, field: Field, number: int, place: FieldPlace) -> list[Finding]:
    """Find out whether the camera sees the field it is to be warped for."""
    return [
        make_finding(
            "S408",
            f"field[{number}]",
            f"the camera cannot see field {field.name!r} whole: {fault}",
            value=fault,
            limit="all corners in front of the camera",
            next_step="Move or turn the camera, or take a shorter focal length.",
        )
        for fault in camera_faults(camera_of(section), place.corners_m())
    ]


def coarse_picture(picture: Picture, field: Field, number: int) -> list[Finding]:
    """Find pictures with fewer pixels than the field has cells."""
    cells, pixels = field.columns * field.rows, picture.width_px * picture.height_px
    if pixels >= cells:
        return []
    return [
        make_finding(
            "P207",
            f"field[{number}].picture",
            "the picture has fewer pixels than the field has cells; edges will show steps",
            value=f"{picture.width_px} x {picture.height_px} pixels",
            limit=f"{field.columns} x {field.rows} cells",
            next_step="Use a larger picture, or an SVG.",
        )
    ]


def empty_field(present: NDArray[np.bool_], field: Field, number: int) -> list[Finding]:
    """Find fields in which no domino would stand."""
    if present.any():
        return []
    return [
        make_finding(
            "P208",
            f"field[{number}].picture",
            f"the picture is transparent everywhere in field {field.name!r}",
            value=0,
            limit="one domino or more",
            next_step="Check the picture's transparency, or lower min_cover_percent.",
        )
    ]


def alike_colours(palette: Palette) -> list[Finding]:
    """Find pairs of colours a crew will mix up."""
    first, second = np.triu_indices(len(palette), k=1)
    apart = ciede2000(palette.lab[first], palette.lab[second])
    return [
        make_finding(
            "C304",
            f"colour[{first[pair]}] and colour[{second[pair]}]",
            f"{palette.names[first[pair]]!r} and {palette.names[second[pair]]!r} are hard to tell apart",
            value=round(float(apart[pair]), 2),
            limit=ALIKE_CIEDE2000,
            next_step="Keep their boxes apart and marked, or drop one of the two.",
        )
        for pair in np.flatnonzero(apart < ALIKE_CIEDE2000)
    ]


def mean_load_pa(field: Field, mass_kg: float) -> float:
    """Return the even load of a fully set field on the floor, where it is stacked twice that.

    One domino on each cell: mass x g / (column pitch x row pitch).
    """
    layers = 2 if field.stacked_rows else 1
    return layers * mass_kg * GRAVITY_M_S2 / (field.col_pitch_m * field.row_pitch_m)


def floor_load(brief: Brief) -> list[Finding]:
    """Find fields heavier than the floor may carry."""
    limit_pa = brief.hall.floor_load_pa
    if limit_pa is None:
        return []
    return [
        make_finding(
            "S409",
            f"field[{number}]",
            f"field {field.name!r} loads the floor by more than hall.floor_load_kpa",
            value=round(KPA.from_si(mean_load_pa(field, brief.domino.mass_kg)), 3),
            limit=KPA.from_si(limit_pa),
            next_step="Ask a structural engineer; widen the pitches or leave out the second layer.",
        )
        for number, field in enumerate(brief.fields)
        if mean_load_pa(field, brief.domino.mass_kg) > limit_pa
    ]
