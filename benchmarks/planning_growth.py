"""How the cost of planning grows from 100,000 to 1,000,000 dominoes, and how much memory it takes.

Each size runs in a process of its own, so its peak memory is its own. The picture is a photograph that
scikit-image ships (retina, 1411 x 1411, public domain). The kernels are compiled in a run before.
"""

from __future__ import annotations

import json
import math
import resource
import subprocess
import sys
import tempfile
import time
from itertools import pairwise
from pathlib import Path

TITLE = "planning: growth from 100,000 to 1,000,000 dominoes"
SIZES = {100_000: (330, 300), 300_000: (560, 540), 1_000_000: (1056, 950)}
STAGES = ("read", "plan", "write", "load", "export")


def _brief(columns: int, rows: int, picture: str) -> str:
    from standfall.demo import brief_text

    head = brief_text().split("[[line]]")[0]
    colours = "[[colour]]" + brief_text().split("[[colour]]", 1)[1]
    factor = columns * rows / 99_000
    lines = [
        f"stock = {math.ceil(int(line.split('=')[1]) * factor)}" if line.startswith("stock =") else line
        for line in colours.splitlines()
    ]
    return head.replace("columns = 330", f"columns = {columns}").replace(
        "rows = 300", f"rows = {rows}"
    ).replace("kingfisher.svg", picture).replace(
        "[[0, 0], [18, 0], [18, 10], [15, 10], [15, 14], [0, 14]]", "[[0, 0], [60, 0], [60, 60], [0, 60]]"
    ) + "\n".join(lines)


def measure(columns: int, rows: int) -> dict[str, float]:
    """Plan one size in this process and return seconds per stage, CPU seconds and peak memory."""
    import skimage

    import standfall

    picture = str(Path(skimage.__file__).parent / "data" / "retina.jpg")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "brief.toml").write_text(_brief(columns, rows, picture), encoding="utf-8")
        marks = [time.perf_counter()]
        commission = standfall.read_brief(folder / "brief.toml")
        marks.append(time.perf_counter())
        outcome = standfall.plan(commission)
        marks.append(time.perf_counter())
        if outcome.plan is None or outcome.blocked:
            raise SystemExit(f"the benchmark's brief is blocked: {outcome.findings}")
        standfall.write_build(outcome.plan, folder / "x.build")
        marks.append(time.perf_counter())
        standfall.read_build(folder / "x.build")
        marks.append(time.perf_counter())
        (folder / "tables").mkdir()
        standfall.export_tables(outcome.plan, folder / "tables", "csv")
        marks.append(time.perf_counter())
        size = (folder / "x.build").stat().st_size
    stages = {stage: after - before for stage, (before, after) in zip(STAGES, pairwise(marks), strict=True)}
    return stages | {"dominoes": columns * rows, "peak_gib": _peak_bytes() / 2**30, "build_mb": size / 1e6}


def _peak_bytes() -> int:
    """Return the most memory this process has held at once.

    Linux lets getrusage's figure pass from a parent to its child at fork; VmHWM (proc(5)) is this process's own.
    """
    status = Path("/proc/self/status")
    if status.exists():
        line = next(line for line in status.read_text().splitlines() if line.startswith("VmHWM:"))
        return int(line.split()[1]) * 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


def _in_own_process(columns: int, rows: int) -> dict[str, float]:
    done = subprocess.run(
        [sys.executable, __file__, str(columns), str(rows)], check=True, capture_output=True, text=True
    )
    return json.loads(done.stdout)


def show(quick: bool) -> None:
    """Print the table of stages and the growth against n log n."""
    _in_own_process(44, 40)  # compiles the kernels
    sizes = dict(list(SIZES.items())[: 2 if quick else 3])
    results = [
        min((_in_own_process(*size) for _ in range(3)), key=lambda r: r["plan"]) for size in sizes.values()
    ]
    print(
        f"{'dominoes':>10}"
        + "".join(f"{stage + ' s':>10}" for stage in STAGES)
        + f"{'peak GiB':>10}{'build MB':>10}"
    )
    for found in results:
        print(
            f"{found['dominoes']:>10,.0f}"
            + "".join(f"{found[stage]:>10.2f}" for stage in STAGES)
            + f"{found['peak_gib']:>10.2f}{found['build_mb']:>10.1f}"
        )
    first, last = results[0], results[-1]
    n0, n1 = first["dominoes"], last["dominoes"]
    allowed = n1 * math.log(n1) / (n0 * math.log(n0))
    for stage in ("plan", "write", "load", "export"):
        print(
            f"growth of {stage:<7}{last[stage] / first[stage]:6.1f} times; n log n would be {allowed:.1f} times"
        )
    print(f"memory at {n1:,.0f} dominoes: {last['peak_gib']:.2f} GiB; limit 4 GiB")


if __name__ == "__main__":
    if len(sys.argv) == 3:
        print(json.dumps(measure(int(sys.argv[1]), int(sys.argv[2]))))
    else:
        show(quick=False)
