"""``docs/fall.md`` says the numbers that the code has, and its formulas are those of the code."""

import importlib.util
import math
import re
import sys

import numpy as np
import pytest
from demo_figures import figures_of, words_of
from doc_page import ROOT, read_page, regions, section, table_rows
from fall_table import HEIGHT_M, THICKNESS_M, fall_table, steady_speed
from scipy.stats import binom

from standfall.brief import Starter
from standfall.fall import (
    _contact_kernels,
    _fall_kernels,
    _train_kernels,
    caution,
    chance,
    envelope,
    placement,
    predict_fall,
    pushing,
    quantile,
    rare,
    reach,
    seam,
    side_sweep,
    spacing,
    stance,
    trial_run,
    trial_setup,
    verdict,
)
from standfall.fall.block import Block
from standfall.fall.chain import chain_fall
from standfall.fall.ground import GRAVITY_M_S2, Ground
from standfall.fall.pieces import Pieces
from standfall.fall.starter import DRIVEN, ROLL_INERTIA, USUAL_HEIGHT, starter_figure
from standfall.findings import CATALOGUE

PAGE = read_page("fall.md")
ONE_LINE = " ".join(PAGE.split())
PIECE = Block(HEIGHT_M, THICKNESS_M, 0.0085)
MM = 1000.0


def _percent(share):
    return f"{100 * share:g} %"


# What the page says, with the numbers of the code put in.
PHRASES = [
    # Who can strike whom
    f"feet within {MM * _contact_kernels.STOREY_M:g} mm",
    f"at least {_percent(round(_contact_kernels.LEAST_SHARE, 6))} of the narrower width",
    f"nearer to equal than {MM * _contact_kernels.EQUAL_M:g} mm",
    # One train
    f"g {GRAVITY_M_S2} m/s2",
    f"cut where r w falls below {_train_kernels.TAIL:g}",
    f"At most {_train_kernels.LONGEST} members",
    f"in {_train_kernels.STEPS} equal steps",
    f"less than {_train_kernels._REFINED} of y is left",
    f"done again in {_train_kernels.STEPS * _train_kernels._FINE} steps",
    f"more than {_train_kernels._HEAVY} of the front's speed is gone in {_train_kernels._CUT} parts",
    f"Under {_percent(caution.LEAST_MARGIN)} there is a warning (F718)",
    f"never taken below {_train_kernels.LEAST_TURN_COS}",
    f"Turns above {math.degrees(caution.MOST_TURN_RAD):.0f} degrees from piece to piece",
    # Many trains
    f"for {_fall_kernels._WAIT} of the time that the front took",
    f"Strikes within {_fall_kernels.TOGETHER_S:g} s are one",
    # Starters
    f"({USUAL_HEIGHT} of the piece where the brief does not say)",
    f"the first {pushing.FIRST_PIECES} pieces ahead",
    f"{PIECE.least_tip_omega_rad_s():.2f} rad/s for 48 x 7.5 mm",
    # Spacing
    f"times 1 + {spacing.FRICTION_GROWTH} mu",
    f"below {spacing.EASY_START} of the height a row needs a harder push",
    f"a thickness are then {spacing.REACH} of the height",
    f"{spacing.REACH} of the height; {spacing.REACH_SLIPPERY} where floor friction is below {spacing.SLIPPERY}",
    f"{spacing.PRACTICE_LOW} of the height, if a missing piece is crossed then; "
    f"{spacing.PRACTICE_LOW} to {spacing.PRACTICE_HIGH} is common practice",
    f"Gaps under {caution.NARROW_GAP_HEIGHTS} of the height are warned of (F710)",
    f"leave {reach._SAFE_HEIGHTS[1]} heights on a floor of friction {reach._SAFE_FRICTION[1]} or more, and "
    f"{reach._SAFE_HEIGHTS[0]} heights at {reach._SAFE_FRICTION[0]}",
    f"up to {reach._DEBRIS_HEIGHTS[2]}, {reach._DEBRIS_HEIGHTS[1]} and {reach._DEBRIS_HEIGHTS[0]} heights ahead at "
    f"friction {reach._DEBRIS_FRICTION[2]}, {reach._DEBRIS_FRICTION[1]} and {reach._DEBRIS_FRICTION[0]}",
    f"Below {reach.REACH_KNOWN_FROM} nothing is known",
    "step of {}, {}, {} and {} widths".format(*side_sweep._STEP_WIDTHS),
    "by up to {:g}, {:g}, {:g} and {:g} degrees".format(*side_sweep._MOST_TURN_DEG),
    f"on its other side within {MM * caution._BOTH_SIDES_S:g} ms",
    # Standing until then
    f"{math.degrees(PIECE.tip_angle_rad()):.2f} degrees for 48 x 7.5 mm",
    f"C = {stance.DRAG} and rho = {stance.AIR_KG_M3} kg/m3",
    f"under a {stance.DIN_18202_SPAN_M[0]:g} m straightedge",
    f"the rise over {stance.TR34_E_SPAN_M:g} m and its change from one {stance.TR34_F_SPAN_M} m to the next",
    # Trials
    f"whole floor (at least {placement.LEAST_FRICTION})",
    f"stays above {_percent(envelope.SPARE)} of the torque that tips one piece",
    f"met by less than {trial_setup.LEAST_SHARE} of the width",
    f"beyond {trial_setup.CAP} deviations or friction beyond {trial_setup._FRICTION_CAP:g}",
    f"more than {trial_setup._WORTHWHILE} of all would have to fall anyway",
    f"fewer than {verdict._ENOUGH} failures were seen and the half-spaces' chances add up to {verdict._RARE:g} at most",
    f"importance sampling of a union, {verdict.sum_up.__kwdefaults__['draws']} draws",
    f"Student t from {chance._MANY} trials with something standing on",
    "gap too narrow, gap too wide, too far aside, turned too far",
    f"counted where {seam._COUNTED} trials saw it",
    f"The worst {trial_run.SEAMS_MOST} are kept",
    f"all still fall with a chance of {_percent(seam.WANTED)}",
    f"{seam.largest_seam_error.__kwdefaults__['draws']} layings are drawn",
    f"known within {_percent(quantile.FINE)}",
    f"same drawn numbers, {seam.largest_touch_error.__kwdefaults__['draws']} layings each",
]

