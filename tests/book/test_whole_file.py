"""Whole or not at all: whatever fails, the old file stands and nothing lies about."""

from __future__ import annotations

import errno
import os
import re
import signal
import sqlite3
import stat
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from book_plan import brief_text, make_plan_by_hand
from comparison import assert_same_plan, contents, run_child

import standfall.book.predecessor
import standfall.book.writer
from standfall.book import export_tables, read_build, write_build
from standfall.findings import FileFault

NEXT = make_plan_by_hand(picture=b"another")
POSIX = pytest.mark.skipif(os.name == "nt", reason="POSIX signals, links and limits")


@pytest.fixture(params=["new", "replaced"])
def folder(tmp_path: Path, request: pytest.FixtureRequest) -> Path:
    """A folder with other files in it, and with an older build or none."""
    (tmp_path / "notes.txt").write_text("leave me")
    if request.param == "replaced":
        write_build(make_plan_by_hand(), tmp_path / "a.build")
    return tmp_path


def failing(error: BaseException) -> Callable[..., None]:
    def fail(*_arguments: object, **_keywords: object) -> None:
        raise error

    return fail


FULL = OSError(errno.ENOSPC, "No space left on device")


@pytest.mark.parametrize("step", ["create_schema", "_write_version", "_write_tiles", "create_indexes"])
@pytest.mark.parametrize("error", [FULL, KeyboardInterrupt(), sqlite3.OperationalError("disk I/O error")])
def test_failure_at_a_step(
    folder: Path, monkeypatch: pytest.MonkeyPatch, step: str, error: BaseException
) -> None:
    before = contents(folder)
    monkeypatch.setattr(standfall.book.writer, step, failing(error))
    with pytest.raises(KeyboardInterrupt if isinstance(error, KeyboardInterrupt) else FileFault):
        write_build(NEXT, folder / "a.build")
    assert contents(folder) == before


@pytest.mark.parametrize("call", ["replace", "fsync"])
def test_failure_at_the_very_end(folder: Path, monkeypatch: pytest.MonkeyPatch, call: str) -> None:
    before = contents(folder)
    monkeypatch.setattr(os, call, failing(FULL))
    with pytest.raises(FileFault, match=r"a\.build: cannot be written: the disk is full"):
        write_build(NEXT, folder / "a.build")
    assert contents(folder) == before


@pytest.mark.parametrize("call", ["replace", "fsync"])
def test_ctrl_c_at_the_very_end(folder: Path, monkeypatch: pytest.MonkeyPatch, call: str) -> None:
    before = contents(folder)
    monkeypatch.setattr(os, call, failing(KeyboardInterrupt()))
    with pytest.raises(KeyboardInterrupt):
        write_build(NEXT, folder / "a.build")
    assert contents(folder) == before


@pytest.mark.parametrize("at", [1, 2, 3])
def test_ctrl_c_while_writing_dominoes(folder: Path, at: int) -> None:
    before = contents(folder)
    calls = 0

    def progress(_done: int, _total: int, _what: str) -> None:
        nonlocal calls
        calls += 1
        if calls == at:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_build(make_plan_by_hand(brief_text(200, 150, (10, 10))), folder / "a.build", progress)
    assert calls == at
    assert contents(folder) == before


