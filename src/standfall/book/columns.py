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
