"""The figures of the demo in ``docs/tiles-and-colours.md``, from its plan."""

from __future__ import annotations

import re
from pathlib import Path

from standfall.intake import read_brief
from standfall.intake.start import start_folder
from standfall.planning import Plan, make_plan
from standfall.tiles import KINDS


def planned_demo(folder: Path) -> Plan:
    """Write the demo into a folder and plan it."""
    start_folder(folder)
    plan = make_plan(read_brief(folder / "brief.toml")).plan
    assert plan is not None
    return plan


def demo_figures(plan: Plan) -> str:
    """Return the figures as two tables."""
    error, stock = plan.colour_error, plan.stock
    full = int((plan.tiling.kind == KINDS.index("full")).sum())
    lines = int((plan.standing.line >= 0).sum())
    rows = {
        "dominoes": f"{_count(len(plan.standing))}, of which {_count(lines)} in lines",
        "mass": f"{plan.mass_kg:.0f} kg",
        "tiles": f"{_count(len(plan.tiling))}, of which {_count(full)} full",
        "mean difference": f"{error.mean:.2f} ({error.metric})",
        "95 in 100 are below": f"{error.p95:.2f}",
        "total, in thousandths": _count(error.total),
        "bound, in thousandths": _count(error.bound),
    }
    text = "| figure | value |\n|---|---|\n" + "".join(
        f"| {name} | {value} |\n" for name, value in rows.items()
    )
    text += "\n| colour | code | asked | used | spares | stock | left |\n|---|---|---|---|---|---|---|\n"
    columns = (stock.wished, stock.used, stock.spares, stock.stock, stock.left)
    for j, (name, code) in enumerate(zip(plan.palette.names, plan.palette.codes, strict=True)):
        text += f"| {name} | {code} | " + " | ".join(_count(int(column[j])) for column in columns) + " |\n"
    return text + "| all | | " + " | ".join(_count(int(column.sum())) for column in columns) + " |\n"


def figures_of(text: str) -> list[float]:
    """Return the numbers of a text in order; blanks between digits part thousands."""
    return [float(found.replace(" ", "")) for found in re.findall(r"\d+(?: \d{3})*(?:\.\d+)?", text)]


def words_of(text: str) -> list[str]:
    """Return the words of a text in order, numbers left out."""
    return re.findall(r"[A-Za-z][A-Za-z0-9]*", text)


def _count(number: int) -> str:
    return f"{number:,}".replace(",", " ")
