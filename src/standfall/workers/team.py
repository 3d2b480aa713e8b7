"""One team of workers for a whole command: started once, called as often as there is work."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from types import TracebackType
from typing import Any, TypeVar

from standfall.findings import StandfallError
from standfall.workers.cluster import Cluster
from standfall.workers.pool import Pool, cores

Result = TypeVar("Result")
Progress = Callable[[int, int, str], None]


class Team:
    """Workers of this machine or of a Dask cluster, as a context manager; on leaving it, all end.

    Args:
        workers: processes on this machine; None: as many as cores may be used. 1: no process is started.
        cluster: address of a Dask scheduler, such as ``tcp://10.0.0.5:8786``, instead.

    Raises:
        StandfallError: less than one worker.
    """

    def __init__(self, *, workers: int | None = None, cluster: str | None = None) -> None:
        if workers is not None and workers < 1:
            raise StandfallError("at least one worker is needed")
        self._most = workers or cores()
        self._pool = Pool(self._most)
        self._cluster = Cluster(cluster) if cluster is not None else None

    def __enter__(self) -> Team:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._cluster is not None:
            self._cluster.close()
        if kind is None:
            self._pool.close()
        else:
            self._pool.kill()

    def start(self, calls: int) -> None:
        """Start the processes that so many calls will need, so that they are ready when the work is."""
        if self._cluster is None and min(self._most, calls) > 1:
            self._pool.start(calls)

    def call(
        self,
        function: Callable[..., Result],
        argument_batches: Sequence[tuple[Any, ...]],
        *,
        progress: Progress | None = None,
        what: str = "trials",
    ) -> Iterator[Result]:
        """Call ``function(*arguments)`` for each batch and yield the results in the order of the batches.

        Leaving the iterator early, by an error or Ctrl-C too, ends all work at once. One call at a time.

        Args:
            function: pure; it and its arguments must be picklable. It travels once to each worker, and not again
                when the very same object is called next; bind what is large with ``functools.partial``.
            argument_batches: arguments of each call.
            progress: told how many batches are done, of how many, and ``what``.
            what: what is being done, for ``progress``.

        Raises:
            StandfallError: no cluster answers or Dask is not installed, or a worker died.
        """
        results: Iterator[Result]
        if self._cluster is not None:
            results = self._cluster.call(function, argument_batches)
        elif self._most > 1 and len(argument_batches) > 1:
            results = self._pool.call(function, argument_batches)
        else:
            results = (function(*arguments) for arguments in argument_batches)
        for number, result in enumerate(results):
            if progress is not None:
                progress(number + 1, len(argument_batches), what)
            yield result
