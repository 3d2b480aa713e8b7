"""``standfall plan``: from a brief to a build file."""

from __future__ import annotations

from pathlib import Path

import click

from standfall.cli.option import json_option


@click.command(
    short_help="Plan a brief into a build file.",
    epilog="Example:  standfall plan mymural/brief.toml --out mymural/mural.build",
)
@click.argument("brief", type=click.Path(path_type=Path))
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="Build file to write; the brief's name with .build when left out.",
)
@json_option
def plan(brief: Path, out: Path | None, as_json: bool) -> int:
    """Plan BRIEF and write the build file: colours within stock, standing set, tiles.

    When the brief has robots or a crew, the laying is planned as well: an order in which everything can be
    laid and left, and all trips with their times.

    When something blocks, nothing is written and the exit code is 2. A build file that is already there
    gets the new plan as its next version; any other file of that name is left alone.
    """
    from standfall.book import write_build
    from standfall.cli.progress import ProgressBar
    from standfall.cli.report import outcome_json, print_findings, print_json, print_plan
    from standfall.intake import read_brief
    from standfall.planning import make_plan

    path = out or brief.parent / f"{brief.stem}.build"
    with ProgressBar() as progress:
        outcome = make_plan(read_brief(brief, progress), progress)
        written = outcome.plan is not None and not outcome.blocked
        if outcome.plan is not None and written:
            write_build(outcome.plan, path, progress)
    if as_json:
        print_json(outcome_json(outcome) | ({"build": str(path)} if written else {}))
        return 0 if written else 2
    if outcome.plan is not None and written:
        print_plan(outcome.plan)
    print_findings(outcome.findings)
    click.echo(f"wrote {path}" if written else "nothing written: see what blocks above", err=not written)
    return 0 if written else 2
