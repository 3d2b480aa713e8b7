"""The keys of starters against each other, and against the fields and lines they name."""

from __future__ import annotations

from collections.abc import Iterator

from standfall.brief.key import keys_of
from standfall.brief.mismatch import SAME_LENGTH_M, contradiction, missing, no_such, outside, unique_names
from standfall.brief.reader import Draft
from standfall.brief.starter import Starter
from standfall.brief.unit import MM
from standfall.findings import Finding

# What each kind cannot do without.
NEEDED = {
    "finger": ("speed_m_s",),
    "pusher": ("speed_m_s",),
    "lever": ("speed_m_s",),
    "pendulum": ("mass_kg", "length_m", "release_rad"),
    "ball": ("mass_kg", "ramp_height_m", "ramp_length_m", "diameter_m"),
    "cylinder": ("mass_kg", "ramp_height_m", "ramp_length_m", "diameter_m"),
}
ROLLING = ("ball", "cylinder")
# Kinds that have a key, for the keys that not all kinds have.
OWNERS: dict[str, tuple[str, ...]] = {
    "speed_m_s": ("finger", "pusher", "lever"),
    "arm_ratio": ("lever",),
    "mass_kg": ("pendulum", *ROLLING),
    "length_m": ("pendulum",),
    "release_rad": ("pendulum",),
    "ramp_height_m": ROLLING,
    "ramp_length_m": ROLLING,
    "runout_m": ROLLING,
    "diameter_m": ROLLING,
    "hollow": ROLLING,
    "rail_gap_m": ("ball",),
}
KEYS = dict(keys_of(Starter).values())
TARGETS = ("line", "field", "place_m")


def starter_findings(draft: Draft) -> Iterator[Finding]:
    """Yield what is wrong between the keys of the starters, in the order they are written."""
    starters = draft.starters if isinstance(draft.starters, list) else []
    yield from unique_names(starters, "starter")
    for number, starter in enumerate(starters):
        where = f"starter[{number}]"
        yield from _target(starter, where)
        yield from _place_keys(starter, where)
        yield from _names(starter, draft, where)
        yield from _columns(starter, draft.fields, where)
        if starter.kind is not None:
            yield from _kind_keys(starter, where)
        yield from _ramp(starter, where)
        yield from _height(starter, draft.domino, where)


def _target(starter: Draft, where: str) -> Iterator[Finding]:
    """Exactly one of line, field and place_m; one that is there but faulty counts as given."""
    given = [name for name in TARGETS if not starter.left_out(name)]
    if len(given) != 1:
        yield contradiction(
            where,
            "a starter strikes a line, a field or a place: exactly one of them",
            " and ".join(given) or "none of them",
            "exactly one of line, field, place_m",
            "Keep the one it is to strike." if given else "Add line, field or place_m.",
        )


def _place_keys(starter: Draft, where: str) -> Iterator[Finding]:
    if not starter.left_out("place_m"):
        if starter.left_out("direction_rad"):
            yield missing(
                f"{where}.direction_deg",
                "a starter at a place needs the direction in which it strikes",
                "a number of degrees beside place_m",
                "Add direction_deg: 0 strikes to the right on the drawing, 90 up.",
            )
        return
    for attribute, why in (
        ("direction_rad", "a line or field has a direction of its own"),
        ("width_m", "on a line or field the striking edge is as wide as what it strikes"),
    ):
        name = KEYS[attribute].name
        if getattr(starter, attribute) is not None:
            yield contradiction(
                f"{where}.{name}",
                f"{name} goes with place_m only: {why}",
                f"{name} without place_m",
                f"place_m beside {name}",
                f"Remove {name}, or give place_m instead of line or field.",
            )


def _names(starter: Draft, draft: Draft, where: str) -> Iterator[Finding]:
    for attribute, what, items in (
        ("line", "line", draft.lines),
        ("field", "field", draft.fields),
        ("waits_for", "line", draft.lines),
    ):
        name = getattr(starter, attribute)
        if name is None or items is None or name in (names := [item.name for item in items]):
            continue
        # It may be the one whose name could not be read, and that has been told already.
        if None not in names:
            yield no_such(f"{where}.{attribute}", what, name, names)


