"""All measurements, in one command: ``python -m benchmarks [--quick]``.

Prints tables only; nothing here decides whether a change is good. Every ratio is taken within one run
on one machine; quote ratios, not seconds.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import assign_speed
import fall_against_rigid_bodies
import fall_speed
import fall_trials
import free_space_update
import planning_growth
import routes_growth
import start_up


def main() -> None:
    """Run every measurement in turn."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks", description="Print every measurement.")
    parser.add_argument("--quick", action="store_true", help="smaller sizes, for a look")
    quick = parser.parse_args().quick
    for measurement in (
        start_up,
        assign_speed,
        planning_growth,
        routes_growth,
        free_space_update,
        fall_speed,
        fall_trials,
        fall_against_rigid_bodies,
    ):
        print(f"\n== {measurement.TITLE}", flush=True)
        measurement.show(quick)


if __name__ == "__main__":
    main()
