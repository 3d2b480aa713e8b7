"""One function over many batches of arguments, on as many workers as there are."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any, TypeVar

from standfall.workers.team import Progress, Team

Result = TypeVar("Result")


def spread(
    function: Callable[..., Result],
    argument_batches: Sequence[tuple[Any, ...]],
    *,
    cluster: str | None = None,
    workers: int | None = None,
    progress: Progress | None = None,
    what: str = "trials",
) -> Iterator[Result]:
    """Do a single call of a ``Team``, that ends with it.

    Args:
        function, argument_batches, progress, what: as for ``Team.call``.
        cluster, workers: as for ``Team``.

    Raises:
        StandfallError: as ``Team`` and ``Team.call``.
    """
    team = Team(cluster=cluster, workers=workers)
    return _alone(team, team.call(function, argument_batches, progress=progress, what=what))


def _alone(team: Team, results: Iterator[Result]) -> Iterator[Result]:
    with team:
        yield from results
