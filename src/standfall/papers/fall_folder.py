"""The pictures of a fall in a folder: maps of time, speed and chance, and the film."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Protocol

from standfall.disk import make_folder, remove_file, write_whole
from standfall.fall.falling import Fall
from standfall.fall.trial import Trials
from standfall.papers.fall_film import film_bytes, frame_count
from standfall.papers.fall_map import draw_fall_chances, draw_fall_speeds, draw_fall_times
from standfall.papers.finder import png_bytes
from standfall.planning.plan import Plan

Progress = Callable[[int, int, str], None]

# A map takes about as long as so many frames of the film.
_FRAMES_PER_MAP = 40
_NAMES = ("fall_times.png", "fall_speed.png", "fall_chance.png", "fall.webm")


class Predicted(Protocol):
    """What a prediction has that is drawn: the fall, and the trials where some were made."""

    @property
    def fall(self) -> Fall:
        """The fall without placement errors."""

    @property
    def trials(self) -> Trials | None:
        """Many falls with placement errors."""


def write_fall_pictures(
    prediction: Predicted | Fall,
    plan: Plan,
    folder: Path,
    progress: Progress | None = None,
    *,
    film: bool = True,
) -> list[Path]:
    """Write what the prediction of a fall says as pictures.

    ``fall_times.png`` and ``fall_speed.png``; ``fall_chance.png`` when there are trials; ``fall.webm`` when a
    film is wanted. Each appears whole or not at all. One of these names that is not written now is removed
    first, for it speaks of another fall; no other file is touched.

    Args:
        prediction: a prediction, or a fall alone.
        plan: the plan it is of.
        folder: where to; made if it is not there.
        progress: callback (done, total, what); a KeyboardInterrupt in it stops the work without harm.
        film: write the film too, which takes longest.

    Returns:
        The files written, in the order of writing.

    Raises:
        FileFault: a file cannot be written. Those before it are whole.
        ValueError: the fall is not of this plan's dominoes.
    """
    fall, trials = (
        (prediction, None) if isinstance(prediction, Fall) else (prediction.fall, prediction.trials)
    )
    folder = Path(folder)
    make_folder(folder)
    tell = progress or (lambda done, total, what: None)
    makers: list[tuple[str, str, Callable[[], bytes]]] = [
        ("fall_times.png", "map of the fall in time", lambda: png_bytes(draw_fall_times(plan, fall))),
        ("fall_speed.png", "map of its speed", lambda: png_bytes(draw_fall_speeds(plan, fall))),
    ]
    if trials is not None:
        makers.append(
            ("fall_chance.png", "map of chances", lambda: png_bytes(draw_fall_chances(plan, fall, trials)))
        )
    done, frames = 0, frame_count(fall.total_s) if film else 0
    total = len(makers) * _FRAMES_PER_MAP + frames
    wanted = {name for name, _, _ in makers} | ({"fall.webm"} if film else set())
    for name in _NAMES:
        if name not in wanted:
            remove_file(folder / name)
    written: list[Path] = []
    for name, what, make in makers:
        tell(done, total, what)
        write_whole(folder / name, make())
        written.append(folder / name)
        done += _FRAMES_PER_MAP
    if film:
        data = film_bytes(plan, fall, lambda frame, _, what: tell(done + frame, total, what))
        write_whole(folder / "fall.webm", data)
        written.append(folder / "fall.webm")
    tell(total, total, "pictures written")
    return written
