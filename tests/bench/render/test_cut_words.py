"""What is said of a forecast: each sentence alone, in the user's unit, with what to do first."""

from __future__ import annotations

import math
import re

import pytest

from bench.cut.conditions import CutConditions
from bench.cut.document import cut_document
from bench.cut.terms import LoggedFinding
from bench.finding import Finding, Quantity
from bench.gear import Jig
from bench.render.cut import NEVER_MEASURED, PUT_RIGHT, answer_lines, forecast_lines, with_words

SLED = Jig("big-sled", widest_board=400.0)


def angle(name: str, value: float, uncertainty: float = 2e-5) -> Quantity:
    return Quantity(name, value, "rad", uncertainty, None)


def results(fence: float = 2e-4) -> list[LoggedFinding]:
    def one(check: str, *quantities: Quantity) -> LoggedFinding:
        found = Finding(id=check, check=check, jig="big-sled", saw="cabinet", quantities=list(quantities))
        return LoggedFinding(found, 12)

    return [
        one("fence-square", angle("fence", fence), angle("slot-curvature", 0.0, 1e-8)),
        one("side-play", angle("yaw-play", 1e-4)),
        one("upright", angle("fence-lean", 4e-4, 1e-4)),
    ]


def words(document: dict, units: str = "mm") -> list[str]:
    return list(forecast_lines(with_words(document, units), units))


def test_the_way_the_parts_come_out_is_that_of_a_corner() -> None:
    """Turned counter-clockwise the sled fence opens the corner of a part left of the cut, and closes that of one on
    the right."""
    for fence, at, way in (
        (2e-4, "left", "Longer"),
        (-2e-4, "left", "Shorter"),
        (2e-4, "right", "Shorter"),
        (-2e-4, "right", "Longer"),
    ):
        lines = list(answer_lines(cut_document(results(fence), SLED, CutConditions(400.0, at=at)), "mm"))
        assert lines[1].startswith(f"{way} away from the sled fence: 0.06 mm give or take"), lines


def test_the_answer_in_either_unit() -> None:
    document = cut_document(results(), SLED)
    assert document["first"]["words"] == ""
    told = words(document)
    assert told[:2] == ["big-sled on cabinet:", "400 mm board, 300 mm cut:"]
    # before anything is moved for it: the bow, which nobody knows, may make up for the sled fence
    assert any(line.startswith("Check whether the sled fence is straight: that gains 0.0") for line in told)
    assert any("the sled fence leans by 0.12 mm" in line for line in told)
    inches = words(document, "inch")
    assert not any(re.search(r"\bmm\b", line) for line in inches) and any("thou" in line for line in inches)


def test_a_frame_has_the_error_between_the_fences_four_times() -> None:
    found = Finding(id="m", check="mitre-square", jig="big-sled", quantities=[angle("between", -1e-4, 4e-5)])
    document = cut_document([LoggedFinding(found, 1)], SLED)
    assert document["frame"]["value"] == pytest.approx(-4e-4)
    # eight cuts scatter besides
    assert document["frame"]["uncertainty"] == pytest.approx(
        math.hypot(1.6e-4, 1.95996 * math.sqrt(8) * document["spread"]), rel=1e-4
    )
    assert any("the last joint tighter by 0.12 mm" in line for line in words(document))


def test_nothing_measured_says_so_and_what_to_check() -> None:
    told = words(cut_document([], SLED))
    assert any(line.startswith(NEVER_MEASURED["fence"]) for line in told)
    assert told[-1].startswith("Not measured here: sled fence square, sled fence straight")


@pytest.mark.parametrize("table", [PUT_RIGHT, NEVER_MEASURED])
def test_each_act_is_a_short_sentence(table: dict[str, str]) -> None:
    assert all(len(act.split()) <= 12 for act in table.values())


def test_no_internals_in_the_words() -> None:
    told = " ".join(words(cut_document(results(), SLED)))
    assert not re.search(r"\brad\b|_|fence-square|None", told)


def test_sentences_are_short() -> None:
    """At most 12 words, a length with its give or take as one; names of sled, saw and checks besides."""
    value = re.compile(r"[0-9.]+ (mm|thou|in)( give or take [0-9.]+ (mm|thou|in))?( per 300 mm)?")
    for document in (cut_document(results(), SLED), cut_document([], SLED, CutConditions(clear=False))):
        for line in words(document):
            if line.startswith("Not measured here"):
                continue
            for sentence in re.split(r"(?<=[.])\s+(?=[A-Z])", value.sub("0.12", line)):
                assert len([w for w in sentence.split() if re.search(r"\w", w)]) <= 12, sentence
