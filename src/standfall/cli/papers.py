"""``standfall papers``: previews, floor plan, shopping list and lay sheets from a build file."""

from __future__ import annotations

from pathlib import Path

import click

from standfall.cli.option import json_option


@click.command(
    short_help="Print shopping list, lay sheets, previews.",
    epilog="Example:  standfall papers mymural/mural.build --to mymural/papers",
)
@click.argument("build", type=click.Path(path_type=Path))
@click.option(
    "--to",
    "folder",
    type=click.Path(path_type=Path),
    help="Folder for the papers; NAME-papers when left out.",
)
@json_option
def papers(build: Path, folder: Path | None, as_json: bool) -> None:
    """Print the papers of BUILD: previews standing and fallen, floor plan, shopping list, lay sheets.

    Papers of an earlier plan in the same folder are replaced, so that nobody lays from them; no other
    file is touched.
    """
    from standfall.book import read_build
    from standfall.cli.progress import ProgressBar
    from standfall.cli.report import print_json
    from standfall.papers import write_papers

    plan = read_build(build)
    folder = folder or build.with_name(build.stem + "-papers")
    with ProgressBar() as progress:
        written = write_papers(plan, folder, progress)
    if as_json:
        print_json({"written": [str(path) for path in written]})
        return
    for path in written:
        click.echo(f"wrote {path}")
