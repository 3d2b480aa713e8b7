"""Every ``file: function`` that a page names exists in the source."""

import ast
import re
from functools import cache

import pytest
from doc_page import DOCS, SOURCE, read_page

PAGES = sorted(path.name for path in DOCS.glob("*.md"))
_NAMED = re.compile(r"`([a-z_]+/[a-z_]+\.py):\s+([A-Za-z_.]+)`")


def _named(page):
    return [(file, " ".join(name.split())) for file, name in _NAMED.findall(read_page(page))]


@cache
def _defined(file):
    """Names of a file: functions, classes, and methods as ``Class.method``."""
    tree = ast.parse((SOURCE / "standfall" / file).read_text(encoding="utf-8"))
    names = set()
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            names.add(node.name)
        if isinstance(node, ast.ClassDef):
            names |= {f"{node.name}.{part.name}" for part in node.body if isinstance(part, ast.FunctionDef)}
    return names


@pytest.mark.parametrize("page", PAGES)
def test_named_functions_exist(page):
    missing = [f"{file}: {name}" for file, name in _named(page) if name not in _defined(file)]
    assert missing == []


@pytest.mark.parametrize(
    ("page", "least"),
    [("architecture.md", 40), ("frames.md", 12), ("tiles-and-colours.md", 12), ("fall.md", 30)],
)
def test_page_names_functions(page, least):
    assert len(set(_named(page))) >= least
