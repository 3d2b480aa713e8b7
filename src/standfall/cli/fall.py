"""``standfall fall``: whether it will all fall, when, and how exactly it must be laid."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click
from click.core import ParameterSource

from standfall.cli.option import json_option

_F = TypeVar("_F", bound=Callable[..., Any])

# Options that say something only together with another argument or option.
_GO_WITH = {
    "BUILD": ("trials", "seed", "workers", "cluster", "pictures", "film", "other_rows"),
    "--trials": ("seed", "workers", "cluster"),
    "--pictures": ("film",),
    "--chain": (
        "height_mm",
        "width_mm",
        "thickness_mm",
        "mass_g",
        "domino_friction",
        "floor_friction",
        "slope_deg",
        "push_rad_s",
    ),
}


class _Number(click.FloatRange):
    """A number in a range; unlike click's own, never one that is not a number."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return the number, or tell what is wrong with it."""
        number = float(super().convert(value, param, ctx))
        if not math.isfinite(number):
            self.fail(f"{value} is not a number that can be used.", param, ctx)
        return number


def _size(name: str, least: float, most: float, default: float, text: str) -> Callable[[_F], _F]:
    """Return an option for a size of a piece; as in a brief, and not so small that sums go to nothing."""
    return click.option(name, type=_Number(least, most), default=default, show_default=True, help=text)


@click.command(
    short_help="Predict the fall of a build, or of one chain.",
    epilog="\b\nExamples:  standfall fall mymural/mural.build --pictures mymural/fall\n"
    "           standfall fall mymural/mural.build --trials 1000 --seed 1\n"
    "           standfall fall --chain gaps.csv --floor-friction 0.5 --json",
)
@click.argument("build", type=click.Path(path_type=Path), required=False)
@click.option(
    "--trials", type=click.IntRange(1, 1_000_000), help="Also try this many falls with drawn errors."
)
@click.option(
    "--seed", type=click.IntRange(0, 2**63 - 1), default=1, show_default=True, help="Of the drawn errors."
)
@click.option(
    "--workers", type=click.IntRange(1, 1024), help="Processes for the trials; all processors if left out."
)
@click.option(
    "--cluster", metavar="ADDRESS", help="Let a Dask cluster do the trials, for example tcp://10.0.0.5:8786."
)
@click.option("--pictures", type=click.Path(path_type=Path), help="Folder for maps and a film of the fall.")
@click.option("--film/--no-film", default=True, show_default=True, help="With --pictures: make the film too.")
@click.option(
    "--other-rows", is_flag=True, help="Also let the same picture fall with its rows laid the other way."
)
@click.option(
    "--chain", type=click.Path(path_type=Path), help="Instead of BUILD: a CSV file with a column gap_mm."
)
@_size("--height-mm", 0.1, 500, 48.0, "With --chain: height of the pieces.")
@_size("--width-mm", 0.1, 500, 24.0, "With --chain: width of the pieces.")
@_size("--thickness-mm", 0.1, 200, 7.5, "With --chain: thickness of the pieces.")
@_size("--mass-g", 0.001, 5000, 8.5, "With --chain: mass of the pieces.")
@click.option("--domino-friction", type=_Number(0, 1.5), default=0.2, show_default=True, help="With --chain.")
@click.option(
    "--floor-friction",
    type=_Number(0, 2, min_open=True),
    default=0.4,
    show_default=True,
    help="With --chain.",
)
@click.option(
    "--slope-deg",
    type=_Number(-15, 15),
    default=0.0,
    show_default=True,
    help="With --chain: downhill positive.",
)
@click.option(
    "--push-rad-s",
    type=_Number(0, 1000),
    help="With --chain: push of the first piece; twice the least for one piece if left out.",
)
@json_option
def fall(build: Path | None, chain: Path | None, as_json: bool, **options: Any) -> int:
    """Predict the fall of BUILD and write the result into it; or, with --chain, the fall of one row.

    Exit code 2 when something keeps it from falling whole.
    """
    if (build is None) == (chain is None):
        raise click.UsageError("give a build file, or --chain with a CSV file, one of the two")
    _refuse_idle(click.get_current_context(), build)
    if chain is not None:
        return _fall_chain(chain, as_json, options)
    assert build is not None
    return _fall_build(build, as_json, options)


def _refuse_idle(context: click.Context, build: Path | None) -> None:
    """Refuse an option that would do nothing here, so that nobody believes it did something.

    Raises:
        UsageError: there is one.
    """
    given = {
        parameter.name: "/".join([*parameter.opts, *parameter.secondary_opts])
        for parameter in context.command.params
        if parameter.name and context.get_parameter_source(parameter.name) is ParameterSource.COMMANDLINE
    }
    there = {"BUILD" if build is not None else "--chain", *given.values()}
    for needed, names in _GO_WITH.items():
        for name in names:
            if name in given and needed not in there:
                raise click.UsageError(f"{given[name]} says something only together with {needed}")
    if "workers" in given and "cluster" in given:
        raise click.UsageError("give --workers of this machine, or --cluster, one of the two")


