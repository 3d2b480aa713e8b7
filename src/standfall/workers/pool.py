"""Processes of this machine that work on batches, and that never outlive the one that started them."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import pickle
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from multiprocessing.connection import Connection, wait
from multiprocessing.context import SpawnProcess
from typing import Any, TypeVar, cast

from standfall.findings import StandfallError

Result = TypeVar("Result")

# Each worker is one process on one core: threads inside it would only get in each other's way.
_THREADS = (
    "NUMBA_NUM_THREADS",
    "OMP_NUM_THREADS",
    "OPENBLAS_NUM_THREADS",
    "MKL_NUM_THREADS",
    "VECLIB_MAXIMUM_THREADS",
)
_FUNCTION, _WORK = range(2)
# Workers that are told to end and do not are ended after this.
_PATIENCE_S = 5.0


def cores() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


class Pool:
    """Up to ``workers`` processes, started when first needed, that stay for one call after the other.

    A function travels to a worker once, and again only after another one was called there.
    """

    def __init__(self, workers: int) -> None:
        self._most = workers
        self._processes: list[SpawnProcess] = []
        self._pipes: list[Connection] = []
        self._sent: list[object] = []

    def start(self, workers: int) -> None:
        """Start processes until there are so many, or as many as may be."""
        context = multiprocessing.get_context("spawn")
        while len(self._processes) < min(workers, self._most):
            mine, theirs = context.Pipe()
            process = context.Process(target=_serve, args=(theirs,), daemon=True)
            with _without_interrupts():
                process.start()
            theirs.close()
            self._processes.append(process)
            self._pipes.append(mine)
            self._sent.append(None)

    def call(
        self, function: Callable[..., Result], argument_batches: Sequence[tuple[Any, ...]]
    ) -> Iterator[Result]:
        """Yield the results in order; if the iterator is left early, all processes end at once.

        Raises:
            StandfallError: a worker died.
        """
        done = False
        try:
            self.start(len(argument_batches))
            yield from self._results(function, argument_batches)
            done = True
        except (EOFError, BrokenPipeError, ConnectionResetError) as error:
            raise StandfallError(
                "A worker process ended before its work was done. The machine may have run out of memory. "
                "Try again with fewer workers."
            ) from error
        finally:
            if not done:
                self.kill()

    def _results(
        self, function: Callable[..., Result], argument_batches: Sequence[tuple[Any, ...]]
    ) -> Iterator[Result]:
        pickled = b""
        arrived: dict[int, tuple[bool, Any]] = {}
        at: dict[Connection, int] = {}  # which batch each busy worker has
        handed = given = 0
        idle = list(range(len(self._pipes)))
        while given < len(argument_batches):
            # One batch each: a worker that is sent something is always waiting for it, so neither end blocks.
            while idle and handed < len(argument_batches):
                worker = idle.pop(0)
                if self._sent[worker] is not function:
                    pickled = pickled or pickle.dumps((_FUNCTION, function), pickle.HIGHEST_PROTOCOL)
                    self._pipes[worker].send_bytes(pickled)
                    self._sent[worker] = function
                self._pipes[worker].send((_WORK, argument_batches[handed]))
                at[self._pipes[worker]] = handed
                handed += 1
            while given in arrived:
                good, result = arrived.pop(given)
                if not good:  # in its turn, so that the same error comes whoever is quicker
                    raise result
                yield result
                given += 1
            if not at:
                continue
            for pipe in wait(list(at)):
                worker = self._pipes.index(cast(Connection, pipe))
                answer = self._pipes[worker].recv()
                arrived[at.pop(self._pipes[worker])] = answer
                idle.append(worker)

    def kill(self) -> None:
        """End all processes at once, whatever they do."""
        for process in self._processes:
            process.kill()
        self._leave(None)

    def close(self) -> None:
        """Let all processes end; none is at work."""
        self._leave(_PATIENCE_S)

    def _leave(self, patience_s: float | None) -> None:
        for pipe in self._pipes:
            pipe.close()  # a worker that waits for work ends then
        for process in self._processes:
            process.join(patience_s)
            if process.exitcode is None:
                process.kill()
                process.join()
        self._processes, self._pipes, self._sent = [], [], []


@contextlib.contextmanager
def _without_interrupts() -> Iterator[None]:
    """Hold Ctrl-C back for a moment; what is started then never gets it.

    A process inherits which signals are blocked. One that is still loading Python cannot ignore Ctrl-C yet, and
    would print a traceback; the parent ends it by SIGKILL anyway. Where signals cannot be blocked, nothing is done.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _serve(pipe: Connection) -> None:
    """What a worker does: it takes functions and batches from the pipe until that closes."""
    # Ctrl-C reaches all processes of a terminal; the first one decides, and ends the others.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    for name in _THREADS:
        os.environ[name] = "1"
    function: Callable[..., Any] | None = None
    while True:
        try:
            # Only now, because loading a function loads libraries that look at the number of threads.
            kind, value = pipe.recv()
        except (EOFError, OSError):
            return
        if kind == _FUNCTION:
            function = value
            continue
        try:
            if function is None:
                raise RuntimeError("the worker was given no function")
            answer = (True, function(*value))
        except Exception as error:  # noqa: BLE001 - whatever the function raises is raised where it was called
            answer = (False, _portable(error))
        pipe.send(answer)


def _portable(error: Exception) -> Exception:
    try:
        pickle.loads(pickle.dumps(error))
    except Exception:  # noqa: BLE001 - an error that does not survive the way is told as text
        return RuntimeError(f"{type(error).__name__}: {error}")
    return error


def _end_with_parent() -> None:
    """A worker whose parent was killed would go on with its batch."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
