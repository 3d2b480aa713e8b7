"""Files that are not ours, too new, or damaged; and names that would trip a careless program."""

from __future__ import annotations

import os
import random
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from book_plan import brief_text, make_plan_by_hand
from comparison import assert_same_plan, contents

import standfall.book.reader
import standfall.book.schema
from standfall.book import read_build, write_build
from standfall.findings import FileFault, make_finding

PLAN = make_plan_by_hand()
NEXT = make_plan_by_hand(picture=b"another")


def database(*statements: str) -> Callable[[Path], None]:
    def make(path: Path) -> None:
        with closing(sqlite3.connect(path)) as connection, connection:
            for statement in statements:
                connection.execute(statement)

    return make


FOREIGN: dict[str, tuple[Callable[[Path], object], str]] = {
    "empty": (Path.touch, "it is empty .K601."),
    "text": (lambda path: path.write_text("[job]\nname = 'a brief'\n"), "no SQLite database .K601."),
    "short": (lambda path: path.write_bytes(b"SQLite"), "no SQLite database .K601."),
    "database": (database("CREATE TABLE meta (key, value)"), "of another kind .K601."),
    "marked": (database("PRAGMA application_id = 252006673", "CREATE TABLE t (a)"), "of another kind .K601."),
    "folder": (Path.mkdir, "it is a folder, not a build file .K601."),
}


@pytest.mark.parametrize("kind", FOREIGN)
def test_foreign_file(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "a.build"
    make, words = FOREIGN[kind]
    make(path)
    before = path.read_bytes() if path.is_file() else None
    with pytest.raises(FileFault, match=words):
        read_build(path)
    with pytest.raises(FileFault, match=f"{words}.*left as it is: choose another name"):
        write_build(PLAN, path)
    assert [entry.name for entry in tmp_path.iterdir()] == ["a.build"]
    assert (path.read_bytes() if path.is_file() else None) == before


@pytest.mark.skipif(os.name == "nt", reason="POSIX pipe")
def test_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "a.build")
    with pytest.raises(FileFault, match="device or pipe"):
        read_build(tmp_path / "a.build")
    with pytest.raises(FileFault, match="device or pipe"):
        write_build(PLAN, tmp_path / "a.build")


def test_newer_version(tmp_path: Path) -> None:
    path = write_build(PLAN, tmp_path / "a.build")
    database("PRAGMA user_version = 4")(path)
    before = contents(tmp_path)
    for action in (lambda: read_build(path), lambda: write_build(NEXT, path)):
        with pytest.raises(FileFault, match=r"format 4.*up to 3.*newer version of the program \(K601\)"):
            action()
    assert contents(tmp_path) == before


def test_missing(tmp_path: Path) -> None:
    with pytest.raises(FileFault, match=r"a\.build: cannot be read: there is no such file"):
        read_build(tmp_path / "a.build")
    with pytest.raises(FileFault, match=r"a\.build: cannot be written: there is no such file or folder"):
        write_build(PLAN, tmp_path / "nowhere" / "a.build")
    (tmp_path / "file").touch()
    with pytest.raises(FileFault, match="a part of the path is a file"):
        write_build(PLAN, tmp_path / "file" / "a.build")
    assert list(contents(tmp_path)) == ["file"]


