"""Files a fall must not be written into, falls that do not hold together, and falls that were tampered with."""

from __future__ import annotations

import random
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from book_fall import make_prediction_by_hand, nothing_falls
from book_plan import brief_text, make_plan_by_hand
from comparison import assert_same_fall, contents

from standfall.book import read_build, read_fall, write_build, write_fall
from standfall.fall.prediction import Prediction
from standfall.fall.trial import Interval
from standfall.findings import FileFault, make_finding

PLAN = make_plan_by_hand()
FALL = make_prediction_by_hand(PLAN)


def change(path: Path, *statements: str) -> None:
    with closing(sqlite3.connect(path)) as connection, connection:
        for statement in statements:
            connection.execute(statement)


@pytest.fixture
def build(tmp_path: Path) -> Path:
    """A build with a fall in it already, of which nothing may be lost."""
    return write_fall(nothing_falls(PLAN), PLAN, write_build(PLAN, tmp_path / "a.build"))


def refused(path: Path, words: str, plan: Any = PLAN, prediction: Prediction = FALL) -> None:
    before = contents(path.parent)
    with pytest.raises(FileFault, match=words):
        write_fall(prediction, plan, path)
    assert contents(path.parent) == before


def test_no_such_file(tmp_path: Path) -> None:
    refused(tmp_path / "a.build", r"a\.build: there is no such build file .*write its plan first")
    with pytest.raises(FileFault, match="there is no such build file"):
        write_fall(FALL, PLAN, tmp_path / "nowhere" / "a.build")
    with pytest.raises(FileFault, match="there is no such file"):
        read_fall(tmp_path / "a.build")


@pytest.mark.parametrize(
    "plan",
    [
        make_plan_by_hand(picture=b"another"),
        # Another floor: the same dominoes, and yet another fall.
        make_plan_by_hand(brief_text() + "[fall]\nfloor_friction = 0.5\n"),
        # The same brief and pictures with another result, as from a mended program.
        replace(PLAN, colour_error=replace(PLAN.colour_error, mean=1.0)),
    ],
)
def test_another_plan(build: Path, plan: Any) -> None:
    refused(build, "it holds another plan than the one this fall was predicted for.*left as it is", plan)


def test_an_older_version_of_the_plan(build: Path) -> None:
    write_build(make_plan_by_hand(picture=b"another"), build)
    refused(build, "it holds another plan")


def test_what_would_be_lost(build: Path) -> None:
    change(build, "CREATE TABLE journal (event TEXT)")
    write_fall(FALL, PLAN, build)
    change(build, "CREATE TABLE journal (event TEXT)", "INSERT INTO journal VALUES ('begun')")
    refused(build, "journal of a build that has begun.*file of another name", prediction=nothing_falls(PLAN))
    back = read_fall(build)
    assert back is not None
    assert back.trials is not None
    change(build, "DROP TABLE journal", "CREATE TABLE notes (text TEXT)")
    refused(build, "somebody added notes", prediction=nothing_falls(PLAN))


def test_marked_read_only(build: Path) -> None:
    build.chmod(0o444)
    refused(build, "marked read-only.*file of another name")
    build.chmod(0o644)


def test_newer_format(build: Path) -> None:
    change(build, "PRAGMA user_version = 4")
    refused(build, r"format 4.*up to 3.*newer version of the program \(K601\)")
    with pytest.raises(FileFault, match=r"format 4.*up to 3.*\(K601\)"):
        read_fall(build)


def test_not_a_build_file(tmp_path: Path) -> None:
    (tmp_path / "a.build").write_text("[job]\n")
    refused(tmp_path / "a.build", r"no SQLite database \(K601\)")
    with pytest.raises(FileFault, match="K601"):
        read_fall(tmp_path / "a.build")


@pytest.mark.parametrize("side", ["-journal", "-wal"])
def test_beside_a_journal_of_another(build: Path, side: str) -> None:
    Path(f"{build}{side}").write_bytes(b"left behind")
    refused(build, f"a.build{side} lies there")


