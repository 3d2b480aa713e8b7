"""A heap of events in order of time, compiled. Of two at one moment the one that was put in first comes first."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple, TypeVar, cast

import numpy as np
from numba import njit
from numpy.typing import NDArray

_F = TypeVar("_F", bound=Callable[..., Any])
_kernel = cast(Callable[[_F], _F], njit(cache=True, error_model="numpy"))

Rows = NDArray[Any]

PUSH, START, REACH = 0, 1, 2  # a starter strikes; a struck piece sets off; a front reaches something


class Events(NamedTuple):
    """A binary heap: the first ``size[0]`` rows, ordered by (time, order)."""

    time_s: NDArray[Any]
    order: NDArray[Any]
    kind: NDArray[Any]
    subject: NDArray[Any]
    version: NDArray[Any]
    size: NDArray[Any]  # rows in use, events ever put in


@_kernel
def new_events(capacity: int) -> Events:
    """Return an empty heap for at most ``capacity`` events at a time."""
    return Events(
        np.empty(capacity),
        np.empty(capacity, dtype=np.int64),
        np.empty(capacity, dtype=np.int8),
        np.empty(capacity, dtype=np.int32),
        np.empty(capacity, dtype=np.int32),
        np.zeros(2, dtype=np.int64),
    )


@_kernel
def _swap(events: Events, one: int, other: int) -> None:
    events.time_s[one], events.time_s[other] = events.time_s[other], events.time_s[one]
    events.order[one], events.order[other] = events.order[other], events.order[one]
    events.kind[one], events.kind[other] = events.kind[other], events.kind[one]
    events.subject[one], events.subject[other] = events.subject[other], events.subject[one]
    events.version[one], events.version[other] = events.version[other], events.version[one]


@_kernel
def _before(events: Events, one: int, other: int) -> bool:
    if events.time_s[one] != events.time_s[other]:
        return bool(events.time_s[one] < events.time_s[other])
    return bool(events.order[one] < events.order[other])


@_kernel
def _sink(events: Events, row: Any) -> None:
    size = events.size[0]
    while True:
        child = 2 * row + 1
        if child >= size:
            return
        if child + 1 < size and _before(events, child + 1, child):
            child += 1
        if not _before(events, child, row):
            return
        _swap(events, child, row)
        row = child


@_kernel
def put(events: Events, pieces: Rows, time_s: float, kind: int, index: int, version: int) -> None:
    """Put an event in; when the heap is full, throw out reaches that a newer version has replaced."""
    if events.size[0] == len(events.time_s):
        kept = 0
        for row in range(events.size[0]):
            if events.kind[row] != REACH or events.version[row] == pieces[events.subject[row]].version:
                _swap(events, kept, row)
                kept += 1
        events.size[0] = kept
        for row in range(kept // 2 - 1, -1, -1):
            _sink(events, row)
    row = events.size[0]
    events.time_s[row], events.order[row] = time_s, events.size[1]
    events.kind[row], events.subject[row], events.version[row] = kind, index, version
    events.size[0] += 1
    events.size[1] += 1
    while row > 0 and _before(events, row, (row - 1) // 2):
        _swap(events, row, (row - 1) // 2)
        row = (row - 1) // 2


@_kernel
def take(events: Events) -> tuple[float, int, int, int]:
    """Take the first event out: (time, kind, index, version)."""
    time_s, kind = events.time_s[0], events.kind[0]
    index, version = events.subject[0], events.version[0]
    last = events.size[0] - 1
    _swap(events, 0, last)
    events.size[0] = last
    _sink(events, 0)
    return time_s, kind, index, version
