"""The exported tables, read again by programs that are not ours."""

from __future__ import annotations

import csv
import os
from dataclasses import replace
from decimal import ROUND_HALF_EVEN, Decimal
from pathlib import Path
from typing import Literal

import numpy as np
import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet
import pytest
from book_fall import make_prediction_by_hand, nothing_falls
from book_plan import LINE_DOMINOES, brief_text, make_plan_by_hand
from comparison import contents
from hypothesis import example, given, settings
from hypothesis import strategies as st

from standfall.book import StoredFall, export_tables
from standfall.book.csv_file import without_negative_zero
from standfall.book.stored_fall import stored_fall
from standfall.findings import FileFault
from standfall.planning.plan import Plan

DOMINO_HEADINGS = (
    *("id", "x_m", "y_m", "yaw_rad", "colour", "field", "row", "col", "tile", "slot_row", "slot_col"),
    *("layer", "line", "z_m"),
)
TILE_HEADINGS = (
    *("tile", "x_m", "y_m", "yaw_rad", "order", "robot", "field", "turn_deg", "first_row", "first_col"),
    *("dominoes", "kind"),
)
AWKWARD = ('rust, "old"', "it's; blue\\", "–grün 緑")
METRES = ("x_m", "y_m", "z_m")


@pytest.fixture(scope="module")
def plan() -> Plan:
    """A plan with names that need quoting and coordinates that would be written as negative zeros."""
    plan = make_plan_by_hand(brief_text(colours=AWKWARD, field='a "field", say', line="line, 1"))
    x_m, yaw_rad = plan.standing.x_m.copy(), plan.standing.yaw_rad.copy()
    x_m[:3] = (-0.0, -4e-7, -6e-7)
    yaw_rad[:3] = (-0.0, -4e-10, -6e-10)
    return replace(plan, standing=replace(plan.standing, x_m=x_m, yaw_rad=yaw_rad))


def expected_names(plan: Plan) -> dict[str, list[str | None]]:
    standing, brief = plan.standing, plan.brief
    return {
        "colour": [brief.colours[number].name for number in standing.colour],
        "field": [brief.fields[number].name if number >= 0 else None for number in standing.field],
        "line": [brief.lines[number].name if number >= 0 else None for number in standing.line],
    }


def exact(number: float, decimals: int) -> str:
    """Round as IEEE 754 says a conversion to decimal should: exactly, a half to even; no negative zero."""
    value = Decimal(number).quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_EVEN)
    return f"{abs(value) if value == 0 else value:f}"


def test_csv_read_by_the_csv_module(plan: Plan, tmp_path: Path) -> None:
    dominoes, tiles = export_tables(plan, tmp_path, "csv")
    assert (dominoes, tiles) == (tmp_path / "dominoes.csv", tmp_path / "tiles.csv")
    with dominoes.open(encoding="utf-8", newline="") as file:
        headings, *rows = csv.reader(file, strict=True)
    assert tuple(headings) == DOMINO_HEADINGS
    columns = dict(zip(headings, zip(*rows, strict=True), strict=True))
    for name, names in expected_names(plan).items():
        assert list(columns[name]) == [text or "" for text in names]
    for name in METRES:
        assert list(columns[name]) == [exact(number, 6) for number in getattr(plan.standing, name)]
    assert list(columns["yaw_rad"]) == [exact(number, 9) for number in plan.standing.yaw_rad]
    assert [int(number) for number in columns["id"]] == list(range(len(plan.standing)))
    for name in ("row", "col", "tile", "slot_row", "slot_col", "layer"):
        assert [int(number) for number in columns[name]] == getattr(plan.standing, name).tolist()
    with tiles.open(encoding="utf-8", newline="") as file:
        headings, *rows = csv.reader(file, strict=True)
    assert tuple(headings) == TILE_HEADINGS
    columns = dict(zip(headings, zip(*rows, strict=True), strict=True))
    assert set(columns["field"]) == {'a "field", say'}
    assert list(columns["x_m"]) == [exact(number, 6) for number in plan.tiling.x_m]
    assert list(columns["yaw_rad"]) == [exact(number, 9) for number in plan.tiling.yaw_rad]
    assert list(columns["kind"]) == [("full", "edge", "holed")[number] for number in plan.tiling.kind]
    # Without routes there is no order and nobody who lays.
    assert set(columns["order"]) == {"0"}
    assert set(columns["robot"]) == {""}
    for name in ("turn_deg", "first_row", "first_col", "dominoes"):
        assert [int(number) for number in columns[name]] == getattr(plan.tiling, name).tolist()


