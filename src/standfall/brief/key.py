"""A key of the brief: its name, unit, bounds, default and meaning, said once and used thrice.

The reader checks a value against it, the documentation test describes it, and the dataclass
field that carries it holds the SI value.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any, Literal

from standfall.brief.unit import NONE, Unit

Kind = Literal[
    "number", "whole", "text", "choice", "flag", "numbers", "points", "ranges", "texts", "table", "tables"
]

KIND_WORDS: dict[Kind, str] = {
    "number": "a number",
    "whole": "a whole number",
    "text": "a text in quotes",
    "choice": "one of the listed words in quotes",
    "flag": "true or false",
    "numbers": "a list of numbers",
    "points": "a list of [x, y] pairs",
    "ranges": "a list of [first, last] pairs of whole numbers",
    "texts": "a list of texts in quotes",
    "table": "a section",
    "tables": "a repeated section",
}


@dataclass(frozen=True, slots=True)
class Key:
    """What a key of the brief may hold.

    Bounds (``above``, ``below`` exclusive, ``least``, ``most`` inclusive) are in the unit of the
    file, since that is what the lead reads. ``length`` is the wanted count of a list or, for
    texts, the greatest count of characters. ``section`` is the dataclass of a table.
    """

    name: str
    kind: Kind
    doc: str
    unit: Unit = NONE
    above: float | None = None
    below: float | None = None
    least: float | None = None
    most: float | None = None
    length: int | None = None
    choices: tuple[str, ...] = ()
    section: type[Any] | None = None
    required: bool = True
    default: Any = None

    def bounds_text(self) -> str:
        """Say the bounds in words, empty when there are none."""
        parts = [
            f"{word} {bound:,.10g}"
            for word, bound in (
                ("above", self.above),
                ("at least", self.least),
                ("below", self.below),
                ("at most", self.most),
            )
            if bound is not None
        ]
        unit = f" {self.unit.words}" if self.unit.words and parts else ""
        return " and ".join(parts) + unit


def key(name: str, kind: Kind, doc: str, *, default: Any = dataclasses.MISSING, **rest: Any) -> Any:
    """Declare a dataclass field that is read from the brief's key ``name``.

    ``default`` is in SI (or the text, flag or tuple itself); without one the key is required.
    """
    required = default is dataclasses.MISSING
    entry = Key(name, kind, doc, required=required, default=None if required else default, **rest)
    if required:
        return dataclasses.field(metadata={"key": entry})
    return dataclasses.field(default=default, metadata={"key": entry})


def keys_of(section: type[Any]) -> dict[str, tuple[str, Key]]:
    """Return for a section's dataclass: key name -> (attribute name, key), in written order."""
    return {
        field.metadata["key"].name: (field.name, field.metadata["key"])
        for field in dataclasses.fields(section)
        if "key" in field.metadata
    }
