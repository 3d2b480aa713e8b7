"""Each command: what it prints, writes and ends with."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import standfall
from standfall.cli.entry import group

Run = Callable[..., Any]
COMMANDS = ("new", "check", "plan", "fall", "papers", "rest", "export", "demo")


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize("option", ["--help", "-h"])
def test_help_has_an_example_of_the_command(command: str, option: str, run: Run) -> None:
    told = run(command, option)
    assert told.code == 0
    assert re.search(rf"Examples?:  standfall {command} ", told.out)
    assert "--json" in told.out


def test_the_commands_are_these_and_help_names_them_and_the_exit_codes(run: Run) -> None:
    assert sorted(group.commands) == sorted(COMMANDS)
    told = run("--help")
    assert told.code == 0
    for command in COMMANDS:
        assert re.search(rf"^  {command} +\S", told.out, re.MULTILINE)
    for code in ("0", "1", "2", "3", "4", "130", "143"):
        assert re.search(rf"\b{code} ", told.out)


def test_examples_name_options_that_there_are(run: Run) -> None:
    for command in COMMANDS:
        told = " ".join(run(command, "--help").out.split())
        for option in re.findall(r"--[a-z][a-z-]*", told[re.search("Examples?:", told).start() :]):
            assert option in {word for part in group.commands[command].params for word in part.opts}


def test_version(run: Run) -> None:
    told = run("--version")
    assert told.code == 0 and standfall.__version__ in told.out


# ------------------------------------------------------------------ new


def test_new_writes_a_brief_and_its_picture_and_says_so(tmp_path: Path, run: Run, demo_folder: Path) -> None:
    folder = tmp_path / "a" / "mural"
    told = run("new", folder)
    assert told.code == 0
    assert sorted(path.name for path in folder.iterdir()) == ["brief.toml", "kingfisher.svg"]
    assert str(folder / "brief.toml") in told.out and "standfall check" in told.out
    for path in folder.iterdir():
        assert path.read_bytes() == (demo_folder / path.name).read_bytes()


@pytest.mark.parametrize("name", ["brief.toml", "kingfisher.svg"])
def test_new_overwrites_nothing(name: str, tmp_path: Path, run: Run) -> None:
    (tmp_path / name).write_text("mine")
    told = run("new", tmp_path, "--json")
    assert told.code == 4
    assert told.data["error"]["exit_code"] == 4 and name in told.data["error"]["message"]
    assert [path.name for path in tmp_path.iterdir()] == [name]
    assert (tmp_path / name).read_text() == "mine"


def test_new_into_a_file_or_a_name_too_long(tmp_path: Path, run: Run) -> None:
    (tmp_path / "file").write_text("mine")
    for folder in (tmp_path / "file", tmp_path / "file" / "below", tmp_path / ("a" * 5000)):
        told = run("new", folder)
        assert told.code == 4 and told.out == "" and told.err.startswith("standfall: ")
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


def test_new_stopped_half_way_leaves_no_half_file(
    tmp_path: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    import standfall.intake.start as start

    def stop() -> str:
        raise KeyboardInterrupt

    monkeypatch.setattr(start, "kingfisher_svg", stop)
    assert run("new", tmp_path / "mural").code == 130
    assert not (tmp_path / "mural" / "kingfisher.svg").exists()


def test_new_that_fails_while_writing_leaves_no_half_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import standfall.intake.start as start

    monkeypatch.setattr(
        start, "kingfisher_svg", lambda: "<svg>" + "\ud800"
    )  # half of a letter cannot be written
    with pytest.raises(UnicodeEncodeError):
        start.start_folder(tmp_path / "mural")
    assert [path.name for path in (tmp_path / "mural").iterdir()] == ["brief.toml"]


def test_new_json(tmp_path: Path, run: Run) -> None:
    told = run("new", tmp_path / "mural", "--json")
    assert told.data == {
        "written": [str(tmp_path / "mural" / name) for name in ("brief.toml", "kingfisher.svg")]
    }


# ------------------------------------------------------------------ check and plan


def test_check_of_a_sound_brief(brief: Path, run: Run) -> None:
    before = sorted(brief.parent.iterdir())
    told = run("check", brief)
    assert told.code == 0
    # 44 x 30 cells, two stacked rows of 44, 59 and 28 dominoes of the lines.
    assert re.search(r"nothing blocks: 1[, ]?495 dominoes in 24 tiles", told.out)
    assert sorted(brief.parent.iterdir()) == before


def test_check_json_has_the_promised_keys(small: dict[str, Any], write_brief: Run, run: Run) -> None:
    small["field"][0]["rows"] = 29.5
    small["colour"][0]["stock"] = -1
    told = run("check", write_brief(small), "--json")
    assert told.code == 2 and told.err == ""
    assert list(told.data) == ["findings"]
    assert len(told.data["findings"]) >= 2
    for finding in told.data["findings"]:
        assert set(finding) >= {"code", "grade", "where", "value", "limit", "next_step"}


def test_check_prints_what_where_how_far_and_what_to_do(
    small: dict[str, Any], write_brief: Run, run: Run
) -> None:
    small["colour"][0]["stock"] = -12345
    told = run("check", write_brief(small))
    assert told.code == 2
    words = " ".join(told.out.split())
    for part in ("blocks", "B106", "colour[0].stock", "stock must be", "-12,345", "limit: at least 0"):
        assert part in words
    assert "> Give stock a number" in words


def test_plan_writes_a_build_beside_the_brief(brief: Path, run: Run) -> None:
    told = run("plan", brief)
    assert told.code == 0
    build = brief.with_suffix(".build")
    assert str(build) in told.out
    assert len(standfall.read_build(build).standing) == 1495
    words = " ".join(told.out.split())
    assert "Small kingfisher, Disused tram depot" in words
    assert "24 tiles (24 full)" in words
    for name in ("night blue", "lake blue", "rust brown", "ivory"):
        assert name in words


def test_plan_json_has_the_promised_keys(brief: Path, run: Run) -> None:
    told = run("plan", brief, "--json")
    assert told.code == 0 and told.err == ""
    data = told.data
    assert set(data) >= {
        "dominoes",
        "tiles",
        "colours",
        "colour_error",
        "mass_kg",
        "size_m",
        "findings",
        "build",
    }
    assert (data["dominoes"], data["tiles"]) == (1495, 24)
    assert all(set(colour) >= {"name", "used", "stock", "to_buy"} for colour in data["colours"])
    assert set(data["colour_error"]) >= {"mean", "p95", "metric"}
    assert data["mass_kg"] == pytest.approx(1495 * 8.5e-3, abs=6e-4)
    assert len(data["size_m"]) == 2
    assert Path(data["build"]).is_file()


def test_plan_that_is_blocked_writes_nothing_and_says_so(
    small: dict[str, Any], write_brief: Run, run: Run
) -> None:
    small["field"][0]["corner_m"] = [5.9, 4.9]
    brief = write_brief(small)
    before = sorted(brief.parent.iterdir())
    told = run("plan", brief)
    assert told.code == 2 and "S403" in told.out and "nothing written" in told.err
    assert sorted(brief.parent.iterdir()) == before
    told = run("plan", brief, "--json")
    assert told.code == 2 and "build" not in told.data and told.data["findings"][0]["code"] == "S403"


def test_plan_short_of_stock_tells_the_balance(small: dict[str, Any], write_brief: Run, run: Run) -> None:
    small["colouring"]["purchase"] = "none"
    for colour in small["colour"]:
        colour["stock"] = 100
    told = run("plan", write_brief(small), "--json")
    assert told.code == 2
    assert [(entry["name"], entry["stock"]) for entry in told.data["colours"]] == [
        (colour["name"], 100) for colour in small["colour"]
    ]


def test_a_purchase_is_tabled_with_its_cost(small: dict[str, Any], write_brief: Run, run: Run) -> None:
    small["job"]["currency"] = "[/red]"  # printed as it is, though it looks like markup
    small["colour"][3]["stock"] = 10
    for colour in small["colour"][:3]:
        colour["stock"] = 400
    told = run("plan", write_brief(small))
    assert told.code == 0
    assert "C306" in told.out and "[/red]" in told.out


@pytest.mark.parametrize("out", ["lost/folder/mural.build", "."])
def test_plan_where_nothing_can_be_written(out: str, brief: Path, run: Run) -> None:
    before = sorted(brief.parent.iterdir())
    told = run("plan", brief, "--out", brief.parent / out)
    assert told.code == 4 and told.err.startswith("standfall: ")
    assert sorted(brief.parent.iterdir()) == before


def test_plan_leaves_other_files_alone(brief: Path, run: Run) -> None:
    text = brief.read_bytes()
    told = run("plan", brief, "--out", brief)
    assert told.code == 4
    assert brief.read_bytes() == text


@pytest.mark.parametrize("place", ["", ".", "..", "/", "lost.toml", "lost/brief.toml"])
@pytest.mark.parametrize("command", ["check", "plan"])
def test_paths_that_are_no_brief(
    command: str, place: str, tmp_path: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    told = run(command, place, "--json")
    assert told.code == 2
    assert [finding["code"] for finding in told.data["findings"]] == ["B101"]
    assert list(tmp_path.iterdir()) == []


def test_planning_again_leaves_the_build_and_a_changed_brief_adds_to_it(
    build: Path, small: dict[str, Any], write_brief: Run, run: Run
) -> None:
    first = build.read_bytes()
    assert run("plan", write_brief(small), "--out", build).code == 0
    assert build.read_bytes() == first
    small["field"][0]["stacked_rows"] = []
    assert run("plan", write_brief(small), "--out", build).code == 0
    assert build.read_bytes() != first
    assert len(standfall.read_build(build).standing) == 1495 - 88


# ------------------------------------------------------------------ papers and export


def test_papers_go_beside_the_build(build: Path, run: Run) -> None:
    told = run("papers", build, "--json")
    assert told.code == 0
    written = [Path(path) for path in told.data["written"]]
    assert {path.parent for path in written} == {build.with_name("mural-papers")}
    assert {path.suffix for path in written} == {".png", ".pdf"}
    assert all(path.stat().st_size > 500 for path in written)
    assert set(build.with_name("mural-papers").iterdir()) == set(written)


@pytest.mark.parametrize("kind", ["csv", "parquet"])
def test_export(kind: str, build: Path, run: Run) -> None:
    told = run("export", build, "--to", build.parent / "tables", "--format", kind, "--json")
    assert told.code == 0
    written = [Path(path) for path in told.data["written"]]
    assert sorted(path.name for path in written) == [f"dominoes.{kind}", f"tiles.{kind}"]
    counts = {}
    for path in written:
        if kind == "csv":
            with path.open(newline="", encoding="utf-8") as file:
                counts[path.stem] = len(list(csv.reader(file))) - 1
        else:
            import pyarrow.parquet

            counts[path.stem] = pyarrow.parquet.read_metadata(path).num_rows
    assert counts == {"dominoes": 1495, "tiles": 24}


@pytest.mark.parametrize("command", ["papers", "export"])
@pytest.mark.parametrize("name", ["lost.build", "brief.toml", "picture.png", ""])
def test_what_is_no_build_file_is_a_file_fault(command: str, name: str, brief: Path, run: Run) -> None:
    before = sorted(brief.parent.iterdir())
    where = brief.parent / name
    told = run(command, where, "--to", brief.parent / "out", "--json")
    assert told.code == 4
    assert told.data["error"]["exit_code"] == 4 and str(where) in told.data["error"]["message"]
    assert sorted(brief.parent.iterdir()) == before


# ------------------------------------------------------------------ wrong use


@pytest.mark.parametrize(
    "words",
    [
        ["nonsense"],
        ["--bogus"],
        ["check"],
        ["check", "a", "b"],
        ["check", "--bogus", "a"],
        ["plan", "--out"],
        ["export", "a.build"],
        ["export", "a.build", "--to", "x", "--format", "xls"],
        ["--completion", "powershell"],
        [],
    ],
)
def test_wrong_use_ends_with_3(words: list[str], run: Run) -> None:
    told = run(*words)
    assert told.code == 3
    assert "Usage: standfall" in told.out + told.err or words == ["plan", "--out"]  # click's own short text
    if words:
        told = run(*words, "--json")
        assert told.code == 3
        assert (
            list(told.data) == ["error"]
            and told.data["error"]["exit_code"] == 3
            and told.data["error"]["message"]
        )


def test_demo_does_the_whole_job(demo_run: Any, demo_place: Path) -> None:
    assert demo_run.code == 0 and demo_run.err == ""
    data = demo_run.data
    assert (data["dominoes"], data["tiles"]) == (99_412, 450)
    for path in data["written"]:
        assert Path(path).stat().st_size > 500
    names = {Path(path).relative_to(demo_place).as_posix() for path in data["written"]}
    assert {"brief.toml", "kingfisher.svg", "kingfisher.build"} <= names
    assert {"papers/shopping_list.pdf", "papers/preview_standing.png", "papers/preview_fallen.png"} <= names


@pytest.fixture(scope="module")
def demo_place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("whole") / "kingfisher"


@pytest.fixture(scope="module")
def demo_run(run_apart: Run, demo_place: Path) -> Any:
    """The whole demo, run once in a process of its own."""
    return run_apart("demo", demo_place, "--no-film", "--json")
