"""Mutated briefs: whatever happens to the text, reading and planning give findings and raise nothing."""

from __future__ import annotations

import random
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from shapely import box

import standfall
from standfall.brief import read_text
from standfall.demo import brief_text
from standfall.findings import CATALOGUE
from standfall.hall import make_site, mural_findings

CHUNKS, IN_CHUNK = 10, 50
VALUE = re.compile(r"(?<== )[^\n#{\[]+?(?=\s*(?:#|\n|$))|(?<=[\[, {])-?\d[\d.]*")
ODD = [
    *(
        "0",
        "-1",
        "1",
        "2",
        "0.5",
        "1e-9",
        "1e308",
        "-1e308",
        "nan",
        "inf",
        "true",
        '""',
        '"x"',
        "[]",
        "{}",
        "[[]]",
    ),
    *(
        "99999999999999999999",
        "0x7fffffffffffffff",
        "1979-05-27",
        "-0.0",
        "[0, 0]",
        "[[0, 0]]",
        "'''\n'''",
        "19999",
    ),
]


def _shrunken(laid: bool = True) -> str:
    """The demo's brief on a field of 44 x 30 cells, with little in stock and a PNG for its picture.

    Without its hall's furniture no laying is planned, which takes longer than all the rest.
    """
    text = brief_text()
    if not laid:
        begin, end = text.index("[[area]]"), text.index("[camera]")
        text = text[:begin] + text[end:]
    for old, new in (
        ("columns = 330", "columns = 44"),
        ("rows = 300", "rows = 30"),
        ("kingfisher.svg", "picture.png"),
    ):
        assert old in text
        text = text.replace(old, new)
    return re.sub(r"stock = \d+", "stock = 240", text)


def _flip_bytes(text: str, rng: random.Random) -> bytes:
    data = bytearray(text.encode())
    for _ in range(rng.randint(1, 4)):
        data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
    return bytes(data)


def _drop_lines(text: str, rng: random.Random) -> bytes:
    lines = text.split("\n")
    for _ in range(rng.randint(1, 5)):
        del lines[rng.randrange(len(lines))]
    return "\n".join(lines).encode()


def _move_lines(text: str, rng: random.Random) -> bytes:
    lines = text.split("\n")
    begun, to = rng.randrange(len(lines)), rng.randrange(len(lines))
    moved = lines[begun : begun + rng.randint(1, 8)]
    rest = lines if rng.random() < 0.5 else lines[:begun] + lines[begun + len(moved) :]
    return "\n".join(rest[:to] + moved + rest[to:]).encode()


def _swap_values(text: str, rng: random.Random) -> bytes:
    values = list(VALUE.finditer(text))
    if len(values) < 2:  # whatever was there has been cut off by mutations before
        return text.encode()
    first, second = sorted(rng.sample(values, 2), key=lambda match: match.start())
    return (
        text[: first.start()]
        + second.group()
        + text[first.end() : second.start()]
        + first.group()
        + text[second.end() :]
    ).encode()


def _odd_value(text: str, rng: random.Random) -> bytes:
    found = rng.choice(list(VALUE.finditer(text)))
    return (text[: found.start()] + rng.choice(ODD) + text[found.end() :]).encode()


def _cut_off(text: str, rng: random.Random) -> bytes:
    return text.encode()[: rng.randrange(len(text))]


MUTATIONS = (
    _flip_bytes,
    _drop_lines,
    _move_lines,
    _swap_values,
    _swap_values,
    _odd_value,
    _odd_value,
    _cut_off,
)


def test_the_shrunken_demo_plans(write_brief: Callable[[bytes], Path]) -> None:
    outcome = standfall.plan(standfall.read_brief(write_brief(_shrunken().encode())))
    assert outcome.plan is not None and not outcome.blocked


@pytest.mark.parametrize("chunk", range(CHUNKS))
def test_mutated_briefs_never_raise(chunk: int, write_brief: Callable[[bytes], Path]) -> None:
    rng = random.Random(100 + chunk)
    text = _shrunken(laid=chunk < 2)
    for _ in range(IN_CHUNK):
        mutated = rng.choice(MUTATIONS)(text, rng)
        if rng.random() < 0.25:  # a second fault on top, where the text is still one
            mutated = rng.choice(MUTATIONS)(mutated.decode("utf-8", "replace") + "\n" * 9, rng)
        outcome = standfall.plan(standfall.read_brief(write_brief(mutated)))
        _assert_sound(outcome)


def test_mutated_falls_and_starters_never_raise() -> None:
    # The part of the demo's brief about the fall, mutated by itself: elsewhere it is hit too seldom.
    before, rest = brief_text().split("[fall]\n")
    body, after = rest.split("# The rest of the floor.")
    rng = random.Random(7)
    told: set[str] = set()
    for _ in range(300):
        mutated = rng.choice(MUTATIONS)("[fall]\n" + body, rng).decode("utf-8", "replace")
        reading = read_text(f"{before}{mutated}\n# The rest of the floor.{after}".encode())
        assert all(finding.code in CATALOGUE and finding.next_step for finding in reading.findings)
        assert reading.brief is not None or any(finding.grade == "blocks" for finding in reading.findings)
        told |= {
            finding.code for finding in reading.findings if finding.where.startswith(("fall", "starter"))
        }
    assert told >= {"B103", "B104", "B105", "B106", "B107", "B110", "B111"}


def test_mutated_areas_docks_and_robots_never_raise() -> None:
    before, rest = brief_text().split("# The rest of the floor.")
    body, after = rest.split("# The gallery camera")
    rng = random.Random(11)
    told: set[str] = set()
    for _ in range(300):
        mutated = rng.choice(MUTATIONS)("# The rest" + body, rng).decode("utf-8", "replace")
        reading = read_text(f"{before}{mutated}\n# The gallery camera{after}".encode())
        findings = list(reading.findings)
        if reading.brief is not None:
            # Their keys may contradict each other; the geometry is looked at all the same.
            site, more = make_site(reading.brief)
            assert site is not None
            findings += more + mural_findings(site, [("field[0]", "field 'mural'", box(4, 5, 13, 12))])
        assert all(finding.code in CATALOGUE and finding.next_step for finding in findings)
        assert reading.brief is not None or any(finding.grade == "blocks" for finding in findings)
        told |= {finding.code for finding in findings}
    assert told >= {"B103", "B104", "B105", "B106", "B107", "B111", "H801", "H804", "H805", "H813"}


def _assert_sound(outcome: Any) -> None:
    assert all(finding.code in CATALOGUE and finding.next_step for finding in outcome.findings)
    if outcome.plan is None:
        assert outcome.blocked
        return
    plan = outcome.plan
    table = plan.stock
    assert (table.used + table.spares <= table.stock + table.to_buy).all()
    np.testing.assert_array_equal(np.bincount(plan.standing.colour, minlength=len(plan.palette)), table.used)
    for column in ("x_m", "y_m", "z_m", "yaw_rad"):
        assert np.isfinite(getattr(plan.standing, column)).all()
    in_tray = (plan.standing.tile > 0) & (plan.standing.layer == 0)
    assert in_tray.sum() == plan.tiling.dominoes.sum()