# The table of findings at the end: code and limit.
LIMITS = {
    "F706": f"gap above {caution.MOST_GAP_HEIGHTS} of the height",
    "F707": f"turn above {math.degrees(caution.MOST_TURN_RAD):.0f} degrees",
    "F708": f"less than {_percent(caution.LEAST_OVERLAP)} of the width met",
    "F709": f"floor friction under {caution.SLIPPERY[1][0]} with gaps from {caution.SLIPPERY[1][1]} of the height, or "
    f"under {caution.SLIPPERY[0][0]} from {caution.SLIPPERY[0][1]}",
    "F710": f"gap below {caution.NARROW_GAP_HEIGHTS} of the height",
    "F711": "any stacked piece",
}


@pytest.mark.parametrize("phrase", PHRASES)
def test_numbers_are_those_of_the_code(phrase):
    assert phrase in ONE_LINE


def test_limits_of_belief_are_those_of_the_findings():
    told = {
        row[1]: row[0] for row in table_rows(section(PAGE, "How far to believe it")) if row[1] in CATALOGUE
    }
    assert told == LIMITS


def test_reasons_of_seams_are_told():
    assert ", ".join(trial_run.CROSSINGS) in ONE_LINE


@pytest.mark.parametrize("code", ["F706", "F707", "F708", "F709", "F710"])
def test_limits_in_the_findings_are_the_same_numbers(code):
    # The same numbers again in docs/findings.md, in its own words.
    text = section(read_page("findings.md"), f"{code} {CATALOGUE[code].title}")
    numbers = {
        "F706": [caution.MOST_GAP_HEIGHTS],
        "F707": [math.degrees(caution.MOST_TURN_RAD)],
        "F708": [100 * caution.LEAST_OVERLAP],
        "F709": [number for pair in caution.SLIPPERY for number in pair],
        "F710": [],
    }[code]
    assert {f"{number:g}" for number in numbers} <= set(re.findall(r"\d+(?:\.\d+)?", text))


