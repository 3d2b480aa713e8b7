"""The shopping list, read back from the PDF and held against sums done here."""

from dataclasses import replace

import numpy as np
import pymupdf
import pytest
from paper_plan import Wish, make_test_plan

from standfall.findings import make_finding
from standfall.papers.shopping_list import boxes_to_carry, make_shopping_list, mean_floor_load_pa

WISH = Wish(stock=40, stacked=((3, 5),))


def lines_of(document):
    """Words of each printed line, in order; words within 4 points of height share a line."""
    lines = []
    for page in document:
        rows: list[list] = []
        for word in sorted(page.get_text("words"), key=lambda w: w[1] + w[3]):
            height = (word[1] + word[3]) / 2
            if not rows or height - (rows[-1][0][1] + rows[-1][0][3]) / 2 > 4:
                rows.append([])
            rows[-1].append(word)
        lines += [[w[4] for w in sorted(row, key=lambda w: w[0])] for row in rows]
    return lines


@pytest.fixture(scope="module")
def listed():
    plan = make_test_plan(WISH)
    return plan, pymupdf.open(stream=make_shopping_list(plan))


def test_each_colour_has_its_line(listed):
    plan, document = listed
    table = plan.stock
    lines = lines_of(document)
    for j, code in enumerate(plan.palette.codes):
        need = int(table.used[j] + table.spares[j])
        buys = table.packs_to_buy[j] > 0
        wanted = [
            code,
            *plan.palette.names[j].split(),
            str(table.used[j]),
            str(table.spares[j]),
            "40",
            *([f"{table.to_buy[j]:,}", str(table.packs_to_buy[j]), "×", "500"] if buys else ["–", "–"]),
            str(-(-need // 500)),
            f"{need * 0.0085:.1f}",
            f"{table.cost[j]:.2f}" if buys else "–",
        ]
        assert wanted in lines


def test_totals_and_what_to_carry(listed):
    plan, document = listed
    text = " ".join(document[0].get_text().split())
    need = int((plan.stock.used + plan.stock.spares).sum())
    boxes = int(boxes_to_carry(plan).sum())
    assert f"{boxes} boxes to carry, {need * 0.0085:.1f} kg with spares" in text
    assert "500 pieces 4.2 kg" in text  # 500 x 8.5 g = 4.25 kg, halves to even
    assert f"{plan.mass_kg:.1f} kg standing" in text
    assert f"{len(plan.standing):,} standing" in text
    total = next(line for line in lines_of(document) if line[0] == "all")
    assert total[1:4] == [
        f"{plan.stock.used.sum():,}",
        f"{plan.stock.spares.sum():,}",
        f"{plan.stock.stock.sum():,}",
    ]
    assert total[-1] == f"{plan.stock.cost.sum():,.2f}"


def test_spares_are_carried_in_boxes_too():
    plan = make_test_plan(Wish(columns=20, rows=10))
    used = np.zeros(14, dtype=np.int64)
    used[:3] = (499, 500, 0)
    spares = np.zeros(14, dtype=np.int64)
    spares[:3] = (1, 1, 0)
    stock = replace(plan.stock, used_fields=used, used_lines=used * 0, spares=spares)
    # 500 pieces fill one box of 500, 501 begin a second, none need none.
    assert boxes_to_carry(replace(plan, stock=stock))[:3].tolist() == [1, 2, 0]
    text = " ".join(pymupdf.open(stream=make_shopping_list(replace(plan, stock=stock)))[0].get_text().split())
    assert "3 boxes to carry, 8.5 kg with spares" in text  # 1001 pieces of 8.5 g


def test_mean_floor_load():
    # 10 g on each cell of 27 mm x 22 mm: 0.010 x 9.80665 / (0.027 x 0.022) = 165.095 Pa
    # (standard gravity: 3rd CGPM, 1901).
    assert mean_floor_load_pa(0.010, 0.027 * 0.022) == pytest.approx(165.095, abs=1e-3)
    plan = make_test_plan(WISH)
    in_field = int((plan.standing.field == 0).sum())
    load_kpa = in_field * 0.0085 * 9.80665 / (50 * 0.027 * 24 * 0.022) / 1000
    text = " ".join(" ".join(line) for line in lines_of(pymupdf.open(stream=make_shopping_list(plan))))
    assert f"{load_kpa:.3f} kPa" in text
    assert "limit for this floor: 5 kPa" in text


def test_findings_are_told_with_their_next_step(listed):
    _, document = listed
    text = " ".join(document[0].get_text().split())
    assert "C303 note" in text
    assert "Borrow or buy more, or leave it." in text
    assert "Not to be built" not in text


def test_a_plan_that_is_blocked_says_so_first():
    plan = make_test_plan(Wish(columns=20, rows=10))
    finding = make_finding("S401", "field[0]", "too close", next_step="Widen the pitch.")
    text = pymupdf.open(stream=make_shopping_list(replace(plan, findings=(finding,))))[0].get_text()
    assert "Not to be built as it stands" in text
    assert "stops it" in text


@pytest.mark.parametrize(("paper", "size"), [("a4", (595.276, 841.89)), ("letter", (612, 792))])
def test_paper_size_and_page_numbers(paper, size):
    plan = make_test_plan(Wish(columns=20, rows=10, page=paper))
    document = pymupdf.open(stream=make_shopping_list(plan))
    assert len(document) <= 3
    for number, page in enumerate(document, start=1):
        assert (page.rect.width, page.rect.height) == pytest.approx(size, abs=0.01)
        assert f"page {number} of {len(document)}" in " ".join(page.get_text().split())


def test_names_are_shown_and_never_run():
    name = "#panic() *b* $x$ \\ [é]"
    plan = make_test_plan(Wish(columns=20, rows=10, job=name, colours=((name, "#112233"), ("b", "#ddeeff"))))
    text = " ".join(pymupdf.open(stream=make_shopping_list(plan))[0].get_text().split())
    assert text.count(name) >= 3


def test_loose_pieces_have_no_boxes():
    plan = make_test_plan(Wish(columns=20, rows=10))
    plan = replace(plan, stock=replace(plan.stock, pack_size=np.ones(14, dtype=np.int64)))
    text = " ".join(pymupdf.open(stream=make_shopping_list(plan))[0].get_text().split())
    need = int((plan.stock.used + plan.stock.spares).sum())
    assert f"{need:,} loose pieces to carry" in text
    assert "A full box" not in text


def test_the_same_plan_gives_the_same_bytes():
    assert make_shopping_list(make_test_plan(WISH)) == make_shopping_list(make_test_plan(WISH))
