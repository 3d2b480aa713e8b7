"""The overview of findings in ``docs/findings.md``, from the catalogue itself."""

from __future__ import annotations

from doc_page import anchor

from standfall.findings import CATALOGUE

HEAD = "| code | grade | what it says |\n|---|---|---|\n"


def finding_heading(code: str) -> str:
    """Return the heading under which a finding is described."""
    return f"{code} {CATALOGUE[code].title}"


def finding_table(letter: str) -> str:
    """Return the overview of the codes that begin with a letter."""
    return HEAD + "".join(
        f"| [{code}](#{anchor(finding_heading(code))}) | {entry.grade} | {entry.title} |\n"
        for code, entry in CATALOGUE.items()
        if code.startswith(letter)
    )
