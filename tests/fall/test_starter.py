"""Starters: hand arithmetic, equations of motion by scipy, momentum as linear equations, touches by marching.

The struck piece is 48 x 24 x 7.5 mm and 8.5 g; g = 9.80665 m/s^2.
"""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import shapely
from scipy.integrate import solve_ivp
from shapely import affinity

from standfall.brief import Starter
from standfall.fall.block import Block
from standfall.fall.ground import GRAVITY_M_S2
from standfall.fall.pieces import Pieces
from standfall.fall.starter import (
    LARGEST_RELEASE_RAD,
    needed_ramp_height_m,
    needed_release_rad,
    needed_speed_m_s,
    release_to_strike_s,
    starter_figure,
    strike_speed_m_s,
    synchronise,
    touch,
    touched,
    with_least_omega,
)
from standfall.mural.standing import STANDING_TYPES, Standing

HEIGHT_M, WIDTH_M, THICKNESS_M, MASS_KG = 0.048, 0.024, 0.0075, 0.0085
PIECE = Block(HEIGHT_M, THICKNESS_M, MASS_KG)


def _starter(kind: str, **keys: Any) -> Starter:
    return Starter(name="trial", kind=kind, **{"line": "lead-in", **keys})


def _ball(**keys: Any) -> Starter:
    usual = {"mass_kg": 0.02, "ramp_height_m": 0.02, "ramp_length_m": 0.1, "diameter_m": 0.016}
    return _starter("ball", **{**usual, **keys})


def _cylinder(**keys: Any) -> Starter:
    usual = {"mass_kg": 0.03, "ramp_height_m": 0.03, "ramp_length_m": 0.2, "diameter_m": 0.02}
    return _starter("cylinder", **{**usual, **keys})


def _pendulum(**keys: Any) -> Starter:
    return _starter("pendulum", **{"mass_kg": 0.05, "length_m": 0.3, "release_rad": 0.4, **keys})


KINDS = [
    _starter("finger", speed_m_s=0.3),
    _starter("pusher", speed_m_s=0.4, strike_height_m=0.03),
    _starter("lever", speed_m_s=0.2, arm_ratio=2.5),
    _pendulum(restitution=0.3),
    _ball(rail_gap_m=0.008, runout_m=0.05),
    _cylinder(hollow=True),
]


def test_ball_by_hand() -> None:
    # 20 g from 20 mm: v = sqrt(10 x 9.80665 x 0.02 / 7) = sqrt(0.28019) = 0.52933 m/s. At 30 mm, no rebound:
    # I = 8.5e-3 (0.048^2 + 0.0075^2) / 3 = 6.6874e-6, m z^2 = 0.02 x 0.0009 = 1.8e-5,
    # omega = 0.02 x 0.52933 x 0.03 / 2.46874e-5 = 3.17598e-4 / 2.46874e-5 = 12.865 rad/s.
    figure = starter_figure(_ball(strike_height_m=0.03), PIECE)
    assert figure.strike_speed_m_s == pytest.approx(0.52933, rel=1e-5)
    assert figure.omega_rad_s == pytest.approx(12.865, rel=1e-4)
    # Down 100 mm of ramp in 2 x 0.1 / 0.52933 = 0.37784 s.
    assert figure.release_to_strike_s == pytest.approx(0.37784, rel=1e-4)
    # Ten pieces at once: 3.17598e-4 / (6.6874e-5 + 1.8e-5) = 3.742 rad/s.
    assert starter_figure(_ball(strike_height_m=0.03), PIECE, 10).omega_rad_s == pytest.approx(
        3.742, rel=1e-3
    )
    assert (figure.name, figure.kind, figure.struck) == ("trial", "ball", 1)


def test_driven_by_hand() -> None:
    # Three quarters of 48 mm is 36 mm: 0.36 m/s there is 10 rad/s. Nothing depends on how many stand in the way.
    finger = starter_figure(_starter("finger", speed_m_s=0.36), PIECE, 7)
    assert finger.strike_height_m == pytest.approx(0.036)
    assert finger.omega_rad_s == pytest.approx(10.0)
    assert finger.release_to_strike_s == 0
    # A lever whose striking arm is three times the driven one: 0.12 m/s becomes 0.36 m/s.
    lever = starter_figure(_starter("lever", speed_m_s=0.12, arm_ratio=3.0), PIECE)
    assert lever.strike_speed_m_s == pytest.approx(0.36)
    assert lever.omega_rad_s == pytest.approx(10.0)


