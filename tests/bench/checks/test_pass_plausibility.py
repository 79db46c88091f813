"""What the passes themselves show of slips: each is said, and a pass without it is left in peace."""

from __future__ import annotations

import math
import random

import numpy as np
import pytest
from everyday import ci

from bench.checks.fence_square import plan
from bench.checks.model import Evidence, EvidenceGear, LeanTest, PriorKnowledge, Trace
from bench.checks.shared.plausibility import side_proved
from bench.checks.shared.return_error import backlash
from bench.finding import EvidenceError, Finding
from bench.gear import Indicator, Jig, Saw
from bench.procedure.conclusion import conclude
from bench.render.remarks import notes_of
from bench.uncertainty.variance_components import SET_UP_DOF

GEAR = EvidenceGear(
    indicator=Indicator(resolution=0.001), jig=Jig("sled", pivot_to_blade=250.0, pivot_to_screw=500.0)
)
BOTH = {"handle-left": 1, "handle-right": -1}
A = 4e-4


def passes(
    seed: int = 1,
    *,
    a: float = A,
    e: float = 3e-5,
    scatter: float = 1e-5,
    pushes: int = 3,
    level: float = 0.0,
    count: float = 0.001,
    back: float = 0.0,
    length: float = 220.0,
) -> list[Trace]:
    """Pushes and pull-backs of both set-ups. level: mm that the preload grows by from push to push. back: mm that
    the way back reads more."""
    chance, out = random.Random(seed), []
    for placement, sign in BOTH.items():
        for n in range(pushes):
            b = a - sign * e + chance.gauss(0, scatter)
            for push in (True, False):
                places = [length * k / 110 for k in range(111)]
                reading = []
                for s in places:
                    true = 2.5 + level * n + sign * b * s + chance.gauss(0, 0.0006) + (0 if push else back)
                    reading.append(round(true / count) * count)
                step = 1 if push else -1
                out.append(Trace(placement, places[::step], reading[::step], push, str(n)))
    return out


def found(
    traces: list[Trace], gear: EvidenceGear = GEAR, leans: list[LeanTest] | None = None, **known: object
) -> Finding:
    evidence = Evidence("fence-square", traces, {}, gear, PriorKnowledge(**known), leans or [])
    return conclude(evidence, id="x", at="2026-01-01T00:00:00+00:00")


def said(finding: Finding, words: str) -> bool:
    return any(words in note for note in notes_of(finding, "mm"))


SLIPS = (
    "backward",
    "pass-apart",
    "of-inches",
    "finer",
    "coarser",
    "grid-finer",
    "short",
    "lean",
    "leans-differ",
    "backlash",
    "shift-stand",
)


@pytest.mark.parametrize("seed", [0, 1, *(pytest.param(n, marks=pytest.mark.ci) for n in (2, 3, 4))])
def test_good_passes_are_left_in_peace(seed: int) -> None:
    finding = found(passes(seed, scatter=2e-5))
    assert finding.codes.isdisjoint(SLIPS)
    assert not [remark for remark in finding.remarks if remark.severity == "refused"]


def test_travel_that_counts_the_other_way_is_asked_about() -> None:
    """All pushes are taken for pull-backs then and the pull-backs for pushes: the answer turns round."""
    turned = [
        Trace(t.placement, [220.0 - s for s in t.travel], t.reading, not t.push, t.sweep) for t in passes()
    ]
    wrong = found(turned)
    assert wrong.quantities[0].value == pytest.approx(-A, abs=2e-5)
    assert wrong.doubts[0].code == "backward" and said(wrong, 'grows = "')
    assert wrong.verdict == "cannot-tell" and wrong.move is None
    alone = [t for t in turned if not t.push]
    with pytest.raises(EvidenceError, match="in all of them the travel falls"):
        found(alone)


def test_a_short_push_is_left_out() -> None:
    traces = passes()
    cut = traces[2]
    traces[2] = Trace(cut.placement, cut.travel[:31], cut.reading[:31], True, "short")
    finding = found(traces)
    assert said(finding, "Pass short at handle left is not used. It covers only 60 mm")
    assert finding.sweeps[2].standard_uncertainty == 0  # so that it does not speak in the log's scatter
    whole = found([t for t in traces if t.sweep != "short"])
    assert finding.quantities[0].value == pytest.approx(whole.quantities[0].value, abs=1e-12)


