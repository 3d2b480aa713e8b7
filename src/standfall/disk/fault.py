"""Faults of the disk in words a build lead can act on."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager

from standfall.findings import FileFault

_SYSTEM = {
    errno.ENOENT: "there is no such file or folder",
    errno.ENOTDIR: "a part of the path is a file, not a folder",
    errno.EISDIR: "it is a folder",
    errno.EEXIST: "a file of that name is in the way",
    errno.EACCES: "no permission",
    errno.EPERM: "no permission",
    errno.EROFS: "the disk or medium is read-only",
    errno.ENOSPC: "the disk is full",
    errno.EDQUOT: "the disk quota is used up",
    errno.EFBIG: "the file would be larger than allowed",
    errno.ENAMETOOLONG: "the name is too long",
    errno.ELOOP: "the links in the path run in a circle",
    errno.EIO: "the disk reported an error",
}


@contextmanager
def faults_of(path: str | os.PathLike[str], doing: str) -> Iterator[None]:
    """Turn errors of the system inside the block into a ``FileFault`` that names the path.

    Args:
        path: as the user wrote it.
        doing: ``read``, ``written``, ``made`` or ``removed``.
    """
    try:
        yield
    except OSError as error:
        raise fault(path, f"cannot be {doing}: {_system_words(error)}") from error


def fault(path: str | os.PathLike[str], reason: str) -> FileFault:
    """Make the error for a path, with the reason in words."""
    return FileFault(f"{os.fspath(path)}: {reason}")


def _system_words(error: OSError) -> str:
    words = _SYSTEM.get(error.errno or 0)
    return words or error.strerror or str(error)
