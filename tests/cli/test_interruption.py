"""Stopped in the middle: exit codes 130 and 143, no traceback, nothing half-written, no process left behind."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from process_watch import ON_LINUX, alive, children, listing, wait_for

import standfall
from standfall.cli.progress import ProgressBar

Run = Callable[..., Any]


def _stages(monkeypatch: pytest.MonkeyPatch, run: Run, *words: str | Path) -> list[str]:
    """Run a command to its end and return what its progress said, each once, in order."""
    told: list[str] = []
    with monkeypatch.context() as patch:
        patch.setattr(ProgressBar, "__call__", lambda self, done, total, what: told.append(what))
        assert run(*words).code == 0
    return list(dict.fromkeys(told))


def _stop_at(stage: str) -> Callable[..., None]:
    def stop(self: ProgressBar, done: int, total: int, what: str) -> None:
        if what == stage:
            raise KeyboardInterrupt

    return stop


def test_plan_stopped_at_any_stage_writes_nothing(
    brief: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    stages = _stages(monkeypatch, run, "plan", brief, "--out", brief.with_name("whole.build"))
    assert len(stages) >= 5
    before = listing(brief.parent)
    for stage in stages:
        with monkeypatch.context() as patch:
            patch.setattr(ProgressBar, "__call__", _stop_at(stage))
            told = run("plan", brief, "--json")
        assert told.code == 130
        assert told.data["error"]["exit_code"] == 130
        assert listing(brief.parent) == before


def test_planning_again_stopped_leaves_the_version_there_was(
    build: Path, small: dict[str, Any], write_brief: Run, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    small["field"][0]["stacked_rows"] = []
    brief = write_brief(small)
    stages = _stages(monkeypatch, run, "plan", brief, "--out", brief.with_name("other.build"))
    before = listing(build.parent)
    for stage in stages:
        with monkeypatch.context() as patch:
            patch.setattr(ProgressBar, "__call__", _stop_at(stage))
            assert run("plan", brief, "--out", build).code == 130
        assert listing(build.parent) == before
    assert len(standfall.read_build(build).standing) == 1495


def _stop_at_call(number: int) -> Callable[..., None]:
    calls: list[str] = []

    def stop(self: ProgressBar, done: int, total: int, what: str) -> None:
        calls.append(what)
        if len(calls) == number:
            raise KeyboardInterrupt

    return stop


def _assert_whole(path: Path) -> None:
    data = path.read_bytes()
    if path.suffix == ".png":
        with Image.open(path) as picture:
            picture.load()
    elif path.suffix == ".pdf":
        assert data.startswith(b"%PDF-") and data.rstrip().endswith(b"%%EOF")
    elif path.suffix == ".parquet":
        assert data.startswith(b"PAR1") and data.endswith(b"PAR1")
    else:
        assert path.suffix == ".csv"
        lines = len(data.splitlines())
        assert lines in (1495 + 1, 24 + 1)


@pytest.mark.parametrize(
    ("words", "calls"),
    [
        (["papers"], (1, 2)),
        (["export", "--format", "csv"], (1, 2, 3, 4)),
        (["export", "--format", "parquet"], (1, 2, 3, 4)),
    ],
)
def test_papers_and_tables_stopped_are_whole_or_not_there(
    words: list[str], calls: tuple[int, ...], build: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    command, *options = words
    for number in calls:
        folder = build.parent / f"stopped {number}"
        with monkeypatch.context() as patch:
            patch.setattr(ProgressBar, "__call__", _stop_at_call(number))
            told = run(command, build, "--to", folder, *options)
        assert told.code == 130 and "stopped" in told.err
        for path in folder.iterdir() if folder.exists() else ():
            _assert_whole(path)


# ------------------------------------------------------------------ real signals


@pytest.mark.skipif(not ON_LINUX, reason="finds the drawing process in /proc")
@pytest.mark.parametrize(
    ("to_all", "number", "code"),
    [
        (True, signal.SIGINT, 130),  # a terminal sends Ctrl-C to all processes in front
        (False, signal.SIGINT, 130),
        (False, signal.SIGTERM, 143),  # as `kill` and `systemctl stop` send it
    ],
)
@pytest.mark.parametrize("option", [[], ["--json"]])
def test_a_signal_while_the_picture_is_drawn(
    to_all: bool, number: signal.Signals, code: int, option: list[str], tmp_path: Path, demo_folder: Path
) -> None:
    folder = tmp_path / "mural"
    folder.mkdir()
    for name in ("brief.toml", "kingfisher.svg"):
        (folder / name).write_bytes((demo_folder / name).read_bytes())
    before = listing(folder)
    process = subprocess.Popen(
        [
            sys.executable,
            "-c",
            "from standfall.cli import main; main()",
            "plan",
            str(folder / "brief.toml"),
            *option,
        ],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    below = wait_for(lambda: children(process.pid))
    if to_all:
        os.killpg(process.pid, number)
    else:
        process.send_signal(number)
    out, err = process.communicate(timeout=60)
    assert process.returncode == code
    assert "Traceback" not in out + err
    assert listing(folder) == before
    wait_for(lambda: not any(map(alive, below)), 10.0)
    if option and number == signal.SIGINT:
        import json

        assert json.loads(out)["error"]["exit_code"] == 130
    elif number == signal.SIGINT:
        assert "stopped" in err


@pytest.mark.skipif(not ON_LINUX, reason="needs a terminal of its own")
def test_ctrl_c_at_a_terminal_clears_the_bar(tmp_path: Path, demo_folder: Path) -> None:
    import pty

    ours, theirs = pty.openpty()
    process = subprocess.Popen(
        [
            sys.executable,
            "-c",
            "from standfall.cli import main; main()",
            "check",
            str(demo_folder / "brief.toml"),
        ],
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        start_new_session=True,
        env=os.environ | {"TERM": "xterm", "COLUMNS": "60", "LINES": "24"},
    )
    os.close(theirs)
    wait_for(lambda: children(process.pid))
    os.killpg(process.pid, signal.SIGINT)
    said = b""
    try:
        while chunk := os.read(ours, 4096):
            said += chunk
    except OSError:  # Linux says so when the other side of the terminal is closed
        pass
    finally:
        os.close(ours)
    assert process.wait(timeout=60) == 130
    assert b"Traceback" not in said and b"stopped" in said
