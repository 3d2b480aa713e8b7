"""The columns of a plan's arrays and their types, in the order of the build file's digests."""

from __future__ import annotations

import numpy as np

from standfall.mural.standing import NO_TILE, STANDING_TYPES

STANDING_COLUMNS: dict[str, type] = STANDING_TYPES
# What the standing set's arrays say for "none", where the build file says NULL.
NOTHING = {"field": -1, "line": -1, "tile": NO_TILE, "slot_row": -1, "slot_col": -1}
TILING_COLUMNS: dict[str, type] = {
    "field": np.int16,
    "first_row": np.int32,
    "first_col": np.int32,
    "x_m": np.float64,
    "y_m": np.float64,
    "yaw_rad": np.float64,
    "turn_deg": np.int16,
    "dominoes": np.int32,
    "kind": np.int8,
}
STOCK_COLUMNS: dict[str, type] = {
    "stock": np.int64,
    "wished": np.int64,
    "used_fields": np.int64,
    "used_lines": np.int64,
    "spares": np.int64,
    "pack_size": np.int64,
    "packs_to_buy": np.int64,
    "cost": np.float64,
}
FALL_COLUMNS: dict[str, type] = {
    "struck_s": np.float64,
    "omega_rad_s": np.float64,
    "speed_m_s": np.float64,
    "striker": np.int32,
    "starter": np.int16,
    "backward": np.bool_,
    "margin": np.float64,
    "down_s": np.float64,
    "state": np.int8,
}
# Of the routes, in which -1 says "none", where the build file says NULL; tile 0 likewise.
STEP_COLUMNS: dict[str, type] = {
    "kind": np.int8,
    "tile": np.int32,
    "after": np.int32,
    "x_m": np.float64,
    "y_m": np.float64,
    "dominoes": np.int32,
}
STANCE_COLUMNS: dict[str, type] = {
    "model": np.int16,
    "turn_deg": np.int16,
    "x_m": np.float64,
    "y_m": np.float64,
    "yaw_rad": np.float64,
    "leave_x_m": np.float64,
    "leave_y_m": np.float64,
    "layer": np.int16,
}
TRIP_COLUMNS: dict[str, type] = {
    "robot": np.int16,
    "dock": np.int16,
    "start_s": np.float64,
    "end_s": np.float64,
    "driven_m": np.float64,
}
WAYPOINT_COLUMNS: dict[str, type] = {
    "phase": np.int8,
    "way_step": np.int32,
    "t_s": np.float64,
    "x_m": np.float64,
    "y_m": np.float64,
    "yaw_rad": np.float64,
}
