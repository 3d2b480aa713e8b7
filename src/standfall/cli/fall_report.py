"""What a person reads about a fall in the terminal."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from standfall.cli.report import console

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from standfall.fall import Prediction, Trials
    from standfall.fall.chain import ChainFall
    from standfall.fall.starter import StarterFigure
    from standfall.fall.trial import Seam
    from standfall.planning import Plan

ROWS_SHOWN = 12
SEAMS_SHOWN = 5
# Seams less likely to give trouble are not worth a line: our own rule.
SEAM_CHANCE = 1e-4


def print_prediction(plan: Plan, prediction: Prediction) -> None:
    """Print a fall's figures, its starters and, when there were any, its trials."""
    from rich.text import Text

    out, fall = console(), prediction.fall
    out.print(Text(f"The fall of {plan.brief.job.name}", "bold"))
    out.print(
        f"{fall.fallen:,} of {len(fall):,} dominoes fall, {fall.standing:,} stay standing; "
        f"the last lies after {fall.total_s:.2f} s"
    )
    out.print(
        f"mean speed {fall.mean_speed_m_s:.3f} m/s; where it is weakest, a piece keeps "
        f"{100 * fall.min_margin:.0f} % of its motion until it strikes the next"
    )
    figures = prediction.summary()
    out.print(
        f"a piece tips at {figures['tip_angle_deg']} degrees; gap advised {figures['design_gap_mm']['advised']} mm, "
        f"a safety gap needs {figures['safety_gap_mm']} mm, fallen pieces reach {figures['debris_reach_mm']} mm"
    )
    if prediction.starters:
        out.print(_starter_table(prediction.starters))
    if prediction.trials is not None:
        _print_trials(out, prediction.trials)


def _starter_table(figures: tuple[StarterFigure, ...]) -> Any:
    from rich import box
    from rich.table import Table
    from rich.text import Text

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    table.add_column("starter", overflow="fold", min_width=12)
    table.add_column("kind", no_wrap=True)
    for name in ("pieces", "speed", "gives", "needed", "runs for"):
        table.add_column(name, justify="right", no_wrap=True)
    for figure in figures:
        table.add_row(
            Text(figure.name),  # as it is, even where it looks like markup
            figure.kind,
            f"{figure.struck:,}",
            f"{figure.strike_speed_m_s:.2f} m/s",
            f"{figure.omega_rad_s:.1f} rad/s",
            f"{figure.least_omega_rad_s:.1f} rad/s" if math.isfinite(figure.least_omega_rad_s) else "-",
            f"{figure.release_to_strike_s:.2f} s",
        )
    return table


def _print_trials(out: Any, trials: Trials) -> None:
    from rich.padding import Padding
    from rich.text import Text

    chance, mean, touch = trials.chance_all_fall, trials.mean_standing, trials.chance_no_touch
    out.print(f"{trials.trials:,} falls with drawn errors (seed {trials.seed}):")
    lines = (
        f"all fall: {_percent(chance.value)} ({_percent(chance.low)} to {_percent(chance.high)}, {chance.method})",
        f"left standing on average: {_count(mean.value)} ({_count(mean.low)} to {_count(mean.high)}, {mean.method})",
        f"no two tiles touch when set down: {_percent(touch.value)} ({_percent(touch.low)} to {_percent(touch.high)})",
        "largest seam error (one standard deviation, each axis):",
        f"  {_error(trials.largest_seam_error_m)} for a full fall at 99 %",
        f"  {_error(trials.largest_touch_error_m)} for tiles that do not touch at 99 %",
        *_seam_lines(trials.seams),
    )
    for line in lines:
        out.print(Padding(Text(line.lstrip()), (0, 0, 0, 2 + len(line) - len(line.lstrip()))))


