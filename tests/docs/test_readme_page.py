"""The README's transcripts are what the program prints for the demo, figures left out."""

from demo_figures import planned_demo
from doc_page import read_page, regions
from transcript import example_folder, head_example, without_figures

PAGE = read_page("../README.md")


def test_transcripts_are_what_the_demo_prints():
    written = regions(PAGE, "head")
    assert [line.split()[1] for line in written] == ["plan", "fall"]
    with example_folder() as folder:
        planned_demo(folder / "demo")
        for line, text in written.items():
            assert without_figures(text) == without_figures(head_example(line)), (
                "run: python tests/docs/write_tables.py"
            )
