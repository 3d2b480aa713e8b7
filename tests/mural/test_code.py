"""Letter codes: different from one another, the same every time, and without letters that look like others."""

from __future__ import annotations

import string

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from standfall.mural.code import letter_codes

names_lists = st.lists(
    st.text(min_size=1, max_size=12)
    | st.sampled_from(
        ["night blue", "kingfisher blue", "ivory", "olive", "Io", "O", "I", "o i", "ivory olive", "翠鳥"]
    ),
    max_size=40,
    unique=True,
)
CLEAR = set(string.ascii_uppercase) - {"I", "O"}


@settings(max_examples=300, deadline=None, derandomize=True)
@given(names_lists)
def test_codes_are_different_clear_and_repeatable(names: list[str]) -> None:
    codes = letter_codes(names)
    assert len(codes) == len(names)
    assert len(set(codes)) == len(codes)
    assert all(len(code) == 2 and set(code) <= CLEAR for code in codes)
    assert letter_codes(names) == codes


@settings(max_examples=100, deadline=None, derandomize=True)
@given(names_lists, st.text(min_size=1, max_size=12))
def test_a_colour_added_at_the_end_changes_no_code(names: list[str], added: str) -> None:
    assert letter_codes([*names, added])[: len(names)] == letter_codes(names)


@pytest.mark.parametrize(
    ("names", "codes"),
    [
        (["night blue", "lake blue"], ("NB", "LB")),  # initials of the two words
        (["sand"], ("SA",)),  # one word: its first two letters
        (["sand", "sand pale"], ("SA", "SP")),
        (["sand", "sable"], ("SA", "SB")),  # S and A is taken: S and the next letter
        (["ivory"], ("JV",)),  # I is written J
        (["olive"], ("QL",)),  # O is written Q
        (["Éclat bleu"], ("EB",)),  # accents are dropped
        (["7 seas"], ("SE",)),  # a number gives no letter
        (["翠鳥", "鳥"], ("XA", "XB")),  # no Latin letter at all
        (["a", "a a", "a b"], ("AA", "AB", "AC")),
        ([], ()),
    ],
)
def test_codes_by_the_rule(names: list[str], codes: tuple[str, ...]) -> None:
    assert letter_codes(names) == codes


def test_more_names_than_pairs_of_letters_take_a_third_letter() -> None:
    names = [f"blue {number}" for number in range(24 * 24 + 100)]
    codes = letter_codes(names)
    assert len(set(codes)) == len(names)
    assert {len(code) for code in codes[: 24 * 24]} == {2}
    assert {len(code) for code in codes[24 * 24 :]} == {3}
