"""The entry point: the group of commands, and the one place where errors become words and exit codes."""

from __future__ import annotations

import contextlib
import io
import json
import os
import signal
import sys
from types import FrameType
from typing import Any

import click

from standfall import __version__
from standfall.cli.check import check
from standfall.cli.demo import demo
from standfall.cli.export import export
from standfall.cli.fall import fall
from standfall.cli.new import new
from standfall.cli.papers import papers
from standfall.cli.plan import plan
from standfall.cli.rest import rest
from standfall.findings import StandfallError

EXIT_USAGE = 3
EXIT_INTERRUPTED = 130
EXIT_TERMINATED = 143

# "\b" on a line of its own keeps the lines below it as they are.
HELP = """Plan a very large domino mural: colours within stock, tiles for the tray, papers for the crew.

\b
Start here:  standfall new mymural        writes a commented brief and a picture
             standfall check mymural/brief.toml
             standfall plan mymural/brief.toml --out mymural/mural.build
             standfall fall mymural/mural.build
             standfall papers mymural/mural.build
"""

EPILOG = """\b
Exit codes: 0 done; 1 an error in standfall itself; 2 something blocks (see the findings);
3 wrong use of the command line; 4 a file could not be read or written;
130 stopped with Ctrl-C; 143 told to end.
"""


def _print_completion(context: click.Context, _parameter: click.Parameter, shell: str | None) -> None:
    if not shell or context.resilient_parsing:
        return
    from click.shell_completion import get_completion_class

    maker = get_completion_class(shell)
    if maker is None:  # click.Choice has already refused other shells
        raise click.UsageError(f"no completion for {shell}")
    click.echo(maker(group, {}, "standfall", "_STANDFALL_COMPLETE").source())
    context.exit()


@click.group(
    help=HELP,
    epilog=EPILOG,
    context_settings={"help_option_names": ["--help", "-h"], "max_content_width": 100},
)
@click.version_option(__version__, prog_name="standfall")
@click.option(
    "--completion",
    type=click.Choice(["bash", "zsh", "fish"]),
    expose_value=False,
    is_eager=True,
    callback=_print_completion,
    help='Print the completion script for a shell, for example: eval "$(standfall --completion bash)".',
)
def group() -> None:
    """Hold the commands."""


for command in (new, check, plan, fall, papers, rest, export, demo):
    group.add_command(command)


def main(arguments: list[str] | None = None) -> None:
    """Run the command line and leave with its exit code.

    Args:
        arguments: without the program's name; those of the process when ``None``.
    """
    signal.signal(signal.SIGTERM, _terminate)
    _guard_output()
    words = sys.argv[1:] if arguments is None else arguments
    sys.exit(_run(words, as_json="--json" in words))


def _guard_output() -> None:
    """Keep standard output to what we say ourselves, in letters that whoever reads it knows."""
    if isinstance(sys.stdout, io.TextIOWrapper) and sys.stdout is sys.__stdout__:
        # Compiled libraries print to descriptor 1 when they like (HiGHS does, now and then), which would spoil
        # a JSON object. What they say goes to standard error; Python writes to a descriptor of its own.
        with contextlib.suppress(OSError):  # standard error may be closed
            ours = os.dup(1)
            os.dup2(2, 1)
            sys.stdout = io.TextIOWrapper(
                os.fdopen(ours, "wb"),
                encoding=sys.stdout.encoding,
                line_buffering=sys.stdout.line_buffering,
            )
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def _terminate(_number: int, _frame: FrameType | None) -> None:
    # Leave by an exception, so that half-written files are cleared away on the way out.
    raise SystemExit(EXIT_TERMINATED)


def _run(words: list[str], *, as_json: bool) -> int:
    try:
        answer: Any = group.main(words, prog_name="standfall", standalone_mode=False)
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.ctx.get_help() if error.ctx else str(error))
        return EXIT_USAGE
    except click.ClickException as error:
        if as_json:
            return _fault(error.format_message(), EXIT_USAGE, as_json=True)
        error.show()
        return EXIT_USAGE
    except StandfallError as error:
        return _fault(str(error), error.exit_code, as_json=as_json)
    except (KeyboardInterrupt, click.Abort):
        return _fault("stopped; whatever was written before still stands", EXIT_INTERRUPTED, as_json=as_json)
    except MemoryError:
        return _fault("not enough memory on this machine for a job of this size", 4, as_json=as_json)
    except SystemExit as leaving:
        if leaving.code != 1:
            raise
        # click and rich leave with 1 when whoever read our output has left, as `head` does. That is no error.
        _drop_output()
        return 0
    except OSError as error:  # standard output on a full disk; files of ours fail with a StandfallError
        _drop_output()
        return _fault(f"cannot write the output: {error.strerror or error}", 4, as_json=False)
    return answer if isinstance(answer, int) else 0


def _drop_output() -> None:
    """Send standard output nowhere, so that nobody complains when Python flushes it at exit."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _fault(message: str, exit_code: int, *, as_json: bool) -> int:
    if as_json:
        click.echo(json.dumps({"error": {"message": message, "exit_code": exit_code}}))
    else:
        click.echo(f"standfall: {message}", err=True)
    return exit_code