@pytest.mark.parametrize(
    ("starter", "factor"),
    [
        (_ball(), 10 / 7),  # textbook values of v^2 / (g H), rolling without slipping
        (_ball(hollow=True), 6 / 5),
        (_cylinder(), 4 / 3),
        (_cylinder(hollow=True), 1.0),
        # Rails 9.6 mm apart under a ball of 16 mm: r_roll^2 = 64 - 23.04 = 40.96, so 6.4 mm, and
        # 2 / (1 + 0.4 x 64 / 40.96) = 2 / 1.625 = 1.230769.
        (_ball(rail_gap_m=0.0096), 2 / 1.625),
    ],
)
def test_rolling_speeds(starter: Starter, factor: float) -> None:
    assert starter.ramp_height_m is not None
    by_hand = math.sqrt(factor * GRAVITY_M_S2 * starter.ramp_height_m)
    assert strike_speed_m_s(starter) == pytest.approx(by_hand, rel=1e-12)


@pytest.mark.parametrize(
    ("starter", "inertia_share"),
    [
        (_ball(rail_gap_m=0.01), 0.4),
        (_ball(hollow=True), 2 / 3),
        (_cylinder(), 0.5),
        (_cylinder(hollow=True), 1),
    ],
)
def test_ramp_from_newton_and_euler(starter: Starter, inertia_share: float) -> None:
    # m a = m g sin - f, I a / r_roll = f r_roll, solved at every moment for a and f and integrated.
    assert starter.mass_kg and starter.ramp_length_m and starter.ramp_height_m and starter.diameter_m
    mass_kg, radius_m, gap_m = starter.mass_kg, starter.diameter_m / 2, starter.rail_gap_m
    roll_m = math.sqrt(radius_m**2 - gap_m**2 / 4)
    inertia = inertia_share * mass_kg * radius_m**2
    pull_n = mass_kg * GRAVITY_M_S2 * starter.ramp_height_m / starter.ramp_length_m

    def rates(_: float, state: np.ndarray) -> list[float]:
        acceleration, _friction = np.linalg.solve([[mass_kg, 1], [inertia / roll_m, -roll_m]], [pull_n, 0])
        return [state[1], acceleration]

    end = lambda _, state: state[0] - starter.ramp_length_m  # noqa: E731
    end.terminal = True  # type: ignore[attr-defined]
    run = solve_ivp(rates, (0, 10), [0, 0], events=end, rtol=1e-10, atol=1e-12)
    assert strike_speed_m_s(starter) == pytest.approx(run.y_events[0][0][1], rel=1e-8)
    assert release_to_strike_s(starter) == pytest.approx(run.t_events[0][0], rel=1e-8)


def test_runout_is_at_even_speed() -> None:
    far, near = _ball(runout_m=0.2), _ball()
    assert strike_speed_m_s(far) == strike_speed_m_s(near)
    longer_s = release_to_strike_s(far) - release_to_strike_s(near)
    assert longer_s == pytest.approx(0.2 / strike_speed_m_s(near), rel=1e-12)


@pytest.mark.parametrize("release_deg", [0.5, 20, 90, 150, 170])
def test_pendulum_from_its_equation_of_motion(release_deg: float) -> None:
    starter = _pendulum(release_rad=math.radians(release_deg))
    lowest = lambda _, state: state[0]  # noqa: E731
    lowest.terminal = True  # type: ignore[attr-defined]
    run = solve_ivp(
        lambda _, state: [state[1], -GRAVITY_M_S2 / 0.3 * math.sin(state[0])],
        (0, 10),
        [math.radians(release_deg), 0],
        events=lowest,
        method="DOP853",
        rtol=1e-11,
        atol=1e-13,
    )
    assert release_to_strike_s(starter) == pytest.approx(run.t_events[0][0], rel=1e-8)
    assert strike_speed_m_s(starter) == pytest.approx(-0.3 * run.y_events[0][0][1], rel=1e-8)


def test_pendulum_by_hand() -> None:
    # 90 degrees: v = sqrt(2 x 9.80665 x 0.3) = sqrt(5.88399) = 2.42569 m/s. A small swing takes a quarter of
    # 2 pi sqrt(0.3 / 9.80665) = 1.09897 s: 0.27474 s, and 90 degrees 1.18034 times that (K(sin 45) = 1.85407).
    assert strike_speed_m_s(_pendulum(release_rad=math.pi / 2)) == pytest.approx(2.42569, rel=1e-5)
    assert release_to_strike_s(_pendulum(release_rad=1e-3)) == pytest.approx(0.27474, rel=1e-4)
    assert release_to_strike_s(_pendulum(release_rad=math.pi / 2)) == pytest.approx(
        1.18034 * 0.27474, rel=1e-4
    )


