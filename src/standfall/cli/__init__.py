"""The command line: ``standfall new | check | plan | papers | export | demo``.

Modules here import only what ``--help`` needs; each command loads its rooms when it runs.
"""

from standfall.cli.entry import main

__all__ = ["main"]