def test_a_push_that_stands_apart_is_named() -> None:
    traces = passes()
    bad = traces[4]
    traces[4] = Trace(
        bad.placement,
        bad.travel,
        [r + 4e-4 * s for s, r in zip(bad.travel, bad.reading, strict=True)],
        True,
        "third",
    )
    finding = found(traces)
    assert said(finding, "Pass third at handle left differs from the others by 0.1")
    assert [r.sweep for r in finding.remarks if r.code == "pass-apart"] == ["third"]


@pytest.mark.parametrize("which", ["both", "second"])
@pytest.mark.parametrize("declared", [True, False])
def test_inches_in_a_column_of_mm(which: str, declared: bool) -> None:
    traces = [
        Trace(t.placement, t.travel, [round(r / 25.4, 5) for r in t.reading], t.push, t.sweep)
        if which == "both" or t.placement == "handle-right"
        else t
        for t in passes()
    ]
    gear = GEAR if declared else EvidenceGear(jig=GEAR.jig)
    finding = found(traces, gear)
    assert bool(finding.codes & {"of-inches", "finer", "unlike"}) == (declared or which == "second")


def test_mm_in_a_column_of_inches() -> None:
    traces = [Trace(t.placement, t.travel, [r * 25.4 for r in t.reading], t.push, t.sweep) for t in passes()]
    assert "coarser" in found(traces).codes


def test_travel_in_inches() -> None:
    traces = [Trace(t.placement, [s / 25.4 for s in t.travel], t.reading, t.push, t.sweep) for t in passes()]
    assert said(found(traces), "no more than 9 mm")


def test_means_at_marks_lie_on_no_grid_and_are_left_in_peace() -> None:
    chance = random.Random(4)
    marks = [25.0 * k for k in range(1, 10)]
    traces = [
        Trace(p, marks, [2 + sign * A * s + chance.gauss(0, 0.0003) for s in marks], True, str(n))
        for p, sign in BOTH.items()
        for n in range(3)
    ]
    assert "grid-finer" not in found(traces).codes


def leans(first: float, second: float) -> list[LeanTest]:
    return [LeanTest("handle-left", 2.0, 2.0 + first), LeanTest("handle-right", 2.0, 2.0 + second)]


def test_leans_prove_deny_or_show_half_of_the_play() -> None:
    """A standing indicator on the right is pushed in as the sled goes right, one on the left let out."""
    good = found(passes(), leans=leans(0.08, -0.07))
    assert good.codes.isdisjoint({"side-as-said", "leans-differ"})
    denied = found(passes(), leans=leans(0.08, 0.08))
    assert said(denied, "at handle right puts the indicator on the right. You said left.")
    half = found(passes(), leans=leans(0.08, -0.02))
    assert said(half, "Leaned at handle right the sled showed 0.02 mm of play, at handle left 0.08 mm")
    unseen = found(passes(), leans=leans(0.08, -0.001))
    assert "side-as-said" in unseen.codes  # nothing was seen there, so nothing is proved
    evidence = Evidence("fence-square", [], {}, GEAR, PriorKnowledge(), leans(0.08, -0.001))
    assert not side_proved(evidence, plan({}, GEAR))


def test_lost_motion_is_said_and_leaves_the_answer_alone() -> None:
    finding = found(passes(back=-0.012))
    assert said(finding, "At handle left the reading is 0.012 mm lower on every way back")
    assert finding.quantities[0].value == found(passes()).quantities[0].value
    assert all(row.part != "closure" for row in finding.budget)


def test_side_play_is_no_lost_motion() -> None:
    chance = random.Random(6)
    pairs = []
    for push, pull in zip(passes()[0:6:2], passes()[1:6:2], strict=True):
        off = chance.gauss(0, 0.03)
        pairs.append((push, Trace(pull.placement, pull.travel, [r + off for r in pull.reading], False)))
    assert backlash(pairs, count=0.001) is None
    assert backlash(pairs[:1], count=0.001) is None  # once may be anything


def rows(finding: Finding) -> set[str]:
    return {row.part for row in finding.budget}


def test_a_preload_that_is_moved_turns_the_instruments_errors_into_scatter() -> None:
    coarse = EvidenceGear(Indicator(resolution=0.01), jig=GEAR.jig)
    part = "indicator over the span used"
    assert part in rows(found(passes(count=0.01), coarse))
    assert part not in rows(found(passes(count=0.01, level=0.3), coarse))
    assert part in rows(found(passes(count=0.01, level=0.1), coarse))  # hardly moved
    assert part in rows(found(passes(count=0.01, level=2.5), coarse))  # zero was pressed
    assert part in rows(found(passes(count=0.01, level=0.3, pushes=1), coarse))


