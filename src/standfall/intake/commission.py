"""From a brief's path to a commission: the text, its reading, its floor, its pictures, all findings."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from standfall.brief import Reading, read_text
from standfall.brief.reader import TEXT_MOST_BYTES
from standfall.findings import Finding, make_finding
from standfall.intake.floor_file import read_floor, with_floor
from standfall.intake.picture_file import read_picture
from standfall.mural.picture import Picture
from standfall.planning.plan import Commission, PictureFile

Progress = Callable[[int, int, str], None]


def read_brief(path: Path | str, progress: Progress | None = None) -> Commission:
    """Read a brief, its pictures and its hall's drawing; whatever is wrong comes back as findings.

    Where the hall is drawn in a file, hall and areas of the brief that comes back are those of the drawing.

    Args:
        path: the TOML file. Pictures and drawing are looked for beside it.
        progress: callback (done, total, what).
    """
    path = Path(path)
    text, findings = _read_bytes(path)
    if text is None:
        return Commission(b"", Reading(None, tuple(findings)), (), {}, tuple(findings))
    reading = read_text(text)
    findings += reading.findings
    reading, files, more = _floor(path.parent, reading)
    findings += more
    wanted = {field.picture: number for number, field in reversed(reading.fields)}
    pictures: dict[str, Picture] = {}
    for done, (name, number) in enumerate(reversed(wanted.items())):
        if progress is not None:
            progress(done, len(wanted), "reading pictures")
        cells = max(
            (max(field.columns, field.rows) for _, field in reading.fields if field.picture == name),
            default=1,
        )
        found = read_picture(path.parent, name, f"field[{number}].picture", cells)
        findings += found.findings
        if found.file is not None and found.picture is not None:
            files.append(found.file)
            pictures[name] = found.picture
    return Commission(text, reading, tuple(files), pictures, tuple(findings))


def _floor(folder: Path, reading: Reading) -> tuple[Reading, list[PictureFile], tuple[Finding, ...]]:
    """Read the floor where the brief names a file of it: the reading with it, its files, and findings."""
    if reading.hall is None or reading.hall.drawing is None:
        return reading, [], ()
    found = read_floor(folder, reading.hall.drawing, reading.hall.drawing_layer)
    return with_floor(reading, found.drawing), list(found.files), found.findings


def _read_bytes(path: Path) -> tuple[bytes | None, list[Finding]]:
    try:
        with path.open(
            "rb"
        ) as file:  # no further than a brief may be; read_text says what is wrong with more
            return file.read(TEXT_MOST_BYTES + 1), []
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        return None, [
            make_finding(
                "B101",
                "brief",
                f"the brief {path} cannot be read: {reason}",
                value=str(path),
                limit="a readable TOML file",
                next_step="Check the path; `standfall new DIR` writes a brief to start from.",
            )
        ]
