"""Briefs that are no readable TOML text: a finding each, exit code 2, nothing written."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from standfall.brief.reader import TEXT_MOST_BYTES
from standfall.findings import Finding

Findings = Callable[[Path], list[Finding]]
Write = Callable[[dict[str, Any] | bytes], Path]


def _blocking(findings: list[Finding]) -> list[tuple[str, str]]:
    return [(finding.code, finding.where) for finding in findings if finding.grade == "blocks"]


def test_the_small_brief_itself_plans(
    write_brief: Write, small: dict[str, Any], findings_of: Findings
) -> None:
    assert _blocking(findings_of(write_brief(small))) == []


def test_a_missing_brief(job_folder: Path, findings_of: Findings) -> None:
    assert _blocking(findings_of(job_folder / "nothing.toml")) == [("B101", "brief")]


def test_a_folder_for_a_brief(job_folder: Path, findings_of: Findings) -> None:
    (finding,) = findings_of(job_folder)
    assert (finding.code, finding.where) == ("B101", "brief")


def test_a_path_through_a_file(write_brief: Write, small: dict[str, Any], findings_of: Findings) -> None:
    assert _blocking(findings_of(write_brief(small) / "brief.toml")) == [("B101", "brief")]


def test_a_name_longer_than_names_can_be(job_folder: Path, findings_of: Findings) -> None:
    assert _blocking(findings_of(job_folder / ("a" * 300 + ".toml"))) == [("B101", "brief")]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no such device files here")
@pytest.mark.parametrize("device", ["/dev/null", "/dev/zero"])
def test_a_device_for_a_brief_is_read_no_further_than_a_brief_may_be(
    device: str, findings_of: Findings
) -> None:
    from standfall.intake import read_brief

    findings = read_brief(device).findings
    assert findings and all(finding.grade == "blocks" for finding in findings)
    assert ("B101" in {finding.code for finding in findings}) == (device == "/dev/zero")


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 4, "B101"),  # a picture: byte 0x89 begins no UTF-8 letter
        ('[job]\nname = "Eisv\u00f6gel"\n'.encode("latin-1"), "B101"),
        ('[job]\nname = "x"\n'.encode("utf-16"), "B101"),  # byte order mark 0xFF 0xFE
        ('[job]\nname = "x"\n'.encode("utf-16-le"), "B102"),  # UTF-8 by accident, with NUL letters
        (b"\x00" * 100, "B102"),
        (b"x" * (TEXT_MOST_BYTES + 1), "B101"),
        (b"[job\nname = 1\n", "B102"),
        (b"[job]\nname = \n", "B102"),
        (b'[job]\nname = "never closed\n', "B102"),
        (b"just a sentence about kingfishers\n", "B102"),
        (b"[job]\nname = 'a'\nname = 'b'\n", "B102"),
        (b"[job]\nname = 'a'\n[job]\nplace = 'b'\n", "B102"),
        (b"job = 1\n[job]\n", "B102"),
        (b"[[field]]\n[field]\n", "B102"),
        (b"a = " + b"[" * 10_000 + b"]" * 10_000 + b"\n", "B102"),
        (b"a = " + b"{a=" * 10_000 + b"1" + b"}" * 10_000 + b"\n", "B102"),
        (b"a = " + b"9" * 5_000 + b"\n", "B102"),  # Python refuses to read an int of so many digits
        (b"a = 1e\n", "B102"),
        (b"a = 2026-02-30\n", "B102"),
        (b"\xef\xbb\xbf\xef\xbb\xbf[job]\n", "B102"),  # two byte order marks
    ],
)
def test_bytes_that_are_no_toml(data: bytes, code: str, write_brief: Write, findings_of: Findings) -> None:
    assert _blocking(findings_of(write_brief(data))) == [(code, "brief")]


@pytest.mark.parametrize("data", [b"", b"\n\n", b"# nothing but a comment", b"\xef\xbb\xbf"])
def test_an_empty_brief_lacks_all_that_is_needed(
    data: bytes, write_brief: Write, findings_of: Findings
) -> None:
    wanted = [("B104", name) for name in ("job", "hall", "domino", "colour", "field")]
    assert _blocking(findings_of(write_brief(data))) == wanted


def test_a_byte_order_mark_and_windows_line_ends_are_no_fault(
    write_brief: Write,
    small: dict[str, Any],
    to_toml: Callable[[dict[str, Any]], bytes],
    findings_of: Findings,
) -> None:
    text = b"\xef\xbb\xbf" + to_toml(small).replace(b"\n", b"\r\n")
    assert _blocking(findings_of(write_brief(text))) == []


def test_deep_dotted_keys_where_a_text_belongs(
    write_brief: Write,
    small: dict[str, Any],
    to_toml: Callable[[dict[str, Any]], bytes],
    findings_of: Findings,
) -> None:
    del small["job"]
    text = b"[job]\nname" + b".a" * 3_000 + b" = 1\n[more" + b".a" * 3_000 + b"]\n"
    assert _blocking(findings_of(write_brief(to_toml(small) + text))) == [
        ("B103", "more"),
        ("B105", "job.name"),
    ]


def test_an_error_message_does_not_repeat_control_letters(write_brief: Write, findings_of: Findings) -> None:
    (finding,) = findings_of(write_brief(b"\x1b[31mred\x1b[0m = 1\n"))
    assert finding.code == "B102"
    assert finding.message.isprintable()


def test_a_slip_in_the_text_is_placed_by_line(write_brief: Write, findings_of: Findings) -> None:
    # Line 3 lacks its closing bracket; the place must survive however long the parser's words are.
    (finding,) = findings_of(write_brief(b'[job]\nname = "x"\n[hall\n'))
    assert finding.code == "B102"
    assert "line 3" in str(finding.value)
    assert "line 3" in finding.message