def test_a_coarse_instrument_is_told_to_be_shifted() -> None:
    coarse = EvidenceGear(Indicator(resolution=0.02), jig=GEAR.jig)
    finding = found(passes(a=1.5e-4, count=0.02), coarse)
    assert finding.verdict == "cannot-tell" and said(finding, "by 0.20 mm to 0.50 mm")
    assert "0.2 to 0.5 mm" in (plan({}, coarse)[0].reseat or "")
    assert "0.2 to 0.5 mm" not in (plan({}, GEAR)[0].reseat or "")


def test_no_move_is_urged_where_the_way_is_not_known() -> None:
    finding = found(passes(a=5e-5, scatter=3e-4))
    fence = finding.quantities[0]
    assert finding.verdict == "cannot-tell" and abs(fence.value) < fence.uncertainty
    assert "either-side" in finding.codes
    assert "either-side" not in found(passes()).codes


@pytest.mark.ci  # the import alone takes a second
@pytest.mark.parametrize("seed", range(3))
def test_beside_statsmodels_and_scipy(seed: int) -> None:
    """The same passes by a robust fit each (Huber's T, statsmodels), halves and t-interval (scipy) of what remains."""
    import statsmodels.api as sm
    from scipy import stats

    traces = passes(seed, scatter=3e-5)
    finding = found(traces)
    means, spread = {}, 0.0
    for placement, sign in BOTH.items():
        slopes = []
        for t in traces:
            if t.push and t.placement == placement:
                fitted = sm.RLM(np.array(t.reading), sm.add_constant(np.array(t.travel))).fit()
                slopes.append(sign * float(fitted.params[1]))
        means[placement] = float(np.mean(slopes))
        spread += float(np.var(slopes, ddof=1)) * 2
    fence, square = finding.quantities[:2]
    assert fence.value == pytest.approx((means["handle-left"] + means["handle-right"]) / 2, abs=1e-6)
    assert square.value == pytest.approx((means["handle-right"] - means["handle-left"]) / 2, abs=1e-6)
    between = math.sqrt(spread / 4) * math.sqrt(0.25 / 3 * 2)
    other = math.sqrt(sum(r.standard_uncertainty**2 for r in finding.budget if r.part != "between sweeps"))
    (presumed,) = (r.standard_uncertainty for r in finding.budget if r.part == "between set-ups")
    dof = math.hypot(between, other) ** 4 / (between**4 / 4 + presumed**4 / SET_UP_DOF)
    half = stats.t.ppf(0.975, dof) * math.hypot(between, other)
    assert fence.uncertainty == pytest.approx(half, rel=0.05)


def rip_fence(spans: list[tuple[float, float]], bow: float, seed: int) -> Finding:
    """A rip fence that closes by 1e-4 over 400 and is crowned, met by passes over these stretches of it."""
    rng, traces = np.random.default_rng(seed), []
    for n, (low, high) in enumerate(spans):
        s = np.linspace(low, high, 100)
        form = 1e-4 * s + bow * (1 - (s / 200 - 1) ** 2)
        r = 2 + form + rng.normal(0, 2e-5) * s + rng.normal(0, 0.0007, s.size)
        traces.append(Trace("-", s.tolist(), [round(float(x), 3) for x in r], True, f"{n}"))
    gear = EvidenceGear(indicator=Indicator(resolution=0.001), saw=Saw("saw"))
    return conclude(Evidence("rip-fence", traces, {}, gear), id="x", at="2026-01-01T00:00:00+00:00")


@pytest.mark.parametrize(
    ("creep", "scatter"), [(0.02, 0.001), (-0.02, 0.001), (0.0, 0.005), (0.0, 0.05), (0.3, 0.0)]
)
def test_creep_shows_in_recorded_passes_without_ways_back(creep: float, scatter: float) -> None:
    """20 um a pass turned the line by 100 urad, give or take 16, without a word. Levels that scatter by hand, and a
    stand that is shifted on purpose, are no creep."""
    rng, traces = np.random.default_rng(5), []
    for n in range(6):
        s = np.linspace(0, 200, 100)
        slides = creep * (n + s / 200 * (abs(creep) < 0.1)) + rng.normal(0, scatter)
        r = 2 + 1e-4 * s + rng.normal(0, 2e-6) * s + slides + rng.normal(0, 0.0007, s.size)
        traces.append(Trace("-", s.tolist(), [round(float(x), 3) for x in r], True, f"{n}"))
    gear = EvidenceGear(indicator=Indicator(resolution=0.001), saw=Saw("saw"))
    done = conclude(Evidence("rip-fence", traces, {}, gear), id="x", at="2026-01-01T00:00:00+00:00")
    fence = done.quantities[0]
    assert abs(abs(fence.value) - 1e-4) <= fence.uncertainty
    assert ("return-error" in done.codes) == ("closure" in rows(done)) == (0 < abs(creep) < 0.1)