def test_truncated(tmp_path: Path) -> None:
    whole = write_build(PLAN, tmp_path / "whole.build").read_bytes()
    path = tmp_path / "a.build"
    for length in (1, 15, 16, 99, 100, 4095, 4096, len(whole) // 2, len(whole) - 4096, len(whole) - 1):
        path.write_bytes(whole[:length])
        before = contents(tmp_path)
        words = "damaged: its end is missing" if length == len(whole) - 1 else r"a\.build: "
        with pytest.raises(FileFault, match=words):
            read_build(path)
        with pytest.raises(FileFault, match=r"a\.build: "):
            write_build(NEXT, path)
        assert contents(tmp_path) == before


def test_flipped_bits_are_noticed_or_harmless(tmp_path: Path) -> None:
    """Flip one bit at a time: the file is refused, or the plan is the same. Nothing else ever comes out."""
    plan = make_plan_by_hand(brief_text(50, 40, (10, 10)))
    whole = write_build(plan, tmp_path / "whole.build").read_bytes()
    path = tmp_path / "a.build"
    dice = random.Random(5)
    refused = 0
    # All over the header, and anywhere.
    places = [*range(16, 100, 3), *(dice.randrange(len(whole)) for _ in range(150))]
    for place in places:
        data = bytearray(whole)
        data[place] ^= 1 << dice.randrange(8)
        path.write_bytes(data)
        try:
            back = read_build(path)
        except FileFault as fault:
            assert str(path) in str(fault)
            refused += 1
        else:
            assert_same_plan(back, plan)
    # The rest fell on the unused part of a page, on a counter of SQLite's, or on words beside the plan.
    assert refused > len(places) // 3


@pytest.mark.parametrize("word", [b"CREATE TABLE plan", b"table", b"mural", b"hard to tell"])
def test_text_that_is_not_utf8(tmp_path: Path, word: bytes) -> None:
    path = tmp_path / "a.build"
    plan = replace(PLAN, text=PLAN.text + b"# mural")
    data = write_build(plan, path).read_bytes()
    assert word in data
    path.write_bytes(data.replace(word, word[:-1] + b"\x88"))
    with pytest.raises(FileFault, match="damaged"):
        read_build(path)


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        ("UPDATE domino SET x_m = x_m + 1e-9 WHERE id = 7", "does not have the digest"),
        ("UPDATE domino SET colour = 99 WHERE id = 7", "standing.colour holds a number that nothing carries"),
        ("UPDATE domino SET colour = 70000 WHERE id = 7", "damaged"),
        ("DELETE FROM domino WHERE id = 7", "the dominoes have gaps"),
        ("DELETE FROM tile WHERE number = 7", "the tiles have gaps"),
        ("DELETE FROM stock WHERE colour = 1", "stock.stock is int64 of shape .2,., not int64 of shape .3,."),
        ("DELETE FROM stock", "damaged"),
        ("DELETE FROM colour_error", "lacks the colour error"),
        ("DELETE FROM plan", "holds no plan"),
        ("UPDATE plan SET brief = 'no brief'", "its brief cannot be read by this version"),
        ("UPDATE plan SET brief = replace(brief, 'tram', 'trim')", "does not have the digest"),
        ("UPDATE picture SET bytes = x'00'", "picture 'kingfisher.png' do not have its SHA-256"),
        ("UPDATE finding SET value = 2.5 WHERE number = 0", "does not have the digest"),
        ("UPDATE colour SET code = 'ZZ' WHERE number = 0", "Plan again, and print all papers anew"),
        ("DROP TABLE stock", "table stock is missing or has other columns"),
        ("ALTER TABLE line ADD COLUMN colour TEXT", "table line is missing or has other columns"),
        ("PRAGMA user_version = 0", "format 0 never existed"),
    ],
)
def test_altered_by_hand(tmp_path: Path, statement: str, words: str) -> None:
    path = write_build(PLAN, tmp_path / "a.build")
    database(statement)(path)
    with pytest.raises(FileFault, match=words):
        read_build(path)


@pytest.mark.parametrize(
    "name",
    [
        "two words.build",
        'it\'s "quoted".build',
        "what?mode=memory.build",
        "number #7.build",
        "100%.build",
        "%41.build",
        "depôt–床.build",
        "line\nbreak.build",
        "-dash.build",
    ],
)
@pytest.mark.skipif(os.name == "nt", reason="letters that Windows does not allow")
def test_awkward_names(tmp_path: Path, name: str) -> None:
    folder = tmp_path / name.removesuffix(".build")
    folder.mkdir()
    path = folder / name
    for plan in (PLAN, NEXT):
        write_build(plan, path)
        assert_same_plan(read_build(path), plan)
    assert [entry.name for entry in folder.iterdir()] == [name]


