"""Why dominoes stay standing: one finding for each group that hangs together."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from standfall.fall.caution import Scene
from standfall.fall.falling import FALLEN, STALLED, UNTOUCHED
from standfall.fall.place import home_name, place_name, some_places
from standfall.fall.reach import FarReach, far_reach, safe_gap_m
from standfall.fall.used import edge_sources
from standfall.findings import Finding, make_finding

# Groups beyond this are told together: a lead can see no more at a time.
MOST_GROUPS = 20


def unfallen(scene: Scene) -> list[Finding]:
    """Tell which groups stay up and what keeps the fall from them, the largest first."""
    fall = scene.fall
    up = np.flatnonzero(fall.state != FALLEN)
    if not len(up) or not scene.brief.starters:
        return []
    standing = scene.standing
    far = far_reach(
        standing.x_m,
        standing.y_m,
        standing.z_m,
        standing.yaw_rad,
        scene.pieces,
        scene.contacts,
        scene.ground.floor_friction,
    )
    near_miss = (fall.state[far.striker] == FALLEN) & (fall.state[far.target] != FALLEN)
    near_miss &= fall.backward[far.striker] == far.backward
    groups, missed = _groups(scene, up), _left_out(scene)
    findings = [_group_finding(scene, members, far, near_miss, missed) for members in groups[:MOST_GROUPS]]
    rest = groups[MOST_GROUPS:]
    if rest:
        all_rest = np.concatenate(rest)
        findings.append(
            _finding(scene, all_rest, f"{len(rest):,} smaller groups: no falling piece reaches them")
        )
    return findings + _unsafe_gaps(scene, far, near_miss)


def _groups(scene: Scene, up: NDArray[np.intp]) -> list[NDArray[np.intp]]:
    """Split the dominoes that stay up into groups that would strike one another."""
    count = len(scene.fall)
    striker, struck = edge_sources(scene.contacts) % count, scene.contacts.target % count
    stays = scene.fall.state != FALLEN
    both = stays[striker] & stays[struck]
    links = coo_array((np.ones(int(both.sum())), (striker[both], struck[both])), shape=(count, count))
    _, label = connected_components(links, directed=False)
    order = up[np.argsort(label[up], kind="stable")]
    groups = np.split(order, np.flatnonzero(np.diff(label[order])) + 1)
    return sorted(groups, key=lambda members: (-len(members), members[0]))


def _left_out(scene: Scene) -> NDArray[np.int64]:
    """Return the edges from pieces that fall to pieces they never touch though they stand within reach."""
    contacts, fall, count = scene.contacts, scene.fall, len(scene.fall)
    source = edge_sources(contacts)
    striker, struck = source % count, contacts.target % count
    return np.flatnonzero(
        (fall.state[striker] == FALLEN)
        & (fall.backward[striker] == (source >= count))
        & (fall.state[struck] == UNTOUCHED)
    )


def _group_finding(
    scene: Scene,
    members: NDArray[np.intp],
    far: FarReach,
    near_miss: NDArray[np.bool_],
    left_out: NDArray[np.int64],
) -> Finding:
    fall = scene.fall
    stalled = members[fall.state[members] == STALLED]
    if len(stalled):
        first = stalled[np.argmin(fall.struck_s[stalled])]
        return _finding(
            scene,
            members,
            f"the fall dies at {place_name(scene.brief, scene.standing, int(first))}, which is struck too weakly",
        )
    contacts, count = scene.contacts, len(fall)
    here = left_out[np.isin(contacts.target[left_out] % count, members)]
    if len(here):
        edge = here[np.argmin(contacts.gap_m[here])]
        source = int(np.searchsorted(contacts.first, edge, side="right")) - 1
        striker = place_name(scene.brief, scene.standing, source % count)
        target = place_name(scene.brief, scene.standing, int(contacts.target[edge]) % count)
        return _finding(
            scene, members, f"{striker} comes to lean on another piece before it gets to {target}"
        )
    missed = np.flatnonzero(near_miss & np.isin(far.target, members))
    if len(missed):
        pair = missed[np.argmin(far.gap_m[missed])]
        striker = place_name(scene.brief, scene.standing, int(far.striker[pair]))
        target = place_name(scene.brief, scene.standing, int(far.target[pair]))
        gap = f"{1000 * far.gap_m[pair]:.1f} mm"
        return _finding(
            scene, members, f"the gap of {gap} from {striker} to {target} is beyond a falling piece's reach"
        )
    return _finding(scene, members, "no falling piece reaches them")


def _finding(scene: Scene, members: NDArray[np.intp], why: str) -> Finding:
    return make_finding(
        "F705",
        home_name(scene.brief, scene.standing, int(members[0])),
        f"{len(members):,} dominoes stay standing, because {why}: "
        + some_places(scene.brief, scene.standing, members),
        value=len(members),
        limit=0,
        next_step="Lead a line to them, give them a starter, close the gap, or strike harder.",
    )


def _unsafe_gaps(scene: Scene, far: FarReach, near_miss: NDArray[np.bool_]) -> list[Finding]:
    """Gaps that are meant to stop the fall, or do by chance, and may be crossed by what slides ahead."""
    pairs = np.flatnonzero(near_miss)
    if not len(pairs):
        return []
    narrowest = pairs[np.argmin(far.gap_m[pairs])]
    striker = int(far.striker[narrowest])
    safe_m = float(safe_gap_m(scene.pieces.height_m[striker : striker + 1], scene.ground.floor_friction)[0])
    return [
        make_finding(
            "F717",
            home_name(scene.brief, scene.standing, striker),
            f"{len(pairs):,} gaps neither carry the fall nor stop it for sure: fallen pieces slide ahead. They follow "
            + some_places(scene.brief, scene.standing, np.unique(far.striker[pairs])),
            value=f"{1000 * far.gap_m[narrowest]:.1f} mm",
            limit=f"{1000 * safe_m:.0f} mm to stop it on this floor",
            next_step="Close the gap if the fall should cross it; widen it if it is meant as a firebreak.",
        )
    ]
