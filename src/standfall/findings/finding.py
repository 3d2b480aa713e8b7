"""One finding: what is wrong or worth knowing, where, how far off, and what to do next."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from standfall.findings.catalogue import CATALOGUE

Grade = Literal["blocks", "warns", "notes"]
Scalar = str | int | float | None

_RANK = {"blocks": 0, "warns": 1, "notes": 2}


@dataclass(frozen=True, slots=True)
class Finding:
    """A numbered finding.

    Attributes:
        code: number in the catalogue, for example ``B104``; stable between versions.
        grade: ``blocks`` (no plan can be made or trusted), ``warns`` (a plan exists, look at
            this first) or ``notes`` (worth knowing).
        where: key path in the brief (``field[0].columns``) or a place in the mural or hall.
        message: one sentence for a person.
        value: what was found.
        limit: what it is held against.
        next_step: what to do about it, in the imperative.
    """

    code: str
    grade: Grade
    where: str
    message: str
    value: Scalar
    limit: Scalar
    next_step: str

    def as_dict(self) -> dict[str, Scalar]:
        """Return the finding as plain data, in the order people read it."""
        return {
            "code": self.code,
            "grade": self.grade,
            "where": self.where,
            "message": self.message,
            "value": self.value,
            "limit": self.limit,
            "next_step": self.next_step,
        }


def make_finding(
    code: str,
    where: str,
    message: str,
    *,
    value: Scalar = None,
    limit: Scalar = None,
    next_step: str,
) -> Finding:
    """Make a finding whose grade is the one the catalogue gives its code.

    Raises:
        KeyError: the code is not in the catalogue (a mistake in this program, not in a brief).
    """
    return Finding(code, CATALOGUE[code].grade, where, message, value, limit, next_step)


def blocked(findings: Iterable[Finding]) -> bool:
    """Tell whether any finding is of grade ``blocks``."""
    return any(finding.grade == "blocks" for finding in findings)


def in_order(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return findings worst grade first, otherwise in the order they were made, without repeats."""
    once = dict.fromkeys(findings)
    return tuple(sorted(once, key=lambda finding: _RANK[finding.grade]))
