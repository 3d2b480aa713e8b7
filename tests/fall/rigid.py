"""Dominoes as free rigid boxes in MuJoCo: the judge of our falls that knows nothing of trains.

MuJoCo (E. Todorov, T. Erez, Y. Tassa, IROS 2012, 5026-5033) is a general-purpose engine, not an experiment.
What it shares with our model is Newton and dry friction; it assumes neither feet that hold fast, nor one
contact point for each pair, nor that a train keeps in a plane. No published table of speeds could be had to
compare with, so nothing here stands in for a measurement on a real floor.

Settings, found by halving the step until speeds stayed within 1 %: step 0.5 ms, contacts with a time constant
of three steps and without rebound, elliptic friction cone, impedance ratio 10. The defaults of the engine
(2 ms, soft contacts of 20 ms, pyramidal cone) are too soft for pieces of 8 g.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import mujoco
import numpy as np
from numpy.typing import NDArray

from standfall.fall.ground import GRAVITY_M_S2, Ground
from standfall.fall.pieces import Pieces

STEP_S = 0.0005
# A world is at rest when no piece has moved faster than this for QUIET_S: a fall that all but stops at a wide
# gap creeps on for a while, and shorter waits have shown stalls that were none.
QUIET_M_S = 0.002
QUIET_S = 1.0
CAP_S = 20.0

Numbers = NDArray[np.float64] | Sequence[float]


@dataclass(frozen=True)
class Bar:
    """A driven bar: it glides level at constant speed, strikes whatever stands there, stops after its stroke.

    Attributes:
        x_m, y_m: middle of its striking face at the start.
        direction_rad: where it goes.
        width_m: across its way.
        height_m: of the middle of its face above the floor; it is 4 mm high.
        speed_m_s: of its travel.
        stroke_m: length of its travel.
    """

    x_m: float
    y_m: float
    direction_rad: float
    width_m: float
    height_m: float
    speed_m_s: float
    stroke_m: float


@dataclass(frozen=True)
class Outcome:
    """What MuJoCo made of n pieces.

    Attributes:
        struck_s: (n,) first touch by a piece that was itself struck, or by a bar; 0 for pieces pushed at the
            start; NaN when never. Interpolated within the step from depth and closing speed.
        striker: (n,) piece that touched it first; -1 pushed or by a bar, -2 never.
        lean_rad: (n,) angle of its long axis from the floor's normal at the end.
        turned_rad: (n,) turn of its thickness axis about the normal since the start.
        x_m, y_m: (n,) middle at the end.
        top_x_m: (n,) foremost x of its corners at the end.
        toppled: (n,) leans by more than its tip angle atan(thickness / height).
        quiet: whether it came to rest before the time was up (always False when not waited for).
        lasted_s: simulated time.
    """

    struck_s: NDArray[np.float64]
    striker: NDArray[np.int64]
    lean_rad: NDArray[np.float64]
    turned_rad: NDArray[np.float64]
    x_m: NDArray[np.float64]
    y_m: NDArray[np.float64]
    top_x_m: NDArray[np.float64]
    toppled: NDArray[np.bool_]
    quiet: bool
    lasted_s: float


def _world_xml(
    pieces: Pieces, poses: NDArray[np.float64], ground: Ground, bars: Sequence[Bar], step_s: float
) -> str:
    soft = f'solref="{3.0 * step_s} 1"'
    along, down = math.sin(ground.slope_rad), math.cos(ground.slope_rad)
    gravity = GRAVITY_M_S2 * np.array(
        [along * math.cos(ground.downhill_rad), along * math.sin(ground.downhill_rad), -down]
    )
    parts = [
        "<mujoco>",
        f'<option timestep="{step_s}" integrator="Euler" cone="elliptic" impratio="10" solver="Newton"'
        f' gravity="{gravity[0]} {gravity[1]} {gravity[2]}"/>',
        '<size memory="64M"/>',
        # The friction of a pair is the larger of its two, unless one geom has priority: the floor's always counts.
        f'<worldbody><geom type="plane" size="50 50 1" friction="{ground.floor_friction} 0 0" priority="1"'
        f' condim="3" {soft}/>',
    ]
    for (x, y, z, yaw), h, b, d, mass in zip(
        poses, pieces.height_m, pieces.width_m, pieces.thickness_m, pieces.mass_kg, strict=True
    ):
        parts.append(
            f'<body pos="{x} {y} {z + 0.5 * h}" quat="{math.cos(yaw / 2)} 0 0 {math.sin(yaw / 2)}"><freejoint/>'
            f'<geom type="box" size="{d / 2} {b / 2} {h / 2}" mass="{mass}"'
            f' friction="{ground.domino_friction} 0 0" condim="3" {soft}/></body>'
        )
    for bar in bars:
        away = -0.002
        x, y = bar.x_m + away * math.cos(bar.direction_rad), bar.y_m + away * math.sin(bar.direction_rad)
        parts.append(
            f'<body pos="{x} {y} {bar.height_m}" euler="0 0 {math.degrees(bar.direction_rad)}">'
            f'<joint type="slide" axis="1 0 0"/><geom type="box" size="0.002 {bar.width_m / 2} 0.002" mass="50"'
            f' friction="{ground.domino_friction} 0 0" condim="3" {soft}/></body>'
        )
    parts.append("</worldbody></mujoco>")
    return "\n".join(parts)


class _Touches:
    """Watches for first touches."""

    def __init__(self, model: mujoco.MjModel, count: int, pushed: Sequence[int]) -> None:
        self.model = model
        self.count = count  # geom 0 is the floor, 1..count the pieces, then bars
        bodies = model.ngeom
        self.struck_s = np.full(bodies, np.nan)
        self.striker = np.full(bodies, -2)
        self.touched = np.zeros(bodies, dtype=bool)
        self.ignored: set[tuple[int, int]] = set()
        for geom in [*(1 + piece for piece in pushed), *range(count + 1, bodies)]:
            self.struck_s[geom], self.striker[geom], self.touched[geom] = 0.0, -1, True

    def ignore(self, data: mujoco.MjData) -> None:
        """Pairs that touch before anything moves are no strikes (pieces that stand on or against another)."""
        pairs = data.contact.geom[: data.ncon]
        self.ignored |= {(int(a), int(b)) for a, b in pairs if a > 0}

    def watch(self, data: mujoco.MjData, origin_s: float) -> None:
        """Look at the contacts of this moment, before forces act on them."""
        pairs = data.contact.geom[: data.ncon]
        mixed = (self.touched[pairs[:, 0]] != self.touched[pairs[:, 1]]) & (pairs.min(axis=1) > 0)
        for index in np.flatnonzero(mixed):
            a, b = int(pairs[index, 0]), int(pairs[index, 1])
            if (a, b) in self.ignored or self.touched[a] == self.touched[b]:
                continue
            striker, struck = (a, b) if self.touched[a] else (b, a)
            since_s = self._since(data, data.contact[int(index)], a, b)
            self.struck_s[struck] = data.time - origin_s - since_s
            self.striker[struck] = striker - 1 if striker <= self.count else -1
            self.touched[struck] = True

    def _since(self, data: mujoco.MjData, contact: object, a: int, b: int) -> float:
        normal = np.array(contact.frame[:3])  # from the first geom to the second
        speed = 0.0
        for geom, sign in ((a, 1.0), (b, -1.0)):
            velocity = np.zeros(6)
            body = int(self.model.geom_bodyid[geom])
            mujoco.mj_objectVelocity(self.model, data, mujoco.mjtObj.mjOBJ_BODY, body, velocity, 0)
            arm = np.array(contact.pos) - data.xpos[body]
            speed += sign * float(normal @ (velocity[3:] + np.cross(velocity[:3], arm)))
        if speed <= 0.0:
            return 0.0
        return min(-float(contact.dist) / speed, self.model.opt.timestep)


def let_fall(
    x_m: Numbers,
    y_m: Numbers,
    yaw_rad: Numbers,
    pieces: Pieces,
    ground: Ground,
    *,
    push_rad_s: dict[int, float] | None = None,
    bars: Sequence[Bar] = (),
    z_m: Numbers | None = None,
    to_rest: bool = True,
    step_s: float = STEP_S,
    cap_s: float = CAP_S,
) -> Outcome:
    """Stand pieces up, push some and watch.

    Args:
        x_m, y_m, yaw_rad: (n,) middle of each foot and the direction its thickness lies along.
        pieces: n sizes and masses.
        ground: frictions and slope.
        push_rad_s: angular speed of single pieces about their front bottom edge at time 0.
        bars: what is driven against the pieces from time 0.
        z_m: (n,) height of each foot above the floor; all 0 when not given.
        to_rest: wait until all is quiet; else stop when every piece has been touched or all is quiet.
        step_s: step of the engine.
        cap_s: the longest time simulated.
    """
    count = len(pieces)
    z_m = np.zeros(count) if z_m is None else z_m
    poses = np.column_stack([x_m, y_m, z_m, yaw_rad]).astype(np.float64)
    model = mujoco.MjModel.from_xml_string(_world_xml(pieces, poses, ground, bars, step_s))
    data = mujoco.MjData(model)
    for _ in range(round(0.02 / step_s)):  # feet sink a few micrometres into the floor
        mujoco.mj_step(model, data)
    push = push_rad_s or {}
    touches = _Touches(model, count, list(push))
    touches.ignore(data)
    for piece, omega in push.items():
        _set_turning(data, poses[piece, 3], pieces.height_m[piece], pieces.thickness_m[piece], piece, omega)
    quiet = _run(model, data, touches, bars, to_rest, cap_s)
    return _outcome(data, touches, pieces, poses, quiet)


def _set_turning(
    data: mujoco.MjData, yaw: float, height: float, thickness: float, piece: int, omega: float
) -> None:
    """Let a piece turn about its front bottom edge: v = omega x r, r from the edge to the middle."""
    row = data.qvel[6 * piece : 6 * piece + 6]
    level = 0.5 * omega * height
    row[:3] = level * math.cos(yaw), level * math.sin(yaw), 0.5 * omega * thickness
    row[3:] = 0.0, omega, 0.0  # in the piece's own axes


def _run(
    model: mujoco.MjModel,
    data: mujoco.MjData,
    touches: _Touches,
    bars: Sequence[Bar],
    to_rest: bool,
    cap_s: float,
) -> bool:
    count, origin_s = touches.count, data.time
    still_since = origin_s
    look = max(1, round(0.01 / model.opt.timestep))
    step = 0
    while data.time - origin_s < cap_s:
        now_s = data.time - origin_s
        for number, bar in enumerate(bars):
            data.qvel[6 * count + number] = bar.speed_m_s if now_s * bar.speed_m_s < bar.stroke_m else 0.0
        mujoco.mj_step1(model, data)
        touches.watch(data, origin_s)
        if not to_rest and touches.touched[1:].all():
            return False
        mujoco.mj_step2(model, data)
        step += 1
        if step % look == 0:
            if np.abs(data.qvel[: 6 * count].reshape(-1, 6)[:, :3]).max() > QUIET_M_S:
                still_since = data.time
            if data.time - still_since > QUIET_S:
                return True
    return False


def _outcome(
    data: mujoco.MjData, touches: _Touches, pieces: Pieces, poses: NDArray[np.float64], quiet: bool
) -> Outcome:
    count = len(pieces)
    axes = data.xmat[1 : count + 1].reshape(count, 3, 3)
    lean = np.arccos(np.clip(axes[:, 2, 2], -1.0, 1.0))
    # The width axis stays level while a piece topples in its plane, so the turn is read from it.
    turned = np.arctan2(-axes[:, 0, 1], axes[:, 1, 1]) - poses[:, 3]
    half = 0.5 * np.column_stack([pieces.thickness_m, pieces.width_m, pieces.height_m])
    return Outcome(
        struck_s=touches.struck_s[1 : count + 1].copy(),
        striker=touches.striker[1 : count + 1].copy(),
        lean_rad=lean,
        turned_rad=(turned + math.pi) % (2.0 * math.pi) - math.pi,
        x_m=data.xpos[1 : count + 1, 0].copy(),
        y_m=data.xpos[1 : count + 1, 1].copy(),
        top_x_m=data.xpos[1 : count + 1, 0] + (np.abs(axes[:, 0, :]) * half).sum(axis=1),
        toppled=lean > np.arctan(pieces.thickness_m / pieces.height_m),
        quiet=quiet,
        lasted_s=float(data.time),
    )
