"""Folders made, and files removed, with faults in words."""

from __future__ import annotations

from pathlib import Path

from standfall.disk.fault import faults_of


def make_folder(path: Path) -> None:
    """Make a folder and those above it, if it is not there yet.

    Raises:
        FileFault: it cannot be made, or something else has its name.
    """
    with faults_of(path, "made"):
        path.mkdir(parents=True, exist_ok=True)


def remove_file(path: Path) -> None:
    """Remove a file; that it is not there is fine.

    Raises:
        FileFault: it is there and cannot be removed.
    """
    with faults_of(path, "removed"):
        path.unlink(missing_ok=True)
