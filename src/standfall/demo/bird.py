"""The kingfisher of the demo picture: its masses from tail to bill, and the eye.

Drawn facing right in its own frame; `bird` places it in the picture.
"""

from random import Random

from standfall.demo.pencil import Point, blade, blur, bow, clip, ellipse, group, linear, path, radial, smooth
from standfall.demo.plumage import back_strokes, coverts, crown_bars, down, flight_feathers, on_wing

PLACE = "translate(-44 4) scale(0.92)"

_BODY: list[Point] = [
    (590, 322), (538, 392), (486, 470), (446, 552), (420, 628), (424, 678), (466, 704), (530, 722),
    (598, 722), (664, 692), (722, 628), (758, 542), (771, 458), (764, 396), (746, 350), (660, 322),
]  # fmt: skip
_HEAD: list[Point] = [
    (548, 384), (552, 318), (570, 262), (608, 222), (656, 204), (704, 210), (740, 236), (764, 272),
    (768, 306), (756, 344), (722, 376), (660, 400), (600, 410),
]  # fmt: skip
_CROWN: list[Point] = [
    (764, 270), (738, 234), (704, 208), (656, 202), (606, 220), (568, 262), (551, 314), (540, 366),
    (524, 410), (556, 404), (580, 376), (588, 336), (606, 306), (640, 280), (684, 266), (722, 262),
]  # fmt: skip
_CHEEK: list[Point] = [
    (768, 296), (738, 282), (700, 276), (660, 286), (622, 306), (604, 332), (628, 348), (676, 342),
    (724, 326), (760, 312),
]  # fmt: skip
_EAR: list[Point] = [
    (622, 310), (596, 326), (582, 352), (564, 388), (572, 414), (606, 404), (628, 356), (638, 330),
]  # fmt: skip
_MALAR: list[Point] = [
    (770, 306), (728, 322), (678, 338), (632, 352), (606, 380), (588, 414), (606, 424), (646, 404),
    (692, 378), (738, 346),
]  # fmt: skip
_THROAT: list[Point] = [
    (768, 310), (736, 338), (700, 366), (652, 402), (668, 424), (712, 428), (750, 408), (768, 360),
]  # fmt: skip
_WING: list[Point] = [
    on_wing(d, a)
    for d, a in (
        (-14, -28), (-6, 22), (22, 62), (80, 84), (150, 86), (220, 76), (290, 54), (350, 26), (402, 2),
        (388, -16), (320, -26), (230, -34), (130, -38), (50, -40),
    )
]  # fmt: skip
_BACK: list[Point] = [
    (550, 376), (526, 404), (480, 474), (440, 552), (412, 624), (384, 690), (356, 744), (400, 744),
    (456, 690), (490, 616), (534, 530), (584, 450), (608, 398),
]  # fmt: skip


def bird_defs() -> list[str]:
    """Return the gradients, clips and filters that the bird uses."""
    return [
        radial(
            "breast",
            (716, 446),
            330,
            ((0, "#fba647"), (0.3, "#f18c31"), (0.6, "#de6f26"), (0.83, "#b04e1e"), (1, "#86391b")),
        ),
        linear(
            "crown",
            (740, 210),
            (528, 410),
            ((0, "#2a86b4"), (0.35, "#155f98"), (0.78, "#0e3f78"), (1, "#1796c2")),
        ),
        linear("cheek", (766, 290), (604, 340), ((0, "#ffab4a"), (0.5, "#ec7f2c"), (1, "#b5521f"))),
        linear("ear", (600, 310), (596, 396), ((0, "#fffaf0"), (0.7, "#f3ead6"), (1, "#c9ccc4"))),
        linear("throat", (760, 320), (670, 416), ((0, "#fffdf4"), (0.7, "#fdf3dc"), (1, "#f6d6a0"))),
        linear(
            "back",
            (580, 380),
            (370, 740),
            ((0, "#159bc4"), (0.35, "#2fc0d8"), (0.7, "#1da8cd"), (1, "#1277b4")),
        ),
        linear("bill", (860, 268), (852, 322), ((0, "#56657a"), (0.3, "#1d2536"), (1, "#0b0f1a"))),
        radial("iris", (708, 262), 17, ((0, "#1a0f0b"), (0.55, "#2a160e"), (0.8, "#5a3018"), (1, "#120b0a"))),
        clip("cbody", smooth(_BODY, closed=True)),
        clip("cwing", smooth(_WING, closed=True)),
        clip("cback", smooth(_BACK, closed=True)),
        clip("ccrown", smooth(_CROWN, closed=True)),
        clip("ccheek", smooth(_CHEEK, closed=True)),
        clip("cmalar", smooth(_MALAR, closed=True)),
        blur("soft6", 6),
        blur("soft14", 14),
    ]


