"""Work spread over processes and over Dask: the same results, in order, and nothing left behind."""

import os
import signal
import subprocess
import sys
import textwrap
import time
from dataclasses import fields
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from worker_load import Travelled, die, raise_error, raise_stubborn, square_and_process, thread_setting

from standfall.fall.contact import find_contacts
from standfall.fall.falling import Strikes
from standfall.fall.ground import Ground
from standfall.fall.pieces import Pieces
from standfall.fall.placement import Laying, PlacementError
from standfall.fall.trial_run import merge, run_trials
from standfall.fall.trial_setup import set_up
from standfall.findings import StandfallError
from standfall.workers import Team, spread
from standfall.workers.pool import cores

BATCHES = [(first, 3) for first in range(0, 21, 3)]
# 7 + k^2 by hand.
EXPECTED = [7, 8, 11, 16, 23, 32, 43, 56, 71, 88, 107, 128, 151, 176, 203, 232, 263, 296, 331, 368, 407]


@pytest.mark.parametrize("workers", [1, 2, 3])
def test_results_are_in_order_whatever_the_number_of_workers(workers):
    told = []
    results = list(
        spread(
            partial(square_and_process, 7),
            BATCHES,
            workers=workers,
            progress=lambda done, total, what: told.append((done, total, what)),
            what="squares",
        )
    )
    assert [value for values, _ in results for value in values] == EXPECTED
    assert told == [(k, 7, "squares") for k in range(1, 8)]
    processes = {process for _, process in results}
    assert (os.getpid() in processes) == (workers == 1)
    assert len(processes) <= workers


def test_one_worker_starts_no_process_and_no_batch_gives_nothing():
    assert list(spread(os.getpid, [()], workers=4)) == [os.getpid()]
    assert list(spread(os.getpid, [], workers=4)) == []


def test_workers_keep_their_libraries_to_one_thread():
    assert set(spread(thread_setting, [(), ()], workers=2)) == {"1"}


def test_error_of_the_function_comes_through():
    with pytest.raises(ValueError, match="number 0 does not please"):
        list(spread(raise_error, [(0,), (1,), (2,)], workers=2))


def test_worker_that_dies_is_told_plainly():
    with pytest.raises(StandfallError, match="fewer workers"):
        list(spread(die, [(0,), (1,), (2,)], workers=2))


def test_no_worker_is_refused():
    with pytest.raises(StandfallError, match="at least one worker"):
        spread(os.getpid, [()], workers=0)


def test_cores_are_those_this_process_may_use():
    assert 1 <= cores() <= os.cpu_count()


def test_a_team_keeps_its_processes_from_call_to_call():
    with Team(workers=2) as team:
        first = list(team.call(partial(square_and_process, 7), BATCHES))
        second = list(team.call(partial(square_and_process, 8), BATCHES))
        assert [value for values, _ in first for value in values] == EXPECTED
        assert [value for values, _ in second for value in values] == [value + 1 for value in EXPECTED]
        one, other = ({process for _, process in results} for results in (first, second))
        assert len(one | other) <= 2  # new ones for each call would make up to four
        assert os.getpid() not in one | other
    assert _gone(one | other)


def test_a_function_travels_once_to_each_worker_and_not_again_for_the_next_call():
    with Team(workers=2) as team:
        function = Travelled()
        for _ in range(3):
            assert set(team.call(function, [()] * 8)) == {1}
        assert set(team.call(Travelled(), [()] * 8)) <= {2}


def test_a_team_works_again_after_an_iterator_was_left_early():
    with Team(workers=2) as team:
        results = team.call(partial(square_and_process, 7), BATCHES)
        _, process = next(results)
        results.close()
        assert _gone([process])
        assert [
            value for values, _ in team.call(partial(square_and_process, 7), BATCHES) for value in values
        ] == (EXPECTED)


def test_error_that_cannot_travel_is_told_as_text():
    with pytest.raises(RuntimeError, match="Stubborn: number 3"):
        list(spread(raise_stubborn, [(3,), (3,)], workers=2))


def _alive(process):
    try:
        stat = Path(f"/proc/{process}/stat").read_text(encoding="ascii")
    except FileNotFoundError:
        return False
    return stat.rsplit(")", 1)[1].split()[0] != "Z"


SLOW = """
    import os, sys, time
    from standfall.workers import Team

    def work(number):
        print("worker", os.getpid(), flush=True)
        time.sleep(300)

    if __name__ == "__main__":
        try:
            with Team(workers=2) as team:
                list(team.call(work, [(k,) for k in range(8)]))
        except KeyboardInterrupt:
            print("interrupted", flush=True)
            sys.exit(130)
"""


@pytest.fixture
def slow_work(tmp_path):
    """A process of its own with two workers, both busy for minutes; yields it and the ids of its workers."""
    path = tmp_path / "slow_work.py"
    path.write_text(textwrap.dedent(SLOW), encoding="utf-8")
    process = subprocess.Popen(
        [sys.executable, str(path)], stdout=subprocess.PIPE, text=True, start_new_session=True
    )
    workers = [int(process.stdout.readline().split()[1]) for _ in range(2)]
    yield process, workers
    if process.poll() is None:
        os.killpg(process.pid, signal.SIGKILL)
    process.wait(timeout=30)
    process.stdout.close()


