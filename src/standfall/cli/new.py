"""``standfall new``: a commented brief and a picture to start from."""

from __future__ import annotations

from pathlib import Path

import click

from standfall.cli.option import json_option


@click.command(
    short_help="Write a brief and a picture to start from.", epilog="Example:  standfall new mymural"
)
@click.argument("directory", type=click.Path(path_type=Path))
@json_option
def new(directory: Path, as_json: bool) -> None:
    """Write a commented brief and the demo picture into DIRECTORY; it plans as it stands.

    Files that are already there are never overwritten.
    """
    from standfall.cli.report import print_json
    from standfall.intake.start import start_folder

    written = start_folder(directory)
    if as_json:
        print_json({"written": [str(path) for path in written]})
        return
    for path in written:
        click.echo(f"wrote {path}")
    click.echo(f"next: change it, then  standfall check {directory / 'brief.toml'}")
