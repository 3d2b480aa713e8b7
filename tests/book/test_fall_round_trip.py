"""A predicted fall that is written is read back bit by bit, in a file whose bytes do not depend on its past."""

from __future__ import annotations

import json
import math
import os
import sqlite3
from contextlib import closing
from dataclasses import fields, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import pytest
from book_fall import PENDULUM, make_prediction_by_hand, nothing_falls, trials_by_hand
from book_plan import brief_text, make_plan_by_hand
from comparison import assert_same_fall, assert_same_plan, run_child
from hypothesis import given, settings
from hypothesis import strategies as st

from standfall.book import StoredFall, read_build, read_fall, write_build, write_fall
from standfall.book.columns import FALL_COLUMNS
from standfall.fall import predict_fall
from standfall.fall.falling import Fall
from standfall.fall.ground import Ground
from standfall.fall.prediction import Prediction
from standfall.fall.starter import StarterFigure
from standfall.fall.trial import Interval, Seam, Trials
from standfall.findings import make_finding
from standfall.planning.plan import Plan

PLAN = make_plan_by_hand()
NEXT = make_plan_by_hand(brief_text(columns=10, rows=4))
FALL = make_prediction_by_hand(PLAN)


def expected_of(prediction: Prediction) -> StoredFall:
    return StoredFall(
        fall=prediction.fall,
        ground=prediction.ground,
        starters=prediction.starters,
        starter_numbers=(0, 2) if prediction.starters else (),
        findings=prediction.findings,
        trials=prediction.trials,
        summary=prediction.summary(),
    )


def written_and_read(prediction: Prediction, plan: Plan = PLAN) -> StoredFall | None:
    with TemporaryDirectory() as folder:
        path = write_build(plan, Path(folder) / "a.build")
        return read_fall(write_fall(prediction, plan, path))


def rows(path: Path, query: str) -> list[Any]:
    with closing(sqlite3.connect(path)) as connection:
        return connection.execute(query).fetchall()


@pytest.fixture
def build(tmp_path: Path) -> Path:
    return write_build(PLAN, tmp_path / "a.build")


@pytest.mark.parametrize(
    "prediction", [FALL, make_prediction_by_hand(PLAN, trials=False), nothing_falls(PLAN)]
)
def test_fall_comes_back(prediction: Prediction) -> None:
    assert_same_fall(written_and_read(prediction), expected_of(prediction))


def test_no_fall_before_it_was_predicted(build: Path) -> None:
    assert read_fall(build) is None


def test_plan_stays_as_it_was(build: Path) -> None:
    write_build(NEXT, build)
    write_build(PLAN, build)
    before = {table: rows(build, f"SELECT * FROM {table}") for table in ("plan", "picture", "plan_picture")}
    write_fall(FALL, PLAN, build)
    assert_same_plan(read_build(build), PLAN)
    assert {table: rows(build, f"SELECT * FROM {table}") for table in before} == before
    assert rows(build, "SELECT version FROM fall") == [(3,)]


def test_every_attribute_is_stored(build: Path) -> None:
    # Whoever adds an attribute to one of these must add its column, or falls would come back without it.
    def names(kind: type) -> list[str]:
        return [field.name for field in fields(kind)]

    def columns(table: str) -> list[str]:
        return [name for (name,) in rows(build, f"SELECT name FROM pragma_table_info('{table}')")]

    assert names(Fall) == list(FALL_COLUMNS)
    assert columns("fall_domino") == ["id", *FALL_COLUMNS, "stood"]
    assert columns("fall_starter") == ["number", *names(StarterFigure)]
    assert columns("fall_seam") == ["place", *names(Seam)]
    assert columns("fall")[-5:-1] == names(Ground)
    intervals = ("chance_all_fall", "mean_standing", "chance_no_touch")
    assert names(Interval) == ["value", "low", "high", "method"]
    assert columns("fall_trial") == [
        *("number", "trials", "seed"),
        *(f"{name}{end}" for name in intervals for end in ("", "_low", "_high", "_method")),
        *("largest_seam_error_m", "largest_touch_error_m"),
    ]
    assert set(names(Trials)) == {
        *("trials", "seed", "standing", "stood", "seams"),
        *intervals,
        *("largest_seam_error_m", "largest_touch_error_m"),
    }
    assert {field.name for field in fields(Prediction)} - {field.name for field in fields(StoredFall)} == {
        *("contacts", "pieces", "strikes"),  # follow from plan and brief
        *("gap", "stance"),  # what matters of them is in the summary
    }


