"""``standfall fall`` of a build: what it prints, writes into the file, keeps, refuses and leaves behind."""

from __future__ import annotations

import json
import os
import re
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from process_watch import ON_LINUX, alive, children, listing, wait_for
from scipy.stats import binomtest

import standfall
from standfall.cli.progress import ProgressBar

Run = Callable[..., Any]

# 22 x 10 cells on four tiles, and 59 dominoes of the lead-in: 600 mm and a quarter turn of 500 mm, 24 mm apart.
DOMINOES = 22 * 10 + 59


@pytest.fixture
def tiny(small: dict[str, Any]) -> dict[str, Any]:
    """A small mural that falls whole: a finger on the line, and a batten along row 0."""
    small["field"][0] |= {"columns": 22, "rows": 10, "stacked_rows": []}
    small["line"] = small["line"][:1]
    small["starter"] = small["starter"][:2]
    for name in ("first_col", "last_col"):
        del small["starter"][1][name]
    return small


@pytest.fixture(scope="module")
def kept() -> dict[str, bytes]:
    """Build files planned before, by their briefs."""
    return {}


@pytest.fixture
def planned(write_brief: Run, run: Run, kept: dict[str, bytes]) -> Callable[[dict[str, Any]], Path]:
    """Plan a brief into mural.build; a brief of the same words is planned once only."""

    def plan(data: dict[str, Any]) -> Path:
        brief, words = write_brief(data), json.dumps(data)
        path = brief.with_name("mural.build")
        if words not in kept:
            assert run("plan", brief, "--out", path).code == 0
            kept[words] = path.read_bytes()
        path.write_bytes(kept[words])
        return path

    return plan


@pytest.fixture
def sound(tiny: dict[str, Any], planned: Run) -> Path:
    """A build that falls."""
    return planned(tiny)


@pytest.fixture
def sloppy(tiny: dict[str, Any], planned: Run) -> Path:
    """The same with a line laid so badly that many falls fail."""
    tiny["fall"]["hand_error_mm"] = 6
    return planned(tiny)


def _rows(path: Path, query: str) -> list[Any]:
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as connection:
        return connection.execute(query).fetchall()


# ------------------------------------------------------------------ what it says and writes


def test_json_has_the_promised_keys_and_the_file_the_same_figures(sound: Path, run: Run) -> None:
    told = run("fall", sound, "--json")
    assert told.code == 0 and told.err == ""
    data = told.data
    assert set(data) >= {"fallen", "standing", "total_s", "mean_speed_m_s", "min_margin", "findings"}
    assert "trials" not in data and "chance_all_fall" not in data
    assert (data["fallen"], data["standing"]) == (DOMINOES, 0)
    assert data["build"] == str(sound) and data["written"] == []
    for finding in data["findings"]:
        assert set(finding) >= {"code", "grade", "where", "value", "limit", "next_step"}
    (row,) = _rows(sound, "SELECT fallen, standing, total_s, mean_speed_m_s, min_margin, summary FROM fall")
    names = ("fallen", "standing", "total_s", "mean_speed_m_s", "min_margin")
    assert [data[name] for name in names] == [pytest.approx(value, abs=6e-5) for value in row[:5]]
    assert json.loads(row[5]).items() <= data.items()
    # What the rows of the dominoes say, counted by SQLite.
    counted = (
        "SELECT SUM(state = 'fallen'), SUM(state <> 'fallen'), MAX(down_s), MIN(margin) FROM fall_domino"
    )
    assert list(_rows(sound, counted)[0]) == [
        pytest.approx(data[name], abs=6e-5) for name in ("fallen", "standing", "total_s", "min_margin")
    ]
    assert _rows(sound, "SELECT COUNT(*) FROM fall_trial") == [(0,)]


def test_words_say_what_the_json_says(sound: Path, run: Run) -> None:
    data, told = run("fall", sound, "--json").data, run("fall", sound)
    words = " ".join(told.out.split())
    assert told.code == 0
    assert f"{DOMINOES} of {DOMINOES} dominoes fall, 0 stay standing" in words
    assert f"after {data['total_s']:.2f} s" in words and f"{data['mean_speed_m_s']:.3f} m/s" in words
    for starter in data["starters"]:
        assert f"{starter['name']} {starter['kind']} {starter['struck']}" in words
    for finding in data["findings"]:
        assert finding["code"] in words
    assert f"wrote the fall into {sound}" in told.out.replace("\n", " ")