def test_csv_by_the_letter_of_rfc_4180(plan: Plan, tmp_path: Path) -> None:
    data = export_tables(plan, tmp_path, "csv")[0].read_bytes()
    lines = data.split(b"\r\n")
    # Section 2, rules 1 to 3: CR LF after each line, here after the last too, and a header line.
    assert lines[-1] == b""
    assert lines[0] == ",".join(DOMINO_HEADINGS).encode()
    assert len(lines) == 1 + len(plan.standing) + 1
    assert b"\n" not in data.replace(b"\r\n", b"")
    # Rules 6 and 7: fields with commas or quotes in quotes, quotes doubled; others are left bare.
    assert lines[1].split(b",", 4)[4].startswith(b'"rust, ""old""","a ""field"", say",0,0,')
    assert b"it's; blue\\," in lines[2]
    assert "–grün 緑".encode() in data
    assert not data.startswith(b"\xef\xbb\xbf")


def test_csv_read_by_pyarrow(plan: Plan, tmp_path: Path) -> None:
    path = export_tables(plan, tmp_path, "csv")[0]
    table = pyarrow.csv.read_csv(path, convert_options=pyarrow.csv.ConvertOptions(strings_can_be_null=True))
    assert table.schema.field("x_m").type == pa.float64()
    assert table.schema.field("tile").type == pa.int64()
    for name in METRES:
        difference = table[name].to_numpy() - getattr(plan.standing, name)
        # Half of the last decimal, and room for the rounding of the sum itself.
        assert np.abs(difference).max() <= 0.5e-6 + 1e-14
    for name, names in expected_names(plan).items():
        assert table[name].to_pylist() == names


def test_no_negative_zero_anywhere(plan: Plan, tmp_path: Path) -> None:
    for path in export_tables(plan, tmp_path, "csv"):
        assert "-0.000000," not in path.read_text(encoding="utf-8")
    text = (tmp_path / "dominoes.csv").read_text(encoding="utf-8").splitlines()
    assert [line.split(",")[1] for line in text[1:4]] == ["0.000000", "0.000000", "-0.000001"]
    assert [line.split(",")[3] for line in text[1:4]] == ["0.000000000", "0.000000000", "-0.000000001"]


@settings(max_examples=200, deadline=None)
@given(st.floats(allow_nan=False, allow_infinity=False), st.integers(0, 12))
@example(-5e-7, 6)
@example(float(np.nextafter(-5e-7, -1)), 6)
@example(-5e-10, 9)
@example(float(np.nextafter(-5e-10, 0)), 9)
@example(-0.0, 6)
def test_negative_zero_and_nothing_else_is_changed(number: float, decimals: int) -> None:
    (kept,) = without_negative_zero(np.array([number]), decimals)
    text = f"{number:.{decimals}f}"
    assert f"{kept:.{decimals}f}" == (text.removeprefix("-") if float(text) == 0 else text)


def test_parquet_read_by_pyarrow(plan: Plan, tmp_path: Path) -> None:
    dominoes, tiles = export_tables(plan, tmp_path, "parquet")
    table = pyarrow.parquet.read_table(dominoes)
    assert tuple(table.column_names) == DOMINO_HEADINGS
    for name in (*METRES, "yaw_rad"):
        assert table[name].to_numpy().tobytes() == getattr(plan.standing, name).tobytes()
    for name in ("row", "col", "tile", "slot_row", "slot_col", "layer"):
        assert table[name].to_numpy().dtype == getattr(plan.standing, name).dtype
        assert table[name].to_pylist() == getattr(plan.standing, name).tolist()
    for name, names in expected_names(plan).items():
        assert pa.types.is_dictionary(table.schema.field(name).type)
        assert table[name].to_pylist() == names
    assert table["line"].null_count == len(plan.standing) - LINE_DOMINOES
    table = pyarrow.parquet.read_table(tiles)
    assert tuple(table.column_names) == TILE_HEADINGS
    assert table["kind"].to_pylist() == [("full", "edge", "holed")[number] for number in plan.tiling.kind]
    assert table["y_m"].to_numpy().tobytes() == plan.tiling.y_m.tobytes()


def test_parquet_carries_units(plan: Plan, tmp_path: Path) -> None:
    for path in export_tables(plan, tmp_path, "parquet"):
        schema = pyarrow.parquet.read_schema(path)
        units = {field.name: field.metadata.get(b"unit") for field in schema}
        for name, unit in units.items():
            ending = (
                {"m": b"m", "rad": b"rad", "deg": b"deg"}.get(name.rpartition("_")[2])
                if "_" in name
                else None
            )
            assert unit == ending
        assert all(field.metadata[b"about"] for field in schema)
        assert not any(field.nullable for field in schema if not pa.types.is_dictionary(field.type))