def test_what_the_rows_say(build: Path) -> None:
    """The first five dominoes of ``fall_by_hand``, written out."""
    write_fall(FALL, PLAN, build)
    assert rows(build, "SELECT * FROM fall_domino WHERE id < 5 ORDER BY id") == [
        (0, 0.0, 3.0, None, None, 0, 0, 0.5, 1.0, "fallen", 0),
        (1, 1 / 128, 4.0, 0.8125, 0, None, 0, 0.5625, 1 + 1 / 128, "fallen", 1),
        (2, 2 / 128, 5.0, 0.875, 1, None, 0, 0.0, None, "stalled", 2),
        (3, 3 / 128, 6.0, 0.9375, 2, None, 1, 0.6875, 1 + 3 / 128, "fallen", 3),
        (4, None, None, None, None, None, 0, None, None, "untouched", 4),
    ]
    # 198 cells, each third of the 22 in row 0 stacked (8), a line of 5: 211 dominoes. Of each five, three
    # fall, and the one left over falls: 42 * 3 + 1. The last one, 210, rests at 1 s + 210 / 128 s.
    # Speeds: 42 each of 0.8125, 0.875 and 0.9375 (turns 1, 2, 3), the mean is 0.875. A stalled one's margin is 0.
    assert rows(build, "SELECT fallen, standing, total_s, mean_speed_m_s, min_margin FROM fall") == [
        (127, 84, 2.640625, 0.875, 0.0)
    ]
    assert rows(build, "SELECT number, name, needed_ramp_height_m FROM fall_starter") == [
        (0, "tram bell", None),
        (2, "a finger", None),
    ]
    assert rows(build, "SELECT tile, next_tile FROM fall_seam ORDER BY place") == [
        (2, 3),
        (None, 1),
        (18, None),
    ]
    assert rows(build, "SELECT * FROM fall_trial_outcome") == [(0, 0), (1, 3), (2, 0), (3, 1)]
    assert json.loads(rows(build, "SELECT summary FROM fall")[0][0]) == FALL.summary()


def test_view_with_names(build: Path) -> None:
    assert rows(build, "SELECT * FROM fall_named") == []
    write_fall(FALL, PLAN, build)
    assert rows(build, "SELECT COUNT(*) FROM fall_named") == [(211,)]
    # Domino 105 is the first of its five in the second half: 105 = 5 * 21, 211 // 2 = 105.
    assert rows(
        build, "SELECT id, starter, state FROM fall_named WHERE id IN (100, 102, 105) ORDER BY id"
    ) == [
        (100, "tram bell", "fallen"),
        (102, None, "stalled"),
        (105, "a finger", "fallen"),
    ]
    assert rows(build, "SELECT line, colour FROM fall_named WHERE id = 210") == [("feeder", "river blue")]


def test_references_hold_and_one_file_in_rollback_mode(build: Path) -> None:
    write_fall(FALL, PLAN, build)
    assert [entry.name for entry in build.parent.iterdir()] == ["a.build"]
    assert rows(build, "PRAGMA journal_mode") == [("delete",)]
    assert rows(build, "PRAGMA integrity_check") == [("ok",)]
    assert rows(build, "PRAGMA foreign_key_check") == []
    loose = "SELECT name FROM pragma_table_list WHERE schema = 'main' AND type = 'table' AND NOT strict"
    assert [name for (name,) in rows(build, loose) if not name.startswith("sqlite_")] == []


def test_nan_in_any_bits_and_negative_zero(build: Path) -> None:
    odd = FALL.fall.down_s.copy()
    odd[4] = np.array([0xFFF8_0000_0000_0123], dtype=np.uint64).view(np.float64)[0]
    odd[0] = -0.0
    write_fall(replace(FALL, fall=replace(FALL.fall, down_s=odd)), PLAN, build)
    plain = odd.copy()
    plain[4], plain[0] = math.nan, 0.0
    back = read_fall(build)
    assert_same_fall(back, expected_of(replace(FALL, fall=replace(FALL.fall, down_s=plain))))
    # Written again in plain bits it is the same fall.
    before = build.read_bytes()
    write_fall(replace(FALL, fall=replace(FALL.fall, down_s=plain)), PLAN, build)
    assert build.read_bytes() == before


NUMBERS = st.floats(-1e9, 1e9).map(lambda number: number + 0.0)
GAPS = st.one_of(st.just(math.nan), NUMBERS)
WORDS = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
CHANCES = st.floats(0, 1).map(lambda number: number + 0.0)


