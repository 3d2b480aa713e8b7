"""``docs/dependencies.md`` has a row for each dependency, and no other."""

import re
import tomllib

import pytest
from doc_page import ROOT, read_page, section, table_rows

PAGE = read_page("dependencies.md")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def _names(requirements):
    return {re.match(r"[A-Za-z0-9._-]+", requirement)[0].lower() for requirement in requirements}


@pytest.mark.parametrize(
    ("heading", "requirements"),
    [
        ("At run time", PROJECT["dependencies"]),
        ("On request", PROJECT["optional-dependencies"]["cluster"]),
        ("For tests and checks", PROJECT["optional-dependencies"]["test"]),
    ],
)
def test_table_has_the_dependencies(heading, requirements):
    rows = table_rows(section(PAGE, heading))
    assert {row[0] for row in rows} == _names(requirements)
    for row in rows:
        assert all(row[1:4]), row[0]


def test_every_optional_part_has_a_table():
    assert set(PROJECT["optional-dependencies"]) == {"cluster", "test"}
    assert 'pip install "standfall[cluster]"' in section(PAGE, "On request")
