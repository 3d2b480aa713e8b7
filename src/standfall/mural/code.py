"""Letter codes for colours, made from their names, so that a sheet reads without seeing colour."""

from __future__ import annotations

import itertools
import unicodedata
from collections.abc import Iterator, Sequence

# Letters that are taken for one another by torchlight: of each group only the first is used
# (common practice, no source).
_CONFUSED = str.maketrans({"I": "J", "O": "Q"})
_SPARE = "ABCDEFGHJKLMNPQRSTUVWXYZ"


def letter_codes(names: Sequence[str]) -> tuple[str, ...]:
    """Give each name a two-letter code, all different, in the order of the names.

    A code is the initials of the first two words, or the first letter of a single word with the
    first later letter that is still free; accents are dropped, I is written J and O is written Q.
    The first name keeps its first choice; a later one that would repeat it takes its next letter,
    then any free letter. Beyond 24 x 24 names a third letter is added.
    """
    taken: set[str] = set()
    codes = []
    for name in names:
        code = next(code for code in _choices(name) if code not in taken)
        taken.add(code)
        codes.append(code)
    return tuple(codes)


def _choices(name: str) -> Iterator[str]:
    plain = unicodedata.normalize("NFKD", name).upper()
    words = [
        "".join(letter for letter in word if letter in _SPARE + "IO").translate(_CONFUSED)
        for word in plain.split()
    ]
    words = [word for word in words if word] or ["X"]
    first = words[0][0]
    # Two words: their initials, then the first initial with later letters of the second word.
    yield from (first + letter for word in words[1:] for letter in word)
    yield from (first + letter for letter in words[0][1:])
    yield from (first + letter for letter in _SPARE)
    yield from (a + b for a, b in itertools.product(_SPARE, repeat=2))
    yield from (a + b + c for a, b, c in itertools.product(_SPARE, repeat=3))
