"""A slow twin of roads: the exact visibility graph, by shapely and networkx (general-purpose libraries).

Every corner of the union of all obstacles, start and goal are nodes; two that see each other are joined.
"""

from __future__ import annotations

import networkx as nx
import numpy as np
import shapely

Point = tuple[float, float]

# Less than this within an outline is a touch.
HAIR_M = 1e-7


def twin_length_m(polygons: list[np.ndarray], start_m: Point, goal_m: Point) -> float | None:
    """Return the length of the shortest way that stays out of the inside of the union, or ``None``."""
    union = shapely.union_all([shapely.Polygon(polygon) for polygon in polygons])
    # Moved in by a hair, sliding and touching are free. The union comes first: it has no cracks.
    solid = shapely.buffer(union, -HAIR_M, join_style="mitre")
    shapely.prepare(solid)
    corners = np.unique(shapely.get_coordinates(union), axis=0)
    nodes = np.concatenate([[start_m, goal_m], corners])
    if shapely.intersects_xy(solid, nodes[:2, 0], nodes[:2, 1]).any():
        return None
    first, second = np.triu_indices(len(nodes), 1)
    sights = shapely.linestrings(np.stack([nodes[first], nodes[second]], axis=1))
    seen = ~shapely.intersects(solid, sights)
    graph = nx.Graph()
    graph.add_nodes_from(range(len(nodes)))
    for a, b in zip(first[seen], second[seen], strict=True):
        graph.add_edge(int(a), int(b), weight=float(np.hypot(*(nodes[a] - nodes[b]))))
    try:
        return float(nx.dijkstra_path_length(graph, 0, 1))
    except nx.NetworkXNoPath:
        return None


def length_m(way: np.ndarray | None) -> float | None:
    """Return the length of a (p, 2) way."""
    return None if way is None else float(np.hypot(*np.diff(way, axis=0).T).sum())
