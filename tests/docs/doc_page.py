"""Pages of the documentation, and their regions that are written by a program.

A region begins with a line ``<!-- NAME: WHAT -->`` and ends with the next line ``<!-- end -->``.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).parents[2]
SOURCE = ROOT / "src"
DOCS = ROOT / "docs"

_REGION = re.compile(r"^<!-- (?P<name>[a-z]+): (?P<what>.+?) -->\n(?P<body>.*?)^<!-- end -->$", re.M | re.S)
_FENCE = re.compile(r"^```(?P<kind>[a-z]*)\n(?P<body>.*?)^```$", re.M | re.S)
_HEADING = re.compile(r"^(?P<level>#+) (?P<text>.+)$", re.M)


def read_page(name: str) -> str:
    """Return the text of a page of ``docs``."""
    return (DOCS / name).read_text(encoding="utf-8")


def regions(text: str, name: str) -> dict[str, str]:
    """Return the bodies of the regions of one name, by what they show."""
    return {match["what"]: match["body"] for match in _REGION.finditer(text) if match["name"] == name}


def with_regions(text: str, makers: dict[str, Callable[[str], str]]) -> str:
    """Return the page with the regions of the given names written anew.

    Args:
        text: the page.
        makers: for a region's name, the function that makes its body from what it shows.
    """

    def written(match: re.Match[str]) -> str:
        if match["name"] not in makers:
            return match[0]
        body = makers[match["name"]](match["what"])
        return f"<!-- {match['name']}: {match['what']} -->\n{body.rstrip()}\n<!-- end -->"

    return _REGION.sub(written, text)


def blocks(text: str, kind: str) -> list[str]:
    """Return the bodies of the fenced blocks of one kind, such as ``toml``."""
    return [match["body"] for match in _FENCE.finditer(text) if match["kind"] == kind]


def headings(text: str) -> list[str]:
    """Return the texts of all headings; lines within fenced blocks are none."""
    return [match["text"] for match in _HEADING.finditer(_FENCE.sub("", text))]


def anchor(heading: str) -> str:
    """Return the link target of a heading: lower case, blanks to hyphens, other signs dropped.

    Common practice of pages on code hosts, no source; the tests hold links within pages against it.
    """
    kept = re.sub(r"[^\w\- ]", "", heading.strip().lower())
    return kept.replace(" ", "-")


def section(text: str, heading: str) -> str:
    """Return what stands under a heading, up to the next one of its level or above."""
    lines = text.splitlines()
    found = [number for number, line in enumerate(lines) if re.fullmatch(rf"#+ {re.escape(heading)}", line)]
    if not found:
        raise KeyError(heading)
    level = len(lines[found[0]]) - len(lines[found[0]].lstrip("#"))
    body = []
    for line in lines[found[0] + 1 :]:
        match = re.match(r"(#+) ", line)
        if match and len(match[1]) <= level:
            break
        body.append(line)
    return "\n".join(body)


def table_rows(text: str) -> list[list[str]]:
    """Return the cells of all table lines but heads and rules, white space trimmed."""
    lines = [line for line in text.splitlines() if line.startswith("|")]
    rule = re.compile(r"\|(\s*:?-+:?\s*\|)+")
    return [
        [cell.strip() for cell in re.split(r"(?<!\\)\|", line)[1:-1]]
        for number, line in enumerate(lines)
        if not rule.fullmatch(line) and not (number + 1 < len(lines) and rule.fullmatch(lines[number + 1]))
    ]
