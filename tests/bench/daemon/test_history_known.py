"""What earlier findings say of today's, from a real log written by its own writer."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from bench.checks.model import Evidence, EvidenceGear
from bench.daemon import queries
from bench.finding import BudgetRow, Finding, Quantity, Remark, SweepRow
from bench.gear import Indicator, Jig, Saw, Square
from bench.log import history
from bench.log.writer import LogWriter
from bench.moves.alignment import CLOSES, OPENS
from bench.render.result import dangers

GEAR = EvidenceGear(
    indicator=Indicator(resolution=0.001), jig=Jig("sled"), saw=Saw("saw"), square=Square("shop", 250.0)
)


def a_finding(
    slopes: dict[str, list[float]], e: float | None = None, *, check: str = "fence-square", **more: object
) -> Finding:
    quantities = [Quantity("fence", 0.0, "rad", 2e-5, 4.0)]
    if e is not None:
        quantities.append(Quantity("square", e, "rad", 2e-5, 4.0))
    rows = [SweepRow(p, True, 200, 0, float(slope), 2e-6) for p, each in slopes.items() for slope in each]
    named = {"jig": "sled", "saw": "saw", "quantities": quantities, "sweeps": rows} | more
    return Finding(check=check, **named)  # type: ignore[arg-type]


@pytest.fixture
def kept(tmp_path: Path) -> Iterator[Callable[..., Path]]:
    path = tmp_path / "log.sqlite"
    writer = LogWriter.open(
        path, boot_id="boot", program="test 1", on_saved=lambda saved: None, on_trouble=lambda words: None
    )
    count = iter(range(1000))

    def keep(
        finding: Finding,
        gear: EvidenceGear = GEAR,
        *,
        instrument: str = "port-a",
        hold: str | None = None,
        supersedes: str | None = None,
        reopen: bool = False,
    ) -> Path:
        import msgspec

        run = f"run-{next(count)}"
        jig, saw = (gear.jig.name if gear.jig else None), (gear.saw.name if gear.saw else None)
        writer.begin_check(
            run, finding.check, jig=jig, saw=saw, options={}, gear=gear, instrument=instrument, hold=hold
        )
        told = msgspec.structs.replace(finding, id=f"{run}-f", at="2026-01-01T00:00:00+00:00")
        writer.finding(run, told, Evidence(finding.check, [], {}, gear), supersedes=supersedes)
        if reopen:
            writer.reopen(run)
        assert writer.flush()
        return path

    keep.writer = writer  # type: ignore[attr-defined]
    yield keep
    writer.close()


def test_scatter_is_pooled_within_placements_as_numpy_has_it(kept) -> None:
    rng = np.random.default_rng(4)
    sets = [{"handle-left": list(rng.normal(2e-4, 2e-5, 3)), "handle-right": list(rng.normal(3e-4, 2e-5, 4))}]
    sets.append({"handle-left": list(rng.normal(-5e-4, 2e-5, 5))})
    for slopes in sets:
        path = kept(a_finding(slopes))
    groups = [values for slopes in sets for values in slopes.values()]
    dof = sum(len(v) - 1 for v in groups)
    pooled = sum(np.var(v, ddof=1) * (len(v) - 1) for v in groups) / dof
    pool = history.known(path, "fence-square", GEAR, {}).pool
    assert pool is not None
    assert pool.degrees_of_freedom == dof == 9
    assert pool.variance == pytest.approx(pooled, rel=1e-9)


def test_only_the_same_jig_saw_check_instrument_and_hold(kept) -> None:
    from msgspec.structs import replace

    scattered = a_finding({"handle-left": [0.0, 1e-3, -1e-3]})
    kept(replace(scattered, jig="other"), replace(GEAR, jig=Jig("other")))
    kept(replace(scattered, saw="other"), replace(GEAR, saw=Saw("other")))
    kept(replace(scattered, check="rip-fence"))
    kept(scattered, instrument="port-b")
    kept(scattered, hold="left")
    kept(scattered, replace(GEAR, indicator=Indicator(resolution=0.01)))
    path = kept(scattered, reopen=True)  # gone on with: it must not speak for itself
    assert history.known(path, "fence-square", GEAR, {}, instrument="port-a").pool is None
    quiet = a_finding({"handle-left": [0.0, 1e-5, -1e-5]})
    kept(quiet)
    pool = history.known(path, "fence-square", GEAR, {}, instrument="port-a").pool
    assert pool is not None and pool.degrees_of_freedom == 2
    assert pool.variance == pytest.approx(1e-10)
    held = history.known(path, "fence-square", GEAR, {"hold": "left"}, instrument="port-a").pool
    assert held is not None and held.variance == pytest.approx(1e-6)


def test_only_the_last_twenty_and_none_that_was_replaced(kept) -> None:
    kept(a_finding({"handle-left": [0.0, 1e-2]}))
    for _ in range(19):
        path = kept(a_finding({"handle-left": [0.0, 1e-5]}))
    before = history.known(path, "fence-square", GEAR, {}).pool
    assert before is not None and before.degrees_of_freedom == 20 and before.variance > 1e-6
    kept(a_finding({"handle-left": [0.0, 1e-5]}))
    after = history.known(path, "fence-square", GEAR, {}).pool
    assert after is not None and after.degrees_of_freedom == 20
    assert after.variance == pytest.approx(0.5e-10)
    kept(a_finding({"handle-left": [0.0, 1e-5, 0.5e-5]}), supersedes="run-20-f")
    again = history.known(path, "fence-square", GEAR, {}).pool
    assert again is not None and again.degrees_of_freedom == 21


def test_seating_is_what_reseating_adds(kept) -> None:
    rng = np.random.default_rng(7)
    row = BudgetRow("seat", "B", 2e-5, None, 0.5)
    for _ in range(10):
        path = kept(a_finding({"handle-left": list(rng.normal(0, 10e-6, 4))}, budget=[row]))
    assert history.known(path, "fence-square", GEAR, {}).seat_scatter is None
    for _ in range(10):
        kept(a_finding({"handle-left": list(rng.normal(0, np.hypot(10e-6, 30e-6), 4))}))
    told = history.known(path, "fence-square", GEAR, {}).seat_scatter
    assert told == pytest.approx(30e-6, rel=0.25)


def test_the_yaw_play_of_this_sled_on_this_saw(kept) -> None:
    from msgspec.structs import replace

    def played(yaw: float, **more: object) -> Finding:
        quantities = [
            Quantity("side-play", 0.1, "mm", 0.01, 4.0),
            Quantity("yaw-play", yaw, "rad", 1e-5, 4.0),
        ]
        return a_finding({}, check="side-play", quantities=quantities, **more)

    path = kept(played(4e-4))
    kept(played(3e-4))
    kept(played(9e-4, jig="other"), replace(GEAR, jig=Jig("other")))
    kept(played(9e-4, saw="other"), replace(GEAR, saw=Saw("other")))
    for kind in ("fence-square", "test-board"):
        assert history.known(path, kind, GEAR, {}).yaw_play == 3e-4
    assert history.known(path, "fence-square", EvidenceGear(), {}).yaw_play is None


def test_a_test_board_is_told_how_this_sleds_passes_scatter(kept) -> None:
    """Pooled about each set-up's mean, of the same hold only (GUM 4.2.4)."""
    from msgspec.structs import replace

    path = kept(a_finding({"handle-left": [0.0, 2e-5], "handle-right": [3e-4, 3e-4 + 4e-5]}))
    kept(a_finding({"handle-left": [0.0, 9e-4]}), hold="left")
    kept(a_finding({"handle-left": [0.0, 9e-4]}, jig="other"), replace(GEAR, jig=Jig("other")))
    told = history.known(path, "test-board", GEAR, {}).passes
    assert told is not None and told.degrees_of_freedom == 2
    assert told.variance == pytest.approx((2e-5**2 / 2 + 4e-5**2 / 2) / 2)
    held = history.known(path, "test-board", GEAR, {"hold": "left"}).passes
    assert held is not None and held.variance == pytest.approx(9e-4**2 / 2)
    assert history.known(path, "fence-square", GEAR, {}).passes is None
    assert history.known(path, "test-board", EvidenceGear(), {}).passes is None


