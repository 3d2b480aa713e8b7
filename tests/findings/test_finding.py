"""Findings: grades from the catalogue, order, plain data; and the errors beside them."""

from __future__ import annotations

import json
import re

import pytest

from standfall.findings import (
    CATALOGUE,
    FileFault,
    Finding,
    StandfallError,
    blocked,
    in_order,
    make_finding,
)

LETTERS = {"B": "1", "P": "2", "C": "3", "S": "4", "T": "5", "K": "6", "F": "7", "H": "8", "R": "9"}


def _finding(code: str, where: str = "brief") -> Finding:
    return make_finding(code, where, "something", value=1, limit=2, next_step="Do this.")


@pytest.mark.parametrize("code", sorted(CATALOGUE))
def test_each_code_is_a_letter_and_a_number_of_its_hundred(code: str) -> None:
    assert re.fullmatch("[BPCSTKFHR][1-9][0-9]{2}", code)
    assert code[1] == LETTERS[code[0]]
    entry = CATALOGUE[code]
    assert entry.grade in ("blocks", "warns", "notes")
    assert entry.title and entry.title == entry.title.strip() and not entry.title.endswith(".")


def test_titles_tell_codes_apart() -> None:
    titles = [entry.title for entry in CATALOGUE.values()]
    assert len(set(titles)) == len(titles)


@pytest.mark.parametrize("code", sorted(CATALOGUE))
def test_a_finding_takes_its_grade_from_the_catalogue(code: str) -> None:
    assert _finding(code).grade == CATALOGUE[code].grade
    assert blocked([_finding(code)]) == (CATALOGUE[code].grade == "blocks")


def test_a_code_that_is_not_in_the_catalogue_is_a_mistake_of_the_program() -> None:
    with pytest.raises(KeyError):
        _finding("B999")


def test_as_dict_is_plain_data_in_reading_order() -> None:
    data = _finding("B104", "field[0].columns").as_dict()
    assert list(data) == ["code", "grade", "where", "message", "value", "limit", "next_step"]
    assert json.loads(json.dumps(data, allow_nan=False)) == data


def test_nothing_blocks_nothing() -> None:
    assert not blocked([])
    assert in_order([]) == ()


def test_order_is_worst_first_then_as_made_and_repeats_are_dropped() -> None:
    note, warning = _finding("C303", "a"), _finding("P207", "b")
    first, second = _finding("B104", "c"), _finding("S401", "d")
    made = [note, first, warning, second, _finding("C303", "a"), first]
    assert in_order(made) == (first, second, warning, note)


def test_a_finding_cannot_be_changed() -> None:
    with pytest.raises(AttributeError):
        _finding("B104").code = "B105"  # type: ignore[misc]


def test_errors_share_one_base_and_carry_the_promised_exit_codes() -> None:
    assert issubclass(FileFault, StandfallError) and FileFault.exit_code == 4
    assert str(FileFault("kingfisher.build: no room")) == "kingfisher.build: no room"
