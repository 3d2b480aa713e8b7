"""A picture in memory, and how it is put on a field."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal, get_args

import numpy as np
from numpy.typing import NDArray

Fit = Literal["crop", "whole", "stretch"]
PictureUp = Literal["with_fall", "against_fall", "left", "right"]


@dataclass(frozen=True, eq=False)
class Picture:
    """A decoded picture.

    Attributes:
        rgba: uint8 (height, width, 4), row 0 at the top, column 0 at the left, upright. Colours are
            sRGB codes (IEC 61966-2-1), alpha is straight (colours are not multiplied by it), 255 opaque.

    Raises:
        ValueError: the array is of another type or shape, or has no pixel.
    """

    rgba: NDArray[np.uint8]

    def __post_init__(self) -> None:
        if self.rgba.dtype != np.uint8 or self.rgba.ndim != 3 or self.rgba.shape[2] != 4:
            raise ValueError(f"a picture is uint8 (h, w, 4), not {self.rgba.dtype} {self.rgba.shape}")
        if self.rgba.size == 0:
            raise ValueError(f"a picture needs at least one pixel, not {self.rgba.shape}")

    @property
    def height_px(self) -> int:
        """Rows of pixels."""
        return int(self.rgba.shape[0])

    @property
    def width_px(self) -> int:
        """Columns of pixels."""
        return int(self.rgba.shape[1])


@dataclass(frozen=True)
class Placement:
    """How a picture is put on a field. It is turned, never mirrored.

    Attributes:
        fit: ``crop`` fills the field in true proportion and cuts off what does not fit; ``whole`` shows
            all of the picture in true proportion and leaves the rest of the field empty; ``stretch``
            fills the field and gives up proportion.
        crop_centre: (x, y) as fractions of the upright picture's width from the left and height from
            the top: the point that ``crop`` brings as near the middle as the picture reaches.
        picture_up: where the top of the picture points. ``with_fall``: toward the last row, so that
            someone behind row 0 who looks along the fall sees it upright. ``against_fall``: toward
            row 0. ``left``, ``right``: toward column 0, toward the last column.

    Raises:
        ValueError: a word that is not a choice, or a fraction outside 0 to 1.
    """

    fit: Fit = "crop"
    crop_centre: tuple[float, float] = (0.5, 0.5)
    picture_up: PictureUp = "with_fall"

    def __post_init__(self) -> None:
        if self.fit not in get_args(Fit):
            raise ValueError(f"fit {self.fit!r} is not one of {', '.join(get_args(Fit))}")
        if self.picture_up not in get_args(PictureUp):
            raise ValueError(f"picture_up {self.picture_up!r} is not one of {', '.join(get_args(PictureUp))}")
        if not all(0.0 <= fraction <= 1.0 for fraction in self.crop_centre):
            raise ValueError(f"crop_centre {self.crop_centre} must be two fractions from 0 to 1")


CENTRED: Final = Placement()


def laid_on_field(rgba: NDArray[np.uint8], picture_up: PictureUp) -> NDArray[np.uint8]:
    """View (no copy) of pixels (h, w, ...) whose rows and columns run as the field's rows and columns.

    On paper the field's row 0 is at the bottom, in an array it is at the top; so each of these turns
    looks like a mirror image when the array is printed, and none is one on the floor.
    """
    if picture_up == "with_fall":
        return rgba[::-1]
    if picture_up == "against_fall":
        return rgba[:, ::-1]
    turned = rgba.swapaxes(0, 1)
    return turned if picture_up == "left" else turned[::-1, ::-1]


def crop_centre_on_field(crop_centre: tuple[float, float], picture_up: PictureUp) -> tuple[float, float]:
    """Crop centre (x, y) of the upright picture as fractions (across, along) of the picture as laid."""
    x, y = crop_centre
    if picture_up == "with_fall":
        return x, 1 - y
    if picture_up == "against_fall":
        return 1 - x, y
    return (y, x) if picture_up == "left" else (1 - y, 1 - x)
