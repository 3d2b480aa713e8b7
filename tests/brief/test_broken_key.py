"""Briefs with one or several faulty keys: each fault is found, named, and found only once."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from standfall.findings import Finding

Findings = Callable[[Path], list[Finding]]
Write = Callable[[dict[str, Any] | bytes], Path]
Edit = Callable[[dict[str, Any]], Any]
Wanted = list[tuple[str, str]]


def put(value: Any, *path: str | int) -> Edit:
    """Set the value at a path of keys and places."""

    def edit(data: dict[str, Any]) -> None:
        inner: Any = data
        for step in path[:-1]:
            inner = inner[step]
        inner[path[-1]] = value

    return edit


def drop(*path: str | int) -> Edit:
    """Remove what is at a path of keys and places."""

    def edit(data: dict[str, Any]) -> None:
        inner: Any = data
        for step in path[:-1]:
            inner = inner[step]
        del inner[path[-1]]

    return edit


def both(*edits: Edit) -> Edit:
    def edit(data: dict[str, Any]) -> None:
        for one in edits:
            one(data)

    return edit


F, L, C = ("field", 0), ("line", 0), ("colour", 0)

CASES: dict[str, tuple[Edit, Wanted]] = {
    # a key or section that is not there, or that nobody knows
    "job missing": (drop("job"), [("B104", "job")]),
    "hall missing": (drop("hall"), [("B104", "hall")]),
    "domino missing": (drop("domino"), [("B104", "domino")]),
    "no colour": (both(put([], "colour"), drop("line"), drop("starter")), [("B106", "colour")]),
    "mass missing": (drop("domino", "mass_g"), [("B104", "domino.mass_g")]),
    "tray missing": (drop("tray"), [("B104", "tray")]),
    "neither field nor line": (
        both(drop("field"), drop("line"), drop("starter")),
        [("B104", "field")],
    ),
    "near miss of a key": (
        both(drop(*F, "columns"), put(44, *F, "colums")),
        [("B103", "field[0].colums"), ("B104", "field[0].columns")],
    ),
    "near miss of a section": (put({}, "colourin"), [("B103", "colourin")]),
    "unknown key far from any": (put(1, "job", "zzzz"), [("B103", "job.zzzz")]),
    "unknown section": (put([{}], "loader"), [("B103", "loader")]),
    # a value of the wrong kind
    "text for a number": (put("44", *F, "columns"), [("B105", "field[0].columns")]),
    "fraction for a whole number": (put(44.0, *F, "columns"), [("B105", "field[0].columns")]),
    "number for a text": (put(7, "job", "name"), [("B105", "job.name")]),
    "true for a number": (put(True, "domino", "width_mm"), [("B105", "domino.width_mm")]),
    "true for a whole number": (put(True, *F, "rows"), [("B105", "field[0].rows")]),
    "true in a list of numbers": (put([True, 1], *F, "corner_m"), [("B105", "field[0].corner_m")]),
    "number for true or false": (put(1, *F, "clean_specks"), [("B105", "field[0].clean_specks")]),
    "one number of two": (put([1.0], *F, "corner_m"), [("B105", "field[0].corner_m")]),
    "four numbers of three": (put([1, 2, 3, 4], "camera", "aim_m"), [("B105", "camera.aim_m")]),
    "table for a list": (put({}, "field"), [("B105", "field")]),
    "list for a table": (put([{}], "hall"), [("B105", "hall")]),
    "text for a section": (put("x", "tray"), [("B105", "tray")]),
    "list with a number among sections": (put([1], "line"), [("B105", "line")]),
    "flat outline": (put([0, 0, 5, 5], "hall", "outline_m"), [("B105", "hall.outline_m")]),
    "ranges with fractions": (put([[0.0, 1.0]], *F, "stacked_rows"), [("B105", "field[0].stacked_rows")]),
    "no colours for a line": (put([], *L, "colours"), [("B105", "line[0].colours")]),
    "numbers for colour names": (put([1], *L, "colours"), [("B105", "line[0].colours")]),
    "colour name in place of hex": (put("red", *C, "srgb"), [("B105", "colour[0].srgb")]),
    "short hex": (put("#123", *C, "srgb"), [("B105", "colour[0].srgb")]),
    "no path": (put([], *L, "path"), [("B106", "line[0].path")]),
    # a number outside its bounds
    "negative": (put(-48, "domino", "height_mm"), [("B106", "domino.height_mm")]),
    "zero": (put(0, "domino", "mass_g"), [("B106", "domino.mass_g")]),
    "not a number": (put(math.nan, *F, "row_pitch_mm"), [("B106", "field[0].row_pitch_mm")]),
    "infinite": (put(math.inf, "camera", "focal_length_mm"), [("B106", "camera.focal_length_mm")]),
    "infinite in a list": (put([0, -math.inf], *F, "corner_m"), [("B106", "field[0].corner_m")]),
    "whole number of 40 digits": (put(10**40, *C, "stock"), [("B106", "colour[0].stock")]),
    "negative stock": (put(-1, *C, "stock"), [("B106", "colour[0].stock")]),
    "no columns": (put(0, *F, "columns"), [("B106", "field[0].columns")]),
    "absurd columns": (put(20_001, *F, "columns"), [("B106", "field[0].columns")]),
    "absurd field": (
        both(put(20_000, *F, "columns"), put(20_000, *F, "rows")),
        [("B112", "field"), ("S403", "field[0]")],
    ),
    "length too small to be meant": (put(5e-324, *F, "col_pitch_mm"), [("B106", "field[0].col_pitch_mm")]),
    "pitch of a line too small to be meant": (put(1e-320, *L, "pitch_mm"), [("B106", "line[0].pitch_mm")]),
    "radius too small to be meant": (
        put(1e-310, *L, "path", 1, "arc_radius_mm"),
        [("B106", "line[0].path[1].arc_radius_mm")],
    ),
    "cover too small to be meant": (
        put(1e-12, *F, "min_cover_percent"),
        [("B106", "field[0].min_cover_percent")],
    ),
    "lightness above white": (put([101, 0, 0], "colour", 2, "lab"), [("B106", "colour[2].lab")]),
    "crop centre outside the picture": (
        put([0.5, 1.5], *F, "crop_centre"),
        [("B106", "field[0].crop_centre")],
    ),
    "stacked rows backwards": (put([[9, 3]], *F, "stacked_rows"), [("B106", "field[0].stacked_rows")]),
    "stacked rows beyond the last": (put([[0, 30]], *F, "stacked_rows"), [("B106", "field[0].stacked_rows")]),
    "stacked rows below the first": (put([[-1, 3]], *F, "stacked_rows"), [("B106", "field[0].stacked_rows")]),
    "stacked rows twice": (put([[0, 5], [5, 9]], *F, "stacked_rows"), [("B106", "field[0].stacked_rows")]),
    # words, texts and names
    "no such fit": (put("squeeze", *F, "fit"), [("B107", "field[0].fit")]),
    "capitals of a choice": (put("Crop", *F, "fit"), [("B107", "field[0].fit")]),
    "tray across the fall": (put([0, 90], "tray", "orientations_deg"), [("B107", "tray.orientations_deg")]),
    "no orientation": (put([], "tray", "orientations_deg"), [("B107", "tray.orientations_deg")]),
    "an orientation twice": (put([0, 0], "tray", "orientations_deg"), [("B107", "tray.orientations_deg")]),
    "blank name": (put("  ", "job", "name"), [("B108", "job.name")]),
    "long name": (put("k" * 81, "job", "name"), [("B108", "job.name")]),
    "very long name": (put("k" * 100_000, *F, "name"), [("B108", "field[0].name")]),
    "name with a line break": (put("king\nfisher", *F, "name"), [("B108", "field[0].name")]),
    "name with an escape": (put("\x1b[31mred", "job", "name"), [("B108", "job.name")]),
    "name that turns the writing round": (put("a\u202eb", "job", "place"), [("B108", "job.place")]),
    "two colours of one name": (
        both(put("Ivory ", *C, "name"), put([], "line"), drop("starter")),
        [("B109", "colour[3].name")],
    ),
    "two fields of one name": (
        lambda data: data["field"].append(data["field"][0] | {"corner_m": [3.0, 1.5]}),
        [("B109", "field[1].name")],
    ),
    "two lines of one name": (put("lead-in", "line", 1, "name"), [("B109", "line[1].name")]),
    "no such colour": (put(["ivry"], *L, "colours"), [("B110", "line[0].colours")]),
    "no such line": (put("leadin", "line", 1, "branch_of"), [("B110", "line[1].branch_of")]),
    "a line branching off itself": (put("split", "line", 1, "branch_of"), [("B110", "line[1].branch_of")]),
    "a branch before its line": (lambda data: data["line"].reverse(), [("B110", "line[0].branch_of")]),
    # keys that contradict each other
    "srgb and lab": (put([50, 0, 0], *C, "lab"), [("B111", "colour[0]")]),
    "neither srgb nor lab": (drop(*C, "srgb"), [("B111", "colour[0]")]),
    "least error without a budget": (
        both(put("least_error", "colouring", "purchase"), drop("colouring", "budget")),
        [("B111", "colouring.budget")],
    ),
    "two starts": (put([0.5, 0.5], "line", 1, "start_m"), [("B111", "line[1]")]),
    "branch with a direction": (
        put(0, "line", 1, "start_direction_deg"),
        [("B111", "line[1].start_direction_deg")],
    ),
    "branch keys without a branch": (put(90, *L, "branch_turn_deg"), [("B111", "line[0]")]),
    "no start": (drop(*L, "start_m"), [("B111", "line[0]")]),
    "no direction": (drop(*L, "start_direction_deg"), [("B111", "line[0].start_direction_deg")]),
    "straight and arc in one": (put(100, *L, "path", 1, "straight_mm"), [("B111", "line[0].path[1]")]),
    "empty part of a path": (put({}, *L, "path", 1), [("B111", "line[0].path[1]")]),
    "arc without a turn": (drop(*L, "path", 1, "turn_deg"), [("B111", "line[0].path[1]")]),
    "arc that turns by nothing": (put(0, *L, "path", 1, "turn_deg"), [("B111", "line[0].path[1]")]),
    "turn without an arc": (put(9, *L, "path", 0, "turn_deg"), [("B111", "line[0].path[0]")]),
    "camera aims at itself": (put([1.6, 0.1, 3.0], "camera", "aim_m"), [("B111", "camera.aim_m")]),
    "camera under the floor": (
        put([1.6, 0.1, -3.0], "camera", "position_m"),
        [("B106", "camera.position_m")],
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_a_faulty_key_is_the_only_fault_found(
    case: str, small: dict[str, Any], write_brief: Write, findings_of: Findings
) -> None:
    edit, wanted = CASES[case]
    edit(small)
    found = [(f.code, f.where) for f in findings_of(write_brief(small)) if f.grade == "blocks"]
    assert sorted(found) == sorted(wanted)


@pytest.mark.parametrize(
    ("edit", "step"),
    [
        (put(44, *F, "colums"), "Did you mean field[0].columns?"),
        (put(1, "domino", "width"), "Did you mean domino.width_mm?"),
        (put({}, "paper"), "Did you mean papers?"),
        (put(["ivry"], *L, "colours"), "Did you mean 'ivory'?"),
        (put("leadin", "line", 1, "branch_of"), "Did you mean 'lead-in'?"),
    ],
)
def test_near_misses_are_suggested(
    edit: Edit, step: str, small: dict[str, Any], write_brief: Write, findings_of: Findings
) -> None:
    edit(small)
    assert step in [finding.next_step for finding in findings_of(write_brief(small))]


def test_overflowing_float_is_not_finite(
    small: dict[str, Any],
    to_toml: Callable[[dict[str, Any]], bytes],
    write_brief: Write,
    findings_of: Findings,
) -> None:
    text = to_toml(small).replace(b'"mass_g" = 8.5', b'"mass_g" = 1e400')
    assert b"1e400" in text
    (finding,) = (f for f in findings_of(write_brief(text)) if f.grade == "blocks")
    assert (finding.code, finding.where, finding.value) == ("B106", "domino.mass_g", "inf")


@pytest.mark.parametrize("place", ['"stock" = 900', '"outline_m" = [[0, 0]'])
def test_a_whole_number_of_thousands_of_digits(
    place: str,
    small: dict[str, Any],
    to_toml: Callable[[dict[str, Any]], bytes],
    write_brief: Write,
    findings_of: Findings,
) -> None:
    # Hexadecimal, since Python reads no decimal number that long; it does not write one out either.
    huge = place.replace("900", "0x" + "f" * 5000).replace("[[0, 0]", "[[0x" + "f" * 5000 + ", 0]")
    text = to_toml(small).replace(place.encode(), huge.encode(), 1)
    (finding,) = (f for f in findings_of(write_brief(text)) if f.grade == "blocks")
    assert finding.code == "B106"
    assert len(str(finding.value)) < 100


def test_a_faulty_budget_is_not_also_missing(
    small: dict[str, Any], write_brief: Write, findings_of: Findings
) -> None:
    small["colouring"] |= {"purchase": "least_error", "budget": "500"}
    found = [(f.code, f.where) for f in findings_of(write_brief(small)) if f.grade == "blocks"]
    assert found == [("B105", "colouring.budget")]


def test_many_faults_are_told_in_one_go(
    small: dict[str, Any], write_brief: Write, findings_of: Findings
) -> None:
    for edit in (
        put("", "job", "name"),
        put([[0, 0], [6, 5], [6, 0], [0, 5]], "hall", "outline_m"),
        put(-1, "domino", "mass_g"),
        put("squeeze", *F, "fit"),
        put(1, *F, "colums"),
        put("lost.png", *F, "picture"),
        put(["ivry"], *L, "colours"),
        put([], "tray", "orientations_deg"),
        put(-3, "colour", 1, "stock"),
        drop("camera", "aim_m"),
    ):
        edit(small)
    found = {(f.code, f.where) for f in findings_of(write_brief(small))}
    assert found >= {
        ("B108", "job.name"),
        ("S407", "hall.outline_m"),
        ("B106", "domino.mass_g"),
        ("B107", "field[0].fit"),
        ("B103", "field[0].colums"),
        ("B110", "line[0].colours"),
        ("B107", "tray.orientations_deg"),
        ("B106", "colour[1].stock"),
        ("B104", "camera.aim_m"),
    }


def test_places_are_checked_while_keys_are_mended(
    small: dict[str, Any], write_brief: Write, findings_of: Findings
) -> None:
    small["job"] = {}
    small["field"][0] |= {"corner_m": [5.0, 1.5], "picture": "lost.png"}
    small["line"][0]["start_m"] = [-0.5, 0.5]
    found = [(f.code, f.where) for f in findings_of(write_brief(small)) if f.grade == "blocks"]
    assert found[0] == ("B104", "job.name")
    assert {("S403", "field[0]"), ("P201", "field[0].picture"), ("S404", "line[0]")} <= set(found)


@pytest.mark.parametrize(
    "name", ["[red]x[/red]", "[/red]", "[bold", "kingfisher \U0001f426", ":bird:", "Eisv\u00f6gel", "翠鳥"]
)
def test_odd_but_printable_names_are_names(
    name: str, small: dict[str, Any], write_brief: Write, findings_of: Findings
) -> None:
    small["job"]["name"] = small["field"][0]["name"] = small["line"][1]["name"] = name
    small["starter"][1]["field"] = small["starter"][1]["waits_for"] = small["starter"][5]["name"] = name
    small["colour"][0]["name"] = small["line"][0]["colours"][1] = name
    small["job"]["currency"] = name[:8]
    assert [f for f in findings_of(write_brief(small)) if f.grade == "blocks"] == []


@pytest.mark.parametrize("name", ["[/red]", ":bird:", "kingfisher \U0001f426"])
def test_odd_names_in_findings_are_shown_as_they_are(
    name: str,
    small: dict[str, Any],
    write_brief: Write,
    findings_of: Findings,
    capsys: pytest.CaptureFixture[str],
) -> None:
    from standfall.cli.entry import _run

    small["field"][0] |= {"name": name, "corner_m": [9, 9]}
    small["starter"][1]["field"] = name
    small[name] = 1
    path = write_brief(small)
    found = findings_of(path)
    assert {(f.code, f.where) for f in found} >= {("B103", name), ("S403", "field[0]")}
    capsys.readouterr()
    _run(["check", str(path)], as_json=False)
    assert capsys.readouterr().out.count(name) >= 3
