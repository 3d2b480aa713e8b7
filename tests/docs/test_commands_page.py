"""``docs/commands.md`` says what the commands say, and its examples do what it shows."""

import json
import re

import click
import pytest
from command_reference import PROGRAM, command_reference, commands, example_of
from doc_page import blocks, read_page, regions, section
from transcript import example_folder, fits, run_command, run_example, without_figures

from standfall.cli.entry import EPILOG, EXIT_INTERRUPTED, EXIT_TERMINATED, EXIT_USAGE, group
from standfall.findings import FileFault, StandfallError

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
def test_help_ends_with_an_example_and_has_json(name):
    code, out, err = run_command(f"{PROGRAM} {name} --help")
    assert (code, err) == (0, "")
    assert "--json" in out
    example = example_of(commands()[name])
    assert example.startswith(f"{PROGRAM} {name}")
    assert "Example:" in out
    # The example must parse: its words are arguments and options that the command takes.
    words = example.split()[2:]
    commands()[name].make_context(name, words, parent=click.Context(group))


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