@st.composite
def predictions(draw: st.DrawFn) -> Prediction:
    """Any columns that hold together, whether or not dominoes could fall like that."""
    base = FALL.fall
    count = len(base)
    dice = np.random.default_rng(draw(st.integers(0, 2**32)))
    starters = draw(st.lists(st.builds(StarterFigure, WORDS, WORDS, *[NUMBERS] * 4, st.integers(1, 9), *[GAPS] * 4),
                             max_size=3, unique_by=lambda figure: figure.name))  # fmt: skip
    numbers = np.sort(dice.choice(30_000, len(starters), replace=False)).astype(np.int16)
    state = dice.integers(0, 3, count).astype(np.int8)
    by_starter = (dice.random(count) < 0.3) & bool(starters)
    starter = dice.choice(numbers, count) if starters else np.full(count, -1)

    def column() -> np.ndarray:
        chosen = np.array(draw(st.lists(GAPS, min_size=1, max_size=9)))
        return dice.choice(chosen, count)

    fall = Fall(
        struck_s=np.where(state == 0, math.nan, dice.random(count) * 1e3),
        omega_rad_s=column(),
        speed_m_s=column(),
        striker=np.where(state == 0, -2, np.where(by_starter, -1, dice.integers(0, count, count))).astype(np.int32),
        starter=np.where((state > 0) & by_starter, starter, -1).astype(np.int16),
        backward=dice.random(count) < 0.5,
        margin=column(),
        down_s=np.where(state == 1, 2.0, column()),
        state=state,
    )  # fmt: skip
    many = draw(st.integers(1, 40))
    interval = st.builds(Interval, CHANCES, NUMBERS, NUMBERS, WORDS)
    tile = st.integers(0, len(PLAN.tiling))
    trials = Trials(
        trials=many,
        seed=draw(st.integers(0, 2**63 - 1)),
        standing=dice.integers(0, count, many).astype(np.int32),
        stood=dice.integers(0, many, count).astype(np.int32),
        chance_all_fall=draw(interval),
        mean_standing=draw(interval),
        chance_no_touch=draw(interval),
        largest_seam_error_m=draw(GAPS),
        seams=tuple(
            draw(st.lists(st.builds(Seam, tile, tile, CHANCES, WORDS, NUMBERS, NUMBERS), max_size=3))
        ),
        largest_touch_error_m=draw(GAPS),
    )
    found = draw(
        st.lists(st.builds(make_finding, st.just("F720"), WORDS, WORDS, value=NUMBERS, next_step=WORDS))
    )
    strikes = replace(FALL.strikes, starter=numbers)
    return replace(
        FALL,
        fall=fall,
        strikes=strikes,
        starters=tuple(starters),
        ground=Ground(*draw(st.tuples(*[NUMBERS] * 4))),
        findings=tuple(found),
        trials=draw(st.sampled_from((trials, None))),
    )


@settings(max_examples=25, deadline=None)
@given(predictions())
def test_any_fall_comes_back(prediction: Prediction) -> None:
    numbers = tuple(prediction.strikes.starter.tolist())
    expected = replace(expected_of(prediction), starter_numbers=numbers)
    assert_same_fall(written_and_read(prediction), expected)


def test_same_bytes_whatever_lay_there(tmp_path: Path) -> None:
    paths = [tmp_path / name for name in ("plain.build", "after another fall.build", "twice.build")]
    for path in paths:
        write_build(NEXT, path)
        write_build(PLAN, path)
    write_fall(FALL, PLAN, paths[0])
    write_fall(nothing_falls(PLAN), PLAN, paths[1])
    write_fall(FALL, PLAN, paths[1])
    write_fall(make_prediction_by_hand(PLAN, trials=False), PLAN, paths[2])
    write_fall(nothing_falls(PLAN), PLAN, paths[2])
    write_fall(make_prediction_by_hand(make_plan_by_hand()), make_plan_by_hand(), paths[2])
    assert paths[0].read_bytes() == paths[1].read_bytes() == paths[2].read_bytes()


def test_same_bytes_from_another_process(tmp_path: Path) -> None:
    here = write_fall(FALL, PLAN, write_build(PLAN, tmp_path / "here.build"))
    # Another process has another hash seed, so sets and dictionaries of texts run in another order.
    script = (
        "import sys, json, pathlib, book_fall, book_plan, standfall.book as book\n"
        "plan, path = book_plan.make_plan_by_hand(), pathlib.Path(sys.argv[1])\n"
        "book.write_fall(book_fall.make_prediction_by_hand(plan), plan, book.write_build(plan, path))\n"
        "print(json.dumps('done'))"
    )
    assert run_child(script, tmp_path / "there.build") == "done"
    assert here.read_bytes() == (tmp_path / "there.build").read_bytes()


def test_same_fall_leaves_the_file_alone(build: Path) -> None:
    write_fall(FALL, PLAN, build)
    os.utime(build, ns=(10**18, 10**18))
    before = (build.read_bytes(), build.stat().st_ino, build.stat().st_mtime_ns)
    assert write_fall(make_prediction_by_hand(PLAN), PLAN, build) == build
    assert write_build(make_plan_by_hand(), build) == build  # the same plan, too
    assert (build.read_bytes(), build.stat().st_ino, build.stat().st_mtime_ns) == before


