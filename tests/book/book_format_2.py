"""Build files of format 2, as the program wrote them before it planned routes."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from standfall.book import write_build, write_fall
from standfall.book.digest import input_digest
from standfall.fall.prediction import Prediction
from standfall.planning.plan import Plan

# What format 3 brought, children before parents.
NEW_IN_3 = ("waypoint", "trip_step", "trip", "step", "robot", "model", "route", "drawn_floor")


def write_build_2(plan: Plan, prediction: Prediction, path: Path) -> Path:
    """Write a plan without routes and its predicted fall as a file of format 2, planned by ``plan_format`` 1."""
    write_build(plan, path)
    write_fall(prediction, plan, path)
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("DROP VIEW step_named")
        for table in NEW_IN_3:
            connection.execute(f"DROP TABLE {table}")
        connection.execute("UPDATE plan SET plan_format = 1, input_sha256 = ?", (input_digest(plan, 1),))
        connection.execute("PRAGMA user_version = 2")
        connection.execute("VACUUM")
    return path
