"""How a broken brief is tried: read and planned in this process, then through the command line."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from standfall.cli.entry import _run
from standfall.findings import CATALOGUE, Finding
from standfall.intake import read_brief
from standfall.planning import make_plan

sys.path.insert(0, str(Path(__file__).parent))  # for what the tests share, in importlib mode too

GRADES = ["blocks", "warns", "notes"]


def _listing(folder: Path) -> dict[str, bytes]:
    return {str(path): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def assert_well_formed(finding: Finding) -> None:
    """A finding says its code, place, value, limit and next step, in letters that can be printed."""
    assert CATALOGUE[finding.code].grade == finding.grade
    for text in (finding.where, finding.message, finding.next_step):
        assert text and text == text.strip()
        assert text.isprintable()
    assert finding.next_step.endswith((".", "?", ")"))
    assert len(finding.message) < 1000
    if finding.grade == "blocks":
        assert finding.value is not None
        assert finding.limit is not None
    json.dumps(finding.as_dict(), allow_nan=False)


@pytest.fixture
def findings_of(capsys: pytest.CaptureFixture[str]) -> Callable[[Path], list[Finding]]:
    """Return the findings of a brief; every way to ask for them must agree, and nothing blocked is written."""

    def find(path: Path) -> list[Finding]:
        outcome = make_plan(read_brief(path))
        for finding in outcome.findings:
            assert_well_formed(finding)
        assert [f.grade for f in outcome.findings] == sorted(
            (f.grade for f in outcome.findings), key=GRADES.index
        )
        if outcome.blocked:
            _assert_refused(path, list(outcome.findings), capsys)
        else:
            assert outcome.plan is not None
        return list(outcome.findings)

    return find


def _assert_refused(path: Path, findings: list[Finding], capsys: pytest.CaptureFixture[str]) -> None:
    before = _listing(path.parent)
    for command in (["check", str(path), "--json"], ["plan", str(path), "--json"]):
        capsys.readouterr()
        assert _run(command, as_json=True) == 2
        out, err = capsys.readouterr()
        told: dict[str, Any] = json.loads(out)
        assert [item["code"] for item in told["findings"]] == [f.code for f in findings]
        assert told["findings"] == [f.as_dict() for f in findings]
        assert "Traceback" not in out + err
    assert _run(["check", str(path)], as_json=False) == 2
    out, err = capsys.readouterr()
    assert "Traceback" not in out + err
    for finding in findings:
        assert finding.code in out
    assert _listing(path.parent) == before
