"""Rows that can be read and still make no sense: a finding with its numbers finite, or a refusal in words.

Whatever is in the file, `evaluate` answers with a finding whose numbers can be trusted to be numbers, or with one
line and exit status 2; never with a trace of the program.
"""

from __future__ import annotations

import math
from pathlib import Path

import msgspec
import pytest
from command import command
from hypothesis import given
from hypothesis import strategies as st

from bench.checks import find
from bench.checks.model import Evidence, EvidenceGear
from bench.cli.csv_rows import RecordedError, table_of
from bench.cli.recorded_sweeps import traces_of
from bench.finding import EvidenceError, Finding
from bench.gear import Jig
from bench.procedure.conclusion import conclude

SLED = Jig("sled", pivot="right", pivot_to_blade=250.0, pivot_to_screw=500.0, widest_board=400.0)
FAR = Jig("far", fence="far", widest_board=400.0)


def work(kind: str, text: str, jig: Jig | None = None, options: dict | None = None) -> Finding:
    gear = EvidenceGear(jig=jig)
    check = find(kind)
    values = {o.name: o.default for o in check.options if o.default is not None} | (options or {})
    traces = traces_of(table_of(text, "file.csv"), check, values, gear)
    return conclude(Evidence(kind, traces, values, gear), id="x", at="2026-01-01T00:00:00+00:00")


def numbers_of(finding: Finding) -> list[float]:
    found: list[float] = []

    def walk(value: object) -> None:
        if isinstance(value, float):
            found.append(value)
        elif isinstance(value, dict):
            for part in value.values():
                walk(part)
        elif isinstance(value, list | tuple):
            for part in value:
                walk(part)

    walk(msgspec.to_builtins(finding))
    return found


def answers(kind: str, text: str, jig: Jig | None, options: dict | None = None) -> None:
    try:
        finding = work(kind, text, jig, options)
    except (EvidenceError, RecordedError) as error:
        assert str(error) and "\n" not in str(error)
        return
    assert all(math.isfinite(v) for v in numbers_of(finding))
    assert all(q.uncertainty >= 0 for q in finding.quantities)
    assert msgspec.json.decode(msgspec.json.encode(finding), type=Finding) == finding


sizes = st.one_of(
    st.sampled_from([0.0, 1e-9, -1e-9, 1e5, -1e5, 25.4]),
    st.floats(-30, 30).map(lambda v: round(v, 3)),
    st.floats(-1e5, 1e5),
)
jigs = st.sampled_from([None, SLED, FAR])
passes = st.lists(
    st.tuples(
        st.sampled_from(["as-is", "rolled-over"]),
        st.integers(8, 60),
        sizes,
        sizes,
        st.randoms(use_true_random=False),
    ),
    min_size=1,
    max_size=4,
)


@given(passes, jigs, st.sampled_from([None, 0.02]))
def test_any_passes_along_a_face(some, jig, straightedge) -> None:
    rows = ["sweep,placement,travel_mm,reading_mm"]
    for number, (placement, n, start, scale, chance) in enumerate(some):
        for i in range(n):
            x = start + i * 10.0 * chance.choice((1.0, 1.0, 1.0, 0.0))
            rows.append(f"{number},{placement},{x!r},{scale * chance.choice((0.0, 0.001, 1.0))!r}")
    answers("fence-straight", "\n".join(rows), jig, {"straightedge": straightedge} if straightedge else None)


@given(
    st.lists(
        st.tuples(
            st.sampled_from(
                ["slot-left", "slot-right", "runner-left", "runner-right", "slot-spacing", "runner-spacing"]
            ),
            st.one_of(st.integers(-3, 12).map(lambda k: 50.0 * k), sizes),
            st.one_of(st.floats(18.9, 19.2), st.floats(1e-6, 400.0)),
        ),
        min_size=1,
        max_size=16,
    ),
    jigs,
)
def test_any_widths_of_runners_and_slots(rows, jig) -> None:
    text = "what,station_mm,width_mm\n" + "".join(f"{a},{b!r},{c!r}\n" for a, b, c in rows)
    answers("runner-fit", text, jig)


@given(
    st.lists(
        st.tuples(st.sampled_from(["near", "far"]), st.one_of(st.floats(24, 26), st.floats(1e-6, 1e5))),
        min_size=1,
        max_size=8,
    ),
    st.one_of(st.floats(-10, 1e5), st.none()),
    st.integers(-2, 40),
    st.sampled_from(["left", "right"]),
    jigs,
)
def test_any_widths_of_a_strip(rows, apart, turns, kept, jig) -> None:
    text = "end,width_mm\n" + "".join(f"{a},{b!r}\n" for a, b in rows)
    options = {"turns": turns, "kept": kept} | ({} if apart is None else {"apart": apart})
    answers("test-board", text, jig, options)


# ---- slips that leave the rows readable ----------------------------------------------------------------------


