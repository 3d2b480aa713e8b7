"""The reference of each command in ``docs/commands.md``, from the commands themselves."""

from __future__ import annotations

import inspect
from pathlib import Path

import click

from standfall.cli.entry import group

PROGRAM = "standfall"
# Click gives arguments no help of their own; a new one must be described here.
ARGUMENTS = {
    "BRIEF": "Path of the brief; its pictures lie beside it.",
    "BUILD": "Path of a build file.",
    "STATES": "Path of a CSV file that says what stands.",
    "DIRECTORY": "A folder; it is made if it is not there.",
}


def commands() -> dict[str, click.Command]:
    """Return all commands by name, in the order in which a build goes through them."""
    return dict(group.commands)


def command_reference(name: str) -> str:
    """Return usage, purpose, arguments, options and example of a command (``standfall``: of the group)."""
    command = group if name == PROGRAM else commands()[name]
    context = click.Context(group, info_name=PROGRAM, **group.context_settings)
    if command is not group:
        context = click.Context(command, info_name=name, parent=context)
    parts = [f"```\n{command.get_usage(context).removeprefix('Usage: ')}\n```\n"]
    parts += [] if command is group else [_paragraphs(command.help or "")]
    parts.append(_table(command, context))
    if command is not group:
        lines = "".join(f"$ {example}\n" for example in examples_of(command))
        parts.append(f"```console\n{lines}```\n")
    return "\n".join(parts)


def examples_of(command: click.Command) -> list[str]:
    """Return the examples that a command's help ends with."""
    _, found, text = (command.epilog or "").replace("Examples:", "Example:").partition("Example:")
    return [line.strip() for line in text.strip().splitlines()] if found else []


def _paragraphs(text: str) -> str:
    paragraphs = inspect.cleandoc(text).split("\n\n")
    return "\n\n".join(" ".join(paragraph.split()) for paragraph in paragraphs) + "\n"


def _table(command: click.Command, context: click.Context) -> str:
    rows = [
        _argument(p) if isinstance(p, click.Argument) else _option(p) for p in command.get_params(context)
    ]
    return "| argument or option | default | meaning |\n|---|---|---|\n" + "".join(rows)


def _argument(parameter: click.Parameter) -> str:
    default = "needed" if parameter.required else ""
    if isinstance(parameter.default, str | Path):
        default = f"`{parameter.default}`"
    name = (parameter.name or "").upper()
    return f"| `{name}` | {default} | {ARGUMENTS[name]} |\n"


def _option(parameter: click.Parameter) -> str:
    assert isinstance(parameter, click.Option)
    spelled = ", ".join(f"`{name}`" for name in (*parameter.opts, *parameter.secondary_opts))
    if isinstance(parameter.type, click.Choice):
        spelled += " " + ", ".join(f"`{choice}`" for choice in parameter.type.choices)
    elif not (parameter.is_flag or parameter.count):
        spelled += f" {parameter.make_metavar(click.Context(group))}"
    if parameter.required:
        default = "needed"
    elif parameter.show_default and isinstance(parameter.default, bool):
        default = f"`{(parameter.opts if parameter.default else parameter.secondary_opts)[0]}`"
    elif parameter.show_default and isinstance(parameter.default, str | int | float):
        default = f"`{parameter.default}`"
    else:
        default = ""
    return f"| {spelled} | {default} | {parameter.help} |\n"
