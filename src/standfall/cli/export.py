"""``standfall export``: dominoes, tiles, steps, waypoints and fall of a build as CSV or Parquet."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import click

from standfall.cli.option import json_option


@click.command(
    short_help="Write dominoes and tiles as tables.",
    epilog="Example:  standfall export mymural/mural.build --to mymural/tables --format csv",
)
@click.argument("build", type=click.Path(path_type=Path))
@click.option("--to", "folder", type=click.Path(path_type=Path), required=True, help="Folder for the tables.")
@click.option(
    "--format",
    "kind",
    type=click.Choice(["csv", "parquet"]),
    default="csv",
    show_default=True,
    help="CSV for people and spreadsheets, Parquet for data tools.",
)
@json_option
def export(build: Path, folder: Path, kind: Literal["csv", "parquet"], as_json: bool) -> None:
    """Write every domino and tile of BUILD as tables, with its steps, waypoints and fall where there are any."""
    from standfall.book import export_tables, read_build, read_fall
    from standfall.cli.progress import ProgressBar
    from standfall.cli.report import print_json

    plan = read_build(build)
    with ProgressBar() as progress:
        written = export_tables(plan, folder, kind, progress, fall=read_fall(build))
    if as_json:
        print_json({"written": [str(path) for path in written]})
        return
    for path in written:
        click.echo(f"wrote {path}")
