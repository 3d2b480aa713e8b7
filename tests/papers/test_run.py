import itertools

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from standfall.papers.run import break_lines, repeated, run_width, runs_of

CODES = ("AA", "BB", "CCC")
rows = st.lists(st.integers(-1, 2), min_size=0, max_size=40)


def spelled(runs):
    return [colour for colour, count in runs for _ in range(count)]


@given(rows)
@settings(max_examples=100, deadline=None)
def test_runs_spell_the_row_without_the_empty_places_at_its_end(row):
    runs = runs_of(np.array(row, dtype=np.int16))
    trimmed = list(row)
    while trimmed and trimmed[-1] == -1:
        trimmed.pop()
    assert spelled(runs) == trimmed
    assert all(first[0] != second[0] for first, second in itertools.pairwise(runs))


def test_a_row_worked_by_hand():
    assert runs_of(np.array([1, 1, -1, -1, 0, 2, -1])) == [(1, 2), (-1, 2), (0, 1), (2, 1)]
    # "BB 2" is 4 letters, "empty 2" 7, "AA 1" 4, "CCC 1" 5; " · " between them takes 3.
    assert [run_width(run, CODES) for run in [(1, 2), (-1, 2), (0, 1), (2, 1)]] == [4, 7, 4, 5]
    assert break_lines([(1, 2), (-1, 2), (0, 1), (2, 1)], CODES, 14) == [[(1, 2), (-1, 2)], [(0, 1), (2, 1)]]
    assert break_lines([(1, 2), (-1, 2)], CODES, 13) == [[(1, 2)], [(-1, 2)]]


@given(rows, st.integers(8, 60))
@settings(max_examples=100, deadline=None)
def test_lines_keep_all_runs_and_their_width(row, letters):
    runs = runs_of(np.array(row, dtype=np.int16))
    lines = break_lines(runs, CODES, letters)
    assert [run for line in lines for run in line] == runs
    for line in lines:
        text = " · ".join("x" * run_width(run, CODES) for run in line)
        assert len(text) <= letters or len(line) == 1


def test_cycles():
    assert repeated(np.array([0, 1, 2] * 5 + [0])) == (3, 5)
    assert repeated(np.array([0, 0, 1] * 4)) == (3, 4)
    assert repeated(np.array([0, 1, 0, 1])) == (4, 1)  # twice is not worth a cycle
    assert repeated(np.array([4] * 9)) == (9, 1)  # one run says it better
    assert repeated(np.array([], dtype=int)) == (0, 1)
