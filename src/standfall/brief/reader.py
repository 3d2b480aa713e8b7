"""From the text of a brief to a draft: every key looked at, every fault a finding, none the last.

A key whose value does not fit is left out of the draft (``None``), so that the checks between
keys can go on with what is sound and the lead sees all faults in one go.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from types import SimpleNamespace
from typing import Any

from standfall.brief.key import KIND_WORDS, Key, keys_of
from standfall.brief.section import Brief
from standfall.brief.value import Fault, read_value, shown
from standfall.findings import Finding, make_finding

TEXT_MOST_BYTES = 4 * 1024 * 1024


class Draft(SimpleNamespace):
    """A section with what could be read of it; attributes as its dataclass has, ``None`` where bad.

    ``sound`` is false when a key of this section, or of a section within it, had a fault; ``faulty``
    names the attributes it had them in, so that a bad key is not also called missing.
    """

    sound: bool
    faulty: set[str]

    def left_out(self, attribute: str) -> bool:
        """Tell whether an optional key without a default is not there, rather than there and bad."""
        return getattr(self, attribute) is None and attribute not in self.faulty


def parse_text(data: bytes) -> tuple[dict[str, Any] | None, list[Finding]]:
    """Parse the bytes of a brief as TOML 1.0.0 in UTF-8; nothing in it is ever executed."""
    if len(data) > TEXT_MOST_BYTES:
        return None, [
            make_finding(
                "B101",
                "brief",
                "the brief is far too large",
                value=len(data),
                limit=TEXT_MOST_BYTES,
                next_step="Check that this is the TOML brief and not another file.",
            )
        ]
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        return None, [
            make_finding(
                "B101",
                "brief",
                "the brief is not a UTF-8 text",
                value=f"byte {error.start}",
                limit="UTF-8",
                next_step="Save the brief as plain text in UTF-8.",
            )
        ]
    try:
        return tomllib.loads(text), []
    except (tomllib.TOMLDecodeError, ValueError) as error:
        return None, [_not_toml(str(error))]
    except RecursionError:
        return None, [_not_toml("lists or tables nested too deep")]


def _not_toml(reason: str) -> Finding:
    # The parser ends its words with the place; that is what the lead needs first, so it is never cut.
    place = re.search(r"\(at (.+)\)$", reason)
    words = reason[: place.start()].strip() if place else reason
    where = place[1] if place else "the whole text"
    return make_finding(
        "B102",
        "brief",
        f"the brief is not valid TOML at {where}: {shown(words)}",
        value=where,
        limit="TOML 1.0.0",
        next_step="Mend the line named; texts need quotes, sections stand in [brackets].",
    )


def read_draft(data: dict[str, Any]) -> tuple[Draft, list[Finding]]:
    """Read parsed TOML into a draft of the whole brief and the findings of single keys."""
    findings: list[Finding] = []
    return _section(Brief, data, "", findings), findings


def _join(path: str, name: str) -> str:
    return f"{path}.{name}" if path else name


def _section(section: type[Any], data: dict[str, Any], path: str, findings: list[Finding]) -> Draft:
    known = keys_of(section)
    draft = Draft(sound=True, faulty=set())
    findings.extend(_unknown(name, path, known) for name in data if name not in known)
    for name, (attribute, entry) in known.items():
        before = len(findings)
        setattr(draft, attribute, _entry(entry, data, name, path, findings))
        if len(findings) > before:
            draft.sound = False
            draft.faulty.add(attribute)
    return draft


def _unknown(name: str, path: str, known: dict[str, tuple[str, Key]]) -> Finding:
    kind = "key" if path else "section"
    close = difflib.get_close_matches(name, known, n=1, cutoff=0.6)
    step = (
        f"Did you mean {_join(path, close[0])}?"
        if close
        else f"Remove it, or look the {kind} up in the brief page."
    )
    return make_finding(
        "B103",
        str(shown(_join(path, name))),
        f"there is no {kind} {shown(name)} here",
        value=shown(name),
        limit=", ".join(known),
        next_step=step,
    )


def _entry(entry: Key, data: dict[str, Any], name: str, path: str, findings: list[Finding]) -> Any:
    where = _join(path, name)
    if name not in data:
        if entry.required:
            findings.append(_missing(entry, where))
            return None
        return entry.default
    value = data[name]
    if entry.kind == "table":
        return _table(entry, value, where, findings)
    if entry.kind == "tables":
        return _tables(entry, value, where, findings)
    try:
        return read_value(entry, value)
    except Fault as fault:
        findings.append(_from_fault(fault, where, value))
        return None


def _from_fault(fault: Fault, where: str, value: object) -> Finding:
    return make_finding(
        fault.code, where, fault.message, value=shown(value), limit=fault.limit, next_step=fault.next_step
    )


def _missing(entry: Key, where: str) -> Finding:
    bounds = entry.bounds_text()
    words = KIND_WORDS[entry.kind] + (f", {bounds}" if bounds else "")
    return make_finding(
        "B104",
        where,
        f"{where} is missing: {entry.doc}",
        value="missing",
        limit=words,
        next_step=f"Add {where} to the brief.",
    )


def _table(entry: Key, value: Any, where: str, findings: list[Finding]) -> Draft | None:
    if not isinstance(value, dict) or entry.section is None:
        findings.append(_not_section(entry, where, value, f"[{where}]"))
        # There, though nothing of it could be read: it must not be called missing too.
        return None if entry.section is None else _unread(entry.section)
    return _section(entry.section, value, where, findings)


def _unread(section: type[Any]) -> Draft:
    attributes = [attribute for attribute, _ in keys_of(section).values()]
    return Draft(sound=False, faulty=set(attributes), **dict.fromkeys(attributes))


def _tables(entry: Key, value: Any, where: str, findings: list[Finding]) -> list[Draft] | None:
    if (
        not isinstance(value, list)
        or not all(isinstance(item, dict) for item in value)
        or entry.section is None
    ):
        findings.append(_not_section(entry, where, value, f"[[{where}]]"))
        return None
    if not (entry.least or 0) <= len(value) <= (entry.most or 10_000):
        findings.append(
            make_finding(
                "B106",
                where,
                f"there are {len(value)} of {where}",
                value=len(value),
                limit=entry.bounds_text(),
                next_step=f"The brief takes {entry.bounds_text()} of {where}.",
            )
        )
    return [
        _section(entry.section, item, f"{where}[{number}]", findings)
        for number, item in enumerate(value[: int(entry.most or 10_000)])
    ]


def _not_section(entry: Key, where: str, value: object, spelling: str) -> Finding:
    return make_finding(
        "B105",
        where,
        f"{where} must be {KIND_WORDS[entry.kind]}",
        value=shown(value),
        limit=KIND_WORDS[entry.kind],
        next_step=f"Write it as a section headed {spelling}.",
    )


def finished(section: type[Any], draft: Draft) -> Any:
    """Turn a draft without faults into its frozen dataclass, sections within it included."""
    values = {}
    for attribute, entry in keys_of(section).values():
        value = getattr(draft, attribute)
        if entry.section is not None and isinstance(value, Draft):
            value = finished(entry.section, value)
        elif entry.section is not None and isinstance(value, list):
            value = tuple(finished(entry.section, item) for item in value)
        values[attribute] = value
    return section(**values)
