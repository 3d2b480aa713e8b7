"""Briefs whose keys are sound but whose pictures, places or stock are not."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from standfall.findings import Finding

Findings = Callable[[Path], list[Finding]]
Write = Callable[[dict[str, Any] | bytes], Path]


@pytest.fixture
def blocking(
    small: dict[str, Any], write_brief: Write, findings_of: Findings
) -> Callable[[], list[tuple[str, str]]]:
    """Return code and place of what blocks the small brief as it has been changed."""
    return lambda: [(f.code, f.where) for f in findings_of(write_brief(small)) if f.grade == "blocks"]


Blocking = Callable[[], list[tuple[str, str]]]


# ------------------------------------------------------------------ pictures


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("lost.png", "P201"),
        ("Picture.PNG", "P201"),
        ("folder", "P201"),
        (".", "P201"),
        ("x" * 300 + ".png", "P201"),
        ("../outside.png", "P202"),
        ("folder/../../outside.png", "P202"),
        ("link.png", "P202"),
        ("round.png", "P201"),
        ("words.txt", "P203"),
        ("words.png", "P203"),
        ("empty.png", "P203"),
        ("brief.toml", "P203"),
        ("cut.png", "P203"),
        ("reads.svg", "P205"),
    ],
)
def test_a_picture_that_is_not_there_or_is_none(
    name: str, code: str, small: dict[str, Any], job_folder: Path, blocking: Blocking, picture_bytes: bytes
) -> None:
    (job_folder.parent / "outside.png").write_bytes(picture_bytes)
    (job_folder / "folder").mkdir()
    (job_folder / "link.png").symlink_to(job_folder.parent / "outside.png")
    (job_folder / "round.png").symlink_to("round.png")
    for words in ("words.txt", "words.png"):
        (job_folder / words).write_text("a kingfisher over reeds")
    (job_folder / "empty.png").write_bytes(b"")
    (job_folder / "cut.png").write_bytes(picture_bytes[:60])
    (job_folder / "reads.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><image href="../outside.png" width="9" '
        'height="9"/></svg>'
    )
    if not (job_folder / "Picture.PNG").exists():  # on a file system that tells capitals apart
        small["field"][0]["picture"] = name
        assert blocking() == [(code, "field[0].picture")]


def test_an_absolute_path_and_a_link_inside_the_folder_are_allowed(
    small: dict[str, Any], job_folder: Path, blocking: Blocking, picture_bytes: bytes
) -> None:
    (job_folder.parent / "outside.png").write_bytes(picture_bytes)
    (job_folder / "inside.png").symlink_to("picture.png")
    for name in (str(job_folder.parent / "outside.png"), "inside.png", "./picture.png", "../job/picture.png"):
        small["field"][0]["picture"] = name
        assert blocking() == []


def test_each_field_is_told_about_its_own_picture_once(small: dict[str, Any], blocking: Blocking) -> None:
    first = small["field"][0]
    small["field"] = [
        first | {"picture": "lost.png"},
        first | {"name": "second", "corner_m": [3.0, 1.5], "picture": "gone.png"},
        first | {"name": "third", "corner_m": [4.5, 1.5], "picture": "gone.png"},
    ]
    assert [where for code, where in blocking() if code == "P201"] == ["field[0].picture", "field[1].picture"]


# ------------------------------------------------------------------ the floor


@pytest.mark.parametrize(
    "outline",
    [
        [[0, 0]],
        [[0, 0], [6, 0]],
        [[0, 0], [6, 0], [0, 0], [6, 0]],
        [[0, 0], [6, 5], [6, 0], [0, 5]],
        [[0, 0], [6, 0], [3, 0]],
    ],
)
def test_an_outline_that_is_no_floor(
    outline: list[list[float]], small: dict[str, Any], blocking: Blocking
) -> None:
    small["hall"]["outline_m"] = outline
    assert blocking() == [("S407", "hall.outline_m")]


@pytest.mark.parametrize(
    ("change", "inside"),
    [
        ({}, True),
        # 44 columns of 27 mm are 1.188 m wide, 30 rows of 22 mm 0.66 m deep; the hall is 6 x 5 m.
        ({"corner_m": [6 - 1.188, 4.34]}, True),
        ({"corner_m": [6 - 1.187, 4.34]}, False),
        ({"corner_m": [6 - 1.188, 4.341]}, False),
        ({"corner_m": [-0.001, 3]}, False),
        ({"corner_m": [1.188, 0.66], "fall_direction_deg": -90}, True),  # to the right is now to the left
        ({"corner_m": [1.187, 1], "fall_direction_deg": 270}, False),
        ({"corner_m": [3, 3], "fall_direction_deg": 45}, True),
        ({"corner_m": [0.2, 3], "fall_direction_deg": 135}, False),
    ],
)
def test_a_field_outside_the_hall(
    change: dict[str, Any], inside: bool, small: dict[str, Any], blocking: Blocking
) -> None:
    small["field"][0] |= change
    del small["line"], small["starter"]
    assert blocking() == ([] if inside else [("S403", "field[0]")])


@pytest.mark.parametrize("key", ["col_pitch_mm", "row_pitch_mm"])
def test_pitches_below_the_piece(key: str, small: dict[str, Any], blocking: Blocking) -> None:
    least = {"col_pitch_mm": 24, "row_pitch_mm": 7.5}[key]
    for pitch, wanted in ((least, []), (least - 0.1, [("S401", f"field[0].{key}")])):
        small["field"][0][key] = small["tray"][key] = pitch
        assert blocking() == wanted


def test_a_line_closer_than_its_pieces_are_thick(small: dict[str, Any], blocking: Blocking) -> None:
    del small["line"][1]
    small["line"][0] |= {"pitch_mm": 7.4, "path": [{"straight_mm": 600}]}
    assert ("S401", "line[0].pitch_mm") in blocking()
    small["line"][0] |= {"pitch_mm": 7.5}
    assert blocking() == []


# ------------------------------------------------------------------ lines


@pytest.mark.parametrize("path", [[{"to_m": [0.5, 0.5]}], [{"straight_mm": 23}], [{"to_m": [0.51, 0.5]}]])
def test_a_line_shorter_than_its_pitch(
    path: list[dict[str, Any]], small: dict[str, Any], blocking: Blocking
) -> None:
    small["line"] = [small["line"][0] | {"path": path}]
    assert blocking() == [("S405", "line[0]")]


def test_a_branch_leaving_beyond_the_end(small: dict[str, Any], blocking: Blocking) -> None:
    # The lead-in is 600 mm and a quarter of a circle of 500 mm long: 1385.398 mm.
    small["line"][1] |= {"path": [{"straight_mm": 240}], "branch_turn_deg": -90, "branch_aside_mm": -24}
    for at, wanted in ((1385.39, []), (1385.41, [("B106", "line[1].branch_at_mm")])):
        small["line"][1]["branch_at_mm"] = at
        assert blocking() == wanted


@pytest.mark.parametrize(
    ("radius_mm", "pitch_mm", "tight"),
    [
        # The inner edge of a 24 mm piece runs at radius R - 12; the neighbours' inner edges are
        # 2 (R - 12) tan(p / 2R) apart. R = 100, p = 24: 2 x 88 x tan(0.12) = 21.2 > 7.5 mm.
        (100, 24, False),
        (17.6, 24, False),  # 2 x 5.6 x tan(0.682) = 9.1 mm
        (16, 24, True),  # 2 x 4 x tan(0.75) = 7.45 mm
        (12, 24, True),  # turning on its own inner edge
        (5, 24, True),
        (100, 8, True),  # 2 x 88 x tan(0.04) = 7.04 mm
    ],
)
def test_arcs_too_tight(
    radius_mm: float, pitch_mm: float, tight: bool, small: dict[str, Any], blocking: Blocking
) -> None:
    # A whole number of pitches along the arc, so that nothing is evened, and not once round where it can be.
    turn_deg = max(1, int(5 * radius_mm / pitch_mm)) * pitch_mm / radius_mm * 180 / math.pi
    path = [{"arc_radius_mm": radius_mm, "turn_deg": turn_deg}]
    small["line"] = [small["line"][0] | {"pitch_mm": pitch_mm, "path": path}]
    assert (("S406", "line[0].path[0]") in blocking()) == tight


def test_a_line_outside_the_hall(small: dict[str, Any], blocking: Blocking) -> None:
    small["line"] = [small["line"][0] | {"start_m": [0.5, 0.0119], "path": [{"straight_mm": 240}]}]
    assert blocking() == [("S404", "line[0]")]  # half a piece of 24 mm reaches 0.1 mm over the wall
    small["line"][0]["start_m"] = [0.5, 0.012]
    assert blocking() == []


def test_a_line_through_a_field(small: dict[str, Any], blocking: Blocking) -> None:
    del small["line"][1]
    small["line"][0] |= {"start_m": [0.6, 1.8], "path": [{"straight_mm": 1200}]}
    assert blocking() == [("S402", "field 'mural' and line 'lead-in'")]


def test_two_fields_in_one_another(small: dict[str, Any], blocking: Blocking) -> None:
    del small["line"], small["starter"]
    small["field"].append(small["field"][0] | {"name": "second", "corner_m": [1.5, 1.61]})
    small["colour"][0]["stock"] = 9000
    assert blocking() == [("S402", "field 'mural' and field 'second'")]
    # Side by side the cells touch and the pieces do not: 44 x 27 mm = 1.188 m.
    small["field"][1]["corner_m"] = [2.188, 1.5]
    assert blocking() == []


def test_a_line_in_its_own_way(small: dict[str, Any], blocking: Blocking) -> None:
    # 892 mm in 38 gaps of 23.47 mm; the pieces on the way back stand 1200 mm less that, 2.8 mm from others.
    small["line"] = [
        small["line"][0] | {"path": [{"straight_mm": 600}, {"to_m": [0.808, 0.5]}]}  # there and back again
    ]
    assert blocking() == [("S402", "line 'lead-in'")]


def test_a_line_as_long_as_no_crew_could_lay(small: dict[str, Any], blocking: Blocking) -> None:
    small["line"] = [small["line"][0] | {"path": [{"arc_radius_mm": 1_000_000, "turn_deg": 36_000}]}]
    assert blocking() == [("B112", "line[0]")]


# ------------------------------------------------------------------ trays


@pytest.mark.parametrize(
    ("change", "wanted"),
    [
        ({"col_pitch_mm": 28}, [("T501", "field[0].col_pitch_mm")]),
        ({"row_pitch_mm": 21.9}, [("T501", "field[0].row_pitch_mm")]),
        ({"rows_laid": "half_offset"}, [("T501", "field[0].rows_laid")]),
        ({"rows_laid": "half_offset", "rows": 1}, []),
        ({"columns": 1000, "rows": 1}, []),
    ],
)
def test_trays_and_pitches(
    change: dict[str, Any], wanted: list[tuple[str, str]], small: dict[str, Any], blocking: Blocking
) -> None:
    small["tray"] |= change
    assert blocking() == wanted


@pytest.mark.parametrize("rows", [1, 2, 4, 5])
@pytest.mark.parametrize("turns", [[0], [180], [0, 180]])
def test_half_offset_fields_need_a_tray_that_fits_every_band(
    rows: int, turns: list[int], small: dict[str, Any], blocking: Blocking
) -> None:
    small["field"][0] |= {"rows_laid": "half_offset"}
    small["tray"] |= {"rows_laid": "half_offset", "rows": rows, "orientations_deg": turns}
    # With an odd number of rows above one, every second band begins on a shifted row and needs the other
    # turn. A single row of slots has no shift in it and fits anywhere.
    fits = rows % 2 == 0 or rows == 1 or len(turns) == 2
    assert blocking() == ([] if fits else [("T501", "field[0].rows_laid")])


# ------------------------------------------------------------------ stock


def _stock(small: dict[str, Any], *stock: int) -> None:
    for colour, count in zip(small["colour"], stock, strict=True):
        colour["stock"] = count


def test_stock_short_and_nothing_for_sale(small: dict[str, Any], blocking: Blocking) -> None:
    for colour in small["colour"]:
        colour.pop("pack_price", None)
    _stock(small, 300, 300, 300, 300)
    found = blocking()
    # Each 300 leave 291 (291 + 8.73 spares fit, 292 + 8.76 do not); 1408 are needed in the field.
    assert found[0] == ("C301", "colour")
    assert {code for code, _ in found} == {"C301"}


def test_lines_that_need_more_of_a_colour_than_there_is(small: dict[str, Any], blocking: Blocking) -> None:
    del small["colour"][3]["pack_price"]
    _stock(small, 2000, 2000, 2000, 10)
    assert blocking() == [("C302", "colour[3].stock")]


def test_a_budget_that_buys_too_little(small: dict[str, Any], blocking: Blocking) -> None:
    _stock(small, 100, 100, 100, 100)
    small["colouring"]["budget"] = 20
    assert ("C305", "colouring.budget") in blocking()


@pytest.mark.parametrize("purchase", ["cheapest", "least_error"])
def test_a_purchase_is_a_note_and_not_a_fault(
    purchase: str, small: dict[str, Any], write_brief: Write, findings_of: Findings
) -> None:
    _stock(small, 400, 400, 400, 100)
    small["colouring"] |= {"purchase": purchase, "budget": 120}
    findings = findings_of(write_brief(small))
    assert "C306" in {finding.code for finding in findings}
    assert not [finding for finding in findings if finding.grade == "blocks"]


def test_buying_nothing_when_told_so(small: dict[str, Any], blocking: Blocking) -> None:
    _stock(small, 400, 400, 400, 100)
    small["colouring"]["purchase"] = "none"
    assert {code for code, _ in blocking()} == {"C301"}


# ------------------------------------------------------------------ what is seen


@pytest.mark.parametrize(
    ("camera", "sees"),
    [
        ({}, True),
        ({"aim_m": [1.6, -5.0, 3.0]}, False),  # away from the field
        ({"position_m": [1.6, 1.8, 3.0], "aim_m": [1.6, 1.8, 9.0]}, False),  # up at the roof
        ({"position_m": [1.6, 1.8, 3.0], "aim_m": [1.6, 1.8, 0.0]}, True),  # straight down
    ],
)
def test_a_camera_that_cannot_see_the_field(
    camera: dict[str, Any], sees: bool, small: dict[str, Any], blocking: Blocking
) -> None:
    small["camera"] |= camera
    small["field"][0]["seen_from_camera"] = True
    found = blocking()
    assert bool(found) != sees
    assert set(found) <= {("S408", "field[0]")}
    small["field"][0]["seen_from_camera"] = False  # then nothing is warped for it
    assert blocking() == []


def test_a_picture_without_a_single_opaque_pixel(
    small: dict[str, Any], job_folder: Path, blocking: Blocking
) -> None:
    from PIL import Image

    Image.new("RGBA", (20, 20), (255, 0, 0, 0)).save(job_folder / "clear.png")
    small["field"][0]["picture"] = "clear.png"
    assert blocking() == [("P208", "field[0].picture")]


def test_warnings_let_the_plan_stand(
    small: dict[str, Any], job_folder: Path, write_brief: Write, findings_of: Findings
) -> None:
    from PIL import Image

    # 8.5 g on 27 x 22 mm is 8.5e-3 x 9.80665 / 5.94e-4 = 140.3 Pa, 280.7 Pa where stacked; ten pixels for
    # 1320 cells; two blues a hair apart.
    Image.new("RGB", (5, 2), (90, 150, 200)).save(job_folder / "coarse.png")
    small["field"][0]["picture"] = "coarse.png"
    small["hall"]["floor_load_kpa"] = 0.28
    small["colour"].append(small["colour"][1] | {"name": "lake blue again", "srgb": "#5b98c6"})
    findings = findings_of(write_brief(small))
    assert {"P207", "S409", "C304"} <= {finding.code for finding in findings}
    assert not [finding for finding in findings if finding.grade == "blocks"]
    load = next(finding for finding in findings if finding.code == "S409")
    assert load.value == pytest.approx(0.281, abs=5e-4)
    small["hall"]["floor_load_kpa"] = 0.281
    assert "S409" not in {finding.code for finding in findings_of(write_brief(small))}
