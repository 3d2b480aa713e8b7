"""The progress bar: shown on standard error when work takes over a second and a person looks on."""

from __future__ import annotations

import sys
import time
from types import TracebackType
from typing import Any

SHOW_AFTER_S = 1.0


class ProgressBar:
    """A callable (done, total, what) for the rooms below; use it as a context manager."""

    def __init__(self) -> None:
        self._begun_s = time.monotonic()
        self._bar: Any = None
        self._task: Any = None
        self._shown = sys.stderr is not None and sys.stderr.isatty()

    def __enter__(self) -> ProgressBar:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._bar is not None:
            self._bar.stop()

    def __call__(self, done: int, total: int, what: str) -> None:
        """Move the bar of ``what`` to ``done`` of ``total``."""
        if not self._shown:
            return
        if self._bar is None:
            if time.monotonic() - self._begun_s < SHOW_AFTER_S:
                return
            self._bar = _new_bar()
            self._bar.start()
        if self._task is None:
            self._task = self._bar.add_task(what, total=max(total, 1))
        # One task for all steps, so that the time shown is that of the whole command.
        self._bar.update(self._task, description=what, completed=done, total=max(total, 1))


def _new_bar() -> Any:
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeElapsedColumn

    return Progress(
        TextColumn("{task.description:<28}", markup=False),
        BarColumn(bar_width=36),
        TaskProgressColumn(),
        TimeElapsedColumn(),
        console=Console(stderr=True),
        transient=True,
    )
