"""One value of the brief against its key: the SI value, or the fault in words."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from standfall.brief.key import KIND_WORDS, Key

# The greatest whole number TOML promises (TOML 1.0.0, section Integer: 64-bit signed).
TOML_WHOLE_MOST = 2**63 - 1
# A number that must be above 0 is refused below this, in the unit of the file.
LEAST_ABOVE_ZERO = 1e-6


class Fault(Exception):
    """A value does not fit its key. Caught by the reader and turned into a finding."""

    def __init__(self, code: str, message: str, limit: str, next_step: str, where: str = "") -> None:
        super().__init__(message)
        self.code = code
        self.message = message
        self.limit = limit
        self.next_step = next_step
        self.where = where


def shown(value: object) -> str | int | float:
    """Return a value as it may be repeated to a person: numbers as they are, the rest short."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int):
        return value if abs(value) <= TOML_WHOLE_MOST else "a number of " + str(value.bit_length()) + " bits"
    if isinstance(value, float):
        return value if math.isfinite(value) else str(value)
    text = value if isinstance(value, str) else _spelled(value)
    text = "".join(letter if letter.isprintable() else "?" for letter in text)
    return text if len(text) <= 60 else text[:57] + "..."


def _spelled(value: object) -> str:
    try:
        return repr(value)
    except (RecursionError, ValueError):  # ValueError: a whole number of more digits than Python writes out
        return "something too deep or too long to repeat"


def _wrong_kind(entry: Key, value: object) -> Fault:
    words = KIND_WORDS[entry.kind]
    return Fault("B105", f"{entry.name} must be {words}", words, f"Write {words} for {entry.name}.")


def _outside(entry: Key, what: str = "") -> Fault:
    bounds = entry.bounds_text()
    return Fault(
        "B106", f"{what or entry.name} must be {bounds}", bounds, f"Give {entry.name} a number {bounds}."
    )


def _in_bounds(entry: Key, value: float) -> bool:
    return not (
        (entry.above is not None and value <= entry.above)
        or (entry.below is not None and value >= entry.below)
        or (entry.least is not None and value < entry.least)
        or (entry.most is not None and value > entry.most)
    )


def _number(entry: Key, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise _wrong_kind(entry, value)
    if isinstance(value, float) and not math.isfinite(value):
        raise Fault(
            "B106",
            f"{entry.name} must be a finite number",
            entry.bounds_text() or "finite",
            f"Give {entry.name} a finite number.",
        )
    if not _in_bounds(entry, value):
        raise _outside(entry)
    # Without bounds an absurd whole number could still overflow a float.
    if abs(value) > 1e300:
        raise Fault(
            "B106", f"{entry.name} is absurdly large", "1e300", f"Give {entry.name} a sensible number."
        )
    # So would a length of 1e-320 mm once something is divided by it; nobody means a millionth of a unit.
    if entry.above == 0 and value < LEAST_ABOVE_ZERO:
        raise Fault(
            "B106",
            f"{entry.name} is absurdly small",
            f"{LEAST_ABOVE_ZERO:g} {entry.unit.words}".strip(),
            f"Give {entry.name} a sensible number.",
        )
    return entry.unit.to_si(float(value))


def _whole(entry: Key, value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise _wrong_kind(entry, value)
    if not _in_bounds(entry, value):
        raise _outside(entry)
    return value


def _text(entry: Key, value: Any) -> str:
    if not isinstance(value, str):
        raise _wrong_kind(entry, value)
    most = entry.length or 1000
    if not value.strip() and entry.required:
        raise Fault(
            "B108", f"{entry.name} is empty", "at least one letter", f"Write a text for {entry.name}."
        )
    if len(value) > most:
        raise Fault("B108", f"{entry.name} is too long", f"{most} letters", f"Shorten {entry.name}.")
    if not all(letter.isprintable() for letter in value):
        raise Fault(
            "B108",
            f"{entry.name} holds letters that cannot be printed",
            "printable letters",
            f"Remove line breaks and control letters from {entry.name}.",
        )
    return value


def _choice(entry: Key, value: Any) -> str:
    if not isinstance(value, str):
        raise _wrong_kind(entry, value)
    if value not in entry.choices:
        words = ", ".join(f'"{choice}"' for choice in entry.choices)
        raise Fault("B107", f"{entry.name} must be one of {words}", words, f"Choose one of {words}.")
    return value


def _flag(entry: Key, value: Any) -> bool:
    if not isinstance(value, bool):
        raise _wrong_kind(entry, value)
    return value


def _items(entry: Key, value: Any, length: int | None = None) -> list[Any]:
    if not isinstance(value, list):
        raise _wrong_kind(entry, value)
    if length is not None and len(value) != length:
        raise Fault(
            "B105",
            f"{entry.name} must have {length} numbers, not {len(value)}",
            f"{length} numbers",
            f"Write {length} numbers for {entry.name}.",
        )
    if len(value) > 100_000:
        raise Fault("B106", f"{entry.name} has too many entries", "100000 entries", f"Shorten {entry.name}.")
    return value


def _numbers(entry: Key, value: Any) -> tuple[float, ...]:
    return tuple(_number(entry, item) for item in _items(entry, value, entry.length))


def _points(entry: Key, value: Any) -> tuple[tuple[float, float], ...]:
    points = []
    for item in _items(entry, value):
        if not isinstance(item, list) or len(item) != 2:
            raise _wrong_kind(entry, value)
        points.append((_number(entry, item[0]), _number(entry, item[1])))
    return tuple(points)


def _ranges(entry: Key, value: Any) -> tuple[tuple[int, int], ...]:
    ranges = []
    for item in _items(entry, value):
        if not isinstance(item, list) or len(item) != 2:
            raise _wrong_kind(entry, value)
        first, last = _whole(entry, item[0]), _whole(entry, item[1])
        if last < first:
            raise Fault(
                "B106",
                f"a range of {entry.name} ends before it begins",
                "[first, last] with last not before first",
                f"Swap the two numbers of [{first}, {last}].",
            )
        ranges.append((first, last))
    return tuple(ranges)


def _texts(entry: Key, value: Any) -> tuple[str, ...]:
    items = _items(entry, value)
    if not items:
        raise Fault(
            "B105", f"{entry.name} is an empty list", "at least one", f"Write at least one for {entry.name}."
        )
    return tuple(_text(entry, item) for item in items)


_READERS: dict[str, Callable[[Key, Any], Any]] = {
    "number": _number,
    "whole": _whole,
    "text": _text,
    "choice": _choice,
    "flag": _flag,
    "numbers": _numbers,
    "points": _points,
    "ranges": _ranges,
    "texts": _texts,
}


def read_value(entry: Key, value: Any) -> Any:
    """Return the SI value of a key that is not a section.

    Raises:
        Fault: the value does not fit; carries what the finding needs.
    """
    return _READERS[entry.kind](entry, value)
