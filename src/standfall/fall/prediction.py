"""The prediction: a planned build in, its whole fall and what is to be said about it out."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from standfall.brief import Brief
from standfall.fall.block import Block
from standfall.fall.caution import Scene, cautions
from standfall.fall.contact import Contacts, find_contacts
from standfall.fall.falling import FALLEN, Fall, Strikes, topple
from standfall.fall.ground import Ground
from standfall.fall.pieces import Pieces
from standfall.fall.pushing import judge_pushes, push_all, rounded_up
from standfall.fall.reach import debris_reach_m, safe_gap_m, stacked_on
from standfall.fall.spacing import DesignGap, design_gap
from standfall.fall.stance import Stance, stance, stance_findings
from standfall.fall.starter import StarterFigure, synchronise
from standfall.fall.trial import Interval, Trials
from standfall.fall.unfallen import unfallen
from standfall.fall.used import used_edges
from standfall.findings import Finding, blocked, in_order, make_finding
from standfall.mural.standing import Standing

Progress = Callable[[int, int, str], None]

# The chance a lead is asked to reach before the doors open: our own rule.
WANTED_CHANCE = 0.99


@dataclass(frozen=True)
class Prediction:
    """How a planned build falls.

    Attributes:
        contacts: which domino reaches which.
        pieces, ground, strikes: what it was computed for.
        fall: what becomes of each domino.
        starters: figures of the starters that touch something, in the brief's order.
        gap: the clear gap a field of these pieces should use.
        stance: how safely a piece stands until then.
        findings: worst first.
        trials: outcome of falls with drawn errors, when they were asked for.
    """

    contacts: Contacts
    pieces: Pieces
    ground: Ground
    strikes: Strikes
    fall: Fall
    starters: tuple[StarterFigure, ...]
    gap: DesignGap
    stance: Stance
    findings: tuple[Finding, ...]
    trials: Trials | None = None

    @property
    def blocked(self) -> bool:
        """Tell whether it will not fall as it stands."""
        return blocked(self.findings)

    def _firebreak_m(self) -> tuple[float, float]:
        """Return the gap that stops a fall for sure, and how far fallen pieces slide; NaN without pieces."""
        tallest_m = self.pieces.height_m.max(initial=0.0, keepdims=True)
        if not len(self.pieces):
            return math.nan, math.nan
        friction = self.ground.floor_friction
        return float(safe_gap_m(tallest_m, friction)[0]), float(debris_reach_m(tallest_m, friction)[0])

    def summary(self) -> dict[str, Any]:
        """Return the figures as plain data (the keys of ``fall --json``)."""
        stops_m, slides_m = self._firebreak_m()
        figures = {
            "fallen": self.fall.fallen,
            "standing": self.fall.standing,
            "total_s": _number(self.fall.total_s, 4),
            "mean_speed_m_s": _number(self.fall.mean_speed_m_s, 4),
            "min_margin": _number(self.fall.min_margin, 4),
            "starters": [
                _starter(figure) | {"delay_to_strike_together_s": _number(delay_s, 4)}
                for figure, delay_s in zip(self.starters, synchronise(self.starters), strict=True)
            ],
            "design_gap_mm": {
                "dies_below": _mm(self.gap.low_m),
                "easy_start": _mm(self.gap.easy_start_m),
                "one_missing_crossed": _mm(self.gap.high_m),
                "trusted_up_to": _mm(self.gap.reach_m),
                "advised": _mm(self.gap.advised_m),
            },
            "safety_gap_mm": _mm(stops_m),
            "debris_reach_mm": _mm(slides_m),
            "tip_angle_deg": _number(math.degrees(self.stance.tip_angle_rad), 2),
        }
        trials = _trial_figures(self.trials) if self.trials is not None else {}
        return figures | trials | {"findings": [finding.as_dict() for finding in self.findings]}


def _number(value: float, digits: int) -> float | None:
    return round(float(value), digits) if math.isfinite(value) else None


def _least(value: float, digits: int) -> float | None:
    return rounded_up(value, digits) if math.isfinite(value) else None


def _mm(length_m: float) -> float | None:
    return _number(1000 * float(length_m), 2)


def _starter(figure: StarterFigure) -> dict[str, Any]:
    return {
        "name": figure.name,
        "kind": figure.kind,
        "struck": figure.struck,
        "strike_speed_m_s": _number(figure.strike_speed_m_s, 4),
        "omega_rad_s": _number(figure.omega_rad_s, 3),
        "least_omega_rad_s": _number(figure.least_omega_rad_s, 3),
        "release_to_strike_s": _number(figure.release_to_strike_s, 4),
        "needed_speed_m_s": _least(figure.needed_speed_m_s, 4),
        "needed_ramp_height_mm": _least(1000 * figure.needed_ramp_height_m, 2),
        "needed_release_deg": _least(math.degrees(figure.needed_release_rad), 2),
    }


def _trial_figures(trials: Trials) -> dict[str, Any]:
    return {
        "trials": trials.trials,
        "seed": trials.seed,
        "chance_all_fall": _interval(trials.chance_all_fall),
        "mean_standing": trials.mean_standing.value,
        "mean_standing_interval": _interval(trials.mean_standing),
        "chance_no_touch": _interval(trials.chance_no_touch),
        "largest_seam_error_mm": _mm(trials.largest_seam_error_m),
        "largest_touch_error_mm": _mm(trials.largest_touch_error_m),
        "weakest_seams": [
            {"tile": seam.tile, "next_tile": seam.next_tile, "chance": seam.chance, "reason": seam.reason}
            for seam in trials.seams
        ],
    }


def _interval(interval: Interval) -> dict[str, Any]:
    return {
        "value": interval.value,
        "low": interval.low,
        "high": interval.high,
        "method": interval.method,
    }


def ground_of(brief: Brief) -> Ground:
    """Return the friction and slope a brief asks for."""
    care = brief.fall
    return Ground(care.domino_friction, care.floor_friction, math.atan(care.floor_slope), care.downhill_rad)


def pieces_of(brief: Brief, count: int) -> Pieces:
    """Return the brief's domino, ``count`` times."""
    domino = brief.domino
    return Pieces.alike(
        count,
        height_m=domino.height_m,
        width_m=domino.width_m,
        thickness_m=domino.thickness_m,
        mass_kg=domino.mass_kg,
    )


