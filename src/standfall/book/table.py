"""The tables that are exported, column by column, free of any file format."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from standfall.book.column import FALL_DECIMALS, Column, Table, metres, radians
from standfall.book.route_table import tile_columns
from standfall.book.stored_fall import StoredFall
from standfall.fall.falling import STATES
from standfall.planning.plan import Plan
from standfall.tiles import KINDS


def domino_table(plan: Plan) -> Table:
    """Return all dominoes."""
    standing, brief = plan.standing, plan.brief
    fields = tuple(field.name for field in brief.fields)
    lines = tuple(line.name for line in brief.lines)
    columns = (
        Column("id", np.arange(len(standing), dtype=np.int32), "", "number of the domino, from 0"),
        metres("x_m", standing.x_m, "middle of the footprint in the hall"),
        metres("y_m", standing.y_m, "middle of the footprint in the hall"),
        radians("yaw_rad", standing.yaw_rad, "direction of its fall in the hall, counter-clockwise from x"),
        Column("colour", standing.colour, "", "name of its colour", names=plan.palette.names),
        Column("field", standing.field, "", "name of its field, none on a line", names=fields),
        Column("row", standing.row, "", "row in the field, or place along the line; from 0"),
        Column("col", standing.col, "", "column in the field, 0 on a line; from 0"),
        Column("tile", standing.tile, "", "number of its tile, 0 when laid by hand"),
        Column("slot_row", standing.slot_row, "", "row in the tray, from 0; -1 when laid by hand"),
        Column("slot_col", standing.slot_col, "", "column in the tray, from 0; -1 when laid by hand"),
        Column("layer", standing.layer, "", "0 on the floor, 1 on top of another domino"),
        Column("line", standing.line, "", "name of its line, none in a field", names=lines),
        metres("z_m", standing.z_m, "height its foot stands at"),
    )
    return Table("dominoes", columns)


def tile_table(plan: Plan) -> Table:
    """Return all tiles."""
    tiling = plan.tiling
    fields = tuple(field.name for field in plan.brief.fields)
    columns = (
        Column("tile", tiling.number, "", "number of the tile, from 1"),
        metres("x_m", tiling.x_m, "centre of the tray opening in the hall"),
        metres("y_m", tiling.y_m, "centre of the tray opening in the hall"),
        radians("yaw_rad", tiling.yaw_rad, "of the tile's x axis, which runs across the columns"),
        *tile_columns(plan),
        Column("field", tiling.field, "", "name of its field", names=fields),
        Column("turn_deg", tiling.turn_deg, "deg", "turn of the tray against the fall, 0 or 180"),
        Column("first_row", tiling.first_row, "", "lowest field row under the tray; may be negative"),
        Column("first_col", tiling.first_col, "", "lowest field column under the tray; may be negative"),
        Column("dominoes", tiling.dominoes, "", "dominoes in the tray"),
        Column("kind", tiling.kind, "", "full, edge (over the field's edge) or holed", names=KINDS),
    )
    return Table("tiles", columns)


def fall_table(stored: StoredFall) -> Table:
    """Return what becomes of all dominoes."""
    fall, trials = stored.fall, stored.trials
    named = dict(zip(stored.starter_numbers, (figure.name for figure in stored.starters), strict=True))
    starters = tuple(named.get(number, "") for number in range(max(named, default=-1) + 1))
    stood = trials.stood if trials is not None else np.full(len(fall), -1, dtype=np.int32)
    columns = (
        Column("id", np.arange(len(fall), dtype=np.int32), "", "number of the domino, from 0"),
        _falling("struck_s", fall.struck_s, "s", "when it is struck, after the first starter let go"),
        _falling("omega_rad_s", fall.omega_rad_s, "rad/s", "its angular speed just after"),
        _falling("speed_m_s", fall.speed_m_s, "m/s", "of the front where it arrives"),
        Column("striker", fall.striker, "", "domino that strikes it first; -1 a starter, -2 none"),
        Column("starter", fall.starter, "", "name of the starter that strikes it, if any", names=starters),
        Column("backward", fall.backward.astype(np.int8), "", "1 when it falls against its direction"),
        _falling("margin", fall.margin, "", "least share of its energy left before it strikes the next"),
        _falling("down_s", fall.down_s, "s", "when it has come to rest"),
        Column("state", fall.state, "", "untouched, fallen or stalled (struck, but stays up)", names=STATES),
        Column("stood", stood, "", "trials in which it stayed up, -1 without trials"),
    )
    return Table("fall", columns)


def _falling(name: str, values: NDArray[np.float64], unit: str, about: str) -> Column:
    return Column(name, values, unit, about, FALL_DECIMALS, gaps=True)
