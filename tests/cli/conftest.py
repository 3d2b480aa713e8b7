"""How commands are run here: mostly in this process, and in one of their own where signals or pipes matter."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from standfall.cli.entry import _run

sys.path.insert(0, str(Path(__file__).parent))  # for what the tests share, in importlib mode too

PROGRAM = [sys.executable, "-c", "from standfall.cli import main; main()"]


@dataclass(frozen=True)
class Told:
    """What a command said and how it ended."""

    code: int
    out: str
    err: str

    @property
    def data(self) -> Any:
        """Standard output as the one JSON value that it must be."""
        return json.loads(self.out)


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Callable[..., Told]:
    """Run a command in this process."""

    def run_here(*words: str | Path) -> Told:
        capsys.readouterr()
        texts = [str(word) for word in words]
        code = _run(texts, as_json="--json" in texts)
        out, err = capsys.readouterr()
        assert "Traceback" not in out + err
        return Told(code, out, err)

    return run_here


@pytest.fixture(scope="session")
def run_apart() -> Callable[..., Told]:
    """Run a command in a process of its own, with variables of the environment added."""

    def run_there(*words: str | Path, folder: Path | None = None, **variables: str) -> Told:
        done = subprocess.run(
            [*PROGRAM, *map(str, words)],
            cwd=folder,
            env=os.environ | variables,
            capture_output=True,
            encoding="utf-8",
            errors="replace",
            timeout=900,
        )
        return Told(done.returncode, done.stdout, done.stderr)

    return run_there


@pytest.fixture
def brief(write_brief: Callable[[dict[str, Any]], Path], small: dict[str, Any]) -> Path:
    """The small brief on disk."""
    return write_brief(small)


@pytest.fixture
def build(brief: Path, run: Callable[..., Told]) -> Path:
    """The small brief's build file."""
    path = brief.with_name("mural.build")
    assert run("plan", brief, "--out", path).code == 0
    return path
