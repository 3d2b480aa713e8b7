"""Errors: a wrong use of the program, or a file or machine that does not answer.

A brief that cannot be built is not an error: it comes back as findings.
"""

from __future__ import annotations


class StandfallError(Exception):
    """Base of every error this package raises on purpose; its text is meant for a person.

    ``exit_code`` is what the command line ends with when nothing else catches the error.
    """

    exit_code = 1


class FileFault(StandfallError):
    """A file could not be read or written: not there, not ours, no room, no permission.

    Raised by the edge rooms. Nothing was half-written. Look at the path and the reason in the text.
    """

    exit_code = 4
