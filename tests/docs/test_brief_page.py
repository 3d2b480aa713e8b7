"""``docs/brief.md`` says what the brief's keys say, and its snippets plan."""

import re

import pytest
from doc_page import blocks, read_page, regions, section
from key_table import SECTIONS, key_table

from standfall.brief import Brief, keys_of
from standfall.demo import kingfisher_svg
from standfall.findings import CATALOGUE
from standfall.intake import read_brief
from standfall.planning import make_plan

PAGE = read_page("brief.md")


def _spelled(name):
    entry = keys_of(Brief)[name][1]
    return f"[[{name}]]" if entry.kind == "tables" else f"[{name}]"


@pytest.mark.parametrize("name", SECTIONS)
def test_key_table_is_current(name):
    assert regions(PAGE, "keys")[name] == key_table(name), "run: python tests/docs/write_tables.py"


def test_every_section_of_the_brief_is_described():
    described = set(SECTIONS.values())
    queue = [Brief]
    while queue:
        for _, entry in keys_of(queue.pop()).values():
            if entry.section is not None:
                assert entry.section in described, entry.name
                queue.append(entry.section)
    for name in keys_of(Brief):
        assert section(PAGE, _spelled(name)).strip()


@pytest.mark.parametrize("name", keys_of(Brief))
def test_every_section_has_a_snippet(name):
    snippets = blocks(section(PAGE, _spelled(name)), "toml")
    assert snippets
    assert all(_spelled(name) in snippet for snippet in snippets)


def test_snippets_together_plan(tmp_path):
    (tmp_path / "brief.toml").write_text("\n".join(blocks(PAGE, "toml")), encoding="utf-8")
    (tmp_path / "kingfisher.svg").write_text(kingfisher_svg(), encoding="utf-8")
    outcome = make_plan(read_brief(tmp_path / "brief.toml"))
    assert outcome.plan is not None
    assert [finding for finding in outcome.findings if finding.grade != "notes"] == []
    # 66 x 60 cells of an opaque picture, four rows of them twice, and the two lines.
    assert int((outcome.plan.standing.field == 0).sum()) == 66 * 64
    assert int((outcome.plan.standing.layer == 1).sum()) == 66 * 4


def test_every_check_between_keys_names_a_finding_of_the_catalogue():
    codes = re.findall(r"\b[A-Z]\d{3}\b", section(PAGE, "What is checked between keys"))
    assert len(codes) >= 20
    assert set(codes) <= set(CATALOGUE)