def test_a_build_that_does_not_fall_whole_ends_with_2_and_is_written_all_the_same(
    small: dict[str, Any], planned: Run, run: Run
) -> None:
    small["starter"] = small["starter"][:1]  # the lead-in alone: nothing strikes the mural
    build = planned(small)
    told = run("fall", build, "--json")
    assert told.code == 2
    assert told.data["standing"] > 0 and told.data["fallen"] + told.data["standing"] == 1495
    assert any(finding["grade"] == "blocks" for finding in told.data["findings"])
    assert _rows(build, "SELECT standing FROM fall") == [(told.data["standing"],)]
    assert run("fall", build).code == 2


def test_without_a_starter_nothing_falls(tiny: dict[str, Any], planned: Run, run: Run) -> None:
    tiny["starter"] = []
    build = planned(tiny)
    told = run("fall", build, "--json")
    assert told.code == 2
    assert (told.data["fallen"], told.data["standing"], told.data["total_s"]) == (0, DOMINOES, 0)
    told = run("fall", build)
    assert told.code == 2 and "nan" not in told.out and "None" not in told.out


@pytest.mark.parametrize("name", ["[red]x[/red]", "[/red]", ":bird:", "thumb \U0001f44d"])
def test_names_of_starters_are_printed_as_they_are(
    name: str, tiny: dict[str, Any], planned: Run, run: Run
) -> None:
    tiny["starter"][0]["name"] = name
    told = run("fall", planned(tiny))
    assert told.code == 0 and name in told.out


@pytest.mark.parametrize("columns", ["80", "120"])
def test_no_line_is_wider_than_the_terminal_and_no_number_is_cut(
    columns: str, sloppy: Path, run_apart: Run
) -> None:
    told = run_apart(
        "fall", sloppy.name, "--trials", "30", "--workers", "1", folder=sloppy.parent, COLUMNS=columns
    )
    assert told.code == 0
    assert max(map(len, told.out.splitlines())) <= int(columns)
    assert "\u2026" not in told.out  # how rich marks what it has cut


# ------------------------------------------------------------------ trials


def test_trials_give_the_promised_figures_and_the_file_agrees(sloppy: Path, run: Run) -> None:
    told = run("fall", sloppy, "--trials", "100", "--seed", "5", "--workers", "1", "--json")
    assert told.code == 0 and told.err == ""
    data = told.data
    assert (data["trials"], data["seed"]) == (100, 5)
    assert isinstance(data["mean_standing"], int | float)
    assert data["largest_seam_error_mm"] is None  # no tile laid exactly makes up for that line
    outcomes = [standing for (standing,) in _rows(sloppy, "SELECT standing FROM fall_trial_outcome")]
    whole = sum(standing == 0 for standing in outcomes)
    assert len(outcomes) == 100 and 10 < whole < 90  # it is a build that tells something
    assert data["mean_standing"] == pytest.approx(sum(outcomes) / 100)
    # Clopper and Pearson, Biometrika 26 (1934) 404, as SciPy has it.
    exact = binomtest(whole, 100).proportion_ci(0.95, method="exact")
    chance = data["chance_all_fall"]
    assert [chance["value"], chance["low"], chance["high"]] == [
        pytest.approx(value) for value in (whole / 100, exact.low, exact.high)
    ]
    # Each domino's trials on its feet add up to what was left standing in all trials.
    assert _rows(sloppy, "SELECT SUM(stood) FROM fall_domino") == [(sum(outcomes),)]
    assert "F721" in {finding["code"] for finding in data["findings"]}


def test_the_same_seed_gives_the_same_whoever_does_the_work(sloppy: Path, run: Run) -> None:
    words = ("fall", sloppy, "--trials", "60", "--json")
    one = run(*words, "--seed", "7", "--workers", "1")
    first = sloppy.read_bytes()
    other = run(*words, "--seed", "8", "--workers", "1")
    assert sloppy.read_bytes() != first
    assert other.data["mean_standing"] != one.data["mean_standing"]
    two = run(*words, "--seed", "7", "--workers", "2")
    assert two.out == one.out and sloppy.read_bytes() == first


