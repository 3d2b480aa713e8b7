"""``docs/architecture.md`` has the rooms that are there, on the floors of the import contract."""

import re
import tomllib

from doc_page import ROOT, SOURCE, read_page, section, table_rows

PAGE = read_page("architecture.md")


def _rooms():
    folders = (path for path in (SOURCE / "standfall").iterdir() if (path / "__init__.py").exists())
    return {path.name for path in folders}


def _floors(heading):
    rows = table_rows(section(PAGE, heading).split("### ")[0])
    return {row[1].strip("`"): row[0] for row in rows}


def test_rooms_are_those_of_the_source():
    assert set(_floors("Rooms")) == _rooms()


def test_rooms_to_come_are_not_there_and_say_so():
    rows = table_rows(section(PAGE, "Not built yet"))
    assert rows
    for _, room, words in rows:
        assert room.strip("`") not in _rooms()
        assert "not built" in words


def test_floors_are_those_of_the_import_contract():
    contracts = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["importlinter"]
    layers = next(contract["layers"] for contract in contracts["contracts"] if contract["type"] == "layers")
    floors = _floors("Rooms")
    by_layer = []
    for layer in layers:
        rooms = layer.replace(":", "|").split("|")
        by_layer.append({floors[room.strip().removeprefix("standfall.")] for room in rooms})
    assert all(len(floor) == 1 for floor in by_layer)
    # From the lowest layer up: floors as numbers, then the edge.
    order = [floor.pop() for floor in reversed(by_layer)]
    numbered = [int(floor) for floor in order if floor != "edge"]
    assert numbered == sorted(set(numbered))
    assert order[len(numbered) :] == ["edge"] * (len(order) - len(numbered))
    assert {
        name.strip().removeprefix("standfall.")
        for layer in layers
        for name in layer.replace(":", "|").split("|")
    } == _rooms()


def test_pure_rooms_are_the_numbered_floors_without_the_demo():
    contracts = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["importlinter"]
    pure = next(contract for contract in contracts["contracts"] if contract["type"] == "forbidden")
    numbered = {room for room, floor in _floors("Rooms").items() if floor != "edge"} - {"demo"}
    assert {name.removeprefix("standfall.") for name in pure["source_modules"]} == numbered
    highest = max(int(floor) for floor in _floors("Rooms").values() if floor != "edge")
    assert f"The rooms on floors 0 to {highest} touch no file" in " ".join(PAGE.split())


def test_edge_rooms_do_not_know_each_other():
    edge = {room for room, floor in _floors("Rooms").items() if floor == "edge"} - {"cli", "disk"}
    assert edge == {"intake", "book", "papers", "workers"}
    known = set()
    for room in edge:
        for path in (SOURCE / "standfall" / room).rglob("*.py"):
            imported = re.findall(r"(?:from|import) standfall\.(\w+)", path.read_text(encoding="utf-8"))
            known |= {(room, other) for other in imported if other in edge - {room}}
    assert known == set()
