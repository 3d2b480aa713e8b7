"""A fall is written whole or not at all: whatever fails, the old file stands and nothing lies about."""

from __future__ import annotations

import errno
import os
import re
import signal
import sqlite3
import stat
from pathlib import Path

import pytest
from book_fall import make_prediction_by_hand, nothing_falls
from book_plan import brief_text, make_plan_by_hand
from comparison import assert_same_plan, contents, run_child

import standfall.book.fall_writer
import standfall.book.writer
from standfall.book import read_build, read_fall, write_build, write_fall
from standfall.findings import FileFault

PLAN = make_plan_by_hand()
FALL = make_prediction_by_hand(PLAN)
FULL = OSError(errno.ENOSPC, "No space left on device")
POSIX = pytest.mark.skipif(os.name == "nt", reason="POSIX signals, links and limits")


@pytest.fixture(params=["without a fall", "with a fall"])
def folder(tmp_path: Path, request: pytest.FixtureRequest) -> Path:
    """A folder with a build and another file in it."""
    (tmp_path / "notes.txt").write_text("leave me")
    write_build(PLAN, tmp_path / "a.build")
    if request.param == "with a fall":
        write_fall(nothing_falls(PLAN), PLAN, tmp_path / "a.build")
    return tmp_path


def _fail_with(monkeypatch: pytest.MonkeyPatch, holder: object, name: str, error: BaseException) -> None:
    def fail(*_arguments: object, **_keywords: object) -> None:
        raise error

    monkeypatch.setattr(holder, name, fail)


ERRORS = [FULL, KeyboardInterrupt(), sqlite3.OperationalError("disk I/O error")]
STEPS = [
    (standfall.book.writer, "create_schema"),
    (standfall.book.fall_writer, "carry_over"),
    (standfall.book.writer, "_write_tiles"),
    (standfall.book.fall_writer, "_write_rows"),
    (standfall.book.fall_writer, "insert_columns"),
    (standfall.book.writer, "create_indexes"),
    (os, "fsync"),
    (os, "replace"),
]


@pytest.mark.parametrize(("holder", "step"), STEPS, ids=[name for _, name in STEPS])
@pytest.mark.parametrize("error", ERRORS, ids=["disk full", "ctrl-c", "sqlite"])
def test_failure_at_a_step(
    folder: Path, monkeypatch: pytest.MonkeyPatch, holder: object, step: str, error: BaseException
) -> None:
    before = contents(folder)
    with monkeypatch.context() as patch:
        _fail_with(patch, holder, step, error)
        with pytest.raises(KeyboardInterrupt if isinstance(error, KeyboardInterrupt) else FileFault):
            write_fall(FALL, PLAN, folder / "a.build")
    assert contents(folder) == before
    # Nothing is in the way of trying once more.
    write_fall(FALL, PLAN, folder / "a.build")
    assert read_fall(folder / "a.build") is not None


BIG = make_plan_by_hand(brief_text(200, 150, (10, 10)))


@pytest.mark.parametrize("at", [1, 2, 3, 4, 5, 6])
def test_ctrl_c_while_writing(tmp_path: Path, at: int) -> None:
    # 30,000 dominoes are told of in three calls (0, 20,000 and all), and so are their falls.
    path = write_build(BIG, tmp_path / "a.build")
    before = contents(tmp_path)
    calls: list[str] = []

    def progress(_done: int, _total: int, what: str) -> None:
        calls.append(what)
        if len(calls) == at:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_fall(make_prediction_by_hand(BIG), BIG, path, progress)
    assert calls[-1] == ("writing dominoes" if at <= 3 else "writing the fall")
    assert contents(tmp_path) == before


KILLED = """
import pathlib, sys, book_fall, book_plan, standfall.book

def progress(done, total, what):
    if what == "writing the fall" and done > total // 2:
        print(done, flush=True)
        sys.stdin.read()  # here it is killed

plan = book_plan.make_plan_by_hand(book_plan.brief_text(200, 150, (10, 10)))
standfall.book.write_fall(book_fall.make_prediction_by_hand(plan), plan, pathlib.Path(sys.argv[1]), progress)
"""


@POSIX
def test_kill_in_the_middle_leaves_the_old_file(tmp_path: Path) -> None:
    path = write_build(BIG, tmp_path / "a.build")
    before = path.read_bytes()
    with run_child(KILLED, path, wait=False) as process:
        assert int(process.stdout.readline()) > 0
        written = [entry for entry in tmp_path.iterdir() if entry != path]
        process.kill()
        assert process.wait() == -signal.SIGKILL
    assert [entry.suffix for entry in written] == [".part"]
    assert path.read_bytes() == before
    assert_same_plan(read_build(path), BIG)
    assert read_fall(path) is None
    write_fall(make_prediction_by_hand(BIG), BIG, path)
    assert read_fall(path) is not None


LIMITED = """
import json, pathlib, resource, sys, book_fall, book_plan, standfall.book
from standfall.findings import FileFault

path = pathlib.Path(sys.argv[1])
plan = book_plan.make_plan_by_hand(book_plan.brief_text(200, 150, (10, 10)))
prediction = book_fall.make_prediction_by_hand(plan)
said = []
for limit in (4096, 500_000, path.stat().st_size + 500_000):
    # No file may grow beyond the limit: to a program that is a disk without room.
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, resource.RLIM_INFINITY))
    try:
        standfall.book.write_fall(prediction, plan, path)
        said.append("written")
    except FileFault as fault:
        said.append(str(fault))
print(json.dumps(said))
"""


@POSIX
def test_no_room_on_the_disk(tmp_path: Path) -> None:
    write_build(BIG, tmp_path / "a.build")
    before = contents(tmp_path)
    # The fall of 30,000 dominoes takes more than 1 MB, so the last limit lets the plan in, but not the fall.
    said = run_child(LIMITED, tmp_path / "a.build")
    assert len(said) == 3
    for line in said:
        assert re.search(r"a\.build: cannot be written: the (disk is full|file would be larger)", line)
    assert contents(tmp_path) == before


def test_another_program_writes_meanwhile(folder: Path) -> None:
    path = folder / "a.build"

    def progress(done: int, _total: int, _what: str) -> None:
        if done == 0:
            path.write_bytes(b"theirs")

    with pytest.raises(FileFault, match="another program wrote to it meanwhile"):
        write_fall(FALL, PLAN, path, progress)
    assert path.read_bytes() == b"theirs"
    assert sorted(contents(folder)) == ["a.build", "notes.txt"]


@POSIX
def test_permissions_and_links_stay(tmp_path: Path) -> None:
    (tmp_path / "store").mkdir()
    real, link = tmp_path / "store" / "real.build", tmp_path / "a.build"
    link.symlink_to(real)
    write_build(PLAN, link)
    real.chmod(0o604)
    assert write_fall(FALL, PLAN, str(link)) == link
    assert link.is_symlink()
    assert stat.S_IMODE(real.stat().st_mode) == 0o604
    assert read_fall(str(real)) is not None