def _tail() -> list[str]:
    """Five tail feathers, the near one lit."""
    out = []
    for i, colour in enumerate(("#0b2c58", "#0e3a70", "#124b86", "#165e9b", "#1a74ad")):
        end = (318 + i * 13, 800 - i * 7)
        line = bow((430 + i * 5, 650), (376 + i * 8, 736), end)
        out.append(path(blade(line, [24, 25, 25, 24, 23, 22, 20, 16, 8]), fill=colour))
        lit = [(x + 7, y + 2) for x, y in line[:-1]]
        out.append(path(blade(lit, [4.2] * 8), fill="#3db4cf", opacity=0.75))
    return out


def _underparts(rng: Random) -> str:
    """Orange breast and belly: a gradient, down in four tones, shade below and a sunlit rim."""
    rim: list[Point] = [(752, 366), (768, 402), (772, 458), (758, 542), (722, 628), (664, 692)]
    return group(
        [
            path(smooth(_BODY, closed=True), fill="url(#breast)"),
            *down(rng, ((540, 400), (770, 715)), 2.12, ("#b04c1a", "#ffb04e", "#e57c2c", "#ffc97a"), 70),
            path(
                blade(bow((440, 722), (580, 756), (716, 650)), [50] * 9),
                fill="#6d2c1a",
                opacity=0.5,
                filter="url(#soft14)",
            ),
            path(smooth(rim), stroke="#ffe7ad", stroke_width=12, opacity=0.8, filter="url(#soft4)"),
            path(smooth(rim), stroke="#fff3cc", stroke_width=4, opacity=0.85),
        ],
        clip_path="url(#cbody)",
    )


def _mantle(rng: Random) -> str:
    """The brilliant turquoise back, from the nape to the tail."""
    line: list[Point] = [(572, 392), (534, 442), (490, 510), (452, 584), (424, 656), (382, 732)]
    shade: list[Point] = [(560, 372), (520, 412), (470, 484), (432, 560), (402, 640), (366, 724)]
    return group(
        [
            path(smooth(_BACK, closed=True), fill="url(#back)"),
            *back_strokes(rng, line),
            path(smooth(shade), stroke="#0b5f93", stroke_width=11, opacity=0.7, filter="url(#soft2)"),
        ],
        clip_path="url(#cback)",
    )


def _wing(rng: Random) -> str:
    """The folded wing: flight feathers under coverts, shaded at the back, lit at the bend."""
    bend = [on_wing(d, a) for d, a in ((0, 30), (26, 64), (80, 82), (150, 84), (210, 74))]
    parts = [
        path(smooth(_WING, closed=True), fill="#0c3160"),
        *flight_feathers(),
        *coverts(rng),
        path(
            smooth([on_wing(d, -38) for d in (0, 90, 180, 280, 340)]),
            stroke="#06183a",
            stroke_width=16,
            opacity=0.5,
            filter="url(#soft6)",
        ),
        path(smooth(bend), stroke="#a6ecea", stroke_width=7, opacity=0.6, filter="url(#soft2)"),
    ]
    shadow = path(
        smooth(_WING, closed=True),
        fill="#5a2416",
        opacity=0.55,
        filter="url(#soft6)",
        transform="translate(9 7)",
    )
    return group([group([shadow], clip_path="url(#cbody)"), group(parts, clip_path="url(#cwing)")])