def test_a_table_that_is_missing(build: Path) -> None:
    change(build, "DROP TABLE fall_seam")
    refused(build, "table fall_seam is missing or has other columns")
    with pytest.raises(FileFault, match="table fall_seam is missing"):
        read_fall(build)


def with_column(name: str, values: np.ndarray) -> Prediction:
    return replace(FALL, fall=replace(FALL.fall, **{name: values}))


def altered(name: str, place: int, value: float) -> Prediction:
    values = getattr(FALL.fall, name).copy()
    values[place] = value
    return with_column(name, values)


def with_trials(**changes: Any) -> Prediction:
    assert FALL.trials is not None
    return replace(FALL, trials=replace(FALL.trials, **changes))


def with_seam(**changes: Any) -> Prediction:
    assert FALL.trials is not None
    first, *rest = FALL.trials.seams
    return with_trials(seams=(replace(first, **changes), *rest))


class Terse(Prediction):
    """A prediction whose summary says one thing."""

    said: object = ""

    def summary(self) -> dict[str, Any]:
        return {"said": self.said}


class SaysNan(Terse):
    said = np.nan


class SaysNumPy(Terse):
    said = np.int32(3)


@pytest.mark.parametrize(
    ("prediction", "words"),
    [
        (make_prediction_by_hand(make_plan_by_hand(brief_text(rows=4))), "fall.struck_s is float64 of shape"),
        (altered("struck_s", 1, np.inf), "fall.struck_s holds a number that is not finite"),
        (altered("speed_m_s", 1, -np.inf), "fall.speed_m_s holds a number that is not finite"),
        (with_column("margin", FALL.fall.margin.astype(np.float32)), "fall.margin is float32"),
        (with_column("backward", FALL.fall.backward.astype(np.int8)), "fall.backward is int8"),
        (altered("striker", 1, 211), "fall.striker holds a number that nothing carries"),
        (altered("striker", 1, -3), "fall.striker holds a number that nothing carries"),
        (altered("starter", 0, 1), "fall.starter holds a number that nothing carries"),
        (altered("state", 0, 3), "fall.state holds a number that nothing carries"),
        (altered("striker", 4, 3), "has a striker and was never struck"),
        (altered("starter", 4, 0), "has a striker and was never struck"),
        (altered("striker", 1, -2), "has a striker and was never struck, or the other way round"),
        (altered("state", 1, 0), "is untouched and was struck"),
        (altered("state", 4, 1), "is untouched and was struck, or neither"),
        (altered("striker", 1, -1), "struck by a starter without a number"),
        (Terse(**vars(with_column("down_s", np.full(211, np.nan)))), "none comes to rest"),
        (replace(FALL, ground=replace(FALL.ground, slope_rad=np.nan)), "ground: slope_rad"),
        (replace(FALL, starters=FALL.starters[:1]), "starters and the strikes of starters"),
        (replace(FALL, starters=(replace(FALL.starters[0], omega_rad_s=np.nan), FALL.starters[1])), "omega"),
        (replace(FALL, starters=(replace(FALL.starters[0], needed_release_rad=np.inf), FALL.starters[1])), "needed"),
        (replace(FALL, findings=(make_finding("F720", "x", "x", value=True, next_step="x"),)), "finding F720"),
        (with_trials(trials=0), "trials.trials or trials.seed is out of range"),
        (with_trials(seed=2**63), "trials.trials or trials.seed is out of range"),
        (with_trials(trials=5), "trials.standing is int32 of shape .4,., not int32 of shape .5,."),
        (with_trials(standing=np.array([0, 0, 0, 212], dtype=np.int32)), "trials.standing"),
        (with_trials(stood=np.full(211, 5, dtype=np.int32)), "trials.stood"),
        (with_trials(chance_no_touch=Interval(1.5, 0.0, 1.0, "")), "trials.chance_no_touch is out of range"),
        (with_trials(mean_standing=Interval(212.0, 0.0, 1.0, "")), "trials.mean_standing is out of range"),
        (Terse(**vars(with_trials(chance_all_fall=Interval(0.5, np.nan, 1.0, "")))), "trials.chance_all_fall: low"),
        (with_trials(largest_seam_error_m=np.inf), "largest_seam_error_m"),
        (with_seam(tile=19), "a seam of trials holds a number that nothing carries"),
        (with_seam(next_tile=-1), "a seam of trials holds a number that nothing carries"),
        (with_seam(chance=1.5), "a seam of trials holds a number that nothing carries"),
        (with_seam(x_m=np.nan), "a seam of trials: x_m"),
        (SaysNan(**vars(FALL)), "summary.. is no JSON"),
        (SaysNumPy(**vars(FALL)), "summary.. is no JSON"),
    ],
)  # fmt: skip
def test_fall_that_does_not_hold_together(build: Path, prediction: Prediction, words: str) -> None:
    before = contents(build.parent)
    with pytest.raises(ValueError, match=words):
        write_fall(prediction, PLAN, build)
    assert contents(build.parent) == before