def test_the_squares_error_and_a_set_up_that_was_not_turned_over(kept) -> None:
    from msgspec.structs import replace

    path = kept(a_finding({}, 5e-5))
    kept(a_finding({}, 9e-5), replace(GEAR, square=Square("another")))
    known = history.known(path, "fence-square", GEAR, {}).square
    assert known is not None and known.error == 5e-5
    assert known.standard_uncertainty == pytest.approx(
        2e-5 / 2.776, rel=1e-3
    )  # Student's t, 4 dof, handbook table
    slip = [Remark("square-over-tolerance", values={"off": 2.5e-4})]
    kept(a_finding({}, -2.5e-4, remarks=slip))
    known = history.known(path, "fence-square", GEAR, {}).square
    assert known is not None and known.error == 5e-5  # one contradiction is not believed
    kept(a_finding({}, -2.45e-4, remarks=slip))
    known = history.known(path, "fence-square", GEAR, {}).square
    assert known is not None and known.error == -2.45e-4  # two that agree are: the square was dropped
    assert history.known(path, "rip-fence", GEAR, {}).square is None


def test_the_square_is_a_check_standard_between_set_ups(kept) -> None:
    """The scatter of e over the log's findings of one square, as numpy has it; another square does not speak."""
    from msgspec.structs import replace

    rng = np.random.default_rng(9)
    errors = []
    for _ in range(8):
        e = float(rng.normal(5e-5, 3e-5))
        errors.append(e)
        slopes = {"handle-left": [1e-4 - e, 1.2e-4 - e, 0.8e-4 - e], "handle-right": [-1e-4 - e, -1.2e-4 - e]}
        path = kept(a_finding(slopes, e))
    kept(a_finding(slopes, 9e-4), replace(GEAR, square=Square("other", 250.0)))
    doubted = Remark("square-not-turned", values={"near_zero": 1.0}, severity="warning")
    path = kept(a_finding(slopes, -9e-4, remarks=[doubted]))
    known = history.known(path, "fence-square", GEAR, {}, instrument="port-a")
    assert known.set_ups is not None and known.set_ups.checks == 8
    assert known.set_ups.variance == pytest.approx(float(np.var(errors, ddof=1)), rel=1e-9)
    assert known.set_ups.degrees_of_freedom == 4 and known.set_ups.days == 1  # of a single day
    assert known.pool is not None and known.pool.passes >= 40
    assert known.set_ups.own_variance == pytest.approx(known.pool.variance * 0.25 * (1 / 3 + 1 / 2), rel=0.3)


