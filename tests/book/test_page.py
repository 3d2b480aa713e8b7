"""docs/build-file.md against the real schema, both ways, and its examples against a real file."""

from __future__ import annotations

import json
import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet
import pytest
from book_fall import make_prediction_by_hand
from book_plan import make_plan_by_hand
from book_routes import plan_with_routes

from standfall.book import APPLICATION_ID, FORMAT_VERSION, export_tables, write_build, write_fall
from standfall.book.stored_fall import stored_fall
from standfall.routes.trip import PHASES

PAGE = (Path(__file__).parents[2] / "docs" / "build-file.md").read_text(encoding="utf-8")
Described = dict[str, list[tuple[str, str]]]


@pytest.fixture(scope="module")
def connection(tmp_path_factory: pytest.TempPathFactory) -> Iterator[sqlite3.Connection]:
    plan = make_plan_by_hand()
    path = write_build(plan, tmp_path_factory.mktemp("page") / "a.build")
    write_fall(make_prediction_by_hand(plan), plan, path)
    with closing(sqlite3.connect(path)) as connection:
        yield connection


def section(heading: str) -> str:
    """Return the text under a heading of the second level."""
    return re.split(r"^## ", PAGE.split(f"\n## {heading}\n", 1)[1], maxsplit=1, flags=re.MULTILINE)[0]


def described(heading: str) -> Described:
    """Return name -> [(column, type)] of all tables described under a heading."""
    tables = {}
    for part in section(heading).split("\n### ")[1:]:
        name, body = part.split("\n", 1)
        first = body[body.index("| column |") :].split("\n\n", 1)[0]
        cells = [[cell.strip() for cell in line.split("|")] for line in first.splitlines()[2:]]
        assert all(len(row) == 6 and row[4] for row in cells), f"a row of {name} lacks its meaning"
        tables[name.strip("`")] = [(row[1].strip("`"), row[2]) for row in cells]
    return tables


def real(connection: sqlite3.Connection, kind: str) -> Described:
    names = connection.execute("SELECT name FROM sqlite_master WHERE type = ?", (kind,)).fetchall()
    return {
        name: connection.execute("SELECT name, type FROM pragma_table_xinfo(?)", (name,)).fetchall()
        for (name,) in names
        if not name.startswith("sqlite_")
    }


def test_tables_and_views_with_all_their_columns(connection: sqlite3.Connection) -> None:
    assert described("Tables") == real(connection, "table")
    assert described("Views") == real(connection, "view")


def test_indexes(connection: sqlite3.Connection) -> None:
    names = connection.execute(
        "SELECT name FROM sqlite_master WHERE type = 'index' AND sql IS NOT NULL"
    ).fetchall()
    assert [f"`{name}`" for (name,) in names] == re.findall(r"The only index, (`\w+`)", PAGE)


def test_pragmas(connection: sqlite3.Connection) -> None:
    rows = re.findall(r"^\| `(\w+)` \| (\d+) \|", section("Numbers it is known by"), re.MULTILINE)
    assert [name for name, _ in rows] == ["application_id", "user_version", "page_size"]
    for name, number in rows:
        assert connection.execute(f"PRAGMA {name}").fetchone() == (int(number),)
    assert [int(number) for _, number in rows[:2]] == [APPLICATION_ID, FORMAT_VERSION]
    assert f"0x{APPLICATION_ID:08X}" in PAGE


def test_keys_of_meta(connection: sqlite3.Connection) -> None:
    part = PAGE.split("| key | unit | value |\n", 1)[1].split("\n\n", 1)[0]
    listed = re.findall(r"^\| `(\w+)` \|", part, re.MULTILINE)
    assert listed == [key for (key,) in connection.execute("SELECT key FROM meta ORDER BY key")]


