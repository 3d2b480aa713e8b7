"""What is written is what is read: every attribute, every bit."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import fields, replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from book_plan import brief_text, make_plan_by_hand
from comparison import assert_same_plan, run_child
from hypothesis import given, settings
from hypothesis import strategies as st

from standfall.book import read_build, write_build
from standfall.book.columns import STANDING_COLUMNS, STOCK_COLUMNS, TILING_COLUMNS
from standfall.findings import make_finding
from standfall.mural.colouring import ColourError
from standfall.mural.standing import Standing
from standfall.mural.stock import StockTable
from standfall.planning.plan import PictureFile, Plan
from standfall.tiles import Tiling


def written_and_read(plan: Plan) -> Plan:
    with TemporaryDirectory() as folder:
        return read_build(write_build(plan, Path(folder) / "a.build"))


def test_plan_comes_back() -> None:
    plan = make_plan_by_hand()
    assert len(plan.tiling) == 18
    assert_same_plan(written_and_read(plan), plan)


def test_every_attribute_is_stored() -> None:
    # Whoever adds an attribute to one of these must add its column, or plans would come back without it.
    cuts = ["cut_rows", "cut_cols"]
    assert [field.name for field in fields(Standing)] == list(STANDING_COLUMNS)
    assert [field.name for field in fields(Tiling)] == [*TILING_COLUMNS, *cuts]
    assert [field.name for field in fields(StockTable)] == list(STOCK_COLUMNS)
    assert [field.name for field in fields(ColourError)] == [
        *("metric", "mean", "p95", "total", "bound", "specks_removed", "specks_left")
    ]
    assert [field.name for field in fields(PictureFile)] == ["name", "sha256", "data"]
    assert [field.name for field in fields(Plan)] == [
        *("brief", "text", "files", "palette", "standing", "tiling", "stock", "colour_error", "findings"),
        "routes",
    ]


@pytest.mark.parametrize("text", ["\ufeff" + brief_text(), brief_text().replace("\n", "\r\n")])
def test_brief_comes_back_letter_for_letter(text: str) -> None:
    plan = make_plan_by_hand(text)
    assert written_and_read(plan).text == plan.text


def test_build_of_a_line_alone() -> None:
    text = brief_text()
    text = text[: text.index("[tray]")] + text[text.index("[[line]]") :]
    whole = make_plan_by_hand()
    keep = whole.standing.line >= 0
    plan = replace(
        whole,
        text=text.encode(),
        brief=replace(whole.brief, fields=(), tray=None),
        files=(),
        standing=Standing(**{name: getattr(whole.standing, name)[keep] for name in STANDING_COLUMNS}),
        tiling=Tiling(
            **{name: getattr(whole.tiling, name)[:0] for name in TILING_COLUMNS}, cut_rows=(), cut_cols=()
        ),
    )
    assert_same_plan(written_and_read(plan), plan)


def test_negative_zero_comes_back_as_zero() -> None:
    plan = make_plan_by_hand()
    y_m = plan.standing.y_m.copy()
    y_m[3] = -0.0
    back = written_and_read(replace(plan, standing=replace(plan.standing, y_m=y_m)))
    assert back.standing.y_m[3] == 0.0
    assert not np.signbit(back.standing.y_m[3])


def test_progress_runs_from_nothing_to_all(tmp_path: Path) -> None:
    plan = make_plan_by_hand(brief_text(250, 200, (10, 10)))
    calls: list[tuple[int, int, str]] = []
    write_build(plan, tmp_path / "a.build", lambda *call: calls.append(call))
    total = len(plan.standing)
    assert calls[0] == (0, total, "writing dominoes")
    assert calls[-1] == (total, total, "writing dominoes")
    assert len(calls) >= 3
    assert [done for done, _, _ in calls] == sorted(done for done, _, _ in calls)


def integers(kind: type, least: int | None = None, most: int | None = None) -> st.SearchStrategy[int]:
    bounds = np.iinfo(kind)
    return st.integers(bounds.min if least is None else least, bounds.max if most is None else most)


# Any place within a million kilometres, subnormal numbers included; negative zero has its own test.
NUMBERS = st.floats(-1e9, 1e9).map(lambda number: number + 0.0)
WORDS = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
VALUES = st.one_of(st.none(), WORDS, st.integers(-(2**63), 2**63 - 1), NUMBERS)


@st.composite
def plans(draw: st.DrawFn) -> Plan:
    """Any arrays that hold together, whether or not dominoes could stand like that."""
    base = make_plan_by_hand()
    n, m, k = draw(st.integers(0, 12)), draw(st.integers(0, 4)), len(base.palette)

    def column(strategy: st.SearchStrategy[float], kind: type, length: int) -> np.ndarray:
        return np.array(draw(st.lists(strategy, min_size=length, max_size=length)), dtype=kind)

    in_field = column(st.booleans(), np.bool_, n)
    limits = {"colour": (0, k - 1), "tile": (0, m), "slot_row": (-1, None), "slot_col": (-1, None)}
    standing = {
        name: column(
            NUMBERS if kind is np.float64 else integers(kind, *limits.get(name, (None, None))), kind, n
        )
        for name, kind in STANDING_COLUMNS.items()
        if name not in ("field", "line")
    }
    standing["field"] = np.where(in_field, 0, -1).astype(np.int16)
    standing["line"] = np.where(in_field, -1, 0).astype(np.int16)
    choices = {"field": st.just(0), "turn_deg": st.sampled_from((0, 180)), "kind": st.integers(0, 2)}
    tiling = {
        name: column(NUMBERS if kind is np.float64 else choices.get(name, integers(kind)), kind, m)
        for name, kind in TILING_COLUMNS.items()
    }
    counts = {name: column(integers(np.int32), kind, k) for name, kind in STOCK_COLUMNS.items()}
    found = draw(
        st.lists(st.builds(make_finding, st.just("P206"), WORDS, WORDS, value=VALUES, next_step=WORDS))
    )
    return replace(
        base,
        standing=Standing(**standing),
        tiling=Tiling(**tiling, cut_rows=(draw(st.integers(0, 99)),), cut_cols=(draw(st.integers(0, 99)),)),
        stock=StockTable(**counts),
        colour_error=ColourError("oklab", draw(NUMBERS), draw(NUMBERS), draw(integers(np.int64)), 0, 1, 2),
        findings=tuple(found),
    )


@settings(max_examples=40, deadline=None)
@given(plans())
def test_any_plan_comes_back(plan: Plan) -> None:
    assert_same_plan(written_and_read(plan), plan)


def test_same_plan_same_bytes(tmp_path: Path) -> None:
    files = []
    for name in ("one", "two"):
        folder = tmp_path / name
        folder.mkdir()
        files.append(write_build(make_plan_by_hand(), folder / f"{name}.build"))
        write_build(make_plan_by_hand(picture=b"another"), files[-1])
    assert files[0].read_bytes() == files[1].read_bytes()


def test_same_bytes_from_another_process(tmp_path: Path) -> None:
    here = write_build(make_plan_by_hand(), tmp_path / "here.build")
    # Another process has another hash seed, so sets and dictionaries of texts run in another order.
    script = (
        "import sys, json, pathlib, book_plan, standfall.book\n"
        "standfall.book.write_build(book_plan.make_plan_by_hand(), pathlib.Path(sys.argv[1]))\n"
        "print(json.dumps('done'))"
    )
    assert run_child(script, tmp_path / "there.build") == "done"
    assert here.read_bytes() == (tmp_path / "there.build").read_bytes()


def test_one_file_in_rollback_mode_with_sound_references(tmp_path: Path) -> None:
    path = write_build(make_plan_by_hand(), tmp_path / "a.build")
    assert [entry.name for entry in tmp_path.iterdir()] == ["a.build"]
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA journal_mode").fetchone() == ("delete",)
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
        assert connection.execute("PRAGMA page_size").fetchone() == (4096,)
        strict = connection.execute(
            "SELECT name FROM pragma_table_list WHERE schema = 'main' AND type = 'table' AND NOT strict"
        )
        assert [name for (name,) in strict if not name.startswith("sqlite_")] == []


def test_number_at_the_bytes_that_tools_look_at(tmp_path: Path) -> None:
    # SQLite file format, section 1.3: user version at byte 60, application id at byte 68, big-endian.
    data = write_build(make_plan_by_hand(), tmp_path / "a.build").read_bytes()
    assert data[60:64] == (3).to_bytes(4, "big")
    assert data[68:72] == b"STFL"
