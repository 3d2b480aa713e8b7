"""The shopping list: what to buy, what to carry, what the floor bears, what to look at first."""

from __future__ import annotations

from typing import Any

import numpy as np

from standfall.brief.unit import KPA
from standfall.findings import Finding, in_order
from standfall.mural.advice import GRAVITY_M_S2
from standfall.mural.field import place_field
from standfall.papers.finder import png_bytes
from standfall.papers.glyph import printable
from standfall.papers.lay_sheets import shared_data
from standfall.papers.page import portrait
from standfall.papers.preview import draw_preview
from standfall.papers.typeset import typeset
from standfall.planning.plan import Plan

_MURAL_PX, _MURAL_WIDE_MM, _MURAL_HIGHEST_MM = 800, 62.0, 70.0
# Beyond this many findings the rest is counted, so that the list stays a list.
_FINDINGS_MOST = 40
_GRADES = {"blocks": "stops it", "warns": "warning", "notes": "note"}
_METRICS = {"ciede2000": "CIEDE2000", "cie76": "CIE 1976", "oklab": "Oklab"}


def make_shopping_list(plan: Plan) -> bytes:
    """Return the shopping list as a PDF."""
    mural = draw_preview(plan, "fallen", _MURAL_PX, legend=False)
    page = portrait(plan.brief.papers.page)
    high = min(_MURAL_HIGHEST_MM, _MURAL_WIDE_MM * mural.shape[0] / mural.shape[1])
    data = {
        **shared_data(plan),
        "page": {"width": page.width_mm, "height": page.height_mm},
        "mural_high": round(high, 2),
        "currency": printable(plan.brief.job.currency),
        "warnings": ["Not to be built as it stands: see below"] if plan.blocked else [],
        "facts": _facts(plan),
        **_table(plan),
        "carrying": _carrying(plan),
        "loads": _loads(plan),
        "floor_note": _floor_note(plan),
        "findings": _findings(plan.findings),
    }
    return typeset("shopping_list", data, {"mural.png": png_bytes(mural)}, tagged=True)


def _facts(plan: Plan) -> list[tuple[str, str]]:
    wide_m, high_m = plan.size_m
    error = plan.colour_error
    facts = [
        ("dominoes", f"{len(plan.standing):,} standing"),
        ("size", f"{wide_m:.2f} m by {high_m:.2f} m"),
        ("mass", f"{plan.mass_kg:,.1f} kg standing"),
    ]
    if len(plan.tiling):
        facts.append(("tiles", f"{len(plan.tiling):,}"))
    if plan.brief.fields:
        metric = _METRICS.get(error.metric, error.metric)
        facts.append(("colour error", f"mean {error.mean:.1f}, 95 % below {error.p95:.1f} ({metric})"))
    return facts


def boxes_to_carry(plan: Plan) -> np.ndarray:
    """Return (k,) boxes, full or begun, that hold the pieces used and the spares of each colour."""
    need, size = plan.stock.used + plan.stock.spares, plan.stock.pack_size
    return np.asarray(-(-need // size))


def _table(plan: Plan) -> dict[str, Any]:
    table, mass_kg = plan.stock, plan.brief.domino.mass_kg
    boxes, carried_kg = boxes_to_carry(plan), (table.used + table.spares) * mass_kg
    rows = []
    for j in range(len(plan.palette)):
        buys, size = int(table.to_buy[j]) > 0, int(table.pack_size[j])
        rows.append(
            {
                "colour": j,
                "used": f"{table.used[j]:,}",
                "spares": f"{table.spares[j]:,}",
                "stock": f"{table.stock[j]:,}",
                "buys": buys,
                "to_buy": f"{table.to_buy[j]:,}" if buys else "–",
                "packs": f"{table.packs_to_buy[j]:,} × {size:,}" if buys else "–",
                "boxes": f"{boxes[j]:,}" if size > 1 else "loose",
                "mass": f"{carried_kg[j]:,.1f}",
                "cost": f"{table.cost[j]:,.2f}" if buys else "–",
            }
        )
    packed = table.pack_size > 1
    totals = [
        f"{table.used.sum():,}",
        f"{table.spares.sum():,}",
        f"{table.stock.sum():,}",
        f"{table.to_buy.sum():,}",
        f"{table.packs_to_buy.sum():,}",
        f"{boxes[packed].sum():,}",
        f"{carried_kg.sum():,.1f}",
        f"{table.cost.sum():,.2f}",
    ]
    note = (
        "Boxes and kg are of the pieces used and their spares. A box is a pack of the colour, full or begun."
    )
    return {"rows": rows, "totals": totals, "table_note": note}


def _carrying(plan: Plan) -> list[str]:
    table, mass_kg = plan.stock, plan.brief.domino.mass_kg
    packed = table.pack_size > 1
    boxes = int(boxes_to_carry(plan)[packed].sum())
    loose = int((table.used + table.spares)[~packed].sum())
    words = [f"{boxes:,} boxes" if boxes else "", f"{loose:,} loose pieces" if loose else ""]
    total_kg = float((table.used + table.spares).sum()) * mass_kg
    text = [
        f"{' and '.join(word for word in words if word) or 'Nothing'} to carry, {total_kg:,.1f} kg with spares."
    ]
    sizes = sorted({int(size) for size in table.pack_size[packed]})
    if sizes:
        weights = ", ".join(f"{size:,} pieces {size * mass_kg:,.1f} kg" for size in sizes)
        text.append(f"A full box, packing not counted: {weights}.")
    text.append("Lift with two people or a trolley above what your local guidance allows.")
    return text


def _loads(plan: Plan) -> list[list[str]]:
    rows = []
    for number, field in enumerate(plan.brief.fields):
        grid = place_field(field).grid
        count = int((plan.standing.field == number).sum())
        mass_kg = count * plan.brief.domino.mass_kg
        load_pa = mean_floor_load_pa(mass_kg, grid.width_m * grid.length_m)
        rows.append(
            [
                printable(field.name),
                f"{grid.width_m:.2f} m × {grid.length_m:.2f} m",
                f"{count:,}",
                f"{mass_kg:,.1f} kg",
                f"{KPA.from_si(load_pa):.3f} kPa",
            ]
        )
    return rows


def mean_floor_load_pa(mass_kg: float, area_m2: float) -> float:
    """Return the mean load of a mass on an area: mass x standard gravity / area."""
    return mass_kg * GRAVITY_M_S2 / area_m2


def _floor_note(plan: Plan) -> str:
    note = (
        f"Mean load: mass × {GRAVITY_M_S2} m/s² / area of the field; robots, trays and people come on top. "
    )
    limit_pa = plan.brief.hall.floor_load_pa
    if limit_pa is None:
        return note + "The brief gives no limit for this floor: ask who runs the building."
    return note + f"The brief's limit for this floor: {KPA.from_si(limit_pa):g} kPa."


def _findings(findings: tuple[Finding, ...]) -> list[dict[str, str]]:
    ordered = in_order(findings)
    rows = [
        {
            "code": finding.code,
            "grade": _GRADES[finding.grade],
            "message": printable(_sentence(finding)),
            "next_step": printable(finding.next_step),
        }
        for finding in ordered[:_FINDINGS_MOST]
    ]
    if len(ordered) > _FINDINGS_MOST:
        more = f"and {len(ordered) - _FINDINGS_MOST} more findings like these."
        rows.append({"code": "", "grade": "", "message": more, "next_step": "Look at the plan's findings."})
    return rows


def _sentence(finding: Finding) -> str:
    text = finding.message[:1].upper() + finding.message[1:]
    return f"{text} ({finding.where})."
