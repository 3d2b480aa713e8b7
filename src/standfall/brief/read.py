"""The whole reading of a brief: text to draft, draft to brief, with every finding on the way."""

from __future__ import annotations

from dataclasses import dataclass

from standfall.brief.check import cross_check
from standfall.brief.field import Field
from standfall.brief.hall import Hall
from standfall.brief.line import Line
from standfall.brief.reader import Draft, finished, parse_text, read_draft
from standfall.brief.section import Brief
from standfall.findings import Finding


@dataclass(frozen=True)
class Reading:
    """What came of reading a brief.

    ``brief`` is there when every single key is sound (the keys may still contradict each other,
    so look at ``findings``). The sound parts are there in any case, by their number in the brief,
    so that places can be checked even while another section is being mended.
    """

    brief: Brief | None
    findings: tuple[Finding, ...]
    hall: Hall | None = None
    fields: tuple[tuple[int, Field], ...] = ()
    lines: tuple[tuple[int, Line], ...] = ()


def read_text(data: bytes) -> Reading:
    """Read the bytes of a brief (TOML 1.0.0, UTF-8) and check all of it.

    Args:
        data: the file's bytes.
    """
    parsed, findings = parse_text(data)
    if parsed is None:
        return Reading(None, tuple(findings))
    draft, findings = read_draft(parsed)
    sound = not any(finding.code != "B103" for finding in findings)
    findings += cross_check(draft)
    return Reading(
        brief=finished(Brief, draft) if sound else None,
        findings=tuple(findings),
        hall=_hall(draft.hall),
        fields=tuple((n, finished(Field, item)) for n, item in _sound_items(draft.fields)),
        lines=tuple((n, finished(Line, item)) for n, item in _sound_items(draft.lines)),
    )


def _hall(draft: object) -> Hall | None:
    """Return the hall when it is sound and has a floor, or a drawing that the floor is read from later."""
    if not isinstance(draft, Draft) or not draft.sound:
        return None
    hall: Hall = finished(Hall, draft)
    return hall if hall.outline_m or hall.drawing is not None else None


def _sound_items(items: object) -> list[tuple[int, Draft]]:
    if not isinstance(items, list):
        return []
    return [(n, item) for n, item in enumerate(items) if item.sound]