@pytest.mark.parametrize("starter", [kind for kind in KINDS if kind.mass_kg])
@pytest.mark.parametrize("struck", [1, 4])
@pytest.mark.parametrize("restitution", [0.0, 0.5, 1.0])
def test_strike_keeps_momentum_and_rebounds_as_told(
    starter: Starter, struck: int, restitution: float
) -> None:
    # Unknown: speed after, omega, impulse. m (v' - v) = -P; N I omega = P z; z omega - v' = e v.
    keys = {name: getattr(starter, name) for name in starter.__dataclass_fields__}
    free = Starter(**{**keys, "restitution": restitution})
    figure = starter_figure(free, PIECE, struck)
    assert free.mass_kg is not None
    mass_kg, v, z_m = free.mass_kg, figure.strike_speed_m_s, figure.strike_height_m
    inertia = struck * MASS_KG * (HEIGHT_M**2 + THICKNESS_M**2) / 3
    after, omega, _ = np.linalg.solve(
        [[mass_kg, 0, 1], [0, inertia, -z_m], [-1, z_m, 0]], [mass_kg * v, 0, restitution * v]
    )
    assert figure.omega_rad_s == pytest.approx(omega, rel=1e-12)
    before_j = 0.5 * mass_kg * v**2
    after_j = 0.5 * mass_kg * after**2 + 0.5 * inertia * figure.omega_rad_s**2
    assert after_j == pytest.approx(before_j, rel=1e-12) if restitution == 1 else after_j < before_j


@pytest.mark.parametrize("starter", KINDS, ids=lambda starter: starter.kind)
@pytest.mark.parametrize("struck", [1, 5])
@pytest.mark.parametrize("share", [0.3, 1.2])
def test_what_is_needed_gives_what_was_asked(starter: Starter, struck: int, share: float) -> None:
    wanted = share * starter_figure(starter, PIECE, struck).omega_rad_s
    keys = {name: getattr(starter, name) for name in starter.__dataclass_fields__}
    height_m = needed_ramp_height_m(starter, PIECE, wanted, struck)
    release_rad = needed_release_rad(starter, PIECE, wanted, struck)
    speed_m_s = needed_speed_m_s(starter, PIECE, wanted, struck)
    assert math.isnan(height_m) is (starter.kind not in ("ball", "cylinder"))
    assert math.isnan(release_rad) is (starter.kind != "pendulum")
    if starter.kind == "pendulum":
        keys["release_rad"] = release_rad
    elif starter.ramp_height_m is not None:
        keys["ramp_height_m"] = height_m
    else:
        keys["speed_m_s"] = speed_m_s
    again = starter_figure(Starter(**keys), PIECE, struck)
    assert again.omega_rad_s == pytest.approx(wanted, rel=1e-12)
    if starter.mass_kg:
        assert again.strike_speed_m_s == pytest.approx(speed_m_s, rel=1e-12)
    full = with_least_omega(starter_figure(starter, PIECE, struck), starter, PIECE, wanted)
    assert full.least_omega_rad_s == wanted
    assert full.needed_speed_m_s == speed_m_s
    assert np.array_equal([full.needed_ramp_height_m, full.needed_release_rad], [height_m, release_rad], True)


def test_a_pendulum_that_cannot_do_it() -> None:
    highest = starter_figure(_pendulum(release_rad=LARGEST_RELEASE_RAD), PIECE).omega_rad_s
    assert needed_release_rad(_pendulum(), PIECE, 0.999 * highest) == pytest.approx(
        LARGEST_RELEASE_RAD, abs=0.05
    )
    assert math.isnan(needed_release_rad(_pendulum(), PIECE, 1.001 * highest))
    assert math.isnan(needed_release_rad(_pendulum(), PIECE, 10 * highest))