def _columns(starter: Draft, fields: object, where: str) -> Iterator[Finding]:
    given = {
        name: getattr(starter, name)
        for name in ("first_col", "last_col")
        if getattr(starter, name) is not None
    }
    if given and starter.left_out("field"):
        yield contradiction(
            where,
            "columns are given, but no field to count them in",
            ", ".join(given),
            "field beside them",
            "Add field with the name of a field, or remove them.",
        )
        return
    columns = _columns_of(starter.field, fields)
    beyond = {} if columns is None else {name: col for name, col in given.items() if col >= columns}
    for name, column in beyond.items():
        last = (columns or 1) - 1
        yield outside(
            f"{where}.{name}",
            f"the field has no column {column}: its columns count from 0",
            column,
            f"0 to {last}",
            f"Give a column from 0 to {last}.",
        )
    if len(given) == 2 and not beyond and given["last_col"] < given["first_col"]:
        yield outside(
            f"{where}.last_col",
            "the last column lies before the first",
            given["last_col"],
            f"{given['first_col']} or more, as first_col",
            "Swap first_col and last_col.",
        )


def _columns_of(name: str | None, fields: object) -> int | None:
    """Return the columns of the field of that name, ``None`` when it or they cannot be told."""
    found = [field.columns for field in fields if field.name == name] if isinstance(fields, list) else []
    return found[0] if name is not None and found else None


def _kind_keys(starter: Draft, where: str) -> Iterator[Finding]:
    kind = starter.kind
    for attribute in NEEDED[kind]:
        if starter.left_out(attribute):
            entry = KEYS[attribute]
            yield missing(
                f"{where}.{entry.name}",
                f"a {kind} needs {entry.name}: {entry.doc}",
                f"a number, {entry.bounds_text()}",
                f"Add {where}.{entry.name}.",
            )
    for attribute, owners in OWNERS.items():
        entry, value = KEYS[attribute], getattr(starter, attribute)
        # A key that says what would be so anyway does no harm.
        if kind in owners or value in (None, entry.default):
            continue
        yield contradiction(
            f"{where}.{entry.name}",
            f"a {kind} has no {entry.name}",
            kind,
            f"kind = {_either(owners)}",
            f"Remove {entry.name}, or change kind.",
        )


def _either(kinds: tuple[str, ...]) -> str:
    return " or ".join(f'"{kind}"' for kind in kinds)


def _ramp(starter: Draft, where: str) -> Iterator[Finding]:
    if starter.kind is not None and starter.kind not in ROLLING:
        return  # its ramp is refused as a whole
    height, length = starter.ramp_height_m, starter.ramp_length_m
    if None not in (height, length) and height > length - SAME_LENGTH_M:
        yield contradiction(
            f"{where}.ramp_length_mm",
            "the ramp is not longer along its slope than it is high",
            MM.from_si(length),
            f"more than {MM.from_si(height):g} mm, as ramp_height_mm",
            "Measure ramp_length_mm along the slope and ramp_height_mm straight up.",
        )
    gap, diameter = starter.rail_gap_m, starter.diameter_m
    if starter.kind != "cylinder" and None not in (gap, diameter) and gap > diameter - SAME_LENGTH_M:
        yield contradiction(
            f"{where}.rail_gap_mm",
            "the ball falls through between its rails",
            MM.from_si(gap),
            f"less than {MM.from_si(diameter):g} mm, as diameter_mm",
            "Set the rails closer, or take a larger ball.",
        )


def _height(starter: Draft, domino: Draft | None, where: str) -> Iterator[Finding]:
    if domino is None or None in (domino.height_m, starter.strike_height_m):
        return
    if starter.strike_height_m > domino.height_m + SAME_LENGTH_M:
        yield outside(
            f"{where}.strike_height_mm",
            "it strikes above the domino and passes over it",
            MM.from_si(starter.strike_height_m),
            f"at most {MM.from_si(domino.height_m):g} mm, as domino.height_mm",
            f"Strike at about {MM.from_si(0.75 * domino.height_m):g} mm.",
        )


def vibration(fall: object) -> Iterator[Finding]:
    """Yield a B104 when only one of the vibration's speed and frequency is given."""
    if not isinstance(fall, Draft):
        return
    pair = {"vibration_mm_s": "vibration_m_s", "vibration_hz": "vibration_hz"}
    absent = [name for name, attribute in pair.items() if fall.left_out(attribute)]
    if len(absent) == 1:
        (given,) = set(pair) - set(absent)
        yield missing(
            f"fall.{absent[0]}",
            f"{given} says nothing without {absent[0]}",
            f"{absent[0]} beside {given}",
            f"Add fall.{absent[0]}, or remove fall.{given}.",
        )
