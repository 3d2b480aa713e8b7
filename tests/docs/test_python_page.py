"""The examples of ``docs/python.md`` run, and print what the page shows."""

import contextlib
import doctest

from doc_page import DOCS, read_page, section

import standfall


def test_examples_print_what_is_shown(tmp_path):
    with contextlib.chdir(tmp_path):
        result = doctest.testfile(str(DOCS / "python.md"), module_relative=False, encoding="utf-8")
    assert result.failed == 0
    assert result.attempted > 50


def test_every_public_function_is_listed_and_used():
    page = read_page("python.md")
    for name in standfall.__all__:
        if not name.startswith("_"):
            assert f"| `{name}(" in section(page, "Python"), name
            assert f"standfall.{name}(" in page, name
