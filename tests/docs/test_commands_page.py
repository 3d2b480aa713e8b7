"""``docs/commands.md`` says what the commands say, and its examples do what it shows."""

import json
import re

import click
import numpy as np
import pytest
from command_reference import PROGRAM, command_reference, commands, examples_of
from doc_page import blocks, read_page, regions, section, table_rows
from transcript import example_folder, fits, run_command, run_example, without_figures

from standfall.cli.entry import EPILOG, EXIT_INTERRUPTED, EXIT_TERMINATED, EXIT_USAGE, group
from standfall.fall.chance import chance_of, mean_of
from standfall.fall.prediction import _trial_figures
from standfall.fall.trial import Seam, Trials
from standfall.findings import FileFault, StandfallError
from standfall.papers.fall_folder import _NAMES as FALL_PICTURES

PAGE = read_page("commands.md")


@pytest.fixture(scope="module")
def folder():
    with example_folder() as path:
        # What the examples that read a build file need, whichever of them runs first.
        run_command("standfall plan mymural/brief.toml --out mymural/mural.build")
        yield path


@pytest.mark.parametrize("name", [PROGRAM, *commands()])
def test_reference_is_current(name):
    written = regions(PAGE, "command")[name]
    assert written == command_reference(name).rstrip() + "\n", "run: python tests/docs/write_tables.py"


@pytest.mark.parametrize("name", commands())
def test_command_has_a_section_with_every_option_and_a_json_example(name):
    text = section(PAGE, f"{PROGRAM} {name}")
    for parameter in commands()[name].params:
        if isinstance(parameter, click.Option):
            assert all(f"`{spelling}`" in text for spelling in parameter.opts)
        else:
            assert f"`{parameter.name.upper()}`" in text
    assert re.search(rf"<!-- json: {PROGRAM} {name} .*--json -->", text)


@pytest.mark.parametrize("name", commands())
def test_help_ends_with_examples_and_has_json(name):
    code, out, err = run_command(f"{PROGRAM} {name} --help")
    assert (code, err) == (0, "")
    assert "--json" in out
    examples = examples_of(commands()[name])
    assert examples
    assert ("Example:" if len(examples) == 1 else "Examples:") in out
    for example in examples:
        assert example.startswith(f"{PROGRAM} {name}")
        # It must parse: its words are arguments and options that the command takes.
        commands()[name].make_context(name, example.split()[2:], parent=click.Context(group))


def test_exit_codes_are_those_of_the_program():
    table = dict(re.findall(r"^\| (\d+) \| (.+) \|$", section(PAGE, "Exit codes"), re.M))
    used = {EXIT_USAGE, EXIT_INTERRUPTED, EXIT_TERMINATED, FileFault.exit_code}
    assert {str(code) for code in used | {0, StandfallError.exit_code, 2}} == set(table)
    assert set(re.findall(r"(?<![\w.])(\d+) [a-z]", EPILOG)) <= set(table)


@pytest.mark.parametrize("line", regions(PAGE, "json"))
def test_json_example_has_the_keys_shown(line, folder):
    written = regions(PAGE, "json")[line]
    assert blocks(written, "console") == [f"$ {line}\n"]
    shown = json.loads(blocks(written, "json")[0])
    _, out, err = run_command(line)
    assert err == ""
    assert fits(shown, json.loads(out)), "run: python tests/docs/write_tables.py"


@pytest.mark.parametrize("line", regions(PAGE, "run"))
def test_example_prints_what_is_shown(line, folder):
    written = regions(PAGE, "run")[line]
    assert without_figures(written) == without_figures(run_example(line)), (
        "run: python tests/docs/write_tables.py"
    )


def test_errors_leave_with_the_exit_codes_described(folder):
    assert run_command("standfall nosuchcommand")[0] == 3
    assert run_command("standfall check faulty/brief.toml")[0] == 2
    assert run_command("standfall papers nowhere.build")[0] == 4
    assert run_command("standfall new mymural")[0] == 4


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_script_is_printed(shell):
    code, out, _ = run_command(f"standfall --completion {shell}")
    assert code == 0
    assert "_STANDFALL_COMPLETE" in out
    assert f"--completion {shell}" in section(PAGE, "Completion")


@pytest.mark.parametrize("line", [PROGRAM, *(f"{PROGRAM} {name}" for name in commands())])
def test_help_keeps_its_lines(line):
    # Click marks paragraphs that it must not fill with a line of one backspace; as two letters it is printed.
    _, out, _ = run_command(f"{line} --help")
    assert "\\b" not in out
    assert "\b" not in out


def test_keys_of_trials_are_those_of_the_program():
    trials = Trials(
        trials=3,
        seed=1,
        standing=np.zeros(3, np.int32),
        stood=np.zeros(5, np.int32),
        chance_all_fall=chance_of(3, 3),
        mean_standing=mean_of(np.zeros(3, np.int32), 5),
        chance_no_touch=chance_of(2, 3),
        largest_seam_error_m=0.001,
        seams=(Seam(1, 2, 0.1, "too far aside", 0.0, 0.0),),
    )
    figures = _trial_figures(trials)
    rows = table_rows(section(PAGE, "standfall fall").partition("With `--trials`")[2])
    keys = {row[0]: row[1] for row in rows}
    assert [name for cell in keys for name in re.findall(r"`(\w+)`", cell)] == list(figures)
    assert set(re.findall(r"`(\w+)`", keys["`chance_all_fall`"])) == set(figures["chance_all_fall"])
    assert set(re.findall(r"`(\w+)`", keys["`weakest_seams`"])) == set(figures["weakest_seams"][0])


def test_pictures_of_a_fall_are_those_of_the_program():
    rows = table_rows(section(PAGE, "standfall fall").partition("`written` are the pictures")[2])
    assert tuple(row[0].strip("`") for row in rows[:4]) == FALL_PICTURES
