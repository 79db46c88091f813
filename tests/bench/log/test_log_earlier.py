"""A log of the version whose findings had sentences only: read, shown, and believed as far as it was then.

fixtures/logs/sentences_only.db was written by that version: a fence that is out, a second set-up that was not turned
over, and a check whose number never moved.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from bench.checks.model import EvidenceGear
from bench.finding import Finding
from bench.gear import Indicator, Jig, Saw, Square
from bench.log import history
from bench.procedure.conclusion import conclude
from bench.render.printed_result import result_lines
from bench.render.remarks import notes_of

LOG = Path(__file__).parents[3] / "fixtures" / "logs" / "sentences_only.db"
GEAR = EvidenceGear(
    indicator=Indicator(resolution=0.001),
    jig=Jig("sled", pivot_to_screw=500.0),
    saw=Saw("saw"),
    square=Square("shop", 250.0),
)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return Path(shutil.copy(LOG, tmp_path / "log.db"))


def test_its_findings_are_shown_with_the_sentences_they_had(path: Path) -> None:
    found = {finding.id: finding for finding in history.latest(path, 10)}
    assert {name: finding.verdict for name, finding in found.items()} == {
        "f0": "outside", "f1": "inside", "f2": "cannot-tell",
    }  # fmt: skip
    for finding in found.values():
        assert (finding.notes and "No move is given" in " ".join(finding.notes)) or finding.id != "f2"
        shown = notes_of(finding, "mm")
        kept = [note for note in finding.notes if "did not change" not in note]
        assert [note for note in shown if note in finding.notes] == kept
        assert all(f"  Note: {note}" in result_lines(finding, "mm") for note in kept)
    # its doubts had codes, and are said once, in the words of today
    assert [remark.code for remark in found["f2"].doubts] == ["frozen", "frozen"]
    assert sum("At handle left the number did not move" in note for note in notes_of(found["f2"], "mm")) == 1


def test_a_square_that_it_doubted_is_passed_over(path: Path) -> None:
    square = history.known(path, "fence-square", GEAR, {}).square
    assert square is not None and square.error == pytest.approx(5e-5, abs=5e-6)  # not the -3e-4 of the second


def test_its_evidence_is_worked_out_to_the_same_answers(path: Path) -> None:
    from bench.log.findings import find_finding
    from bench.log.read_only import open_read

    with open_read(path) as db:
        for name in ("f0", "f1", "f2"):
            finding, evidence = find_finding(db, name)
            again = conclude(evidence, id=finding.id, at=finding.at)
            assert _figures(again) == _figures(finding)
            # today's give or take holds the difference between set-ups as well: more is too close to call
            assert again.verdict in (finding.verdict, "cannot-tell")
            if again.verdict == finding.verdict:
                assert _advice(again) == _advice(finding)
            for was, now in zip(finding.quantities, again.quantities, strict=False):
                assert was.uncertainty <= now.uncertainty < was.uncertainty + 5e-5
            assert again.codes - {"frozen"} and "noted" not in again.codes


def _figures(finding: Finding) -> tuple[object, ...]:
    return [(q.name, q.value, q.tolerance, q.way) for q in finding.quantities[:2]], finding.sweeps


def _advice(finding: Finding) -> tuple[object, ...]:
    move = finding.move
    return finding.settle, move and (move.end, move.way, move.distance, move.leaves)
