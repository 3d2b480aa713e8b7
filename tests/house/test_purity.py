"""The core neither prints nor opens files nor draws from global chance; every file is one sitting long.

The import contract in pyproject.toml forbids the modules; this forbids the built-ins and the global
random state that need no import.
"""

import ast
from pathlib import Path

import pytest

import standfall

ROOT = Path(standfall.__file__).parent
PURE_ROOMS = (
    "findings",
    "geometry",
    "assign",
    "brief",
    "hall",
    "mural",
    "tiles",
    "fall",
    "routes",
    "planning",
)
FORBIDDEN_CALLS = {"open", "print", "input", "exec", "eval", "compile", "__import__", "breakpoint"}
# numpy.random functions that use its global state; default_rng(seed) is the one allowed.
SEEDED = {"default_rng", "Generator", "SeedSequence", "PCG64"}
LINES_MOST = 500
WORDS_FORBIDDEN = ("utils", "common", "helpers", "manager")


def _files(rooms=None):
    return sorted(
        path for path in ROOT.rglob("*.py") if rooms is None or path.relative_to(ROOT).parts[0] in rooms
    )


@pytest.mark.parametrize("path", _files(PURE_ROOMS), ids=lambda path: str(path.relative_to(ROOT)))
def test_core_calls_nothing_of_the_outside(path):
    calls = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in FORBIDDEN_CALLS:
            calls.append((node.lineno, node.func.id))
        if (
            isinstance(node, ast.Attribute)
            and isinstance(node.value, ast.Attribute)
            and node.value.attr == "random"
            and node.attr not in SEEDED
        ):
            calls.append((node.lineno, f"random.{node.attr}"))
    assert calls == []


@pytest.mark.parametrize("path", _files(), ids=lambda path: str(path.relative_to(ROOT)))
def test_file_is_one_sitting_long_and_named_for_a_noun(path):
    assert len(path.read_text(encoding="utf-8").splitlines()) < LINES_MOST
    assert path.stem not in WORDS_FORBIDDEN
