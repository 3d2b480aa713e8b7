"""The file of a floor: is it where it may be, what kind is it, and what is in it."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from pathlib import Path, PurePath

from standfall.brief import Area, Brief, Hall, Reading
from standfall.findings import Finding, make_finding
from standfall.intake.floor_drawing import DRAWING_MOST_BYTES, FloorDrawing, read_floor_drawing
from standfall.intake.floor_map import PICTURE_MOST_BYTES, TEXT_MOST_BYTES, read_floor_map, read_map_facts
from standfall.planning.plan import PictureFile

_WHERE = "hall.drawing"
_MAPS = (".yaml", ".yml")


@dataclass(frozen=True)
class FoundFloor:
    """The files of a floor and what they hold, or findings that say why not.

    ``drawing`` is ``None`` when a finding blocks; ``files`` are those that could be read.
    """

    files: tuple[PictureFile, ...]
    drawing: FloorDrawing | None
    findings: tuple[Finding, ...]


def read_floor(folder: Path, name: str, layer: str) -> FoundFloor:
    """Read the floor named in a brief: a DXF drawing, or a map of YAML and picture.

    A relative path must stay inside the brief's folder, links followed; an absolute path is taken as it is. The
    picture that a map names must lie in the brief's folder, or else in the folder of the map.

    Args:
        folder: of the brief.
        name: as written in the brief.
        layer: of the floor in a drawing; a map has none.
    """
    suffix = PurePath(name).suffix.lower()
    if suffix == ".dxf":
        data = _bytes_of(folder, folder, name, DRAWING_MOST_BYTES)
        if isinstance(data, Finding):
            return FoundFloor((), None, (data,))
        return _found((_file(name, data),), read_floor_drawing(data, name, layer, _WHERE))
    if suffix in _MAPS:
        return _map(folder, name)
    return FoundFloor((), None, (_of_another_kind(name),))


def _map(folder: Path, name: str) -> FoundFloor:
    data = _bytes_of(folder, folder, name, TEXT_MOST_BYTES)
    if isinstance(data, Finding):
        return FoundFloor((), None, (data,))
    text = _file(name, data)
    facts = read_map_facts(data, name, _WHERE)
    if isinstance(facts, Finding):
        return FoundFloor((text,), None, (facts,))
    beside = folder / Path(name).parent
    allowed = beside if Path(name).is_absolute() else folder
    picture = _bytes_of(beside, allowed, facts.image, PICTURE_MOST_BYTES, may_be_absolute=False)
    if isinstance(picture, Finding):
        return FoundFloor((text,), None, (picture,))
    image = (PurePath(name).parent / facts.image).as_posix()
    return _found((text, _file(image, picture)), read_floor_map(facts, picture, image, _WHERE))


def _found(files: tuple[PictureFile, ...], drawing: FloorDrawing) -> FoundFloor:
    return FoundFloor(files, drawing if drawing.outline_m else None, drawing.findings)


def _file(name: str, data: bytes) -> PictureFile:
    return PictureFile(name, hashlib.sha256(data).hexdigest(), data)


def _bytes_of(
    folder: Path, allowed: Path, name: str, most: int, *, may_be_absolute: bool = True
) -> bytes | Finding:
    """Read a file; ``allowed`` is the folder that it must lie in, unless its path is absolute and may be so."""
    try:
        given = Path(name)
        path = (folder / given).resolve()
        free = given.is_absolute() and may_be_absolute
        if not free and not path.is_relative_to(allowed.resolve()):
            return _outside(name)
        if not path.is_file():
            reason = "it is not a file" if path.exists() else "there is no such file"
            return _unreadable(name, reason)
        with path.open("rb") as file:
            data = file.read(most + 1)
    except (OSError, ValueError, RuntimeError) as error:
        return _unreadable(name, getattr(error, "strerror", None) or str(error))
    if len(data) > most:
        return make_finding(
            "H815",
            _WHERE,
            f"{name} is absurdly large",
            value=f"over {most:,} bytes",
            limit=f"{most:,} bytes",
            next_step="Save a copy with nothing in it but the floor and the areas.",
        )
    return data


def _outside(name: str) -> Finding:
    return make_finding(
        "H815",
        _WHERE,
        "the path of the hall's drawing, or of the picture its map names, leads out of the folder",
        value=name,
        limit="a path inside the brief's folder, or an absolute one for hall.drawing",
        next_step="Copy the files beside the brief; in a map's YAML name the picture without a path.",
    )


def _unreadable(name: str, reason: str) -> Finding:
    return make_finding(
        "H815",
        _WHERE,
        f"{name} cannot be read: {reason}",
        value=name,
        limit="a file that can be read",
        next_step="Check the name and its spelling; relative names are looked for beside the brief.",
    )


def _of_another_kind(name: str) -> Finding:
    return make_finding(
        "H815",
        _WHERE,
        "the hall's drawing is of a kind that is not read",
        value=name,
        limit="a name that ends in .dxf, .yaml or .yml",
        next_step="Export the drawing as DXF, or give the YAML file of a robot's map.",
    )


def with_floor(reading: Reading, drawing: FloorDrawing | None) -> Reading:
    """Return a reading whose hall has the outline of a drawing, and whose brief has its areas as well.

    Without a drawing hall and brief are taken away: nothing may be planned on a floor that nobody knows.
    """
    if drawing is None:
        return replace(reading, brief=None, hall=None)
    hall = reading.hall
    if hall is not None:
        hall = replace(hall, outline_m=drawing.outline_m)
    return replace(reading, brief=_extended(reading.brief, hall, drawing), hall=hall)


def _extended(brief: Brief | None, hall: Hall | None, drawing: FloorDrawing) -> Brief | None:
    if brief is None or hall is None:
        return brief
    return replace(brief, hall=hall, areas=(*brief.areas, *_areas(brief, drawing)))


def _areas(brief: Brief, drawing: FloorDrawing) -> list[Area]:
    """Name the areas of a drawing after their kind and a number, beside the names that the brief has."""
    taken = {area.name.strip().casefold() for area in brief.areas}
    areas, numbers = [], dict.fromkeys((kind for kind, _ in drawing.areas), 0)
    for kind, outline_m in drawing.areas:
        name = ""
        while not name or name in taken:
            numbers[kind] += 1
            name = f"{kind.replace('_', ' ')} {numbers[kind]}"
        areas.append(Area(name=name, kind=kind, outline_m=outline_m))
    return areas
