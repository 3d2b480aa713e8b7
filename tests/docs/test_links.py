"""Every link within the repository leads somewhere."""

import re

import pytest
from doc_page import DOCS, ROOT, anchor, headings

PAGES = sorted([*DOCS.glob("*.md"), *ROOT.glob("*.md")])
_LINK = re.compile(r"\[[^\]]*\]\(([^)\s]+)\)")
_CODE = re.compile(r"^```.*?^```$|`[^`\n]*`", re.M | re.S)


def _links(path):
    text = _CODE.sub("", path.read_text(encoding="utf-8"))
    return [link for link in _LINK.findall(text) if not link.startswith(("http://", "https://", "mailto:"))]


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.name)
def test_links_resolve(path):
    assert [link for link in _links(path) if not _resolves(path, link)] == []


def _resolves(path, link):
    file, _, target = link.partition("#")
    page = (path.parent / file).resolve() if file else path
    if not page.is_relative_to(ROOT) or not page.exists():
        return False
    return not target or target in map(anchor, headings(page.read_text(encoding="utf-8")))


def test_every_page_is_reached_from_another():
    named = {link.partition("#")[0].rpartition("/")[2] for path in PAGES for link in _links(path)}
    assert {path.name for path in DOCS.glob("*.md")} <= named
