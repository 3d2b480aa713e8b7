"""``standfall check``: everything that is wrong with a brief, at once."""

from __future__ import annotations

from pathlib import Path

import click

from standfall.cli.option import json_option


@click.command(
    short_help="List everything wrong with a brief.",
    epilog="Example:  standfall check mymural/brief.toml --json",
)
@click.argument("brief", type=click.Path(path_type=Path))
@json_option
def check(brief: Path, as_json: bool) -> int:
    """Read BRIEF, try the whole plan without writing anything, and list all findings.

    Exits 0 when nothing blocks, otherwise 2.
    """
    from standfall.cli.progress import ProgressBar
    from standfall.cli.report import findings_json, print_findings, print_json
    from standfall.intake import read_brief
    from standfall.planning import make_plan

    with ProgressBar() as progress:
        outcome = make_plan(read_brief(brief, progress), progress)
    if as_json:
        print_json(findings_json(outcome.findings))
    else:
        print_findings(outcome.findings)
        if not outcome.blocked and outcome.plan is not None:
            plan = outcome.plan
            click.echo(
                f"nothing blocks: {len(plan.standing)} dominoes in {len(plan.tiling)} tiles can be planned"
            )
    return 2 if outcome.blocked else 0
