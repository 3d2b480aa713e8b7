"""Falls made up for pictures: fronts of one speed, straight or round, without any mechanics."""

from __future__ import annotations

import numpy as np
from paper_plan import Wish, make_test_plan

from standfall.fall.falling import BY_STARTER, FALLEN, NO_STRIKER, UNTOUCHED, Fall

SPEED_M_S = 0.96
TURN_S = 0.3
# 12 x 8 dominoes without holes or lines, fall to hall y, corner at (1, 1); pitches 27 and 22 mm.
SMALL = Wish(columns=12, rows=8, holes=False, lines=(), tray=(4, 4), noise=0.6)


def wish(**changes):
    return Wish(**{**SMALL.__dict__, **changes})


def straight_fall(plan, *, speed_m_s=SPEED_M_S, begin_s=0.0, stay=()):
    """Row by row: row 0 is struck by starter 0, the others by the one behind; ``stay`` lists who stays up."""
    standing = plan.standing
    pitch_m = plan.brief.fields[0].row_pitch_m
    struck_s = begin_s + standing.row * pitch_m / speed_m_s
    place = {(int(r), int(c)): k for k, (r, c) in enumerate(zip(standing.row, standing.col, strict=True))}
    before = [
        place.get((r - 1, c), -1) for r, c in zip(standing.row.tolist(), standing.col.tolist(), strict=True)
    ]
    return made_fall(struck_s, np.array(before), speed_m_s, stay)


def made_fall(struck_s, striker, speed_m_s, stay=()):
    n = len(struck_s)
    struck_s = np.array(struck_s, dtype=np.float64)
    speed, striker = np.full(n, float(speed_m_s)), np.array(striker, dtype=np.int32)
    starter = np.where(striker < 0, 0, -1).astype(np.int16)
    speed[striker < 0] = np.nan
    down_s = struck_s + TURN_S
    state = np.full(n, FALLEN, dtype=np.int8)
    for k in stay:
        struck_s[k] = down_s[k] = speed[k] = np.nan
        striker[k], starter[k], state[k] = NO_STRIKER, -1, UNTOUCHED
    # What stood behind one that stays up is struck by who knows whom, and has no speed.
    orphan = (striker >= 0) & np.isnan(struck_s[striker]) & np.isfinite(struck_s)
    striker[orphan], starter[orphan], speed[orphan] = BY_STARTER, 0, np.nan
    return Fall(
        struck_s=struck_s,
        omega_rad_s=np.full(n, 10.0),
        speed_m_s=speed,
        striker=striker,
        starter=starter,
        backward=np.zeros(n, dtype=np.bool_),
        margin=np.ones(n),
        down_s=down_s,
        state=state,
    )


def small_plan(**changes):
    return make_test_plan(wish(**changes))
