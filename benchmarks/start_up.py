"""How long ``standfall --help`` takes, beside a Python that does nothing."""

from __future__ import annotations

import statistics
import subprocess
import sys
import time

TITLE = "start-up: standfall --help beside an idle Python"
RUNS = 15


def _median_s(code: str) -> float:
    times = []
    for _ in range(RUNS):
        begun = time.perf_counter()
        subprocess.run([sys.executable, "-c", code], check=True, capture_output=True)
        times.append(time.perf_counter() - begun)
    return statistics.median(times)


def _import_ms(module: str) -> float:
    done = subprocess.run(
        [sys.executable, "-X", "importtime", "-c", f"import {module}"],
        check=True,
        capture_output=True,
        text=True,
    )
    return int(done.stderr.splitlines()[-1].split("|")[1]) / 1000


def show(quick: bool) -> None:
    """Print the medians and the import time."""
    idle = _median_s("pass")
    asked = _median_s("import sys\nfrom standfall.cli import main\nsys.argv[1:] = ['--help']\nmain()")
    heavy = _median_s("import numpy, numba, scipy.optimize, shapely")
    print(f"idle Python          {1000 * idle:7.0f} ms")
    print(f"standfall --help     {1000 * asked:7.0f} ms   {asked / idle:5.1f} times idle")
    print(
        f"heavy libraries      {1000 * heavy:7.0f} ms   {heavy / idle:5.1f} times idle (what --help avoids)"
    )
    print(f"import standfall.cli {_import_ms('standfall.cli'):7.0f} ms (as the interpreter counts it)")


if __name__ == "__main__":
    show(quick=False)
