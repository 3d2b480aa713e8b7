"""Write the generated regions of the pages anew: ``python tests/docs/write_tables.py``.

The tests compare the tables of keys, findings and commands letter for letter; of the examples they compare
what does not hang on the exact pixels of the demo picture, which the drawing library may change.
"""

from __future__ import annotations

import sys

from command_reference import command_reference
from demo_figures import demo_figures, planned_demo
from doc_page import DOCS, with_regions
from fall_table import fall_table
from finding_table import finding_table
from key_table import key_table
from picture import write_pictures
from transcript import example_folder, head_example, json_example, run_example

from standfall.fall import predict_fall

TABLES = {
    "keys": key_table,
    "findings": finding_table,
    "command": command_reference,
    "fall": fall_table,
}
EXAMPLES = {"json": json_example, "run": run_example, "head": head_example}
PAGES = ("../README.md", "brief.md", "findings.md", "commands.md", "tiles-and-colours.md", "fall.md")


def main() -> None:
    """Rewrite the pages in place and name those that changed."""
    with example_folder() as folder:
        plan = planned_demo(folder / "demo")
        demo = {"demo": lambda _: demo_figures(plan)}
        write_pictures(plan, predict_fall(plan.brief, plan.standing).fall, DOCS / "pictures")
        for name in PAGES:
            before = (DOCS / name).read_text(encoding="utf-8")
            after = with_regions(before, TABLES | EXAMPLES | demo)
            if after != before:
                (DOCS / name).write_text(after, encoding="utf-8", newline="\n")
                sys.stdout.write(f"wrote {name}\n")


if __name__ == "__main__":
    main()
