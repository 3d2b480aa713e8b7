"""Where pieces really come to stand: tiles and pieces set down with random errors, some missing.

A tile carries all its pieces with it: one error of place and turn (about the tile's centre) for the whole tile,
and on top one for each piece inside it. Pieces laid by hand have errors of their own. A stacked piece stands as
its support does. Friction is the same for the whole floor, but not known: one draw for each trial.

All errors are normal. Chance comes from a counter (Philox 4x64-10: J.K. Salmon et al., "Parallel random numbers:
as easy as 1, 2, 3", SC '11, doi 10.1145/2063384.2063405) keyed with seed and trial, so a trial's draws do not
depend on which worker makes them, nor on what was drawn before.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.random import Generator, Philox
from numpy.typing import NDArray

from standfall.fall._trial_kernels import place_pieces
from standfall.mural.standing import NO_TILE, Standing
from standfall.tiles.tiling import Tiling

if TYPE_CHECKING:
    from standfall.brief.section import Brief

Reals = NDArray[np.float64]
Singles = NDArray[np.float32]
# No pair of real surfaces slides easier than this, and the model needs some friction to be worth anything.
LEAST_FRICTION = 0.02
LEAST_MASS = 0.1
HANDS = -1
# Streams of chance of one trial; each has a counter of its own, so that one draw more in one moves no other.
_TILES, _PIECES, _FRICTION, _MASS, _MISSING = range(5)


@dataclass(frozen=True)
class PlacementError:
    """Standard deviations of everything that varies from one laying to the next.

    Attributes:
        tile_m, tile_turn_rad: of a tile's place on each axis and of its turn.
        piece_m, piece_turn_rad: of a piece inside its tile.
        hand_m, hand_turn_rad: of a piece laid by hand.
        domino_friction, domino_friction_spread: mean and deviation of piece on piece; at least 0.02 is drawn.
        floor_friction, floor_friction_spread: of foot on floor. The train model does not use it.
        mass_spread: deviation of a piece's mass, as a share.
        missing: chance that a piece lies or lacks unseen. What stands on it lacks too.
        tile_factor: (3m, r) makes errors of neighbouring tiles depend on each other: x, y, turn of tile 1, then
            of tile 2, ... are ``tile_factor @ normal(r)``. None: independent, with the deviations above.
    """

    tile_m: float = 0.0
    tile_turn_rad: float = 0.0
    piece_m: float = 0.0
    piece_turn_rad: float = 0.0
    hand_m: float = 0.0
    hand_turn_rad: float = 0.0
    domino_friction: float = 0.2
    domino_friction_spread: float = 0.0
    floor_friction: float = 0.4
    floor_friction_spread: float = 0.0
    mass_spread: float = 0.0
    missing: float = 0.0
    tile_factor: Reals | None = None

    @classmethod
    def of_brief(cls, brief: Brief) -> PlacementError:
        """Return what the brief's section [fall] says."""
        # fmt: off
        fall: Any = brief.fall
        return cls(
            tile_m=fall.tile_error_m, tile_turn_rad=fall.tile_turn_error_rad,
            piece_m=fall.piece_error_m, piece_turn_rad=fall.piece_turn_error_rad,
            hand_m=fall.hand_error_m, hand_turn_rad=fall.hand_turn_error_rad,
            domino_friction=fall.domino_friction, domino_friction_spread=fall.domino_friction_spread,
            floor_friction=fall.floor_friction, floor_friction_spread=fall.floor_friction_spread,
            mass_spread=fall.mass_spread, missing=fall.missing,
        )
        # fmt: on

    def with_tile_error(self, tile_m: float) -> PlacementError:
        """Return the same with another deviation of a tile's place; errors that depend on each other scale."""
        if self.tile_factor is None or self.tile_m <= 0:
            return replace(self, tile_m=tile_m)
        factor = self.tile_factor.copy()
        scale = tile_m / self.tile_m
        factor[0::3] *= scale
        factor[1::3] *= scale
        return replace(self, tile_m=tile_m, tile_factor=factor)


@dataclass(frozen=True)
class Laying:
    """What is set down: n pieces as planned, and the m tiles that carry them.

    Attributes:
        x_m, y_m, z_m, yaw_rad: (n,) as planned.
        tile: (n,) int32 row of its tile, -1 (``HANDS``) laid by hand.
        centre_x_m, centre_y_m: (m,) of the tiles.
        support: (n,) int32 the piece it stands on, -1 the floor.
    """

    x_m: Reals
    y_m: Reals
    z_m: Reals
    yaw_rad: Reals
    tile: NDArray[np.int32]
    centre_x_m: Reals
    centre_y_m: Reals
    support: NDArray[np.int32]

    def __len__(self) -> int:
        return len(self.x_m)

    @property
    def tiles(self) -> int:
        """Return how many tiles there are."""
        return len(self.centre_x_m)


@dataclass(frozen=True)
class Normals:
    """The chance of one trial before it is scaled: standard normal numbers, and even ones for ``missing``.

    Attributes:
        tile: (3m,) x, y, turn of each tile in turn, or (r,) with a ``tile_factor``.
        piece: (n, 3) float32 x, y, turn.
        friction: (2,) domino, floor.
        mass: (n,) float32, empty when masses do not vary.
        missing: (n,) float32 in [0, 1), empty when none can be missing.
    """

    tile: Reals
    piece: Singles
    friction: Reals
    mass: Singles
    missing: Singles


