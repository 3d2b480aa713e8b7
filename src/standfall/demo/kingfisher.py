"""The demo picture: a kingfisher over reeds, drawn as SVG by the code of this folder.

The view box is 1350 by 1000 units, the proportion of a field of 330 columns of 27 mm by 300 rows of 22 mm.
"""

from random import Random

from standfall.demo.bird import bird, bird_defs, feet
from standfall.demo.pencil import number, tag
from standfall.demo.reeds import front_reeds, perch, reed_defs, soft_reeds
from standfall.demo.sky import HEIGHT, WIDTH, far_bank, sky, sky_defs
from standfall.demo.water import mirrored_bird, water, water_defs


def kingfisher_svg(seed: int = 7) -> str:
    """Return the demo picture as SVG text; the same `seed` gives the same bytes.

    The seed moves clouds, ripples, reeds and feather marks, never the bird or the perch.
    """
    rng = Random(seed)
    defs = [*sky_defs(), *water_defs(), *reed_defs(), *bird_defs()]
    layers = [
        sky(rng),
        far_bank(rng),
        water(rng),
        mirrored_bird(rng),
        soft_reeds(rng),
        bird(rng),
        perch(),
        feet(),
        front_reeds(rng),
    ]
    return tag(
        "svg",
        tag("defs", "".join(defs)) + "".join(layers),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {number(WIDTH)} {number(HEIGHT)}",
        width=WIDTH,
        height=HEIGHT,
    )