def test_never_more_workers_than_processors(sloppy: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    from standfall.workers.pool import Pool, cores

    sizes: list[int] = []
    begin = Pool.__init__

    def noted(self: Pool, workers: int) -> None:
        sizes.append(workers)
        begin(self, workers)

    monkeypatch.setattr(Pool, "__init__", noted)
    assert run("fall", sloppy, "--trials", "10", "--workers", "1024").code == 0
    assert sizes == [cores()]


@pytest.fixture(scope="module")
def cluster() -> Iterator[str]:
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, dashboard_address="127.0.0.1:0", protocol="tcp"
    ) as local:
        yield local.scheduler_address


def test_a_cluster_gives_the_same(cluster: str, sloppy: Path, run: Run) -> None:
    words = ("fall", sloppy, "--trials", "30", "--seed", "3", "--json")
    here = run(*words, "--workers", "1")
    there = run(*words, "--cluster", cluster)
    assert there.code == 0 and there.out == here.out


def test_a_cluster_that_does_not_answer_is_told_and_nothing_is_lost(
    sloppy: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("distributed")
    monkeypatch.setattr("standfall.workers.cluster.ANSWER_S", 0.5)
    assert run("fall", sloppy, "--trials", "5", "--workers", "1").code == 0
    before = sloppy.read_bytes()
    told = run("fall", sloppy, "--trials", "6", "--cluster", "tcp://127.0.0.1:1", "--json")
    assert told.code == 1 and "tcp://127.0.0.1:1" in told.data["error"]["message"]
    assert sloppy.read_bytes() == before


def test_trials_are_kept_until_others_are_made_or_the_plan_changes(
    sloppy: Path, tiny: dict[str, Any], write_brief: Run, run: Run
) -> None:
    tried = run("fall", sloppy, "--trials", "30", "--workers", "1", "--json")
    before = sloppy.read_bytes()
    again = run("fall", sloppy, "--json")
    assert again.out == tried.out and sloppy.read_bytes() == before
    words = run("fall", sloppy)
    assert "30 falls with drawn errors" in words.out
    tiny["fall"]["hand_error_mm"] = 5
    assert run("plan", write_brief(tiny), "--out", sloppy).code == 0
    other = run("fall", sloppy, "--json")
    assert other.code == 0 and "trials" not in other.data
    assert _rows(sloppy, "SELECT COUNT(*) FROM fall_trial_outcome") == [(0,)]


# ------------------------------------------------------------------ pictures


def test_pictures_are_written_where_they_are_asked_for(sound: Path, run: Run) -> None:
    folder = sound.parent / "maps" / "of the fall"
    told = run("fall", sound, "--trials", "5", "--workers", "1", "--pictures", folder, "--no-film", "--json")
    assert told.code == 0
    names = ["fall_times.png", "fall_speed.png", "fall_chance.png"]
    assert told.data["written"] == [str(folder / name) for name in names]
    assert sorted(path.name for path in folder.iterdir()) == sorted(names)
    for path in folder.iterdir():
        with Image.open(path) as picture:
            picture.load()
    # Tiles that fall with errors of the size given fall with that size at least, and fit between two dominoes.
    assert 0 < told.data["largest_seam_error_mm"] < 48


def test_a_folder_that_cannot_be_is_told_before_the_long_work(
    sound: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    stages: list[str] = []
    monkeypatch.setattr(ProgressBar, "__call__", lambda self, done, total, what: stages.append(what))
    file = sound.with_name("maps")
    file.write_text("mine")
    told = run("fall", sound, "--trials", "5", "--workers", "1", "--pictures", file, "--json")
    assert told.code == 4 and str(file) in told.data["error"]["message"]
    assert "trials" not in stages and stages
    assert file.read_text() == "mine"
    assert _rows(sound, "SELECT fallen FROM fall") == [(DOMINOES,)]  # what was known is not lost


# ------------------------------------------------------------------ faults and wrong use


@pytest.mark.parametrize("name", ["lost.build", "brief.toml", "picture.png", "", "lost/mural.build"])
def test_what_is_no_build_file_is_a_file_fault(name: str, sound: Path, run: Run) -> None:
    before = listing(sound.parent)
    told = run("fall", sound.parent / name, "--trials", "5", "--pictures", sound.parent / "maps", "--json")
    assert told.code == 4 and str(sound.parent / name) in told.data["error"]["message"]
    assert listing(sound.parent) == before and not (sound.parent / "maps").exists()


def test_a_damaged_fall_is_a_file_fault(sloppy: Path, run: Run) -> None:
    assert run("fall", sloppy, "--trials", "5", "--workers", "1").code == 0
    with closing(sqlite3.connect(sloppy)) as connection:
        connection.execute("DELETE FROM fall_trial_outcome WHERE trial = 2")
        connection.commit()
    before = sloppy.read_bytes()
    told = run("fall", sloppy, "--json")
    assert told.code == 4 and "damaged" in told.data["error"]["message"]
    assert sloppy.read_bytes() == before


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() == 0, reason="nothing is read-only to the superuser"
)
def test_a_read_only_build_is_left_alone(sound: Path, run: Run) -> None:
    before = sound.read_bytes()
    sound.chmod(0o444)
    told = run("fall", sound, "--trials", "5", "--json")
    assert told.code == 4 and sound.read_bytes() == before


@pytest.mark.parametrize(
    ("options", "named"),
    [
        (["--chain", "gaps.csv"], "--chain"),
        (["--height-mm", "48"], "--height-mm"),
        (["--width-mm", "24"], "--width-mm"),
        (["--thickness-mm", "7.5"], "--thickness-mm"),
        (["--mass-g", "8.5"], "--mass-g"),
        (["--domino-friction", "0.2"], "--domino-friction"),
        (["--floor-friction", "0.4"], "--floor-friction"),
        (["--slope-deg", "0"], "--slope-deg"),
        (["--push-rad-s", "5"], "--push-rad-s"),
        (["--seed", "1"], "--trials"),
        (["--workers", "2"], "--trials"),
        (["--cluster", "tcp://127.0.0.1:1"], "--trials"),
        (["--film"], "--pictures"),
        (["--no-film"], "--pictures"),
        (["--trials", "5", "--workers", "2", "--cluster", "tcp://127.0.0.1:1"], "--cluster"),
        (["--trials", "0"], "--trials"),
        (["--trials", "1e3"], "--trials"),
        (["--trials", "1000001"], "--trials"),
        (["--trials", "5", "--seed", "-1"], "--seed"),
        (["--trials", "5", "--seed", str(2**63)], "--seed"),
        (["--trials", "5", "--workers", "0"], "--workers"),
        (["--trials", "5", "--workers", "1025"], "--workers"),
        (["another.build"], "another.build"),
    ],
)
def test_wrong_use_ends_with_3_and_changes_nothing(
    options: list[str], named: str, tmp_path: Path, run: Run
) -> None:
    build = tmp_path / "mural.build"
    build.write_bytes(b"not looked at")
    told = run("fall", build, *options, "--json")
    assert told.code == 3 and named in told.data["error"]["message"]
    assert listing(tmp_path) == {str(build): b"not looked at"}
    told = run("fall", build, *options)
    assert told.code == 3 and told.out == "" and "Usage: standfall fall" in told.err


def test_nothing_to_fall_ends_with_3(run: Run) -> None:
    told = run("fall", "--json")
    assert told.code == 3 and "--chain" in told.data["error"]["message"]


def test_help(run: Run) -> None:
    told = run("fall", "--help")
    assert told.code == 0
    words = " ".join(told.out.split())
    assert "standfall fall mymural/mural.build" in words and "standfall fall --chain gaps.csv" in words
    for option in ("--trials", "--seed", "--workers", "--cluster", "--pictures", "--json"):
        assert option in words
    assert re.search(r"^  fall +Predict", run("--help").out, re.MULTILINE)


# ------------------------------------------------------------------ export


@pytest.mark.parametrize("kind", ["csv", "parquet"])
def test_a_predicted_fall_is_exported_with_the_rest(kind: str, sound: Path, run: Run) -> None:
    assert run("fall", sound).code == 0
    told = run("export", sound, "--to", sound.parent / "tables", "--format", kind, "--json")
    assert told.code == 0
    assert [Path(path).name for path in told.data["written"]] == [
        f"{name}.{kind}" for name in ("dominoes", "tiles", "fall")
    ]


# ------------------------------------------------------------------ stopped in the middle


def _stop_at(stage: str) -> Callable[..., None]:
    def stop(self: ProgressBar, done: int, total: int, what: str) -> None:
        if what == stage:
            raise KeyboardInterrupt

    return stop


def test_stopped_at_any_stage_nothing_is_half_written(
    sloppy: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = sloppy.parent / "maps"
    words = ("fall", sloppy, "--workers", "1", "--pictures", folder)

    def film(plan: Any, fall: Any, progress: Callable[[int, int, str], None]) -> bytes:
        progress(0, 1, "filming")
        return b"a film"

    # What is drawn takes seconds, and is tested where it is drawn.
    monkeypatch.setattr("standfall.papers.fall_folder.film_bytes", film)
    for name in ("times", "speeds", "chances"):
        monkeypatch.setattr(
            f"standfall.papers.fall_folder.draw_fall_{name}", lambda plan, *_: np.zeros((2, 2, 3), np.uint8)
        )
    assert run(*words, "--trials", "5", "--seed", "1").code == 0
    before = listing(sloppy.parent)
    stages: list[str] = []
    with monkeypatch.context() as patch:
        patch.setattr(ProgressBar, "__call__", lambda self, done, total, what: stages.append(what))
        assert run(*words, "--trials", "6", "--seed", "2").code == 0
    after = listing(sloppy.parent)
    assert set(after) == set(before)
    stages = list(dict.fromkeys(stages))
    assert {"finding contacts", "trials", "writing the fall"} <= set(stages) and len(stages) >= 8
    # Of the stages before the trials one is enough: nothing has been touched.
    for stage in stages[stages.index("trials") - 1 :]:
        for path, data in before.items():
            Path(path).write_bytes(data)
        with monkeypatch.context() as patch:
            patch.setattr(ProgressBar, "__call__", _stop_at(stage))
            told = run(*words, "--trials", "6", "--seed", "2", "--json")
        assert told.code == 130 and told.data["error"]["exit_code"] == 130
        now = listing(sloppy.parent)
        assert set(now) == set(before)
        for path, data in now.items():
            assert data in (before[path], after[path]), (stage, path)


def _at_work(pid: int) -> bool:
    """Say whether a process is a worker that has loaded what it needs, and leaves Ctrl-C to its parent."""
    try:
        loaded = "llvmlite" in Path(f"/proc/{pid}/maps").read_text()
        ignored = re.search(r"^SigIgn:\s*(\w+)$", Path(f"/proc/{pid}/status").read_text(), re.MULTILINE)
    except (FileNotFoundError, ProcessLookupError):
        return False
    return loaded and ignored is not None and bool(int(ignored[1], 16) >> signal.SIGINT - 1 & 1)


@pytest.mark.skipif(not ON_LINUX, reason="finds the workers in /proc")
@pytest.mark.parametrize(
    ("to_all", "number", "code"),
    [(True, signal.SIGINT, 130), (False, signal.SIGTERM, 143)],
)
def test_a_signal_during_trials_leaves_no_process_and_the_old_trials(
    to_all: bool, number: signal.Signals, code: int, sloppy: Path, run: Run
) -> None:
    assert run("fall", sloppy, "--trials", "5", "--workers", "1").code == 0
    before = listing(sloppy.parent)
    words = ["fall", str(sloppy), "--trials", "1000000", "--workers", "2", "--json"]
    process = subprocess.Popen(
        [sys.executable, "-c", "from standfall.cli import main; main()", *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    below = wait_for(lambda: (found := children(process.pid)) and sum(map(_at_work, found)) >= 2 and found)
    if to_all:
        os.killpg(process.pid, number)
    else:
        process.send_signal(number)
    out, err = process.communicate(timeout=60)
    assert process.returncode == code
    assert "Traceback" not in out + err
    wait_for(lambda: not any(map(alive, below)), 10.0)
    assert listing(sloppy.parent) == before
    assert standfall.read_build(sloppy) is not None
    if number == signal.SIGINT:
        assert json.loads(out)["error"]["exit_code"] == 130
