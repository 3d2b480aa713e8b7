"""A folder to start from: the commented demo brief and its picture."""

from __future__ import annotations

from pathlib import Path

from standfall.demo import brief_text, kingfisher_svg
from standfall.disk import fault, faults_of, make_folder


def start_folder(folder: Path | str, *, keep: bool = False) -> tuple[Path, ...]:
    """Write ``brief.toml`` and ``kingfisher.svg`` into a folder, made if need be.

    Args:
        folder: where to.
        keep: leave files that are already there as they are, instead of refusing.

    Returns:
        The paths written.

    Raises:
        FileFault: a file is already there (unless ``keep``), or cannot be written.
    """
    folder = Path(folder)
    texts = {"brief.toml": brief_text, "kingfisher.svg": kingfisher_svg}
    with faults_of(folder, "read"):
        present = [name for name in texts if (folder / name).exists()]
    if present and not keep:
        raise fault(folder / present[0], "it is already there and is kept; choose another folder")
    make_folder(folder)
    written = []
    for name, make in texts.items():
        if name not in present:
            _write_new(folder / name, make())
            written.append(folder / name)
    return tuple(written)


def _write_new(path: Path, text: str) -> None:
    with faults_of(path, "written"):
        # "x" refuses a file that appears between the look and the write.
        file = path.open("x", encoding="utf-8", newline="\n")
        try:
            with file:
                file.write(text)
        except BaseException:  # Ctrl-C too: half a file would be kept as the lead's own from then on
            path.unlink(missing_ok=True)
            raise