def test_one_check_shows_no_scatter_of_the_square(kept) -> None:
    path = kept(a_finding({"handle-left": [0.0, 1e-5], "handle-right": [0.0, 2e-5]}, 4e-5))
    assert history.known(path, "fence-square", GEAR, {}, instrument="port-a").set_ups is None


@pytest.mark.parametrize(
    ("jig", "what", "cuts"),
    [
        ("sled", "dropped", True),
        ("sled", "runners", True),
        ("sled", "moved", True),
        ("sled", "saw", True),
        ("sled", "square", True),
        ("sled", "blade", False),
        ("sled", "accepted", False),
        ("other", "dropped", False),
        ("other", "square", True),  # the same square, told at another sled
    ],
)
def test_what_was_found_before_the_gear_changed_does_not_speak(kept, jig, what, cuts) -> None:
    from msgspec.structs import replace

    slopes = {"handle-left": [0.0, 1e-5, 2e-5], "handle-right": [0.0, 1e-5, 3e-5]}
    kept(a_finding(slopes, 5e-5), replace(GEAR, jig=Jig("other")))
    for e in (4e-5, 5e-5, 6e-5):
        path = kept(a_finding(slopes, e))
    before = history.known(path, "fence-square", GEAR, {}, instrument="port-a")
    assert before.pool is not None and before.set_ups is not None and before.square is not None
    kept.writer.event(None, "gear-event", {"jig": jig, "what": what, "at": "2026-01-02T00:00:00+00:00"})
    assert kept.writer.flush()
    after = history.known(path, "fence-square", GEAR, {}, instrument="port-a")
    assert (after.pool is None, after.set_ups is None) == (cuts, cuts)
    assert (after.square is None) == (what == "square")


def rip_fence(way: str, saw: str = "saw") -> tuple[Finding, EvidenceGear]:
    toe = Quantity("rip-fence", 9e-4, "rad", 2e-5, 8.0, tolerance=1.6e-4, verdict="outside", way=way)
    finding = Finding(check="rip-fence", jig=None, saw=saw, quantities=[toe])
    return finding, EvidenceGear(indicator=GEAR.indicator, saw=Saw(saw))


def test_a_rip_fence_that_closes_is_told_until_a_newer_one_of_its_saw_says_otherwise(kept) -> None:
    """However many results are newer, in a status of the log and of one that goes on."""

    def told(results: list[Finding]) -> list[tuple[str, str | None]]:
        return [(one.check, one.saw) for one in results]

    kept(*rip_fence(CLOSES))
    kept(*rip_fence(CLOSES, "other saw"))
    for _ in range(queries.LAST + 2):
        path = kept(a_finding({}))
    newest = [("fence-square", "saw")] * queries.LAST
    closing = [("rip-fence", "other saw"), ("rip-fence", "saw")]
    before = queries.earlier(path)
    assert told(before) == [*newest, *closing]
    later = queries.shown([a_finding({}), *before])
    assert told(later) == [*newest, *closing]
    assert len(list(dangers(later, "mm"))) == 2
    opens = rip_fence(OPENS)[0]
    assert told(queries.shown([opens, *later])) == [("rip-fence", "saw"), *newest[1:], closing[0]]
    path = kept(*rip_fence(OPENS))
    assert told(queries.earlier(path)) == [("rip-fence", "saw"), *newest[1:], closing[0]]
