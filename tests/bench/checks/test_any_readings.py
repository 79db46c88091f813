"""Whatever the readings: a message, or a finding whose numbers are numbers and whose verdict follows from them."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.checks import find
from bench.checks.model import Evidence, EvidenceGear, LeanTest, Pool, PriorKnowledge, SquareHistory, Trace
from bench.finding import EvidenceError, Finding
from bench.gear import Indicator, Jig, Saw, Square
from bench.procedure.conclusion import conclude
from bench.render.remarks import notes_of

length = st.floats(-30, 30, allow_nan=False).map(lambda v: round(v, 3))
small = st.floats(-0.05, 0.05, allow_nan=False).map(lambda v: round(v, 3))
some_gear = st.builds(
    EvidenceGear,
    indicator=st.builds(
        Indicator,
        resolution=st.sampled_from([None, 0.001, 0.01]),
        short_span_error=st.sampled_from([None, 0.0, 0.002]),
        age=st.sampled_from([None, 0.02]),
    ),
    saw=st.sampled_from([None, Saw("saw"), Saw("saw", rip_fence="left", parallel=0.0, toe=0.0, wobble=0.0)]),
    jig=st.sampled_from(
        [
            None,
            Jig("sled"),
            Jig(
                "sled",
                fence="far",
                pivot="left",
                pivot_to_screw=500.0,
                mitre="point-toward",
                mitre_pivot="outer",
            ),
        ]
    ),
    square=st.sampled_from([None, Square("shop"), Square("shop", 250.0, 0.02)]),
)
some_known = st.builds(
    PriorKnowledge,
    pool=st.sampled_from([None, Pool(4e-10, 6.0), Pool(1e-18, 200.0)]),
    seat_scatter=st.sampled_from([None, 2e-5]),
    yaw_play=st.sampled_from([None, 0.0, 2e-4]),
    square=st.sampled_from([None, SquareHistory(4e-5, 1e-5), SquareHistory(0.0, 0.0, 3.0)]),
    looks=st.integers(0, 2),
)


@st.composite
def swept(draw: st.DrawFn, placements: tuple[str, ...]) -> list[Trace]:
    out = []
    for number in range(draw(st.integers(1, 6))):
        n = draw(st.integers(8, 24))
        start, step = draw(st.sampled_from([0.0, 40.0])), draw(st.sampled_from([0.5, 5.0, 25.0]))
        slope, rough = draw(st.floats(-0.01, 0.01)), draw(st.lists(small | length, min_size=n, max_size=n))
        way = 1 if draw(st.integers(0, 3)) else -1
        places = [start + step * k for k in range(n)][::way]
        reading = [round(2 + slope * s + r, 3) for s, r in zip(places, rough, strict=True)]
        seat, hold = draw(st.sampled_from([None, "1"])), draw(st.sampled_from([None, "left"]))
        times = [0.01 * k for k in range(n)] if draw(st.booleans()) else None
        out.append(
            Trace(draw(st.sampled_from(placements)), places, reading, way > 0, str(number), seat, hold, times)
        )
    return out


@st.composite
def touched(draw: st.DrawFn, places: tuple[tuple[str, float], ...]) -> list[Trace]:
    one = st.sampled_from(places).flatmap(
        lambda p: st.lists(small | length, min_size=1, max_size=5).map(
            lambda r: Trace(p[0], [p[1]] * len(r), r)
        )
    )
    return draw(st.lists(one, min_size=1, max_size=10))


KINDS = {
    "fence-square": swept(("handle-left", "handle-right")),
    "rip-fence": swept(("-",)),
    "slot-blade": swept(("turn-0", "turn-90", "turn-180", "turn-270"))
    | touched((("front", 0.0), ("rear", 160.0))),
    "plate-wobble": touched(tuple((f"turn-{t}", 0.0) for t in range(0, 360, 45))),
    "mitre-square": swept(
        (
            *(f"{fence}-fence-corner-{corner}" for fence in ("left", "right") for corner in "ab"),
            "right-angle-left",
            "right-angle-right",
        )
    ),
    "upright": touched(
        tuple(
            (f"{what}-{way}", z)
            for what in ("fence", "blade")
            for way in ("away", "toward")
            for z in (10.0, 70.0)
        )
    ),
    "side-play": touched(
        (("leaned-left", 0.0), ("leaned-right", 0.0), ("twisted-left", -250.0), ("twisted-right", -250.0))
    ),
}
OPTIONS: dict[str, list[dict]] = {
    "fence-square": [
        {},
        {"side": "left"},
        {"touch_away": 30.0, "slot_straight": 0.1, "runner_length": 400.0},
    ],
    "rip-fence": [{}, {"blade": 1e-4}, {"blade": -1e-4, "blade_uncertainty": 2e-5}],
    "slot-blade": [{}, {"slot": "left"}, {"end_float": 0.0}],
    "plate-wobble": [{}, {"radius": 80.0, "rim": 100.0}],
    "mitre-square": [{}, {"right_angle": "known"}, {"hold": "left"}],
    "upright": [{"limit": 1e-3}, {"stands": "left", "blade_turns": "two"}, {"placements": "fence"}],
    "side-play": [{}, {"runner_length": 500.0, "side": "left"}],
}


def sound(finding: Finding) -> None:
    for q in finding.quantities:
        assert math.isfinite(q.value) and math.isfinite(q.uncertainty) and q.uncertainty >= 0
        assert q.degrees_of_freedom is None or q.degrees_of_freedom > 0
        assert (q.verdict is None) == (q.tolerance is None)
        if q.name in ("fence", "blade", "total", "between", "fence-lean") and q.tolerance is not None:
            worst, best = abs(q.value) + q.uncertainty, abs(q.value) - q.uncertainty
            said = "inside" if worst <= q.tolerance else "outside" if best > q.tolerance else "cannot-tell"
            assert q.verdict == ("cannot-tell" if finding.doubts else said)
    judged = [q.verdict for q in finding.quantities if q.verdict is not None]
    assert finding.verdict == (judged[0] if judged else None)
    assert finding.settle is None or finding.verdict == "cannot-tell"
    if finding.budget:
        assert sum(row.share for row in finding.budget) == pytest.approx(1) or all(
            row.standard_uncertainty == 0 for row in finding.budget
        )
    if finding.move is not None:
        assert finding.verdict != "inside" and finding.move.distance > 0 and not finding.doubts
    assert all(note and note[0].isupper() and note.rstrip()[-1] in ".?" for note in notes_of(finding, "mm"))


@pytest.mark.parametrize("kind", list(KINDS))
@given(data=st.data(), gear=some_gear, known=some_known)
def test_any_readings(kind: str, data: st.DataObject, gear: EvidenceGear, known: PriorKnowledge) -> None:
    traces = data.draw(KINDS[kind])
    options = data.draw(st.sampled_from(OPTIONS[kind]))
    leans = [LeanTest("handle-left", 0.0, 0.08)] if data.draw(st.booleans()) else []
    assert find(kind).kind == kind
    try:
        finding = conclude(
            Evidence(kind, traces, options, gear, known, leans), id="x", at="2026-01-01T00:00:00+00:00"
        )
    except EvidenceError as error:
        assert str(error)
    else:
        sound(finding)