def _fall_build(build: Path, as_json: bool, options: dict[str, Any]) -> int:
    from standfall.book import read_build, write_fall
    from standfall.cli.fall_other import other_json, other_rows, print_other
    from standfall.cli.fall_report import print_prediction
    from standfall.cli.progress import ProgressBar
    from standfall.cli.report import print_findings, print_json
    from standfall.disk import make_folder
    from standfall.fall import predict_fall

    plan = read_build(build)
    written: list[Path] = []
    with ProgressBar() as progress:
        prediction = _with_old_trials(build, predict_fall(plan.brief, plan.standing, progress))
        # Written before the trials too: whoever may not write this file learns it before the long work.
        write_fall(prediction, plan, build, progress)
        if options["pictures"] is not None:
            make_folder(options["pictures"])  # a bad path is told before the long work, too
        if options["trials"]:
            prediction = _try_out(plan, prediction, options, progress)
            write_fall(prediction, plan, build, progress)
        if options["pictures"] is not None:
            from standfall.papers import write_fall_pictures

            written = write_fall_pictures(
                prediction, plan, options["pictures"], progress, film=options["film"]
            )
        other = other_rows(plan, options, progress) if options["other_rows"] else None
    if as_json:
        names: dict[str, Any] = {"build": str(build), "written": [str(path) for path in written]}
        if other is not None:
            names |= other_json(*other)
        print_json({"name": plan.brief.job.name} | prediction.summary() | names)
    else:
        print_prediction(plan, prediction)
        if other is not None:
            print_other(other[0], prediction, other[1])
        print_findings(prediction.findings)
        for path in written:
            click.echo(f"wrote {path}")
        click.echo(f"wrote the fall into {build}")
    return 2 if prediction.blocked or prediction.fall.standing else 0


def _with_old_trials(build: Path, prediction: Any) -> Any:
    """Keep trials made before, as long as the fall they were made of is the same."""
    from standfall.book import read_fall
    from standfall.fall import same_fall, with_trials

    stored = read_fall(build)
    if stored is None or stored.trials is None or not same_fall(stored.fall, prediction.fall):
        return prediction
    return with_trials(prediction, stored.trials)


def _try_out(plan: Any, prediction: Any, options: dict[str, Any], progress: Any) -> Any:
    from standfall.fall import with_trials
    from standfall.workers import try_falls

    trials = try_falls(
        plan.brief,
        plan.standing,
        plan.tiling,
        prediction,
        trials=options["trials"],
        seed=options["seed"],
        workers=options["workers"],
        cluster=options["cluster"],
        progress=progress,
    )
    return with_trials(prediction, trials)


def _fall_chain(path: Path, as_json: bool, options: dict[str, Any]) -> int:
    from standfall.cli.fall_report import chain_json, print_chain
    from standfall.cli.report import findings_json, print_findings, print_json
    from standfall.fall.block import Block
    from standfall.fall.chain import chain_fall
    from standfall.fall.chain_caution import chain_cautions
    from standfall.fall.ground import Ground
    from standfall.fall.pieces import Pieces
    from standfall.findings import blocked
    from standfall.intake.chain_file import read_chain

    gap_m, faults = read_chain(path)
    if faults:
        if as_json:
            print_json(findings_json(faults))
        else:
            print_findings(faults)
        return 2
    height_m, thickness_m = options["height_mm"] / 1000, options["thickness_mm"] / 1000
    pieces = Pieces.alike(
        len(gap_m) + 1,
        height_m=height_m,
        width_m=options["width_mm"] / 1000,
        thickness_m=thickness_m,
        mass_kg=options["mass_g"] / 1000,
    )
    ground = Ground(
        options["domino_friction"], options["floor_friction"], math.radians(options["slope_deg"]), 0.0
    )
    push = options["push_rad_s"]
    if push is None:
        push = 2 * Block(height_m, thickness_m, options["mass_g"] / 1000).least_tip_omega_rad_s()
    row = chain_fall(gap_m, pieces, ground, push)
    findings = chain_cautions(gap_m, pieces, ground, row)
    if as_json:
        print_json(chain_json(row, gap_m, push) | findings_json(findings))
    else:
        print_chain(row, gap_m, push)
        print_findings(findings)
    return 2 if blocked(findings) or row.fallen < len(pieces) else 0
