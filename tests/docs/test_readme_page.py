"""The README's transcript is what the program prints for the demo, figures left out."""

from demo_figures import planned_demo
from doc_page import read_page, regions
from transcript import example_folder, head_example, without_figures

PAGE = read_page("../README.md")


def test_transcript_is_what_the_demo_prints():
    ((line, written),) = regions(PAGE, "head").items()
    with example_folder() as folder:
        planned_demo(folder / "demo")
        assert without_figures(written) == without_figures(head_example(line)), (
            "run: python tests/docs/write_tables.py"
        )