def test_synchronise() -> None:
    figures = [starter_figure(starter, PIECE) for starter in KINDS]
    delays = synchronise(figures)
    strikes = [delay + figure.release_to_strike_s for delay, figure in zip(delays, figures, strict=True)]
    assert strikes == pytest.approx([strikes[0]] * len(figures), abs=1e-12)
    slowest = max(range(len(figures)), key=lambda place: figures[place].release_to_strike_s)
    assert delays[slowest] == 0
    assert min(delays) == 0
    wanted = [0.0, 1.5, 0.2, 3.0, 0.0, 0.1]
    delays = synchronise(figures, wanted)
    late = [d + f.release_to_strike_s - w for d, f, w in zip(delays, figures, wanted, strict=True)]
    assert late == pytest.approx([late[0]] * len(figures), abs=1e-12)
    assert min(delays) == 0
    assert synchronise([]) == ()
    with pytest.raises(ValueError, match="one time"):
        synchronise(figures, [0.0])


def test_misuse() -> None:
    with pytest.raises(ValueError, match="at least one"):
        starter_figure(KINDS[0], PIECE, 0)
    with pytest.raises(ValueError, match="needs speed_m_s"):
        strike_speed_m_s(_starter("finger"))
    with pytest.raises(ValueError, match="needs ramp_length_m"):
        release_to_strike_s(_ball(ramp_length_m=None))
    with pytest.raises(ValueError, match="between its rails"):
        strike_speed_m_s(_ball(rail_gap_m=0.016))
    with pytest.raises(ValueError, match="no starter of kind 'catapult'"):
        strike_speed_m_s(_starter("catapult", ramp_height_m=1.0))


# Which pieces.


def _standing(**columns: Any) -> Standing:
    """Columns that are not given are 0, fields and lines -1."""
    n = len(next(iter(columns.values())))
    given = {"field": np.full(n, -1), "line": np.full(n, -1), **columns}
    return Standing(
        **{name: np.asarray(given.get(name, np.zeros(n)), dtype=of) for name, of in STANDING_TYPES.items()}
    )


def _alike(count: int) -> Pieces:
    return Pieces.alike(count, height_m=HEIGHT_M, width_m=WIDTH_M, thickness_m=THICKNESS_M, mass_kg=MASS_KG)


def _brief() -> Any:
    named = [SimpleNamespace(name=name) for name in ("lead-in", "mural", "split")]
    return SimpleNamespace(
        domino=SimpleNamespace(width_m=WIDTH_M), lines=[named[0], named[2]], fields=[named[1]]
    )


def _at(place_m: tuple[float, float], direction_rad: float, **keys: Any) -> Starter:
    return Starter(
        name="trial", kind="pusher", speed_m_s=0.3, place_m=place_m, direction_rad=direction_rad, **keys
    )


def _field(columns: int, rows: int, offset: bool = False) -> Standing:
    """A field that falls along y: columns of 27 mm, rows of 22 mm, with lower faces of row 0 at y = 0."""
    row, col = (part.ravel() for part in np.indices((rows, columns)))
    shift = 0.5 * (row % 2) if offset else 0.0
    return _standing(
        x_m=0.027 * (col + shift),
        y_m=0.022 * row + THICKNESS_M / 2,
        yaw_rad=np.full(len(row), math.pi / 2),
        field=np.zeros(len(row)),
        row=row,
        col=col,
    )


def test_line_and_field_targets() -> None:
    # Ids: field 0 has row 0 at 0, 1, 2 and row 1 at 3, 4, 5, an upper layer at 6; lines at 7, 8 and 9, 10.
    standing = _standing(
        field=[0] * 7 + [-1] * 4,
        line=[-1] * 7 + [0, 0, 1, 1],
        row=[0, 0, 0, 1, 1, 1, 0, 0, 1, 0, 1],
        col=[0, 1, 2, 0, 1, 2, 1, 0, 0, 0, 0],
        layer=[0] * 6 + [1] + [0] * 4,
    )

    def nodes(**target: Any) -> list[int]:
        starter = Starter(name="trial", kind="finger", speed_m_s=0.3, **target)
        return touched(starter, standing, _brief(), _alike(11)).tolist()

    assert nodes(line="lead-in") == [7]
    assert nodes(line="split") == [9]
    assert nodes(field="mural") == [0, 1, 2]
    assert nodes(field="mural", first_col=1) == [1, 2]
    assert nodes(field="mural", last_col=1) == [0, 1]
    assert nodes(field="mural", first_col=1, last_col=1) == [1]
    assert nodes(field="mural", first_col=3) == []
    assert nodes(field="mural", strike_height_m=0.048) == [0, 1, 2]
    assert nodes(field="mural", strike_height_m=0.049) == []  # passes above
    with pytest.raises(ValueError, match="no line 'mural'"):
        nodes(line="mural")
    with pytest.raises(ValueError, match="has no line, field or place"):
        nodes()
    with pytest.raises(ValueError, match="needs direction_rad"):
        nodes(place_m=(0.0, 0.0))
    with pytest.raises(ValueError, match="same dominoes"):
        touched(KINDS[0], standing, _brief(), _alike(10))


