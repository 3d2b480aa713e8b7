"""Does a piece stand safely before the fall: the floor's slope and waves, its shaking, and moving air.

Each load is held against what tips the piece, and the warning comes at a third of that: our own rule, because
loads come together, floors are not surveyed piece by piece, and one piece fells all.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from standfall.fall.block import Block
from standfall.fall.ground import GRAVITY_M_S2, Ground
from standfall.findings import Finding, make_finding

# Share of what tips a piece above which we warn. Our own rule.
SAFE_SHARE = 1 / 3
# Where a step leans a piece most: this far along its foot from the low edge.
STEP_WORST = 0.5

# DIN 18202 table 3, rows 1 to 4: largest gap in millimetres under a straightedge on two high points 0.1, 1 and
# 4 m apart. Row 4 at 1 m is printed as 3 in most copies and as 2 in one; it decides nothing here.
DIN_18202_MM = {
    "din_18202_row_1": (10.0, 15.0, 20.0),
    "din_18202_row_2": (5.0, 8.0, 12.0),
    "din_18202_row_3": (2.0, 4.0, 10.0),
    "din_18202_row_4": (1.0, 3.0, 9.0),
}
DIN_18202_SPAN_M = (0.1, 1.0, 4.0)
# The Concrete Society, Technical Report 34, 4th edition, free-movement areas: property E, the height difference
# over 3 m, and property F, the change between two successive height differences over 0.3 m each, in millimetres.
# These are limits for 95 % of readings; no reading may exceed 1.5 times them (that factor, and the span of F,
# from memory).
TR34_MM = {
    "tr34_fm1": (4.5, 1.8),
    "tr34_fm2": (6.5, 2.0),
    "tr34_fm3": (8.0, 2.2),
    "tr34_fm4": (10.0, 2.4),
}
TR34_E_SPAN_M, TR34_F_SPAN_M, TR34_WORST = 3.0, 0.3, 1.5
UNKNOWN = "unknown"

AIR_KG_M3 = 1.2  # near 20 degrees C at sea level
# Drag coefficient, flow square on to the wide face. From memory: 2.05 for a long square bar, 1.05 for a cube (S. F.
# Hoerner, Fluid-Dynamic Drag, 1965). A long flat plate has 1.98, a square one 1.17 (C. Matthews, Aeronautical
# Engineer's Data Book, fig. 5.13). The largest is taken: it puts the limit low.
DRAG = 2.05


@dataclass(frozen=True)
class StanceProblem:
    """One load above a third of what tips a piece.

    Attributes:
        what: a sentence for a person.
        value, limit: the load and the most it should be, in ``unit``.
        unit: "degrees", "% of g" or "m/s".
        next_step: what to do, in the imperative.
    """

    what: str
    value: float
    limit: float
    unit: str
    next_step: str


@dataclass(frozen=True)
class Stance:
    """How safely a piece stands. NaN stands for a load that is not known.

    Attributes:
        tip_angle_rad: lean from level ground at which it tips.
        slope_rad: steepest slope under a piece, the floor's as a whole and its waves together.
        slope_share: share of the tip angle that this takes.
        slope_reason: how the slope was come by, a sentence.
        step_m: height of a step, a joint or a tape, that leans it by a third of its tip angle on level ground when it
            lies under the middle of the foot.
        tip_step_m: height of such a step that tips it.
        tip_ratio: steady level acceleration over g that tips it on that slope.
        shaken_ratio: peak acceleration of the floor over g.
        shaken_share: share of ``tip_ratio`` that this takes.
        tip_draught_m_s: speed of air that tips it on that slope.
        draught_share: share of that speed which the draught has.
        slides_first: a shaken or blown piece slides before it tips, and so leaves its place at less than the
            limits given here.
        problems: what is above a third, worst first; the slope alone where that tips a piece by itself.
    """

    tip_angle_rad: float
    slope_rad: float
    slope_share: float
    slope_reason: str
    step_m: float
    tip_step_m: float
    tip_ratio: float
    shaken_ratio: float
    shaken_share: float
    tip_draught_m_s: float
    draught_share: float
    slides_first: bool
    problems: tuple[StanceProblem, ...]


def stance(
    block: Block,
    ground: Ground,
    flatness: str = UNKNOWN,
    vibration_m_s: float | None = None,
    vibration_hz: float | None = None,
    draught_m_s: float | None = None,
    *,
    width_m: float,
) -> Stance:
    """Hold the loads on a standing piece against what tips it over its thickness, the least stable way.

    Shaking is taken as if its peak acceleration, 2 pi f v for a sine of peak velocity v, lasted: on the safe side,
    because a short shake also has to move the piece far enough.

    Args:
        block, ground: the piece, and the slope of the whole floor.
        flatness: class of the floor, as in the brief.
        vibration_m_s, vibration_hz: peak velocity of the floor and its frequency; both or neither.
        draught_m_s: greatest speed of the air.
        width_m: of the piece, the face the air blows on.

    Raises:
        ValueError: an unknown class of flatness, or one of the vibration's numbers without the other.
    """
    if (vibration_m_s is None) != (vibration_hz is None):
        raise ValueError("a vibration needs both its velocity and its frequency")
    waves, reason = local_slope(flatness)
    slope_rad = math.atan(math.tan(ground.slope_rad) + waves)
    tip_rad = block.tip_angle_rad()
    tip_ratio = block.west_ratio(slope_rad)
    shaken_ratio = math.nan
    if vibration_m_s is not None and vibration_hz is not None:
        shaken_ratio = 2 * math.pi * vibration_hz * vibration_m_s / GRAVITY_M_S2
    air_m_s = math.nan if draught_m_s is None else draught_m_s
    tip_draught = tip_draught_m_s(block, width_m, slope_rad)
    shares = (slope_rad / tip_rad, _share(shaken_ratio, tip_ratio), _share(air_m_s, tip_draught))
    limits = (math.degrees(tip_rad), 100 * tip_ratio, tip_draught)
    values = (math.degrees(slope_rad), 100 * shaken_ratio, air_m_s)
    return Stance(
        tip_angle_rad=tip_rad,
        slope_rad=slope_rad,
        slope_share=shares[0],
        slope_reason=reason,
        step_m=STEP_WORST * block.thickness_m * math.tan(SAFE_SHARE * tip_rad),
        tip_step_m=STEP_WORST * block.thickness_m * math.tan(tip_rad),
        tip_ratio=tip_ratio,
        shaken_ratio=shaken_ratio,
        shaken_share=shares[1],
        tip_draught_m_s=tip_draught,
        draught_share=shares[2],
        slides_first=block.slides_first(ground.floor_friction, slope_rad=slope_rad),
        problems=_problems(shares, values, limits),
    )


def local_slope(flatness: str) -> tuple[float, str]:
    """Return the steepest short slope, rise over run, that a class of flatness lets through, and how it is derived.

    DIN 18202: a dip as deep as allowed, in the middle of the straightedge, has sides of slope 2 t / span. The
    shortest span, 0.1 m, is always the steepest; the standard says nothing of anything shorter, nor is its
    straightedge level, so the slope of the whole floor comes on top.

    TR34: with no more than E over the 3 m around the spot and no more than F of change from one 0.3 m to the next,
    the steepest 0.3 m rises E / 10 + 2.5 F: ten differences that fall off by F on either side of the steepest add up
    to at most E. Both limits are taken at 1.5 times, which is allowed to single readings. Nothing shorter than 0.3 m
    is limited, so it is taken to be no steeper.

    Raises:
        ValueError: a class that is not known.
    """
    if flatness == UNKNOWN:
        return 0.0, "the flatness of the floor is not known, so only its slope as a whole counts"
    if flatness in DIN_18202_MM:
        slopes = [
            2 * 1e-3 * gap_mm / span_m
            for gap_mm, span_m in zip(DIN_18202_MM[flatness], DIN_18202_SPAN_M, strict=True)
        ]
        steepest = max(slopes)
        place = slopes.index(steepest)
        return steepest, (
            f"DIN 18202 table 3 row {flatness[-1]} lets through a dip of {DIN_18202_MM[flatness][place]:g} mm "
            f"under a straightedge of {DIN_18202_SPAN_M[place]:g} m, whose sides slope by "
            f"{1000 * steepest:.3g} mm/m"
        )
    if flatness in TR34_MM:
        over_mm, change_mm = TR34_MM[flatness]
        steps = TR34_E_SPAN_M / TR34_F_SPAN_M
        rise_mm = TR34_WORST * (over_mm / steps + 0.25 * steps * change_mm)
        steepest = 1e-3 * rise_mm / TR34_F_SPAN_M
        return steepest, (
            f"TR34 class {flatness[-3:].upper()} (property E {over_mm:g} mm, F {change_mm:g} mm, single readings "
            f"up to 1.5 times that) lets through a rise of {rise_mm:.3g} mm over 0.3 m, "
            f"{1000 * steepest:.3g} mm/m"
        )
    raise ValueError(f"there is no class of flatness {flatness!r}")


def step_lean_rad(block: Block, step_m: float, foot_share: float = STEP_WORST) -> float:
    """Return how far a step under its foot leans a piece.

    The foot rests on its low edge and on the edge of the step, x = ``foot_share`` d further on: atan(e / x). With the
    step under the far edge that is atan(e / d). Worst is the step under the middle, atan(2 e / d); still nearer to the
    low edge the piece rocks over and stands on the step instead.

    Raises:
        ValueError: a share below a half or above 1.
    """
    if not STEP_WORST <= foot_share <= 1:
        raise ValueError("a step that leans a piece lies under the half of its foot beyond the middle")
    return math.atan2(step_m, foot_share * block.thickness_m)


def tip_draught_m_s(block: Block, width_m: float, slope_rad: float = 0.0) -> float:
    """Return the speed of air, square on to the wide face, that tips a piece; 0 where it cannot stand.

    Drag 0.5 rho C b h v^2 at half height against the moment of weight: v = sqrt(2 m g d / (rho C b h^2)) when
    level. Air near the floor is slower than above, and pieces shelter one another: neither is counted on.

    Raises:
        ValueError: a width that is not above 0.
    """
    if not width_m > 0:
        raise ValueError("the width of a piece must be above 0")
    moment_n_m = block.tip_force_n(slope_rad) * block.height_m
    return math.sqrt(4 * moment_n_m / (AIR_KG_M3 * DRAG * width_m * block.height_m**2))


def _share(value: float, limit: float) -> float:
    """Return value over limit; NaN for no value, infinite for some load where none is borne."""
    if math.isnan(value):
        return math.nan
    if limit > 0:
        return value / limit
    return math.inf if value > 0 else 0.0


_UNITS = ("degrees", "% of g", "m/s")
_WHAT = (
    "the floor may slope by {value:.2g} degrees under a piece, which tips at {limit:.3g}",
    "the floor shakes with {value:.2g} % of g, and {limit:.2g} % tips a piece where it slopes most",
    "air moves at {value:.2g} m/s, and {limit:.2g} m/s tips a piece where the floor slopes most",
)
_NEXT = (
    "Survey the floor where pieces stand, or lay them on levelled boards.",
    "Keep people and machines away while pieces stand, or lay them on a damped board.",
    "Shut doors and ventilation while pieces stand, or screen them.",
)


def _problems(
    shares: tuple[float, ...], values: tuple[float, ...], limits: tuple[float, ...]
) -> tuple[StanceProblem, ...]:
    """Return the loads above the safe share, worst first; NaN is not above anything.

    Where the slope by itself tips a piece there is nothing left to hold the other loads against.
    """
    above = [place for place, share in enumerate(shares) if share > SAFE_SHARE]
    above = above[:1] if shares[0] >= 1 else above
    return tuple(
        StanceProblem(
            what=_WHAT[place].format(value=values[place], limit=limits[place]),
            value=values[place],
            limit=SAFE_SHARE * limits[place],
            unit=_UNITS[place],
            next_step=_NEXT[place],
        )
        for place in sorted(above, key=lambda place: -shares[place])
    )


def stance_findings(safety: Stance, where: str) -> list[Finding]:
    """Return a stance's problems as findings about a place."""
    return [
        make_finding(
            "F719",
            where,
            f"{problem.what} may topple a standing piece",
            value=f"{problem.value:.3g} {problem.unit}",
            limit=f"{problem.limit:.3g} {problem.unit}",
            next_step=problem.next_step,
        )
        for problem in safety.problems
    ]
