"""What stands, read from CSV (RFC 4180): good files of both kinds, and every fault with its line."""

from __future__ import annotations

from pathlib import Path

import pytest

from standfall.findings import FileFault
from standfall.intake.state_file import STATES, read_states


def _read(tmp_path: Path, text: str | bytes) -> tuple[list[str], list[tuple[str, str]]]:
    path = tmp_path / "standing.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    states, findings = read_states(path, tiles=4, steps=6)
    assert all(finding.code == "R930" for finding in findings)
    return [STATES[state] for state in states], [(finding.where, str(finding.value)) for finding in findings]


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_tiles_count_from_one(tmp_path: Path, end: str, mark: str) -> None:
    text = mark + end.join(["tile,state,who", "1,laid,Ada", "4,Fallen,", "", '"3", forbidden ,x']) + end
    states, findings = _read(tmp_path, text)
    assert findings == []
    assert states == ["laid", "missing", "forbidden", "fallen", "missing", "missing"]


def test_steps_count_from_zero(tmp_path: Path) -> None:
    states, findings = _read(tmp_path, "state,step\nlaid,0\nlaid,5\n")
    assert findings == []
    assert states == ["laid", *["missing"] * 4, "laid"]


@pytest.mark.parametrize(
    ("row", "value"),
    [
        ("0,laid", "0"),
        ("5,laid", "5"),
        ("-1,laid", "-1"),
        ("1.0,laid", "1.0"),
        ("\u0661,laid", "\u0661"),
        (",laid", ""),
        ("1", ""),
        ("1,up", "up"),
    ],
)
def test_a_faulty_row_is_told_with_its_line(tmp_path: Path, row: str, value: str) -> None:
    states, findings = _read(tmp_path, f"tile,state\n2,laid\n{row}\n")
    assert findings == [("line 3", value)]
    assert states[1] == "laid"


def test_a_tile_named_twice_is_told(tmp_path: Path) -> None:
    _, findings = _read(tmp_path, "tile,state\n2,laid\n2,fallen\n")
    assert findings == [("line 3", "line 3")]


@pytest.mark.parametrize(
    "text", ["", "\n", "tile\n1\n", "tile,step,state\n1,0,laid\n", "tile,state,state\n1,laid,laid\n"]
)
def test_a_file_without_its_columns_is_told(tmp_path: Path, text: str) -> None:
    _, findings = _read(tmp_path, text)
    assert [where for where, _ in findings] == ["line 1"]


def test_what_is_no_text_or_csv_is_told(tmp_path: Path) -> None:
    assert _read(tmp_path, b"tile,state\n1,\xff\n")[1] == [("file", "byte 13")]
    assert [where for where, _ in _read(tmp_path, 'tile,state\n"1,laid\n')[1]] == ["file"]


def test_many_faults_are_cut_short(tmp_path: Path) -> None:
    _, findings = _read(tmp_path, "tile,state\n" + "9,laid\n" * 30)
    assert len(findings) == 21
    assert findings[-1] == ("file", "10")


def test_no_file_is_a_fault_of_the_disk(tmp_path: Path) -> None:
    with pytest.raises(FileFault):
        read_states(tmp_path / "none.csv", 1, 1)
