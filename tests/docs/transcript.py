"""What the commands print: examples of ``docs/commands.md``, run in this process."""

from __future__ import annotations

import contextlib
import io
import json
import os
import re
import shlex
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from unittest import mock

from small_job import small_brief_text, write_small_job

from standfall.cli import main

WIDTH = "96"
# A row of dominoes: a gap of a height or more is not crossed for sure, nor does it stop the fall for sure.
CHAIN = "gap_mm\n14.4\n14.4\n16\n14.4\n13\n14.4\n14.4\n60\n14.4\n"
# The first tiles of the small job stand, the last of them has fallen.
STANDING = "tile,state\n1,laid\n2,fallen\n"
# Lists of objects longer than this are shown in part; the page says so.
ITEMS_SHOWN = 2


@contextlib.contextmanager
def example_folder() -> Iterator[Path]:
    """Give a working folder with ``mymural`` (a small job), ``faulty``, ``kingfisher`` and ``gaps.csv`` in it."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_small_job(folder / "mymural")
        write_small_job(folder / "kingfisher")
        (folder / "faulty").mkdir()
        text = small_brief_text().replace("stock = ", "stok = ", 1)
        (folder / "faulty" / "brief.toml").write_text(text, encoding="utf-8")
        (folder / "gaps.csv").write_text(CHAIN, encoding="utf-8")
        (folder / "standing.csv").write_text(STANDING, encoding="utf-8")
        with contextlib.chdir(folder), mock.patch.dict(os.environ, {"COLUMNS": WIDTH, "NO_COLOR": "1"}):
            yield folder


def run_command(line: str) -> tuple[int, str, str]:
    """Run a command line that begins with ``standfall``; return exit code, output and error output."""
    program, *words = shlex.split(line)
    assert program == "standfall"
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            main(words)
        except SystemExit as leave:
            code = leave.code
    assert isinstance(code, int)
    return code, out.getvalue(), err.getvalue()


def json_example(line: str) -> str:
    """Return what a command with ``--json`` prints as a block, long lists cut."""
    _, out, _ = run_command(line)
    text = json.dumps(_shortened(json.loads(out)), indent=2, ensure_ascii=False)
    return f"```console\n$ {line}\n```\n\n```json\n{text}\n```\n"


def run_example(line: str) -> str:
    """Return a command and what it prints as a block."""
    code, out, err = run_command(line)
    tail = f"[exit code {code}]\n" if code else ""
    lines = "".join(f"{text.rstrip()}\n" for text in (out + err).splitlines())
    return f"```console\n$ {line}\n{lines}{tail}```\n"


def head_example(line: str) -> str:
    """Return a command and what it prints before the first finding."""
    head = re.split(r"\n(?=(?:blocks|warns|notes) )", run_example(line))[0].rstrip()
    return head + "\n...\n```\n"


def _shortened(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _shortened(item) for key, item in value.items()}
    if isinstance(value, list):
        shown = value[:ITEMS_SHOWN] if any(isinstance(item, dict) for item in value) else value
        return [_shortened(item) for item in shown]
    return value


def fits(shown: Any, got: Any, key: str = "") -> bool:
    """Tell whether JSON data has the keys and kinds of an example; numbers and texts may differ.

    A list fits when each of its items fits an item shown, or none is shown. The value and the limit of
    a finding may be a text, a number or null in either.
    """
    if isinstance(shown, dict) and isinstance(got, dict):
        return list(shown) == list(got) and all(fits(shown[name], got[name], name) for name in shown)
    if isinstance(shown, list) and isinstance(got, list):
        return not shown or all(any(fits(one, item) for one in shown) for item in got)
    if key in ("value", "limit"):
        return not isinstance(got, dict | list)
    numbers = all(isinstance(value, int | float) and not isinstance(value, bool) for value in (shown, got))
    return numbers or type(shown) is type(got)


def without_figures(text: str) -> str:
    """Return a text with runs of digits, blanks and rules made alike, to compare what is not a figure."""
    return re.sub(r"[\s\u2500]+", " ", re.sub(r"\d[\d.,]*", "0", text)).strip()
