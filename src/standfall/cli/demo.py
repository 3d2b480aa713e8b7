"""``standfall demo``: the whole job on the invented kingfisher mural."""

from __future__ import annotations

from pathlib import Path

import click

from standfall.cli.option import json_option


@click.command(short_help="Do the whole job on the demo mural.", epilog="Example:  standfall demo kingfisher")
@click.argument("directory", type=click.Path(path_type=Path), default=Path("kingfisher"))
@click.option("--film/--no-film", default=True, show_default=True, help="Make the film of the fall too.")
@json_option
def demo(directory: Path, film: bool, as_json: bool) -> int:
    """Write the demo brief into DIRECTORY (kingfisher by default), plan it, let it fall, and print its papers.

    A brief that is already there is kept and planned, so the demo can be changed and run again.
    """
    from standfall.book import write_build, write_fall
    from standfall.cli.fall_report import print_prediction
    from standfall.cli.progress import ProgressBar
    from standfall.cli.report import outcome_json, print_findings, print_json, print_plan
    from standfall.fall import predict_fall
    from standfall.intake import read_brief
    from standfall.intake.start import start_folder
    from standfall.papers import write_fall_pictures, write_papers
    from standfall.planning import make_plan

    written = list(start_folder(directory, keep=True))
    build = directory / "kingfisher.build"
    prediction = None
    with ProgressBar() as progress:
        outcome = make_plan(read_brief(directory / "brief.toml", progress), progress)
        if outcome.plan is not None and not outcome.blocked:
            written.append(write_build(outcome.plan, build, progress))
            prediction = predict_fall(outcome.plan.brief, outcome.plan.standing, progress)
            write_fall(prediction, outcome.plan, build, progress)
            written += write_papers(outcome.plan, directory / "papers", progress)
            written += write_fall_pictures(prediction, outcome.plan, directory / "fall", progress, film=film)
    fallen = prediction is not None and not prediction.blocked
    if as_json:
        figures = {"fall": prediction.summary()} if prediction is not None else {}
        print_json(outcome_json(outcome) | figures | {"written": [str(path) for path in written]})
    else:
        if outcome.plan is not None:
            print_plan(outcome.plan)
        print_findings(outcome.findings)
        if prediction is not None and outcome.plan is not None:
            print_prediction(outcome.plan, prediction)
            print_findings(prediction.findings)
        for path in written:
            click.echo(f"wrote {path}")
    return 0 if fallen and not outcome.blocked else 2