def predict_fall(brief: Brief, standing: Standing, progress: Progress | None = None) -> Prediction:
    """Predict the fall of a standing set from the starters of its brief.

    Args:
        brief: the job file, checked.
        standing: n dominoes.
        progress: called with steps done, steps in all, and what is going on.
    """
    tell = progress or (lambda _done, _total, _what: None)
    pieces, ground = pieces_of(brief, len(standing)), ground_of(brief)
    tell(0, 4, "finding contacts")
    pushes = push_all(brief, standing, pieces)
    poses = (standing.x_m, standing.y_m, standing.z_m, standing.yaw_rad)
    contacts = find_contacts(*poses, pieces, pushes.strikes.node)
    tell(1, 4, "falling")
    fall = topple(contacts, pieces, standing.yaw_rad, ground, pushes.strikes)
    fall = _with_upper_layer(fall, standing, pieces)
    tell(2, 4, "judging the starters")
    figures, weak = judge_pushes(brief, standing, contacts, pieces, ground, pushes, fall)
    tell(3, 4, "looking for what the model cannot vouch for")
    domino = brief.domino
    block = Block(domino.height_m, domino.thickness_m, domino.mass_kg)
    gap = design_gap(block, ground)
    scene = Scene(brief, standing, pieces, ground, contacts, fall, used_edges(contacts, fall), gap)
    safety = _stance(brief, block, ground)
    findings = [
        *pushes.findings,
        *weak,
        *unfallen(scene),
        *cautions(scene),
        *stance_findings(safety, "fall"),
        _granted(ground),
    ]
    tell(4, 4, "looking for what the model cannot vouch for")
    return Prediction(
        contacts=contacts,
        pieces=pieces,
        ground=ground,
        strikes=pushes.strikes,
        fall=fall,
        starters=figures,
        gap=gap,
        stance=safety,
        findings=in_order(findings),
    )


