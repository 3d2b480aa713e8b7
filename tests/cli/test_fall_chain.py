"""``standfall fall --chain``: the fall of one row of gaps, in numbers and in words."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad

Run = Callable[..., Any]

G = 9.80665  # m/s2, standard gravity (3rd General Conference on Weights and Measures, 1901)
H, D = 0.048, 0.0075  # m, the pieces when no size is given


@pytest.fixture
def chain(tmp_path: Path, run: Run) -> Callable[..., Any]:
    """Let a row of gaps in millimetres fall."""

    def fall(gaps: Sequence[float] | bytes, *options: str, as_json: bool = True) -> Any:
        path = tmp_path / "gaps.csv"
        data = gaps if isinstance(gaps, bytes) else "\n".join(["gap_mm", *map(repr, gaps)]).encode()
        path.write_bytes(data)
        told = run("fall", "--chain", path, *options, *(["--json"] if as_json else []))
        assert [entry.name for entry in tmp_path.iterdir()] == ["gaps.csv"]  # it writes nothing
        assert path.read_bytes() == data
        return told

    return fall


def test_json_gives_time_and_speed_of_every_hit(chain: Run) -> None:
    gaps = [14.0, 12.0, 16.0, 10.0, 14.5]
    told = chain(gaps)
    assert told.code == 0 and told.err == ""
    data = told.data
    assert set(data) >= {"gap_mm", "t_s", "speed", "margin", "push_rad_s", "fallen", "standing", "findings"}
    assert data["gap_mm"] == gaps
    assert (data["fallen"], data["standing"], data["findings"]) == (6, 0, [])
    # Speed of a hit is the pitch, gap and thickness, over the time since the hit before: the meaning of the word.
    times_s = np.array([0.0, *data["t_s"]])
    pitches_m = np.array(gaps) / 1000 + D
    np.testing.assert_allclose(data["speed"], pitches_m / np.diff(times_s), rtol=1e-4)


def _fall_time_s(push_rad_s: float, slope_rad: float = 0.0) -> float:
    """Return how long a single block takes until it has turned so far that its top is 14 mm ahead.

    Energy of a rigid block about its edge, mechanics of the textbook: I = m (h2 + d2) / 3, and its middle, half the
    diagonal r away and atan(d / h) behind the edge, at the height r cos(angle - that) over it; on a slope down by s
    gravity is turned by s.
    """
    r, back = math.hypot(H, D) / 2, math.atan(D / H)
    inertia = (H**2 + D**2) / 3  # of a kilogram

    def square(angle: float) -> float:
        drop = math.cos(slope_rad - back) - math.cos(angle + slope_rad - back)
        return push_rad_s**2 + 2 * G * r * drop / inertia

    return quad(lambda angle: 1 / math.sqrt(square(angle)), 0, math.asin(14.0 / 48.0))[0]


@pytest.mark.parametrize(("push", "slope_deg"), [(4.0, 0.0), (8.5, 0.0), (4.0, 5.0), (4.0, -3.0)])
def test_first_hit_comes_when_a_rigid_block_has_fallen_that_far(
    push: float, slope_deg: float, chain: Run
) -> None:
    data = chain([14.0], "--push-rad-s", repr(push), "--slope-deg", repr(slope_deg)).data
    assert data["push_rad_s"] == push
    # Arcs of 17 degrees are short: the kernel's own steps leave a few millionths.
    assert data["t_s"][0] == pytest.approx(_fall_time_s(push, math.radians(slope_deg)), rel=1e-4)


def test_the_push_left_out_is_twice_the_least_for_one_piece(chain: Run) -> None:
    # The least lifts the middle from h / 2 to r, half the diagonal: w2 = 2 g (r - h / 2) / ((h2 + d2) / 3).
    least = math.sqrt(2 * G * (math.hypot(H, D) / 2 - H / 2) / ((H**2 + D**2) / 3))
    assert chain([14.0]).data["push_rad_s"] == pytest.approx(2 * least, abs=1e-5)


def test_pieces_four_times_as_large_take_twice_as_long(chain: Run) -> None:
    # Nothing but lengths and g sets the time (dimensional analysis, W. Froude's scaling): lengths by 4, times and
    # speeds by 2; and the mass falls out.
    gaps = [14.0, 10.0, 20.0]
    small = chain(gaps).data
    large = chain(
        [4 * gap for gap in gaps],
        *("--height-mm", "192", "--width-mm", "96", "--thickness-mm", "30", "--mass-g", "300"),
    ).data
    np.testing.assert_allclose(large["t_s"], 2 * np.array(small["t_s"]), rtol=1e-5)
    np.testing.assert_allclose(large["speed"], 2 * np.array(small["speed"]), rtol=1e-5)


def test_friction_slows_and_a_slope_hastens(chain: Run) -> None:
    # Friction between pieces takes speed (J. M. J. van Leeuwen, Am. J. Phys. 78 (2010) 721). Downhill gives it.
    row = [14.0] * 40
    last = [
        chain(row, *options).data["t_s"][-1]
        for options in (
            ("--domino-friction", "0.5"),
            ("--domino-friction", "0.2"),
            ("--domino-friction", "0"),
            ("--domino-friction", "0", "--slope-deg", "3"),
        )
    ]
    assert last == sorted(last, reverse=True) and len(set(last)) == 4


@pytest.mark.parametrize(
    ("gaps", "options", "fallen"),
    [
        ([14.0, 14.0, 48.0, 14.0], (), 3),  # a gap as wide as a piece is high cannot be reached
        ([14.0, 14.0], ("--push-rad-s", "0"), 0),
        ([14.0, 14.0], ("--slope-deg", "-14", "--push-rad-s", "1"), 0),
        ([10.0, 10.0], ("--height-mm", "9"), 1),
        ([0.0] * 40, ("--push-rad-s", "2.8"), None),  # a wall that touches takes a weak push
    ],
)
def test_a_row_that_does_not_fall_whole_ends_with_2(
    gaps: list[float], options: tuple[str, ...], fallen: int | None, chain: Run
) -> None:
    told = chain(gaps, *options)
    assert told.code == 2
    data = told.data
    assert data["fallen"] + data["standing"] == len(gaps) + 1
    assert fallen is None or data["fallen"] == fallen
    blocking = [finding for finding in data["findings"] if finding["grade"] == "blocks"]
    assert [finding["code"] for finding in blocking] == ["F705"]
    assert blocking[0]["value"] == data["standing"] > 0
    if fallen:
        hits = [time is not None for time in data["t_s"]]
        assert hits == [True] * (fallen - 1) + [False] * (len(gaps) - fallen + 1)
        assert [speed is not None for speed in data["speed"]] == hits


def test_faults_of_the_file_are_findings(chain: Run) -> None:
    told = chain(b"gap_mm\n10\nwide\n")
    assert told.code == 2 and told.err == ""
    assert list(told.data) == ["findings"]
    (finding,) = told.data["findings"]
    assert set(finding) >= {"code", "grade", "where", "value", "limit", "next_step"}
    assert (finding["code"], finding["where"], finding["value"]) == ("F723", "line 3", "wide")
    told = chain(b"gap_mm\n10\nwide\n", as_json=False)
    assert told.code == 2 and "line 3" in told.out and "wide" in told.out


@pytest.mark.parametrize("name", ["lost.csv", "", "lost/gaps.csv"])
def test_a_file_that_cannot_be_read_ends_with_4(name: str, tmp_path: Path, run: Run) -> None:
    told = run("fall", "--chain", tmp_path / name, "--json")
    assert told.code == 4 and told.data["error"]["exit_code"] == 4
    assert str(tmp_path / name) in told.data["error"]["message"]


NUMBERS = (
    "height-mm",
    "width-mm",
    "thickness-mm",
    "mass-g",
    "domino-friction",
    "floor-friction",
    "push-rad-s",
)


@pytest.mark.parametrize(
    ("option", "bad"),
    [
        *((f"--{name}", bad) for name in NUMBERS for bad in ("nan", "inf", "-1", "wide", "", "1e300")),
        *(("--slope-deg", bad) for bad in ("nan", "-inf", "wide", "90")),
    ],
)
def test_a_number_that_is_none_or_means_nothing_is_wrong_use(option: str, bad: str, chain: Run) -> None:
    told = chain([14.0], f"{option}={bad}")
    assert told.code == 3
    assert option in told.data["error"]["message"]


@pytest.mark.parametrize(
    "options",
    [
        ["--trials", "5"],
        ["--seed", "1"],
        ["--workers", "2"],
        ["--cluster", "tcp://127.0.0.1:1"],
        ["--pictures", "maps"],
        ["--film"],
        ["--no-film"],
        ["--trials", "5", "--seed", "2"],
    ],
)
def test_options_of_a_build_are_not_silently_dropped(options: list[str], chain: Run) -> None:
    told = chain([14.0], *options)
    assert told.code == 3
    assert options[0] in told.data["error"]["message"] and "BUILD" in told.data["error"]["message"]


def _rows(out: str) -> list[list[str]]:
    return [line.split() for line in out.splitlines() if re.match(r" *(\d+ |\.\.\.)", line)]


def test_a_short_row_is_tabled_whole_and_as_the_json_says(chain: Run) -> None:
    gaps = [14.0, 12.0, 16.0, 50.0, 14.0]
    data, told = chain(gaps).data, chain(gaps, as_json=False)
    assert told.code == 2
    assert "4 of 6 pieces fall" in told.out and "F705" in told.out
    rows = [row for row in _rows(told.out) if len(row) == 5]
    assert [row[0] for row in rows] == ["0", "1", "2", "3", "4"]
    for hit, row in enumerate(rows):
        assert float(row[1]) == gaps[hit]
        if data["t_s"][hit] is None:
            assert row[2:] == ["-", "-", "-"]
        else:
            assert float(row[2]) == pytest.approx(data["t_s"][hit], abs=5e-5)
            assert float(row[3]) == pytest.approx(data["speed"][hit], abs=5e-4)
            assert float(row[4]) == pytest.approx(100 * data["margin"][hit], abs=0.5)


@pytest.mark.parametrize(
    ("gaps", "shown"),
    [
        ([14.0] * 24, [*range(24)]),
        ([14.0] * 1000, [*range(12), "...", *range(988, 1000)]),
        # Where it stops in the middle is what one wants to see: the hit that does not come is number 300.
        ([14.0] * 300 + [50.0] + [14.0] * 99, [*range(12), "...", *range(290, 302), "..."]),
        ([14.0] * 3 + [50.0] + [14.0] * 99, [*range(12), "..."]),
        ([14.0] * 99 + [50.0], [*range(12), "...", *range(88, 100)]),
    ],
)
def test_of_a_long_row_the_ends_are_tabled(gaps: list[float], shown: list[Any], chain: Run) -> None:
    out = chain(gaps, as_json=False).out
    table = [line.split()[0] for line in out.splitlines() if re.match(r" *(\d+ +\d+\.\d\d |\.\.\.)", line)]
    assert table == [str(name) for name in shown]


def test_a_row_of_many_pieces(chain: Run) -> None:
    told = chain([12.0, 16.0] * 20_000)
    assert told.code == 0
    data = told.data
    assert data["fallen"] == len(data["t_s"]) + 1 == len(data["speed"]) + 1 == 40_001
    assert all(np.diff(data["t_s"]) > 0)
