"""Findings about stock: what is short, what binds, what to buy."""

from __future__ import annotations

import numpy as np

from standfall.brief import Brief
from standfall.findings import Finding, make_finding
from standfall.mural.palette import Palette
from standfall.mural.purchase import Shop
from standfall.mural.stock import Counts


def over_budget(least: float, budget: float, brief: Brief) -> Finding:
    """Say that the budget does not reach, and what would."""
    return make_finding(
        "C305",
        "colouring.budget",
        "no purchase within the budget is enough",
        value=f"{least:.2f} {brief.job.currency} needed",
        limit=f"{budget:.2f} {brief.job.currency}",
        next_step=f"Raise the budget to {least:.2f} {brief.job.currency}, or make the field smaller.",
    )


def bought(packs: Counts, shop: Shop, gap: float, brief: Brief) -> list[Finding]:
    """List the packs to buy, one finding a colour."""
    proof = "no purchase of this price comes closer to the picture"
    if gap > 1e-9:
        proof = f"no purchase of this price comes more than {100 * gap:.2g} % closer to the picture"
    return [
        make_finding(
            "C306",
            f"colour[{j}].stock",
            f"buy {packs[j]} {'pack' if packs[j] == 1 else 'packs'} of {brief.colours[j].name!r}, "
            f"{packs[j] * shop.pack_size[j]} pieces; {proof}",
            value=int(packs[j] * shop.pack_size[j]),
            limit=int(shop.stock[j]),
            next_step=f"Order them ({packs[j] * shop.pack_price[j]:.2f} {brief.job.currency}), "
            "and raise stock in the brief when they are there.",
        )
        for j in np.flatnonzero(packs)
    ]


def specks_left(left: int) -> list[Finding]:
    """Say how many specks could not be cleaned."""
    if left == 0:
        return []
    return [
        make_finding(
            "C307",
            "field.clean_specks",
            f"{left} lone pieces keep their colour, since no neighbour's colour has stock left",
            value=left,
            limit=0,
            next_step="Raise the stock of the colours that bind, or accept the specks.",
        )
    ]


def short_of(
    shop: Shop, wished: Counts, needed: int, palette: Palette, brief: Brief, least_cost: float | None
) -> list[Finding]:
    """Say what is short: in all, and colour by colour."""
    in_hand = shop.usable_with(np.zeros(len(shop.stock), dtype=np.int64))
    findings = [
        make_finding(
            "C302",
            f"colour[{j}].stock",
            f"the lines need {shop.reserved[j]} of {palette.names[j]!r}",
            value=int(shop.reserved[j]),
            limit=int(shop.reserved[j] + in_hand[j]),
            next_step="Give the lines other colours, or raise the stock.",
        )
        for j in np.flatnonzero(in_hand < 0)
    ]
    short = needed - int(np.maximum(in_hand, 0).sum())
    if short > 0:
        findings.append(
            make_finding(
                "C301",
                "colour",
                f"{short} dominoes are missing over all colours, spares kept back",
                value=needed,
                limit=int(np.maximum(in_hand, 0).sum()),
                next_step=_way_out(brief, least_cost),
            )
        )
        findings += [
            make_finding(
                "C301",
                f"colour[{j}].stock",
                f"{palette.names[j]!r}: the picture asks for {wished[j]}, {max(int(in_hand[j]), 0)} may be used",
                value=int(wished[j]),
                limit=max(int(in_hand[j]), 0),
                next_step=f"Raise its stock by up to {wished[j] - max(int(in_hand[j]), 0)}; near colours may stand in.",
            )
            for j in np.flatnonzero(wished > np.maximum(in_hand, 0))
        ]
    return findings


def binding(
    shop: Shop, wished: Counts, packs: Counts, palette: Palette, used_fields: Counts
) -> list[Finding]:
    """List the colours of which the picture asks for more than may be used."""
    limit = shop.usable_with(packs)
    return [
        make_finding(
            "C303",
            f"colour[{j}].stock",
            f"{palette.names[j]!r}: the picture asks for {wished[j]}, {limit[j]} may be used; near colours stand in",
            value=int(wished[j]),
            limit=int(limit[j]),
            next_step="Nothing need be done; more of it would bring the mural closer to the picture.",
        )
        for j in np.flatnonzero((wished > limit) & (used_fields <= limit))
    ]


def _way_out(brief: Brief, least_cost: float | None) -> str:
    if least_cost is None:
        return (
            "Raise stock, lower colouring.spares_percent, give pack_price so that packs can be bought, "
            "or make the field smaller."
        )
    money = f"{least_cost:.2f} {brief.job.currency}"
    if brief.colouring.purchase == "none":
        return f'Packs for {money} would be enough: set colouring.purchase = "cheapest".'
    return f"Packs for {money} would be enough: raise colouring.budget."