@pytest.mark.parametrize("offset", [False, True])
def test_a_wide_edge_takes_the_first_row_and_leaves_the_second_to_it(offset: bool) -> None:
    # 100 mm wide about x = 54 mm: from 4 to 104 mm, so columns 0 (to 12 mm) to 4 (96 to 120 mm). In the offset field
    # row 1 shows through the 3 mm between columns and is within the stroke of 30 mm, but row 0 falls on it first.
    standing = _field(7, 3, offset)
    hit = touch(_at((0.054, -0.005), math.pi / 2, width_m=0.1), standing, _brief(), _alike(21))
    assert hit.node.tolist() == [0, 1, 2, 3, 4]
    assert hit.travel_m == pytest.approx(np.full(5, 0.005), abs=1e-12)
    assert hit.turn_rad == pytest.approx(np.zeros(5), abs=1e-12)


def test_stroke_width_and_direction_by_hand() -> None:
    standing, pieces = _field(3, 2), _alike(6)

    def nodes(*args: Any, **keys: Any) -> list[int]:
        return touched(_at(*args, **keys), standing, _brief(), pieces).tolist()

    # The edge starts 40 mm before the faces at y = 0 and is a domino wide: column 1 covers 15 to 39 mm.
    assert nodes((0.027, -0.04), math.pi / 2, stroke_m=0.039) == []
    assert nodes((0.027, -0.04), math.pi / 2, stroke_m=0.041) == [1]
    # Between columns 0 (to 12 mm) and 1 (from 15 mm): 2.9 mm pass through to nothing in row 1 either; 3.1 mm do not.
    assert nodes((0.0135, -0.01), math.pi / 2, stroke_m=0.05, width_m=0.0029) == []
    assert nodes((0.0135, -0.01), math.pi / 2, stroke_m=0.05, width_m=0.0031) == [0, 1]
    # From behind: row 1 (22 to 29.5 mm) falls backward, node 6 + 4.
    assert nodes((0.027, 0.04), -math.pi / 2, stroke_m=0.02) == [10]
    # From the side, x = -20 mm, at the height of row 0: its column 0 alone, at right angles, as forward.
    hit = touch(_at((-0.02, 0.003), 0.0, width_m=0.002), standing, _brief(), pieces)
    assert hit.node.tolist() == [0]
    assert hit.turn_rad == pytest.approx([math.pi / 2])
    assert hit.travel_m == pytest.approx([0.008])  # -12 mm less -20 mm
    # An edge that starts inside a piece has met it at once.
    hit = touch(_at((0.0, 0.004), math.pi / 2, stroke_m=0.001), standing, _brief(), pieces)
    assert (hit.node.tolist(), hit.travel_m.tolist()) == ([0], [0.0])
    # Away from everything.
    assert nodes((5.0, 5.0), 0.3) == []


def test_upper_pieces_and_an_empty_hall() -> None:
    upper = _standing(x_m=[0.0], y_m=[0.01], yaw_rad=[math.pi / 2], layer=[1], z_m=[0.048])
    starter = _at((0.0, 0.0), math.pi / 2)
    assert touched(starter, upper, _brief(), _alike(1)).tolist() == []
    assert touched(starter, _standing(x_m=[]), _brief(), _alike(0)).tolist() == []


def test_a_piece_at_a_slant_is_met_at_its_corner() -> None:
    # Turned 30 degrees against the push along x: the nearest corner is 3.75 cos 30 + 12 sin 30 = 9.2476 mm
    # before its middle at 20 mm, so at 10.7524 mm. The turn is +30 degrees.
    standing = _standing(x_m=[0.02], y_m=[0.0], yaw_rad=[math.radians(30)])
    hit = touch(_at((0.0, 0.0), 0.0, width_m=0.1), standing, _brief(), _alike(1))
    assert hit.travel_m == pytest.approx([0.0107524], abs=1e-7)
    assert hit.turn_rad == pytest.approx([math.radians(30)])
    # From the other side it falls backward, and the node's direction is 30 degrees off again.
    hit = touch(_at((0.04, 0.0), math.pi, width_m=0.1), standing, _brief(), _alike(1))
    assert hit.node.tolist() == [1]
    assert hit.turn_rad == pytest.approx([math.radians(30)])