def test_failure_while_history_is_carried_over(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write_build(make_plan_by_hand(), tmp_path / "a.build")
    before = contents(tmp_path)
    opened = standfall.book.predecessor.open_build
    answers = iter([opened, failing(OSError(errno.EIO, "Input/output error"))])
    monkeypatch.setattr(standfall.book.predecessor, "open_build", lambda path: next(answers)(path))
    with pytest.raises(FileFault, match="the disk reported an error"):
        write_build(NEXT, tmp_path / "a.build")
    assert contents(tmp_path) == before


KILLED = """
import pathlib, sys, book_plan, standfall.book

def progress(done, total, what):
    if done > 0:
        print(done, flush=True)
        sys.stdin.read()  # here it is killed

plan = book_plan.make_plan_by_hand(book_plan.brief_text(200, 300, (10, 10)))
standfall.book.write_build(plan, pathlib.Path(sys.argv[1]), progress)
"""


@POSIX
def test_kill_in_the_middle_leaves_the_old_file(tmp_path: Path) -> None:
    path = write_build(make_plan_by_hand(), tmp_path / "a.build")
    before = path.read_bytes()
    with run_child(KILLED, path, wait=False) as process:
        assert int(process.stdout.readline()) > 0
        written = [entry for entry in tmp_path.iterdir() if entry != path]
        process.kill()
        assert process.wait() == -signal.SIGKILL
    # It was in the middle of something, and that something is not the build file.
    assert len(written) == 1
    assert written[0].name.endswith(".part")
    assert path.read_bytes() == before
    assert_same_plan(read_build(path), make_plan_by_hand())
    # What was left behind is in nobody's way.
    write_build(NEXT, path)
    assert_same_plan(read_build(path), NEXT)


LIMITED = """
import json, pathlib, resource, sys, book_plan, standfall.book
from standfall.findings import FileFault

folder = pathlib.Path(sys.argv[1])
plan = book_plan.make_plan_by_hand(book_plan.brief_text(200, 150, (10, 10)))
import pyarrow.parquet
said = []
for limit in (4096, 100_000, 500_000):
    # No file may grow beyond the limit: to a program that is a disk without room.
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, resource.RLIM_INFINITY))
    for write in (
        lambda: standfall.book.write_build(plan, folder / "a.build"),
        lambda: standfall.book.export_tables(plan, folder, "csv"),
        lambda: standfall.book.export_tables(plan, folder, "parquet"),
    ):
        try:
            write()
            said.append("written")
        except FileFault as fault:
            said.append(str(fault))
print(json.dumps(said))
"""


@POSIX
def test_no_room_on_the_disk(tmp_path: Path) -> None:
    plan = make_plan_by_hand()
    write_build(plan, tmp_path / "a.build")
    export_tables(plan, tmp_path, "csv")
    export_tables(plan, tmp_path, "parquet")
    before = contents(tmp_path)
    # 30,000 dominoes take about 2 MB in each of the three, so nothing fits under any of the three limits.
    said = run_child(LIMITED, tmp_path)
    assert len(said) == 9
    for line, name in zip(said, ["a.build", "dominoes.csv", "dominoes.parquet"] * 3, strict=True):
        assert re.search(
            rf"{name}: cannot be written: the (disk is full|file would be larger than allowed)", line
        )
    assert contents(tmp_path) == before


def test_another_program_writes_meanwhile(folder: Path) -> None:
    path = folder / "a.build"

    def progress(done: int, _total: int, _what: str) -> None:
        if done == 0:
            path.write_bytes(b"theirs")

    with pytest.raises(FileFault, match="another program wrote to it meanwhile"):
        write_build(NEXT, path, progress)
    assert path.read_bytes() == b"theirs"
    assert sorted(contents(folder)) == ["a.build", "notes.txt"]


@POSIX
def test_permissions_are_those_of_the_folder_or_of_the_old_file(tmp_path: Path) -> None:
    path = tmp_path / "a.build"
    umask = os.umask(0o027)
    try:
        write_build(make_plan_by_hand(), path)
    finally:
        os.umask(umask)
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    path.chmod(0o604)
    write_build(NEXT, path)
    assert stat.S_IMODE(path.stat().st_mode) == 0o604


@POSIX
def test_link_keeps_pointing_at_the_file(tmp_path: Path) -> None:
    (tmp_path / "store").mkdir()
    link = tmp_path / "a.build"
    link.symlink_to(tmp_path / "store" / "real.build")
    for plan in (make_plan_by_hand(), NEXT):
        assert write_build(plan, link) == link
        assert link.is_symlink()
        assert_same_plan(read_build(tmp_path / "store" / "real.build"), plan)


def test_long_name(tmp_path: Path) -> None:
    # 255 bytes is the longest name of most file systems, 8 of them are for SQLite's "-journal".
    path = tmp_path / ("k" * 241 + ".build")
    write_build(make_plan_by_hand(), path)
    assert_same_plan(read_build(path), make_plan_by_hand())


@pytest.mark.skipif(sys.platform != "linux", reason="/dev/full is of Linux")
def test_device_is_not_replaced() -> None:
    with pytest.raises(FileFault, match="device or pipe"):
        write_build(make_plan_by_hand(), Path("/dev/full"))
    assert stat.S_ISCHR(Path("/dev/full").stat().st_mode)
