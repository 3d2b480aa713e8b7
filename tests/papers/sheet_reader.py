"""Reads lay sheets back from the printed page, by where words stand on it: PyMuPDF's words, nothing of ours."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from itertools import pairwise

import pymupdf

CODE = re.compile(r"[A-Z]{2,3}")


@dataclass
class Sheet:
    """What a person reads on one sheet of a block."""

    title: str = ""
    number: int = 0
    text: str = ""
    second_layer: bool = False
    turned: bool = False
    runs: dict[int, list[str]] = field(default_factory=dict)
    grid: dict[tuple[int, int], str] = field(default_factory=dict)
    slots: dict[tuple[int, int], tuple[int, int]] = field(default_factory=dict)
    counts: dict[str, int] = field(default_factory=dict)


def middle(word):
    return (word[0] + word[2]) / 2, (word[1] + word[3]) / 2


def find(words, text):
    return next(word for word in words if word[4] == text)


def read_sheet(page: pymupdf.Page, half_offset: bool = False) -> Sheet:
    """Read a sheet of a tile or band; every place is found from words on the page.

    With half-offset rows, the numbers below belong to the lowest row of slots and those above to the highest.
    """
    words = page.get_text("words")
    sheet = Sheet(text=page.get_text())
    sheet.title, sheet.number = words[0][4], int(words[1][4])
    sheet.second_layer = "SECOND LAYER" in sheet.text
    sheet.turned = "TRAY TURNED" in sheet.text
    heading = find(words, "From")
    side_x = next(w[0] for w in words if w[4] in ("In", "On") and w[0] > page.rect.width / 2)
    read_grid(sheet, words, side_x, half_offset)
    read_runs(sheet, words, heading[3], side_x)
    read_counts(sheet, words, side_x)
    return sheet


def read_grid(sheet, words, side_x, half_offset):
    left, col_y = find(words, "col")[2], middle(find(words, "col"))[1]
    above = [w for w in words if w[1] > 80 and w[3] < col_y]
    codes = [w for w in above if CODE.fullmatch(w[4]) and w[0] < side_x]
    numbers = [w for w in above if w[4].isdigit()]
    row_of = {middle(w)[1]: int(w[4]) for w in numbers if w[2] <= left + 12 and w[3] < col_y - 1}
    columns = {
        middle(w)[0]: int(w[4])
        for w in words
        if w[4].isdigit() and abs(middle(w)[1] - col_y) < 4 and w[0] > left
    }
    slot_columns, slot_rows = {}, {}
    if any(w[4] == "slot" for w in words):
        slot_y = middle(find(words, "slot"))[1]
        slot_columns = {middle(w)[0]: int(w[4]) for w in numbers if abs(middle(w)[1] - slot_y) < 3}
        right = max(w[2] for w in codes)
        slot_rows = {
            middle(w)[1]: int(w[4]) for w in numbers if right < w[0] < right + 40 and w[1] > slot_y + 3
        }
    wide = min((b - a for a, b in pairwise(sorted(columns))), default=0.0)
    for word in codes:
        x, y = middle(word)
        row = row_of[nearest(row_of, y)]
        shift = 0.5 * wide * (row % 2) if half_offset else 0.0
        low = 0.5 * wide * (row_at(row_of, max(slot_rows or row_of)) % 2) if half_offset else 0.0
        place = row, columns[nearest(columns, x - shift + low)]
        assert place not in sheet.grid
        sheet.grid[place] = word[4]
        if slot_columns:
            high = 0.5 * wide * (row_at(row_of, min(slot_rows)) % 2) if half_offset else 0.0
            slot = slot_rows[nearest(slot_rows, y)], slot_columns[nearest(slot_columns, x - shift + high)]
            sheet.slots[place] = slot


def row_at(row_of, y):
    """Number of the row at a height, counted on from the numbered rows."""
    ys = sorted(row_of)
    pitch = min(b - a for a, b in pairwise(ys))
    return row_of[ys[0]] + round((ys[0] - y) / pitch)


def nearest(places, value):
    return min(places, key=lambda place: abs(place - value))


def read_runs(sheet, words, top, side_x):
    lines: dict[int, list] = {}
    for word in words:
        if word[1] > top and word[2] < side_x + 1:
            lines.setdefault(round(middle(word)[1] / 4), []).append(word)
    row = None
    for key in sorted(merged(lines)):
        line = [w[4] for w in sorted(merged(lines)[key], key=lambda w: w[0])]
        if line[0] == "row":
            row, line = int(line[1]), line[2:]
            sheet.runs[row] = []
        tokens = [word for word in line if word != "·"]
        for name, count in zip(tokens[::2], tokens[1::2], strict=True):
            sheet.runs[row] += ["" if name == "empty" else name] * int(count)


def merged(lines):
    """Join lines whose rounded heights differ by one: labels and runs have other letters."""
    joined: dict[int, list] = {}
    for key in sorted(lines):
        joined.setdefault(key - 1 if key - 1 in joined else key, []).extend(lines[key])
    return joined


def read_counts(sheet, words, side_x):
    codes = [w for w in words if w[0] >= side_x - 1 and CODE.fullmatch(w[4])]
    numbers = [w for w in words if w[0] >= side_x - 1 and w[4].isdigit()]
    for code in codes:
        _x, y = middle(code)
        beside = [w for w in numbers if abs(middle(w)[1] - y) < 4 and w[0] > code[2]]
        sheet.counts[code[4]] = int(min(beside, key=lambda w: w[0])[4])