CONSTRAINTS = [
    ("INSERT INTO fall_domino (id, backward, state) VALUES (211, 0, 'untouched')", "FOREIGN KEY"),
    ("UPDATE fall_domino SET striker = 211 WHERE id = 1", "FOREIGN KEY"),
    ("UPDATE fall_domino SET starter = 1 WHERE id = 0", "FOREIGN KEY"),
    ("UPDATE fall_domino SET backward = 2 WHERE id = 0", "CHECK"),
    ("UPDATE fall_domino SET state = 'flown' WHERE id = 0", "CHECK"),
    ("UPDATE fall_domino SET state = 'untouched' WHERE id = 0", "CHECK"),
    ("UPDATE fall_domino SET struck_s = NULL WHERE id = 0", "CHECK"),
    ("UPDATE fall_domino SET striker = 3 WHERE id = 4", "CHECK"),
    ("UPDATE fall_domino SET striker = NULL WHERE id = 1", "CHECK"),
    ("UPDATE fall_domino SET stood = -1 WHERE id = 1", "CHECK"),
    ("UPDATE fall_domino SET struck_s = 'soon' WHERE id = 1", "cannot store TEXT"),
    ("UPDATE fall SET version = 2", "FOREIGN KEY"),
    ("UPDATE fall SET total_s = NULL", "NOT NULL"),
    ("UPDATE fall_starter SET struck = 0 WHERE number = 0", "CHECK"),
    ("UPDATE fall_starter SET name = 'tram bell'", "UNIQUE"),
    ("UPDATE fall_finding SET grade = 'shrugs'", "CHECK"),
    ("INSERT INTO fall_trial SELECT 1, * FROM (SELECT trials, seed, chance_all_fall, chance_all_fall_low, "
     "chance_all_fall_high, chance_all_fall_method, mean_standing, mean_standing_low, mean_standing_high, "
     "mean_standing_method, chance_no_touch, chance_no_touch_low, chance_no_touch_high, chance_no_touch_method, "
     "largest_seam_error_m, largest_touch_error_m FROM fall_trial)", "CHECK"),
    ("UPDATE fall_trial SET chance_all_fall = 1.5", "CHECK"),
    ("UPDATE fall_trial_outcome SET standing = -1", "CHECK"),
    ("UPDATE fall_seam SET tile = 19", "FOREIGN KEY"),
    ("UPDATE fall_seam SET chance = -0.5", "CHECK"),
]  # fmt: skip


