"""The findings of keys that do not go together: the same few kinds, whatever the section."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Iterator

from standfall.brief.reader import Draft
from standfall.findings import Finding, make_finding

# Lengths in a brief are given to a hundredth of a millimetre at best; closer numbers are the same.
SAME_LENGTH_M = 5e-6


def contradiction(where: str, message: str, value: str | float, limit: str, next_step: str) -> Finding:
    """Return a B111: keys that contradict each other."""
    return make_finding("B111", where, message, value=value, limit=limit, next_step=next_step)


def missing(where: str, message: str, limit: str, next_step: str) -> Finding:
    """Return a B104 for a key that another key makes necessary."""
    return make_finding("B104", where, message, value="missing", limit=limit, next_step=next_step)


def outside(where: str, message: str, value: float, limit: str, next_step: str) -> Finding:
    """Return a B106 for a number whose bound is set by another key."""
    return make_finding("B106", where, message, value=value, limit=limit, next_step=next_step)


def no_such(where: str, what: str, name: str, names: list[str], *, before: bool = False) -> Finding:
    """Return a B110: a name that nothing carries, with the nearest there is.

    Args:
        where: place of the key that holds the name.
        what: "colour", "line" or "field".
        name: the name written.
        names: those there are.
        before: whether only names earlier in the brief count.
    """
    close = difflib.get_close_matches(name, names, n=1, cutoff=0.5)
    return make_finding(
        "B110",
        where,
        f"no {what} is called {name!r}" + (" before this one" if before else ""),
        value=name,
        limit=", ".join(names) or f"there is no {what}",
        next_step=f"Did you mean {close[0]!r}?" if close else f"Use the name of a {what} of this brief.",
    )


def unique_names(items: Iterable[Draft], where: str) -> Iterator[Finding]:
    """Yield a B109 for each item whose name an earlier one has, capitals and outer blanks ignored."""
    seen: dict[str, int] = {}
    for number, item in enumerate(items):
        if item.name is None:
            continue
        first = seen.setdefault(item.name.strip().casefold(), number)
        if first != number:
            yield make_finding(
                "B109",
                f"{where}[{number}].name",
                f"{where}[{first}] has the same name",
                value=item.name,
                limit="each name once, capitals ignored",
                next_step="Give one of the two another name.",
            )