FALL_HEADINGS = (
    *("id", "struck_s", "omega_rad_s", "speed_m_s", "striker", "starter", "backward", "margin", "down_s"),
    *("state", "stood"),
)
FRACTIONS = ("struck_s", "omega_rad_s", "speed_m_s", "margin", "down_s")


@pytest.fixture(scope="module")
def fall(plan: Plan) -> StoredFall:
    """A fall with a starter whose name needs quoting and a time that would be a negative zero."""
    prediction = make_prediction_by_hand(plan)
    down_s = prediction.fall.down_s.copy()
    down_s[0] = -0.0
    starters = (replace(prediction.starters[0], name='a "bell", struck'), prediction.starters[1])
    return stored_fall(replace(prediction, fall=replace(prediction.fall, down_s=down_s), starters=starters))


def expected_starters(fall: StoredFall) -> list[str | None]:
    names = {-1: None, 0: 'a "bell", struck', 2: "a finger"}
    return [names[number] for number in fall.fall.starter.tolist()]


def test_fall_as_csv(plan: Plan, fall: StoredFall, tmp_path: Path) -> None:
    paths = export_tables(plan, tmp_path, "csv", fall=fall)
    assert [path.name for path in paths] == ["dominoes.csv", "tiles.csv", "fall.csv"]
    with paths[2].open(encoding="utf-8", newline="") as file:
        headings, *rows = csv.reader(file, strict=True)
    assert tuple(headings) == FALL_HEADINGS
    columns = dict(zip(headings, zip(*rows, strict=True), strict=True))
    for name in FRACTIONS:
        numbers = getattr(fall.fall, name).tolist()
        assert list(columns[name]) == ["" if np.isnan(number) else exact(number, 6) for number in numbers]
        assert "" in columns[name]
    assert columns["down_s"][0] == "0.000000"
    assert list(columns["starter"]) == [name or "" for name in expected_starters(fall)]
    # What becomes of each five: test_fall_round_trip, "what the rows say".
    states = ["fallen", "fallen", "stalled", "fallen", "untouched"]
    assert list(columns["state"]) == (states * 43)[:211]
    assert list(columns["striker"][:6]) == ["-1", "0", "1", "2", "-2", "-1"]
    assert [int(number) for number in columns["backward"]] == fall.fall.backward.astype(int).tolist()
    assert [int(number) for number in columns["id"]] == list(range(211))
    assert list(columns["stood"][:6]) == ["0", "1", "2", "3", "4", "0"]


def test_fall_as_parquet(plan: Plan, fall: StoredFall, tmp_path: Path) -> None:
    path = export_tables(plan, tmp_path, "parquet", fall=fall)[2]
    table = pyarrow.parquet.read_table(path)
    assert tuple(table.column_names) == FALL_HEADINGS
    for name in FRACTIONS:
        numbers = getattr(fall.fall, name)
        assert table[name].null_count == np.isnan(numbers).sum() > 0
        assert table[name].to_pylist() == [None if np.isnan(number) else number for number in numbers]
    for name in ("striker", "backward", "stood"):
        assert table.schema.field(name).nullable is False
    assert table["striker"].to_pylist() == fall.fall.striker.tolist()
    assert table["starter"].to_pylist() == expected_starters(fall)
    assert table["state"].to_pylist() == [
        ("untouched", "fallen", "stalled")[state] for state in fall.fall.state
    ]
    units = {field.name: field.metadata.get(b"unit") for field in table.schema}
    assert {name: unit for name, unit in units.items() if unit} == {
        "struck_s": b"s",
        "omega_rad_s": b"rad/s",
        "speed_m_s": b"m/s",
        "down_s": b"s",
    }
    assert all(field.metadata[b"about"] for field in table.schema)


@pytest.mark.parametrize("kind", ["csv", "parquet"])
def test_fall_without_starters_and_trials(
    plan: Plan, tmp_path: Path, kind: Literal["csv", "parquet"]
) -> None:
    path = export_tables(plan, tmp_path, kind, fall=stored_fall(nothing_falls(plan)))[2]
    table = pyarrow.csv.read_csv(path) if kind == "csv" else pyarrow.parquet.read_table(path)
    assert set(table["state"].to_pylist()) == {"untouched"}
    assert set(table["striker"].to_pylist()) == {-2}
    assert set(table["stood"].to_pylist()) == {-1}
    assert table["struck_s"].null_count == 211


def test_fall_of_another_plan_is_not_exported(fall: StoredFall, tmp_path: Path) -> None:
    with pytest.raises(ValueError, match=r"fall.struck_s is float64 of shape"):
        export_tables(make_plan_by_hand(brief_text(rows=4)), tmp_path / "tables", "csv", fall=fall)
    assert not (tmp_path / "tables").exists()