def _scattered(seed: int) -> tuple[Standing, list[Any]]:
    """Pieces at random, apart from one another, and their footprints by shapely."""
    random = np.random.default_rng(seed)
    poses: list[tuple[float, float, float]] = []
    shapes: list[Any] = []
    for _ in range(250):
        x, y, yaw = random.uniform(-0.2, 0.2), random.uniform(-0.2, 0.2), random.uniform(-math.pi, math.pi)
        box = shapely.box(-THICKNESS_M / 2, -WIDTH_M / 2, THICKNESS_M / 2, WIDTH_M / 2)
        shape = affinity.translate(affinity.rotate(box, yaw, origin=(0, 0), use_radians=True), x, y)
        if all(shape.distance(other) > 0.001 for other in shapes):
            poses.append((x, y, yaw))
            shapes.append(shape)
    x, y, yaw = np.array(poses).T
    return _standing(x_m=x, y_m=y, yaw_rad=yaw), shapes


def _turned_box(x0: float, y0: float, x1: float, y1: float, angle_rad: float, x: float, y: float) -> Any:
    box = affinity.rotate(shapely.box(x0, y0, x1, y1), angle_rad, origin=(0, 0), use_radians=True)
    return affinity.translate(box, x, y)


def _earlier_sweeps(
    standing: Standing, piece: int, travel: dict[int, float], direction_rad: float
) -> list[Any]:
    """What the pieces met before this one sweep as they fall away from the edge: a height ahead of their faces."""
    sweeps = []
    for other in (other for other in travel if travel[other] < travel[piece]):
        yaw = float(standing.yaw_rad[other])
        yaw += math.pi * (math.cos(yaw - direction_rad) < 0)
        front, x, y = THICKNESS_M / 2, float(standing.x_m[other]), float(standing.y_m[other])
        sweeps.append(_turned_box(front, -WIDTH_M / 2, front + HEIGHT_M, WIDTH_M / 2, yaw, x, y))
    return sweeps


@pytest.mark.parametrize("seed", range(6))
def test_scattered_pieces_against_a_march_of_the_edge(seed: int) -> None:
    """Thin rays for what the edge meets, and shapely for who falls on whom, instead of our contacts."""
    standing, shapes = _scattered(seed)
    n, direction_rad, width_m, stroke_m = len(shapes), 0.7 * seed - 1.0, 0.2, 0.15
    x, y = -0.08 * math.cos(direction_rad), -0.08 * math.sin(direction_rad)
    # Seen from the edge: u ahead of it, v along it.
    ahead = [
        affinity.rotate(affinity.translate(shape, -x, -y), -direction_rad, origin=(0, 0), use_radians=True)
        for shape in shapes
    ]
    parts = shapely.intersection(ahead, shapely.box(0, -width_m / 2, stroke_m, width_m / 2))
    travel = {int(k): float(shapely.bounds(parts[k])[0]) for k in np.flatnonzero(shapely.area(parts) > 0)}
    levels = np.linspace(-width_m / 2, width_m / 2, 4001)[1:-1]
    rays = shapely.linestrings([[(0, v), (stroke_m, v)] for v in levels])
    seen: set[int] = set()
    for ray in rays:
        met = [
            (float(shapely.bounds(shapely.intersection(ray, parts[k]))[0]), k)
            for k in travel
            if shapely.intersects(ray, parts[k])
        ]
        seen |= {min(met)[1]} if met else set()

    starter = _at((x, y), direction_rad, width_m=width_m, stroke_m=stroke_m)
    hit = touch(starter, standing, _brief(), _alike(n))
    found = {int(node) % n for node in hit.node}
    assert found <= seen
    assert len(found) >= 3
    assert hit.travel_m == pytest.approx([travel[int(node) % n] for node in hit.node], abs=1e-12)
    backward = np.cos(standing.yaw_rad[hit.node % n] - direction_rad) < 0
    assert np.array_equal(backward, hit.node >= n)
    for piece in seen - found:  # left to another, which must reach it
        sweeps = _earlier_sweeps(standing, piece, travel, direction_rad)
        assert shapely.intersects(shapes[piece], sweeps).any()
    for piece in found:  # nobody earlier has a free way to it that is worth a contact
        for sweep in _earlier_sweeps(standing, piece, travel, direction_rad):
            alone = shapely.intersects(sweep, shapes).sum() == 2  # the faller's own face, and this piece
            assert not (
                alone and shapely.intersection(sweep, shapes[piece]).area > 0.05 * WIDTH_M * THICKNESS_M
            )