def test_debris_safety_gap_and_least_falls_in_the_findings():
    page = " ".join(read_page("findings.md").split())
    assert (
        f"{reach._SAFE_HEIGHTS[1]} heights on a floor of friction {reach._SAFE_FRICTION[1]} or more" in page
    )
    assert f"{reach._SAFE_HEIGHTS[0]} at {reach._SAFE_FRICTION[0]}" in page
    # Clopper and Pearson: with n of n the lower end is 0.025^(1/n); 367 falls are just too few for 99 %.
    assert chance.clopper_pearson(367, 367)[0] < 0.99 <= chance.clopper_pearson(368, 368)[0]
    assert "368 falls without a failure are the least" in page


def test_every_finding_named_is_in_the_catalogue():
    assert set(re.findall(r"\b[A-Z]\d{3}\b", PAGE)) <= set(CATALOGUE)


def test_speeds_are_current():
    written, now = regions(PAGE, "fall")["speeds"], fall_table("speeds")
    assert words_of(written) == words_of(now), "run: python tests/docs/write_tables.py"
    # Printed to a hundredth: a last digit may turn over on another machine.
    assert figures_of(written) == pytest.approx(figures_of(now), abs=0.011)


def test_what_friction_costs_is_so():
    # "each 0.1 costs 10 to 14 % at usual gaps": 0.3 to 0.5 of the height, friction 0.2 to 0.3.
    for gap in (0.3, 0.4, 0.5):
        assert 0.10 <= 1 - steady_speed(gap, 0.3) / steady_speed(gap, 0.2) <= 0.14
    assert math.sqrt(GRAVITY_M_S2 * HEIGHT_M) == pytest.approx(0.686, abs=5e-4)


def test_lean_of_a_front_two_pieces_back_as_written():
    # h sin D = c cos t' - d, then w = 1 - c sin t' / (h cos D), alpha and beta, and the sums, for a train of two equal
    # pieces with h = 48, d = 7.5, s = 14.4 mm, front at 0.2 rad, mu 0.2.
    h, d, c, mu, m, t = HEIGHT_M, THICKNESS_M, 0.0144 + THICKNESS_M, 0.2, 0.0085, 0.2
    lean = math.asin((c * math.cos(t) - d) / h)
    w = 1 - c * math.sin(t) / (h * math.cos(lean))
    alpha = h * math.cos(lean) - c * math.sin(t) - mu * d
    beta = h * math.cos(lean) + mu * h * math.sin(lean)
    inertia = m * (h**2 + d**2) / 3

    def torque(angle):
        return 0.5 * m * GRAVITY_M_S2 * (h * math.sin(angle) - d * math.cos(angle))

    # w' by the slope between two neighbouring angles.
    def ratio(angle):
        leant = math.asin((c * math.cos(angle) - d) / h)
        return 1 - c * math.sin(angle) / (h * math.cos(leant))

    change = (ratio(t + 1e-6) - ratio(t - 1e-6)) / 2e-6
    train = np.ones((2, _train_kernels.QUANTITIES))
    half = 0.5 * m * GRAVITY_M_S2
    train[:, _train_kernels.INERTIA] = inertia
    train[:, _train_kernels.PULL_SIN], train[:, _train_kernels.PULL_COS] = half * h, -half * d
    train[:, _train_kernels.LEVER], train[:, _train_kernels.FACE] = c / h, d / h
    found = _train_kernels.train_sums(math.sin(t), math.cos(t), 2, train, mu, np.empty(2), np.empty(2))
    assert found[0] == pytest.approx(inertia * (1 + alpha / beta * w), rel=1e-12)
    assert found[1] == pytest.approx(torque(t) + alpha / beta * torque(t + lean), rel=1e-12)
    assert found[2] == pytest.approx(alpha / beta * change * inertia, rel=1e-7)