def _gone(workers):
    end = time.monotonic() + 20
    while any(map(_alive, workers)) and time.monotonic() < end:
        time.sleep(0.05)
    return not any(map(_alive, workers))


@pytest.mark.skipif(not Path("/proc/self").is_dir(), reason="needs /proc to look for what is left")
def test_ctrl_c_ends_the_workers_at_once(slow_work):
    process, workers = slow_work
    os.killpg(process.pid, signal.SIGINT)  # as a terminal does: to all of them
    out, _ = process.communicate(timeout=30)
    assert process.returncode == 130
    assert "interrupted" in out
    assert _gone(workers)


@pytest.mark.skipif(not Path("/proc/self").is_dir(), reason="needs /proc to look for what is left")
def test_workers_do_not_outlive_a_parent_that_was_killed(slow_work):
    process, workers = slow_work
    os.kill(process.pid, signal.SIGKILL)
    process.wait(timeout=30)
    assert _gone(workers)


@pytest.fixture(scope="module")
def cluster():
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=2, processes=False, dashboard_address="127.0.0.1:0", protocol="tcp"
    ) as local:
        yield local.scheduler_address


def test_cluster_gives_the_same(cluster):
    told = []
    results = list(
        spread(
            partial(square_and_process, 7),
            BATCHES,
            cluster=cluster,
            progress=lambda done, total, what: told.append(done),
        )
    )
    assert [value for values, _ in results for value in values] == EXPECTED
    assert told == [1, 2, 3, 4, 5, 6, 7]


def test_error_on_a_cluster_comes_through(cluster):
    with pytest.raises(ValueError, match="number 0 does not please"):
        list(spread(raise_error, [(0,), (1,)], cluster=cluster))


def test_cluster_that_does_not_answer_is_told():
    pytest.importorskip("distributed")
    # Port 9 (discard, IANA) of this machine: nobody listens there.
    with pytest.raises(StandfallError, match=r"No Dask scheduler answers at tcp://127\.0\.0\.1:9"):
        list(spread(os.getpid, [()], cluster="tcp://127.0.0.1:9"))


def test_address_that_is_none_is_told():
    pytest.importorskip("distributed")
    with pytest.raises(StandfallError, match="No Dask scheduler answers at no address at all"):
        list(spread(os.getpid, [()], cluster="no address at all"))


def test_missing_dask_is_told(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(StandfallError, match="not installed"):
        list(spread(os.getpid, [()], cluster="tcp://127.0.0.1:9"))


def test_scheduler_without_workers_is_told(monkeypatch):
    distributed = pytest.importorskip("distributed")
    monkeypatch.setattr("standfall.workers.cluster.ANSWER_S", 1)
    with (
        distributed.LocalCluster(
            n_workers=0, processes=False, dashboard_address="127.0.0.1:0", protocol="tcp"
        ) as local,
        pytest.raises(StandfallError, match="has no worker"),
    ):
        list(spread(os.getpid, [()], cluster=local.scheduler_address))


def _small_trials():
    """Trials of ten rows of eight on four tiles, with errors so large that some pieces are left standing."""
    row, column = np.divmod(np.arange(80), 8)
    laying = Laying(
        x_m=0.027 * column,
        y_m=0.022 * row,
        z_m=np.zeros(80),
        yaw_rad=np.full(80, np.pi / 2),
        tile=(row // 5 * 2 + column // 4).astype(np.int32),
        centre_x_m=np.array([0.04, 0.15, 0.04, 0.15]),
        centre_y_m=np.array([0.044, 0.044, 0.154, 0.154]),
        support=np.full(80, -1, dtype=np.int32),
    )
    pieces = Pieces.alike(80, height_m=0.048, width_m=0.024, thickness_m=0.0075, mass_kg=0.0085)
    contacts = find_contacts(laying.x_m, laying.y_m, laying.z_m, laying.yaw_rad, pieces)
    strikes = Strikes(
        np.arange(8, dtype=np.int32),
        np.zeros(8),
        np.full(8, 8.0),
        np.full(8, -1, dtype=np.int32),
        np.zeros(8, dtype=np.int16),
    )
    error = PlacementError(tile_m=0.003, piece_m=0.001, piece_turn_rad=0.03, missing=0.005)
    return set_up(laying, error, contacts, pieces, Ground(), strikes, 21)


def test_trials_come_out_the_same_on_one_worker_on_two_and_on_a_cluster(cluster):
    setup = _small_trials()
    work = partial(run_trials, setup)
    whole = merge(setup, list(spread(work, [(0, 24)], workers=1)))
    batches = [(first, 4) for first in range(0, 24, 4)]
    assert whole.standing.max() > 0
    for ways in ({"workers": 1}, {"workers": 2}, {"cluster": cluster}):
        parts = merge(setup, list(spread(work, batches, **ways)))
        for column in fields(whole):
            np.testing.assert_array_equal(getattr(parts, column.name), getattr(whole, column.name))
