"""Boards made ready for the search, robots of three shapes, and fields of tiles side by side."""

import math
from dataclasses import replace

import numpy as np
from board import Board, box, make_brief, make_robot, part

from standfall.brief import Dock
from standfall.hall.site import make_site
from standfall.routes.access import find_access
from standfall.routes.free_cells import make_ground
from standfall.routes.stance import make_stances
from standfall.routes.step import KINDS

UP = math.pi / 2


class Case:
    """A board with all that the search needs, made once."""

    def __init__(self, board, steps=None, cell_m=None):
        self.board, self.steps = board, steps or board.steps()
        self.site, findings = make_site(board.brief)
        assert self.site is not None, findings
        self.stances, self.layers = make_stances(board.brief, self.site, self.steps, board.tiling())
        self.ground = make_ground(self.site, self.steps, self.stances, self.layers, cell_m)

    def access(self, preference=None, standing=(), wanted=None, hand_allowed=False):
        n = len(self.steps)
        stands, wants = np.zeros(n, bool), np.zeros(n, bool)
        stands[list(standing)] = True
        wants[list(range(n) if wanted is None else wanted)] = True
        return find_access(
            self.site,
            self.steps,
            self.stances,
            self.layers,
            preference=np.zeros(n) if preference is None else np.asarray(preference, float),
            standing=stands,
            wanted=wants,
            hand_allowed=np.full(n, hand_allowed),
            ground=self.ground,
        )


def patch(columns, rows, robots, crew=None, hall=(9.0, 8.0), areas=(), docks=None, **keys):
    """A field of tiles side by side, its corner at (3, 3), seen along y."""
    docks = docks or (Dock(name="dock", place_m=(hall[0] / 2, 1.0), heading_rad=UP),)
    tiles = tuple(
        (3.0 + 0.5 * (i + 0.5), 3.0 + 0.3 * (j + 0.5), 0.0) for j in range(rows) for i in range(columns)
    )
    return Board(make_brief(box(0, 0, *hall), areas, docks, robots, crew, **keys), tiles)


FRONT = make_robot(
    (part("body", box(-0.56, -0.2, -0.16, 0.2)), part("plate", box(-0.16, -0.25, 0.15, 0.25), low=False))
)
CORNER = make_robot(
    (part("body", box(-0.56, -0.2, -0.16, 0.3)), part("arm", box(-0.2, 0.25, 0.15, 0.3))),
    leave=(math.pi, -UP),
)
SKIRTS = make_robot(
    (
        part("body", box(-0.56, -0.2, -0.16, 0.2)),
        part("left", box(-0.2, 0.25, 0.15, 0.3)),
        part("right", box(-0.2, -0.3, 0.15, -0.25)),
    )
)


def stacked(board, bases):
    """Steps of a board with a second layer on some tiles."""
    steps = board.steps()
    n, m = len(steps), len(bases)
    return replace(
        steps,
        kind=np.append(steps.kind, np.full(m, KINDS.index("stack"))).astype(np.int8),
        tile=np.append(steps.tile, np.array(bases) + 1).astype(np.int32),
        x_m=np.append(steps.x_m, steps.x_m[bases]),
        y_m=np.append(steps.y_m, steps.y_m[bases]),
        dominoes=np.full(n + m, 50, np.int32),
        after=np.append(steps.after, bases).astype(np.int32),
        member_first=np.arange(n + m + 1),
        member=np.arange(n + m),
    )