def test_every_word_in_code_letters_exists(connection: sqlite3.Connection) -> None:
    """A name in backticks that looks like one of the schema is one of the schema (or of the list below)."""
    known = {
        "application_id",
        "user_version",
        "page_size",
        "domino_of_tile",
        "dominoes",
        "tiles",
        "unit",
        "about",
    }
    for tables in (real(connection, "table"), real(connection, "view"), described("Exported tables")):
        for name, columns in tables.items():
            known |= {name, *(column for column, _ in columns)}
    known |= {key for (key,) in connection.execute("SELECT key FROM meta")}
    # Keys of the JSON objects in the digests.
    known |= {"colours", "findings", "pictures", "ground", "starters", "trial", "seams"}
    known |= {"floor", "models", "robots", "routes", "order"}
    # Keys of robots.json, which has its own test.
    known |= set(listed_keys())
    known |= {
        "height_m",
        "width_m",
        "thickness_m",
        "drive",
        "turn_centre_m",
        "parts",
        "outline_m",
        "bottom_m",
    }
    # Part of a file's name, a key of the brief, and how names of columns begin.
    known |= {"lowered_bottom_m", "over_mm", "json", "stand_"}
    text = re.sub(r"```.*?```", "", PAGE, flags=re.DOTALL)
    words = {
        word for word in re.findall(r"`([^`]+)`", text) if re.fullmatch(r"[a-z][a-z0-9_]*(\.[a-z_]+)?", word)
    }
    assert {part for word in words for part in word.split(".")} - known == set()


def test_examples_give_what_the_page_shows(connection: sqlite3.Connection) -> None:
    examples = re.findall(r"```sql\n(.*?)```\n\n```text\n(.*?)```", PAGE, re.DOTALL)
    assert len(examples) == 3
    for query, shown in examples:
        answer = connection.execute(query)
        lines = [[column[0] for column in answer.description], *answer.fetchall()]
        assert "".join("|".join(map(str, line)) + "\n" for line in lines) == shown


def test_examples_are_right() -> None:
    """What the examples show, counted again without SQL."""
    plan = make_plan_by_hand()
    names = [plan.palette.names[number] for number in plan.standing.colour]
    for name in plan.palette.names:
        assert f"\n{name}|{names.count(name)}\n" in PAGE
    chosen = [
        id_ for id_ in range(len(names)) if plan.standing.tile[id_] == 17 and plan.standing.layer[id_] == 0
    ]
    assert len(chosen) == 12
    slots = sorted((plan.standing.slot_row[id_], plan.standing.slot_col[id_], id_) for id_ in chosen)
    assert "".join(f"{row}|{col}|{id_}|{names[id_]}\n" for row, col, id_ in slots) in PAGE
    # The line is dominoes 206 to 210. Of each five from 5 k the third stalls, the fifth stands; domino k is
    # struck k / 128 s after the start, so 206 at 1.609375 s.
    shown = "206|1.609|fallen\n207|1.617|stalled\n208|1.625|fallen\n209|None|untouched\n210|1.641|fallen\n"
    assert shown in PAGE


def test_exported_tables(tmp_path: Path) -> None:
    columns = {}
    plan = plan_with_routes()
    fall = stored_fall(make_prediction_by_hand(plan))
    for path in export_tables(plan, tmp_path, "parquet", fall=fall):
        if path.suffix == ".json":
            continue
        schema = pyarrow.parquet.read_schema(path)
        columns[path.stem] = [(field.name, _word(field.type)) for field in schema]
    assert described("Exported tables") == columns


def listed_keys() -> list[str]:
    part = section("Replaying the routes").split("| key | unit | value |\n", 1)[1].split("\n\n", 1)[0]
    return re.findall(r"^\| `(\w+)` \|", part, re.MULTILINE)


def test_keys_of_the_file_of_robots(tmp_path: Path) -> None:
    export_tables(plan_with_routes(), tmp_path, "csv")
    content = json.loads((tmp_path / "robots.json").read_text(encoding="utf-8"))
    assert sorted(listed_keys()) == sorted(content)
    words = section("Replaying the routes")
    for holder in (content["domino"], content["robots"][0], content["robots"][0]["parts"][0]):
        assert all(f"`{key}`" in words for key in holder)


def test_phases(tmp_path: Path) -> None:
    listed = re.search(r"Phases are ([a-z, \n]+) and (\w+)\.", PAGE)
    assert listed is not None
    assert (*re.split(r",\s+", listed[1]), listed[2]) == PHASES


def _word(kind: pa.DataType) -> str:
    return "string" if pa.types.is_dictionary(kind) else str(kind)