def test_older_fall_stays_when_none_is_exported(plan: Plan, fall: StoredFall, tmp_path: Path) -> None:
    export_tables(plan, tmp_path, "csv", fall=fall)
    before = contents(tmp_path)
    assert len(export_tables(plan, tmp_path, "csv")) == 2
    assert contents(tmp_path) == before


@pytest.mark.parametrize("kind", ["csv", "parquet"])
def test_same_plan_same_bytes(plan: Plan, tmp_path: Path, kind: Literal["csv", "parquet"]) -> None:
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        export_tables(plan, tmp_path / name, kind)
    assert contents(tmp_path / "one") == contents(tmp_path / "two")
    # Over an earlier export likewise.
    export_tables(make_plan_by_hand(), tmp_path / "one", kind)
    assert contents(tmp_path / "one") != contents(tmp_path / "two")
    export_tables(plan, tmp_path / "one", kind)
    assert contents(tmp_path / "one") == contents(tmp_path / "two")


@pytest.mark.parametrize("kind", ["csv", "parquet"])
def test_many_steps(tmp_path: Path, kind: Literal["csv", "parquet"]) -> None:
    # More rows than one step or row group holds.
    plan = make_plan_by_hand(brief_text(350, 300, (10, 10)))
    calls: list[tuple[int, int, str]] = []
    path = export_tables(plan, tmp_path, kind, lambda *call: calls.append(call))[0]
    read = pyarrow.csv.read_csv if kind == "csv" else pyarrow.parquet.read_table
    table = read(path)
    assert table["id"].to_pylist() == list(range(len(plan.standing)))
    assert table["col"].to_pylist() == plan.standing.col.tolist()
    total = len(plan.standing) + len(plan.tiling)
    assert calls[0] == (0, total, f"writing dominoes.{kind}")
    assert calls[-1] == (total, total, f"writing tiles.{kind}")
    assert [done for done, _, _ in calls] == sorted(done for done, _, _ in calls)


@pytest.mark.parametrize("kind", ["csv", "parquet"])
def test_nothing_to_export_but_headings(plan: Plan, tmp_path: Path, kind: Literal["csv", "parquet"]) -> None:
    standing = replace(plan.standing, **{name: column[:0] for name, column in vars(plan.standing).items()})
    path = export_tables(replace(plan, standing=standing), tmp_path, kind)[0]
    read = pyarrow.csv.read_csv if kind == "csv" else pyarrow.parquet.read_table
    assert read(path).num_rows == 0
    assert tuple(read(path).column_names) == DOMINO_HEADINGS


@pytest.mark.parametrize("kind", ["csv", "parquet"])
@pytest.mark.parametrize("stop", [0, 1, 2])
def test_ctrl_c_leaves_whole_files(
    plan: Plan, tmp_path: Path, kind: Literal["csv", "parquet"], stop: int
) -> None:
    export_tables(make_plan_by_hand(), tmp_path, kind)
    before = contents(tmp_path)
    calls = 0

    def progress(_done: int, _total: int, _what: str) -> None:
        nonlocal calls
        calls += 1
        if calls > stop:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        export_tables(plan, tmp_path, kind, progress)
    after = contents(tmp_path)
    assert after.keys() == before.keys()
    assert after[f"tiles.{kind}"] == before[f"tiles.{kind}"]
    # The first file is told about twice, before and after its rows; then it stands.
    assert (after[f"dominoes.{kind}"] == before[f"dominoes.{kind}"]) == (stop < 2)


def test_folder_is_made(plan: Plan, tmp_path: Path) -> None:
    paths = export_tables(plan, tmp_path / "several" / "tables", "csv")
    assert all(path.is_file() for path in paths)


def test_faults(plan: Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(FileFault, match=r"file: cannot be made: a file of that name is in the way"):
        export_tables(plan, tmp_path / "file", "csv")
    with pytest.raises(FileFault, match=r"tables: cannot be made: a part of the path is a file"):
        export_tables(plan, tmp_path / "file" / "tables", "csv")
    (tmp_path / "file").unlink()
    with pytest.raises(ValueError, match="csv or parquet"):
        export_tables(plan, tmp_path, "xlsx")  # type: ignore[arg-type]
    (tmp_path / "dominoes.parquet").mkdir()
    with pytest.raises(FileFault, match=r"dominoes\.parquet: cannot be written"):
        export_tables(plan, tmp_path, "parquet")
    monkeypatch.setattr(os, "replace", _no_permission)
    with pytest.raises(FileFault, match="no permission"):
        export_tables(plan, tmp_path, "csv")
    assert [entry.name for entry in tmp_path.iterdir()] == ["dominoes.parquet"]


def _no_permission(*_arguments: object) -> None:
    raise PermissionError(13, "Permission denied")
