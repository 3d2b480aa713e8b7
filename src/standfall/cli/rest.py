"""``standfall rest``: what is still to be laid, after whatever has happened."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from standfall.cli.option import json_option

if TYPE_CHECKING:
    from collections.abc import Sequence

    from standfall.findings import Finding
    from standfall.routes.access import Access
    from standfall.routes.make import Floor


@click.command(
    short_help="Plan what is still to be laid.",
    epilog="Example:  standfall rest mymural/mural.build standing.csv --to rest.csv",
)
@click.argument("build", type=click.Path(path_type=Path))
@click.argument("states", type=click.Path(path_type=Path))
@click.option(
    "--to",
    "target",
    type=click.Path(path_type=Path),
    help="CSV file for the order of what is still to be laid.",
)
@json_option
def rest(build: Path, states: Path, target: Path | None, as_json: bool) -> int:
    """Plan the rest of BUILD when what STATES says stands, has fallen or must not be laid.

    STATES is a CSV file with a column tile (or step, as in steps.csv) and a column state: laid, fallen, missing or
    forbidden. What it does not name is missing. What has fallen is cleared away and laid again. The order keeps as
    close to the planned one as it can; tiles that only people reach now are named, and those that nobody can lay.
    The build file is not changed.
    """
    from standfall.book import read_build
    from standfall.cli.progress import ProgressBar
    from standfall.cli.report import findings_json, print_findings, print_json
    from standfall.findings import blocked
    from standfall.intake.state_file import STATES, read_states
    from standfall.routes.make import plan_build_rest

    plan = read_build(build)
    if plan.routes is None:
        raise click.UsageError(f"{build} has no laying order: its brief has neither [[robot]] nor [crew]")
    state, faults = read_states(states, len(plan.tiling), len(plan.routes.steps))
    if faults:
        if as_json:
            print_json(findings_json(faults))
        else:
            print_findings(faults)
        return 2
    with ProgressBar() as progress:
        laid, forbidden = (state == STATES.index(name) for name in ("laid", "forbidden"))
        floor, access, findings = plan_build_rest(
            plan.brief, plan.standing, plan.tiling, plan.routes.access.order, laid, forbidden, progress
        )
    if target is not None:
        _write(target, floor, access)
    if as_json:
        print_json(_figures(floor, access, findings) | ({"written": str(target)} if target else {}))
    else:
        _print(floor, access, findings)
        if target is not None:
            click.echo(f"wrote {target}")
    return 2 if blocked(findings) else 0


def _figures(floor: Floor, access: Access, findings: Sequence[Finding]) -> dict[str, Any]:
    from standfall.cli.report import findings_json

    tile = floor.steps.tile[access.order]
    is_tile = floor.steps.kind[access.order] == 0
    by_hand = is_tile & (access.stance.model < 0)
    return {
        "to_lay": len(access.order),
        "tiles": [int(number) for number in tile[is_tile]],
        "by_hand": [int(number) for number in tile[by_hand]],
        "unreachable": [
            int(floor.steps.tile[step]) for step in access.left_out if floor.steps.kind[step] == 0
        ],
    } | findings_json(findings)


def _print(floor: Floor, access: Access, findings: Sequence[Finding]) -> None:
    from standfall.cli.report import print_findings

    figures = _figures(floor, access, findings)
    click.echo(f"{figures['to_lay']:,} steps still to be laid, {len(figures['tiles']):,} of them tiles")
    for words, key in (("next", "tiles"), ("by hand only", "by_hand"), ("nobody can lay", "unreachable")):
        numbers = figures[key]
        if numbers:
            more = f" and {len(numbers) - 20:,} more" if len(numbers) > 20 else ""
            click.echo(f"{words}: {', '.join(map(str, numbers[:20]))}{more}")
    print_findings(findings)


def _write(target: Path, floor: Floor, access: Access) -> None:
    from standfall.disk import faults_of, real_path, whole_file
    from standfall.routes.step import KINDS

    steps = floor.steps
    with faults_of(target, "written"), whole_file(real_path(target)) as temporary:
        lines = ["order,step,kind,tile,by_hand,x_m,y_m,yaw_rad"]
        for row, step in enumerate(access.order.tolist()):
            stance = access.stance
            pose = f"{stance.x_m[row]:.6f},{stance.y_m[row]:.6f},{stance.yaw_rad[row]:.9f}"
            hand = "yes" if stance.model[row] < 0 else "no"
            lines.append(f"{row + 1},{step},{KINDS[steps.kind[step]]},{steps.tile[step] or ''},{hand},{pose}")
        temporary.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")