def test_few_passes_without_ways_back_are_said_not_to_show_creep() -> None:
    assert "creep-unseen" in rip_fence([(0.0, 400.0)] * 3, 0.0, 1).codes
    assert "creep-unseen" not in rip_fence([(0.0, 400.0)] * 6, 0.0, 1).codes
    assert "creep-unseen" not in found(passes()).codes


@pytest.mark.parametrize("drag", [0.0, 1.2e-4, -1.2e-4])
def test_a_straightedge_that_is_dragged_round_is_told(drag: float) -> None:
    """At 120 urad a pass a fence bowed by 0.03 over 600 came out bowed by 0.05 or 0.01, give or take 0.012, unsaid."""
    rng, traces = np.random.default_rng(2), []
    for placement in ("as-is", "rolled-over"):
        lies = rng.normal(0, 3e-4)
        for n in range(3):
            s = np.linspace(0.0, 600.0, 300)
            turn = drag * rng.uniform(0.8, 1.2)
            r = (
                2
                + 0.03 * (1 - (s / 300 - 1) ** 2)
                + (lies + turn * s / 600) * s
                + rng.normal(0, 0.0007, s.size)
            )
            lies += turn
            traces.append(Trace(placement, s.tolist(), [round(float(x), 3) for x in r], True, f"{n}"))
    done = conclude(Evidence("fence-straight", traces, {}, GEAR), id="x", at="2026-01-01T00:00:00+00:00")
    bow = next(q for q in done.quantities if q.name == "bow")
    assert ("straightedge-dragged" in done.codes) == (drag != 0.0)
    assert abs(bow.value - 0.03) <= bow.uncertainty


@pytest.mark.parametrize(
    "odd",
    [ci(((120.0, 400.0),)), (0.0, 280.0), ci(((190.0, 590.0),)), (250.0, 650.0), (30.0, 400.0)],
)
@pytest.mark.parametrize(("fences", "least"), [(8, 6), ci((20, 16))])  # at 0.95, less three standard errors
def test_a_pass_over_another_stretch_does_not_shorten_that_of_all(
    odd: tuple[float, float], fences: int, least: int
) -> None:
    """Fitted over what all share, a crown of 0.05 turned the line by up to 152 urad, give or take 20, without a word."""
    held = 0
    for seed in range(fences):
        found_ = rip_fence([(0.0, 400.0)] * 5 + [odd], 0.05, seed)
        fence = found_.quantities[0]
        held += abs(abs(fence.value) - 1e-4) <= fence.uncertainty
        left_out = "stretches that differ" in {row.part for row in found_.budget}
        assert ("pass-elsewhere" in found_.codes) != left_out
    assert held >= least


def test_passes_that_each_run_elsewhere_are_told() -> None:
    assert "stretches-differ" in rip_fence([(0.0, 400.0), (100.0, 500.0)] * 2, 0.0, 1).codes


@pytest.mark.parametrize("odd", [(200.0, 700.0), (0.0, 490.0), (60.0, 700.0)])
def test_a_fence_whose_end_one_pass_leaves_out_is_not_called_straight(odd: tuple[float, float]) -> None:
    """Its end stands proud by 0.07: over what all passes shared it was straight within 0.000, and good."""
    rng, traces = np.random.default_rng(1), []
    for placement, way in (("as-is", 1), ("rolled-over", -1)):
        for n, (low, high) in enumerate([(0.0, 700.0)] * 2 + [odd]):
            s = np.linspace(low, high, 300)
            form = np.where(s < 180, (180 - s) * 4e-4, 0.0) + way * 0.01 * (1 - (s / 350 - 1) ** 2)
            r = 2 + form + rng.normal(0, 1e-4) * s + rng.normal(0, 0.0007, s.size)
            traces.append(
                Trace(placement, s.tolist(), [round(float(x), 3) for x in r], True, f"{placement}{n}")
            )
    done = conclude(Evidence("fence-straight", traces, {}, GEAR), id="x", at="2026-01-01T00:00:00+00:00")
    assert done.verdict != "inside" and done.quantities[0].value == pytest.approx(0.0518, abs=0.003)
    assert "pass-elsewhere" in done.codes
