"""A file written whole or not at all."""

from __future__ import annotations

import errno
import os
import secrets
import stat
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from standfall.disk.fault import faults_of

# What SQLite may put beside a database.
SIDE_FILES = ("-journal", "-wal", "-shm")


def real_path(path: Path) -> Path:
    """Follow links, so that a link keeps pointing at the file that is replaced."""
    return Path(os.path.realpath(path))


@contextmanager
def whole_file(target: Path, before_replace: Callable[[], None] | None = None) -> Iterator[Path]:
    """Give a temporary file in the target's folder, and move it over the target when the block ends well.

    The file is on disk before it gets its name, and the name is on disk before this returns (POSIX
    rename(2) replaces in one step). When the block or the move fails in any way, Ctrl-C included, the
    temporary file is gone and the target is as it was.

    Args:
        target: a path without links (``real_path``).
        before_replace: a last check, called when all is written; it raises to call the move off.

    Raises:
        OSError: as the system reports it.
    """
    # The name does not grow with the target's: that one may already be as long as names can be.
    temporary = target.parent / f".standfall-{secrets.token_hex(8)}.part"
    try:
        os.close(os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666))
        yield temporary
        _sync(temporary)
        with suppress(FileNotFoundError):
            temporary.chmod(stat.S_IMODE(target.stat().st_mode))
        if before_replace is not None:
            before_replace()
        temporary.replace(target)
    except BaseException:
        for side in ("", *SIDE_FILES):
            with suppress(OSError):
                Path(f"{temporary}{side}").unlink()
        raise
    _sync_folder(target.parent)


def write_whole(path: Path, data: bytes) -> None:
    """Write a file whole or not at all; a link at ``path`` is followed.

    Raises:
        FileFault: it cannot be written. It is then as it was before.
    """
    with faults_of(path, "written"), whole_file(real_path(path)) as temporary:
        temporary.write_bytes(data)


def _sync(path: Path) -> None:
    handle = os.open(path, os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _sync_folder(folder: Path) -> None:
    if os.name == "nt":  # Windows cannot open a folder for this; NTFS journals names itself.
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError as error:
        # Some network file systems do not know fsync of a folder; there is nothing more to be done there.
        if error.errno not in (errno.EINVAL, errno.ENOTSUP, errno.EBADF):
            raise
    finally:
        os.close(handle)
