"""Where a fall leaves what the model knows: findings with their places.

The limits come from rigid-body runs of the same rows (``docs/fall.md``), not from experiments.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from standfall.brief import Brief
from standfall.fall.contact import Contacts
from standfall.fall.falling import Fall
from standfall.fall.ground import Ground
from standfall.fall.pieces import Pieces
from standfall.fall.place import home_name, some_places
from standfall.fall.reach import stacked_on, wall_hits
from standfall.fall.side_sweep import side_sweeps
from standfall.fall.spacing import DesignGap
from standfall.fall.used import UsedEdges, edge_sources
from standfall.findings import Finding, make_finding
from standfall.mural.standing import Standing

MOST_GAP_HEIGHTS = 0.8
# Rigid-body rows that turn by 10 degrees a piece are up to 5 % slower, by 15 degrees 17 %, by 20 more than 22 %.
MOST_TURN_RAD = np.radians(12.0)
LEAST_OVERLAP = 0.25
# Below the first friction feet slide back at gaps from the second on, in heights: such rows are 20 to 40 % slower
# or stop (rigid-body runs at floor friction 0.05 to 0.2; at 0.4 none did).
SLIPPERY = ((0.2, 0.7), (0.3, 0.75))
# Below this gap the push dies in most of the first pieces unless it is more than twice that of one piece.
NARROW_GAP_HEIGHTS = 0.1
LEAST_MARGIN = 0.1
# What is nearer than this to a limit, in heights, radians or widths, is at it: rounding alone moves it.
AT_LIMIT = 1e-6
# Two strikes within this time, on either side of a piece's middle, hold it straight; half a usual step.
_BOTH_SIDES_S = 0.01


@dataclass(frozen=True)
class Scene:
    """All that the findings about a fall look at."""

    brief: Brief
    standing: Standing
    pieces: Pieces
    ground: Ground
    contacts: Contacts
    fall: Fall
    used: UsedEdges
    gap: DesignGap


def cautions(scene: Scene) -> list[Finding]:
    """Return what the model cannot vouch for, and what a lead should look at, in the order of their codes."""
    checks: tuple[Callable[[Scene], Iterator[Finding]], ...] = (
        _wide_gaps,
        _sharp_turns,
        _small_overlaps,
        _slippery,
        _narrow_gaps,
        _stacked,
        _side_sweeps,
        _backward,
        _meetings,
        _line_ends,
        _walls,
        _little_margin,
    )
    return [finding for check in checks for finding in check(scene)]


def _by_home(scene: Scene, dominoes: NDArray[np.int64]) -> Iterator[tuple[str, NDArray[np.intp]]]:
    """Split places in a list of dominoes by the field or line they belong to."""
    field, line = scene.standing.field[dominoes], scene.standing.line[dominoes]
    home = np.where(field >= 0, field, len(scene.brief.fields) + line)  # fields first, in the brief's order
    for one in np.unique(home):
        chosen = np.flatnonzero(home == one)
        yield home_name(scene.brief, scene.standing, int(dominoes[chosen[0]])), chosen


def _per_edge(
    scene: Scene,
    code: str,
    bad: NDArray[np.bool_],
    text: str,
    show: Callable[[Any], str],
    limit: str,
    step: str,
) -> Iterator[Finding]:
    """Make one finding for each field or line with used edges that are bad, the worst told by ``show``."""
    edges, struck = scene.used.edge[bad], scene.used.struck[bad]
    for where, chosen in _by_home(scene, struck):
        places = some_places(scene.brief, scene.standing, struck[chosen])
        yield make_finding(
            code,
            where,
            text.format(count=f"{len(chosen):,}", places=places),
            value=show(edges[chosen]),
            limit=limit,
            next_step=step,
        )


def _millimetres(length_m: float) -> str:
    return f"{1000 * length_m:.1f} mm"


def _advice(gap: DesignGap) -> str:
    """Say which gap does well, where one does."""
    return (
        f"; a row does well with a gap of {_millimetres(gap.advised_m)}" if np.isfinite(gap.advised_m) else ""
    )


def _gap_heights(scene: Scene) -> NDArray[np.float64]:
    return scene.contacts.gap_m[scene.used.edge] / scene.pieces.height_m[scene.used.striker]


def _wide_gaps(scene: Scene) -> Iterator[Finding]:
    most_m = MOST_GAP_HEIGHTS * float(scene.pieces.height_m.max(initial=0))
    yield from _per_edge(
        scene,
        "F706",
        _gap_heights(scene) > MOST_GAP_HEIGHTS + AT_LIMIT,
        "{count} pieces are struck over a gap beyond what the model knows: {places}",
        lambda edges: _millimetres(scene.contacts.gap_m[edges].max()),
        f"{_millimetres(most_m)}, {MOST_GAP_HEIGHTS} of the height",
        f"Move them closer, or try this stretch with real pieces{_advice(scene.gap)}.",
    )


def _sharp_turns(scene: Scene) -> Iterator[Finding]:
    yield from _per_edge(
        scene,
        "F707",
        np.abs(scene.contacts.turn_rad[scene.used.edge]) > MOST_TURN_RAD + AT_LIMIT,
        "{count} pieces are turned too far against their striker: {places}",
        lambda edges: f"{np.degrees(np.abs(scene.contacts.turn_rad[edges]).max()):.0f} degrees",
        "12 degrees from piece to piece",
        "Make the curve wider or put more pieces into it, or try it with real pieces.",
    )


def _small_overlaps(scene: Scene) -> Iterator[Finding]:
    yield from _per_edge(
        scene,
        "F708",
        scene.contacts.overlap[scene.used.edge] < LEAST_OVERLAP - AT_LIMIT,
        "{count} pieces are met by less than a quarter of their width and fall late and turned: {places}",
        lambda edges: f"{100 * scene.contacts.overlap[edges].min():.0f} %",
        "25 % of the width",
        "Move them sideways so that at least a quarter of the width is met.",
    )


def slippery_gap_heights(floor_friction: float) -> float:
    """Return the gap, in heights, from which feet may slide back on this floor; infinite on a grippy one."""
    return min((gap for friction, gap in SLIPPERY if floor_friction < friction), default=np.inf)


def _slippery(scene: Scene) -> Iterator[Finding]:
    most = slippery_gap_heights(scene.ground.floor_friction)
    yield from _per_edge(
        scene,
        "F709",
        _gap_heights(scene) >= most - AT_LIMIT,
        "on so slippery a floor feet slide back, and a fall over these {count} gaps is slower or stops: {places}",
        lambda edges: (
            f"floor friction {scene.ground.floor_friction:g}, gap "
            + _millimetres(scene.contacts.gap_m[edges].max())
        ),
        f"floor friction {SLIPPERY[-1][0]}, or gaps under {most:g} of the height",
        "Lay a mat or a carpet, or move the pieces closer.",
    )


def _narrow_gaps(scene: Scene) -> Iterator[Finding]:
    narrow = _gap_heights(scene) < NARROW_GAP_HEIGHTS - AT_LIMIT
    low_m = scene.gap.low_m
    yield from _per_edge(
        scene,
        "F710",
        narrow,
        "{count} gaps are so narrow that the fall gathers no speed there and may die after a weak push: {places}",
        lambda edges: _millimetres(scene.contacts.gap_m[edges].min()),
        f"{_millimetres(NARROW_GAP_HEIGHTS * float(scene.pieces.height_m.max(initial=0)))}, a tenth of the height; "
        f"nothing falls at {_millimetres(low_m) if np.isfinite(low_m) else 'any gap'}",
        f"Widen them{_advice(scene.gap)}.",
    )


def _stacked(scene: Scene) -> Iterator[Finding]:
    upper = np.flatnonzero(
        stacked_on(scene.standing.x_m, scene.standing.y_m, scene.standing.z_m, scene.pieces) >= 0
    )
    for where, chosen in _by_home(scene, upper):
        yield make_finding(
            "F711",
            where,
            f"{len(chosen):,} pieces stand on others; the model lets each fall with the one under it: "
            + some_places(scene.brief, scene.standing, upper[chosen]),
            value=len(chosen),
            limit="one layer",
            next_step="Try one such stretch with real pieces, and keep the floor free to one height more around it.",
        )


def _side_sweeps(scene: Scene) -> Iterator[Finding]:
    standing, fall = scene.standing, scene.fall
    lone = scene.used.edge[~_struck_on_both_sides(scene)]
    swept = side_sweeps(
        standing.x_m, standing.y_m, standing.z_m, standing.yaw_rad, scene.pieces, scene.contacts, lone
    )
    struck_s, met_s = fall.struck_s[swept.struck], fall.struck_s[swept.neighbour]
    # A neighbour that has been struck by then leans away already.
    early = ~(met_s <= fall.down_s[swept.struck]) & np.isfinite(struck_s)
    struck, neighbour = swept.struck[early].astype(np.int64), swept.neighbour[early]
    struck, first = np.unique(struck, return_index=True)
    for where, chosen in _by_home(scene, struck):
        yield make_finding(
            "F712",
            where,
            f"{len(chosen):,} pieces are struck off their middle, turn, and may fell a neighbour before its time: "
            + some_places(scene.brief, standing, struck[chosen])
            + "; the first may meet "
            + some_places(scene.brief, standing, neighbour[first[chosen[:1]]]),
            value=f"{np.degrees(np.abs(swept.turn_rad[early]).max()):.0f} degrees at most",
            limit="no neighbour within reach that still stands",
            next_step="Let striker and struck piece meet nearer to their middles, or leave more room beside them.",
        )


def _struck_on_both_sides(scene: Scene) -> NDArray[np.bool_]:
    """Say of each used edge whether another piece strikes the same one about then, on its other side."""
    contacts, fall, count = scene.contacts, scene.fall, len(scene.fall)
    source = edge_sources(contacts)
    striker, struck = source % count, contacts.target % count
    late_s = np.abs(fall.struck_s[striker] - fall.struck_s[fall.striker[struck]])
    live = (
        (late_s < _BOTH_SIDES_S)
        & (fall.striker[struck] >= 0)
        & (fall.backward[struck] == (contacts.target >= count))
    )
    left, right = np.zeros(count, dtype=np.bool_), np.zeros(count, dtype=np.bool_)
    left[struck[live & (contacts.offset_m > 0)]] = True
    right[struck[live & (contacts.offset_m < 0)]] = True
    return np.asarray((left & right)[scene.used.struck])


def _backward(scene: Scene) -> Iterator[Finding]:
    wrong = np.flatnonzero(scene.fall.backward & np.isfinite(scene.fall.struck_s))
    for where, chosen in _by_home(scene, wrong):
        yield make_finding(
            "F713",
            where,
            f"{len(chosen):,} pieces are struck from the front and fall against their fall direction: "
            + some_places(scene.brief, scene.standing, wrong[chosen]),
            value=len(chosen),
            limit=0,
            next_step="If that is not meant, turn the fall direction, or lead the line to the other side.",
        )


def _meetings(scene: Scene) -> Iterator[Finding]:
    """Fronts that run into one another, or on pieces that lie already, as where a line closes on itself."""
    contacts, fall, count = scene.contacts, scene.fall, len(scene.fall)
    source = edge_sources(contacts)
    striker, struck = source % count, contacts.target % count
    both = (
        (fall.backward[striker] == (source >= count))
        & np.isfinite(fall.struck_s[striker])
        & np.isfinite(fall.struck_s[struck])
    )
    against = (fall.backward[struck] != (contacts.target >= count)) & (fall.striker[striker] != struck)
    lies = fall.down_s[struck] < fall.struck_s[striker]
    places = np.unique(struck[both & (against | lies)])
    if len(places):
        yield make_finding(
            "F714",
            home_name(scene.brief, scene.standing, int(places[0])),
            f"falling pieces run against each other, or on ones that lie already, at {len(places):,} places: "
            + some_places(scene.brief, scene.standing, places),
            value=len(places),
            limit="fronts that run one way",
            next_step="Nothing, if it is meant: all of these fall. A loop ends where it began.",
        )


def _line_ends(scene: Scene) -> Iterator[Finding]:
    standing, contacts, fall = scene.standing, scene.contacts, scene.fall
    awaited = {starter.waits_for for starter in scene.brief.starters}
    for number, line in enumerate(scene.brief.lines):
        mine = np.flatnonzero(standing.line == number)
        if not len(mine) or line.name in awaited:
            continue
        which, last = "last", int(mine[-1])
        if fall.backward[last]:  # it runs against its direction, to its first piece
            which, last = "first", int(mine[0])
            if not fall.backward[last]:
                continue
        node = last + len(fall) * int(fall.backward[last])
        if contacts.first[node] == contacts.first[node + 1]:
            yield make_finding(
                "F715",
                f"line {line.name}",
                f"the line ends in the air: its {which} piece, place {standing.row[last]}, reaches nothing",
                value=f"x {standing.x_m[last]:.3f} m, y {standing.y_m[last]:.3f} m",
                limit=f"another piece within {_millimetres(scene.pieces.height_m[last])} ahead of it",
                next_step="Lead it on if it should start something; leave it if the fall is to end here.",
            )


def _walls(scene: Scene) -> Iterator[Finding]:
    standing, fall = scene.standing, scene.fall
    # Each the way it does fall, or is meant to: without an edge no piece is taken for one that falls both ways.
    ways_rad = standing.yaw_rad + np.pi * fall.backward
    no_edges = replace(
        scene.contacts, first=np.zeros_like(scene.contacts.first), target=scene.contacts.target[:0]
    )
    hits = wall_hits(standing.x_m, standing.y_m, ways_rad, scene.pieces, no_edges, scene.brief.hall.outline_m)
    for where, chosen in _by_home(scene, hits):
        yield make_finding(
            "F716",
            where,
            f"{len(chosen):,} pieces fall against a wall or off the floor, and may not come down flat: "
            + some_places(scene.brief, standing, hits[chosen]),
            value=len(chosen),
            limit="a height of free floor ahead of every piece",
            next_step="Move it away from the wall, or let it fall the other way.",
        )


def _little_margin(scene: Scene) -> Iterator[Finding]:
    fall = scene.fall
    small = np.flatnonzero((fall.margin < LEAST_MARGIN) & (fall.state == 1))
    for where, chosen in _by_home(scene, small):
        yield make_finding(
            "F718",
            where,
            f"{len(chosen):,} pieces keep less than a tenth of their motion on the way to the next: "
            + some_places(scene.brief, scene.standing, small[chosen]),
            value=f"{100 * fall.margin[small[chosen]].min():.1f} %",
            limit=f"{100 * LEAST_MARGIN:.0f} % of the energy after the strike",
            next_step="Strike harder, or give the first pieces wider gaps.",
        )
