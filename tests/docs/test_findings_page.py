"""``docs/findings.md`` describes every finding, and every finding is made somewhere."""

import re

import pytest
from doc_page import SOURCE, headings, read_page, regions, section
from finding_table import finding_heading, finding_table

from standfall.findings import CATALOGUE

PAGE = read_page("findings.md")
LETTERS = sorted({code[0] for code in CATALOGUE})
CATALOGUE_FILE = SOURCE / "standfall" / "findings" / "catalogue.py"


def _source():
    files = sorted((SOURCE / "standfall").rglob("*.py"))
    return "\n".join(path.read_text(encoding="utf-8") for path in files if path != CATALOGUE_FILE)


@pytest.mark.parametrize("letter", LETTERS)
def test_overview_is_current(letter):
    assert regions(PAGE, "findings")[letter] == finding_table(letter), (
        "run: python tests/docs/write_tables.py"
    )


@pytest.mark.parametrize("code", CATALOGUE)
def test_cause_and_cure_are_described(code):
    paragraphs = section(PAGE, finding_heading(code)).strip().split("\n\n")
    words = {paragraph.partition(":")[0]: paragraph.partition(":")[2].split() for paragraph in paragraphs}
    assert set(words) == {"Cause", "Cure"}
    assert len(words["Cause"]) >= 5
    assert len(words["Cure"]) >= 3


def test_no_finding_is_described_that_is_not_there():
    described = {heading for heading in headings(PAGE) if re.match(r"[A-Z]\d{3} ", heading)}
    assert described == set(map(finding_heading, CATALOGUE))


@pytest.mark.parametrize("code", CATALOGUE)
def test_finding_is_used(code):
    assert re.search(rf"\b{code}\b", _source())
