"""The table of characters, against what typst really draws (glyph 0 of a font is its missing glyph: OpenType)."""

import pymupdf
import typst

from standfall.papers.glyph import _FIRST, _LAST, MISSING, has_glyph, printable, shortened

FONTS = 'font: ("Libertinus Serif", "DejaVu Sans Mono"), fallback: false'


def missing(text: str, tmp_path, weight: str) -> set[str]:
    """Characters of the text that typst sets as the missing glyph."""
    (tmp_path / "text.txt").write_text(text, encoding="utf-8")
    (tmp_path / "a.typ").write_text(
        f'#set text({FONTS}, weight: "{weight}", ligatures: false)\n'
        '#for words in read("text.txt").split("\\n\\n") [#words #parbreak()]'
    )
    pdf = typst.Compiler(tmp_path / "a.typ", root=tmp_path, ignore_system_fonts=True).compile(format="pdf")
    found = set()
    for page in pymupdf.open(stream=pdf):
        for span in page.get_texttrace():
            found |= {chr(char[0]) for char in span["chars"] if char[1] == 0}
    return found


def test_every_character_of_the_table_is_drawn_regular_and_bold(tmp_path):
    # Apart and one by one, lest a script joins letters; combining marks go on a letter.
    characters = [
        chr(code) for first, last in zip(_FIRST, _LAST, strict=True) for code in range(first, last + 1)
    ]
    plain = [c for c in characters if c.isprintable()]
    assert len(plain) > 3000
    for weight in ("regular", "bold"):
        assert (
            missing(
                "\n\n".join(" ".join(plain[n : n + 60]) for n in range(0, len(plain), 60)), tmp_path, weight
            )
            == set()
        )


def test_characters_outside_the_table_are_really_missing(tmp_path):
    for character in "日本語한\U0001f600\U0001f426":
        assert not has_glyph(character)
        assert missing(f"a {character} b", tmp_path, "regular")


def test_printable_keeps_what_can_be_drawn():
    assert printable('Müller #1 [*] $x$ "q" Ελλάδα Кино ™') == 'Müller #1 [*] $x$ "q" Ελλάδα Кино ™'
    assert printable("bird \U0001f426 日") == f"bird {MISSING} {MISSING}"
    assert printable("a\u3000b") == "a b"
    assert has_glyph(MISSING)


def test_shortened():
    assert shortened("kingfisher", 10) == "kingfisher"
    assert shortened("kingfisher blue", 12) == "kingfisher…"