@dataclass(frozen=True)
class Laid:
    """One laying as it came out.

    Attributes:
        x_m, y_m, yaw_rad: (n,) where the pieces stand.
        cos_yaw, sin_yaw: (n,) of ``yaw_rad``.
        missing: (n,) true where there is none; its place above is where it would stand.
        domino_friction, floor_friction: of this trial.
        mass_share: (n,) mass over nominal mass, empty when all are 1.
        reach_m, reach_rad: (2,) largest shift on an axis and largest turn, of pieces in tiles and laid by hand.
    """

    x_m: Reals
    y_m: Reals
    yaw_rad: Reals
    cos_yaw: Reals
    sin_yaw: Reals
    missing: NDArray[np.bool_]
    domino_friction: float
    floor_friction: float
    mass_share: Reals
    reach_m: Reals
    reach_rad: Reals


def laying_of(standing: Standing, tiling: Tiling) -> Laying:
    """Return what is set down, and on what."""
    return Laying(
        x_m=standing.x_m,
        y_m=standing.y_m,
        z_m=standing.z_m,
        yaw_rad=standing.yaw_rad,
        tile=np.where(standing.tile == NO_TILE, HANDS, standing.tile - 1).astype(np.int32),
        centre_x_m=tiling.x_m,
        centre_y_m=tiling.y_m,
        support=_support(standing),
    )


def _support(standing: Standing) -> NDArray[np.int32]:
    support = np.full(len(standing), -1, dtype=np.int32)
    above = np.flatnonzero(standing.layer > 0)
    if not len(above):
        return support
    below = np.flatnonzero((standing.layer == 0) & (standing.field >= 0))
    cell = (standing.field.astype(np.int64) << 40) | (standing.row.astype(np.int64) << 20) | standing.col
    order = below[np.argsort(cell[below], kind="stable")]
    at = np.searchsorted(cell[order], cell[above])
    found = (at < len(order)) & (cell[order[np.minimum(at, len(order) - 1)]] == cell[above])
    support[above[found]] = order[at[found]]
    return support


def draw_normals(laying: Laying, error: PlacementError, seed: int, trial: int) -> Normals:
    """Draw the chance of one trial; the same for the same seed and trial, whatever else was drawn."""

    def stream(number: int) -> Generator:
        return Generator(Philox(key=[seed, trial], counter=[0, 0, 0, number]))

    count = len(laying)
    tile_count = 3 * laying.tiles if error.tile_factor is None else error.tile_factor.shape[1]
    none = np.empty(0, dtype=np.float32)
    return Normals(
        tile=stream(_TILES).standard_normal(tile_count),
        piece=stream(_PIECES).standard_normal((count, 3), dtype=np.float32),
        friction=stream(_FRICTION).standard_normal(2),
        mass=stream(_MASS).standard_normal(count, dtype=np.float32) if error.mass_spread > 0 else none,
        missing=stream(_MISSING).random(count, dtype=np.float32) if error.missing > 0 else none,
    )


def tile_errors(error: PlacementError, normals: Reals) -> Reals:
    """Return errors (m, 3) of the tiles: x and y in m, turn in rad."""
    if error.tile_factor is not None:
        return np.asarray(error.tile_factor @ normals).reshape(-1, 3)
    scale = np.array([error.tile_m, error.tile_m, error.tile_turn_rad])
    return np.asarray(normals.reshape(-1, 3) * scale)


def lay(laying: Laying, error: PlacementError, normals: Normals) -> Laid:
    """Set all down with one draw of errors."""
    x_m, y_m, yaw_rad, cos_yaw, sin_yaw, reach_m, reach_rad = place_pieces(
        laying.x_m,
        laying.y_m,
        laying.yaw_rad,
        laying.tile,
        laying.centre_x_m,
        laying.centre_y_m,
        laying.support,
        tile_errors(error, normals.tile),
        normals.piece,
        np.array([[error.piece_m, error.piece_turn_rad], [error.hand_m, error.hand_turn_rad]]),
    )
    missing = np.zeros(len(laying), dtype=np.bool_)
    if len(normals.missing):
        missing = normals.missing < error.missing
        above = np.flatnonzero(laying.support >= 0)
        missing[above] |= missing[laying.support[above]]
    domino = error.domino_friction + error.domino_friction_spread * normals.friction[0]
    floor = error.floor_friction + error.floor_friction_spread * normals.friction[1]
    return Laid(
        x_m=x_m,
        y_m=y_m,
        yaw_rad=yaw_rad,
        cos_yaw=cos_yaw,
        sin_yaw=sin_yaw,
        missing=missing,
        domino_friction=max(float(domino), LEAST_FRICTION),
        floor_friction=max(float(floor), LEAST_FRICTION),
        mass_share=np.maximum(1.0 + error.mass_spread * normals.mass.astype(np.float64), LEAST_MASS),
        reach_m=reach_m,
        reach_rad=reach_rad,
    )
