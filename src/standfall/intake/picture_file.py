"""One picture file: is it where it may be, and what is in it."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

from standfall.findings import Finding, make_finding
from standfall.intake.decode import PictureFault, decode_picture
from standfall.mural.picture import Picture
from standfall.planning.plan import PictureFile

FILE_MOST_BYTES = 256 * 1024 * 1024
# An SVG is drawn with this many pixels a cell along its longer side. The renderer averages each edge over
# its pixel; twice as many move the demo's mean colour error by 0.01 CIEDE2000 and take three times as long
# (measured).
SVG_PIXELS_A_CELL = 4

_CODES = {
    "unreadable": "P203",
    "unsupported": "P203",
    "empty": "P203",
    "too_large": "P204",
    "external_reference": "P205",
}


@dataclass(frozen=True)
class FoundPicture:
    """A picture file and its decoded picture, or findings that say why not."""

    file: PictureFile | None
    picture: Picture | None
    findings: tuple[Finding, ...]


def read_picture(folder: Path, name: str, where: str, cells: int) -> FoundPicture:
    """Read a picture named in a brief.

    A relative path must stay inside the brief's folder, links followed; an absolute path is taken as it is.

    Args:
        folder: of the brief.
        name: as written in the brief.
        where: key path for findings.
        cells: along the longer side of the largest field that shows it.
    """
    data, finding = _bytes_of(folder, name, where)
    if data is None:
        return FoundPicture(None, None, (finding,) if finding else ())
    side_px = max(1200, min(8000, SVG_PIXELS_A_CELL * cells))
    try:
        decoded = decode_picture(data, name, want_px=(side_px, side_px))
    except PictureFault as fault:
        return FoundPicture(None, None, (_from_fault(fault, name, where),))
    notes = tuple(
        make_finding(
            "P206",
            where,
            f"{name}: {note}",
            value=name,
            limit=None,
            next_step="Look at the preview; nothing need be done if it is right.",
        )
        for note in decoded.notes
    )
    file = PictureFile(name, hashlib.sha256(data).hexdigest(), data)
    return FoundPicture(file, Picture(decoded.rgba), notes)


def _bytes_of(folder: Path, name: str, where: str) -> tuple[bytes | None, Finding | None]:
    try:
        given = Path(name)
        path = (folder / given).resolve()
        if not given.is_absolute() and not path.is_relative_to(folder.resolve()):
            return None, _outside(name, where)
        if not path.is_file():
            return None, _missing(
                name, where, "there is no such file" if not path.exists() else "it is not a file"
            )
        size = path.stat().st_size
        if size > FILE_MOST_BYTES:
            return None, _too_large(name, where, size)
        return path.read_bytes(), None
    except (OSError, ValueError, RuntimeError) as error:
        return None, _missing(name, where, getattr(error, "strerror", None) or str(error))


def _outside(name: str, where: str) -> Finding:
    return make_finding(
        "P202",
        where,
        "the picture's path leads out of the brief's folder",
        value=name,
        limit="a path inside the brief's folder, or an absolute one",
        next_step="Copy the picture beside the brief, or give its absolute path.",
    )


def _missing(name: str, where: str, reason: str) -> Finding:
    return make_finding(
        "P201",
        where,
        f"the picture cannot be read: {reason}",
        value=name,
        limit="a picture file that can be read",
        next_step="Check the name and its spelling; relative names are looked for beside the brief.",
    )


def _too_large(name: str, where: str, size: int) -> Finding:
    return make_finding(
        "P204",
        where,
        "the picture file is absurdly large",
        value=f"{size} bytes",
        limit=f"{FILE_MOST_BYTES} bytes",
        next_step="Save the picture smaller; a few pixels a domino are enough.",
    )


def _from_fault(fault: PictureFault, name: str, where: str) -> Finding:
    return make_finding(
        _CODES[fault.kind],
        where,
        f"{name}: {fault}",
        value=fault.value,
        limit=fault.limit,
        next_step=fault.next_step,
    )
