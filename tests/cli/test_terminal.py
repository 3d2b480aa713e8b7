"""Terminals, pipes and shells: narrow, colourless, foreign, closed early; names printed as they are."""

from __future__ import annotations

import json
import os
import re
import shlex
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

PROGRAM_NAME = "standfall"
PROGRAM = [sys.executable, "-c", "from standfall.cli import main; main()"]
Run = Callable[..., Any]


def _pipe(words: list[str], reader: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        ["bash", "-c", f'{shlex.join([*PROGRAM, *words])} | {reader}; echo "ended ${{PIPESTATUS[0]}}"'],
        capture_output=True,
        text=True,
        timeout=120,
    )


@pytest.mark.skipif(shutil.which("bash") is None, reason="needs a shell with pipes")
@pytest.mark.parametrize("reader", ["head -1", "true"])
@pytest.mark.parametrize("option", [[], ["--json"]])
def test_a_reader_that_leaves_early_is_no_fault(reader: str, option: list[str], brief: Path) -> None:
    for command in ("check", "plan"):
        done = _pipe([command, str(brief), *option], reader)
        assert done.stderr == ""
        assert done.stdout.endswith("ended 0\n")
    assert brief.with_suffix(".build").is_file()


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
@pytest.mark.parametrize("words", [["--help"], ["check", "BRIEF"], ["plan", "BRIEF", "--json"]])
def test_output_to_a_full_disk_is_a_file_fault(words: list[str], brief: Path) -> None:
    import sys

    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-c", "from standfall.cli import main; main()"]
            + [str(brief) if word == "BRIEF" else word for word in words],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            timeout=120,
        )
    assert done.returncode == 4
    assert done.stderr.startswith("standfall: ") and "Traceback" not in done.stderr


@pytest.mark.parametrize(
    "variables",
    [
        {"COLUMNS": "60", "NO_COLOR": "1"},
        {"COLUMNS": "20"},
        {"FORCE_COLOR": "1", "TERM": "xterm-256color"},
        {"TERM": "dumb"},
        {"PYTHONIOENCODING": "ascii"},
        {"PYTHONIOENCODING": "latin-1"},
    ],
)
def test_terminals_of_all_kinds(
    variables: dict[str, str], small: dict[str, Any], write_brief: Run, run_apart: Run
) -> None:
    small["job"]["name"] = small["field"][0]["name"] = "Eisv\u00f6gel \U0001f426 \u7fe0\u9ce5"
    small["starter"][1]["field"] = small["field"][0]["name"]
    small["field"].append(small["field"][0] | {"name": "b", "corner_m": [3.0, 1.5], "columns": 43})
    told = run_apart("plan", write_brief(small), **({"PYTHONIOENCODING": "utf-8"} | variables))
    assert told.code == 0 and "Traceback" not in told.err
    assert "1,320" in told.out or "dominoes" in told.out
    if variables.get("NO_COLOR"):
        assert "\x1b" not in told.out
        assert max(map(len, told.out.splitlines())) <= 60 + len("wrote ") + len(str(write_brief(small)))
    if variables.get("FORCE_COLOR"):
        assert "\x1b[" in told.out
    if variables.get("PYTHONIOENCODING") == "ascii":
        assert "Eisv\\xf6gel" in told.out


@pytest.mark.parametrize("name", ["[red]x[/red]", "[/red]", ":bird:", "kingfisher \U0001f426"])
def test_names_are_printed_as_they_are(name: str, small: dict[str, Any], write_brief: Run, run: Run) -> None:
    small["job"]["name"] = small["job"]["place"] = name
    for colour in small["colour"]:
        colour["stock"] = 300
        colour.pop("pack_price", None)
    small["colour"][1] |= {
        "name": name,
        "pack_price": 10,
    }  # to be bought, so that it stands in that table too
    told = run("plan", write_brief(small))
    assert told.code == 0
    assert f"{name}, {name}" in told.out
    assert told.out.count(name) >= 5
    assert run("plan", write_brief(small), "--json").data["colours"][1]["name"] == name


def test_a_path_that_is_no_utf_8_is_printed_somehow(tmp_path: Path, run_apart: Run) -> None:
    told = run_apart(
        "check", os.fsdecode(os.fsencode(tmp_path) + b"/\xff.toml"), PYTHONIOENCODING="utf-8:strict"
    )
    assert told.code == 2 and "B101" in told.out and "Traceback" not in told.err


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_scripts(shell: str, run_apart: Run) -> None:
    told = run_apart("--completion", shell)
    assert told.code == 0
    assert PROGRAM_NAME in told.out and "_STANDFALL_COMPLETE" in told.out
    program = shutil.which(shell)
    if program:  # the shell itself must find it well formed
        checked = subprocess.run([program, "-n"], input=told.out, capture_output=True, text=True, timeout=60)
        assert checked.returncode == 0, checked.stderr


def test_completion_completes_commands_and_options(run_apart: Run) -> None:
    told = run_apart(_STANDFALL_COMPLETE="bash_complete", COMP_WORDS="standfall p", COMP_CWORD="1")
    assert re.findall(r"plain,(\w+)", told.out) == ["papers", "plan"]
    told = run_apart(_STANDFALL_COMPLETE="bash_complete", COMP_WORDS="standfall plan --o", COMP_CWORD="2")
    assert "plain,--out" in told.out


PRINTING_LIBRARY = """
import ctypes
import standfall.planning
from standfall.cli import main

make_plan = standfall.planning.make_plan

def noisy(*arguments):
    library = ctypes.CDLL(None)
    library.printf(b"a solver was here\\n")
    library.fflush(None)
    return make_plan(*arguments)

standfall.planning.make_plan = noisy
main()
"""


@pytest.mark.skipif(sys.platform == "win32", reason="finds the C library the POSIX way")
def test_what_compiled_libraries_print_does_not_spoil_the_json(brief: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", PRINTING_LIBRARY, "check", str(brief), "--json"],
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert done.returncode == 0
    assert list(json.loads(done.stdout)) == ["findings"]
    assert done.stderr == "a solver was here\n"


@pytest.mark.skipif(shutil.which("bash") is None, reason="needs a shell that closes descriptors")
@pytest.mark.parametrize("closing", ["2>&-", ">&-", ">&- 2>&-"])
def test_closed_descriptors_do_not_change_the_answer(closing: str, brief: Path) -> None:
    for path, code in ((brief, 0), (brief.with_name("lost.toml"), 2)):
        command = f"{shlex.join([*PROGRAM, 'check', str(path)])} {closing}"
        done = subprocess.run(["bash", "-c", command], capture_output=True, text=True, timeout=120)
        assert done.returncode == code
        assert "Traceback" not in done.stdout + done.stderr