def _crown_lines() -> list[list[Point]]:
    """Feather lines from the forehead over the crown to the nape, from the outer edge inwards."""
    out = []
    for k in range(6):
        inset = 8 + k * 11.5
        over = bow(
            (752 - inset * 0.6, 258), (640, 136 + inset * 1.75), (566 + inset * 0.32, 300 + inset * 0.3), 14
        )
        out.append(
            over
            + bow(
                (560 + inset * 0.3, 322 + inset * 0.2), (552 + inset * 0.2, 362), (536 + inset * 0.2, 404), 5
            )
        )
    return out


def _face(rng: Random) -> str:
    """Crown, orange cheek, white ear patch and throat, blue moustache."""
    moustache: list[list[Point]] = [
        [(760 - 13 * i, 318 + 6.2 * i + 6 * k) for i in range(13)] for k in range(3)
    ]
    return group(
        [
            path(smooth(_HEAD, closed=True), fill="#e88a35"),
            path(smooth(_THROAT, closed=True), fill="url(#throat)"),
            path(smooth(_EAR, closed=True), fill="url(#ear)"),
            path(smooth(_CROWN, closed=True), fill="url(#crown)"),
            group(crown_bars(rng, _crown_lines()), clip_path="url(#ccrown)"),
            path(smooth(_CHEEK, closed=True), fill="url(#cheek)"),
            group(
                down(rng, ((640, 280), (770, 345)), 2.86, ("#c25a1f", "#ffc074"), 16),
                clip_path="url(#ccheek)",
            ),
            path(smooth(_MALAR, closed=True), fill="#124f8a"),
            group(crown_bars(rng, moustache), clip_path="url(#cmalar)"),
            ellipse((742, 264), 15, 8, "#f59a3e", transform="rotate(18 742 264)"),
            path(smooth([(764, 290), (736, 280), (712, 274)]), stroke="#0d1424", stroke_width=8),
            path(
                smooth([(748, 240), (708, 212), (658, 205), (612, 222)]),
                stroke="#9fe6ea",
                stroke_width=5,
                opacity=0.7,
            ),
        ]
    )


def _bill() -> list[str]:
    """The long dagger bill: two mandibles, a sheen and a reddish base below."""
    upper = smooth([(752, 262), (810, 272), (880, 291), (940, 308), (986, 322)]) + "L940 317L860 305L752 293Z"
    lower = "M752 292L860 304L984 322L930 323L850 321L758 318Z"
    return [
        path(lower, fill="#1a1a28"),
        path("M754 298L850 309L880 314L850 319L758 315Z", fill="#b4452a"),
        path(upper, fill="url(#bill)"),
        path(
            smooth([(760, 268), (812, 277), (880, 295), (940, 311)]),
            stroke="#a9bcc8",
            stroke_width=4.5,
            opacity=0.9,
        ),
    ]


def _eye() -> list[str]:
    return [
        ellipse((708, 262), 18, 17, "#0a1328"),
        ellipse((708, 262), 15, 14.5, "url(#iris)"),
        path(smooth([(696, 267), (706, 274.5), (718, 269)]), stroke="#9a5d33", stroke_width=3, opacity=0.9),
        ellipse((713, 256), 5.6, 5, "#ffffff"),
    ]


def feet() -> str:
    """Return the small red feet, to be drawn over the perch."""
    toes = []
    for x, y in ((596, 718), (646, 716)):
        toes.append(path(blade([(x, y - 22), (x + 2, y - 6), (x + 4, y + 8)], [11, 10, 10]), fill="#c23a26"))
        for dx in (-13, 2, 16):
            toe = [(x + 2, y + 2), (x + dx, y + 8), (x + dx + 5, y + 22)]
            toes.append(path(blade(toe, [9, 9, 6]), fill="#d94a2e"))
            toes.append(path(blade(toe[1:], [3, 2]), fill="#ff9a70"))
    return group(toes, transform=PLACE)


def bird(rng: Random) -> str:
    """Return the bird without its feet."""
    return group(
        [group(_tail()), _underparts(rng), _mantle(rng), _wing(rng), _face(rng), *_bill(), *_eye()],
        transform=PLACE,
    )
