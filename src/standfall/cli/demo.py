"""``standfall demo``: the whole job on the invented kingfisher mural."""

from __future__ import annotations

from pathlib import Path

import click

from standfall.cli.option import json_option


@click.command(short_help="Do the whole job on the demo mural.", epilog="Example:  standfall demo kingfisher")
@click.argument("directory", type=click.Path(path_type=Path), default=Path("kingfisher"))
@json_option
def demo(directory: Path, as_json: bool) -> int:
    """Write the demo brief into DIRECTORY (kingfisher by default), plan it, and print its papers.

    A brief that is already there is kept and planned, so the demo can be changed and run again.
    """
    from standfall.book import write_build
    from standfall.cli.progress import ProgressBar
    from standfall.cli.report import outcome_json, print_findings, print_json, print_plan
    from standfall.intake import read_brief
    from standfall.intake.start import start_folder
    from standfall.papers import write_papers
    from standfall.planning import make_plan

    written = list(start_folder(directory, keep=True))
    build = directory / "kingfisher.build"
    with ProgressBar() as progress:
        outcome = make_plan(read_brief(directory / "brief.toml", progress), progress)
        if outcome.plan is not None and not outcome.blocked:
            written.append(write_build(outcome.plan, build, progress))
            written += write_papers(outcome.plan, directory / "papers", progress)
    if as_json:
        print_json(outcome_json(outcome) | {"written": [str(path) for path in written]})
    else:
        if outcome.plan is not None:
            print_plan(outcome.plan)
        print_findings(outcome.findings)
        for path in written:
            click.echo(f"wrote {path}")
    return 2 if outcome.blocked else 0
