"""Workers of a Dask cluster."""

from __future__ import annotations

import socket
from collections.abc import Callable, Iterator, Sequence
from typing import Any, TypeVar
from urllib.parse import urlsplit

from standfall.findings import StandfallError

Result = TypeVar("Result")

# A scheduler that does not answer within this is not there.
ANSWER_S = 5


class Cluster:
    """The workers of a Dask scheduler; it is looked for when first called."""

    def __init__(self, address: str) -> None:
        self._address = address
        self._client: Any = None
        self._function: Any = None
        self._shared: Any = None

    def call(
        self, function: Callable[..., Result], argument_batches: Sequence[tuple[Any, ...]]
    ) -> Iterator[Result]:
        """Yield the results in order, worked out by the workers of the cluster.

        Raises:
            StandfallError: Dask is not installed here, no scheduler answers, it has no worker, or its workers do
                not have this package.
        """
        if self._client is None:
            self._client = _client(self._address)
        futures: list[Any] = []
        try:
            _await_worker(self._client, self._address)
            if self._function is not function or self._shared is None:
                self._shared = self._client.scatter(function, broadcast=True, hash=False)
                self._function = function
            futures = [
                self._client.submit(_call, self._shared, arguments, pure=False)
                for arguments in argument_batches
            ]
            for number, future in enumerate(futures):
                yield _result(future, self._address)
                futures[number] = None  # let the cluster forget it
        finally:
            left = [future for future in futures if future is not None]
            if left:
                self._client.cancel(left, force=True)

    def close(self) -> None:
        """Leave the cluster, and let it forget what it was sent."""
        self._shared = self._function = None
        if self._client is not None:
            self._client.close()
            self._client = None


def _client(address: str) -> Any:
    try:
        import distributed
    except ImportError as error:
        raise StandfallError(
            "Work on a cluster needs Dask, which is not installed here. Install it with: "
            'pip install "standfall[cluster]"'
        ) from error
    _knock(address)
    try:
        make: Any = distributed.Client
        return make(address, timeout=ANSWER_S, set_as_default=False)
    except (OSError, ValueError, TypeError) as error:  # a time-out is an OSError
        raise StandfallError(
            f"No Dask scheduler answers at {address} within {ANSWER_S} s: {error}. Look at the address and at "
            "the scheduler."
        ) from error


def _knock(address: str) -> None:
    """Make sure that something listens there: a client that finds nobody complains once more as it is dropped."""
    place = urlsplit(address)
    if place.scheme not in ("tcp", "tls") or not place.hostname or place.port is None:
        if "://" in address and place.scheme:
            return  # another of Dask's ways of talking; it judges that itself
        raise StandfallError(
            f"No Dask scheduler answers at {address}: that is no address. Write it like tcp://10.0.0.5:8786."
        )
    try:
        socket.create_connection((place.hostname, place.port), timeout=ANSWER_S).close()
    except OSError as error:
        raise StandfallError(
            f"No Dask scheduler answers at {address} within {ANSWER_S} s: {error}. Look at the address and at "
            "the scheduler."
        ) from error


def _await_worker(client: Any, address: str) -> None:
    try:
        client.wait_for_workers(1, timeout=ANSWER_S)
    except TimeoutError as error:
        raise StandfallError(
            f"The Dask scheduler at {address} has no worker. Start one and try again."
        ) from error


def _result(future: Any, address: str) -> Any:
    try:
        return future.result()
    except ModuleNotFoundError as error:
        raise StandfallError(
            f"A worker of the cluster at {address} lacks a module: {error}. "
            "Install the same version of standfall there."
        ) from error


def _call(function: Callable[..., Result], arguments: tuple[Any, ...]) -> Result:
    return function(*arguments)
