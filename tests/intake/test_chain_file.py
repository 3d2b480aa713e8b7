"""Reading the gaps of a chain: CSV as spreadsheets write it, and every slip told with its line."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from standfall.findings import FileFault
from standfall.intake.chain_file import read_chain


@pytest.fixture
def read(tmp_path: Path):
    """Read a chain from bytes."""

    def read_bytes(data: bytes):
        path = tmp_path / "gaps.csv"
        path.write_bytes(data)
        gap_m, findings = read_chain(path)
        assert all(finding.code == "F723" and finding.grade == "blocks" for finding in findings)
        assert not (findings and len(gap_m))
        return gap_m, findings

    return read_bytes


# RFC 4180: lines end in CR LF, the last one may lack its end; fields may be quoted, and a quoted one may hold line
# ends, commas and doubled quotes. Byte order mark: the Unicode Standard, section 23.8.
GOOD = {
    "plain": b"gap_mm\n10\n12.5\n",
    "no last line end": b"gap_mm\n10\n12.5",
    "carriage returns": b"gap_mm\r\n10\r\n12.5\r\n",
    "carriage returns only": b"gap_mm\r10\r12.5\r",
    "byte order mark": b"\xef\xbb\xbfgap_mm\n10\n12.5\n",
    "quoted": b'"gap_mm"\n"10"\n"12.5"\n',
    "blanks": b" gap_mm \n 10\n\t12.5 \n",
    "empty lines": b"gap_mm\n\n10\n\n\n12.5\n\n",
    "empty cells after the last": b"gap_mm,,\n10,,\n12.5,,\n",
    "longer lines of nothing": b"gap_mm\n10,,\n12.5,\n",
    "other columns": b"place,gap_mm,note\n0,10,wide\n1,12.5\n",
    "quoted comma and line end": b'note,gap_mm\n"a, ""b""\nc",10\nd,12.5\n',
    "other ways to write it": b"gap_mm\n+1e1\n0012.500\n",
}


@pytest.mark.parametrize("name", GOOD)
def test_gaps_come_in_metres_and_in_order(name, read):
    gap_m, findings = read(GOOD[name])
    assert findings == ()
    assert gap_m.dtype == np.float64
    np.testing.assert_array_equal(gap_m, [0.01, 0.0125])


def test_ends_of_the_range_are_taken_and_zero_has_no_sign(read):
    gap_m, findings = read(b"gap_mm\n-0.0\n0\n10000\n")
    assert findings == ()
    np.testing.assert_array_equal(gap_m, [0.0, 0.0, 10.0])
    assert not np.signbit(gap_m).any()


BAD_LINES = {
    "no number": (b"wide", "wide"),
    "none": (b'""', ""),
    "nan": (b"nan", "nan"),
    "infinite": (b"inf", "inf"),
    "too large to be one": (b"1e400", "1e400"),
    "negative": (b"-1", "-1"),
    "far too wide": (b"10000.001", "10000.001"),
    "quoted decimal comma": (b'"10,5"', "10,5"),
    "Python's own thousands": (b"1_0", "1_0"),
    "a unit": (b"10 mm", "10 mm"),
    "a zero byte": (b"1\x000", "1\x000"),
    "two in a vertical tab": (b"10\x0b12", "10\x0b12"),
    "very long": (b"9" * 5000, "9" * 57 + "..."),
}


@pytest.mark.parametrize("name", BAD_LINES)
def test_a_bad_line_is_told_with_its_number_and_what_stands_there(name, read):
    cell, shown = BAD_LINES[name]
    _, (finding,) = read(b"gap_mm,x\n10,1\n\n" + cell + b",1\n12,1\n")
    assert (finding.where, finding.value) == ("line 4", shown)
    assert finding.limit == "0 to 10,000"


def test_a_decimal_comma_is_not_taken_for_whole_millimetres(read):
    # 10,5 below a single column is two cells: to read 10 would be half a millimetre off without a word.
    _, findings = read(b"gap_mm\n10,5\n12,0\n")
    assert [(finding.where, finding.value, finding.limit) for finding in findings] == [
        ("line 2", 2, "1"),
        ("line 3", 2, "1"),
    ]
    assert "decimal point" in findings[0].message


def test_lines_are_counted_as_an_editor_does_even_after_a_quoted_line_end(read):
    _, (finding,) = read(b'x,gap_mm\n"a\nb",10\nc,wide\n')  # wide stands in the fourth line
    assert finding.where == "line 4"


def test_of_many_bad_lines_the_first_twenty_are_told_and_the_rest_counted(read):
    _, findings = read(b"gap_mm\n" + b"x\n" * 1234 + b"10\n")
    assert [finding.where for finding in findings] == [*(f"line {n}" for n in range(2, 22)), "file"]
    assert findings[-1].value == 1234 and "1,214 more" in findings[-1].message
    _, findings = read(b"gap_mm\n" + b"x\n" * 20)
    assert len(findings) == 20 and findings[-1].where == "line 21"


BAD_FILES = {
    "empty": (b"", "line 1", "nothing"),
    "another column": (b"gap\n1\n", "line 1", "gap"),
    "capital letters": (b"GAP_MM\n1\n", "line 1", "GAP_MM"),
    "two of them": (b"gap_mm,gap_mm\n1,2\n", "line 1", "gap_mm, gap_mm"),
    "semicolons": (b"gap_mm;note\n10;a\n", "line 1", "gap_mm;note"),
    "tabs": (b"gap_mm\tnote\n10\ta\n", "line 1", "gap_mm\tnote"),
    "a line before": (b"my gaps\ngap_mm\n10\n", "line 1", "my gaps"),
    "an empty line before": (b"\ngap_mm\n10\n", "line 1", "nothing"),
    "no header": (b"10\n12\n", "line 1", "10"),
    "a very long one": (b"a" * 5000 + b"\n1\n", "line 1", "a" * 57 + "..."),
    "UTF-16": ("gap_mm\n10\n".encode("utf-16"), "file", "byte 0"),
    "Latin-1": (b"gap_mm,\xe9\n10,1\n", "file", "byte 7"),
    "no gap": (b"gap_mm\n", "file", 0),
    "no gap but blanks": (b"gap_mm\n\n \n", "file", 0),
    "an open quote": (b'gap_mm\n"10\n12\n', "file", "gaps.csv"),
    "letters after a quote": (b'gap_mm\n"10"mm\n', "file", "gaps.csv"),
}


@pytest.mark.parametrize("name", BAD_FILES)
def test_a_file_that_is_none(name, read):
    data, where, value = BAD_FILES[name]
    _, (finding,) = read(data)
    assert (finding.where, finding.value) == (where, value)
    assert "gap_mm" in finding.next_step


def test_more_gaps_than_it_reads(read, monkeypatch):
    monkeypatch.setattr("standfall.intake.chain_file.MOST_GAPS", 500)  # the real two million take seconds
    gap_m, findings = read(b"gap_mm\n" + b"9\n" * 500)
    assert findings == () and len(gap_m) == 500
    _, (finding,) = read(b"gap_mm\n" + b"9\n" * 501)
    assert (finding.where, finding.value, finding.limit) == ("file", 501, "1 to 500 gaps")


@pytest.mark.parametrize("name", ["lost.csv", ".", "lost/gaps.csv"])
def test_what_cannot_be_read_is_a_file_fault(name, tmp_path):
    with pytest.raises(FileFault, match="cannot be read"):
        read_chain(tmp_path / name)