def test_flush_and_lost_contact_end_the_train_where_written():
    h, d = HEIGHT_M, THICKNESS_M
    for share in (0.3, 0.9):
        c = share * h + d
        train = np.ones((2, _train_kernels.QUANTITIES))
        train[:, _train_kernels.LEVER], train[:, _train_kernels.FACE] = c / h, d / h

        def members(t, mu=0.0, table=train):
            used = _train_kernels.train_sums(math.sin(t), math.cos(t), 2, table, mu, np.empty(2), np.empty(2))
            return used[3]

        flush = math.acos(d / c)  # cos t' <= d / c
        assert (members(flush - 1e-6), members(flush + 1e-6)) == ((2, 1) if share == 0.3 else (1, 1))
    # At 0.9 the edge has slid off before, where h cos D = c sin t'; the tail is cut a little earlier, as r w, the
    # square of what is left, falls below 1e-6.
    slid = next(t for t in np.linspace(0.0, flush, 2000) if members(t) == 1)
    lean = math.asin((c * math.cos(slid) - d) / h)
    assert 1.0 - c * math.sin(slid) / (h * math.cos(lean)) == pytest.approx(0.0, abs=1e-3)


def test_hit_factor_as_written():
    # speed after = speed before (J - I) / J with J over the new train, its front upright. One pushed piece and one
    # struck: D at the touch is asin(s / h), w = 1, r = alpha / beta.
    h, d, mu, gap, push = HEIGHT_M, THICKNESS_M, 0.2, 0.0144, 12.0
    pieces = Pieces.alike(2, height_m=h, width_m=0.024, thickness_m=d, mass_kg=0.0085)
    row = chain_fall(np.array([gap]), pieces, Ground(mu), push)
    lean = math.asin(gap / h)
    share = (h * math.cos(lean) - mu * d) / (h * math.cos(lean) + mu * h * math.sin(lean))
    # Energy of the free swing (Housner 1963, equation 1 integrated): g (h / 2 (1 - cos) + d / 2 ... ) by parts.
    gained = 2 * GRAVITY_M_S2 * 0.5 * (h * (1 - math.cos(lean)) - d * math.sin(lean)) / ((h**2 + d**2) / 3)
    before = math.sqrt(push**2 + gained)
    assert row.omega_rad_s[1] == pytest.approx(before * share / (share + 1), rel=1e-5)


def test_table_of_gaps_is_so():
    gap = spacing.design_gap(PIECE, Ground(domino_friction=0.2, floor_friction=0.4))
    told = [row[1] for row in table_rows(section(PAGE, "Spacing, firebreaks, debris"))]
    found = (gap.low_m, gap.easy_start_m, gap.high_m, gap.reach_m, gap.advised_m)
    assert told == [f"{round(MM * length, 2):g} mm" for length in found]
    smooth_m = 2 * THICKNESS_M**3 / (HEIGHT_M**2 - THICKNESS_M**2)
    assert gap.low_m == pytest.approx(smooth_m * (1 + spacing.FRICTION_GROWTH * 0.2))


