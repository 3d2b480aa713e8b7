"""Looking after processes that a test has started, as Linux lists them in /proc."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

ON_LINUX = sys.platform == "linux"


def listing(folder: Path) -> dict[str, bytes]:
    """Return all files below a folder, with what is in them."""
    return {str(path): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def children(pid: int) -> list[int]:
    """Return the processes below one, by the list that Linux keeps."""
    try:
        below = [int(word) for word in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]
    except (FileNotFoundError, ProcessLookupError):
        return []
    return below + [deeper for child in below for deeper in children(child)]


def alive(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except (FileNotFoundError, ProcessLookupError):
        return False


def wait_for(condition: Callable[[], Any], most_s: float = 60.0) -> Any:
    """Look until something is the case; the wait ends as soon as it is."""
    end = time.monotonic() + most_s
    while time.monotonic() < end:
        found = condition()
        if found:
            return found
        time.sleep(0.01)
    raise AssertionError("it never came to be")