def _seam_lines(seams: tuple[Seam, ...]) -> list[str]:
    if not seams:
        return []
    lines = [
        f"  {_side(seam.tile)} to {_side(seam.next_tile)}: {seam.reason}, chance {seam.chance:.2g}"
        for seam in seams[:SEAMS_SHOWN]
        if seam.chance >= SEAM_CHANCE
    ]
    if not lines:
        return [f"no seam is weak: the likeliest trouble at any has a chance of {seams[0].chance:.2g}"]
    return ["weakest seams:", *lines]


def _side(tile: int) -> str:
    return f"tile {tile}" if tile else "pieces laid by hand"


def _count(value: float) -> str:
    return f"{value:,.0f}" if abs(value) >= 1000 else f"{value:.3g}"


def _percent(share: float) -> str:
    """Write a chance so that one near 0 or 1 does not round to it."""
    if share in (0.0, 1.0) or not math.isfinite(share):
        return f"{100 * share:.0f} %"
    digits = max(1, -math.floor(math.log10(min(share, 1 - share))) - 1)
    return f"{100 * share:.{min(digits, 10)}f} %"


def _error(length_m: float) -> str:
    return f"{1000 * length_m:.2f} mm" if math.isfinite(length_m) else "none"


def _plain(values: NDArray[np.float64], digits: int) -> list[float | None]:
    return [round(float(value), digits) if math.isfinite(value) else None for value in values]


def chain_json(chain: ChainFall, gap_m: NDArray[np.float64], push_rad_s: float) -> dict[str, Any]:
    """Return a chain's fall as plain data: one entry a hit, the k-th over the k-th gap; null where none."""
    return {
        "gap_mm": _plain(1000 * gap_m, 6),
        "t_s": _plain(chain.t_s[1:], 7),
        "speed": _plain(chain.speed_m_s[1:], 6),
        "speed_unit": "m/s",
        "omega_rad_s": _plain(chain.omega_rad_s[1:], 5),
        "margin": _plain(chain.margin[1:], 5),
        "push_rad_s": round(push_rad_s, 5),
        "fallen": chain.fallen,
        "standing": len(chain.t_s) - chain.fallen,
    }


def print_chain(chain: ChainFall, gap_m: NDArray[np.float64], push_rad_s: float) -> None:
    """Print the first hits of a chain, and the last ones or those before it stops."""
    from rich import box
    from rich.table import Table

    out, hits = console(), len(gap_m)
    out.print(
        f"{chain.fallen:,} of {hits + 1:,} pieces fall after a push of {push_rad_s:.2f} rad/s; "
        "time counts from the push to the first touch"
    )
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for name in ("hit", "gap mm", "at s", "speed m/s", "margin %"):
        table.add_column(name, justify="right", no_wrap=True)
    before = -1
    for hit in _hits_shown(hits, int(np.isfinite(chain.t_s[1:]).sum())):
        if hit > before + 1:
            table.add_row("...")
        if hit < hits:
            table.add_row(*_hit_row(chain, gap_m, hit))
        before = hit
    out.print(table)


def _hits_shown(hits: int, made: int) -> list[int]:
    """Return which hits to show, in order; ``hits`` itself stands for more after the last one shown."""
    if hits <= 2 * ROWS_SHOWN:
        return list(range(hits))
    end = min(hits, made + 2)  # with the hit that does not come, and one after it
    shown = sorted({*range(ROWS_SHOWN), *range(max(end - ROWS_SHOWN, 0), end)})
    return shown if shown[-1] == hits - 1 else [*shown, hits]


def _hit_row(chain: ChainFall, gap_m: NDArray[np.float64], hit: int) -> list[str]:
    cells = (1000 * gap_m[hit], chain.t_s[hit + 1], chain.speed_m_s[hit + 1], 100 * chain.margin[hit + 1])
    texts = [
        f"{value:.{digits}f}" if math.isfinite(value) else "-"
        for value, digits in zip(cells, (2, 4, 3, 0), strict=True)
    ]
    return [str(hit), *texts]