@pytest.mark.parametrize(
    "other",
    [
        replace(FALL, fall=replace(FALL.fall, margin=np.nextafter(FALL.fall.margin, 1))),
        replace(FALL, ground=replace(FALL.ground, floor_friction=0.5)),
        replace(FALL, starters=(replace(PENDULUM, omega_rad_s=9.0), FALL.starters[1])),
        replace(FALL, findings=FALL.findings[:2]),
        replace(FALL, trials=replace(FALL.trials, standing=np.array([0, 3, 1, 0], dtype=np.int32))),
        replace(FALL, trials=replace(FALL.trials, seams=())),
        replace(FALL, trials=None),
        replace(FALL, gap=replace(FALL.gap, low_m=0.005)),  # in the summary alone
    ],
)
def test_another_fall_replaces_it(build: Path, other: Prediction) -> None:
    write_fall(FALL, PLAN, build)
    write_fall(other, PLAN, build)
    assert_same_fall(read_fall(build), expected_of(other))
    assert rows(build, "SELECT COUNT(*) FROM fall") == [(1,)]


def test_another_plan_drops_the_fall(build: Path, tmp_path: Path) -> None:
    write_fall(FALL, PLAN, build)
    write_build(NEXT, build)
    assert read_fall(build) is None
    tables = [name for (name,) in rows(build, "SELECT name FROM sqlite_master WHERE type = 'table'")]
    counts = {name: rows(build, f"SELECT COUNT(*) FROM {name}")[0][0] for name in tables if "fall" in name}
    assert len(counts) == 7
    assert set(counts.values()) == {0}
    # As if it had never been there.
    plain = write_build(NEXT, write_build(PLAN, tmp_path / "plain.build"))
    assert build.read_bytes() == plain.read_bytes()
    write_fall(make_prediction_by_hand(NEXT), NEXT, build)
    assert_same_fall(read_fall(build), expected_of(make_prediction_by_hand(NEXT)))


def test_progress_runs_from_nothing_to_all(tmp_path: Path) -> None:
    plan = make_plan_by_hand(brief_text(250, 200, (10, 10)))
    path = write_build(plan, tmp_path / "a.build")
    calls: list[tuple[int, int, str]] = []
    write_fall(make_prediction_by_hand(plan), plan, path, lambda *call: calls.append(call))
    count = len(plan.standing)
    assert calls[0] == (0, 2 * count, "writing dominoes")
    assert calls[-1] == (2 * count, 2 * count, "writing the fall")
    assert (count, 2 * count, "writing the fall") in calls
    assert [done for done, _, _ in calls] == sorted(done for done, _, _ in calls)
    assert_same_fall(read_fall(path), expected_of(make_prediction_by_hand(plan)))


STARTER = """
[[starter]]
name = "misses"
kind = "finger"
place_m = [-90, -90]
direction_deg = 0
speed_mm_s = 200
[[starter]]
name = "a finger"
kind = "finger"
line = "feeder"
speed_mm_s = 200
"""


def test_prediction_of_the_program_itself(tmp_path: Path) -> None:
    plan = make_plan_by_hand(brief_text() + STARTER)
    prediction = predict_fall(plan.brief, plan.standing)
    path = write_fall(prediction, plan, write_build(plan, tmp_path / "a.build"))
    back = read_fall(path)
    assert back is not None
    assert back.starter_numbers == (1,)
    assert_same_fall(back, replace(expected_of(prediction), starter_numbers=(1,)))
    # The finger strikes domino 0 of the line; 40 mm apart and 48 mm high, the next one is in its reach.
    struck = rows(path, "SELECT starter, striker, state FROM fall_named WHERE line = 'feeder' ORDER BY row")
    assert struck[0] == ("a finger", None, "fallen")
    assert struck[1][:2] == (None, rows(path, "SELECT id FROM domino WHERE line = 0 AND row = 0")[0][0])


def test_trials_of_one_domino_each(build: Path) -> None:
    # As many trials as there are dominoes: the two columns of numbers must not be mixed up.
    count = len(PLAN.standing)
    trials = replace(
        trials_by_hand(count, len(PLAN.tiling)),
        trials=count,
        standing=np.arange(count, dtype=np.int32),
        stood=np.arange(count, dtype=np.int32)[::-1].copy(),
    )
    write_fall(replace(FALL, trials=trials), PLAN, build)
    assert_same_fall(read_fall(build), expected_of(replace(FALL, trials=trials)))
