"""Two hundred random halls, planned, exported, and replayed by a checker that knows nothing of the program."""

from __future__ import annotations

from pathlib import Path

import pytest
from random_halls import random_hall
from replay_check import replay

from standfall.book import export_tables
from standfall.intake import read_brief
from standfall.planning import make_plan

HALLS, BATCH = 200, 10


@pytest.mark.parametrize("first", range(0, HALLS, BATCH))
def test_nothing_touches_in_random_halls(first: int, tmp_path: Path) -> None:
    laid = tiles = whole = 0
    for seed in range(first, first + BATCH):
        hall = random_hall(seed)
        folder = tmp_path / str(seed)
        folder.mkdir()
        outcome = make_plan(read_brief(hall.write(folder)))
        if outcome.plan is None or outcome.plan.routes is None:
            # Then something about the hall itself is said to be in the way.
            assert outcome.blocked, seed
            continue
        routes = outcome.plan.routes
        # What cannot be laid is told; the rest is laid, and replayed all the same.
        assert outcome.blocked or not routes.unreachable, seed
        export_tables(outcome.plan, folder / "tables", "csv")
        touches = replay(folder / "tables", hall.robot_floor, hall.people_floor)
        assert touches == [], (seed, hall.kind)
        laid += len(outcome.plan.tiling) - len(routes.unreachable)
        tiles += len(outcome.plan.tiling)
        whole += not routes.unreachable
    # Most halls can be laid; without this a planner that gives up would pass.
    assert laid > 0.5 * tiles
    assert whole >= BATCH // 3


def test_halls_are_what_they_say() -> None:
    kinds = [random_hall(seed).kind for seed in range(HALLS)]
    for kind in ("front tray", "belly drop", "gantry", "kneeling person"):
        assert kinds.count(kind) >= 30
    assert random_hall(7).text == random_hall(7).text
    assert random_hall(7).text != random_hall(8).text
    texts = [random_hall(seed).text for seed in range(40)]
    for word in (
        "pillar",
        "escape_route",
        "differential",
        "omnidirectional",
        "[crew]",
        "[[line]]",
        "parking",
    ):
        assert any(word in text for text in texts), word
