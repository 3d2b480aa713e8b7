"""The tables of keys in ``docs/brief.md``, from the sections of the brief themselves."""

from __future__ import annotations

from typing import Any

from standfall.brief import (
    Area,
    Brief,
    Camera,
    Colour,
    Colouring,
    Crew,
    Dock,
    Domino,
    FallConditions,
    Field,
    Hall,
    Job,
    Key,
    Laying,
    Line,
    Papers,
    PathPart,
    Robot,
    RobotPart,
    Starter,
    Tray,
    keys_of,
)

SECTIONS: dict[str, type[Any]] = {
    "brief": Brief,
    "job": Job,
    "hall": Hall,
    "domino": Domino,
    "colour": Colour,
    "colouring": Colouring,
    "tray": Tray,
    "field": Field,
    "line": Line,
    "line.path": PathPart,
    "fall": FallConditions,
    "starter": Starter,
    "area": Area,
    "dock": Dock,
    "robot": Robot,
    "robot.part": RobotPart,
    "crew": Crew,
    "laying": Laying,
    "camera": Camera,
    "papers": Papers,
}

KINDS = {
    "number": "number",
    "whole": "whole number",
    "text": "text",
    "choice": "one word",
    "flag": "true or false",
    "numbers": "list of numbers",
    "points": "list of [x, y]",
    "ranges": "list of [first, last]",
    "texts": "list of texts",
    "table": "section",
    "tables": "repeated section",
}

KEY_HEAD = "| key | kind | unit | bounds | default | meaning |\n|---|---|---|---|---|---|\n"
SECTION_HEAD = "| section | how often | meaning |\n|---|---|---|\n"


def key_table(name: str) -> str:
    """Return the table of a section's keys, or for ``brief`` that of the sections."""
    keys = [entry for _, entry in keys_of(SECTIONS[name]).values()]
    if name == "brief":
        return SECTION_HEAD + "".join(map(_section_row, keys))
    return KEY_HEAD + "".join(map(_key_row, keys))


def _section_row(entry: Key) -> str:
    if entry.kind == "tables":
        often = entry.bounds_text() or "any number"
        name = f"`[[{entry.name}]]`"
    else:
        often = "once" if entry.required else "at most once"
        name = f"`[{entry.name}]`"
    return f"| {name} | {often} | {entry.doc} |\n"


def _key_row(entry: Key) -> str:
    cells = (
        f"`{entry.name}`",
        KINDS[entry.kind],
        entry.unit.words,
        _bounds(entry),
        _default(entry),
        entry.doc,
    )
    return "| " + " | ".join(cell.replace("|", r"\|") for cell in cells) + " |\n"


def _bounds(entry: Key) -> str:
    parts = [f"`{choice}`" for choice in entry.choices]
    if parts:
        return ", ".join(parts)
    bounds = entry.bounds_text().removesuffix(f" {entry.unit.words}")
    if entry.kind == "text":
        return f"at most {entry.length or 1000} letters"
    if entry.kind in ("numbers", "points", "ranges"):
        count = f"{entry.length} of them" if entry.length else ""
        return ", ".join(part for part in (count, f"each {bounds}" if bounds else "") if part)
    return bounds


def _default(entry: Key) -> str:
    if entry.required:
        return "needed"
    if entry.default is None:
        return "left out"
    return f"`{_spelled(entry, entry.default)}`"


def _spelled(entry: Key, value: Any) -> str:
    """Spell a default as the brief would."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, tuple):
        return "[" + ", ".join(_spelled(entry, item) for item in value) + "]"
    return f"{entry.unit.from_si(value):g}"
