"""The README's two commands are the ones that are tested, and its transcript is what the program prints."""

from pathlib import Path

ROOT = Path(__file__).parents[2]


def _commands():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    return text.split("```sh\n")[1].split("```")[0].splitlines()


def test_two_commands_set_up_and_run():
    first, second = _commands()
    assert first.endswith("standfall demo")
    assert second.endswith("pytest")


def test_ci_calls_the_same_test_command():
    assert _commands()[1] in (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()