def face(
    crown: float, edge: float, *, first: str = "as-is", second: str = "rolled-over", turned: float = 1.0
) -> str:
    """Three passes each, straight but for a crown of the fence and one of the straightedge, without noise."""
    rows = ["sweep,placement,travel_mm,reading_mm"]
    for n in range(3):
        for placement, sign in ((first, 1.0), (second, -turned)):
            for x in range(-300, 301, 10):
                bump = 1 - (x / 300) ** 2
                # the third digit moves a little from pass to pass, as a count does
                rows.append(
                    f"{n},{placement},{x},{crown * bump + sign * edge * bump + 0.001 * ((x // 10 + n) % 2):.3f}"
                )
    return "\n".join(rows)


def test_a_straightedge_that_was_not_rolled_over_is_remarked_on() -> None:
    """Both set-ups then show f + g: nothing arithmetic can undo, so it must be said."""
    found = work("fence-straight", face(0.15, 0.05, turned=-1.0), SLED)
    assert "set-ups-alike" in found.codes
    fine = work("fence-straight", face(0.15, 0.05), SLED)
    assert "set-ups-alike" not in fine.codes
    assert fine.quantities[2].value == pytest.approx(0.15, abs=0.003)


def test_swapped_placements_leave_the_face_as_it_is() -> None:
    plain = work("fence-straight", face(0.10, 0.04), SLED)
    swapped = work("fence-straight", face(0.10, 0.04, first="rolled-over", second="as-is"), SLED)
    assert swapped.quantities[0].value == pytest.approx(plain.quantities[0].value, abs=1e-9)


def test_an_indicator_that_counted_the_other_way_in_one_set_up_is_remarked_on() -> None:
    """-(f - g) in place of f - g: what comes out as the face is the straightedge, and the other way about."""
    rows = []
    for row in face(0.20, 0.02).splitlines():
        cells = row.split(",")
        if cells[1] == "rolled-over":
            cells[3] = f"{-float(cells[3]):.3f}"
        rows.append(",".join(cells))
    found = work("fence-straight", "\n".join(rows), SLED)
    assert "straightedge-crooked" in found.codes


def test_a_short_pass_is_left_out_and_said() -> None:
    long = face(0.1, 0.02)
    short = "\n".join(f"9,as-is,{x},1.0" for x in range(-50, 51, 5))
    found = work("fence-straight", long + "\n" + short, SLED)
    assert [(r.code, r.sweep) for r in found.remarks if r.severity == "refused"] == [("pass-short", "9")]
    assert found.quantities[2].value == pytest.approx(0.1, abs=0.003)
    assert len(found.sweeps) == 7


def test_a_third_set_aside_is_no_finding() -> None:
    rows = ["sweep,placement,travel_mm,reading_mm"]
    for placement in ("as-is", "rolled-over"):
        for i in range(400):
            x = -300 + 1.5 * i
            rows.append(f"1,{placement},{x},{(1.0 if i % 100 < 60 else -3.0) + 0.001 * (i % 2):.3f}")
    with pytest.raises(EvidenceError, match="no pass at as-is can be used") as caught:
        work("fence-straight", "\n".join(rows), SLED)
    assert caught.value.because is not None and caught.value.because.code == "pass-dirty"


def test_a_strip_cut_off_the_wrong_edge_and_a_slip_of_the_caliper_are_remarked_on() -> None:
    wedge = "end,width_mm\nnear,31\nnear,31\nfar,25\nfar,25\n"
    assert "much-taper" in work("test-board", wedge, SLED, {"apart": 370.0}).codes
    slip = "end,width_mm\nnear,25.0\nnear,25.5\nfar,25\nfar,25\n"
    assert "widths-differ" in work("test-board", slip, SLED, {"apart": 370.0}).codes


@pytest.mark.parametrize(
    ("kind", "text", "says"),
    [
        ("fence-straight", "\n".join(face(0.1, 0.0).splitlines()[:62]), "straightedge"),
        ("runner-fit", "what,station_mm,width_mm\nrunner-left,0,19\nrunner-left,100,19\n", "not slot-left"),
        pytest.param(
            "runner-fit",
            "what,station_mm,width_mm\nslot-left,0,19\nslot-left,100,19\n",
            "no runner was measured",
            marks=pytest.mark.ci,
        ),
        pytest.param(
            "runner-fit",
            "what,station_mm,width_mm\nslot-left,0,19\nrunner-left,0,18.9\n",
            "at one place only",
            marks=pytest.mark.ci,
        ),
        pytest.param(
            "test-board", "end,width_mm\nnear,25\n", "no width at the far end", marks=pytest.mark.ci
        ),
        pytest.param("test-board", "end,width_mm\nnear,25\nfar,25\n", "--apart", marks=pytest.mark.ci),
    ],
)
def test_too_little_is_one_line_and_exit_2(tmp_path: Path, kind: str, text: str, says: str) -> None:
    path = tmp_path / "little.csv"
    path.write_text(text + "\n")
    done = command("evaluate", kind, str(path), "--json", home=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert says in done.stderr and "little.csv" in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
