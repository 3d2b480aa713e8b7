"""The other way to lay the rows, beside the planned one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable

    from standfall.fall import Prediction
    from standfall.planning import Plan

    Progress = Callable[[int, int, str], None]

FIGURES = ("fallen", "standing", "total_s", "mean_speed_m_s", "min_margin")
TRIED = ("chance_all_fall", "mean_standing", "chance_no_touch", "largest_seam_error_mm")


def other_rows(plan: Plan, options: dict[str, Any], progress: Progress) -> tuple[str, Prediction]:
    """Let the same picture fall with its rows laid the other way; nothing of it is written.

    Returns:
        how the rows are laid then, and the prediction, with trials when they were asked for.
    """
    from standfall.fall import predict_fall, with_trials
    from standfall.fall.other_rows import other_way, with_other_rows
    from standfall.workers import try_falls

    brief, standing = with_other_rows(plan.brief, plan.standing)
    prediction = predict_fall(brief, standing, progress)
    if options["trials"]:
        trials = try_falls(
            brief,
            standing,
            plan.tiling,
            prediction,
            trials=options["trials"],
            seed=options["seed"],
            workers=options["workers"],
            cluster=options["cluster"],
            limits=False,
            progress=progress,
        )
        prediction = with_trials(prediction, trials)
    ways = {other_way(field.rows_laid) for field in plan.brief.fields}
    return " and ".join(sorted(ways)) or "straight", prediction


def other_json(way: str, prediction: Prediction) -> dict[str, Any]:
    """Return the comparison as plain data."""
    figures = prediction.summary()
    return {
        "other_rows": {"rows_laid": way}
        | {name: figures[name] for name in (*FIGURES, *TRIED) if name in figures}
    }


def print_other(way: str, planned: Prediction, other: Prediction) -> None:
    """Print both ways side by side."""
    from rich import box
    from rich.table import Table

    from standfall.cli.report import console

    table = Table(
        box=box.SIMPLE_HEAD,
        pad_edge=False,
        title="the same picture, rows laid both ways",
        title_justify="left",
    )
    table.add_column("")
    table.add_column("as planned", justify="right", no_wrap=True)
    table.add_column(way.replace("_", "-"), justify="right", no_wrap=True)
    one, two = planned.summary(), other.summary()
    for name in (*FIGURES, *TRIED):
        if name in one and name in two:
            table.add_row(name.replace("_", " "), _cell(one[name]), _cell(two[name]))
    console().print(table)


def _cell(value: Any) -> str:
    if isinstance(value, dict):
        return f"{value['value']:.4g} ({value['low']:.4g} to {value['high']:.4g})"
    if value is None:
        return "-"
    return f"{value:,}" if isinstance(value, int) else f"{value:.4g}"
