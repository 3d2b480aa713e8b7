"""What a person reads in the terminal: findings, and the plan as a table."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from rich.console import Console

    from standfall.findings import Finding
    from standfall.planning import Outcome, Plan

_GRADE_STYLE = {"blocks": "bold red", "warns": "bold yellow", "notes": "cyan"}


def print_json(data: dict[str, Any]) -> None:
    """Print one JSON object."""
    click.echo(json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False))


def findings_json(findings: Sequence[Finding]) -> dict[str, Any]:
    """Return the findings under the one key that every command uses."""
    return {"findings": [finding.as_dict() for finding in findings]}


def console() -> Console:
    """Return the terminal to print to."""
    from rich.console import Console

    return Console(highlight=False, soft_wrap=False)


def print_findings(findings: Sequence[Finding]) -> None:
    """Print findings one below the other, worst first: what, where, how far off, what to do."""
    from rich.text import Text

    out = console()
    for finding in findings:
        head = Text()
        head.append(f"{finding.grade:<6} ", _GRADE_STYLE[finding.grade])
        head.append(f"{finding.code}  ", "bold")
        head.append(finding.where, "bold")
        out.print(head)
        body = Text(finding.message)
        if finding.value is not None or finding.limit is not None:
            body.append(f"  [{_plain(finding.value)}; limit: {_plain(finding.limit)}]", "dim")
        out.print(_indented(body))
        out.print(_indented(Text("> " + finding.next_step)))
    if findings:
        out.print(_tally(findings))


def _plain(value: object) -> str:
    if value is None:
        return "-"
    return f"{value:,}" if isinstance(value, int) else str(value)


def _indented(text: Any) -> Any:
    from rich.padding import Padding

    return Padding(text, (0, 0, 0, 7))


def _tally(findings: Sequence[Finding]) -> str:
    words = {"blocks": "blocking", "warns": "warning", "notes": "for your notice"}
    counts = {grade: sum(finding.grade == grade for finding in findings) for grade in words}
    return "findings: " + ", ".join(f"{count} {words[grade]}" for grade, count in counts.items() if count)


def print_plan(plan: Plan) -> None:
    """Print the plan's figures and the table of its colours."""
    from rich.text import Text

    out = console()
    size_x_m, size_y_m = plan.size_m
    title = Text(plan.brief.job.name, "bold")
    if plan.brief.job.place:
        title.append(f", {plan.brief.job.place}", "not bold")
    out.print(title)
    out.print(
        f"{_plain(len(plan.standing))} dominoes, {plan.mass_kg:,.0f} kg, over {size_x_m:.2f} x {size_y_m:.2f} m; "
        f"{_plain(len(plan.tiling))} tiles{_kinds(plan)}"
    )
    error = plan.colour_error
    out.print(
        f"colour error {error.metric}: mean {error.mean:.2f}, 95th percentile {error.p95:.2f}{_proof(plan)}"
    )
    out.print(_laying(plan), markup=False)
    out.print(_colour_table(plan))
    if plan.stock.to_buy.any():
        out.print(_purchase_table(plan))


def _laying(plan: Plan) -> str:
    """Return how it is laid, in a line or two."""
    if plan.routes is None:
        return "laying order: none, the brief has neither [[robot]] nor [crew]"
    figures = plan.routes.summary()
    lines = f"laid {figures['front']}: {_plain(figures['steps'])} steps in {_plain(figures['trips'])} trips, "
    lines += _duration(figures["laying_s"])
    if figures["lower_bound_m"] > 0:
        lines += (
            f"\n{figures['driven_m']:,.0f} m driven, {figures['above_bound_percent']:.1f} % more than "
            f"the {figures['lower_bound_m']:,.0f} m of the shortest ways through the empty hall"
        )
    if figures["unreachable"]:
        lines += f"\n{_plain(len(figures['unreachable']))} tiles cannot be laid"
    return lines


def _duration(seconds: float) -> str:
    return f"{seconds / 3600:.1f} hours" if seconds >= 3600 else f"{seconds / 60:.0f} minutes"


def _proof(plan: Plan) -> str:
    error = plan.colour_error
    if any(field.dither > 0 for field in plan.brief.fields):
        return "; dithered"
    if error.specks_removed:
        return f"; {_plain(error.specks_removed)} specks recoloured"
    return "; proved the least" if error.total == error.bound else ""


def _kinds(plan: Plan) -> str:
    from standfall.tiles import KINDS

    parts = [f"{int((plan.tiling.kind == n).sum())} {kind}" for n, kind in enumerate(KINDS)]
    return f" ({', '.join(part for part in parts if not part.startswith('0 '))})" if len(plan.tiling) else ""


def _colour_table(plan: Plan) -> Any:
    from rich import box
    from rich.table import Table
    from rich.text import Text

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_footer=True)
    for name in ("", "code"):
        table.add_column(name, no_wrap=True)
    table.add_column("colour", footer="all", overflow="fold")
    columns = _columns(plan)
    for name, cells in columns.items():
        table.add_column(name, justify="right", footer=cells[-1], no_wrap=True)
    for j, (name, code) in enumerate(zip(plan.palette.names, plan.palette.codes, strict=True)):
        swatch = Text("\u2588\u2588", plan.palette.hexes[j])
        table.add_row(swatch, Text(code, "bold"), Text(name), *(cells[j] for cells in columns.values()))
    return table


def _columns(plan: Plan) -> dict[str, list[str]]:
    """Return the number columns as texts, the total last."""
    stock = plan.stock
    counts = {
        "asked": stock.wished,
        "used": stock.used,
        "spares": stock.spares,
        "stock": stock.stock,
        "left": stock.left,
    }
    return {
        name: [_plain(int(count)) for count in [*column, column.sum()]] for name, column in counts.items()
    }


def _purchase_table(plan: Plan) -> Any:
    from rich import box
    from rich.table import Table
    from rich.text import Text

    stock = plan.stock
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_footer=True, title="to buy", title_justify="left")
    table.add_column("code", no_wrap=True)
    table.add_column("colour", footer="all", overflow="fold")
    for name, total in (
        ("packs", _plain(int(stock.packs_to_buy.sum()))),
        ("pieces", _plain(int(stock.to_buy.sum()))),
        (plan.brief.job.currency, _money(float(stock.cost.sum()))),
    ):
        table.add_column(Text(name), justify="right", footer=total, no_wrap=True)
    for j in stock.to_buy.nonzero()[0]:
        numbers = (
            _plain(int(stock.packs_to_buy[j])),
            _plain(int(stock.to_buy[j])),
            _money(float(stock.cost[j])),
        )
        table.add_row(Text(plan.palette.codes[j], "bold"), Text(plan.palette.names[j]), *numbers)
    return table


def _money(amount: float) -> str:
    return f"{amount:,.2f}"


def outcome_json(outcome: Outcome) -> dict[str, Any]:
    """Return a plan's figures, or, when something blocks, what is known: findings and the stock balance."""
    if outcome.plan is not None:
        return outcome.plan.summary() | findings_json(outcome.findings)
    known = {}
    if outcome.palette is not None and outcome.stock is not None:
        known["colours"] = outcome.stock.rows(outcome.palette.names, outcome.palette.codes)
    return known | findings_json(outcome.findings)