def test_relative_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert write_build(PLAN, Path("a.build")) == Path("a.build")
    assert_same_plan(read_build(Path("a.build")), PLAN)


def test_reading_from_a_read_only_folder_writes_nothing(tmp_path: Path) -> None:
    folder = tmp_path / "medium"
    folder.mkdir()
    path = write_build(PLAN, folder / "a.build")
    path.chmod(0o444)
    folder.chmod(0o555)
    before = (path.stat().st_mtime_ns, folder.stat().st_mtime_ns, sorted(folder.iterdir()))
    try:
        assert_same_plan(read_build(path), PLAN)
        assert (path.stat().st_mtime_ns, folder.stat().st_mtime_ns, sorted(folder.iterdir())) == before
    finally:
        folder.chmod(0o755)


def test_left_by_a_writer_that_stopped_half_way(tmp_path: Path) -> None:
    """A copy of file and journal taken in the middle of somebody's transaction: as after a power cut."""
    path = write_build(PLAN, tmp_path / "a.build")
    copy = tmp_path / "copy.build"
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("PRAGMA cache_size = 1")
        connection.execute("BEGIN IMMEDIATE")
        connection.execute("UPDATE domino SET x_m = x_m + 1")
        shutil.copy(path, copy)
        shutil.copy(f"{path}-journal", f"{copy}-journal")
        connection.execute("ROLLBACK")
    before = contents(tmp_path)
    with pytest.raises(FileFault, match="stopped half-way"):
        read_build(copy)
    with pytest.raises(FileFault, match="stopped before it was done"):
        write_build(NEXT, copy)
    assert contents(tmp_path) == before


def test_old_sqlite(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(standfall.book.schema.sqlite3, "sqlite_version_info", (3, 36, 0))
    with pytest.raises(FileFault, match=r"build files need 3\.37\.0 or newer"):
        write_build(PLAN, tmp_path / "a.build")
    assert contents(tmp_path) == {}


def with_column(holder: str, name: str, values: np.ndarray) -> object:
    return replace(PLAN, **{holder: replace(getattr(PLAN, holder), **{name: values})})


def altered(holder: str, name: str, place: int, value: float) -> object:
    values = getattr(getattr(PLAN, holder), name).copy()
    values[place] = value
    return with_column(holder, name, values)


def found(value: object) -> object:
    return replace(PLAN, findings=(make_finding("P206", "x", "x", value=value, next_step="x"),))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("plan", "words"),
    [
        (altered("standing", "x_m", 3, np.nan), "standing.x_m holds a number that is not finite"),
        (altered("standing", "tile", 3, 19), "standing.tile holds"),
        (altered("standing", "slot_row", 3, -2), "standing.slot_row holds"),
        (altered("standing", "field", 3, -1), "belongs to a field and a line, or to neither"),
        (altered("tiling", "turn_deg", 3, 90), "tiling.turn_deg"),
        (with_column("standing", "row", PLAN.standing.row.astype(np.int64)), "standing.row is int64"),
        (with_column("standing", "row", PLAN.standing.row[1:]), "standing.row is int32 of shape"),
        (replace(PLAN, tiling=replace(PLAN.tiling, cut_rows=())), "one entry for each field"),
        (replace(PLAN, text=brief_text(rows=4).encode()), "not what plan.text reads as"),
        (replace(PLAN, files=(replace(PLAN.files[0], data=b"x"),)), "do not have its SHA-256"),
        (replace(PLAN, palette=replace(PLAN.palette, names=("a", "b", "c"))), "the brief's colours"),
        (replace(PLAN, colour_error=replace(PLAN.colour_error, mean=np.inf)), "plan.colour_error"),
        (found(np.nan), "finding P206"),
        (found(True), "finding P206"),
        (found(2**63), "finding P206"),
        (found(np.int64(3)), "finding P206"),
    ],
)
def test_plan_that_does_not_hold_together(tmp_path: Path, plan: object, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        write_build(plan, tmp_path / "a.build")  # type: ignore[arg-type]
    assert contents(tmp_path) == {}
