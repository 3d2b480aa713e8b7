"""Typesetting: data and a template in, the bytes of a PDF out."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Mapping
from importlib import resources
from pathlib import Path
from typing import Any, Literal

import typst

from standfall.findings import FileFault, StandfallError

Template = Literal["floor_plan", "lay_sheets", "shopping_list"]

_TEMPLATES = ("look.typ", "floor_plan.typ", "lay_sheets.typ", "shopping_list.typ")
# typst keeps what it laid out for ten more compilations, 100 MB and more for a volume of sheets; this many
# compilations of nothing let it go (measured: 280 MB instead of 900 MB after eight volumes).
_EMPTY_RUNS = 11


def typeset(
    template: Template, data: Mapping[str, Any], pictures: Mapping[str, bytes], *, tagged: bool = False
) -> bytes:
    """Typeset a paper.

    Only the fonts that ship inside typst are used and no date is written, so the same input gives the
    same bytes on every machine with the same version of typst.

    Args:
        template: which paper.
        data: what the template reads; strings in it are text, never markup.
        pictures: PNG and SVG files the data names.
        tagged: add the structure that screen readers use.

    Raises:
        FileFault: there is no room for temporary files.
        StandfallError: the template failed, which is a mistake in this program.
    """
    try:
        with tempfile.TemporaryDirectory(prefix="standfall-") as name:
            root = Path(name)
            for file in _TEMPLATES:
                (root / file).write_bytes(
                    resources.files(__package__).joinpath("templates", file).read_bytes()
                )
            for file, content in pictures.items():
                (root / file).write_bytes(content)
            (root / "data.json").write_text(json.dumps(data, ensure_ascii=False), encoding="utf-8")
            (root / "empty.typ").write_text("", encoding="utf-8")
            return _compile(root, template, tagged)
    except OSError as error:
        raise FileFault(f"cannot write temporary files for typesetting: {error.strerror or error}") from error


def _compile(root: Path, template: Template, tagged: bool) -> bytes:
    def compiler(file: str) -> typst.Compiler:
        return typst.Compiler(
            root / file,
            root=root,
            ignore_system_fonts=True,
            package_path=root / "packages",
            package_cache_path=root / "packages",
        )

    try:
        pdf = compiler(f"{template}.typ").compile(format="pdf", pdf_tags=tagged)
    except typst.TypstError as error:
        raise StandfallError(f"the template {template} failed: {error}") from error
    empty = compiler("empty.typ")
    for _ in range(_EMPTY_RUNS):
        empty.compile(format="pdf")
    assert isinstance(pdf, bytes), "one file is asked for"
    return pdf