def _with_upper_layer(fall: Fall, standing: Standing, pieces: Pieces) -> Fall:
    """Let every piece that stands on another fall with it, at the latest."""
    under = stacked_on(standing.x_m, standing.y_m, standing.z_m, pieces)
    carried = np.flatnonzero(under >= 0)
    carried = carried[fall.state[under[carried]] == FALLEN]
    carried = carried[~(fall.struck_s[carried] <= fall.struck_s[under[carried]])]
    if not len(carried):
        return fall
    support = under[carried]
    columns = {name: getattr(fall, name).copy() for name in fall.__dataclass_fields__}
    for name in ("struck_s", "omega_rad_s", "down_s", "state", "backward"):
        columns[name][carried] = columns[name][support]
    columns["striker"][carried] = support
    columns["speed_m_s"][carried] = columns["margin"][carried] = np.nan
    return Fall(**columns)


def _stance(brief: Brief, block: Block, ground: Ground) -> Stance:
    care = brief.fall
    return stance(
        block,
        ground,
        care.flatness,
        care.vibration_m_s,
        care.vibration_hz,
        care.draught_m_s,
        width_m=brief.domino.width_m,
    )


def _granted(ground: Ground) -> Finding:
    return make_finding(
        "F720",
        "fall",
        "the prediction takes feet that do not slip, hits without bounce and the friction of the brief; "
        "friction between dominoes alone moves the speed by 10 to 14 % for each 0.1",
        value=f"domino friction {ground.domino_friction:g}, floor friction {ground.floor_friction:g}",
        limit="measured on a tilted board",
        next_step="Measure both with the pieces and the floor of this build, and film a row of 30 to compare.",
    )


def _and_gap(gap: DesignGap) -> str:
    return f" and a gap of {1000 * gap.advised_m:.1f} mm" if math.isfinite(gap.advised_m) else ""


def _chance_words(trials: Trials, left: int) -> str:
    if left:
        return f"even laid without errors {left:,} dominoes stay standing (see F705), so not all can fall"
    if not trials.standing.any():
        return f"in {trials.trials:,} falls with these errors all fell, but so few cannot vouch for 99 %"
    share = 100 * trials.chance_all_fall.value
    return f"all dominoes fall in {share:.2f} % of falls with these errors of placement"


def with_trials(prediction: Prediction, trials: Trials) -> Prediction:
    """Return the prediction with the outcome of trials, and what is to be said about them."""
    findings = [finding for finding in prediction.findings if finding.where != "trials"]
    chance, left = trials.chance_all_fall, prediction.fall.standing
    if not chance.low >= WANTED_CHANCE:
        findings.append(
            make_finding(
                "F721",
                "trials",
                _chance_words(trials, left),
                value=f"{100 * chance.low:.2f} to {100 * chance.high:.2f} % (95 % interval)",
                limit=f"{100 * WANTED_CHANCE:.0f} %",
                next_step="Mend what F705 names first, then try again."
                if left
                else "Look at the weakest seams; lay more exactly there, or choose wider overlap"
                f"{_and_gap(prediction.gap)}. With few trials the interval is wide: try more.",
            )
        )
    touch = trials.chance_no_touch
    if not touch.low >= WANTED_CHANCE:
        findings.append(
            make_finding(
                "F722",
                "trials",
                f"in {100 * (1 - touch.value):.1f} % of builds two tiles touch somewhere when they are set down",
                value=f"{100 * touch.low:.1f} to {100 * touch.high:.1f} % of builds without a touch",
                limit=f"{100 * WANTED_CHANCE:.0f} %",
                next_step="Set tiles down more exactly, or use a tray with more room between its slots.",
            )
        )
    return replace(prediction, trials=trials, findings=in_order(findings))