@pytest.mark.parametrize(("statement", "words"), CONSTRAINTS)
def test_the_tables_themselves_refuse_nonsense(build: Path, statement: str, words: str) -> None:
    write_fall(FALL, PLAN, build)
    with closing(sqlite3.connect(build)) as connection:
        connection.execute("PRAGMA foreign_keys = ON")
        with pytest.raises(sqlite3.IntegrityError, match=words):
            connection.execute(statement)


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        ("UPDATE fall_domino SET struck_s = struck_s + 1e-9 WHERE id = 7", "does not have the digest"),
        ("UPDATE fall_domino SET margin = NULL WHERE id = 7", "does not have the digest"),
        ("UPDATE fall_domino SET backward = 1 WHERE id = 7", "does not have the digest"),
        ("UPDATE fall_domino SET state = 'stalled' WHERE id = 1", "does not have the digest"),
        ("UPDATE fall_domino SET stood = 1 WHERE id = 7", "does not have the digest"),
        ("UPDATE fall_domino SET stood = NULL WHERE id = 7", "trials.stood holds"),
        ("UPDATE fall_domino SET striker = 70000 WHERE id = 7", "fall.striker holds"),
        ("UPDATE fall_domino SET starter = 70000 WHERE id = 0", "damaged"),
        ("DELETE FROM fall_domino WHERE id = 7", "the falling dominoes have gaps"),
        ("DELETE FROM fall_domino WHERE id = 210", "fall.struck_s is float64 of shape .210,."),
        ("DELETE FROM fall_domino", "fall.struck_s is float64 of shape .0,."),
        ("DELETE FROM fall_starter WHERE number = 2", "fall.starter holds"),
        ("UPDATE fall_starter SET kind = 'ball' WHERE number = 2", "does not have the digest"),
        ("UPDATE fall SET floor_friction = 0.5", "does not have the digest"),
        ("UPDATE fall SET summary = '{}'", "does not have the digest"),
        ("UPDATE fall SET summary = '{'", "damaged"),
        ("UPDATE fall SET result_sha256 = ''", "does not have the digest"),
        ("UPDATE fall_finding SET value = 13 WHERE number = 0", "does not have the digest"),
        ("DELETE FROM fall_trial_outcome WHERE trial = 1", "the trials have gaps"),
        ("DELETE FROM fall_trial_outcome WHERE trial = 3", "trials.standing is int32 of shape"),
        ("DELETE FROM fall_trial", "does not have the digest"),
        ("UPDATE fall_trial SET seed = 7", "does not have the digest"),
        ("UPDATE fall_seam SET reason = 'wind' WHERE place = 0", "does not have the digest"),
        ("DELETE FROM fall_seam WHERE place = 2", "does not have the digest"),
        ("INSERT INTO plan SELECT version + 1, input_sha256, result_sha256, plan_format, program, brief, summary "
         "FROM plan", "the fall it holds is of an older plan"),
        ("ALTER TABLE fall ADD COLUMN judge TEXT", "table fall is missing or has other columns"),
    ],
)  # fmt: skip
def test_altered_by_hand(build: Path, statement: str, words: str) -> None:
    write_fall(FALL, PLAN, build)
    change(build, "PRAGMA ignore_check_constraints = ON", statement)
    with pytest.raises(FileFault, match=words):
        read_fall(build)


def test_flipped_bits_are_noticed_or_harmless(build: Path) -> None:
    """Flip one bit at a time: the fall is refused, or it is the same. Nothing else ever comes out."""
    write_fall(FALL, PLAN, build)
    whole, good = build.read_bytes(), read_fall(build)
    assert good is not None
    dice = random.Random(7)
    refused = 0
    for _ in range(200):
        data = bytearray(whole)
        data[dice.randrange(len(whole) // 2, len(whole))] ^= 1 << dice.randrange(8)
        build.write_bytes(data)
        try:
            back = read_fall(build)
        except FileFault as fault:
            assert str(build) in str(fault)
            refused += 1
        else:
            assert_same_fall(back, good)
    assert refused > 20


def test_damaged_fall_does_not_hinder_plan_nor_a_new_fall(build: Path) -> None:
    change(build, "UPDATE fall_domino SET down_s = 99.0 WHERE id = 0")
    assert len(read_build(build).standing) == 211
    write_fall(FALL, PLAN, build)
    assert read_fall(build) is not None