def test_table_of_starters_is_so():
    rows = table_rows(section(PAGE, "Starters"))
    kinds = {kind.strip() for row in rows for kind in row[0].split(",")}
    assert kinds == {*DRIVEN, "pendulum", *ROLL_INERTIA}
    assert ROLL_INERTIA["ball"] == (2 / 5, 2 / 3)
    assert ROLL_INERTIA["cylinder"] == (1 / 2, 1)
    # A lever's driven end at 0.2 m/s, arms 3 to 1, strikes at 30 mm: 0.6 / 0.03 = 20 rad/s.
    lever = Starter(name="a", kind="lever", line="b", speed_m_s=0.2, arm_ratio=3.0, strike_height_m=0.03)
    assert starter_figure(lever, PIECE).omega_rad_s == pytest.approx(20.0)
    # A ball: sqrt(10 g H / 7), then (1 + e) M v z / (N I + M z^2).
    ball = Starter(
        name="a", kind="ball", line="b", mass_kg=0.02, diameter_m=0.016, ramp_height_m=0.02, ramp_length_m=0.2,
        restitution=0.3, strike_height_m=0.03,
    )  # fmt: skip
    speed = math.sqrt(10 * GRAVITY_M_S2 * 0.02 / 7)
    moment = 2 * PIECE.inertia_kg_m2 + 0.02 * 0.03**2
    figure = starter_figure(ball, PIECE, 2)
    assert figure.strike_speed_m_s == pytest.approx(speed)
    assert figure.omega_rad_s == pytest.approx(1.3 * 0.02 * speed * 0.03 / moment)
    assert figure.release_to_strike_s == pytest.approx(2 * 0.2 / speed)


def test_which_of_400_layings_is_the_largest_error():
    draws = verdict.sum_up.__kwdefaults__["layings"]
    assert draws == seam.largest_seam_error.__kwdefaults__["draws"] == 400
    # The fourth of 400 is 1 %; the interval is from the first to the ninth: a binomial number of 400 at 1 % is
    # below 1 with a chance of 0.99^400 = 1.8 %, and 9 or more with 2.0 %, each under 2.5 %.
    assert quantile.ranks(draws, 1 - seam.WANTED) == (4, 1, 9)
    assert 0.99**400 < 0.025
    assert float(binom.sf(8, 400, 0.01)) < 0.025 < float(binom.sf(7, 400, 0.01))
    assert "The fourth lowest of these errors is the figure" in ONE_LINE
    assert "between the first and the ninth" in ONE_LINE


def test_what_400_falls_say():
    assert "400 falls without a failure say 99.1 % or more" in ONE_LINE
    assert f"{100 * chance.clopper_pearson(400, 400)[0]:.1f}" == "99.1"


def test_the_demo_has_no_rare_chance_of_a_full_fall(demo_outcome):
    # "Elsewhere, the demo with its splits included, the interval is that of the plain trials".
    plan = demo_outcome.plan
    done = predict_fall(plan.brief, plan.standing)
    assert done.fall.standing == 0
    setup = trial_run.prepare_trials(
        plan.brief, plan.standing, plan.tiling, done.contacts, done.pieces, done.ground, done.strikes, 1
    )
    assert rare.why_not_rare(setup) == "fronts split or meet"


@pytest.mark.parametrize(
    ("gaps", "within"),
    [
        (np.full(14, 0.3), 0.0002),
        (np.full(14, 0.8), 0.0002),
        (np.random.default_rng(1).uniform(0.12, 0.7, 14), 0.001),
        (np.random.default_rng(2).uniform(0.12, 0.7, 14), 0.001),
    ],
)
def test_steps_agree_with_the_slow_twin_as_written(gaps, within):
    # The twin integrates angles with scipy; see its own page.
    spec = importlib.util.spec_from_file_location(
        "train_twin_of_docs", ROOT / "tests" / "fall" / "train_twin.py"
    )
    twin = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = twin
    spec.loader.exec_module(twin)
    count, gap_m = len(gaps) + 1, gaps * HEIGHT_M
    pieces = Pieces.alike(count, height_m=HEIGHT_M, width_m=0.024, thickness_m=THICKNESS_M, mass_kg=0.0085)
    row = twin.Row([HEIGHT_M] * count, [THICKNESS_M] * count, [0.0085] * count, gap_m.tolist(), 0.2)
    ours = chain_fall(gap_m, pieces, Ground(0.2), 12.0).t_s
    assert ours == pytest.approx(twin.fall_times(row, 12.0), rel=within)
    assert "within 0.02 % in even rows and 0.1 % in uneven ones" in ONE_LINE
